//! Remarks that travel with a result.

/// Code of the note on a fit without residuals.
pub(crate) const PERFECT_FIT: &str = "perfect-fit";

/// A remark about a fit that a reader of the numbers must see; the fit itself is usable.
///
/// Codes in use:
/// - variances: `boundary` (a standard deviation was estimated as zero, or a correlation as one), `few-groups` (a standard deviation rests
///   on fewer than five groups), `degrees-of-freedom` (a fallback was used);
/// - columns and searches: `aliased` (a fixed column was dropped), `perfect-fit` (no residuals are left to estimate an error from), `stopped-early` (a search did not meet its own stopping rule), `baseline`
///   (the independent least-squares solver disagrees);
/// - counts: `separation` (a column tells every outcome apart), `runaway` (a coefficient without a finite maximum);
/// - event times: `limit-at-one` (the share that ever has the event was estimated as one), `still-going-on` (many events at the last look),
///   `few-clusters` (a robust covariance rests on fewer than ten clusters);
/// - comparisons and simulations: `degenerate` (a comparison without a standard error), `failed-fits` (simulated trials that could not be
///   fitted);
/// - shapes and optima: `shape-dropped` (a shape could not be compared), `joint-at-level` (the joint of a plateau sits on a value of x),
///   `joint-at-edge` (it ended at the edge of its search), `joint-held-fixed` (standard errors leave it out), `not-a-maximum` (the fitted
///   quadratic does not bend downwards);
/// - bootstraps: `bootstrap-failures`, `bootstrap-stopped-early`, `few-resamples`.
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

    /// Nothing is left to estimate an error from.
    pub(crate) fn perfect_fit() -> Self {
        Self::new(
            PERFECT_FIT,
            "the columns reproduce the response to the last digit: standard errors are zero or rounding, and p-values say nothing",
        )
    }
}
