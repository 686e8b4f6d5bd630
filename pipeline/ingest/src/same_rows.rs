//! Notices that two files carry the same rows, in memory that does not grow with the rows.
//!
//! Of each file the smallest hashes of its kept rows are kept (a bottom-k sketch: Broder 1997, "On the resemblance and
//! containment of documents"). Files of up to that many rows are compared exactly; of larger ones the share is estimated.

use std::collections::BTreeSet;

use evenstand_tables::Finding;
use serde::{Deserialize, Serialize};

use crate::file_report::Source;
use crate::value::Value;

/// Hashes kept of each file.
const KEPT: usize = 1024;
/// Share of the smaller file's rows from which sharing them is more than an accident.
const ALARMING: f64 = 0.2;

/// The smallest hashes of a file's rows.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Sketch {
    hashes: BTreeSet<u64>,
    /// Hashes from here on are not kept.
    bound: u64,
    rows: u64,
}

impl Default for Sketch {
    fn default() -> Self {
        Self { hashes: BTreeSet::new(), bound: u64::MAX, rows: 0 }
    }
}

impl Sketch {
    /// Takes the values of a kept row, without where it came from.
    pub(crate) fn add(&mut self, values: &[Value]) {
        let mut hash = RowHash::EMPTY;
        values.iter().enumerate().for_each(|(column, value)| hash.value(column, *value));
        self.add_hash(hash);
    }

    /// Takes a kept row by its hash.
    pub(crate) fn add_hash(&mut self, hash: RowHash) {
        self.rows += 1;
        self.keep(hash.finish());
    }

    /// An empty sketch of another part of the same file: it need not know the hashes that this one would not keep.
    pub(crate) fn part(&self) -> Self {
        Self { hashes: BTreeSet::new(), bound: self.bound, rows: 0 }
    }

    /// Takes in the rows of another part of the same file.
    pub(crate) fn merge(&mut self, other: Self) {
        self.rows += other.rows;
        other.hashes.into_iter().for_each(|hash| self.keep(hash));
    }

    fn keep(&mut self, hash: u64) {
        if hash >= self.bound {
            return;
        }
        self.hashes.insert(hash);
        if self.hashes.len() > KEPT {
            self.hashes.pop_last();
        }
        if self.hashes.len() == KEPT {
            self.bound = self.hashes.last().copied().unwrap_or(self.bound);
        }
    }

    /// Share of the smaller file's different rows that stand in the other too.
    fn shared(&self, other: &Self) -> f64 {
        let (Some(one), Some(two)) = (self.hashes.last(), other.hashes.last()) else { return 0.0 };
        // Where a sketch is full, it knows of hashes up to its largest alone.
        let bound = |sketch: &Self, largest: &u64| if sketch.hashes.len() < KEPT { u64::MAX } else { *largest };
        let known = bound(self, one).min(bound(other, two));
        let in_both = self.hashes.range(..=known).filter(|hash| other.hashes.contains(hash)).count();
        let smaller = self.hashes.range(..=known).count().min(other.hashes.range(..=known).count());
        if smaller == 0 { 0.0 } else { in_both as f64 / smaller as f64 }
    }
}

/// Hash of the values of a row, each with its column. It is our own, so that what it finds stays the same from one version of
/// the standard library to the next, and costs a multiplication a value (both halves of a product of 128 bits, folded, as
/// wyhash does: Wang Yi 2019). A missing value changes nothing.
#[derive(Clone, Copy)]
pub(crate) struct RowHash(u64);

impl RowHash {
    /// The hash of a row without values.
    pub const EMPTY: Self = Self(FIRST);

    pub fn number(&mut self, column: usize, number: f64) {
        self.mix(column, 2, number.to_bits());
    }
    pub fn moment(&mut self, column: usize, microseconds: i64) {
        self.mix(column, 5, microseconds as u64);
    }
    /// Takes in the value of a column.
    pub fn value(&mut self, column: usize, value: Value) {
        match value {
            Value::Missing => {}
            Value::Text(text) => {
                let mut words = text.as_bytes().chunks_exact(8);
                for word in &mut words {
                    self.mix(column, 1, word.try_into().map_or(0, u64::from_le_bytes));
                }
                // What is left, with its length, so that two texts are never the same words.
                let rest = words.remainder().iter().fold(text.len() as u64, |rest, byte| rest << 8 | u64::from(*byte));
                self.mix(column, 0, rest);
            }
            Value::Number(number) => self.number(column, number),
            Value::Integer(whole) => self.mix(column, 3, whole as u64),
            Value::Boolean(yes) => self.mix(column, 4, u64::from(yes)),
            Value::Moment { microseconds, .. } => self.moment(column, microseconds),
            Value::Day(day) => self.mix(column, 6, day as u64),
        }
    }

