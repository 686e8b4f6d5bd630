//! The chart of a field-season: its strips by setting with blocks told apart and the fitted curve, and below it the
//! emergence courses by setting.

use crate::charts::axis::Axis;
use crate::charts::labels::spread;
use crate::charts::marks::{line_look, mark};
use crate::charts::panel::{CurvePoint, Panel, response_axis};
use crate::charts::sketch::{Anchor, Ink, Sketch, TEXT, TITLE, WIDTH};
use crate::font;
use crate::words::gauge::Gauge;
use crate::words::labels;
use crate::words::response::Response;

/// Shortest force axis, in the unit shown: one setting must not look like a range of tenths.
const LEAST_FORCE_SPAN: f64 = 20.0;

/// What runs across the first panel.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Across {
    /// Forces or pressures.
    Measured(Gauge),
    /// Labels of positions or treatments that have no place on a force axis, in order.
    Labels(Vec<String>),
}

/// A strip: its place across (a value, or the number of its label), its response, and the number of its block.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct StripDot {
    pub x: f64,
    pub y: f64,
    pub block: usize,
    /// What it says when it is pointed at.
    pub says: String,
}

/// A line with the words at its end.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Course {
    pub label: String,
    /// Hours and percent, in order of time.
    pub points: Vec<(f64, f64)>,
}

/// What the chart of a field-season shows, in the units of its axes.
#[derive(Debug, Clone)]
pub(crate) struct FieldChart {
    pub title: String,
    pub response: Response,
    pub across: Across,
    pub strips: Vec<StripDot>,
    /// Names of the blocks; empty where strips have none.
    pub blocks: Vec<String>,
    /// Fitted curves, one a condition, with the condition's name.
    pub curves: Vec<(String, Vec<CurvePoint>)>,
    /// Mean courses, one a setting.
    pub courses: Vec<Course>,
}

const LINE_HEIGHT: f64 = 22.0;
const PANEL_HEIGHT: f64 = 210.0;
/// Widest room given to the labels at the ends of lines.
const LABEL_ROOM: f64 = 150.0;

impl FieldChart {
    /// The chart as shapes.
    pub fn sketch(&self) -> Sketch {
        let mut sketch = Sketch::new();
        let title = font::fitted(&self.title, TITLE, WIDTH - 8.0);
        sketch.text_sized((4.0, 22.0), Anchor::Start, TITLE, Ink::Dark, &title);
        let after_blocks = self.block_key(&mut sketch, 48.0);
        let after_settings = self.setting_panel(&mut sketch, after_blocks + 24.0);
        sketch.height = if self.courses.iter().any(|course| !course.points.is_empty()) {
            self.course_panel(&mut sketch, after_settings + 34.0)
        } else {
            after_settings
        };
        sketch
    }

    /// The key of the blocks in rows; gives the height after it.
    fn block_key(&self, sketch: &mut Sketch, baseline: f64) -> f64 {
        let (mut x, mut y) = (4.0, baseline);
        for (number, block) in self.blocks.iter().enumerate() {
            let label = font::fitted(&labels::block(block), TEXT, WIDTH / 2.0);
            let width = 20.0 + font::text_width(&label, TEXT);
            if x > 4.0 && x + width > WIDTH - 4.0 {
                x = 4.0;
                y += LINE_HEIGHT;
            }
            mark(sketch, (x + 7.0, y - 5.0), number);
            sketch.text((x + 18.0, y), Anchor::Start, Ink::Dark, &label);
            x += width + 16.0;
        }
        if self.blocks.is_empty() { baseline - LINE_HEIGHT } else { y }
    }

