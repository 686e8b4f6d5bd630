//! The chart of a condition: every strip with field and block taken out, the pooled curve with its band, and where
//! the start, the default and the window lie.

use crate::charts::axis::Axis;
use crate::charts::dig_panel::DigPanel;
use crate::charts::labels::beside;
use crate::charts::lanes::{self, Lane, Look};
use crate::charts::marks::line_look;
use crate::charts::panel::{CurvePoint, Panel, response_axis};
use crate::charts::sketch::{Anchor, Ink, Point, Sketch, TEXT, TITLE, WIDTH};
use crate::font;
use crate::words::gauge::Gauge;
use crate::words::labels;
use crate::words::response::Response;
use crate::words::what_can_be_best::Sets;

/// What the chart of a condition shows, in the units of its axes.
#[derive(Debug, Clone)]
pub(crate) struct ConditionChart {
    pub title: String,
    pub response: Response,
    pub gauge: Gauge,
    pub curve: Vec<CurvePoint>,
    /// Adjusted strips.
    pub strips: Vec<Point>,
    /// What each of them says when it is pointed at; as many as strips, or none.
    pub says: Vec<String>,
    pub start: Option<f64>,
    pub default: Option<f64>,
    pub window: Option<(f64, f64)>,
    /// What can be the best, in newtons.
    pub sets: Sets,
    /// What digging showed, on the same axis.
    pub digs: Option<DigPanel>,
}

const PANEL_HEIGHT: f64 = 220.0;
const TOP: f64 = 110.0;
const RIGHT_SIDE: f64 = WIDTH - 22.0;

/// An axis of shares, for the room that its labels take.
fn share_axis() -> Axis {
    Axis { low: 0.0, high: 100.0, ticks: vec![(100.0, "100".to_owned())] }
}

impl ConditionChart {
    /// The chart as shapes.
    pub fn sketch(&self) -> Sketch {
        let mut sketch = Sketch::new();
        let lanes = self.lanes();
        let ends = lanes.iter().flat_map(|lane| [Some(lane.ends.0), Some(lane.ends.1)]);
        let marked = [self.start, self.default].into_iter().chain(ends);
        let across = self.curve.iter().map(|point| point.x).chain(self.strips.iter().map(|strip| strip.0));
        let dug = self.digs.iter().flat_map(DigPanel::forces);
        let x = Axis::round(across.chain(marked.flatten()).chain(dug), (0.0, f64::INFINITY), 1.0, 6);
        sketch.text_sized((4.0, 22.0), Anchor::Start, TITLE, Ink::Dark, &font::fitted(&self.title, TITLE, WIDTH - 8.0));
        let mut sides = (Panel::margin(&share_axis()), RIGHT_SIDE);
        let (mut foot, mut bottom) = (UPPER - 14.0, UPPER - 14.0);
        if !self.digs_alone() {
            let heights =
                self.curve.iter().flat_map(CurvePoint::heights).chain(self.strips.iter().map(|strip| strip.1));
            let y = response_axis(&self.response, heights, 5);
            sides.0 = Panel::margin(&y);
            let panel = Panel { left: sides.0, right: sides.1, top: TOP, bottom: TOP + PANEL_HEIGHT, x: x.clone(), y };
            foot = self.stand(&mut sketch, &panel, &lanes);
            bottom = foot + 54.0;
        }
        if let Some(digs) = &self.digs {
            let top = if self.digs_alone() { LOWER } else { bottom };
            let panel = digs.draw(&mut sketch, sides, &x, top, &self.gauge.axis_title());
            let end = panel.bottom + digs.room();
            if self.digs_alone() {
                self.uprights(&mut sketch, &panel, end);
            } else {
                self.uprights_below(&mut sketch, &panel, end);
            }
            digs.name(&mut sketch, &panel, &self.upright_places(&panel));
            bottom = top + digs.height();
        }
        sketch.height = bottom.max(foot);
        sketch
    }

    /// Whether there is nothing of the stand to draw.
    pub fn digs_alone(&self) -> bool {
        self.digs.is_some() && self.curve.is_empty() && self.strips.is_empty()
    }

    /// Pixels across of start and default.
    fn upright_places(&self, panel: &Panel) -> Vec<f64> {
        [self.start, self.default].into_iter().flatten().map(|at| panel.across(at)).collect()
    }

