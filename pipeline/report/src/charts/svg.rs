//! Marks of an SVG document for the drawing library, written straight into one text.
//!
//! The library has a writer of its own, which makes a text of every attribute first; in a report of thousands of fields that took longer than
//! all words of its pages. The marks are the same; names are written by the one escape of all pages.

use std::convert::Infallible;

use evenstand_tables::escaped;
use plotters::style::text_anchor::{HPos, VPos};
use plotters_backend::{BackendColor, BackendCoord, BackendStyle, BackendTextStyle, DrawingBackend, DrawingErrorKind};

type Drawn = Result<(), DrawingErrorKind<Infallible>>;

/// How many units of size the library counts to the em.
pub(crate) const SIZE_PER_EM: f64 = 1.24;
/// How far below the top of a text its baseline is, in em.
pub(crate) const BASELINE_PER_EM: f64 = 0.76;

/// The inside of an SVG document that is being drawn.
pub(crate) struct SvgMarks<'a> {
    marks: &'a mut String,
    size: (u32, u32),
}

impl<'a> SvgMarks<'a> {
    /// Marks on a canvas of this size, put behind what the text holds.
    pub fn new(marks: &'a mut String, size: (u32, u32)) -> Self {
        Self { marks, size }
    }

    fn push(&mut self, text: &str) -> &mut Self {
        self.marks.push_str(text);
        self
    }

    fn number(&mut self, number: i64) -> &mut Self {
        let mut digits = [0; 20];
        let mut first = digits.len();
        let mut left = number.unsigned_abs();
        loop {
            first -= 1;
            digits[first] = b'0' + (left % 10) as u8;
            left /= 10;
            if left == 0 {
                break;
            }
        }
        if number < 0 {
            self.marks.push('-');
        }
        self.marks.extend(digits[first..].iter().map(|digit| char::from(*digit)));
        self
    }

    fn colour(&mut self, colour: BackendColor) -> &mut Self {
        const DIGITS: [u8; 16] = *b"0123456789ABCDEF";
        let (red, green, blue) = colour.rgb;
        self.marks.push('#');
        for channel in [red, green, blue] {
            self.marks.push(char::from(DIGITS[usize::from(channel >> 4)]));
            self.marks.push(char::from(DIGITS[usize::from(channel & 15)]));
        }
        self
    }

    fn opacity(&mut self, colour: BackendColor) -> &mut Self {
        self.push(" opacity=\"").push(&colour.alpha.to_string()).push("\"")
    }

    fn points(&mut self, points: impl IntoIterator<Item = BackendCoord>) -> &mut Self {
        self.push(" points=\"");
        for (x, y) in points {
            self.number(x.into()).push(",").number(y.into()).push(" ");
        }
        self.push("\"/>\n")
    }
}

impl DrawingBackend for SvgMarks<'_> {
    type ErrorType = Infallible;

    fn get_size(&self) -> (u32, u32) {
        self.size
    }

    fn ensure_prepared(&mut self) -> Drawn {
        Ok(())
    }

    fn present(&mut self) -> Drawn {
        Ok(())
    }

    fn draw_pixel(&mut self, (x, y): BackendCoord, colour: BackendColor) -> Drawn {
        self.draw_rect((x, y), (x + 1, y + 1), &colour, true)
    }

    fn draw_line<S: BackendStyle>(&mut self, from: BackendCoord, to: BackendCoord, style: &S) -> Drawn {
        self.draw_path([from, to], style)
    }

    fn draw_rect<S: BackendStyle>(
        &mut self,
        (left, top): BackendCoord,
        (right, bottom): BackendCoord,
        style: &S,
        fill: bool,
    ) -> Drawn {
        if !fill {
            return self.draw_path([(left, top), (right, top), (right, bottom), (left, bottom), (left, top)], style);
        }
        self.push("<rect x=\"").number(left.into()).push("\" y=\"").number(top.into()).push("\" width=\"");
        self.number((right - left).into()).push("\" height=\"").number((bottom - top).into()).push("\"");
        self.opacity(style.color()).push(" fill=\"").colour(style.color()).push("\" stroke=\"none\"/>\n");
        Ok(())
    }

    fn draw_path<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(&mut self, path: I, style: &S) -> Drawn {
        self.push("<polyline fill=\"none\"").opacity(style.color()).push(" stroke=\"").colour(style.color());
        self.push("\" stroke-width=\"").number(style.stroke_width().into()).push("\"").points(path);
        Ok(())
    }

    fn draw_circle<S: BackendStyle>(&mut self, (x, y): BackendCoord, radius: u32, style: &S, fill: bool) -> Drawn {
        self.push("<circle cx=\"").number(x.into()).push("\" cy=\"").number(y.into()).push("\" r=\"");
        self.number(radius.into()).push("\"").opacity(style.color());
        match fill {
            true => self.push(" fill=\"").colour(style.color()).push("\" stroke=\"none"),
            false => self.push(" fill=\"none\" stroke=\"").colour(style.color()),
        };
        self.push("\" stroke-width=\"").number(style.stroke_width().into()).push("\"/>\n");
        Ok(())
    }

    fn fill_polygon<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(&mut self, corners: I, style: &S) -> Drawn {
        self.push("<polygon").opacity(style.color()).push(" fill=\"").colour(style.color()).push("\"").points(corners);
        Ok(())
    }

    /// The place of a text is the top of its box.
    fn draw_text<S: BackendTextStyle>(&mut self, text: &str, style: &S, (x, y): BackendCoord) -> Drawn {
        let anchor = match style.anchor().h_pos {
            HPos::Left => "start",
            HPos::Center => "middle",
            HPos::Right => "end",
        };
        let below = match style.anchor().v_pos {
            VPos::Top => "0.76em",
            VPos::Center => "0.5ex",
            VPos::Bottom => "-0.5ex",
        };
        self.push("<text x=\"")
            .number(x.into())
            .push("\" y=\"")
            .number(y.into())
            .push("\" dy=\"")
            .push(below)
            .push("\" text-anchor=\"");
        self.push(anchor).push("\" font-family=\"").push(style.family().as_str()).push("\" font-size=\"");
        let size = style.size() / SIZE_PER_EM;
        self.push(&size.to_string()).push("\"").opacity(style.color()).push(" fill=\"").colour(style.color());
        self.push("\">\n");
        self.push(&escaped(text)).push("\n</text>\n");
        Ok(())
    }
}
