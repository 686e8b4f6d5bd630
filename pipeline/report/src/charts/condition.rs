//! The chart of a condition: every strip with field and block taken out, the pooled curve with its band, and where
//! the start, the default and the window lie.

use crate::charts::axis::Axis;
use crate::charts::labels::beside;
use crate::charts::marks::line_look;
use crate::charts::panel::{CurvePoint, Panel, response_axis};
use crate::charts::sketch::{Anchor, Ink, Point, Sketch, TEXT, TITLE, WIDTH};
use crate::font;
use crate::gauge::Gauge;
use crate::response::Response;

/// What the chart of a condition shows, in the units of its axes.
#[derive(Debug, Clone)]
pub(crate) struct ConditionChart {
    pub title: String,
    pub response: Response,
    pub gauge: Gauge,
    pub curve: Vec<CurvePoint>,
    /// Adjusted strips.
    pub strips: Vec<Point>,
    pub start: Option<f64>,
    pub default: Option<f64>,
    pub window: Option<(f64, f64)>,
}

const PANEL_HEIGHT: f64 = 220.0;
const LANE: f64 = 26.0;

impl ConditionChart {
    /// The chart as shapes.
    pub fn sketch(&self) -> Sketch {
        let mut sketch = Sketch::new();
        let heights = self.curve.iter().flat_map(CurvePoint::heights).chain(self.strips.iter().map(|strip| strip.1));
        let y = response_axis(&self.response, heights, 5);
        let marked = [self.start, self.default, self.window.map(|ends| ends.0), self.window.map(|ends| ends.1)];
        let across = self.curve.iter().map(|point| point.x).chain(self.strips.iter().map(|strip| strip.0));
        let x = Axis::round(across.chain(marked.into_iter().flatten()), (0.0, f64::INFINITY), 1.0, 6);
        let top = 110.0;
        let panel = Panel { left: Panel::margin(&y), right: WIDTH - 22.0, top, bottom: top + PANEL_HEIGHT, x, y };

        sketch.text_sized((4.0, 22.0), Anchor::Start, TITLE, Ink::Dark, &font::fitted(&self.title, TITLE, WIDTH - 8.0));
        panel.band(&mut sketch, &self.curve);
        panel.frame(&mut sketch, &self.gauge.axis_title(), "", LANE);
        sketch.text((4.0, 46.0), Anchor::Start, Ink::Muted, &self.response.axis_title());
        for strip in &self.strips {
            sketch.circle(panel.place(strip.0, strip.1), 2.6, Ink::Muted, Some(1.2));
        }
        self.tested(&mut sketch, &panel);
        panel.curve(&mut sketch, &self.curve, &line_look(0));
        self.uprights(&mut sketch, &panel);
        self.window(&mut sketch, &panel);
        sketch.height = panel.bottom + LANE + 54.0;
        sketch
    }

    /// Short strokes on top of the frame where strips were planted: what lies between was not tried.
    fn tested(&self, sketch: &mut Sketch, panel: &Panel) {
        let mut forces: Vec<f64> = self.strips.iter().map(|strip| panel.across(strip.0).round()).collect();
        forces.sort_by(f64::total_cmp);
        forces.dedup();
        for force in forces {
            sketch.line(vec![(force, panel.bottom + LANE), (force, panel.bottom + LANE - 6.0)], Ink::Muted, 1.0);
        }
    }

