//! The scale of an answer: what was tested, what is as good, where to start.

use crate::PaperGauge;
use crate::font::{Faces, Weight};
use crate::marks::{Ink, Mark, Piece, Role, Shape, What};
use crate::wrap::{Wrapped, wrap};

/// Most lines of a label on the scale; longer labels are set as paragraphs below it.
const MOST_LINES: usize = 3;

/// Places values along the width of the scale.
struct Axis {
    from: f64,
    to: f64,
    width: f32,
}

impl Axis {
    /// Nothing where the ends of what was tested are no numbers or not apart.
    fn of(gauge: &PaperGauge, width: f32) -> Option<Self> {
        let tested = gauge.low.is_finite() && gauge.high.is_finite() && gauge.low < gauge.high;
        if !tested {
            return None;
        }
        let others = [gauge.start, gauge.default, gauge.as_good.map(|ends| ends.0), gauge.as_good.map(|ends| ends.1)];
        let values = others.into_iter().flatten().filter(|value| value.is_finite()).chain([gauge.low, gauge.high]);
        let (from, to) = values.fold((gauge.low, gauge.high), |(from, to), value| (from.min(value), to.max(value)));
        (to - from).is_finite().then_some(Self { from, to, width })
    }

    fn x(&self, value: f64) -> f32 {
        let share = ((value - self.from) / (self.to - self.from)).clamp(0.0, 1.0) as f32;
        share * self.width
    }
}

/// The scale as one piece, or nothing where the numbers make none or a label is too long for it; its labels then stand in
/// [`labels`].
pub(crate) fn piece(
    gauge: &PaperGauge,
    faces: &Faces<'_>,
    size: f32,
    width: f32,
    new_element: &mut dyn FnMut(Role) -> usize,
) -> Option<Piece> {
    // Room for half a mark at both ends.
    let side = size * 0.5;
    let axis = Axis::of(gauge, width - 2.0 * side)?;
    let element = Some(new_element(Role::Picture(in_words(gauge))));
    let scale = Scale { faces, size, side, width, element };
    let finite = |value: &f64| value.is_finite();
    let (start, default) = (gauge.start.filter(finite), gauge.default.filter(finite));

    let mut piece = Piece::default();
    if let (Some(start), Some(label)) = (start, &gauge.start_label) {
        scale.label_at(&mut piece, label, Weight::Bold, axis.x(start))?;
    }
    let top = piece.height;
    let middle = top + size * 1.1;
    let at = |value: f64, down: f32| (side + axis.x(value), middle + down);
    let mut draw = |shape: Shape| piece.marks.push(Mark { what: What::Shape(shape), element });
    if let Some((low, high)) = gauge.as_good.filter(|(low, high)| low.is_finite() && high.is_finite() && low <= high) {
        let half = size * 0.35;
        let corners = vec![at(low, -half), at(high, -half), at(high, half), at(low, half)];
        draw(Shape::Area { corners, ink: Ink::Grey });
    }
    let line = |from, to, width, dashed| Shape::Line { from, to, width, dashed };
    if axis.from < gauge.low {
        draw(line(at(axis.from, 0.0), at(gauge.low, 0.0), 0.5, true));
    }
    if axis.to > gauge.high {
        draw(line(at(gauge.high, 0.0), at(axis.to, 0.0), 0.5, true));
    }
    draw(line(at(gauge.low, 0.0), at(gauge.high, 0.0), 1.0, false));
    for end in [gauge.low, gauge.high] {
        draw(line(at(end, -size * 0.35), at(end, size * 0.35), 1.0, false));
    }
    if let Some(default) = default {
        // Below the line, open, pointing up.
        let half = size * 0.32;
        let corners = vec![
            at(default, size * 0.1),
            offset(at(default, size * 0.75), half),
            offset(at(default, size * 0.75), -half),
        ];
        draw(Shape::Area { corners, ink: Ink::Edge });
    }
    if let Some(start) = start {
        // Above the line, filled, pointing down.
        let half = size * 0.42;
        let corners =
            vec![at(start, -size * 0.1), offset(at(start, -size * 0.95), half), offset(at(start, -size * 0.95), -half)];
        draw(Shape::Area { corners, ink: Ink::Filled });
    }
    piece.height = middle + size * 0.95;
    let mut below = Piece::default();
    if let (Some(default), Some(label)) = (default, &gauge.default_label) {
        scale.label_at(&mut below, label, Weight::Regular, axis.x(default))?;
    }
    let mut ends = Piece::default();
    scale.ends(&mut ends, &gauge.low_label, &gauge.high_label)?;
    // The words at the default stand between those at the ends where there is room, else above them.
    let down = if clear(&below, &ends, size) { 0.0 } else { below.height };
    let height = ends.height + down;
    let top = piece.height;
    piece.marks.extend(below.moved(0.0, top).marks);
    piece.marks.extend(ends.moved(0.0, top + down).marks);
    piece.height += height;
    if let Some(label) = &gauge.as_good_label {
        scale.with_swatch(&mut piece, label)?;
    }
    Some(piece)
}

