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
