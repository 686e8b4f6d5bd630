//! The studentized range: the spread of several independent means over their standard error.

use super::scale::Scale;
use super::{normal_cdf, positive_quantile};
use std::f64::consts::PI;
use std::sync::OnceLock;

/// Trapezoid step over the largest value; with 200 means the error is below 1e-14.
const STEP: f64 = 0.125;
/// Normal values beyond this have probability below 1e-17.
const REACH: f64 = 8.5;
/// Slope of the range distribution in log units, for up to 200 means.
const SHARPNESS: f64 = 8.0;
/// A wider range of normal values than this has a probability below 1e-170.
const WIDEST: f64 = 40.0;
/// Most means accepted.
const MOST: usize = 200;

/// P(Q ≤ q) for the range of `means` independent normal values over an independent estimate of their standard deviation
/// with `df` degrees of freedom. Arguments and accuracy as in [`studentized_range_sf`]; for many questions with one number of means,
/// [`StudentizedRange`] is faster.
pub fn studentized_range_cdf(q: f64, means: usize, df: f64) -> f64 {
    StudentizedRange::new(means).map_or(f64::NAN, |range| range.cdf(q, df))
}

/// P(Q > q), integrated over the largest value and over the estimated standard deviation.
///
/// Accurate to about 1e-13, relative to the smaller tail as long as it is above 1e-30. NaN for fewer than 2 or more than 200
/// means, or df not above zero; `df` may be infinite.
pub fn studentized_range_sf(q: f64, means: usize, df: f64) -> f64 {
    StudentizedRange::new(means).map_or(f64::NAN, |range| range.sf(q, df))
}

/// The q with P(Q ≤ q) = `p`.
pub fn studentized_range_quantile(p: f64, means: usize, df: f64) -> f64 {
    StudentizedRange::new(means).map_or(f64::NAN, |range| range.quantile(p, df))
}

/// The studentized range of one number of means, for many questions.
///
/// The inner integral, over the largest value, does not depend on the degrees of freedom. It is kept as polynomials on pieces of its
/// argument, each made when first needed, so that every question after the first few is one short sum.
#[derive(Debug)]
pub struct StudentizedRange {
    range: RangeOfNormals,
    sf: [OnceLock<Piece>; PIECES],
    cdf: [OnceLock<Piece>; PIECES],
}

impl StudentizedRange {
    /// `None` for fewer than 2 or more than 200 means.
    pub fn new(means: usize) -> Option<Self> {
        let empty = || std::array::from_fn(|_| OnceLock::new());
        Some(Self { range: RangeOfNormals::new(means)?, sf: empty(), cdf: empty() })
    }

    /// The distribution for `means` means, kept for the whole run: families of one size share its polynomials. `None` as in
    /// [`StudentizedRange::new`].
    pub fn shared(means: usize) -> Option<&'static Self> {
        static KEPT: [OnceLock<StudentizedRange>; MOST + 1] = [const { OnceLock::new() }; MOST + 1];
        if KEPT.get(means)?.get().is_none() {
            let _ = KEPT[means].set(Self::new(means)?);
        }
        KEPT[means].get()
    }

    /// Number of means.
    pub fn means(&self) -> usize {
        self.range.count as usize
    }

    /// P(Q ≤ q) with `df` degrees of freedom, see [`studentized_range_cdf`].
    pub fn cdf(&self, q: f64, df: f64) -> f64 {
        let Some(scale) = Scale::new(df, SHARPNESS).filter(|_| !q.is_nan()) else { return f64::NAN };
        if q == f64::INFINITY {
            return 1.0;
        }
        scale.expect(|s| self.range_cdf(q * s)).clamp(0.0, 1.0)
    }

    /// P(Q > q) with `df` degrees of freedom, see [`studentized_range_sf`].
    pub fn sf(&self, q: f64, df: f64) -> f64 {
        let Some(scale) = Scale::new(df, SHARPNESS).filter(|_| !q.is_nan()) else { return f64::NAN };
        scale.expect(|s| self.range_sf(if s == 0.0 { 0.0 } else { q * s })).clamp(0.0, 1.0)
    }

    /// The q with P(Q ≤ q) = `p` with `df` degrees of freedom.
    pub fn quantile(&self, p: f64, df: f64) -> f64 {
        let Some(scale) = Scale::new(df, SHARPNESS) else { return f64::NAN };
        positive_quantile(p, |q| scale.expect(|s| self.range_cdf(q * s)), |q| scale.expect(|s| self.range_sf(q * s)))
    }

    fn range_sf(&self, w: f64) -> f64 {
        if w <= 0.0 {
            return 1.0;
        }
        if w >= WIDEST {
            return 0.0;
        }
        let piece = (w / PIECE) as usize;
        let made = self.sf[piece].get_or_init(|| Piece::new(piece, |w| self.range.sf(w).ln()));
        made.value(w).exp()
    }

    fn range_cdf(&self, w: f64) -> f64 {
        if w <= 0.0 {
            return 0.0;
        }
        if w >= WIDEST {
            return 1.0;
        }
        // Near zero the distribution goes like w^(k-1); over that power it is smooth.
        let power = self.range.count - 1.0;
        let piece = (w / PIECE) as usize;
        let made = self.cdf[piece].get_or_init(|| Piece::new(piece, |w| self.range.log_cdf(w) - power * w.ln()));
        (made.value(w) + power * w.ln()).exp()
    }
}