    /// The panel of the stand; gives the pixels from the top of its axis.
    fn stand(&self, sketch: &mut Sketch, panel: &Panel, lanes: &[Lane]) -> f64 {
        let room = lanes::room(lanes.len());
        panel.band(sketch, &self.curve);
        panel.frame(sketch, &self.gauge.axis_title(), "", room);
        sketch.text((4.0, 46.0), Anchor::Start, Ink::Muted, &self.response.axis_title());
        for strip in &self.strips {
            sketch.circle(panel.place(strip.0, strip.1), 2.6, Ink::Muted, Some(1.2));
        }
        let foot = panel.bottom + room;
        self.tested(sketch, panel, foot);
        panel.curve(sketch, &self.curve, &line_look(0));
        self.uprights(sketch, panel, foot);
        lanes::draw(sketch, panel, lanes, &self.upright_places(panel));
        for (strip, says) in self.strips.iter().zip(&self.says) {
            sketch.spot(panel.place(strip.0, strip.1), 7.0, says);
        }
        foot
    }

    /// Start and default once more in the panel of digs, without their labels.
    fn uprights_below(&self, sketch: &mut Sketch, panel: &Panel, foot: f64) {
        if let Some(default) = self.default {
            sketch.dashed(
                &[(panel.across(default), panel.top), (panel.across(default), foot)],
                &[6.0, 4.0],
                Ink::Dark,
                1.4,
            );
        }
        if let Some(start) = self.start {
            sketch.line(vec![(panel.across(start), panel.top), (panel.across(start), foot)], Ink::Rust, 3.2);
        }
    }

    /// Short strokes on top of the frame where strips were planted: what lies between was not tried.
    fn tested(&self, sketch: &mut Sketch, panel: &Panel, foot: f64) {
        let mut forces: Vec<f64> = self.strips.iter().map(|strip| panel.across(strip.0).round()).collect();
        forces.sort_by(f64::total_cmp);
        forces.dedup();
        for force in forces {
            sketch.line(vec![(force, foot), (force, foot - 6.0)], Ink::Muted, 1.0);
        }
    }

    /// The sets under the curve, from the one that a person acts on to the one that assumes least.
    pub fn lanes(&self) -> Vec<Lane> {
        let shown = |(low, high): (f64, f64)| (self.gauge.value(low), self.gauge.value(high));
        [
            (Look::Hatched, labels::AS_GOOD, self.window),
            (Look::Filled, labels::CAN_BE_BEST, self.sets.curve.map(shown)),
            (Look::Outlined, labels::CONDITION_ALONE, self.sets.own.map(shown)),
            (Look::Dots, labels::WITHOUT_A_CURVE, self.sets.settings.map(shown)),
        ]
        .into_iter()
        .filter_map(|(look, label, ends)| Some(Lane { look, label, ends: ends? }))
        .collect()
    }

