//! The two fonts: which glyph a letter has, and how wide it is.

use std::cell::RefCell;
use std::collections::BTreeMap;

use ttf_parser::{Face, GlyphId};

use crate::{Fonts, PaperError};

/// Regular or bold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Weight {
    Regular,
    Bold,
}

/// Both fonts of a document.
pub(crate) struct Faces<'a> {
    pub regular: OneFace<'a>,
    pub bold: OneFace<'a>,
}

/// A font that is ready to measure.
pub(crate) struct OneFace<'a> {
    /// The file.
    pub bytes: &'a [u8],
    /// The file, parsed.
    pub face: Face<'a>,
    /// "regular" or "bold".
    pub which: &'static str,
    question_mark: GlyphId,
    per_point: f32,
    /// Glyph and width (for a size of 1 pt) of letters met so far: every line is measured at several sizes.
    known: RefCell<BTreeMap<char, (GlyphId, f32)>>,
}

impl<'a> Faces<'a> {
    /// Errors where a font cannot be read or lacks a question mark.
    pub fn read(fonts: Fonts<'a>) -> Result<Self, PaperError> {
        Ok(Self { regular: OneFace::read(fonts.regular, "regular")?, bold: OneFace::read(fonts.bold, "bold")? })
    }

    /// The font of a weight.
    pub fn of(&self, weight: Weight) -> &OneFace<'a> {
        match weight {
            Weight::Regular => &self.regular,
            Weight::Bold => &self.bold,
        }
    }

    /// Height of a line of this size: the taller of both fonts, so that lines of either never touch.
    pub fn line_height(&self, size: f32) -> f32 {
        size * self.regular.height().max(self.bold.height()).max(1.2)
    }

    /// From the top of a line to the feet of its letters.
    pub fn ascent(&self, size: f32) -> f32 {
        size * self.regular.ascent().max(self.bold.ascent())
    }
}

impl<'a> OneFace<'a> {
    fn read(bytes: &'a [u8], which: &'static str) -> Result<Self, PaperError> {
        let face = Face::parse(bytes, 0).map_err(|error| PaperError::Font { which, problem: error.to_string() })?;
        if face.tables().glyf.is_none() {
            return Err(PaperError::Font { which, problem: "it has no TrueType outlines".to_owned() });
        }
        let question_mark = face.glyph_index('?').ok_or(PaperError::QuestionMark { which })?;
        let per_point = 1.0 / f32::from(face.units_per_em().max(1));
        Ok(Self { bytes, face, which, question_mark, per_point, known: RefCell::default() })
    }

    /// Glyph of a letter and its width at 1 pt; the question mark's where the font has none.
    pub fn glyph(&self, letter: char) -> (GlyphId, f32) {
        *self.known.borrow_mut().entry(letter).or_insert_with(|| {
            let glyph = self.face.glyph_index(letter).filter(|glyph| glyph.0 != 0).unwrap_or(self.question_mark);
            (glyph, f32::from(self.face.glyph_hor_advance(glyph).unwrap_or(0)) * self.per_point)
        })
    }

    /// What the letter looks like on paper: itself, or a question mark.
    pub fn shown(&self, letter: char) -> char {
        if self.glyph(letter).0 == self.question_mark { '?' } else { letter }
    }

    /// Width of a text in points.
    pub fn width(&self, text: &str, size: f32) -> f32 {
        text.chars().map(|letter| self.glyph(letter).1).sum::<f32>() * size
    }

    fn ascent(&self) -> f32 {
        f32::from(self.face.ascender()) * self.per_point
    }

    fn height(&self) -> f32 {
        (f32::from(self.face.ascender()) - f32::from(self.face.descender())) * self.per_point
    }
}
