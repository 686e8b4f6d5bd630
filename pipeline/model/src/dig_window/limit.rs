//! A limit of the dig window, as draws.

use super::quantiles;

/// Where a limit lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Lies {
    Inside,
    Lighter,
    Heavier,
    Unknown,
}

impl Lies {
    pub fn name(self) -> &'static str {
        match self {
            Lies::Inside => "inside",
            Lies::Lighter => "lighter",
            Lies::Heavier => "heavier",
            Lies::Unknown => "unknown",
        }
    }
}

/// The force at which a share crosses what is allowed. Numbers may lie far outside the forces dug; they are shown inside only.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Limit {
    /// Median of the draws: as likely lighter as heavier.
    pub estimate: f64,
    /// Ends of the 90 % interval.
    pub low: f64,
    pub high: f64,
    /// Where the middle nine of ten fields not yet seen have it.
    pub fields: (f64, f64),
    /// Probability that the share goes the expected way, before that is taken for granted.
    pub expected_way: f64,
    /// Lightest and heaviest force dug.
    pub dug: (f64, f64),
    /// Where it lies, whatever the draws say: where no place, or every place, was as asked, digging itself shows the side.
    shown: Option<Lies>,
    /// Draws of the typical field, in order.
    sorted: Vec<f64>,
}

impl Limit {
    /// From draws of the typical field and of fields not yet seen; both without NaN, neither empty.
    pub fn new(mut typical: Vec<f64>, fields: &[f64], expected_way: f64, dug: (f64, f64), shown: Option<Lies>) -> Self {
        typical.sort_by(f64::total_cmp);
        let [low, estimate, high] = quantiles(&typical);
        let [field_low, _, field_high] = quantiles(fields);
        Self { estimate, low, high, fields: (field_low, field_high), expected_way, dug, shown, sorted: typical }
    }

    pub fn lies(&self) -> Lies {
        self.shown.unwrap_or(match self.estimate {
            estimate if estimate < self.dug.0 => Lies::Lighter,
            estimate if estimate > self.dug.1 => Lies::Heavier,
            _ => Lies::Inside,
        })
    }

    /// Probability that it lies on that side of the forces dug.
    pub fn surely(&self, side: Lies) -> f64 {
        let below = self.sorted.partition_point(|limit| *limit < self.dug.0);
        let above = self.sorted.len() - self.sorted.partition_point(|limit| *limit <= self.dug.1);
        let count = match side {
            Lies::Lighter => below,
            Lies::Heavier => above,
            Lies::Inside => self.sorted.len() - below - above,
            Lies::Unknown => 0,
        };
        count as f64 / self.sorted.len() as f64
    }

    /// The limit, where it lies inside the forces dug.
    pub fn inside(&self) -> Option<f64> {
        (self.lies() == Lies::Inside).then_some(self.estimate)
    }

    /// A range cut to the forces dug: an end beyond the near side is at it, one beyond the far side is empty.
    pub fn cut(&self, (low, high): (f64, f64)) -> (Option<f64>, Option<f64>) {
        let (lightest, heaviest) = self.dug;
        let low = if low > heaviest { None } else { (low >= lightest).then_some(low) };
        let high = if high < lightest { None } else { (high <= heaviest).then_some(high) };
        (low, high)
    }
}

/// Probability that some force dug is at or above the open limit and at or below the firm limit. The two are judged by different digs, so every
/// pair of draws counts the same.
pub(super) fn probability_of_window(open: &Limit, firm: &Limit, dug: (f64, f64)) -> f64 {
    let firm_below = |force: f64| firm.sorted.partition_point(|limit| *limit < force);
    let pairs: usize = open
        .sorted
        .iter()
        .filter(|limit| **limit <= dug.1)
        .map(|limit| firm.sorted.len() - firm_below(limit.max(dug.0)))
        .sum();
    pairs as f64 / (open.sorted.len() * firm.sorted.len()) as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    fn limit(draws: &[f64]) -> Limit {
        Limit::new(draws.to_vec(), draws, 1.0, (100.0, 300.0), None)
    }

    #[test]
    fn a_limit_outside_the_forces_dug_is_named_by_its_side_and_has_no_number() {
        assert_eq!(limit(&[60.0, 70.0, 80.0]).lies(), Lies::Lighter);
        assert_eq!(limit(&[310.0, 320.0, 1e9]).lies(), Lies::Heavier);
        assert_eq!(limit(&[60.0, 70.0, 80.0]).inside(), None);
        assert_eq!(limit(&[150.0, 160.0, 170.0]).inside(), Some(160.0));
    }

    #[test]
    fn where_digging_itself_shows_the_side_the_draws_do_not_decide_it() {
        let limit = Limit::new(vec![150.0], &[150.0], 0.5, (100.0, 300.0), Some(Lies::Lighter));
        assert_eq!((limit.lies(), limit.inside()), (Lies::Lighter, None));
    }

    #[test]
    fn a_range_is_cut_to_the_forces_dug() {
        let any = limit(&[150.0]);
        assert_eq!(any.cut((120.0, 280.0)), (Some(120.0), Some(280.0)));
        assert_eq!(any.cut((20.0, 280.0)), (None, Some(280.0)));
        assert_eq!(any.cut((120.0, 900.0)), (Some(120.0), None));
        assert_eq!(any.cut((20.0, 30.0)), (None, None));
    }

    #[test]
    fn the_probability_of_a_window_counts_pairs_inside_the_forces_dug() {
        let dug = (100.0, 300.0);
        let open = limit(&[50.0, 150.0, 250.0, 350.0]);
        // 350 shuts nowhere; 50 leaves a window under both firm limits that reach the forces dug.
        let firm = limit(&[80.0, 200.0, 400.0]);
        // Pairs: 50 with 200, 400; 150 with 200, 400; 250 with 400.
        assert!((probability_of_window(&open, &firm, dug) - 5.0 / 12.0).abs() < 1e-12);
        assert_eq!(probability_of_window(&limit(&[120.0]), &limit(&[119.0]), dug), 0.0);
        assert_eq!(probability_of_window(&limit(&[120.0]), &limit(&[120.0]), dug), 1.0);
    }
}
