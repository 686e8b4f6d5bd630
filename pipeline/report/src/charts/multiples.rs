//! All conditions side by side on one scale: a small panel each, with its strips, its curve and band, start and default.

use crate::charts::axis::Axis;
use crate::charts::marks::line_look;
use crate::charts::panel::{CurvePoint, Grid, Panel, Place, response_axis};
use crate::charts::sketch::{Anchor, Ink, Point, Sketch, TITLE, WIDTH};
use crate::font;
use crate::words::gauge::Gauge;
use crate::words::labels;
use crate::words::response::Response;

/// One condition.
#[derive(Debug, Clone)]
pub(crate) struct Small {
    pub title: String,
    pub curve: Vec<CurvePoint>,
    /// Adjusted strips.
    pub strips: Vec<Point>,
    pub start: Option<f64>,
    pub default: Option<f64>,
}

/// Conditions that share both axes.
#[derive(Debug, Clone)]
pub(crate) struct Multiples {
    pub title: String,
    pub response: Response,
    pub gauge: Gauge,
    pub panels: Vec<Small>,
}

const GAP: f64 = 28.0;

impl Multiples {
    /// The chart as shapes.
    pub fn sketch(&self) -> Sketch {
        let mut sketch = Sketch::new();
        sketch.text_sized((4.0, 22.0), Anchor::Start, TITLE, Ink::Dark, &font::fitted(&self.title, TITLE, WIDTH - 8.0));
        sketch.text((4.0, 46.0), Anchor::Start, Ink::Muted, &self.response.axis_title());
        let curves = || self.panels.iter().flat_map(|panel| &panel.curve);
        let strips = || self.panels.iter().flat_map(|panel| &panel.strips);
        let marked = self.panels.iter().flat_map(|panel| [panel.start, panel.default]).flatten();
        let across = curves().map(|point| point.x).chain(strips().map(|strip| strip.0)).chain(marked);
        let x = Axis::round(across, (0.0, f64::INFINITY), 1.0, 4);
        let heights = curves().flat_map(CurvePoint::heights).chain(strips().map(|strip| strip.1));
        let y = response_axis(&self.response, heights, 5);
        let grid = Grid { left: Panel::margin(&y), top: 60.0, height: 120.0, gap: GAP, head: 26.0 };
        let panels = grid.panels(self.panels.len(), &x, &y);
        for (small, (panel, place)) in self.panels.iter().zip(&panels) {
            draw(&mut sketch, panel, small, *place);
        }
        sketch.height = grid.finish(&mut sketch, &panels, &self.gauge.axis_title());
        sketch
    }
}

fn draw(sketch: &mut Sketch, panel: &Panel, small: &Small, place: Place) {
    panel.band(sketch, &small.curve);
    panel.small_frame(sketch, &small.title, place, GAP);
    for strip in &small.strips {
        sketch.circle(panel.place(strip.0, strip.1), 2.0, Ink::Muted, Some(1.0));
    }
    if let Some(default) = small.default {
        let across = panel.across(default);
        sketch.dashed(&[(across, panel.top), (across, panel.bottom)], &[6.0, 4.0], Ink::Dark, 1.4);
    }
    if let Some(start) = small.start {
        let across = panel.across(start);
        sketch.line(vec![(across, panel.top), (across, panel.bottom)], Ink::Rust, 3.0);
    }
    panel.curve(sketch, &small.curve, &line_look(0));
    if small.curve.is_empty() && small.strips.is_empty() {
        let middle = ((panel.left + panel.right) / 2.0, (panel.top + panel.bottom) / 2.0);
        sketch.text(middle, Anchor::Middle, Ink::Muted, labels::NO_CURVE);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Results;
    use crate::charts::sketch::assert_no_text_meets;
    use crate::words::gauge::Unit;

    #[test]
    fn any_number_of_conditions_stands_side_by_side_without_touching() {
        for count in 1..9 {
            let panels = (0..count)
                .map(|number| Small {
                    title: format!("moist, covered with a long name, number {number}"),
                    curve: (0..5)
                        .map(|point| CurvePoint {
                            x: 80.0 + 90.0 * f64::from(point),
                            estimate: 60.0 + f64::from(point),
                            low: Some(50.0),
                            high: Some(70.0),
                        })
                        .collect(),
                    strips: vec![(100.0, 55.0), (440.0, 71.0)],
                    start: Some(200.0),
                    default: (number % 2 == 0).then_some(180.0),
                })
                .collect();
            let chart = Multiples {
                title: "All conditions".to_owned(),
                response: Response::of("on_time_share", &Results::default()),
                gauge: Gauge::plain(Unit::Newton),
                panels,
            };
            assert_no_text_meets(&chart.sketch(), &format!("{count} conditions"));
        }
    }
}
