//! Where labels go so that none lies on another.

use crate::charts::sketch::{Anchor, TEXT};
use crate::font;

/// Moves wanted heights apart until neighbours are `gap` away, inside `low` to `high`. The order of the answer is
/// the order of the question. Where there is no room for the gap, labels share the room evenly.
pub(crate) fn spread(wanted: &[f64], gap: f64, low: f64, high: f64) -> Vec<f64> {
    let count = wanted.len();
    if count == 0 {
        return Vec::new();
    }
    let gap = if count > 1 { gap.min((high - low) / (count - 1) as f64) } else { gap };
    let mut order: Vec<usize> = (0..count).collect();
    order.sort_by(|&a, &b| wanted[a].total_cmp(&wanted[b]).then(a.cmp(&b)));
    let mut places: Vec<f64> = Vec::with_capacity(count);
    for &index in &order {
        let least = places.last().map_or(low, |last: &f64| last + gap);
        places.push(wanted[index].max(least));
    }
    let mut most = high;
    for place in places.iter_mut().rev() {
        *place = place.min(most);
        most = *place - gap;
    }
    let mut answer = vec![0.0; count];
    for (index, place) in order.into_iter().zip(places) {
        answer[index] = place;
    }
    answer
}

/// Where a label beside an upright line starts or ends: to its right where there is room, else to its left, else as
/// far right as it fits.
pub(crate) fn beside(line: f64, text: &str, left: f64, right: f64) -> (f64, Anchor) {
    let width = font::text_width(text, TEXT);
    if line + 7.0 + width <= right {
        (line + 7.0, Anchor::Start)
    } else if line - 7.0 - width >= left {
        (line - 7.0, Anchor::End)
    } else {
        ((right - width).max(left), Anchor::Start)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn crowded_labels_move_apart_and_stay_inside() {
        let places = spread(&[100.0, 101.0, 20.0, 102.0], 18.0, 10.0, 120.0);
        assert!((places[2] - 20.0).abs() < 1e-9, "a label alone stays where it was wanted");
        let mut sorted = places.clone();
        sorted.sort_by(f64::total_cmp);
        assert!(sorted.windows(2).all(|pair| pair[1] - pair[0] >= 18.0 - 1e-9), "{places:?}");
        assert!(sorted[0] >= 10.0 && sorted[3] <= 120.0);
        assert!(places[0] < places[1] && places[1] < places[3], "the order is kept");
    }

    #[test]
    fn too_many_labels_share_the_room() {
        let places = spread(&[5.0; 11], 18.0, 0.0, 100.0);
        assert!((places[10] - 100.0).abs() < 1e-9 && places[0].abs() < 1e-9, "{places:?}");
        assert!(spread(&[], 18.0, 0.0, 100.0).is_empty());
    }

    #[test]
    fn a_label_flips_at_the_right_edge() {
        assert_eq!(beside(100.0, "start", 0.0, 500.0).1, Anchor::Start);
        assert_eq!(beside(490.0, "start", 0.0, 500.0).1, Anchor::End);
    }
}
