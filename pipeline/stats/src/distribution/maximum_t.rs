//! The largest of several correlated t values: what Dunnett's test and every other single-step comparison need.

use super::directions::Directions;
use super::scale::Scale;
use super::{normal_cdf, solve_bracketed, t_cdf, t_sf};
use crate::error::{Result, StatsError};
use ndarray::Array2;

/// Trapezoid step over the common factor, in widths of the integrand.
const STEP: f64 = 0.5;
/// Normal values beyond this have probability below 1e-17.
const REACH: f64 = 8.5;
/// Slope of the distribution of the maximum in log units.
const SHARPNESS: f64 = 8.0;
/// Correlations are taken as a product of loadings when they agree to this.
const SAME: f64 = 1e-9;
/// Loadings above this make the integrand too narrow for the quadrature.
const LARGEST_LOADING: f64 = 0.9999;
/// Most comparisons accepted.
const MOST: usize = 1500;
/// Eigenvalues and pivots of a correlation below this are rounding.
const ROUNDING: f64 = 1e-9;

/// Whether large values of one sign matter, or of both.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sides {
    /// The largest t value.
    One,
    /// The largest absolute t value.
    Two,
}

/// A probability, or a quantile, with the error of its computation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Probability {
    /// The value.
    pub value: f64,
    /// Error of `value`: three standard errors where directions were sampled, 0 where it was integrated.
    pub error: f64,
}

/// Distribution of the largest of m correlated t values `T_i = Z_i / S` with one common S.
///
/// Correlations that are products of loadings, `ρ_ij = λ_i λ_j` (a control against independent means, Dunnett 1955, 1964; equal
/// correlation), are integrated over the common factor and over S, accurate to about 1e-12. All others are averaged over fixed quasi-random directions; the
/// error is estimated and returned, usually below 5e-5 up to 8 dimensions and 3e-4 up to 20. Both give the same bytes each time.
#[derive(Debug, Clone)]
pub struct MaximumT {
    sides: Sides,
    route: Route,
}

#[derive(Debug, Clone)]
enum Route {
    /// One t value.
    Single,
    /// Distinct loadings with their multiplicity.
    Loadings(Vec<(f64, f64)>),
    Sampled(Directions),
}

impl MaximumT {
    /// For any correlation matrix (m × m); it may be singular, as that of all pairs of means is.
    ///
    /// # Errors
    /// A matrix that is not square, not symmetric, without ones on its diagonal, not positive semi-definite, or above 1500 × 1500.
    pub fn new(correlation: &Array2<f64>, sides: Sides) -> Result<Self> {
        check_correlation(correlation)?;
        let size = correlation.nrows();
        let route = if size == 1 {
            Route::Single
        } else if let Some(loadings) = product_loadings(correlation) {
            Self::of_loadings(&loadings)
        } else {
            let root = root_of(correlation)?;
            if root[0].len() == 1 && (sides == Sides::Two || root.iter().all(|row| row[0] > 0.0)) {
                Route::Single
            } else {
                Route::Sampled(Directions::new(&root, sides == Sides::Two))
            }
        };
        Ok(Self { sides, route })
    }

    /// For m t values with the same correlation between any two; 0.5 belongs to a control with as many plots as each treatment.
    ///
    /// # Errors
    /// No value, or a correlation outside \[0, 0.9998\].
    pub fn equicorrelated(size: usize, correlation: f64, sides: Sides) -> Result<Self> {
        if size == 0 {
            return Err(StatsError::TooFewValues { what: "the largest of several t values", needed: 1, found: 0 });
        }
        if !(0.0..=LARGEST_LOADING * LARGEST_LOADING).contains(&correlation) {
            return Err(StatsError::OutOfRange {
                what: "the common correlation",
                value: correlation,
                expected: "a number from 0 to 0.9998",
            });
        }
        let route = if size == 1 { Route::Single } else { Route::Loadings(vec![(correlation.sqrt(), size as f64)]) };
        Ok(Self { sides, route })
    }

    /// Whether this correlation is a product of loadings, so that probabilities are integrated and quick.
    pub(crate) fn is_integrable(correlation: &Array2<f64>) -> bool {
        product_loadings(correlation).is_some()
    }

    fn of_loadings(loadings: &[f64]) -> Route {
        let mut distinct: Vec<(f64, f64)> = Vec::new();
        for &loading in loadings {
            match distinct.iter_mut().find(|(known, _)| (known - loading).abs() < 1e-14) {
                Some((_, count)) => *count += 1.0,
                None => distinct.push((loading, 1.0)),
            }
        }
        Route::Loadings(distinct)
    }

