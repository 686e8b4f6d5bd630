//! Lanes under a frame: sets of settings as bars, told apart by shape alone, each with its label where no upright
//! crosses it.

use crate::charts::panel::Panel;
use crate::charts::sketch::{Anchor, Ink, Sketch, TEXT, WIDTH};
use crate::font;

/// How a bar looks, in black and white as in colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Look {
    Hatched,
    Filled,
    Outlined,
    /// A dot at either end, joined by a thin line.
    Dots,
}

/// A set of settings in the units of the axis across.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Lane {
    pub look: Look,
    pub label: &'static str,
    pub ends: (f64, f64),
}

/// Height of one lane in pixels; two labels one below the other do not touch.
const HEIGHT: f64 = 21.0;
const MARGIN: f64 = 5.0;

/// Room that so many lanes take; at least that of one, so that charts without any look like the others.
pub(crate) fn room(lanes: usize) -> f64 {
    MARGIN + HEIGHT * lanes.max(1) as f64
}

/// Draws the lanes from the foot of the frame down. `uprights` are the pixels across of lines that run through them.
pub(crate) fn draw(sketch: &mut Sketch, panel: &Panel, lanes: &[Lane], uprights: &[f64]) {
    for (number, lane) in lanes.iter().enumerate() {
        let top = panel.bottom + 2.0 + HEIGHT * number as f64;
        let left = panel.across(lane.ends.0);
        let right = panel.across(lane.ends.1).max(left + 3.0);
        bar(sketch, lane.look, left, right, top);
        let half = font::text_width(lane.label, TEXT) / 2.0 + 4.0;
        let middle = label_middle((left, right), half, (panel.left, WIDTH - 4.0), uprights);
        let (from, to, over, under) = (middle - half, middle + half, top + 1.0, top + 15.0);
        sketch.area(vec![(from, over), (to, over), (to, under), (from, under)], Ink::Paper);
        sketch.text((middle, top + 12.5), Anchor::Middle, Ink::Dark, lane.label);
    }
}

fn bar(sketch: &mut Sketch, look: Look, left: f64, right: f64, top: f64) {
    let middle = top + 8.0;
    let corners =
        |half: f64| vec![(left, middle - half), (right, middle - half), (right, middle + half), (left, middle + half)];
    match look {
        Look::Hatched => sketch.hatched(left, top, right, top + 16.0, Ink::Teal),
        Look::Filled => sketch.area(corners(3.5), Ink::Dark),
        Look::Outlined => {
            let mut outline = corners(4.0);
            outline.push((left, middle - 4.0));
            sketch.line(outline, Ink::Dark, 1.4);
        }
        Look::Dots => {
            sketch.line(vec![(left, middle), (right, middle)], Ink::Dark, 1.2);
            for end in [left, right] {
                sketch.circle((end, middle), 4.0, Ink::Dark, None);
            }
        }
    }
}

/// Where the middle of a label goes: into the widest piece of the bar between uprights, else beside the bar, else into
/// the nearest gap that has room, else over the bar on its patch of paper.
fn label_middle(bar: (f64, f64), half: f64, frame: (f64, f64), uprights: &[f64]) -> f64 {
    let (left, right) = bar;
    let mut cuts: Vec<f64> = uprights.iter().copied().filter(|at| *at > left && *at < right).collect();
    cuts.extend([left, right]);
    cuts.sort_by(f64::total_cmp);
    let widest = cuts.windows(2).max_by(|a, b| (a[1] - a[0]).total_cmp(&(b[1] - b[0])));
    if let Some(piece) = widest.filter(|piece| piece[1] - piece[0] > 2.0 * half + 8.0) {
        return (piece[0] + piece[1]) / 2.0;
    }
    let free = |middle: &f64| {
        middle - half >= frame.0
            && middle + half <= frame.1
            && uprights.iter().all(|at| (at - middle).abs() > half + 2.0)
            && (middle - half >= right + 2.0 || middle + half <= left - 2.0)
    };
    // Beside the bar first (clear of its dots), then beside every upright.
    let beside = [right + half + 6.0, left - half - 6.0].into_iter();
    let further = uprights.iter().flat_map(|at| [at + half + 3.0, at - half - 3.0]);
    let distance = |middle: f64| (middle - (left + right) / 2.0).abs();
    let further = further.filter(free).min_by(|a, b| distance(*a).total_cmp(&distance(*b)));
    let over = ((left + right) / 2.0).clamp(frame.0 + half, (frame.1 - half).max(frame.0 + half));
    beside.into_iter().find(free).or(further).unwrap_or(over)
}

#[cfg(test)]
mod tests {
    use super::*;

    const FRAME: (f64, f64) = (40.0, 540.0);

    #[test]
    fn a_wide_bar_carries_its_label_in_its_widest_piece() {
        assert!((label_middle((100.0, 400.0), 40.0, FRAME, &[]) - 250.0).abs() < 1e-9);
        assert!((label_middle((100.0, 400.0), 40.0, FRAME, &[180.0]) - 290.0).abs() < 1e-9);
    }

    #[test]
    fn a_short_bar_has_its_label_beside_it_and_clear_of_uprights() {
        assert!((label_middle((100.0, 120.0), 40.0, FRAME, &[]) - 166.0).abs() < 1e-9);
        let left = label_middle((300.0, 320.0), 40.0, FRAME, &[340.0]);
        assert!((left - 254.0).abs() < 1e-9, "to the left where an upright stands on the right: {left}");
        let gap = label_middle((300.0, 320.0), 40.0, FRAME, &[280.0, 340.0]);
        assert!((gap - 383.0).abs() < 1e-9 || (gap - 237.0).abs() < 1e-9, "past the nearer upright: {gap}");
    }

    #[test]
    fn a_label_never_leaves_the_frame() {
        for left in 0..50 {
            for width in [0.0, 30.0, 200.0, 500.0] {
                let left = 40.0 + 10.0 * f64::from(left);
                let bar = (left, (left + width).min(540.0).max(left + 3.0));
                for uprights in [vec![], vec![left], vec![left - 20.0, left + 30.0]] {
                    let middle = label_middle(bar, 70.0, FRAME, &uprights);
                    assert!(middle - 70.0 >= FRAME.0 - 1e-9 && middle + 70.0 <= FRAME.1 + 1e-9, "{bar:?}: {middle}");
                }
            }
        }
    }
}
