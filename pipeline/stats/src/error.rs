//! The one error type of the crate.

use thiserror::Error;

/// Result with the error type of this crate.
pub type Result<T> = std::result::Result<T, StatsError>;

/// What can be wrong with the input, or stop a computation.
///
/// Messages say what was found and where, what was expected, and the next step on a line of its own.
/// Conditions that leave a usable answer (a variance estimate of zero, a dropped column) are not errors:
/// they travel as [`Note`](crate::Note) with the result.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum StatsError {
    /// Two inputs that must have the same length do not.
    #[error("{what} has length {found}, expected {expected}\ngive one value for each of the {expected}")]
    Length {
        /// Which input.
        what: String,
        /// Its length.
        found: usize,
        /// The length it should have.
        expected: usize,
    },
    /// A value is NaN or infinite.
    #[error("{what} holds {value} at position {position}, expected a finite number\nleave out or repair that row")]
    NotFinite {
        /// Which input.
        what: String,
        /// Zero-based position.
        position: usize,
        /// The value found.
        value: f64,
    },
    /// Numbers so large or so small that their squares and products would leave the range of a number.
    #[error(
        "{what} goes up to {size:e}, expected a size from 1e-75 to 1e30, or zero throughout\nwrite it in another unit, and look for values that are none"
    )]
    Scale {
        /// Which input.
        what: String,
        /// Its largest value without its sign.
        size: f64,
    },
    /// A weight is zero or negative.
    #[error(
        "weight at position {position} is {value}, expected a number above zero\nleave out rows that carry no information"
    )]
    Weight {
        /// Zero-based position.
        position: usize,
        /// The value found.
        value: f64,
    },
    /// A group code does not name a group.
    #[error(
        "random term `{term}`: group code {code} at position {position}, expected a code below {groups}\nnumber the groups from 0"
    )]
    GroupCode {
        /// Term name.
        term: String,
        /// Zero-based position.
        position: usize,
        /// The code found.
        code: usize,
        /// Number of groups declared.
        groups: usize,
    },
    /// A random term whose standard deviation no data of this shape can tell.
    #[error("random term `{term}` cannot be estimated: {reason}\nleave the term out, or make it a fixed term")]
    RandomTerm {
        /// Term name.
        term: String,
        /// Why.
        reason: String,
    },
    /// No fixed column carries information.
    #[error(
        "no fixed column can be estimated: {columns} column(s) were given and all are zero or absent\ngive at least an intercept column of ones"
    )]
    NothingEstimable {
        /// Number of columns given.
        columns: usize,
    },
    /// No residual degrees of freedom are left.
    #[error(
        "{rows} rows for {coefficients} coefficients, expected more rows than coefficients\nuse a simpler model or more data"
    )]
    TooFewRows {
        /// Number of rows.
        rows: usize,
        /// Rank of the fixed columns.
        coefficients: usize,
    },
    /// The fixed columns reproduce the response exactly.
    #[error(
        "the fixed columns reproduce the response to the last digit, so nothing is left to split between random terms\nuse least squares"
    )]
    PerfectFit,
    /// A contrast asks for a combination that the kept columns cannot tell.
    #[error(
        "the combination asked for is not estimable: it needs the dropped column `{column}`\nask only for combinations inside the tested ones"
    )]
    NotEstimable {
        /// The dropped column.
        column: String,
    },
    /// A number lies outside its allowed range.
    #[error("{what} is {value}, expected {expected}")]
    OutOfRange {
        /// Which number.
        what: &'static str,
        /// The value found.
        value: f64,
        /// The allowed range in words.
        expected: &'static str,
    },
    /// A sample is too small for the statistic asked for.
    #[error("{what} needs at least {needed} value(s), found {found}")]
    TooFewValues {
        /// The statistic.
        what: &'static str,
        /// Values needed.
        needed: usize,
        /// Values found.
        found: usize,
    },
    /// Degrees of freedom of the kind asked for do not exist for this fit.
    #[error(
        "{method} degrees of freedom cannot be computed: {reason}\nask for Satterthwaite's, or leave a random term out"
    )]
    DegreesOfFreedom {
        /// The method asked for.
        method: &'static str,
        /// Why not.
        reason: &'static str,
    },
    /// Two fits that cannot be compared with one another.
    #[error("these two fits cannot be compared: {reason}")]
    NotComparable {
        /// Why not.
        reason: &'static str,
    },
    /// A numerical step failed where valid input should not let it.
    #[error("the computation failed in {step}\nrescale the columns, or report this with the data")]
    Numerical {
        /// Which step.
        step: &'static str,
    },
    /// An interval of event times that cannot be one.
    #[error("interval at position {position} runs from {left} to {right}: {problem}\nrepair or leave out that row")]
    EventInterval {
        /// Zero-based position.
        position: usize,
        /// Its left end.
        left: f64,
        /// Its right end.
        right: f64,
        /// What is wrong with it.
        problem: &'static str,
    },
    /// Look times that are negative or do not ascend.
    #[error("look at position {position} is at time {time}, expected a time after {previous}\nsort the looks by time")]
    LookTime {
        /// Zero-based position.
        position: usize,
        /// The time found.
        time: f64,
        /// The time before it.
        previous: f64,
    },
    /// A running total that falls, or counts more than there are.
    #[error(
        "running total at position {position} is {found}, expected a count from {least} to {most}\nrepair that look, or give it as not made"
    )]
    RunningTotal {
        /// Zero-based position.
        position: usize,
        /// The count found.
        found: u64,
        /// The running total before it.
        least: u64,
        /// The largest count possible.
        most: u64,
    },
    /// Event times that no curve of the kind asked for can be fitted to, or a quantity they do not tell.
    #[error("event times: {reason}\n{advice}")]
    EventTimes {
        /// Why.
        reason: String,
        /// What to do next.
        advice: &'static str,
    },
    /// A request that does not fit what it is asked of.
    #[error("{what} is not possible: {reason}\n{next}")]
    NotPossible {
        /// What was asked for.
        what: String,
        /// What was found, and where.
        reason: String,
        /// What to do instead.
        next: &'static str,
    },
    /// A shape of a response that these data cannot tell.
    #[error("the {shape} shape cannot be used here: {reason}\nask for another shape, or give more values of x")]
    ShapeNotEstimable {
        /// Name of the shape.
        shape: &'static str,
        /// Why.
        reason: String,
    },
    /// A count is not a whole number or lies outside its range.
    #[error("{what} at position {position} is {value}, expected {expected}\nrepair or leave out that row")]
    Count {
        /// Which count.
        what: &'static str,
        /// Zero-based position.
        position: usize,
        /// The value found.
        value: f64,
        /// The allowed values in words.
        expected: String,
    },
    /// The likelihood rises without end along a column.
    #[error(
        "the likelihood has no finite maximum: the coefficient of `{column}` runs to infinity, because a combination of the columns tells all successes of some rows from failures\nuse Firth's penalised likelihood, or leave the column out"
    )]
    NoFiniteMaximum {
        /// The first such column.
        column: String,
    },
    /// The data set handed over by the machine-learning interface has the wrong form.
    #[error("the data set was refused: {reason}\ngive records and targets of the documented shapes")]
    Dataset {
        /// Why.
        reason: String,
    },
}

/// Checks that linfa makes before a fit.
impl From<linfa::Error> for StatsError {
    fn from(error: linfa::Error) -> Self {
        Self::Dataset { reason: error.to_string() }
    }
}
