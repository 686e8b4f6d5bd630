//! The one typeface of the report: its bytes, its measures, and its registration with the drawing library.

use std::sync::LazyLock;

use ab_glyph::{Font, FontRef, OutlineCurve, Point};
use base64::Engine;
use plotters::style::{FontStyle, register_font};
use tiny_skia::{Path, PathBuilder};

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

/// The outlines of a text set at so many pixels to the em, its baseline beginning at a place; `None` where nothing would show.
pub(crate) fn outline(text: &str, em: f64, left: f32, baseline: f32) -> Option<Path> {
    let per_unit = em as f32 / FACE.units_per_em().unwrap_or(1000.0);
    let mut path = PathBuilder::new();
    let mut pen = left;
    for glyph in text.chars().map(|letter| FACE.glyph_id(letter)) {
        let place = |point: Point| (pen + point.x * per_unit, baseline - point.y * per_unit);
        // Curves follow one another; one that begins elsewhere begins a new contour.
        let mut at = None;
        for curve in FACE.outline(glyph).map(|outline| outline.curves).unwrap_or_default() {
            let (OutlineCurve::Line(from, to) | OutlineCurve::Quad(from, _, to) | OutlineCurve::Cubic(from, _, _, to)) =
                curve;
            if at != Some(from) {
                if at.is_some() {
                    path.close();
                }
                let (x, y) = place(from);
                path.move_to(x, y);
            }
            let (x, y) = place(to);
            match curve {
                OutlineCurve::Line(..) => path.line_to(x, y),
                OutlineCurve::Quad(_, bend, _) => {
                    let (bend_x, bend_y) = place(bend);
                    path.quad_to(bend_x, bend_y, x, y);
                }
                OutlineCurve::Cubic(_, first, second, _) => {
                    let ((first_x, first_y), (second_x, second_y)) = (place(first), place(second));
                    path.cubic_to(first_x, first_y, second_x, second_y, x, y);
                }
            }
            at = Some(to);
        }
        if at.is_some() {
            path.close();
        }
        pen += FACE.h_advance_unscaled(glyph) * per_unit;
    }
    path.finish()
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
    fn outlines_stand_on_their_baseline_and_follow_one_another() {
        // Boxes of Noto Sans 2.004 as fontTools prints them, of 1000: "H" 98…642 by 0…714, "p" 86…568 by -240…545.
        let bounds = |text| outline(text, 1000.0, 100.0, 2000.0).expect("it shows").bounds();
        let of_h = bounds("H");
        assert_eq!((of_h.left(), of_h.right(), of_h.top(), of_h.bottom()), (198.0, 742.0, 1286.0, 2000.0));
        assert_eq!(bounds("p").bottom(), 2240.0);
        assert_eq!(bounds("HH").right() - of_h.right(), text_width("H", 1000.0) as f32);
        assert!(outline(" ", 1000.0, 0.0, 0.0).is_none());
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
