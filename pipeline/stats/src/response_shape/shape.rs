//! The candidate shapes and their columns.

use super::frame::ResponseFrame;

/// Where the response has become constant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// The plateau is to the left of the joint.
    Left,
    /// The plateau is to the right of the joint.
    Right,
}

/// A shape of the response f over x. Formulas leave out the rest of the model; `c` is the middle of the range of x, `j` the joint.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ResponseShape {
    /// `f = a`.
    Flat,
    /// `f = a + b (x - c)`.
    Linear,
    /// `f = a + b (x - c) + k (x - c)²`.
    Quadratic,
    /// `f = p - b max(j - x, 0)` with the plateau to the right; `f = p + b max(x - j, 0)` with the plateau to the left.
    LinearPlateau(Side),
    /// `f = p - k max(j - x, 0)²` with the plateau to the right; `f = p - k max(x - j, 0)²` with the plateau to the left.
    QuadraticPlateau(Side),
    /// A penalised cubic spline, `f = a + b (x - c) + Σ z_k(x) u_k` with `u_k ~ N(0, tau²)`: any smooth curve, as far from a straight
    /// line as the likelihood asks for. Columns as in [`SplineBasis`](crate::SplineBasis) over the range of x with ten segments.
    Spline,
}

impl ResponseShape {
    /// Every shape.
    pub const ALL: [Self; 8] = [
        Self::Flat,
        Self::Linear,
        Self::Quadratic,
        Self::LinearPlateau(Side::Right),
        Self::LinearPlateau(Side::Left),
        Self::QuadraticPlateau(Side::Right),
        Self::QuadraticPlateau(Side::Left),
        Self::Spline,
    ];

    /// Name for tables.
    pub fn name(self) -> &'static str {
        match self {
            Self::Flat => "flat",
            Self::Linear => "linear",
            Self::Quadratic => "quadratic",
            Self::LinearPlateau(Side::Right) => "linear-plateau",
            Self::LinearPlateau(Side::Left) => "plateau-linear",
            Self::QuadraticPlateau(Side::Right) => "quadratic-plateau",
            Self::QuadraticPlateau(Side::Left) => "plateau-quadratic",
            Self::Spline => "spline",
        }
    }

    /// Different values of x needed. A plateau's joint is tied down only when two levels lie on the slope and two on the plateau;
    /// a spline's roughness only when three levels are left beside a straight line.
    pub fn levels_needed(self) -> usize {
        match self {
            Self::Flat => 1,
            Self::Linear => 2,
            Self::Quadratic => 3,
            Self::LinearPlateau(_) | Self::QuadraticPlateau(_) => 4,
            Self::Spline => 5,
        }
    }

    /// Side of the plateau, if there is one.
    pub fn side(self) -> Option<Side> {
        match self {
            Self::LinearPlateau(side) | Self::QuadraticPlateau(side) => Some(side),
            Self::Flat | Self::Linear | Self::Quadratic | Self::Spline => None,
        }
    }

    /// Values at `x` of the columns whose coefficients are the parameters after the constant.
    pub(crate) fn values(self, x: f64, centre: f64, joint: Option<f64>) -> Vec<f64> {
        match (self, joint) {
            (Self::Linear | Self::Spline, _) => vec![x - centre],
            (Self::Quadratic, _) => vec![x - centre, (x - centre).powi(2)],
            (Self::LinearPlateau(Side::Right), Some(joint)) => vec![-(joint - x).max(0.0)],
            (Self::LinearPlateau(Side::Left), Some(joint)) => vec![(x - joint).max(0.0)],
            (Self::QuadraticPlateau(Side::Right), Some(joint)) => vec![-(joint - x).max(0.0).powi(2)],
            (Self::QuadraticPlateau(Side::Left), Some(joint)) => vec![-(x - joint).max(0.0).powi(2)],
            _ => Vec::new(),
        }
    }

    /// Derivative of [`ResponseShape::values`] by the joint, for plateau shapes; from the side of the slope at the joint itself.
    pub(crate) fn tangent(self, x: f64, joint: f64) -> Option<f64> {
        let on_slope = |inside: bool| f64::from(u8::from(inside));
        match self {
            Self::LinearPlateau(Side::Right) => Some(-on_slope(x < joint)),
            Self::LinearPlateau(Side::Left) => Some(-on_slope(x > joint)),
            Self::QuadraticPlateau(Side::Right) => Some(-2.0 * (joint - x).max(0.0)),
            Self::QuadraticPlateau(Side::Left) => Some(2.0 * (x - joint).max(0.0)),
            Self::Flat | Self::Linear | Self::Quadratic | Self::Spline => None,
        }
    }

    /// The columns over the rows of `frame`.
    pub(crate) fn columns(self, frame: &ResponseFrame, joint: Option<f64>) -> Vec<(String, Vec<f64>)> {
        let names: &[&str] = match self {
            Self::Flat => &[],
            Self::Linear | Self::Spline => &["slope"],
            Self::Quadratic => &["slope", "curvature"],
            Self::LinearPlateau(_) => &["slope before the joint"],
            Self::QuadraticPlateau(_) => &["curvature before the joint"],
        };
        let rows: Vec<Vec<f64>> = frame.x().iter().map(|&x| self.values(x, frame.centre(), joint)).collect();
        names
            .iter()
            .enumerate()
            .map(|(k, name)| ((*name).to_string(), rows.iter().map(|row| row[k]).collect()))
            .collect()
    }

    /// The tangent column over the rows of `frame`.
    pub(crate) fn tangent_column(self, frame: &ResponseFrame, joint: f64) -> Option<(String, Vec<f64>)> {
        let column: Option<Vec<f64>> = frame.x().iter().map(|&x| self.tangent(x, joint)).collect();
        column.map(|column| ("joint".to_string(), column))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_tangent_is_the_derivative_of_the_column_by_the_joint() {
        for shape in ResponseShape::ALL.into_iter().filter(|shape| shape.side().is_some()) {
            for x in [1.0, 2.0, 4.0, 5.0] {
                let at = |joint: f64| shape.values(x, 0.0, Some(joint))[0];
                let slope = (at(3.0 + 1e-6) - at(3.0 - 1e-6)) / 2e-6;
                assert!((shape.tangent(x, 3.0).unwrap() - slope).abs() < 1e-8, "{} at {x}", shape.name());
            }
        }
    }

    #[test]
    fn a_plateau_to_the_left_is_the_mirror_image_of_one_to_the_right() {
        for x in [-2.0, 0.5, 3.0] {
            let right = ResponseShape::QuadraticPlateau(Side::Right).values(x, 0.0, Some(1.0));
            let left = ResponseShape::QuadraticPlateau(Side::Left).values(-x, 0.0, Some(-1.0));
            assert_eq!(right, left);
            let right = ResponseShape::LinearPlateau(Side::Right).values(x, 0.0, Some(1.0))[0];
            assert_eq!(right, -ResponseShape::LinearPlateau(Side::Left).values(-x, 0.0, Some(-1.0))[0]);
        }
    }
}
