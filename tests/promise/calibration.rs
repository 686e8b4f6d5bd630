//! Said and kept: is a start as often right as its answer says?

use crate::judge::Record;
use crate::tally::Estimate;

/// Lower ends of the classes of the probability said.
const CLASSES: [f64; 6] = [0.5, 0.6, 0.7, 0.8, 0.9, 0.95];

/// Answers that said about the same, over all scenarios.
#[derive(Debug, Clone, PartialEq)]
pub struct Class {
    pub from: f64,
    pub to: f64,
    pub said: Estimate,
    /// Share of new fields in which the start was within tolerance of the best.
    pub kept: Estimate,
}

/// Classes of what was said, of all answers that gave a start. Reviews with the same seed share their random numbers, so they count
/// as one for the Monte Carlo error, whatever their scenario.
pub fn classes(mut records: Vec<Record>) -> Vec<Class> {
    records.sort_by_key(|record| record.seed);
    let ends = CLASSES.iter().skip(1).copied().chain([1.0]);
    CLASSES
        .iter()
        .zip(ends)
        .map(|(from, to)| {
            let said = |record: &Record| record.said.filter(|said| *said >= *from && (*said < to || to == 1.0));
            Class {
                from: *from,
                to,
                said: Estimate::mean(&records, said),
                kept: Estimate::mean(&records, |record| said(record).map(|_| record.near)),
            }
        })
        .collect()
}