    /// True when values are integrated and carry no sampling error.
    pub fn is_exact(&self) -> bool {
        !matches!(self.route, Route::Sampled(_))
    }

    /// How probabilities are computed, in words.
    pub fn method(&self) -> String {
        match &self.route {
            Route::Single => "t".into(),
            Route::Loadings(_) => "multivariate t, integrated".into(),
            Route::Sampled(directions) => {
                format!("multivariate t, {} quasi-random directions", directions.evaluations)
            }
        }
    }

    /// P(maximum ≤ c). NaN for a c that is not a number or df not above zero; df may be infinite.
    pub fn cdf(&self, c: f64, df: f64) -> Probability {
        self.probability(c, df, false)
    }

    /// P(maximum > c), with small values relative to themselves where they are integrated.
    pub fn sf(&self, c: f64, df: f64) -> Probability {
        self.probability(c, df, true)
    }

    fn probability(&self, c: f64, df: f64, upper: bool) -> Probability {
        let exact = |value: f64| Probability { value, error: 0.0 };
        if c.is_nan() || !(df > 0.0) {
            return exact(f64::NAN);
        }
        if c == f64::INFINITY || (self.sides == Sides::Two && c <= 0.0) || c == f64::NEG_INFINITY {
            return exact(if (c > 0.0) == upper { 0.0 } else { 1.0 });
        }
        match (&self.route, self.sides) {
            (Route::Single, Sides::One) => exact(if upper { t_sf(c, df) } else { t_cdf(c, df) }),
            (Route::Single, Sides::Two) => exact(if upper { 2.0 * t_sf(c, df) } else { 1.0 - 2.0 * t_sf(c, df) }),
            (Route::Loadings(loadings), sides) => match Scale::new(df, SHARPNESS) {
                Some(scale) => exact(scale.expect(|s| normal_maximum(loadings, c * s, sides, upper)).clamp(0.0, 1.0)),
                None => exact(f64::NAN),
            },
            (Route::Sampled(directions), _) => {
                let (value, error) = if upper { directions.sf(c, df) } else { directions.cdf(c, df) };
                Probability { value, error }
            }
        }
    }

    /// The c with P(maximum ≤ c) = `p`, and its error. NaN for p outside (0, 1) or df not above zero.
    pub fn quantile(&self, p: f64, df: f64) -> Probability {
        if !(p > 0.0 && p < 1.0 && df > 0.0) {
            return Probability { value: f64::NAN, error: 0.0 };
        }
        let excess = |c: f64| if p < 0.5 { self.cdf(c, df).value - p } else { (1.0 - p) - self.sf(c, df).value };
        let (mut low, mut high) = (if self.sides == Sides::Two { 0.0 } else { -1.0 }, 2.0);
        while excess(high) < 0.0 && high < 1e300 {
            low = high;
            high *= 2.0;
        }
        while self.sides == Sides::One && excess(low) > 0.0 && low > -1e300 {
            high = low;
            low *= 2.0;
        }
        let value = solve_bracketed(excess, low, high);
        if self.is_exact() {
            return Probability { value, error: 0.0 };
        }
        // Error of the probability over the density.
        let step = 1e-3 * value.abs().max(1e-3);
        let density = (self.cdf(value + step, df).value - self.cdf(value - step, df).value) / (2.0 * step);
        Probability { value, error: self.sf(value, df).error / density }
    }
}

/// P(max ≤ c) or P(max > c) for normal values `Z_i = λ_i X + sqrt(1 - λ_i²) X_i`, by the trapezoid rule over X.
fn normal_maximum(loadings: &[(f64, f64)], c: f64, sides: Sides, upper: bool) -> f64 {
    let slope =
        loadings.iter().fold(0.0_f64, |m, (loading, _)| m.max(loading.abs() / (1.0 - loading * loading).sqrt()));
    let largest = loadings.iter().fold(0.0_f64, |m, (loading, _)| m.max(loading.abs()));
    let step = STEP / (1.0 + 4.0 * slope * slope).sqrt();
    let reach = REACH + c.abs().min(40.0) * largest;
    let steps = (reach / step).ceil() as i64;
    let mut sum = 0.0;
    for i in -steps..=steps {
        let x = i as f64 * step;
        let mut log_inside = 0.0;
        for &(loading, count) in loadings {
            let own = (1.0 - loading * loading).sqrt();
            let above = (loading * x - c) / own;
            let below = (-c - loading * x) / own;
            let outside = match sides {
                Sides::One => normal_cdf(above),
                Sides::Two => normal_cdf(above) + normal_cdf(below),
            };
            log_inside += count
                * if outside < 0.5 {
                    (-outside).ln_1p()
                } else if sides == Sides::One {
                    normal_cdf(-above).ln()
                } else {
                    // The smaller tail of each end keeps the digits when the interval lies far to one side.
                    let centre = (loading * x / own).abs();
                    (normal_cdf(c / own - centre) - normal_cdf(-c / own - centre)).max(0.0).ln()
                };
        }
        sum += (-0.5 * x * x).exp() * if upper { -log_inside.exp_m1() } else { log_inside.exp() };
    }
    sum * step / (2.0 * std::f64::consts::PI).sqrt()
}

