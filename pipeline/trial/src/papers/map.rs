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
const DOT: f64 = 2.2;
const SIZE: f64 = 12.0;
const LINE: f64 = 17.0;
/// Letters of a line of the key, as a width.
const KEY: f64 = 560.0;

/// Drawn length of the longest pass where there are several panels, with room for the label of a strip.
const SHORT: f64 = 300.0;

/// Passes that are drawn side by side.
struct Panel<'a> {
    passes: &'a [Pass],
    top: f64,
    across: f64,
    along: f64,
    length_m: f64,
    left_m: f64,
}

impl Panel<'_> {
    fn x(&self, metres: f64) -> f64 {
        LEFT + (metres - self.left_m) * self.across
    }

    fn y(&self, metres: f64) -> f64 {
        self.top + (self.length_m - metres) * self.along
    }

    fn right(&self) -> f64 {
        self.passes.iter().map(|pass| self.x(pass.left_m + pass.width_m)).fold(LEFT, f64::max)
    }
}

/// The whole map: its panels one below the other.
pub(crate) fn map(plan: &Plan, units: &Units) -> Drawing {
    let mut whole = Drawing::default();
    for mut panel in panels(plan, units) {
        panel.shapes.iter_mut().for_each(|shape| shape.lower(whole.height));
        whole.shapes.append(&mut panel.shapes);
        whole.height += panel.height;
        whole.width = whole.width.max(panel.width);
        whole.title = panel.title;
    }
    whole
}

/// The map in panels that are as wide as a page can show; the last has the key.
pub(crate) fn panels(plan: &Plan, units: &Units) -> Vec<Drawing> {
    let narrowest = plan.passes.iter().map(|pass| pass.width_m).fold(f64::INFINITY, f64::min).max(0.1);
    let pieces = pieces(plan, ACROSS * narrowest / NARROW);
    let widest = pieces.iter().map(|passes| reach(passes)).fold(0.1, f64::max);
    let across = (ACROSS / widest).min(WIDE / narrowest).max(NARROW / narrowest);
    let length_m = plan.passes.iter().map(|pass| pass.span_m.1).fold(1.0, f64::max);
    let segments = plan.passes.iter().map(|pass| pass.strips.len()).max().unwrap_or(1);
    // No segment shorter than its text: the shortest strip decides.
    let shortest = plan.strips.iter().map(|strip| strip.span_m.1 - strip.span_m.0).fold(length_m, f64::min).max(1.0);
    let drawn = match (segments > 1, pieces.len() > 1) {
        (true, _) => (SEGMENT * length_m / shortest).clamp(LENGTH, 1600.0),
        (false, true) => SHORT,
        (false, false) => LENGTH,
    };
    let brackets = if plan.closers.len() > 1 { 2.0 } else { 1.0 };
    let one_block_a_pass = plan.passes.iter().all(|pass| {
        let mut blocks = pass.strips.iter().map(|strip| plan.strips[*strip].block);
        let first = blocks.next();
        blocks.all(|block| Some(block) == first)
    });
    let mut key = Key::default();
    let mut drawings = Vec::new();
    for (position, passes) in pieces.iter().enumerate() {
        let left_m = passes.iter().map(|pass| pass.left_m).fold(f64::INFINITY, f64::min);
        let left_m = if left_m.is_finite() { left_m } else { 0.0 };
        let top = 14.0 + BRACKET * brackets;
        let panel = Panel { passes, top, across, along: drawn / length_m, length_m, left_m };
        let mut shapes = Vec::new();
        draw(plan, units, &panel, one_block_a_pass, &mut shapes, &mut key);
        let mut height = panel.y(0.0) + BELOW + if plan.planters.len() > 1 { 16.0 } else { 0.0 };
        if position + 1 == pieces.len() {
            height = legend(height, std::mem::take(&mut key), &mut shapes);
        }
        let width = (LEFT + widest * across + 16.0).max(LEFT + KEY);
        let of = if pieces.len() > 1 { format!(", part {} of {}", position + 1, pieces.len()) } else { String::new() };
        let title = format!("Map of the trial in {}, {}{of}", plan.field_id, plan.season);
        drawings.push(Drawing { width, height, number: position + 1, title, shapes });
    }
    drawings
}

