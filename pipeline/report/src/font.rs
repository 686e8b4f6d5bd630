//! The one typeface of the report: its bytes, its measures, and its registration with the drawing library.

use std::cell::RefCell;
use std::collections::HashMap;
use std::rc::Rc;
use std::sync::LazyLock;

use ab_glyph::{Font, FontRef, point};
use base64::Engine;
use plotters::style::{FontStyle, register_font};

/// Family as written into SVG files: a viewer without the embedded font takes its own sans serif.
pub(crate) const FAMILY: &str = "Noto Sans, sans-serif";

const REGULAR: &[u8] = include_bytes!("../fonts/NotoSans-subset.ttf");
const BOLD: &[u8] = include_bytes!("../fonts/NotoSans-Bold-subset.ttf");

static FACE: LazyLock<FontRef<'static>> =
    LazyLock::new(|| FontRef::try_from_slice(REGULAR).expect("the font is compiled in and a test reads it"));

/// The typeface for paper.
pub(crate) fn faces() -> evenstand_paper::Fonts<'static> {
    evenstand_paper::Fonts { regular: REGULAR, bold: BOLD }
}

/// Makes the font known to the drawing library. Without it even SVG text fails, for want of a measure.
/// Returns whether the library took it. Doing so twice changes nothing.
pub(crate) fn register() -> bool {
    register_font(FAMILY, FontStyle::Normal, REGULAR).is_ok()
}

/// Width of a text set at so many pixels to the em.
pub(crate) fn text_width(text: &str, em: f64) -> f64 {
    let units_per_em = f64::from(FACE.units_per_em().unwrap_or(1000.0));
    let units: f32 = text.chars().map(|letter| FACE.h_advance_unscaled(FACE.glyph_id(letter))).sum();
    f64::from(units) / units_per_em * em
}

/// Places of a pixel that letters are moved to: no eye tells finer ones.
const PLACES: f32 = 4.0;

/// A letter as it is drawn.
#[derive(Clone)]
struct Letter {
    /// What it covers of the pixels around the begin of its baseline: column, row and share of each.
    covered: Rc<[(i32, i32, f32)]>,
    /// How far the next letter is away, in pixels.
    advance: f64,
}

/// Calls `cover` with every pixel that a text touches and the share of it that is covered, above 0 and at most 1. The text is set at so
/// many pixels to the em and its baseline begins at `(left, baseline)`, to the nearest quarter of a pixel across and to the nearest one down.
pub(crate) fn each_pixel(text: &str, em: f64, (left, baseline): (f32, f32), mut cover: impl FnMut(i32, i32, f32)) {
    thread_local! {
        static KNOWN: RefCell<HashMap<(char, u64, u8), Letter>> = RefCell::default();
    }
    let row = baseline.round() as i32;
    let mut pen = f64::from(left);
    for letter in text.chars() {
        let place = (pen * f64::from(PLACES)).round() / f64::from(PLACES);
        let within = ((place - place.floor()) * f64::from(PLACES)) as u8;
        let drawn = KNOWN.with_borrow_mut(|known| {
            let made = || Letter {
                covered: letter_pixels(letter, em, f32::from(within) / PLACES),
                advance: text_width(letter.encode_utf8(&mut [0; 4]), em),
            };
            known.entry((letter, em.to_bits(), within)).or_insert_with(made).clone()
        });
        for &(x, y, share) in &*drawn.covered {
            cover(place.floor() as i32 + x, row + y, share);
        }
        pen += drawn.advance;
    }
}

/// What a letter covers when its baseline begins at `(left, 0)`.
fn letter_pixels(letter: char, em: f64, left: f32) -> Rc<[(i32, i32, f32)]> {
    // The library counts a size as the height of the font's box.
    let scale = em as f32 * FACE.height_unscaled() / FACE.units_per_em().unwrap_or(1000.0);
    let glyph = FACE.glyph_id(letter).with_scale_and_position(scale, point(left, 0.0));
    let mut covered = Vec::new();
    if let Some(outline) = FACE.outline_glyph(glyph) {
        let corner = outline.px_bounds().min;
        outline.draw(|x, y, share| {
            if share > 0.0 {
                covered.push((corner.x as i32 + x as i32, corner.y as i32 + y as i32, share.min(1.0)));
            }
        });
    }
    covered.into()
}

