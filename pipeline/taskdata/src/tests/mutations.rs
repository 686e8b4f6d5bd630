//! Damaged bytes: nothing panics, nothing runs for ever, whatever is read back is finite.

use super::*;

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
fn three_thousand_damaged_sets_are_read_or_refused() {
    let mut damage = Damage(0x9E37_79B9_7F4A_7C15);
    let log: Vec<u8> = (0..20).flat_map(|step| record(step * 1000, &[(0, 2000), (1, 400), (2, -1)])).collect();
    let (mut opened, mut refused, mut read) = (0, 0, 0);
    for round in 0..3000 {
        let mut parts = [PLANTER.as_bytes().to_vec(), HEADER.as_bytes().to_vec(), log.clone()];
        damage.apply(&mut parts[round % 3]);
        let [main, header, log] = &parts;
        let mut bundle = archive(&[("TASKDATA.XML", main), ("TLG00001.XML", header), ("TLG00001.BIN", log)]);
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
        for extent in &survey.logs {
            // A record has seven bytes at least.
            assert!(extent.records <= log.len() as u64 / 7, "round {round}");
            read += extent.records;
        }
        let places = survey.channels.iter().flat_map(|channel| channel.seen.maximum.map(|raw| channel.value(raw)));
        assert!(places.into_iter().all(f64::is_finite), "round {round}");
    }
    // The damage is neither harmless nor fatal throughout, so both ways were walked.
    assert!(opened > 1500 && refused > 300 && read > 10_000, "{opened} {refused} {read}");
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
