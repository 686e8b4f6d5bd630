//! What can go wrong while a document is made.

/// Why a document cannot be made. All of them are faults of the fonts, which belong to the program.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PaperError {
    /// A font cannot be read.
    #[error(
        "the {which} font of the cards cannot be read: {problem}; expected a font with TrueType outlines (.ttf)\n  give another font"
    )]
    Font {
        /// Which of the two.
        which: &'static str,
        /// What is wrong.
        problem: String,
    },
    /// A font has no question mark, which stands for every letter that it lacks.
    #[error(
        "the {which} font of the cards has no question mark, which stands for letters that are missing\n  give a font with one"
    )]
    QuestionMark {
        /// Which of the two.
        which: &'static str,
    },
}