    fn setting_panel(&self, sketch: &mut Sketch, title_baseline: f64) -> f64 {
        let heights = self
            .strips
            .iter()
            .map(|strip| strip.y)
            .chain(self.curves.iter().flat_map(|(_, points)| points.iter().flat_map(CurvePoint::heights)));
        let y = response_axis(&self.response, heights, 5);
        let (x, x_title) = match &self.across {
            Across::Measured(gauge) => {
                let forces = self
                    .strips
                    .iter()
                    .map(|strip| strip.x)
                    .chain(self.curves.iter().flat_map(|(_, points)| points.iter().map(|point| point.x)));
                (Axis::round(forces, (0.0, f64::INFINITY), LEAST_FORCE_SPAN, 6), gauge.axis_title())
            }
            Across::Labels(labels) => (Axis::labels(labels), labels::SETTING_LABELS.to_owned()),
        };
        let named: Vec<&(String, Vec<CurvePoint>)> =
            self.curves.iter().filter(|(_, points)| !points.is_empty()).collect();
        let labels: Vec<String> = if named.len() > 1 {
            named.iter().map(|(name, _)| font::fitted(name, TEXT, LABEL_ROOM)).collect()
        } else {
            Vec::new()
        };
        let top = title_baseline + 17.0;
        let panel =
            Panel { left: Panel::margin(&y), right: right_edge(&labels), top, bottom: top + PANEL_HEIGHT, x, y };
        for (_, points) in &named {
            panel.band(sketch, points);
        }
        panel.frame(sketch, &x_title, &self.response.axis_title(), 0.0);
        for (number, (_, points)) in named.iter().enumerate() {
            panel.curve(sketch, points, &line_look(number));
        }
        for strip in &self.strips {
            let place = panel.place(strip.x, strip.y);
            mark(sketch, place, strip.block);
            sketch.spot(place, 9.0, &strip.says);
        }
        let ends: Vec<(f64, f64)> = named
            .iter()
            .filter_map(|(_, points)| points.last())
            .map(|last| panel.place(last.x, last.estimate))
            .collect();
        end_labels(sketch, &panel, &labels, &ends);
        panel.bottom + 50.0
    }

    fn course_panel(&self, sketch: &mut Sketch, title_baseline: f64) -> f64 {
        let points = || self.courses.iter().flat_map(|course| course.points.iter());
        let x = Axis::hours(points().map(|point| point.0), 7);
        let y = Axis::round(points().map(|point| point.1).chain([0.0]), (0.0, 100.0), 20.0, 5);
        let labels: Vec<String> =
            self.courses.iter().map(|course| font::fitted(&course.label, TEXT, LABEL_ROOM)).collect();
        let top = title_baseline + 17.0;
        let panel =
            Panel { left: Panel::margin(&y), right: right_edge(&labels), top, bottom: top + PANEL_HEIGHT, x, y };
        panel.frame(sketch, labels::HOURS_FROM_PLANTING, labels::SEEDS_UP, 0.0);
        let mut ends = Vec::new();
        for (number, course) in self.courses.iter().enumerate() {
            let look = line_look(number);
            let line: Vec<_> = course.points.iter().map(|point| panel.place(point.0, point.1)).collect();
            ends.push(line.last().copied().unwrap_or((panel.right, panel.bottom)));
            if let [only] = line.as_slice() {
                sketch.circle(*only, 3.0, look.ink, None);
            } else {
                sketch.dashed(&line, look.dash, look.ink, look.width);
            }
        }
        end_labels(sketch, &panel, &labels, &ends);
        panel.bottom + 50.0
    }
}

fn right_edge(labels: &[String]) -> f64 {
    let widest = labels.iter().map(|label| font::text_width(label, TEXT)).fold(0.0, f64::max);
    if widest > 0.0 { WIDTH - widest - 26.0 } else { WIDTH - 22.0 }
}

