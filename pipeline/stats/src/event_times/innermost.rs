//! Which intervals can carry mass, and which rows cover them.

use super::data::IntervalData;

/// A row's innermost intervals `first..=last` and its count.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Cover {
    pub(super) first: usize,
    pub(super) last: usize,
    pub(super) weight: f64,
}

/// The intervals `(p, q]` with p a left end, q a right end and no end between, ascending; and the run of them inside each used row.
///
/// Moving mass from anywhere else into one of these never loses likelihood. Rows that cover the same run are merged.
pub(super) fn innermost(data: &IntervalData) -> (Vec<(f64, f64)>, Vec<Cover>) {
    // At equal times a right end comes first: `(1, 2]` and `(2, 3]` have no point in common.
    let mut ends: Vec<(f64, bool)> =
        data.used().flat_map(|row| [(data.left()[row], true), (data.right()[row], false)]).collect();
    ends.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let intervals: Vec<(f64, f64)> =
        ends.windows(2).filter(|pair| pair[0].1 && !pair[1].1).map(|pair| (pair[0].0, pair[1].0)).collect();
    let mut covers: Vec<Cover> = data
        .used()
        .map(|row| Cover {
            first: intervals.partition_point(|interval| interval.0 < data.left()[row]),
            last: intervals.partition_point(|interval| interval.1 <= data.right()[row]) - 1,
            weight: data.counts()[row] as f64,
        })
        .collect();
    covers.sort_by_key(|cover| (cover.first, cover.last));
    covers.dedup_by(|next, kept| {
        let same = (next.first, next.last) == (kept.first, kept.last);
        if same {
            kept.weight += next.weight;
        }
        same
    });
    (intervals, covers)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn intervals_that_only_touch_do_not_overlap() {
        let data = IntervalData::individuals(vec![4.0, 5.0, 4.0, 11.0], vec![5.0, 8.0, 8.0, f64::INFINITY]).unwrap();
        let (intervals, covers) = innermost(&data);
        assert_eq!(intervals, [(4.0, 5.0), (5.0, 8.0), (11.0, f64::INFINITY)]);
        let runs: Vec<(usize, usize)> = covers.iter().map(|cover| (cover.first, cover.last)).collect();
        assert_eq!(runs, [(0, 0), (0, 1), (1, 1), (2, 2)]);
    }
}