/// From the left of the first of some passes to the right of the last.
fn reach(passes: &[Pass]) -> f64 {
    let left = passes.iter().map(|pass| pass.left_m).fold(f64::INFINITY, f64::min);
    passes.iter().map(|pass| pass.left_m + pass.width_m).fold(0.0, f64::max) - left.min(f64::MAX)
}

/// Passes in pieces of about the same width, none wider than this unless it is one block or one strip: a piece ends where a block
/// does.
fn pieces(plan: &Plan, most_m: f64) -> Vec<&[Pass]> {
    let block = |pass: &Pass| pass.strips.first().map(|strip| plan.strips[*strip].block);
    let shares_strip = |a: &Pass, b: &Pass| a.strips.iter().any(|strip| b.strips.contains(strip));
    let number = (reach(&plan.passes) / most_m).ceil().max(1.0);
    let aim = reach(&plan.passes) / number;
    let mut pieces = Vec::new();
    let mut from = 0;
    for next in 1..plan.passes.len() {
        let (last, pass) = (&plan.passes[next - 1], &plan.passes[next]);
        // A border pass stays with the strips beside it.
        let block_ends = block(last).is_some() && block(pass).is_some() && block(last) != block(pass);
        let block_goes_on = || plan.passes[next..].iter().take_while(|other| block(other) == block(pass)).count();
        let with_next = || reach(&plan.passes[from..next + block_goes_on()]);
        let is_full = || with_next() > most_m || reach(&plan.passes[from..next]) >= aim;
        if number > 1.0 && block_ends && !shares_strip(last, pass) && is_full() {
            pieces.push(&plan.passes[from..next]);
            from = next;
        }
    }
    pieces.push(&plan.passes[from..]);
    pieces
}