/// Width of a piece.
const PIECE: f64 = 1.0;
const PIECES: usize = 40;
/// Interpolation points of a piece: the functions are smooth on the scale of one, and this many leave an error below 1e-14.
const POINTS: usize = 20;

/// A polynomial through Chebyshev points, evaluated in barycentric form (Berrut & Trefethen 2004).
#[derive(Debug)]
struct Piece {
    points: [f64; POINTS],
    weights: [f64; POINTS],
    values: [f64; POINTS],
}

impl Piece {
    fn new(piece: usize, function: impl Fn(f64) -> f64) -> Self {
        let points = std::array::from_fn(|i| {
            let angle = PI * (i as f64 + 0.5) / POINTS as f64;
            PIECE * (piece as f64 + 0.5 - 0.5 * angle.cos())
        });
        Self { points, weights: std::array::from_fn(weight), values: points.map(function) }
    }

    fn value(&self, w: f64) -> f64 {
        let (mut above, mut below) = (0.0, 0.0);
        for i in 0..POINTS {
            let distance = w - self.points[i];
            if distance == 0.0 {
                return self.values[i];
            }
            let share = self.weights[i] / distance;
            above += share * self.values[i];
            below += share;
        }
        above / below
    }
}

/// Barycentric weights of Chebyshev points of the first kind: alternating sines.
fn weight(i: usize) -> f64 {
    let size = (PI * (i as f64 + 0.5) / POINTS as f64).sin();
    if i.is_multiple_of(2) { size } else { -size }
}

/// The range of independent standard normal values, by an integral over the largest of them:
/// `P(range ≤ w) = k ∫ φ(z) (Φ(z) - Φ(z - w))^(k-1) dz`.
#[derive(Debug)]
struct RangeOfNormals {
    count: f64,
    nodes: Vec<Node>,
}

/// A value z of the largest one.
#[derive(Debug)]
struct Node {
    z: f64,
    /// Density times step.
    weight: f64,
    /// Φ(z) and its complement.
    below: f64,
    above: f64,
}

impl RangeOfNormals {
    fn new(means: usize) -> Option<Self> {
        if !(2..=MOST).contains(&means) {
            return None;
        }
        let steps = ((2.0 * REACH + 0.5 * WIDEST) / STEP).ceil() as usize;
        let nodes = (0..=steps)
            .map(|i| {
                let z = -REACH + i as f64 * STEP;
                let weight = means as f64 * STEP * (-0.5 * z * z).exp() / (2.0 * PI).sqrt();
                Node { z, weight, below: normal_cdf(z), above: normal_cdf(-z) }
            })
            .collect();
        Some(Self { count: means as f64, nodes })
    }

    /// Log of P(range ≤ w), which for many means lies far below the smallest number.
    fn log_cdf(&self, w: f64) -> f64 {
        let power = self.count - 1.0;
        let logs: Vec<f64> = self.used(w).iter().map(|node| node.weight.ln() + power * node.inside(w).ln()).collect();
        let largest = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        (largest + logs.iter().map(|log| (log - largest).exp()).sum::<f64>().ln()).min(0.0)
    }

