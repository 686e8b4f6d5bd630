//! A forest: what one setting gains over another in each field-season, in a typical one and in one not yet seen.

use crate::charts::axis::Axis;
use crate::charts::panel::ticks_below;
use crate::charts::sketch::{Anchor, Ink, Sketch, TEXT, TITLE, WIDTH};
use crate::font;

/// How a row is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    /// A field-season that tried both settings.
    Field,
    /// A field-season that tried only part of the way between them.
    PartOfIt,
    /// The typical field-season.
    Typical,
    /// One not yet seen.
    Unseen,
}

/// A row of the forest, in the units of the axis.
#[derive(Debug, Clone)]
pub(crate) struct Effect {
    pub label: String,
    pub kind: Kind,
    pub difference: f64,
    pub low: f64,
    pub high: f64,
    /// The same in words, at the right.
    pub words: String,
}

/// The forest of a condition.
#[derive(Debug, Clone)]
pub(crate) struct Forest {
    pub title: String,
    /// What is compared with what.
    pub subtitle: String,
    pub axis_title: String,
    pub effects: Vec<Effect>,
}

const ROW: f64 = 23.0;
const TOP: f64 = 66.0;
/// Widest room of the labels on the left.
const LABELS: f64 = 170.0;

impl Forest {
    /// The chart as shapes.
    pub fn sketch(&self) -> Sketch {
        let mut sketch = Sketch::new();
        sketch.text_sized((4.0, 22.0), Anchor::Start, TITLE, Ink::Dark, &font::fitted(&self.title, TITLE, WIDTH - 8.0));
        sketch.text((4.0, 46.0), Anchor::Start, Ink::Muted, &font::fitted(&self.subtitle, TEXT, WIDTH - 8.0));
        let labels: Vec<String> = self.effects.iter().map(|effect| font::fitted(&effect.label, TEXT, LABELS)).collect();
        let widest = |texts: &mut dyn Iterator<Item = &String>| {
            texts.map(|text| font::text_width(text, TEXT)).fold(0.0, f64::max)
        };
        let left = widest(&mut labels.iter()) + 20.0;
        let words = widest(&mut self.effects.iter().map(|effect| &effect.words));
        let right = WIDTH - words - 18.0;
        let values = self.effects.iter().flat_map(|effect| [effect.low, effect.high]).chain([0.0]);
        let axis = Axis::round(values, (f64::NEG_INFINITY, f64::INFINITY), 1e-6, 4);
        let across = |value: f64| left + (value - axis.low) / (axis.high - axis.low) * (right - left);
        let fields = self.effects.iter().filter(|effect| matches!(effect.kind, Kind::Field | Kind::PartOfIt)).count();
        let foot = TOP + ROW * self.effects.len() as f64 + if fields > 0 { 10.0 } else { 0.0 };
        for (value, _) in &axis.ticks {
            sketch.line(vec![(across(*value), TOP), (across(*value), foot)], Ink::Hair, 0.8);
        }
        sketch.line(vec![(across(0.0), TOP), (across(0.0), foot)], Ink::Dark, 1.4);
        for (number, (effect, label)) in self.effects.iter().zip(&labels).enumerate() {
            // What speaks of all stands a little apart from what speaks of one.
            let apart = if number >= fields && fields > 0 { 10.0 } else { 0.0 };
            let middle = TOP + ROW * (number as f64 + 0.5) + apart;
            sketch.text((4.0, middle + 0.36 * TEXT), Anchor::Start, Ink::Dark, label);
            sketch.text((WIDTH - 4.0, middle + 0.36 * TEXT), Anchor::End, Ink::Dark, &effect.words);
            bar(&mut sketch, effect.kind, [effect.low, effect.difference, effect.high].map(across), middle);
        }
        if fields > 0 && fields < self.effects.len() {
            let height = TOP + ROW * fields as f64 + 5.0;
            sketch.line(vec![(4.0, height), (WIDTH - 4.0, height)], Ink::Muted, 0.8);
        }
        sketch.line(vec![(left, foot), (right, foot)], Ink::Dark, 1.2);
        ticks_below(&mut sketch, &axis, across, foot, (4.0, WIDTH - 4.0));
        let title = font::fitted(&self.axis_title, TEXT, WIDTH - 8.0);
        let half = font::text_width(&title, TEXT) / 2.0;
        let middle = ((left + right) / 2.0).clamp(4.0 + half, (WIDTH - 4.0 - half).max(4.0 + half));
        sketch.text((middle, foot + 42.0), Anchor::Middle, Ink::Muted, &title);
        sketch.height = foot + 52.0;
        sketch
    }
}

/// The interval as a line and the estimate as a mark that shape alone tells apart.
fn bar(sketch: &mut Sketch, kind: Kind, [low, at, high]: [f64; 3], middle: f64) {
    let line = vec![(low, middle), (high, middle)];
    let box_at = |half: f64| {
        vec![
            (at - half, middle - half),
            (at + half, middle - half),
            (at + half, middle + half),
            (at - half, middle + half),
        ]
    };
    match kind {
        Kind::Field => {
            sketch.line(line, Ink::Dark, 1.6);
            sketch.area(box_at(4.5), Ink::Dark);
        }
        Kind::PartOfIt => {
            sketch.line(line, Ink::Muted, 1.2);
            let mut outline = box_at(4.0);
            sketch.area(outline.clone(), Ink::Paper);
            outline.push(outline[0]);
            sketch.line(outline, Ink::Muted, 1.4);
        }
        Kind::Typical => {
            let (low, high) = (low.min(at - 3.0), high.max(at + 3.0));
            sketch.area(vec![(low, middle), (at, middle - 7.0), (high, middle), (at, middle + 7.0)], Ink::Rust);
        }
        Kind::Unseen => {
            sketch.dashed(&line, &[6.0, 4.0], Ink::Rust, 2.2);
            sketch.circle((at, middle), 4.0, Ink::Paper, None);
            sketch.circle((at, middle), 4.0, Ink::Rust, Some(1.8));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::charts::sketch::assert_no_text_meets;

    fn effect(label: &str, kind: Kind, difference: f64, half: f64) -> Effect {
        Effect {
            label: label.to_owned(),
            kind,
            difference,
            low: difference - half,
            high: difference + half,
            words: format!("{difference:.0} ({:.0} to {:.0})", difference - half, difference + half),
        }
    }

    #[test]
    fn forests_of_any_size_keep_their_texts_apart() {
        for count in [0, 1, 3, 40] {
            let mut effects: Vec<Effect> = (0..count)
                .map(|number| {
                    let kind = if number % 3 == 0 { Kind::PartOfIt } else { Kind::Field };
                    effect(&format!("A field with a very long name {number}, 2025"), kind, f64::from(number) - 3.0, 6.0)
                })
                .collect();
            effects.push(effect("typical", Kind::Typical, 1.0, 0.5));
            effects.push(effect("not yet seen", Kind::Unseen, 1.0, 9.0));
            let chart = Forest {
                title: "Moist, covered".to_owned(),
                subtitle: "250 N against 180 N".to_owned(),
                axis_title: "Difference in plants up on time (points)".to_owned(),
                effects,
            };
            assert_no_text_meets(&chart.sketch(), &format!("{count} field-seasons"));
        }
    }

    #[test]
    fn equal_and_missing_differences_still_have_an_axis() {
        let chart = Forest {
            title: String::new(),
            subtitle: String::new(),
            axis_title: "Difference".to_owned(),
            effects: vec![effect("typical", Kind::Typical, 0.0, 0.0)],
        };
        assert!(chart.sketch().height.is_finite());
    }
}
