//! The panel of digs under the stand curve: shares of places not shut and too firm, on the same axis of force.

use crate::charts::axis::Axis;
use crate::charts::lanes::{self, Lane};
use crate::charts::panel::{CurvePoint, Panel};
use crate::charts::sketch::{Anchor, Ink, Point, Sketch, TEXT};
use crate::font;
use crate::words::labels;

/// What digging showed, in the units of the axes: force across, percent up.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct DigPanel {
    pub open: DigCurve,
    pub firm: DigCurve,
    /// Forces that are right, too light and too heavy, as far as digs tell.
    pub bars: Vec<Lane>,
    /// What it shows, in words.
    pub finding: String,
}

/// One question: its curve, its settings counted, and the share allowed.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct DigCurve {
    pub curve: Vec<CurvePoint>,
    pub counted: Vec<Point>,
    pub allowed: Option<f64>,
}

impl DigCurve {
    pub fn is_empty(&self) -> bool {
        self.curve.is_empty() && self.counted.is_empty()
    }
}

const HEIGHT: f64 = 110.0;
/// Room above the frame for the title of its axis and the labels of its curves.
const HEAD: f64 = 46.0;
/// Room under it for the numbers and the title of the axis across.
const FOOT: f64 = 54.0;
const FIRM_DASH: [f64; 2] = [7.0, 4.0];

impl DigPanel {
    /// Everything that the axis across must reach.
    pub fn forces(&self) -> impl Iterator<Item = f64> + '_ {
        let ends = self.bars.iter().flat_map(|bar| [bar.ends.0, bar.ends.1]);
        [&self.open, &self.firm]
            .into_iter()
            .flat_map(|side| side.curve.iter().map(|point| point.x).chain(side.counted.iter().map(|place| place.0)))
            .chain(ends)
    }

    pub fn is_empty(&self) -> bool {
        self.open.is_empty() && self.firm.is_empty()
    }

    /// Height of the panel with its labels.
    pub fn height(&self) -> f64 {
        HEAD + HEIGHT + self.room() + FOOT
    }

    /// Room of its bars, between the frame and the axis across.
    pub fn room(&self) -> f64 {
        lanes::room(self.bars.len())
    }

    /// Draws frame and curves from `top` down, between the sides of the frame above; labels and bars come with `name`.
    pub fn draw(&self, sketch: &mut Sketch, sides: (f64, f64), x: &Axis, top: f64, x_title: &str) -> Panel {
        // Marks at 0 and 100 % stand clear of the frame.
        let y = Axis {
            low: -6.0,
            high: 106.0,
            ticks: [0.0, 50.0, 100.0].map(|share| (share, format!("{share:.0}"))).to_vec(),
        };
        let top = top + HEAD;
        let panel = Panel { left: sides.0, right: sides.1, top, bottom: top + HEIGHT, x: x.clone(), y };
        for side in [&self.open, &self.firm] {
            panel.band(sketch, &side.curve);
        }
        panel.frame(sketch, x_title, "", self.room());
        for allowed in [self.open.allowed, self.firm.allowed].into_iter().flatten() {
            let height = panel.up(allowed);
            sketch.dashed(&[(panel.left, height), (panel.right, height)], &[2.0, 3.0], Ink::Dark, 1.0);
        }
        self.curves(sketch, &panel);
        panel
    }

    /// Labels and bars, over whatever runs through the panel. `uprights` are the pixels across of such lines.
    pub fn name(&self, sketch: &mut Sketch, panel: &Panel, uprights: &[f64]) {
        self.labels(sketch, panel);
        lanes::draw(sketch, panel, &self.bars, uprights);
    }

    fn curves(&self, sketch: &mut Sketch, panel: &Panel) {
        let line = |points: &[CurvePoint]| -> Vec<Point> {
            points.iter().map(|point| panel.place(point.x, point.estimate)).collect()
        };
        sketch.line(line(&self.open.curve), Ink::Dark, 2.2);
        sketch.dashed(&line(&self.firm.curve), &FIRM_DASH, Ink::Rust, 2.2);
        for (force, share) in &self.open.counted {
            sketch.circle(panel.place(*force, *share), 3.6, Ink::Dark, Some(1.6));
        }
        for (force, share) in &self.firm.counted {
            square(sketch, panel.place(*force, *share));
        }
    }

    /// The names of the curves, each over the side at which its share is large, with the mark of its settings.
    fn labels(&self, sketch: &mut Sketch, panel: &Panel) {
        on_paper(sketch, (4.0, panel.top - 30.0), Anchor::Start, Ink::Muted, labels::PLACES_DUG);
        let baseline = panel.top - 9.0;
        let middle = baseline - 0.32 * TEXT;
        if !self.open.is_empty() {
            on_paper(sketch, (panel.left + 14.0, baseline), Anchor::Start, Ink::Dark, labels::NOT_SHUT);
            sketch.circle((panel.left + 5.0, middle), 3.6, Ink::Dark, Some(1.6));
        }
        if !self.firm.is_empty() {
            on_paper(sketch, (panel.right, baseline), Anchor::End, Ink::Dark, labels::TOO_FIRM);
            square(sketch, (panel.right - font::text_width(labels::TOO_FIRM, TEXT) - 9.0, middle));
        }
    }
}

/// A text on a patch of paper with room for a mark before it, so that no line runs through either.
fn on_paper(sketch: &mut Sketch, (x, baseline): Point, anchor: Anchor, ink: Ink, words: &str) {
    let width = font::text_width(words, TEXT);
    let from = if anchor == Anchor::End { x - width } else { x };
    let (left, right, over, under) = (from - 15.0, from + width + 3.0, baseline - 12.0, baseline + 4.0);
    sketch.area(vec![(left, over), (right, over), (right, under), (left, under)], Ink::Paper);
    sketch.text((x, baseline), anchor, ink, words);
}

fn square(sketch: &mut Sketch, (x, y): Point) {
    let half = 3.4;
    sketch
        .area(vec![(x - half, y - half), (x + half, y - half), (x + half, y + half), (x - half, y + half)], Ink::Rust);
}
