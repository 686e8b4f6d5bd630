//! What is drawn on a page, in the operators of the format.

use pdf_writer::types::{LineCapStyle, LineJoinStyle};
use pdf_writer::{Content as Operators, Name, Str};

use crate::document::fonts::{Embedded, name};
use crate::flow::Page;
use crate::marks::{Ink, Mark, Shape, TextLine, What};

/// The drawing of a page, and which element each tagged part of it belongs to.
pub(crate) struct Content {
    pub bytes: Vec<u8>,
    /// Elements by the number of the part.
    pub tagged: Vec<usize>,
}

/// Part of a quarter circle's radius at which the handles of its curve lie: 4/3 (√2 − 1).
const HANDLE: f32 = 0.552_284_8;

/// The drawing of a page of this height.
pub(super) fn content(page: &Page, height: f32, fonts: &Embedded) -> Content {
    let mut pen = Pen { operators: Operators::new(), height, fonts };
    let mut tagged = Vec::new();
    pen.operators.set_stroke_gray(0.0).set_fill_gray(0.0);
    pen.operators.set_line_cap(LineCapStyle::ButtCap).set_line_join(LineJoinStyle::MiterJoin);
    for part in page.marks.chunk_by(|one, next| one.element == next.element) {
        match part.first().and_then(|mark| mark.element) {
            Some(element) => {
                let id = i32::try_from(tagged.len()).unwrap_or(i32::MAX);
                tagged.push(element);
                pen.operators.begin_marked_content_with_properties(Name(b"Span")).properties().identify(id);
            }
            None => {
                pen.operators.begin_marked_content(Name(b"Artifact"));
            }
        }
        part.iter().for_each(|mark| pen.mark(mark));
        pen.operators.end_marked_content();
    }
    Content { bytes: pen.operators.finish().into_vec(), tagged }
}

struct Pen<'a> {
    operators: Operators,
    height: f32,
    fonts: &'a Embedded<'a>,
}

impl Pen<'_> {
    fn mark(&mut self, mark: &Mark) {
        match &mark.what {
            What::Text(line) => self.text(line),
            What::Shape(shape) => self.shape(shape),
        }
    }

    fn text(&mut self, line: &TextLine) {
        let text = self.fonts.encoded(line.text.chars().chain(line.space_after.then_some(' ')), line.weight);
        let (x, y) = self.at((line.x, line.baseline));
        self.operators.begin_text().set_font(Name(name(line.weight)), line.size).next_line(x, y);
        self.operators.show(Str(&text)).end_text();
    }

    fn shape(&mut self, shape: &Shape) {
        match shape {
            Shape::Line { from, to, width, dashed } => {
                self.stroke(*width, if *dashed { &[2.0, 2.0] } else { &[] });
                let (x, y) = self.at(*from);
                self.operators.move_to(x, y);
                let (x, y) = self.at(*to);
                self.operators.line_to(x, y).stroke();
            }
            Shape::Area { corners, ink } => {
                self.stroke(0.7, &[]);
                for (number, corner) in corners.iter().enumerate() {
                    let (x, y) = self.at(*corner);
                    if number == 0 {
                        self.operators.move_to(x, y);
                    } else {
                        self.operators.line_to(x, y);
                    }
                }
                match ink {
                    Ink::Filled => self.operators.close_path().fill_nonzero(),
                    Ink::Edge => self.operators.close_and_stroke(),
                    Ink::Grey => self.operators.set_fill_gray(0.8).close_fill_nonzero_and_stroke().set_fill_gray(0.0),
                };
            }
            Shape::Circle { middle, radius } => {
                // Eight dashes around.
                let dash = std::f32::consts::TAU * radius / 16.0;
                self.stroke(0.9, &[dash, dash]);
                self.circle(*middle, *radius);
            }
        }
    }

    fn circle(&mut self, middle: (f32, f32), radius: f32) {
        let (x, y) = self.at(middle);
        let handle = radius * HANDLE;
        let operators = &mut self.operators;
        operators.move_to(x + radius, y);
        operators.cubic_to(x + radius, y + handle, x + handle, y + radius, x, y + radius);
        operators.cubic_to(x - handle, y + radius, x - radius, y + handle, x - radius, y);
        operators.cubic_to(x - radius, y - handle, x - handle, y - radius, x, y - radius);
        operators.cubic_to(x + handle, y - radius, x + radius, y - handle, x + radius, y).close_and_stroke();
    }

    fn stroke(&mut self, width: f32, dashes: &[f32]) {
        self.operators.set_line_width(width).set_dash_pattern(dashes.iter().copied(), 0.0);
    }

    /// The format counts from the bottom.
    fn at(&self, (x, y): (f32, f32)) -> (f32, f32) {
        (x, self.height - y)
    }
}
