//! A pair of limits.

/// Lower and upper limit in the units of the estimate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// Lower limit.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
}

impl Interval {
    /// True when `value` lies inside, limits included.
    pub fn contains(&self, value: f64) -> bool {
        self.low <= value && value <= self.high
    }

    /// Upper minus lower limit.
    pub fn width(&self) -> f64 {
        self.high - self.low
    }
}