    /// Start and default as upright lines with their labels above the frame, each on a line of its own, so that they
    /// cannot meet however near the two are. The line of the upper label runs past the lower one, so the lower label
    /// stands on its far side.
    fn uprights(&self, sketch: &mut Sketch, panel: &Panel, foot: f64) {
        let shown =
            |value: f64| crate::words::number::with_unit(&self.gauge.axis_number(value), self.gauge.unit.symbol());
        let start = self.start.map(|value| (panel.across(value), labels::start(&shown(value))));
        let default = self.default.map(|value| (panel.across(value), labels::default(&shown(value))));
        match (start, default) {
            (Some((at, _)), Some((default, _))) if (at - default).abs() < 1.0 => {
                let words = labels::start_and_default(&shown(self.start.unwrap_or_default()));
                let (x, anchor) = beside(at, &words, LEFT, RIGHT);
                start_line(sketch, at, LOWER, foot);
                sketch.text((x, LOWER), anchor, Ink::Dark, &words);
            }
            (Some((start, start_words)), Some((default, default_words))) => {
                if let Some((x, anchor)) = away(default, &default_words, start) {
                    sketch.text((x, LOWER), anchor, Ink::Dark, &default_words);
                    let (x, anchor) = beside(start, &start_words, LEFT, RIGHT);
                    sketch.text((x, UPPER), anchor, Ink::Dark, &start_words);
                    default_line(sketch, default, LOWER, foot);
                    start_line(sketch, start, UPPER, foot);
                } else {
                    let (x, anchor) =
                        away(start, &start_words, default).unwrap_or_else(|| beside(start, &start_words, LEFT, RIGHT));
                    sketch.text((x, LOWER), anchor, Ink::Dark, &start_words);
                    let (x, anchor) = beside(default, &default_words, LEFT, RIGHT);
                    sketch.text((x, UPPER), anchor, Ink::Dark, &default_words);
                    default_line(sketch, default, UPPER, foot);
                    start_line(sketch, start, LOWER, foot);
                }
            }
            (Some((at, words)), None) => {
                let (x, anchor) = beside(at, &words, LEFT, RIGHT);
                sketch.text((x, LOWER), anchor, Ink::Dark, &words);
                start_line(sketch, at, LOWER, foot);
            }
            (None, Some((at, words))) => {
                let (x, anchor) = beside(at, &words, LEFT, RIGHT);
                sketch.text((x, LOWER), anchor, Ink::Dark, &words);
                default_line(sketch, at, LOWER, foot);
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

fn start_line(sketch: &mut Sketch, at: f64, baseline: f64, foot: f64) {
    sketch.line(vec![(at, baseline - 11.0), (at, foot)], Ink::Rust, 3.2);
}

fn default_line(sketch: &mut Sketch, at: f64, baseline: f64, foot: f64) {
    sketch.dashed(&[(at, baseline - 11.0), (at, foot)], &[6.0, 4.0], Ink::Dark, 1.4);
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
    use crate::charts::dig_panel::DigCurve;
    use crate::charts::sketch::Shape;
    use crate::charts::sketch::assert_no_text_meets;
    use crate::words::gauge::Unit;

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
            says: Vec::new(),
            start: Some(340.0),
            default: Some(260.0),
            window: Some((270.0, 420.0)),
            sets: sets(Some((130.0, 650.0)), Some((230.0, 480.0)), Some((265.0, 452.0))),
            digs: None,
        }
    }

    fn sets(settings: Option<(f64, f64)>, own: Option<(f64, f64)>, curve: Option<(f64, f64)>) -> Sets {
        Sets { settings, own, curve, ..Sets::default() }
    }

    /// Labels that stand on a patch of paper wherever a line must run through them.
    const PATCHED: [&str; 12] = [
        labels::AS_GOOD,
        labels::CAN_BE_BEST,
        labels::CONDITION_ALONE,
        "without a curve",
        BOTH,
        "dug: shut",
        "open below",
        "too firm above",
        "open at every force dug",
        labels::PLACES_DUG,
        labels::NOT_SHUT,
        labels::TOO_FIRM,
    ];
    const BOTH: &str = "dug: shut, not too firm";

    /// Upright strokes keep to one place across; those of the axis, at its foot, are no concern. A label of a lane may
    /// lie over one on a patch of paper that was laid after it.
    fn assert_no_upright_crosses_a_label(sketch: &Sketch, what: &str) {
        let foot = sketch.height - 54.0;
        let boxes = sketch.text_boxes();
        for (number, shape) in sketch.shapes.iter().enumerate() {
            let Shape::Line { points, .. } = shape else { continue };
            let [(x, from), (to_x, to)] = points.as_slice() else { continue };
            let (from, to) = (from.min(*to), from.max(*to));
            if x != to_x || to > foot || from > foot - 7.0 {
                continue;
            }
            for (text, place) in &boxes {
                let crosses = *x > place.left && *x < place.right && from < place.bottom && to > place.top;
                let patched = || PATCHED.contains(&text.as_str()) && patched_after(sketch, number, text);
                assert!(!crosses || patched(), "{what}: an upright crosses {text}");
            }
        }
    }

    /// Whether a patch of paper comes after this shape and right before the text.
    fn patched_after(sketch: &Sketch, number: usize, label: &str) -> bool {
        let place = sketch.shapes.iter().position(|shape| matches!(shape, Shape::Text { text, .. } if text == label));
        place.is_some_and(|place| {
            place > number + 1 && matches!(sketch.shapes[place - 1], Shape::Area { ink: Ink::Paper, .. })
        })
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
    fn the_sets_lie_one_below_the_other_and_their_labels_meet_nothing() {
        let ends = [(130.0, 650.0), (130.0, 131.0), (330.0, 350.0), (200.0, 420.0), (649.0, 650.0), (400.0, 400.0)];
        for (number, settings) in ends.into_iter().enumerate() {
            for curve in ends {
                for (start, default) in [(340.0, 260.0), (130.0, 650.0), (300.0, 380.0), (645.0, 600.0)] {
                    let mut chart = chart();
                    chart.start = Some(start);
                    chart.default = Some(default);
                    chart.window = Some(curve);
                    chart.sets = sets(Some(settings), Some(ends[(number + 1) % ends.len()]), Some(curve));
                    let what = format!("settings {settings:?}, curve {curve:?}, start {start}, default {default}");
                    assert_no_text_meets(&chart.sketch(), &what);
                    assert_no_upright_crosses_a_label(&chart.sketch(), &what);
                }
            }
        }
    }

    fn dug(bars: Vec<Lane>) -> DigPanel {
        let side = |rising: bool| DigCurve {
            curve: (0..=20)
                .map(|step| {
                    let x = 130.0 + 26.0 * f64::from(step);
                    let estimate = if rising { 5.0 * f64::from(step) } else { 100.0 - 5.0 * f64::from(step) };
                    CurvePoint {
                        x,
                        estimate,
                        low: Some(0.8 * estimate),
                        high: Some(estimate + 0.2 * (100.0 - estimate)),
                    }
                })
                .collect(),
            counted: vec![(130.0, 90.0), (390.0, 50.0), (650.0, 0.0)],
            allowed: Some(10.0),
        };
        DigPanel { open: side(false), firm: side(true), bars, finding: String::new() }
    }

    /// A window between two limits; where they cross, no force does both.
    fn limits(open: f64, firm: f64) -> Vec<Lane> {
        let bar = |look, label, ends| Lane { look, label, ends };
        let window = (open <= firm).then(|| bar(Look::Hatched, BOTH, (open, firm)));
        let sides =
            [bar(Look::Outlined, "open below", (130.0, open)), bar(Look::Filled, "too firm above", (firm, 650.0))];
        window.into_iter().chain(sides).collect()
    }

    /// Every kind of answer that digging has.
    fn bars() -> Vec<Vec<Lane>> {
        let bar = |look, label, ends| Lane { look, label, ends };
        let crossed_or_near = [(130.0, 650.0), (300.0, 301.0), (130.0, 131.0), (649.0, 650.0), (430.0, 300.0)];
        let mut bars: Vec<Vec<Lane>> = crossed_or_near.map(|(open, firm)| limits(open, firm)).to_vec();
        bars.push(Vec::new());
        bars.push(vec![
            bar(Look::Hatched, "dug: shut", (290.0, 650.0)),
            bar(Look::Outlined, "open below", (130.0, 290.0)),
        ]);
        bars.push(vec![bar(Look::Outlined, "open at every force dug", (130.0, 650.0))]);
        bars
    }

    const STARTS_AND_DEFAULTS: [(f64, f64); 5] =
        [(340.0, 260.0), (130.0, 650.0), (645.0, 600.0), (300.0, 300.0), (131.0, 140.0)];

    #[test]
    fn digs_stand_under_the_stand_on_its_axis_and_no_text_meets_another() {
        for bars in bars() {
            for (start, default) in STARTS_AND_DEFAULTS {
                let mut chart = chart();
                (chart.start, chart.default) = (Some(start), Some(default));
                let alone = chart.sketch().height;
                chart.digs = Some(dug(bars.clone()));
                let what = format!("bars {bars:?}, start {start}, default {default}");
                assert_no_text_meets(&chart.sketch(), &what);
                assert_no_upright_crosses_a_label(&chart.sketch(), &what);
                assert!(chart.sketch().height > alone + 150.0);
                // Numbers of both axes stand at the same places across.
                let places = |label: &str| {
                    let boxes = chart.sketch().text_boxes();
                    boxes.into_iter().filter(|(text, _)| text == label).map(|(_, place)| place.left).collect::<Vec<_>>()
                };
                let hundreds = places("400");
                assert_eq!(hundreds.len(), 2);
                assert!((hundreds[0] - hundreds[1]).abs() < 1e-9);
            }
        }
    }

    /// A chart without anything of the stand.
    fn digs_alone(bars: Vec<Lane>) -> ConditionChart {
        let mut chart = chart();
        chart.curve.clear();
        chart.strips.clear();
        chart.window = None;
        chart.sets = Sets::default();
        chart.digs = Some(dug(bars));
        chart
    }

    #[test]
    fn digs_alone_have_a_chart_with_start_and_default_and_no_empty_panel() {
        for bars in bars() {
            for (start, default) in STARTS_AND_DEFAULTS {
                let mut chart = digs_alone(bars.clone());
                (chart.start, chart.default) = (Some(start), Some(default));
                let sketch = chart.sketch();
                let what = format!("digs alone, bars {bars:?}, start {start}, default {default}");
                assert_no_text_meets(&sketch, &what);
                assert_no_upright_crosses_a_label(&sketch, &what);
                assert!(sketch.height < 420.0, "{what}: {}", sketch.height);
                let labels: Vec<String> = sketch.text_boxes().into_iter().map(|(text, _)| text).collect();
                assert!(labels.iter().any(|label| label.starts_with("start")), "{labels:?}");
                for bar in &bars {
                    assert!(labels.iter().any(|label| label == bar.label), "{what}: {labels:?}");
                }
            }
        }
    }

    #[test]
    fn what_digs_do_not_tell_is_neither_drawn_nor_named() {
        let chart = digs_alone(limits(250.0, 450.0));
        let legend = chart.legend("90 %");
        assert!(
            !legend.contains("Circles: strips") && legend.contains("hatched, forces that digging allows"),
            "{legend}"
        );
        let mut open_alone = digs_alone(Vec::new());
        open_alone.digs = Some(DigPanel { firm: DigCurve::default(), ..dug(Vec::new()) });
        let labels: Vec<String> = open_alone.sketch().text_boxes().into_iter().map(|(text, _)| text).collect();
        assert!(labels.contains(&labels::NOT_SHUT.to_owned()) && !labels.contains(&labels::TOO_FIRM.to_owned()));
        let legend = open_alone.legend("90 %");
        assert!(!legend.contains("Bars under it") && !legend.contains(labels::TOO_FIRM), "{legend}");
    }

    #[test]
    fn counted_places_without_a_curve_are_drawn_alone() {
        let mut chart = digs_alone(Vec::new());
        let mut digs = dug(Vec::new());
        (digs.open.curve, digs.firm.curve) = (Vec::new(), Vec::new());
        chart.digs = Some(digs);
        let sketch = chart.sketch();
        assert_no_text_meets(&sketch, "levels without a curve");
        let marks = sketch.shapes.iter().filter(|shape| matches!(shape, Shape::Circle { .. })).count();
        assert_eq!(marks, 3 + 1, "three settings, and the mark of their label");
    }

    #[test]
    fn only_the_sets_that_are_known_are_drawn_and_named() {
        let mut chart = chart();
        let full = chart.sketch().height;
        assert!(chart.legend("90 %").ends_with("setting that can be the best without a curve."));
        chart.sets = sets(None, None, Some((265.0, 452.0)));
        assert!((full - chart.sketch().height - 42.0).abs() < 1e-9, "two lanes less");
        let labels: Vec<String> = chart.sketch().text_boxes().into_iter().map(|(text, _)| text).collect();
        assert!(labels.contains(&labels::CAN_BE_BEST.to_owned()) && !labels.contains(&"without a curve".to_owned()));
        assert!(!chart.legend("90 %").contains("outlined"), "{}", chart.legend("90 %"));
        chart.sets = Sets::default();
        chart.window = None;
        chart.start = None;
        let legend = chart.legend("");
        assert!(!legend.contains("Bars below") && !legend.contains("Solid") && legend.contains("its interval."));
    }

    #[test]
    fn a_chart_with_nothing_in_it_still_has_axes() {
        let mut chart = chart();
        chart.curve.clear();
        chart.strips.clear();
        chart.start = None;
        chart.default = None;
        chart.window = None;
        chart.sets = Sets::default();
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