    fn sf(&self, w: f64) -> f64 {
        if w <= 0.0 {
            return 1.0;
        }
        // Φ^n - (Φ - tail)^n without cancellation, n = k - 1.
        let n = self.count - 1.0;
        let sum: f64 = self
            .used(w)
            .iter()
            .map(|node| {
                let (inside, tail) = (node.inside(w), normal_cdf(node.z - w));
                let whole = inside + tail;
                let log_share = if tail < 0.5 * whole { (-tail / whole).ln_1p() } else { (inside / whole).ln() };
                node.weight * (n * whole.ln()).exp() * -(n * log_share).exp_m1()
            })
            .sum();
        sum.min(1.0)
    }

    /// Nodes up to the largest value that matters for a width.
    fn used(&self, w: f64) -> &[Node] {
        let used = ((2.0 * REACH + 0.5 * w) / STEP).ceil() as usize;
        &self.nodes[..=used.min(self.nodes.len() - 1)]
    }
}

impl Node {
    /// Φ(z) - Φ(z - w).
    fn inside(&self, w: f64) -> f64 {
        // For z > w the difference of the upper tails keeps the digits.
        let inside = if self.z > w { normal_cdf(w - self.z) - self.above } else { self.below - normal_cdf(self.z - w) };
        inside.max(0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::super::{normal_sf, t_quantile, t_sf};
    use super::*;

    #[test]
    fn the_range_of_two_means_is_a_t_test() {
        for df in [0.8, 1.0, 2.0, 7.3, 60.0, 1e5, f64::INFINITY] {
            for q in [0.1, 1.0, 3.5, 8.0, 25.0] {
                let t = q / 2.0_f64.sqrt();
                let expected = 2.0 * t_sf(t, df);
                if expected > 1e-30 {
                    let found = studentized_range_sf(q, 2, df);
                    assert!((found / expected - 1.0).abs() < 1e-10, "q {q}, df {df}: {found:e} {expected:e}");
                }
                let error = studentized_range_cdf(q, 2, df) - (1.0 - expected);
                assert!(error.abs() < 1e-13, "q {q}, df {df}: {error:e}");
            }
            let quantile = studentized_range_quantile(0.95, 2, df);
            assert!((quantile / (2.0_f64.sqrt() * t_quantile(0.975, df)) - 1.0).abs() < 1e-11, "df {df}");
        }
    }

    #[test]
    fn the_range_of_three_normal_values_has_its_known_mean() {
        // E range = 3 / sqrt(pi) for three values, and E range = integral of P(range > w).
        let range = RangeOfNormals::new(3).expect("valid");
        let mean: f64 = (0..400).map(|i| 0.03 * range.sf(0.03 * (f64::from(i) + 0.5))).sum();
        assert!((mean - 3.0 / PI.sqrt()).abs() < 1e-6, "{mean}");
    }

    #[test]
    fn both_tails_add_to_one_and_a_finer_step_changes_nothing_for_many_means() {
        for means in [3, 10, 50, 200] {
            for q in [0.5, 3.0, 5.5, 9.0] {
                for df in [1.5, 12.0, f64::INFINITY] {
                    let sum = studentized_range_cdf(q, means, df) + studentized_range_sf(q, means, df);
                    assert!((sum - 1.0).abs() < 1e-12, "k {means}, q {q}, df {df}: {sum}");
                }
            }
        }
        // An independent look: 50 normal values lie within w of their smallest, counted from below with a step of our own.
        let (w, k) = (5.0, 50);
        let by_smallest: f64 = (0..40_000)
            .map(|i| {
                let z = -10.0 + 5e-4 * f64::from(i);
                k as f64 * 5e-4 * (-0.5 * z * z).exp() / (2.0 * PI).sqrt()
                    * (normal_sf(z) - normal_sf(z + w)).powi(k - 1)
            })
            .sum();
        assert!((studentized_range_cdf(w, 50, f64::INFINITY) - by_smallest).abs() < 1e-12);
    }

    #[test]
    fn arguments_outside_the_domain_give_nan() {
        assert!(studentized_range_cdf(1.0, 1, 5.0).is_nan());
        assert!(studentized_range_cdf(1.0, 3, 0.0).is_nan());
        assert!(studentized_range_quantile(1.5, 3, 5.0).is_nan());
        assert!(studentized_range_sf(f64::NAN, 3, 5.0).is_nan());
        for tiny in [-1.0, 0.0, 1e-300, 1e-16, 1e-9] {
            assert!((studentized_range_sf(tiny, 3, 5.0) - 1.0).abs() < 1e-13, "{tiny}");
        }
        assert_eq!(studentized_range_cdf(f64::INFINITY, 3, 5.0), 1.0);
    }
}
