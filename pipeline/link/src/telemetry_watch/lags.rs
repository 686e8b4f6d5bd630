//! Waiting times after changes, in bounded memory.

/// Lags that are held at most.
const MOST: usize = 128;

/// A sample of lags in microseconds: all of them up to 127, then every second, every fourth and so on.
#[derive(Debug, Clone, Default)]
pub(crate) struct Lags {
    held: Vec<i64>,
    /// Every how-many-th lag is held, as a power of two.
    halvings: u32,
    seen: u64,
}

impl Lags {
    pub fn push(&mut self, lag: i64) {
        let every = 1_u64 << self.halvings.min(63);
        if self.seen.is_multiple_of(every) {
            self.held.push(lag);
        }
        self.seen += 1;
        if self.held.len() >= MOST {
            let mut keep = false;
            self.held.retain(|_| {
                keep = !keep;
                keep
            });
            self.halvings += 1;
        }
    }

    /// Median in microseconds, the mean of two in the middle; `None` where nothing arrived.
    pub fn median(&self) -> Option<f64> {
        let mut sorted = self.held.clone();
        sorted.sort_unstable();
        let middle = |index: usize| sorted.get(index).map(|lag| *lag as f64);
        let upper = middle(sorted.len() / 2)?;
        Some(if sorted.len() % 2 == 1 { upper } else { (middle(sorted.len() / 2 - 1)? + upper) / 2.0 })
    }
}

#[cfg(test)]
mod tests {
    use super::Lags;

    #[test]
    fn the_median_of_few_lags_is_exact() {
        let mut lags = Lags::default();
        assert_eq!(lags.median(), None);
        for lag in [5, 1, 9] {
            lags.push(lag);
        }
        assert_eq!(lags.median(), Some(5.0));
        lags.push(7);
        assert_eq!(lags.median(), Some(6.0));
    }

    #[test]
    fn a_million_lags_take_no_more_memory_than_a_hundred_and_keep_their_median() {
        let mut lags = Lags::default();
        for lag in 0..1_000_000 {
            lags.push(lag * 7919 % 1000);
        }
        assert!(lags.held.len() < 128, "{}", lags.held.len());
        assert!((lags.median().unwrap() - 499.5).abs() < 120.0, "{:?}", lags.median());
    }
}
