//! One draw of a group's curve, and the curves of single fields under it.
//!
//! The model lets fields differ by a slope and a curvature of their own. What makes fields differ is rather where their curve lies: a field
//! whose best is d heavier has the typical curve moved by d. A parabola moved by d differs from itself by a slope of −2 b2 d and a level, so the two are one. Of a curve
//! with a sharper top or a shoulder they are not: a slope hardly moves a sharp top. So a field's slope v is read as the move d = −v / (2 b2) that
//! the parabola part of the curve takes for it; what a move of [`LARGEST_MOVE`] cannot explain, and all of it where the curve has no curvature, stays a slope.

use crate::curve_basis::{FIRST_DEPARTURE, Functions, departure_powers, dot};

/// How a field differs from the typical one in level, slope and curvature.
pub(crate) type Own = [f64; 3];

/// Fields are moved by no more than this, in halves of the tested range: beyond the range the curve was not seen.
const LARGEST_MOVE: f64 = 0.75;

/// One draw of a curve, on the model's scale.
#[derive(Debug, Clone, Copy)]
pub(crate) struct CurveDraw {
    /// Coefficients in the typical field.
    pub typical: Functions,
    /// Standard deviations between fields.
    pub spread: Own,
    /// A field not yet seen.
    pub unseen: Own,
    /// Departures of the typical field from a parabola, as powers; none where it is one.
    departures: Option<Functions>,
}

/// The curve of one field under a draw.
#[derive(Debug, Clone, Copy)]
pub(crate) struct FieldCurve {
    /// The parabola of the typical field.
    parabola: [f64; FIRST_DEPARTURE],
    /// Its departures, as powers; none where the curve is a parabola.
    departures: Option<Functions>,
    level: f64,
    moved: f64,
    slope: f64,
    curvature: f64,
}

impl CurveDraw {
    /// A draw with these coefficients and spreads.
    pub fn new(typical: Functions, spread: Own, unseen: Own) -> Self {
        let bent = typical[FIRST_DEPARTURE..].iter().any(|coefficient| *coefficient != 0.0);
        Self { typical, spread, unseen, departures: bent.then(|| departure_powers(&typical)) }
    }

    /// The curve of a field that differs by `own`; `mean` are the means that the functions are centred on.
    pub fn field(&self, own: &Own, mean: &Functions) -> FieldCurve {
        let twice = -2.0 * self.typical[2];
        let moved = if twice == 0.0 { 0.0 } else { (own[1] / twice).clamp(-LARGEST_MOVE, LARGEST_MOVE) };
        let slope = own[1] - twice * moved;
        FieldCurve {
            parabola: std::array::from_fn(|power| self.typical[power]),
            departures: self.departures,
            level: own[0] - dot(&self.typical, mean) - slope * mean[1] - own[2] * mean[2],
            moved,
            slope,
            curvature: own[2],
        }
    }
}

impl FieldCurve {
    /// The curve at scaled force `s`. Departures from a parabola keep the value of the range's end beyond it.
    pub fn at(&self, s: f64) -> f64 {
        let x = s - self.moved;
        let [level, slope, curvature] = self.parabola;
        let value = self.level + level + x * (slope + x * curvature) + s * (self.slope + s * self.curvature);
        value + self.departures.map_or(0.0, |powers| horner(&powers, x.clamp(-1.0, 1.0)))
    }
}

/// A polynomial from its coefficients, lowest power first.
fn horner(powers: &Functions, x: f64) -> f64 {
    powers.iter().rev().fold(0.0, |sum, power| sum * x + power)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::curve_basis::basis;

    const MEAN: Functions = [0.0, 0.1, 0.4, 0.0, 0.0, 0.0, 0.0];

    fn draw(typical: Functions) -> CurveDraw {
        CurveDraw::new(typical, [0.0; 3], [0.0; 3])
    }

    #[test]
    fn a_field_like_the_typical_one_has_the_typical_curve() {
        let typical = [1.2, 0.3, -0.8, 0.1, -0.05, 0.02, 0.01];
        let field = draw(typical).field(&[0.0; 3], &MEAN);
        for s in [-1.0, -0.3, 0.0, 0.7, 1.0] {
            let functions = basis(s);
            let wanted = dot(&typical, &functions) - dot(&typical, &MEAN);
            assert!((field.at(s) - wanted).abs() < 1e-12, "{s}");
        }
    }

    #[test]
    fn of_a_parabola_a_slope_of_its_own_and_a_move_are_one_but_for_the_level() {
        let field = draw([1.0, 0.2, -0.8, 0.0, 0.0, 0.0, 0.0]).field(&[0.3, 0.4, -0.1], &MEAN);
        let sloped = |s: f64| (0.2 + 0.4) * s + (-0.8 - 0.1) * s * s;
        for s in [-1.0, 0.5, 1.0] {
            assert!((field.at(s) - field.at(0.0) - sloped(s)).abs() < 1e-12, "{s}");
        }
    }

    /// A tent with its top in the middle: levels fall by 1 to both ends. Moved by 0.3, so must its top be.
    #[test]
    fn a_sharp_top_moves_with_its_field() {
        // Least squares of −|s| on the functions, on a fine grid.
        let tent = draw([-0.17, 0.0, -0.9, 0.0, 0.15, 0.0, -0.08]);
        let top = |field: &FieldCurve| {
            let points = (-100..=100).map(|point| f64::from(point) / 100.0);
            points.max_by(|a, b| field.at(*a).total_cmp(&field.at(*b))).unwrap()
        };
        let still = top(&tent.field(&[0.0; 3], &MEAN));
        let moved = top(&tent.field(&[0.0, 2.0 * 0.9 * 0.3, 0.0], &MEAN));
        assert!((moved - still - 0.3).abs() < 0.011, "{still} {moved}");
    }

    #[test]
    fn a_straight_line_is_tilted_and_not_moved() {
        let field = draw([1.0, 0.5, 0.0, 0.0, 0.0, 0.0, 0.0]).field(&[0.0, -0.2, 0.0], &MEAN);
        assert!((field.at(1.0) - field.at(-1.0) - 0.6).abs() < 1e-12);
        // A curvature so small that the move would leave the range: most of it stays a slope.
        let field = draw([1.0, 0.5, -0.01, 0.0, 0.0, 0.0, 0.0]).field(&[0.0, -0.2, 0.0], &MEAN);
        assert!((field.at(1.0) - field.at(-1.0) - 0.6).abs() < 1e-12);
    }
}