/// Whether the texts of two pieces that begin at the same height stand side by side, so far apart.
fn clear(one: &Piece, other: &Piece, apart: f32) -> bool {
    let spans = |piece: &Piece| -> Vec<(f32, f32)> {
        let texts = piece.marks.iter().filter_map(|mark| match &mark.what {
            What::Text(line) => Some((line.x, line.x + line.width)),
            What::Shape(_) => None,
        });
        texts.collect()
    };
    let others = spans(other);
    one.height <= other.height
        && spans(one).iter().all(|one| others.iter().all(|other| one.1 + apart <= other.0 || other.1 + apart <= one.0))
}

/// Everything that the scale says, for where it cannot be drawn.
pub(crate) fn labels(gauge: &PaperGauge) -> Vec<String> {
    let ends = [Some(&gauge.low_label), Some(&gauge.high_label)];
    let others = [gauge.start_label.as_ref(), gauge.default_label.as_ref(), gauge.as_good_label.as_ref()];
    ends.into_iter().chain(others).flatten().filter(|label| !label.is_empty()).cloned().collect()
}

/// The picture in words, for readers that do not see the page.
fn in_words(gauge: &PaperGauge) -> String {
    format!("Scale: {}", labels(gauge).join("; "))
}

fn offset((x, y): (f32, f32), right: f32) -> (f32, f32) {
    (x + right, y)
}

struct Scale<'a> {
    faces: &'a Faces<'a>,
    size: f32,
    side: f32,
    width: f32,
    element: Option<usize>,
}

impl Scale<'_> {
    fn lines(&self, label: &str, weight: Weight, width: f32) -> Option<Vec<Wrapped>> {
        let lines = wrap(label, self.faces.of(weight), self.size, width);
        (lines.len() <= MOST_LINES).then_some(lines)
    }

    /// Puts lines below what the piece has, each placed by its width.
    fn put(&self, piece: &mut Piece, lines: Vec<Wrapped>, weight: Weight, left: impl Fn(f32) -> f32) {
        for line in lines {
            let down = piece.height;
            let inside_word = line.inside_word;
            let line = Piece::line(line.text, weight, self.size, self.faces, self.element);
            let line = if inside_word { line } else { line.spaced() };
            let width = match line.marks.first() {
                Some(Mark { what: What::Text(text), .. }) => text.width,
                _ => 0.0,
            };
            piece.height += line.height;
            piece.marks.extend(line.moved(left(width).max(0.0), down).marks);
        }
    }

    /// A label with its middle at a place of the scale, as far as the paper allows.
    fn label_at(&self, piece: &mut Piece, label: &str, weight: Weight, x: f32) -> Option<()> {
        let lines = self.lines(label, weight, self.width)?;
        self.put(piece, lines, weight, |width| (self.side + x - width / 2.0).min(self.width - width));
        Some(())
    }

    /// The words at both ends, in the left and the right half.
    fn ends(&self, piece: &mut Piece, low: &str, high: &str) -> Option<()> {
        let half = (self.width - self.size) / 2.0;
        let low = self.lines(low, Weight::Regular, half)?;
        let high = self.lines(high, Weight::Regular, half)?;
        let (mut left, mut right) = (Piece::default(), Piece::default());
        self.put(&mut left, low, Weight::Regular, |_| 0.0);
        self.put(&mut right, high, Weight::Regular, |width| half - width);
        let both = Piece::beside(left, right, self.width - half);
        let down = piece.height;
        piece.height += both.height;
        piece.marks.extend(both.moved(0.0, down).marks);
        Some(())
    }

    /// A label behind a small piece of the band that it explains.
    fn with_swatch(&self, piece: &mut Piece, label: &str) -> Option<()> {
        let indent = self.size * 1.8;
        let lines = self.lines(label, Weight::Regular, self.width - indent)?;
        if lines.is_empty() {
            return Some(());
        }
        let (top, bottom) = (piece.height + self.size * 0.45, piece.height + self.size * 1.05);
        let right = indent - self.size * 0.5;
        let corners = vec![(0.0, top), (right, top), (right, bottom), (0.0, bottom)];
        piece.marks.push(Mark { what: What::Shape(Shape::Area { corners, ink: Ink::Grey }), element: self.element });
        self.put(piece, lines, Weight::Regular, |_| indent);
        Some(())
    }
}