fn refuse<T>(reason: String) -> Result<T> {
    Err(StatsError::NotPossible {
        what: "a distribution with this correlation matrix".into(),
        reason,
        next: "give the correlation of the compared estimates",
    })
}

fn check_correlation(correlation: &Array2<f64>) -> Result<()> {
    let (rows, columns) = correlation.dim();
    if rows != columns || rows == 0 || rows > MOST {
        return refuse(format!("it is {rows} × {columns}, expected a square of 1 to {MOST} rows"));
    }
    for i in 0..rows {
        for j in 0..=i {
            let (value, mirrored) = (correlation[[i, j]], correlation[[j, i]]);
            if !((value - mirrored).abs() <= ROUNDING && value.abs() <= 1.0 + ROUNDING) {
                return refuse(format!(
                    "row {i}, column {j} holds {value} and its mirror image {mirrored}, expected equal numbers from -1 to 1"
                ));
            }
            if i == j && (value - 1.0).abs() > ROUNDING {
                return refuse(format!("row {i} has {value} on the diagonal, expected 1"));
            }
        }
    }
    Ok(())
}

/// Loadings with `ρ_ij = λ_i λ_j` for all pairs, when there are any.
fn product_loadings(correlation: &Array2<f64>) -> Option<Vec<f64>> {
    let size = correlation.nrows();
    let mut loadings = vec![0.0; size];
    let first = (0..size).find(|&i| (0..size).any(|j| j != i && correlation[[i, j]].abs() > SAME));
    if let Some(first) = first {
        let linked: Vec<usize> = (0..size).filter(|&j| j != first && correlation[[first, j]].abs() > SAME).collect();
        loadings[first] = match linked[..] {
            [only] => correlation[[first, only]].abs().sqrt(),
            // λ_i² = ρ_ij ρ_ik / ρ_jk
            [j, k, ..] => (correlation[[first, j]] * correlation[[first, k]] / correlation[[j, k]]).sqrt(),
            [] => 0.0,
        };
        for j in linked {
            loadings[j] = correlation[[first, j]] / loadings[first];
        }
    }
    let fits = loadings.iter().all(|loading| loading.abs() <= LARGEST_LOADING)
        && (0..size).all(|i| (0..i).all(|j| (loadings[i] * loadings[j] - correlation[[i, j]]).abs() <= SAME));
    fits.then_some(loadings)
}

/// Rows of length one with `A A'` equal to the correlation, by a Cholesky factorisation that takes the largest pivot first.
fn root_of(correlation: &Array2<f64>) -> Result<Vec<Vec<f64>>> {
    let size = correlation.nrows();
    let mut rows: Vec<Vec<f64>> = vec![Vec::new(); size];
    let mut left: Vec<f64> = correlation.diag().to_vec();
    for _ in 0..size {
        let pivot = (0..size).fold(0, |best, i| if left[i] > left[best] { i } else { best });
        if left[pivot] < ROUNDING {
            break;
        }
        let length = left[pivot].sqrt();
        let pivot_row = rows[pivot].clone();
        for i in 0..size {
            let inner: f64 = rows[i].iter().zip(&pivot_row).map(|(a, b)| a * b).sum();
            let value = (correlation[[i, pivot]] - inner) / length;
            rows[i].push(value);
            left[i] -= value * value;
        }
    }
    for i in 0..size {
        for j in 0..i {
            let product: f64 = rows[i].iter().zip(&rows[j]).map(|(a, b)| a * b).sum();
            if !((product - correlation[[i, j]]).abs() < 1e-6) {
                return refuse(format!(
                    "it is not positive semi-definite: row {i}, column {j} holds {} where the other rows allow {product}",
                    correlation[[i, j]]
                ));
            }
        }
    }
    for row in &mut rows {
        let length = row.iter().map(|value| value * value).sum::<f64>().sqrt();
        row.iter_mut().for_each(|value| *value /= length);
    }
    Ok(rows)
}

