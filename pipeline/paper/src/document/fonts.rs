//! Fonts in a document: only the letters in use, with the way back from glyphs to letters.

use std::collections::{BTreeMap, BTreeSet};

use pdf_writer::types::{CidFontType, FontFlags, SystemInfo, UnicodeCmap};
use pdf_writer::{Filter, Finish, Name, Pdf, Rect, Ref, Str};
use subsetter::{GlyphRemapper, subset};

use crate::PaperError;
use crate::document::Numbers;
use crate::flow::Pages;
use crate::font::{Faces, OneFace, Weight};
use crate::marks::What;

const SYSTEM: SystemInfo = SystemInfo { registry: Str(b"Adobe"), ordering: Str(b"Identity"), supplement: 0 };

/// The name of a font inside the pages.
pub(super) fn name(weight: Weight) -> &'static [u8] {
    match weight {
        Weight::Regular => b"Regular",
        Weight::Bold => b"Bold",
    }
}

/// The fonts that a document uses.
pub(crate) struct Embedded<'a> {
    fonts: BTreeMap<Weight, OneFont<'a>>,
}

struct OneFont<'a> {
    face: &'a OneFace<'a>,
    /// The file with the letters in use alone.
    bytes: Vec<u8>,
    /// Number in that file by letter.
    numbers: BTreeMap<char, u16>,
    /// By number: the letter it shows, and its width at 1 pt.
    glyphs: BTreeMap<u16, (char, f32)>,
}

impl<'a> Embedded<'a> {
    /// Takes from both fonts what the pages use.
    pub fn of(pages: &Pages, faces: &'a Faces<'a>) -> Result<Self, PaperError> {
        let mut letters: BTreeMap<Weight, BTreeSet<char>> = BTreeMap::new();
        for mark in pages.pages.iter().flat_map(|page| &page.marks) {
            if let What::Text(line) = &mark.what {
                letters
                    .entry(line.weight)
                    .or_default()
                    .extend(line.text.chars().chain(line.space_after.then_some(' ')));
            }
        }
        let fonts = letters.into_iter().map(|(weight, letters)| Ok((weight, OneFont::of(faces.of(weight), &letters)?)));
        Ok(Self { fonts: fonts.collect::<Result<_, PaperError>>()? })
    }

    /// A text as the numbers of its glyphs, two bytes each.
    pub fn encoded(&self, text: impl Iterator<Item = char>, weight: Weight) -> Vec<u8> {
        let Some(font) = self.fonts.get(&weight) else { return Vec::new() };
        let numbers = text.filter_map(|letter| font.numbers.get(&letter));
        numbers.flat_map(|number| number.to_be_bytes()).collect()
    }

    /// Writes the fonts, and gives their objects by name.
    pub fn write(&self, pdf: &mut Pdf, numbers: &mut Numbers) -> Vec<(&'static [u8], Ref)> {
        self.fonts.iter().map(|(weight, font)| (name(*weight), font.write(pdf, numbers))).collect()
    }
}

impl<'a> OneFont<'a> {
    fn of(face: &'a OneFace<'a>, letters: &BTreeSet<char>) -> Result<Self, PaperError> {
        let mut remapper = GlyphRemapper::new();
        let mut numbers = BTreeMap::new();
        let mut glyphs = BTreeMap::new();
        for &letter in letters {
            let (glyph, width) = face.glyph(letter);
            let number = remapper.remap(glyph.0);
            numbers.insert(letter, number);
            // Two letters may share a glyph; the first one is what a reader finds.
            glyphs.entry(number).or_insert((face.shown(letter), width));
        }
        let fault = |error: subsetter::Error| PaperError::Font { which: face.which, problem: error.to_string() };
        let bytes = subset(face.bytes, 0, &remapper).map_err(fault)?;
        Ok(Self { face, bytes, numbers, glyphs })
    }

    fn write(&self, pdf: &mut Pdf, numbers: &mut Numbers) -> Ref {
        let [font, cid, descriptor, to_letters, file] = std::array::from_fn(|_| numbers.next());
        let base = self.base_name();
        let base = Name(base.as_bytes());
        let face = &self.face.face;
        let per_mille = 1000.0 / f32::from(face.units_per_em().max(1));

        let mut written = pdf.type0_font(font);
        written.base_font(base).encoding_predefined(Name(b"Identity-H")).descendant_font(cid).to_unicode(to_letters);
        written.finish();
        let mut written = pdf.cid_font(cid);
        written.subtype(CidFontType::Type2);
        written.base_font(base).system_info(SYSTEM).font_descriptor(descriptor).default_width(0.0);
        written.cid_to_gid_map_predefined(Name(b"Identity"));
        let mut widths = written.widths();
        for (number, (_, width)) in &self.glyphs {
            widths.consecutive(*number, [width * 1000.0]);
        }
        widths.finish();
        written.finish();

        let bounds = face.global_bounding_box();
        let [left, bottom, right, top] =
            [bounds.x_min, bounds.y_min, bounds.x_max, bounds.y_max].map(|edge| f32::from(edge) * per_mille);
        let ascent = f32::from(face.ascender()) * per_mille;
        let mut written = pdf.font_descriptor(descriptor);
        written.name(base).flags(FontFlags::NON_SYMBOLIC).bbox(Rect::new(left, bottom, right, top));
        written.italic_angle(0.0).ascent(ascent).descent(f32::from(face.descender()) * per_mille);
        written.cap_height(face.capital_height().map_or(ascent, |height| f32::from(height) * per_mille));
        // Thickness of stems, which fonts do not state: usual for their weight.
        written.stem_v(if face.is_bold() { 140.0 } else { 90.0 });
        written.font_file2(file);
        written.finish();

        let mut map = UnicodeCmap::<u16>::new(Name(b"Letters"), SYSTEM);
        for (number, (letter, _)) in &self.glyphs {
            map.pair(*number, *letter);
        }
        let map = map.finish();
        pdf.cmap(to_letters, map.as_slice());

        let packed = miniz_oxide::deflate::compress_to_vec_zlib(&self.bytes, 6);
        let mut written = pdf.stream(file, &packed);
        written.filter(Filter::FlateDecode);
        written.pair(Name(b"Length1"), i32::try_from(self.bytes.len()).unwrap_or(i32::MAX));
        written.finish();
        font
    }

    /// Six letters that name the selection of glyphs, "+", and a name. The same letters of a card give the same name.
    fn base_name(&self) -> String {
        // FNV-1a, 64 bits: offset basis 14695981039346656037, prime 1099511628211.
        let bytes = self.numbers.keys().flat_map(|letter| u32::from(*letter).to_be_bytes());
        let hash = bytes.fold(14_695_981_039_346_656_037_u64, |hash, byte| {
            (hash ^ u64::from(byte)).wrapping_mul(1_099_511_628_211)
        });
        let (tag, _) = (0..6).fold((String::new(), hash), |(mut tag, hash), _| {
            tag.push(char::from(b'A' + (hash % 26) as u8));
            (tag, hash / 26)
        });
        format!("{tag}+Cards-{}", if self.face.which == "bold" { "Bold" } else { "Regular" })
    }
}
