//! A season's calendar: what was recorded when, a row a field, a mark a kind of record.

use crate::charts::labels::spread;
use crate::charts::marks::mark;
use crate::charts::sketch::{Anchor, Ink, Sketch, TEXT, TITLE, WIDTH};
use crate::font;
use crate::words::number;

/// Days since 1970 on which something was recorded, with the number of its kind.
#[derive(Debug, Clone)]
pub(crate) struct Line {
    pub label: String,
    pub records: Vec<(i64, usize)>,
}

/// A season of records.
#[derive(Debug, Clone)]
pub(crate) struct Calendar {
    pub title: String,
    /// Names of the kinds, in the order of their numbers.
    pub kinds: Vec<String>,
    pub lines: Vec<Line>,
}

const ROW: f64 = 22.0;
const LABELS: f64 = 170.0;

impl Calendar {
    /// The chart as shapes.
    pub fn sketch(&self) -> Sketch {
        let mut sketch = Sketch::new();
        sketch.text_sized((4.0, 22.0), Anchor::Start, TITLE, Ink::Dark, &font::fitted(&self.title, TITLE, WIDTH - 8.0));
        let top = self.key(&mut sketch) + 16.0;
        let labels: Vec<String> = self.lines.iter().map(|line| font::fitted(&line.label, TEXT, LABELS)).collect();
        let left = labels.iter().map(|label| font::text_width(label, TEXT)).fold(0.0, f64::max) + 24.0;
        let right = WIDTH - 20.0;
        let days = || self.lines.iter().flat_map(|line| line.records.iter().map(|record| record.0));
        let (first, last) = (days().min().unwrap_or(0), days().max().unwrap_or(0));
        // A week before and after, so that no mark lies on the frame.
        let (first, last) = ((first - 4) as f64, (last + 4) as f64);
        let across = |day: f64| left + (day - first) / (last - first) * (right - left);
        let foot = top + ROW * self.lines.len() as f64;
        let ticks = ticks(first.ceil() as i64, last.floor() as i64, ((right - left) / 76.0) as usize);
        for day in &ticks {
            sketch.line(vec![(across(*day as f64), top), (across(*day as f64), foot)], Ink::Hair, 0.8);
        }
        for (number, (line, label)) in self.lines.iter().zip(&labels).enumerate() {
            let middle = top + ROW * (number as f64 + 0.5);
            sketch.text((4.0, middle + 0.36 * TEXT), Anchor::Start, Ink::Dark, label);
            sketch.line(vec![(left, middle), (right, middle)], Ink::Hair, 0.8);
            for (kind, _) in self.kinds.iter().enumerate() {
                for (day, _) in line.records.iter().filter(|record| record.1 == kind) {
                    mark(&mut sketch, (across(*day as f64), middle), kind);
                }
            }
        }
        sketch.line(vec![(left, foot), (right, foot)], Ink::Dark, 1.2);
        let names: Vec<String> = ticks.iter().map(|day| number::day_and_month(*day)).collect();
        let wanted: Vec<f64> = ticks.iter().map(|day| across(*day as f64)).collect();
        let widest = names.iter().map(|name| font::text_width(name, TEXT)).fold(0.0, f64::max);
        let places = spread(&wanted, widest + 6.0, left - 10.0, WIDTH - widest / 2.0 - 2.0);
        for (name, place) in names.iter().zip(places) {
            sketch.text((place, foot + 20.0), Anchor::Middle, Ink::Dark, name);
        }
        sketch.height = foot + 30.0;
        sketch
    }

    /// The key of the kinds; gives the height after it.
    fn key(&self, sketch: &mut Sketch) -> f64 {
        let (mut x, mut y) = (4.0, 46.0);
        for (number, kind) in self.kinds.iter().enumerate() {
            let width = 20.0 + font::text_width(kind, TEXT);
            if x > 4.0 && x + width > WIDTH - 4.0 {
                x = 4.0;
                y += 22.0;
            }
            mark(sketch, (x + 7.0, y - 5.0), number);
            sketch.text((x + 18.0, y), Anchor::Start, Ink::Dark, kind);
            x += width + 16.0;
        }
        y
    }
}

/// Days to mark: every so many weeks, so that there are at most `most`.
fn ticks(first: i64, last: i64, most: usize) -> Vec<i64> {
    let step = [7, 14, 28, 56, 112, 224].into_iter().find(|step| (last - first) / step < most.max(2) as i64);
    let step = step.unwrap_or(448);
    (0..).map(|number| first + number * step).take_while(|day| *day <= last).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::charts::sketch::assert_no_text_meets;

    #[test]
    fn calendars_of_any_length_keep_their_dates_apart() {
        for days in [0, 3, 20, 60, 200, 400] {
            let lines = (0..5)
                .map(|number| Line {
                    label: format!("A field with quite a long name {number}"),
                    records: (0..4).map(|kind| (20_000 + days * kind / 3, kind as usize)).collect(),
                })
                .collect();
            let kinds =
                ["planted", "setting log", "soil notes", "dig checks", "stand counts", "weather"].map(str::to_owned);
            let chart = Calendar { title: "2025".to_owned(), kinds: kinds.to_vec(), lines };
            assert_no_text_meets(&chart.sketch(), &format!("{days} days"));
        }
    }
}
