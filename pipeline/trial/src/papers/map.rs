//! The map of passes and strips: what was set where, in which block, and where plants are counted.
//!
//! The start line is at the bottom and the first pass at the left. Widths and lengths have scales of their own: passes are long and
//! narrow, and their text needs room.

use super::drawing::{Drawing, Fill, Hold, Shape, Text, cut, width};
use super::units::Units;
use super::words;
use crate::{Layout, Pass, Plan, Strip};

/// Room at the left for the start line's name, at the top for a row of brackets, below for arrows and numbers.
const LEFT: f64 = 92.0;
const BRACKET: f64 = 32.0;
const BELOW: f64 = 52.0;
/// Drawn length of the longest pass, and of a segment at least.
const LENGTH: f64 = 440.0;
const SEGMENT: f64 = 104.0;
/// Narrowest and widest pass, and the width that all of them should take.
const NARROW: f64 = 21.0;
const WIDE: f64 = 60.0;
const ACROSS: f64 = 860.0;
const SIZE: f64 = 12.0;
const LINE: f64 = 17.0;
/// Letters of a line of the key, as a width.
const KEY: f64 = 560.0;

struct Scale {
    top: f64,
    across: f64,
    along: f64,
    length_m: f64,
    left_m: f64,
}

impl Scale {
    fn x(&self, metres: f64) -> f64 {
        LEFT + (metres - self.left_m) * self.across
    }

    fn y(&self, metres: f64) -> f64 {
        self.top + (self.length_m - metres) * self.along
    }
}

/// Draws the map.
pub(crate) fn map(plan: &Plan, units: &Units) -> Drawing {
    let left_m = plan.passes.iter().map(|pass| pass.left_m).fold(f64::INFINITY, f64::min);
    let right_m = plan.passes.iter().map(|pass| pass.left_m + pass.width_m).fold(left_m, f64::max);
    let narrowest = plan.passes.iter().map(|pass| pass.width_m).fold(f64::INFINITY, f64::min).max(0.1);
    let length_m = plan.passes.iter().map(|pass| pass.span_m.1).fold(1.0, f64::max);
    let segments = plan.passes.iter().map(|pass| pass.strips.len()).max().unwrap_or(1).max(1);
    let across_m = (right_m - left_m).max(0.1);
    let across = (ACROSS / across_m).min(WIDE / narrowest).max(NARROW / narrowest);
    // No segment shorter than its text: the shortest strip decides.
    let shortest = plan.strips.iter().map(|strip| strip.span_m.1 - strip.span_m.0).fold(length_m, f64::min).max(1.0);
    let drawn = if segments > 1 { (SEGMENT * length_m / shortest).clamp(LENGTH, 1600.0) } else { LENGTH };
    let brackets = if plan.closers.len() > 1 { 2.0 } else { 1.0 };
    let left_m = if left_m.is_finite() { left_m } else { 0.0 };
    let scale = Scale { top: 14.0 + BRACKET * brackets, across, along: drawn / length_m, length_m, left_m };
    let mut shapes = Vec::new();
    let mut key = Key::default();
    for pass in &plan.passes {
        ground(plan, units, &scale, pass, &mut shapes);
    }
    let one_block_a_pass = plan.passes.iter().all(|pass| {
        let mut blocks = pass.strips.iter().map(|strip| plan.strips[*strip].block);
        let first = blocks.next();
        blocks.all(|block| Some(block) == first)
    });
    for (position, strip) in plan.strips.iter().enumerate() {
        self::strip(plan, units, &scale, (position, strip), one_block_a_pass, &mut shapes, &mut key);
    }
    if one_block_a_pass {
        brackets_of_blocks(plan, &scale, &mut shapes);
    }
    if plan.closers.len() > 1 {
        brackets_of_closers(plan, &scale, &mut shapes, &mut key);
    }
    feet(plan, units, &scale, &mut shapes, &mut key);
    let right = LEFT + across_m * across + 16.0;
    let width = right.max(LEFT + KEY);
    let below = scale.y(0.0) + BELOW + if plan.planters.len() > 1 { 16.0 } else { 0.0 };
    let height = legend(below, key, &mut shapes);
    let title = format!("Map of the trial in {}, {}", plan.field_id, plan.season);
    Drawing { width, height, title, shapes }
}

/// What stands below the map: shortened names and what they mean.
#[derive(Default)]
struct Key {
    entries: Vec<String>,
}

impl Key {
    fn explain(&mut self, entry: String) {
        if !self.entries.contains(&entry) {
            self.entries.push(entry);
        }
    }
}

fn text(at: (f64, f64), hold: Hold, text: impl Into<String>) -> Shape {
    Shape::Text(Text { at, size: SIZE, hold, standing: false, text: text.into() })
}

