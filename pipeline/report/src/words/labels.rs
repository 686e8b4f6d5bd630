//! Texts that stand in charts.

pub(crate) const AS_GOOD: &str = "as good";
pub(crate) const CAN_BE_BEST: &str = "can be best";
pub(crate) const CONDITION_ALONE: &str = "condition alone";
pub(crate) const WITHOUT_A_CURVE: &str = "without a curve";
pub(crate) const PLACES_DUG: &str = "Places dug, %";
pub(crate) const NOT_SHUT: &str = "not shut";
pub(crate) const TOO_FIRM: &str = "too firm";
pub(crate) const SETTING_LABELS: &str = "Setting (not on a force axis)";
pub(crate) const HOURS_FROM_PLANTING: &str = "Hours from planting";
pub(crate) const SEEDS_UP: &str = "Seeds up (% of seeds sown), mean by setting";
pub(crate) const NO_CURVE: &str = "no curve";
pub(crate) const NOT_COUNTED: &str = "not counted";
pub(crate) const NO_TITLE: &str = "Review without a title";

pub(crate) const INVENTED: &str =
    "Invented data. Made up to show what the page looks like; no field stands behind any number here.";
/// What to look for with the spade, line by line.
pub(crate) const CHECK_BY_DIGGING: [&str; 5] = [
    "In each condition, stop after a short run and dig behind the planter.",
    "The trench is shut.",
    "No light or air at the seed.",
    "The soil is firm, but not pressed hard.",
    "If digging says otherwise, believe the digging.",
];
pub(crate) const NO_START: &str = "no starting point yet";
pub(crate) const NOT_A_COMMAND: &str = "A starting point, not a command: stay inside the limits of the operator’s manual, and let local licensed advice come first. Engine off, \
     key out and pressure let off before anyone reaches to the closing wheels.";

pub(crate) fn start(shown: &str) -> String {
    format!("start {shown}")
}

pub(crate) fn default(shown: &str) -> String {
    format!("default {shown}")
}

pub(crate) fn start_and_default(shown: &str) -> String {
    format!("start, and the default: {shown}")
}

pub(crate) fn block(name: &str) -> String {
    format!("block {name}")
}