/// The text, cut with an ellipsis where it would be wider than `width`.
pub(crate) fn fitted(text: &str, em: f64, width: f64) -> String {
    if text_width(text, em) <= width {
        return text.to_owned();
    }
    let mut kept: String = text.to_owned();
    while kept.pop().is_some() {
        let candidate = format!("{}…", kept.trim_end());
        if text_width(&candidate, em) <= width {
            return candidate;
        }
    }
    String::new()
}

/// Whether the font has a glyph for every character of the text.
#[cfg(test)]
pub(crate) fn has_glyphs(text: &str) -> bool {
    text.chars().filter(|letter| !letter.is_control()).all(|letter| FACE.glyph_id(letter).0 != 0)
}

/// The fonts as `@font-face` rules with the bytes inside.
pub(crate) fn font_face_rules() -> String {
    let rule = |weight: u32, bytes: &[u8]| {
        let encoded = base64::engine::general_purpose::STANDARD.encode(bytes);
        format!(
            "@font-face{{font-family:\"Noto Sans\";font-weight:{weight};\
             src:url(data:font/ttf;base64,{encoded}) format(\"truetype\")}}\n"
        )
    };
    rule(400, REGULAR) + &rule(700, BOLD)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_fonts_can_be_read_and_registered() {
        assert!(register());
        let bold = FontRef::try_from_slice(BOLD).expect("the bold font can be read");
        assert!(bold.glyph_id('\u{2212}').0 != 0);
    }

    #[test]
    fn widths_follow_the_font_file() {
        // Advances of Noto Sans 2.004 as fontTools prints them: "0" 572, "%" 831 and "…" 791 units of 1000.
        assert!((text_width("0", 1000.0) - 572.0).abs() < 1e-9);
        assert!((text_width("0%", 100.0) - 140.3).abs() < 1e-9);
        assert!((text_width("…", 1000.0) - 791.0).abs() < 1e-9);
    }

    #[test]
    fn texts_stand_on_their_baseline_and_letters_follow_one_another() {
        // Boxes of Noto Sans 2.004 as fontTools prints them, of 1000: "H" 97 to 643 across and 0 to 714 up, "p" 240 below the baseline.
        let covered = |text| {
            let (mut left, mut top, mut right, mut bottom) = (i32::MAX, i32::MAX, i32::MIN, i32::MIN);
            each_pixel(text, 1000.0, (100.0, 2000.0), |x, y, _| {
                (left, top, right, bottom) = (left.min(x), top.min(y), right.max(x + 1), bottom.max(y + 1));
            });
            (left, top, right, bottom)
        };
        assert_eq!(covered("H"), (197, 1286, 743, 2000));
        assert_eq!(covered("p").3, 2240);
        assert_eq!(f64::from(covered("HH").2), 743.0 + text_width("H", 1000.0));
        let mut ink = 0.0;
        each_pixel("I", 100.0, (0.5, 100.0), |_, _, share| ink += f64::from(share));
        // fontTools gives the outline of "I" an area of 85,008 units.
        assert!((ink - 850.08).abs() < 0.5, "{ink}");
        each_pixel(" ", 1000.0, (0.0, 0.0), |_, _, _| panic!("nothing to see"));
    }

    #[test]
    fn letters_of_several_alphabets_and_the_signs_of_the_report_are_there() {
        assert!(has_glyphs("Šárka Łódź Ærø Ñandú Ελλάδα Поле ß ’“”– — … − ≤ ≥ ≈ → × ° ² · \u{a0}%"));
        assert!(!has_glyphs("畑"));
    }

    #[test]
    fn a_long_name_is_cut_to_its_room() {
        let cut = fitted("A field with a very long name indeed", 15.0, 120.0);
        assert!(cut.ends_with('…') && text_width(&cut, 15.0) <= 120.0, "{cut}");
        assert_eq!(fitted("short", 15.0, 120.0), "short");
        assert_eq!(fitted("anything", 15.0, 1.0), "");
    }
}