/// A pass as far as it is planted; what no strip takes is hatched, a border pass says what it is.
fn ground(plan: &Plan, units: &Units, scale: &Scale, pass: &Pass, shapes: &mut Vec<Shape>) {
    let (left, right) = (scale.x(pass.left_m), scale.x(pass.left_m + pass.width_m));
    let (top, bottom) = (scale.y(pass.span_m.1), scale.y(pass.span_m.0));
    let area = |fill| Shape::Area { left, top, width: right - left, height: bottom - top, fill, line: 0.8 };
    if !pass.strips.is_empty() {
        shapes.push(area(Fill::Hatched));
        return;
    }
    shapes.push(area(Fill::None));
    let default = plan.planters.get(pass.planter).and_then(|planter| planter.default.as_ref());
    let long = default.map(|setting| format!("border: {}", units.knob_in_words(plan, pass.planter, setting)));
    let candidates = [long, Some("border".to_owned())];
    let label = candidates.into_iter().flatten().find(|label| width(label, SIZE) <= bottom - top - 8.0);
    shapes.extend(label.map(|label| standing((left + right) / 2.0, (top + bottom) / 2.0, label)));
}

fn standing(middle: f64, at: f64, text: String) -> Shape {
    Shape::Text(Text { at: (middle + SIZE * 0.27, at), size: SIZE, hold: Hold::Middle, standing: true, text })
}

fn strip(
    plan: &Plan,
    units: &Units,
    scale: &Scale,
    (position, strip): (usize, &Strip),
    one_block_a_pass: bool,
    shapes: &mut Vec<Shape>,
    key: &mut Key,
) {
    let passes: Vec<&Pass> = plan.passes.iter().filter(|pass| pass.strips.contains(&position)).collect();
    let (Some(first), Some(last)) = (passes.first(), passes.last()) else { return };
    let (left, right) = (scale.x(first.left_m), scale.x(last.left_m + last.width_m));
    let (top, bottom) = (scale.y(strip.span_m.1), scale.y(strip.span_m.0));
    let fill = if strip.block % 2 == 0 { Fill::Grey } else { Fill::White };
    let (counted_top, counted_bottom) = (scale.y(strip.counted_m.1), scale.y(strip.counted_m.0));
    let counted_height = (counted_bottom - counted_top).max(0.0);
    shapes.push(Shape::Area { left, top: counted_top, width: right - left, height: counted_height, fill, line: 0.0 });
    for pass in passes.iter().skip(1) {
        let x = scale.x(pass.left_m);
        shapes.push(Shape::Line { from: (x, top), to: (x, bottom), width: 0.4 });
    }
    shapes.push(Shape::Area { left, top, width: right - left, height: bottom - top, fill: Fill::None, line: 1.2 });
    for place in &strip.places {
        let Some(pass) = plan.passes.get(strip.pass) else { continue };
        let rows = f64::from(plan.planters.get(pass.planter).map_or(1, |planter| planter.rows).max(1));
        // Row units are numbered from the left of the planter, which on its way back is the right of the map.
        let from_left = (f64::from(place.row_unit) - 0.5) / rows;
        let share = if pass.outward { from_left } else { 1.0 - from_left };
        let at_m = place.at_m + plan.counting.row_length_m / 2.0;
        let at = (scale.x(pass.left_m + share.clamp(0.0, 1.0) * pass.width_m), scale.y(at_m));
        shapes.push(Shape::Dot { at, radius: 2.2 });
    }
    let setting = words::setting(plan, units, strip);
    let name =
        if one_block_a_pass { strip.strip_id.clone() } else { format!("block {} {}", strip.block, strip.strip_id) };
    let (middle, at, room) = ((left + right) / 2.0, (top + bottom) / 2.0, bottom - top - 6.0);
    let short = format!("setting {}", strip.level + 1);
    let candidates = [format!("{name}: {setting}"), setting.clone(), short.clone(), format!("{}", strip.level + 1)];
    let found = candidates.iter().position(|label| width(label, SIZE) <= room);
    let label = candidates[found.unwrap_or(3)].clone();
    if found.is_none_or(|found| found >= 2) {
        let of_planter =
            if plan.planters.len() > 1 { format!(", planter {}", letter(strip.planter)) } else { String::new() };
        key.explain(format!("{short}{of_planter}: {setting}"));
    }
    shapes.push(standing(middle, at, label));
}

/// "A" for the first planter.
fn letter(planter: usize) -> char {
    char::from(b'A'.saturating_add(u8::try_from(planter.min(25)).unwrap_or(25)))
}

/// Neighbouring passes of which something is the same.
fn runs<T: PartialEq>(plan: &Plan, of: impl Fn(&Strip) -> T) -> Vec<(T, f64, f64)> {
    let mut runs: Vec<(T, f64, f64)> = Vec::new();
    let mut goes_on = false;
    for pass in &plan.passes {
        let Some(strip) = pass.strips.first().and_then(|strip| plan.strips.get(*strip)) else {
            goes_on = false;
            continue;
        };
        let (value, right) = (of(strip), pass.left_m + pass.width_m);
        match runs.last_mut().filter(|run| goes_on && run.0 == value) {
            Some(run) => run.2 = right,
            None => runs.push((value, pass.left_m, right)),
        }
        goes_on = true;
    }
    runs
}