    /// The window as a hatched bar under the frame, with its words where no upright crosses them: inside the bar, else
    /// beside it, else on a patch of paper over whatever lies there.
    fn window(&self, sketch: &mut Sketch, panel: &Panel) {
        let Some((low, high)) = self.window else { return };
        let (left, right) = (panel.across(low), panel.across(high).max(panel.across(low) + 3.0));
        let (top, bottom) = (panel.bottom + 2.0, panel.bottom + 18.0);
        sketch.hatched(left, top, right, bottom, Ink::Teal);
        let words = "as good";
        let half = font::text_width(words, TEXT) / 2.0 + 4.0;
        let uprights: Vec<f64> = [self.start, self.default].into_iter().flatten().map(|at| panel.across(at)).collect();
        let mut cuts: Vec<f64> = uprights.iter().copied().filter(|at| *at > left && *at < right).collect();
        cuts.extend([left, right]);
        cuts.sort_by(f64::total_cmp);
        let widest = cuts.windows(2).max_by(|a, b| (a[1] - a[0]).total_cmp(&(b[1] - b[0])));
        let inside =
            widest.filter(|piece| piece[1] - piece[0] > 2.0 * half + 8.0).map(|piece| (piece[0] + piece[1]) / 2.0);
        let free = |middle: &f64| {
            middle - half >= panel.left
                && middle + half <= panel.right
                && uprights.iter().all(|at| (at - middle).abs() > half + 2.0)
        };
        let beside = [right + half + 3.0, left - half - 3.0].into_iter().find(free);
        let middle = inside.or(beside).unwrap_or(((left + right) / 2.0).clamp(panel.left + half, panel.right - half));
        let (from, to, over, under) = (middle - half, middle + half, top + 1.0, bottom - 1.0);
        sketch.area(vec![(from, over), (to, over), (to, under), (from, under)], Ink::Paper);
        sketch.text((middle, bottom - 3.5), Anchor::Middle, Ink::Dark, words);
    }

    /// Start and default as upright lines with their labels above the frame, each on a line of its own, so that they
    /// cannot meet however near the two are. The line of the upper label runs past the lower one, so the lower label
    /// stands on its far side.
    fn uprights(&self, sketch: &mut Sketch, panel: &Panel) {
        let shown = |value: f64| crate::number::with_unit(&self.gauge.axis_number(value), self.gauge.unit.symbol());
        let start = self.start.map(|value| (panel.across(value), format!("start {}", shown(value))));
        let default = self.default.map(|value| (panel.across(value), format!("default {}", shown(value))));
        match (start, default) {
            (Some((at, _)), Some((default, _))) if (at - default).abs() < 1.0 => {
                let words = format!("start, and the default: {}", shown(self.start.unwrap_or_default()));
                let (x, anchor) = beside(at, &words, LEFT, RIGHT);
                start_line(sketch, panel, at, LOWER);
                sketch.text((x, LOWER), anchor, Ink::Dark, &words);
            }
            (Some((start, start_words)), Some((default, default_words))) => {
                if let Some((x, anchor)) = away(default, &default_words, start) {
                    sketch.text((x, LOWER), anchor, Ink::Dark, &default_words);
                    let (x, anchor) = beside(start, &start_words, LEFT, RIGHT);
                    sketch.text((x, UPPER), anchor, Ink::Dark, &start_words);
                    default_line(sketch, panel, default, LOWER);
                    start_line(sketch, panel, start, UPPER);
                } else {
                    let (x, anchor) =
                        away(start, &start_words, default).unwrap_or_else(|| beside(start, &start_words, LEFT, RIGHT));
                    sketch.text((x, LOWER), anchor, Ink::Dark, &start_words);
                    let (x, anchor) = beside(default, &default_words, LEFT, RIGHT);
                    sketch.text((x, UPPER), anchor, Ink::Dark, &default_words);
                    default_line(sketch, panel, default, UPPER);
                    start_line(sketch, panel, start, LOWER);
                }
            }
            (Some((at, words)), None) => {
                let (x, anchor) = beside(at, &words, LEFT, RIGHT);
                sketch.text((x, LOWER), anchor, Ink::Dark, &words);
                start_line(sketch, panel, at, LOWER);
            }
            (None, Some((at, words))) => {
                let (x, anchor) = beside(at, &words, LEFT, RIGHT);
                sketch.text((x, LOWER), anchor, Ink::Dark, &words);
                default_line(sketch, panel, at, LOWER);
            }
            (None, None) => {}
        }
    }
}

/// Baselines of the two lines of labels, and the room they have.
const UPPER: f64 = 78.0;
const LOWER: f64 = 98.0;
const LEFT: f64 = 4.0;
const RIGHT: f64 = WIDTH - 4.0;

fn start_line(sketch: &mut Sketch, panel: &Panel, at: f64, baseline: f64) {
    sketch.line(vec![(at, baseline - 11.0), (at, panel.bottom + LANE)], Ink::Rust, 3.2);
}

fn default_line(sketch: &mut Sketch, panel: &Panel, at: f64, baseline: f64) {
    sketch.dashed(&[(at, baseline - 11.0), (at, panel.bottom + LANE)], &[6.0, 4.0], Ink::Dark, 1.4);
}

