//! Set against actual force along the pass: a strip each, small, on one scale.

use crate::charts::axis::Axis;
use crate::charts::panel::{Grid, Panel, Place};
use crate::charts::sketch::{Anchor, Ink, Point, Sketch, TEXT, TITLE, WIDTH};
use crate::font;

/// A piece of a strip, in the units of the axes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Piece {
    pub x: f64,
    pub set: Option<f64>,
    pub actual: Option<f64>,
    pub low: Option<f64>,
    pub high: Option<f64>,
}

/// A strip's telemetry.
#[derive(Debug, Clone)]
pub(crate) struct Pass {
    pub label: String,
    pub pieces: Vec<Piece>,
}

/// The strips of a field-season.
#[derive(Debug, Clone)]
pub(crate) struct Along {
    pub title: String,
    pub y_title: String,
    pub x_title: String,
    pub passes: Vec<Pass>,
}

const GAP: f64 = 18.0;
/// Shortest axis of forces, so that noise does not fill a panel.
const LEAST_SPAN: f64 = 40.0;

impl Along {
    /// The chart as shapes.
    pub fn sketch(&self) -> Sketch {
        let mut sketch = Sketch::new();
        sketch.text_sized((4.0, 22.0), Anchor::Start, TITLE, Ink::Dark, &font::fitted(&self.title, TITLE, WIDTH - 8.0));
        sketch.text((4.0, 46.0), Anchor::Start, Ink::Muted, &font::fitted(&self.y_title, TEXT, WIDTH - 8.0));
        let pieces = || self.passes.iter().flat_map(|pass| &pass.pieces);
        let heights = pieces().flat_map(|piece| [piece.set, piece.actual, piece.low, piece.high]).flatten();
        let y = Axis::round(heights, (0.0, f64::INFINITY), LEAST_SPAN, 2);
        let x = Axis::round(pieces().map(|piece| piece.x).chain([0.0]), (0.0, f64::INFINITY), 1.0, 3);
        let grid = Grid { left: Panel::margin(&y), top: 58.0, height: 62.0, gap: GAP, head: 22.0 };
        let panels = grid.panels(self.passes.len(), &x, &y);
        for (pass, (panel, place)) in self.passes.iter().zip(&panels) {
            draw(&mut sketch, panel, pass, *place);
        }
        sketch.height = grid.finish(&mut sketch, &panels, &self.x_title);
        sketch
    }
}

fn draw(sketch: &mut Sketch, panel: &Panel, pass: &Pass, place: Place) {
    let both = || pass.pieces.iter().filter_map(|piece| Some((piece.x, piece.low?, piece.high?)));
    let lower = both().map(|(x, low, _)| panel.place(x, low));
    let mut upper: Vec<Point> = both().map(|(x, _, high)| panel.place(x, high)).collect();
    upper.reverse();
    sketch.area(lower.chain(upper).collect(), Ink::Band);
    panel.small_frame(sketch, &pass.label, place, GAP);
    let line = |of: fn(&Piece) -> Option<f64>| -> Vec<Point> {
        pass.pieces.iter().filter_map(|piece| Some(panel.place(piece.x, of(piece)?))).collect()
    };
    sketch.dashed(&line(|piece| piece.set), &[6.0, 4.0], Ink::Rust, 2.0);
    sketch.line(line(|piece| piece.actual), Ink::Dark, 1.8);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::charts::sketch::assert_no_text_meets;

    #[test]
    fn passes_stand_side_by_side_without_touching() {
        for count in [1, 2, 7, 24] {
            let passes = (0..count)
                .map(|number| Pass {
                    label: format!("strip {number} of a field with a long name, row unit 11"),
                    pieces: (0..64)
                        .map(|piece| Piece {
                            x: 6.5 * f64::from(piece),
                            set: Some(200.0),
                            actual: (piece % 9 != 0).then_some(195.0),
                            low: Some(180.0),
                            high: Some(222.0),
                        })
                        .collect(),
                })
                .collect();
            let chart = Along {
                title: "North, 2025".to_owned(),
                y_title: "Closing downforce (N)".to_owned(),
                x_title: "Way along the strip (m)".to_owned(),
                passes,
            };
            assert_no_text_meets(&chart.sketch(), &format!("{count} passes"));
        }
    }
}