fn bracket(scale: &Scale, y: f64, from_m: f64, to_m: f64, label: String, shapes: &mut Vec<Shape>) {
    let (left, right) = (scale.x(from_m) + 2.0, scale.x(to_m) - 2.0);
    shapes.push(Shape::Line { from: (left, y), to: (right, y), width: 1.6 });
    for x in [left, right] {
        shapes.push(Shape::Line { from: (x, y), to: (x, y + 6.0), width: 1.6 });
    }
    shapes.push(text(((left + right) / 2.0, y - 5.0), Hold::Middle, label));
}

fn brackets_of_blocks(plan: &Plan, scale: &Scale, shapes: &mut Vec<Shape>) {
    let y = scale.top - 10.0 - if plan.closers.len() > 1 { BRACKET } else { 0.0 };
    for (block, from, to) in runs(plan, |strip| strip.block) {
        let room = (to - from) * scale.across - 6.0;
        let long = format!("block {block}");
        let label = if width(&long, SIZE) <= room { long } else { block.to_string() };
        bracket(scale, y, from, to, label, shapes);
    }
}

fn brackets_of_closers(plan: &Plan, scale: &Scale, shapes: &mut Vec<Shape>, key: &mut Key) {
    for ((_, closer), from, to) in runs(plan, |strip| (strip.block, strip.closer)) {
        let room = (to - from) * scale.across - 6.0;
        let name = words::closer(plan.closers.get(closer).map_or("", String::as_str));
        let short = format!("c{}", closer + 1);
        let label = if width(&name, SIZE) <= room { name } else { short.clone() };
        if label == short {
            let name = words::closer(plan.closers.get(closer).map_or("", String::as_str));
            key.explain(format!("{short}: closer {name}"));
        }
        bracket(scale, scale.top - 10.0, from, to, label, shapes);
    }
}

/// The start line, distances at the left, and under each pass its direction and number.
fn feet(plan: &Plan, units: &Units, scale: &Scale, shapes: &mut Vec<Shape>, key: &mut Key) {
    let start = scale.y(0.0);
    let right = plan.passes.iter().map(|pass| scale.x(pass.left_m + pass.width_m)).fold(LEFT, f64::max);
    shapes.push(Shape::Line { from: (LEFT - 8.0, start), to: (right + 8.0, start), width: 3.5 });
    shapes.push(text((LEFT - 12.0, start + 4.0), Hold::End, "start line"));
    shapes.push(text((LEFT - 12.0, scale.y(scale.length_m) + 9.0), Hold::End, units.along_with_unit(scale.length_m)));
    if plan.layout == Layout::StripSplit {
        // Distances at which settings change, where they lie apart enough to be read.
        let mut changes: Vec<f64> = plan.strips.iter().flat_map(|strip| [strip.span_m.0, strip.span_m.1]).collect();
        changes.sort_by(f64::total_cmp);
        let mut last = start - 4.0;
        for at in changes {
            let y = scale.y(at) + 4.0;
            if last - y > LINE && y - scale.y(scale.length_m) > LINE {
                shapes.push(text((LEFT - 12.0, y), Hold::End, units.along_with_unit(at)));
                last = y;
            }
        }
    }
    for pass in &plan.passes {
        let middle = scale.x(pass.left_m + pass.width_m / 2.0);
        shapes.push(Shape::Arrow { at: (middle, start + 18.0), up: pass.outward });
        // Three letters are as wide as the narrowest pass.
        shapes.push(Shape::Text(Text {
            at: (middle, start + 40.0),
            size: 10.5,
            hold: Hold::Middle,
            standing: false,
            text: cut(&pass.number.to_string(), 10.5, NARROW),
        }));
        if plan.planters.len() > 1 {
            shapes.push(text((middle, start + 56.0), Hold::Middle, letter(pass.planter)));
        }
    }
    if plan.planters.len() > 1 {
        for (position, planter) in plan.planters.iter().enumerate() {
            key.explain(format!("{}: planter {}", letter(position), planter.id));
        }
    }
}

/// The key; gives where it ends.
fn legend(top: f64, key: Key, shapes: &mut Vec<Shape>) -> f64 {
    let mut y = top + LINE;
    let sign = |shape: Shape, words: &str, y: &mut f64, shapes: &mut Vec<Shape>| {
        shapes.push(shape);
        shapes.push(text((LEFT + 22.0, *y), Hold::Start, words));
        *y += LINE;
    };
    let hatched = Shape::Area { left: LEFT, top: y - 10.0, width: 14.0, height: 11.0, fill: Fill::Hatched, line: 0.8 };
    sign(hatched, "not counted: headlands, and where a new setting settles", &mut y, shapes);
    sign(Shape::Dot { at: (LEFT + 7.0, y - 4.0), radius: 2.2 }, "a place where plants are counted", &mut y, shapes);
    sign(Shape::Arrow { at: (LEFT + 7.0, y - 4.0), up: true }, "a pass away from the start line", &mut y, shapes);
    sign(Shape::Arrow { at: (LEFT + 7.0, y - 4.0), up: false }, "a pass back to it", &mut y, shapes);
    for entry in key.entries {
        shapes.push(text((LEFT, y), Hold::Start, cut(&entry, SIZE, KEY)));
        y += LINE;
    }
    y
}
