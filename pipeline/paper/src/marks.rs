//! What lies on a page: lines of text and strokes, measured from the top left corner in points.

use crate::font::{Faces, Weight};

/// One line of text.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct TextLine {
    pub text: String,
    pub weight: Weight,
    pub size: f32,
    pub x: f32,
    /// Top of the line's box.
    pub top: f32,
    pub width: f32,
    pub height: f32,
    /// Feet of the letters, below the top of the page.
    pub baseline: f32,
    /// Whether a space follows, which is not seen but keeps the words apart for those who copy or hear them.
    pub space_after: bool,
}

/// A stroke or an area.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Shape {
    Line {
        from: (f32, f32),
        to: (f32, f32),
        width: f32,
        dashed: bool,
    },
    /// Corners of an area; closed.
    Area {
        corners: Vec<(f32, f32)>,
        ink: Ink,
    },
    Circle {
        middle: (f32, f32),
        radius: f32,
    },
}

/// How an area is inked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Ink {
    Filled,
    /// Light grey with an edge.
    Grey,
    Edge,
}

/// Something on a page, and the element of the document that it belongs to; nothing for decoration.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Mark {
    pub what: What,
    pub element: Option<usize>,
}

/// See [`Mark`].
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum What {
    Text(TextLine),
    Shape(Shape),
}

/// What an element of the document is, for readers that do not see the page.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Role {
    Title,
    Heading,
    Paragraph,
    /// A picture in words.
    Picture(String),
}

/// Marks that stay together, with the height they need. Their tops count from the top of the piece.
#[derive(Debug, Clone, Default)]
pub(crate) struct Piece {
    pub height: f32,
    pub marks: Vec<Mark>,
    /// Whether it stays on the page of the piece that follows.
    pub with_next: bool,
}

impl Mark {
    /// The mark moved to the right and down.
    pub fn moved(mut self, right: f32, down: f32) -> Self {
        let at = |(x, y): (f32, f32)| (x + right, y + down);
        match &mut self.what {
            What::Text(line) => {
                line.x += right;
                line.top += down;
                line.baseline += down;
            }
            What::Shape(Shape::Line { from, to, .. }) => {
                *from = at(*from);
                *to = at(*to);
            }
            What::Shape(Shape::Area { corners, .. }) => corners.iter_mut().for_each(|corner| *corner = at(*corner)),
            What::Shape(Shape::Circle { middle, .. }) => *middle = at(*middle),
        }
        self
    }
}

impl Piece {
    /// Empty room.
    pub fn gap(height: f32) -> Self {
        Self { height, ..Self::default() }
    }

    /// A line of text at the top left.
    pub fn line(text: String, weight: Weight, size: f32, faces: &Faces<'_>, element: Option<usize>) -> Self {
        let height = faces.line_height(size);
        let width = faces.of(weight).width(&text, size);
        let baseline = faces.ascent(size);
        let line = TextLine { text, weight, size, x: 0.0, top: 0.0, width, height, baseline, space_after: false };
        Self { height, marks: vec![Mark { what: What::Text(line), element }], with_next: false }
    }

    /// The piece, with a space after its text.
    pub fn spaced(mut self) -> Self {
        for mark in &mut self.marks {
            if let What::Text(line) = &mut mark.what {
                line.space_after = true;
            }
        }
        self
    }

    /// A hairline over this width.
    pub fn rule(width: f32) -> Self {
        let line = Shape::Line { from: (0.0, 0.0), to: (width, 0.0), width: 0.5, dashed: false };
        Self { height: 0.5, marks: vec![Mark { what: What::Shape(line), element: None }], with_next: true }
    }

    /// Everything moved.
    pub fn moved(mut self, right: f32, down: f32) -> Self {
        self.marks = self.marks.into_iter().map(|mark| mark.moved(right, down)).collect();
        self
    }

    /// The pieces below one another as one piece.
    pub fn stacked(pieces: impl IntoIterator<Item = Piece>) -> Self {
        let mut whole = Piece::default();
        for piece in pieces {
            let down = whole.height;
            whole.height += piece.height;
            whole.marks.extend(piece.moved(0.0, down).marks);
        }
        whole
    }

    /// Two columns as one piece, the second one so far to the right.
    pub fn beside(left: Piece, right: Piece, offset: f32) -> Self {
        let height = left.height.max(right.height);
        let marks = left.marks.into_iter().chain(right.moved(offset, 0.0).marks).collect();
        Self { height, marks, with_next: false }
    }
}
