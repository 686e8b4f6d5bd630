//! Remarks that travel with a result.

/// A remark about a fit that a reader of the numbers must see; the fit itself is usable.
///
/// Codes in use: `boundary` (a standard deviation was estimated as zero), `aliased` (a fixed column was dropped),
/// `stopped-early` (the search did not meet its own stopping rule), `few-groups` (a standard deviation rests on fewer than
/// five groups), `baseline` (the independent least-squares solver disagrees), `degrees-of-freedom` (a fallback was used),
/// `separation` (counts told apart by the columns, no finite maximum), `runaway` (a standard deviation without a finite maximum).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Note {
    /// Short fixed word to match on.
    pub code: &'static str,
    /// One sentence for people.
    pub message: String,
}

impl Note {
    pub(crate) fn new(code: &'static str, message: impl Into<String>) -> Self {
        Self { code, message: message.into() }
    }
}