#[cfg(test)]
mod tests {
    use super::*;
    use ndarray::array;

    fn equal(size: usize, correlation: f64) -> Array2<f64> {
        Array2::from_shape_fn((size, size), |(i, j)| if i == j { 1.0 } else { correlation })
    }

    #[test]
    fn independent_values_multiply() {
        let two = MaximumT::equicorrelated(4, 0.0, Sides::Two).expect("valid");
        let inside = 1.0 - 2.0 * t_sf(2.2, f64::INFINITY);
        assert!((two.cdf(2.2, f64::INFINITY).value - inside.powi(4)).abs() < 1e-14);
        let one = MaximumT::equicorrelated(4, 0.0, Sides::One).expect("valid");
        assert!((one.cdf(-0.3, f64::INFINITY).value - t_cdf(-0.3, f64::INFINITY).powi(4)).abs() < 1e-14);
    }

    #[test]
    fn loadings_are_found_with_their_signs() {
        let expected = [0.9, -0.3, 0.0, 0.5];
        let correlation = Array2::from_shape_fn((4, 4), |(i, j)| if i == j { 1.0 } else { expected[i] * expected[j] });
        let found = product_loadings(&correlation).expect("a product");
        for (a, b) in found.iter().zip(expected) {
            assert!((a - b).abs() < 1e-12, "{found:?}");
        }
        let pair = product_loadings(&array![[1.0, -0.4], [-0.4, 1.0]]).expect("any pair is a product");
        assert!((pair[0] * pair[1] + 0.4).abs() < 1e-15);
        assert!(product_loadings(&equal(3, -0.3)).is_none());
    }

    #[test]
    fn quantiles_invert_probabilities_on_both_sides_of_zero() {
        for sides in [Sides::One, Sides::Two] {
            let maximum = MaximumT::equicorrelated(3, 0.5, sides).expect("valid");
            for p in [0.01, 0.3, 0.8, 0.95, 0.999] {
                for df in [1.0, 6.0, f64::INFINITY] {
                    let c = maximum.quantile(p, df).value;
                    assert!((maximum.cdf(c, df).value - p).abs() < 1e-12, "{sides:?} {p} {df}");
                }
            }
        }
    }

    #[test]
    fn sampled_directions_agree_with_the_integral_within_their_stated_error() {
        for (size, correlation) in [(3, 0.5), (6, 0.2), (12, 0.7), (20, 0.5)] {
            for sides in [Sides::One, Sides::Two] {
                let exact = MaximumT::equicorrelated(size, correlation, sides).expect("valid");
                let rows = root_of(&equal(size, correlation)).expect("positive definite");
                let sampled = MaximumT { sides, route: Route::Sampled(Directions::new(&rows, sides == Sides::Two)) };
                for c in [-0.5, 0.0, 0.7, 2.0, 2.8, 4.0] {
                    for df in [2.5, 12.0, f64::INFINITY] {
                        let (a, b) = (exact.sf(c, df), sampled.sf(c, df));
                        let allowed = 1.5 * b.error + 1e-8;
                        assert!(
                            (a.value - b.value).abs() <= allowed,
                            "{size} {correlation} {sides:?} c {c} df {df}: {} and {} ± {:e}",
                            a.value,
                            b.value,
                            b.error
                        );
                        assert!(b.error < 1e-3, "{size} {sides:?} c {c} df {df}: error {:e}", b.error);
                    }
                }
            }
        }
    }

    #[test]
    fn a_matrix_that_is_no_correlation_is_refused() {
        for bad in [
            array![[1.0, 0.5]],
            array![[1.0, 0.5], [0.4, 1.0]],
            array![[2.0, 0.5], [0.5, 1.0]],
            array![[1.0, f64::NAN], [f64::NAN, 1.0]],
            equal(4, -0.6),
        ] {
            assert!(MaximumT::new(&bad, Sides::Two).is_err(), "{bad:?}");
        }
        assert!(MaximumT::equicorrelated(0, 0.5, Sides::Two).is_err());
        assert!(MaximumT::equicorrelated(3, 1.0, Sides::Two).is_err());
    }

    #[test]
    fn perfectly_correlated_values_are_one_t_test() {
        let same = MaximumT::new(&equal(3, 1.0), Sides::Two).expect("valid");
        assert_eq!(same.sf(2.1, 9.0).value, 2.0 * t_sf(2.1, 9.0));
        assert!(same.is_exact());
    }
}