    fn mix(&mut self, column: usize, kind: u64, bits: u64) {
        self.0 = folded(self.0 ^ bits, FACTOR + 16 * column as u64 + 2 * kind);
    }

    /// Values that differ by little must lie far apart: the smallest hashes stand for all.
    fn finish(self) -> u64 {
        folded(self.0 ^ FACTOR, FIRST)
    }
}

fn folded(left: u64, right: u64) -> u64 {
    let product = u128::from(left) * u128::from(right);
    (product >> 64) as u64 ^ product as u64
}

/// Digits of the golden ratio and of the square root of two, made odd.
const FACTOR: u64 = 0x9e37_79b9_7f4a_7c15;
const FIRST: u64 = 0x6a09_e667_f3bc_c909;

/// Compares the rows of all files of one table with each other.
#[derive(Debug, Default)]
pub struct SameRows {
    files: Vec<(Source, Sketch)>,
}

impl SameRows {
    /// Takes the next file, and says which of the earlier ones carry rows of it.
    pub fn compare(&mut self, source: &Source, sketch: Sketch) -> Vec<Finding> {
        let mut findings = Vec::new();
        for (earlier, known) in self.files.iter().filter(|(earlier, _)| earlier.kind == source.kind) {
            let share = sketch.shared(known);
            if share == 0.0 {
                continue;
            }
            let message = if earlier.file == source.file {
                format!("two [[source]] blocks read {} as {}, and its rows count twice", source.file, source.kind)
            } else if share == 1.0 && sketch.rows == known.rows {
                format!("all of its rows stand in {} too, and count twice", earlier.file)
            } else {
                let rows = (share * sketch.rows.min(known.rows) as f64).round().max(1.0);
                let about = if sketch.rows.max(known.rows) > KEPT as u64 { "about " } else { "" };
                format!("{about}{rows} of its rows stand in {} too, and count twice", earlier.file)
            };
            let finding = if share >= ALARMING {
                Finding::warning("same_rows", message).remedy(if earlier.file == source.file {
                    "take one of the two blocks out of evenstand.toml"
                } else {
                    "take one of the two files out of raw/, or the rows out of one"
                })
            } else {
                Finding::note("same_rows", message)
                    .remedy("nothing need be done if these are different things that happen to be alike")
            };
            findings.push(finding.table(source.kind).source(&source.file, None));
        }
        self.files.push((source.clone(), sketch));
        findings
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sketch(rows: std::ops::Range<i64>) -> Sketch {
        let mut sketch = Sketch::default();
        rows.for_each(|row| sketch.add(&[Value::Text("A"), Value::Integer(row), Value::Missing]));
        sketch
    }

    fn source(file: &str) -> Source {
        Source { file: file.into(), sha256: file.into(), kind: "stand_count" }
    }

    #[test]
    fn shared_rows_are_counted_exactly_in_small_files_and_nearly_in_large_ones() {
        assert_eq!(sketch(0..100).shared(&sketch(90..300)), 0.1);
        assert_eq!(sketch(0..100).shared(&sketch(100..200)), 0.0);
        assert_eq!(sketch(0..0).shared(&sketch(0..5)), 0.0);
        let estimate = sketch(0..100_000).shared(&sketch(50_000..150_000));
        // A thousand hashes know a half to within five standard errors of 0.0156.
        assert!((estimate - 0.5).abs() < 0.08, "{estimate}");
        assert_eq!(sketch(0..100_000).shared(&sketch(100_000..200_000)), 0.0);
    }

    #[test]
    fn files_of_one_table_are_compared_and_others_are_not() {
        let mut same = SameRows::default();
        assert!(same.compare(&source("a.csv"), sketch(0..10)).is_empty());
        let other_table = Source { kind: "spacing", ..source("b.csv") };
        assert!(same.compare(&other_table, sketch(0..10)).is_empty());
        let found = same.compare(&source("c.csv"), sketch(5..15));
        assert_eq!(found.len(), 1);
        assert!(found[0].message.contains("5 of its rows stand in a.csv"), "{}", found[0].message);
        assert_eq!(found[0].severity, "warning");
    }
}
