//! Damaged bytes: nothing panics, nothing runs for ever, whatever is read back is finite.

use super::*;
use crate::{Carried, DEFAULT_GAP};

/// A xorshift generator (Marsaglia 2003, J. Stat. Softw. 8(14)): the same damage in every run.
struct Damage(u64);

impl Damage {
    fn below(&mut self, limit: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 % limit.max(1) as u64) as usize
    }

    /// Overwrites, cuts out, doubles or cuts off a few bytes.
    fn apply(&mut self, bytes: &mut Vec<u8>) {
        for _ in 0..=self.below(4) {
            let (at, length) = (self.below(bytes.len()), 1 + self.below(12));
            let end = (at + length).min(bytes.len());
            match self.below(5) {
                0 => bytes[at..end].fill(b"\0\xFF<>\"&/='19"[self.below(11)]),
                1 => drop(bytes.drain(at..end)),
                2 => bytes.extend_from_within(at..end),
                3 => bytes.truncate(at),
                _ if at < bytes.len() => bytes[at] ^= 1 << self.below(8),
                _ => {}
            }
        }
    }
}

#[test]
fn four_thousand_damaged_sets_are_read_or_refused() {
    let mut damage = Damage(0x9E37_79B9_7F4A_7C15);
    let log: Vec<u8> = (0..20).flat_map(|step| record(step * 1000, &[(0, 2000), (1, 400), (2, -1)])).collect();
    let whole = [
        ("TASKDATA.XML", PLANTER.as_bytes().to_vec()),
        ("TLG00001.XML", HEADER.as_bytes().to_vec()),
        ("TLG00001.BIN", log.clone()),
    ];
    let linked = linked(&log);
    let (mut opened, mut refused, mut read, mut noticed) = (0, 0, 0, 0);
    for round in 0..4000 {
        let mut files = if round % 2 == 0 { whole.to_vec() } else { linked[..5].to_vec() };
        let hit = round / 2 % files.len();
        damage.apply(&mut files[hit].1);
        let log_bytes = files[files.len() - 1].1.len();
        let mut bundle = archive_of(&files);
        let data = match TaskData::open(&mut bundle) {
            Ok(data) => data,
            Err(error) => {
                assert!(!error.to_string().is_empty());
                refused += 1;
                continue;
            }
        };
        opened += 1;
        let survey = data.survey(&mut bundle).unwrap();
        noticed += usize::from(!survey.notices.is_empty());
        for (place, extent) in data.logs().zip(&survey.logs) {
            assert_eq!(place.log.task.is_some(), place.task.is_some(), "round {round}");
            // A record has seven bytes at least.
            assert!(extent.records <= log_bytes as u64 / 7, "round {round}");
            read += extent.records;
            let mut reader = data.read_log(&mut bundle, extent.log).unwrap();
            let mut carried = Carried::new(reader.channels(), DEFAULT_GAP);
            let channels = reader.channels().len();
            while let Some(record) = reader.next_record() {
                carried.update(record);
                assert!((0..channels).all(|place| carried.shown(place).is_none_or(f64::is_finite)), "round {round}");
                assert!(record.latitude.is_none_or(|latitude| latitude.abs() <= 90.0), "round {round}");
            }
        }
    }
    // The damage is neither harmless nor fatal throughout, so both ways were walked.
    assert!(opened > 2000 && refused > 400 && read > 20_000 && noticed > 500, "{opened} {refused} {read} {noticed}");
    println!("{opened} {refused} {read} {noticed}");
}

#[test]
fn a_log_of_any_bytes_comes_to_its_end() {
    let mut damage = Damage(7);
    for _ in 0..300 {
        let log: Vec<u8> = (0..damage.below(4000)).map(|_| damage.below(256) as u8).collect();
        let (records, _) = all_records(&mut planter(std::slice::from_ref(&log)));
        assert!(records.len() <= log.len() / 7);
    }
}
