//! What a card says, in words and numbers that are ready to print.

/// A card: everything about one thing that is set, such as a planter on a farm.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PaperCard {
    /// What the card is about, such as `Planter`; stands small above the title.
    pub kind: String,
    /// Its name, in large letters.
    pub title: String,
    /// Lines below the title.
    pub subtitle: Vec<String>,
    /// A notice in a box, such as that the data are invented.
    pub notice: Option<String>,
    /// The answers, one a condition.
    pub answers: Vec<PaperAnswer>,
    /// What to look at in the field; each gets a box to tick.
    pub check: Vec<String>,
    /// What to mind before anything is adjusted.
    pub cautions: Vec<String>,
}

/// One answer of a card.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PaperAnswer {
    /// When it holds, such as "moist, bare".
    pub condition: String,
    /// How sure it is.
    pub evidence: Evidence,
    /// What stands above the value, such as "start at"; not printed without a value.
    pub start_label: String,
    /// The value to set, with its unit, in large letters; nothing where there is none.
    pub start: Option<String>,
    /// What the value means besides, such as the force that belongs to a pressure.
    pub start_note: Option<String>,
    /// Sentences beside it.
    pub words: Vec<PaperLine>,
    /// The range that was tested, as a picture.
    pub gauge: Option<PaperGauge>,
}

/// How sure an answer is; printed as a word with a shape before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Evidence {
    /// A filled square.
    Settled,
    /// A diamond, half filled.
    Leaning,
    /// A dashed circle.
    #[default]
    Open,
}

impl Evidence {
    /// The word that is printed.
    pub fn word(self) -> &'static str {
        match self {
            Evidence::Settled => "settled",
            Evidence::Leaning => "leaning",
            Evidence::Open => "open",
        }
    }
}

/// A paragraph.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct PaperLine {
    /// Its words.
    pub text: String,
    /// Whether it is printed in bold.
    pub bold: bool,
}

/// A scale with the range that was tested and what lies on it. Numbers place the marks; labels are printed as they are.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PaperGauge {
    /// Lightest setting tested.
    pub low: f64,
    /// Heaviest setting tested.
    pub high: f64,
    /// Ends of what is as good as the best.
    pub as_good: Option<(f64, f64)>,
    /// Where to start.
    pub start: Option<f64>,
    /// The default.
    pub default: Option<f64>,
    /// Words at the light end, such as "tested from 10 psi".
    pub low_label: String,
    /// Words at the heavy end.
    pub high_label: String,
    /// Words for the band of what is as good.
    pub as_good_label: Option<String>,
    /// Words at the start.
    pub start_label: Option<String>,
    /// Words at the default.
    pub default_label: Option<String>,
}

/// The paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Sheet {
    /// 210 mm by 297 mm (ISO 216).
    A4,
    /// 8.5 in by 11 in.
    Letter,
}

impl Sheet {
    /// Width and height in points of 1/72 in.
    pub fn size(self) -> (f32, f32) {
        match self {
            // 210 / 25.4 × 72 and 297 / 25.4 × 72.
            Sheet::A4 => (595.275_6, 841.889_8),
            Sheet::Letter => (612.0, 792.0),
        }
    }
}

/// The two fonts of a document, as the bytes of files with TrueType outlines (`.ttf`). Only the letters that are used are embedded.
#[derive(Debug, Clone, Copy)]
pub struct Fonts<'a> {
    /// For running text.
    pub regular: &'a [u8],
    /// For headings and values.
    pub bold: &'a [u8],
}

/// What the document says about itself.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct PaperAbout {
    /// Title of the document.
    pub title: String,
    /// Language of its words (BCP 47), such as `en`.
    pub language: String,
    /// Words at the foot of every page. More than six lines of them are printed once below each card instead.
    pub footer: String,
}
