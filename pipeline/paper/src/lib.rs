//! Cards as a PDF: the direct way to paper, without a browser.
//!
//! [`cards_pdf`] takes cards of plain words and numbers and gives the bytes of a document, one page a card. It knows no tables and
//! no trade, touches no disk, and the same cards give the same bytes. The pages are plain: black ink, hairlines, the value
//! to set in large letters, and how sure it is told by a word and by a shape, so that nothing hangs on colour.
//!
//! Text is set at 10 pt, in steps down to 7.5 pt where a card would not fit on its page, and runs on to further pages where
//! it still does not. Nothing is cut and nothing overlaps; a word that is wider than its column is broken. The document is
//! tagged (headings, paragraphs, pictures with their words), carries its language, and its text can be searched and copied.
//!
//! The way through the crate: [`PaperCard`] → `card_pieces` (what stands on a card, as pieces that stay whole) → `flow` (pieces onto
//! pages) → `document` (pages as PDF objects). `font` measures and `wrap` breaks lines.

#![cfg_attr(test, allow(clippy::unwrap_used))]

mod card;
mod card_pieces;
mod document;
mod error;
mod flow;
mod font;
mod gauge;
mod marks;
mod wrap;

pub use card::{Evidence, Fonts, PaperAbout, PaperAnswer, PaperCard, PaperGauge, PaperLine, Sheet};
pub use error::PaperError;

use crate::font::Faces;

/// The cards as a PDF, one page a card where it fits, in the order given.
///
/// Without cards the document has one page that says so. A letter that the fonts lack is printed as "?". Errors where
/// a font cannot be read.
///
/// ```no_run
/// use evenstand_paper::{Fonts, PaperAbout, PaperCard, Sheet, cards_pdf};
/// let regular = std::fs::read("NotoSans-subset.ttf")?;
/// let bold = std::fs::read("NotoSans-Bold-subset.ttf")?;
/// let card = PaperCard { kind: "Planter".into(), title: "north-12".into(), ..PaperCard::default() };
/// let about = PaperAbout { title: "Winter review".into(), language: "en".into(), footer: String::new() };
/// let pdf = cards_pdf(&[card], Sheet::A4, Fonts { regular: &regular, bold: &bold }, &about)?;
/// assert!(pdf.starts_with(b"%PDF-"));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn cards_pdf(
    cards: &[PaperCard],
    sheet: Sheet,
    fonts: Fonts<'_>,
    about: &PaperAbout,
) -> Result<Vec<u8>, PaperError> {
    let faces = Faces::read(fonts)?;
    let pages = flow::pages(cards, sheet, &faces, about);
    document::write(&pages, sheet, &faces, about)
}