fn draw(plan: &Plan, units: &Units, panel: &Panel, one_block_a_pass: bool, shapes: &mut Vec<Shape>, key: &mut Key) {
    for pass in panel.passes {
        ground(plan, units, panel, pass, shapes);
    }
    for (position, strip) in plan.strips.iter().enumerate() {
        self::strip(plan, units, panel, (position, strip), one_block_a_pass, shapes, key);
    }
    if one_block_a_pass {
        brackets_of_blocks(plan, panel, shapes);
    }
    if plan.closers.len() > 1 {
        brackets_of_closers(plan, panel, shapes, key);
    }
    feet(plan, units, panel, shapes, key);
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
fn ground(plan: &Plan, units: &Units, panel: &Panel, pass: &Pass, shapes: &mut Vec<Shape>) {
    let (left, right) = (panel.x(pass.left_m), panel.x(pass.left_m + pass.width_m));
    let (top, bottom) = (panel.y(pass.span_m.1), panel.y(pass.span_m.0));
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
    panel: &Panel,
    (position, strip): (usize, &Strip),
    one_block_a_pass: bool,
    shapes: &mut Vec<Shape>,
    key: &mut Key,
) {
    let passes: Vec<&Pass> = panel.passes.iter().filter(|pass| pass.strips.contains(&position)).collect();
    let (Some(first), Some(last)) = (passes.first(), passes.last()) else { return };
    let (left, right) = (panel.x(first.left_m), panel.x(last.left_m + last.width_m));
    let (top, bottom) = (panel.y(strip.span_m.1), panel.y(strip.span_m.0));
    let fill = if strip.block.is_multiple_of(2) { Fill::Grey } else { Fill::White };
    let (counted_top, counted_bottom) = (panel.y(strip.counted_m.1), panel.y(strip.counted_m.0));
    let counted_height = (counted_bottom - counted_top).max(0.0);
    shapes.push(Shape::Area { left, top: counted_top, width: right - left, height: counted_height, fill, line: 0.0 });
    for pass in passes.iter().skip(1) {
        let x = panel.x(pass.left_m);
        shapes.push(Shape::Line { from: (x, top), to: (x, bottom), width: 0.4 });
    }
    shapes.push(Shape::Area { left, top, width: right - left, height: bottom - top, fill: Fill::None, line: 1.2 });
    let mut dots = Vec::new();
    for place in &strip.places {
        let Some(pass) = plan.passes.get(strip.pass) else { continue };
        let rows = f64::from(plan.planters.get(pass.planter).map_or(1, |planter| planter.rows).max(1));
        // Row units are numbered from the left of the planter, which on its way back is the right of the map.
        let from_left = (f64::from(place.row_unit) - 0.5) / rows;
        let share = if pass.outward { from_left } else { 1.0 - from_left };
        let at_m = place.at_m + plan.counting.row_length_m / 2.0;
        let at = (panel.x(pass.left_m + share.clamp(0.0, 1.0) * pass.width_m), panel.y(at_m));
        dots.push(at);
    }
    let setting = words::setting(plan, units, strip);
    let name =
        if one_block_a_pass { strip.strip_id.clone() } else { format!("block {} {}", strip.block, strip.strip_id) };
    let room = bottom - top - 6.0;
    let short = format!("setting {}", strip.level + 1);
    let candidates = [format!("{name}: {setting}"), setting.clone(), short.clone(), format!("{}", strip.level + 1)];
    let found = candidates.iter().position(|label| width(label, SIZE) <= room);
    let label = candidates[found.unwrap_or(3)].clone();
    if found.is_none_or(|found| found >= 2) {
        let of_planter =
            if plan.planters.len() > 1 { format!(", planter {}", letter(strip.planter)) } else { String::new() };
        key.explain(format!("{short}{of_planter}: {setting}"));
    }
    shapes.push(clear_of(&dots, [left, top, right, bottom], label));
    shapes.extend(dots.into_iter().map(|at| Shape::Dot { at, radius: DOT }));
}

/// A standing text inside a box where it covers no dot, or the fewest, and as near to the middle as that allows.
fn clear_of(dots: &[(f64, f64)], [left, top, right, bottom]: [f64; 4], label: String) -> Shape {
    let (wide, long) = (SIZE, width(&label, SIZE));
    let (aside, along) = ((right - left - wide - 4.0).max(0.0) / 2.0, (bottom - top - long - 6.0).max(0.0) / 2.0);
    let covered = |middle: f64, at: f64| {
        let near = |dot: &&(f64, f64)| {
            (dot.0 - middle).abs() < wide / 2.0 + 2.0 * DOT && (dot.1 - at).abs() < long / 2.0 + 2.0 * DOT
        };
        dots.iter().filter(near).count()
    };
    let shares = [0.0, -0.25, 0.25, -0.5, 0.5, -0.75, 0.75, -1.0, 1.0];
    let places = shares.iter().flat_map(|up| shares.iter().map(move |over| (*over, *up)));
    let middle = |(over, up): (f64, f64)| ((left + right) / 2.0 + over * aside, (top + bottom) / 2.0 + up * along);
    let best = places.map(middle).min_by_key(|(x, y)| covered(*x, *y));
    let (x, y) = best.unwrap_or_else(|| middle((0.0, 0.0)));
    standing(x, y, label)
}

/// "A" for the first planter.
fn letter(planter: usize) -> char {
    char::from(b'A'.saturating_add(u8::try_from(planter.min(25)).unwrap_or(25)))
}

/// Neighbouring passes of which something is the same.
fn runs<T: PartialEq>(plan: &Plan, panel: &Panel, of: impl Fn(&Strip) -> T) -> Vec<(T, f64, f64)> {
    let mut runs: Vec<(T, f64, f64)> = Vec::new();
    let mut goes_on = false;
    for pass in panel.passes {
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

fn bracket(panel: &Panel, y: f64, from_m: f64, to_m: f64, label: String, shapes: &mut Vec<Shape>) {
    let (left, right) = (panel.x(from_m) + 2.0, panel.x(to_m) - 2.0);
    shapes.push(Shape::Line { from: (left, y), to: (right, y), width: 1.6 });
    for x in [left, right] {
        shapes.push(Shape::Line { from: (x, y), to: (x, y + 6.0), width: 1.6 });
    }
    shapes.push(text(((left + right) / 2.0, y - 5.0), Hold::Middle, label));
}

fn brackets_of_blocks(plan: &Plan, panel: &Panel, shapes: &mut Vec<Shape>) {
    let y = panel.top - 10.0 - if plan.closers.len() > 1 { BRACKET } else { 0.0 };
    for (block, from, to) in runs(plan, panel, |strip| strip.block) {
        let room = (to - from) * panel.across - 6.0;
        let long = format!("block {block}");
        let label = if width(&long, SIZE) <= room { long } else { block.to_string() };
        bracket(panel, y, from, to, label, shapes);
    }
}

fn brackets_of_closers(plan: &Plan, panel: &Panel, shapes: &mut Vec<Shape>, key: &mut Key) {
    for ((_, closer), from, to) in runs(plan, panel, |strip| (strip.block, strip.closer)) {
        let room = (to - from) * panel.across - 6.0;
        let name = words::closer(plan.closers.get(closer).map_or("", String::as_str));
        let short = format!("c{}", closer + 1);
        let label = if width(&name, SIZE) <= room { name } else { short.clone() };
        if label == short {
            let name = words::closer(plan.closers.get(closer).map_or("", String::as_str));
            key.explain(format!("{short}: closer {name}"));
        }
        bracket(panel, panel.top - 10.0, from, to, label, shapes);
    }
}

/// The start line, distances at the left, and under each pass its direction and number.
fn feet(plan: &Plan, units: &Units, panel: &Panel, shapes: &mut Vec<Shape>, key: &mut Key) {
    let start = panel.y(0.0);
    let right = panel.right();
    shapes.push(Shape::Line { from: (LEFT - 8.0, start), to: (right + 8.0, start), width: 3.5 });
    shapes.push(text((LEFT - 12.0, start + 4.0), Hold::End, "start line"));
    shapes.push(text((LEFT - 12.0, panel.y(panel.length_m) + 9.0), Hold::End, units.along_with_unit(panel.length_m)));
    if plan.layout == Layout::StripSplit {
        // Distances at which settings change, where they lie apart enough to be read.
        let mut changes: Vec<f64> = plan.strips.iter().flat_map(|strip| [strip.span_m.0, strip.span_m.1]).collect();
        changes.sort_by(f64::total_cmp);
        let mut last = start - 4.0;
        for at in changes {
            let y = panel.y(at) + 4.0;
            if last - y > LINE && y - panel.y(panel.length_m) > LINE {
                shapes.push(text((LEFT - 12.0, y), Hold::End, units.along_with_unit(at)));
                last = y;
            }
        }
    }
    for pass in panel.passes {
        let middle = panel.x(pass.left_m + pass.width_m / 2.0);
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
fn legend(top: f64, mut key: Key, shapes: &mut Vec<Shape>) -> f64 {
    let mut y = top + LINE;
    let sign = |shape: Shape, words: &str, y: &mut f64, shapes: &mut Vec<Shape>| {
        shapes.push(shape);
        shapes.push(text((LEFT + 22.0, *y), Hold::Start, words));
        *y += LINE;
    };
    let hatched = Shape::Area { left: LEFT, top: y - 10.0, width: 14.0, height: 11.0, fill: Fill::Hatched, line: 0.8 };
    sign(hatched, "not counted: headlands, and where a new setting settles", &mut y, shapes);
    sign(Shape::Dot { at: (LEFT + 7.0, y - 4.0), radius: DOT }, "a place where plants are counted", &mut y, shapes);
    sign(Shape::Arrow { at: (LEFT + 7.0, y - 4.0), up: true }, "a pass away from the start line", &mut y, shapes);
    sign(Shape::Arrow { at: (LEFT + 7.0, y - 4.0), up: false }, "a pass back to it", &mut y, shapes);
    key.entries.sort();
    for entry in key.entries {
        shapes.push(text((LEFT, y), Hold::Start, cut(&entry, SIZE, KEY)));
        y += LINE;
    }
    y
}
