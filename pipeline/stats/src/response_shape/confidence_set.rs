//! Sets of x where the slope of a quadratic cannot be told from a given one.

use crate::interval::Interval;

/// The set `{x : |slope(x) - gradient| ≤ t se(x)}` of Fieller (1954). It holds the estimate, so it is never empty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum FiellerSet {
    /// Bounded on both sides: the curvature differs from zero at this confidence.
    Interval(Interval),
    /// Everything but an open interval: `x ≤ low_end` or `x ≥ high_start`. The data exclude an optimum in between, and nothing else.
    TwoRays {
        /// Last value of the lower ray.
        low_end: f64,
        /// First value of the upper ray.
        high_start: f64,
    },
    /// One ray, from or to an infinite limit; only when the curvature sits exactly on the edge of being told from zero.
    Ray(Interval),
    /// No value is excluded.
    WholeLine,
}

impl FiellerSet {
    /// Solves `a u² + b u + c ≤ 0` for `u = x - centre`.
    pub(crate) fn solve(a: f64, b: f64, c: f64, centre: f64) -> Self {
        let discriminant = b * b - 4.0 * a * c;
        if a == 0.0 {
            let edge = centre - c / b;
            return match b.total_cmp(&0.0) {
                _ if b == 0.0 => Self::WholeLine,
                std::cmp::Ordering::Greater => Self::Ray(Interval { low: f64::NEG_INFINITY, high: edge }),
                _ => Self::Ray(Interval { low: edge, high: f64::INFINITY }),
            };
        }
        if a < 0.0 && discriminant <= 0.0 {
            return Self::WholeLine;
        }
        // The root with the larger size first: no cancellation. Rounding may leave a discriminant just below zero for a point set.
        let q = -0.5 * (b + discriminant.max(0.0).sqrt().copysign(b));
        let (first, second) = if q == 0.0 { (0.0, 0.0) } else { (q / a, c / q) };
        let (low, high) = (centre + first.min(second), centre + first.max(second));
        if a > 0.0 { Self::Interval(Interval { low, high }) } else { Self::TwoRays { low_end: low, high_start: high } }
    }

    /// True when `x` is not excluded.
    pub fn contains(&self, x: f64) -> bool {
        match self {
            Self::Interval(interval) | Self::Ray(interval) => interval.contains(x),
            Self::TwoRays { low_end, high_start } => x <= *low_end || x >= *high_start,
            Self::WholeLine => !x.is_nan(),
        }
    }

    /// Form of the set in words.
    pub fn form(&self) -> &'static str {
        match self {
            Self::Interval(_) => "interval",
            Self::TwoRays { .. } => "two rays",
            Self::Ray(_) => "ray",
            Self::WholeLine => "whole line",
        }
    }

    /// The part inside `range`, as pieces in ascending order.
    pub fn within(&self, range: Interval) -> Vec<Interval> {
        let whole = match *self {
            Self::Interval(interval) | Self::Ray(interval) => vec![interval],
            Self::TwoRays { low_end, high_start } => vec![
                Interval { low: f64::NEG_INFINITY, high: low_end },
                Interval { low: high_start, high: f64::INFINITY },
            ],
            Self::WholeLine => vec![Interval { low: f64::NEG_INFINITY, high: f64::INFINITY }],
        };
        whole
            .into_iter()
            .map(|piece| Interval { low: piece.low.max(range.low), high: piece.high.min(range.high) })
            .filter(|piece| piece.low <= piece.high)
            .collect()
    }
}

/// Values of x inside a range that may hold the optimum *of that range*.
///
/// Rule: an inner x belongs when its slope cannot be told from the gradient (two-sided, as in [`FiellerSet`]). At an end the slope of
/// a best end may point outwards, so an end is left out only when its slope points inwards by a one-sided test. Pieces are closed:
/// an end also belongs when the inner piece reaches it. Never empty.
#[derive(Debug, Clone, PartialEq)]
pub struct ConstrainedSet {
    /// Pieces in ascending order; an end alone is a piece of width zero.
    pub pieces: Vec<Interval>,
    /// The range.
    pub range: Interval,
    /// Confidence of the set.
    pub confidence: f64,
    /// True when the lower end of the range belongs.
    pub low_end: bool,
    /// True when the upper end of the range belongs.
    pub high_end: bool,
}

impl ConstrainedSet {
    pub(crate) fn new(
        inner: FiellerSet,
        range: Interval,
        confidence: f64,
        low_allowed: bool,
        high_allowed: bool,
    ) -> Self {
        let mut pieces = inner.within(range);
        if low_allowed && pieces.first().is_none_or(|piece| piece.low > range.low) {
            pieces.insert(0, Interval { low: range.low, high: range.low });
        }
        if high_allowed && pieces.last().is_none_or(|piece| piece.high < range.high) {
            pieces.push(Interval { low: range.high, high: range.high });
        }
        let low_end = pieces.first().is_some_and(|piece| piece.low == range.low);
        let high_end = pieces.last().is_some_and(|piece| piece.high == range.high);
        Self { pieces, range, confidence, low_end, high_end }
    }

    /// True when `x` belongs.
    pub fn contains(&self, x: f64) -> bool {
        self.pieces.iter().any(|piece| piece.contains(x))
    }

    /// Total width over the width of the range: 1 when the data exclude nothing.
    pub fn share_of_range(&self) -> f64 {
        self.pieces.iter().map(Interval::width).sum::<f64>() / self.range.width()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_four_forms_are_the_solutions_of_the_inequality() {
        for (a, b, c) in [(1.0, -3.0, 2.0), (-1.0, 3.0, -2.0), (-1.0, 0.5, -2.0), (0.0, 2.0, -1.0), (0.0, -2.0, -1.0)] {
            let set = FiellerSet::solve(a, b, c, 10.0);
            for k in -80..=80 {
                let u = f64::from(k) / 16.0 + 0.01;
                assert_eq!(set.contains(10.0 + u), a * u * u + b * u + c <= 0.0, "{} at {u}", set.form());
            }
        }
    }

    #[test]
    fn a_range_outside_the_set_keeps_the_end_that_the_rule_allows() {
        let inner = FiellerSet::Interval(Interval { low: 5.0, high: 9.0 });
        let range = Interval { low: 0.0, high: 4.0 };
        let set = ConstrainedSet::new(inner, range, 0.95, false, true);
        assert_eq!(set.pieces, [Interval { low: 4.0, high: 4.0 }]);
        assert!(set.high_end && !set.low_end && set.share_of_range() == 0.0);
    }
}