/// A label beside its line on the side away from another line, or on the near side where it fits between the two.
fn away(line: f64, words: &str, other: f64) -> Option<(f64, Anchor)> {
    let width = font::text_width(words, TEXT) + 7.0;
    let (fits_left, fits_right) = (line - width >= LEFT, line + width <= RIGHT);
    let gap = (other - line).abs() - 6.0;
    let left = (line - 7.0, Anchor::End);
    let right = (line + 7.0, Anchor::Start);
    if other > line {
        if fits_left { Some(left) } else { (width < gap).then_some(right) }
    } else if fits_right {
        Some(right)
    } else {
        (width < gap).then_some(left)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Results;
    use crate::charts::sketch::Shape;
    use crate::gauge::Unit;

    fn chart() -> ConditionChart {
        let curve = (0..=20)
            .map(|step| {
                let x = 130.0 + 26.0 * f64::from(step);
                let estimate = 78.0 - ((x - 340.0) / 100.0).powi(2) * 1.4;
                CurvePoint { x, estimate, low: Some(estimate - 4.0), high: Some(estimate + 4.0) }
            })
            .collect();
        ConditionChart {
            title: "dry, covered".to_owned(),
            response: Response::of("on_time_share", &Results::default()),
            gauge: Gauge::plain(Unit::Newton),
            curve,
            strips: vec![(130.0, 71.0), (390.0, 79.0), (650.0, 66.0)],
            start: Some(340.0),
            default: Some(260.0),
            window: Some((270.0, 420.0)),
        }
    }

    fn assert_no_text_meets(sketch: &Sketch, what: &str) {
        let boxes = sketch.text_boxes();
        for (index, (text, place)) in boxes.iter().enumerate() {
            assert!(place.left >= -0.5 && place.right <= WIDTH + 0.5, "{what}: {text} leaves the chart: {place:?}");
            assert!(place.bottom <= sketch.height, "{what}: {text} is cut");
            for (other, other_place) in &boxes[index + 1..] {
                assert!(!place.meets(other_place), "{what}: {text} lies on {other}");
            }
        }
    }

    /// Uprights are the lines that keep to one place across and reach above the frame.
    fn assert_no_upright_crosses_a_label(sketch: &Sketch, what: &str) {
        for shape in &sketch.shapes {
            let Shape::Line { points, .. } = shape else { continue };
            let [(x, from), (to_x, to)] = points.as_slice() else { continue };
            if x != to_x || *to > 110.0 + PANEL_HEIGHT + LANE {
                continue;
            }
            for (text, place) in sketch.text_boxes().iter().filter(|(text, _)| text != "as good") {
                let crosses = *x > place.left && *x < place.right && *from < place.bottom && *to > place.top;
                assert!(!crosses, "{what}: an upright crosses {text}");
            }
        }
    }

    #[test]
    fn start_and_default_labels_never_meet_however_near() {
        for default in [130.0, 300.0, 339.0, 340.0, 341.0, 650.0] {
            for start in [130.0, 338.0, 340.0, 649.0, 650.0] {
                let mut chart = chart();
                chart.default = Some(default);
                chart.start = Some(start);
                chart.window = Some((start - 2.0, start + 2.0));
                let what = format!("default {default}, start {start}");
                assert_no_text_meets(&chart.sketch(), &what);
                assert_no_upright_crosses_a_label(&chart.sketch(), &what);
            }
        }
    }

    #[test]
    fn a_chart_with_nothing_in_it_still_has_axes() {
        let mut chart = chart();
        chart.curve.clear();
        chart.strips.clear();
        chart.start = None;
        chart.default = None;
        chart.window = None;
        assert_no_text_meets(&chart.sketch(), "empty");
        chart.strips = vec![(300.0, 70.0); 4];
        assert_no_text_meets(&chart.sketch(), "all equal");
        chart.strips = vec![(300.0, 140.0)];
        chart.curve = vec![CurvePoint { x: 300.0, estimate: 70.0, low: None, high: None }];
        assert_no_text_meets(&chart.sketch(), "one point");
    }

    #[test]
    fn every_label_can_be_drawn_with_the_font() {
        for (text, _) in chart().sketch().text_boxes() {
            assert!(font::has_glyphs(&text), "{text}");
        }
    }
}
