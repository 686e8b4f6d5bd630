//! Coordinates in which the criterion is smooth and one step size fits all: logs of diagonal thetas, off-diagonal ones in units
//! of their row of the factor.

use super::layout::Layout;

/// The thetas that can move at one point, and how they are measured there.
#[derive(Debug, Clone)]
pub(super) struct Coordinates {
    whole: Vec<f64>,
    active: Vec<usize>,
    /// Unit of an off-diagonal theta; `None` for a diagonal one, measured by its log.
    unit: Vec<Option<f64>>,
}

impl Coordinates {
    pub(super) fn new(layout: &Layout, theta: &[f64]) -> Self {
        let active = layout.active(theta);
        let unit = active
            .iter()
            .map(|&index| {
                let parameter = layout.parameters[index];
                let template = &layout.templates[parameter.term];
                let row = (0..=parameter.row).filter_map(|column| template.theta(parameter.row, column));
                let length = row.map(|index| theta[index].powi(2)).sum::<f64>().sqrt();
                (!parameter.is_diagonal()).then_some(if length > 0.0 { length } else { 1.0 })
            })
            .collect();
        Self { whole: theta.to_vec(), active, unit }
    }

    /// Indices of the thetas that can move.
    pub(super) fn active(&self) -> &[usize] {
        &self.active
    }

    /// Coordinates of the point given to [`Coordinates::new`].
    pub(super) fn origin(&self) -> Vec<f64> {
        self.active
            .iter()
            .zip(&self.unit)
            .map(|(&index, unit)| unit.map_or_else(|| self.whole[index].ln(), |unit| self.whole[index] / unit))
            .collect()
    }

    /// Theta at the given coordinates.
    pub(super) fn theta(&self, coordinates: &[f64]) -> Vec<f64> {
        let mut theta = self.whole.clone();
        for ((&index, unit), value) in self.active.iter().zip(&self.unit).zip(coordinates) {
            theta[index] = unit.map_or_else(|| value.exp(), |unit| value * unit);
        }
        theta
    }

    /// Derivatives by the coordinates, for derivatives by every theta at `theta`.
    pub(super) fn slopes(&self, theta: &[f64], by_theta: &[f64]) -> Vec<f64> {
        let scale = |(&index, unit): (&usize, &Option<f64>)| by_theta[index] * unit.unwrap_or(theta[index]);
        self.active.iter().zip(&self.unit).map(scale).collect()
    }
}