/// Labels at the ends of lines, moved apart, each tied to its line by a hair line.
fn end_labels(sketch: &mut Sketch, panel: &Panel, labels: &[String], ends: &[(f64, f64)]) {
    let wanted: Vec<f64> = ends.iter().map(|end| end.1).collect();
    let heights = spread(&wanted, 1.15 * TEXT, panel.top + 4.0, panel.bottom - 4.0);
    for ((label, end), height) in labels.iter().zip(ends).zip(heights) {
        sketch.line(vec![(end.0 + 2.0, end.1), (panel.right + 14.0, height)], Ink::Muted, 0.9);
        sketch.text((panel.right + 18.0, height + 0.36 * TEXT), Anchor::Start, Ink::Dark, label);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Results;
    use crate::charts::sketch::assert_no_text_meets;
    use crate::words::gauge::Unit;

    fn chart() -> FieldChart {
        let strips = (0..16)
            .map(|number| StripDot {
                x: [130.0, 260.0, 390.0, 520.0][number % 4],
                y: 60.0 + number as f64,
                block: number / 4,
                says: String::new(),
            })
            .collect();
        let courses = (0..4)
            .map(|number| Course {
                label: format!("{} kPa", 100 * (number + 1)),
                points: (0..6).map(|visit| (96.0 + 12.0 * f64::from(visit), 14.0 * f64::from(visit))).collect(),
            })
            .collect();
        FieldChart {
            title: "North, 2025".to_owned(),
            response: Response::of("on_time_share", &Results::default()),
            across: Across::Measured(Gauge::plain(Unit::Newton)),
            strips,
            blocks: ["1", "2", "3", "4"].map(str::to_owned).to_vec(),
            curves: vec![(
                "dry, covered".to_owned(),
                vec![
                    CurvePoint { x: 130.0, estimate: 65.0, low: Some(60.0), high: Some(70.0) },
                    CurvePoint { x: 520.0, estimate: 72.0, low: Some(66.0), high: Some(78.0) },
                ],
            )],
            courses,
        }
    }

    #[test]
    fn courses_that_end_together_keep_their_labels_apart() {
        assert_no_text_meets(&chart().sketch(), "four courses ending at one place");
    }

    #[test]
    fn two_conditions_in_one_field_are_two_labelled_curves() {
        let mut chart = chart();
        let curve = chart.curves[0].1.clone();
        chart.curves.push(("moist, covered with a rather long name".to_owned(), curve));
        let sketch = chart.sketch();
        assert_no_text_meets(&sketch, "two conditions");
        let texts: Vec<String> = sketch.text_boxes().into_iter().map(|(text, _)| text).collect();
        assert!(texts.iter().any(|text| text == "dry, covered"), "{texts:?}");
    }

    #[test]
    fn poor_data_still_make_a_chart() {
        let mut chart = chart();
        chart.courses.clear();
        chart.curves.clear();
        assert_no_text_meets(&chart.sketch(), "no curve and no course");
        chart.strips = vec![StripDot { x: 300.0, y: 70.0, block: 0, says: String::new() }];
        chart.blocks.clear();
        assert_no_text_meets(&chart.sketch(), "one strip");
        chart.strips = vec![StripDot { x: 300.0, y: 70.0, block: 0, says: String::new() }; 5];
        assert_no_text_meets(&chart.sketch(), "all equal");
        chart.strips.clear();
        assert_no_text_meets(&chart.sketch(), "no strip");
        chart.courses = vec![Course { label: "200 kPa".to_owned(), points: vec![(120.0, 80.0)] }];
        assert_no_text_meets(&chart.sketch(), "one inspection");
    }

    #[test]
    fn labelled_settings_stand_side_by_side() {
        let mut chart = chart();
        chart.across = Across::Labels(["1", "2", "a long label of a spring", "4"].map(str::to_owned).to_vec());
        for (number, strip) in chart.strips.iter_mut().enumerate() {
            strip.x = (number % 4) as f64;
        }
        chart.curves.clear();
        let sketch = chart.sketch();
        assert_no_text_meets(&sketch, "labels");
        assert!(sketch.text_boxes().iter().any(|(text, _)| text.contains("not on a force axis")));
    }

    #[test]
    fn many_blocks_wrap_into_rows() {
        let mut chart = chart();
        chart.blocks = (1..=14).map(|number| format!("West {number}")).collect();
        assert_no_text_meets(&chart.sketch(), "fourteen blocks");
    }
}
