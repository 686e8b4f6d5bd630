//! Damage to inputs: the same damage for the same seed and number, so that any input of a long run can be made again.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// No input grows beyond this.
const LONGEST: usize = 1 << 16;

/// Pieces that parsers stumble over.
const ODD: [&[u8]; 56] = [
    b"\0",
    b"\xff\xfe",
    b"\xef\xbb\xbf",
    b"\xc3",
    b"\xed\xa0\x80",
    b"\r\n",
    b"\r",
    b"\n\n\n",
    b"\t",
    b"\"",
    b"\"\"\"",
    b"'",
    b",,,,,,,,",
    b";",
    b"|",
    b"=cmd|'/c calc'!A0",
    b"=1+1",
    b"@SUM(A1)",
    b"<script>alert(1)</script>",
    b"]]>",
    b"<![CDATA[",
    b"<!DOCTYPE a [<!ENTITY b \"c\">]>",
    b"&amp;",
    b"&#0;",
    b"&b;",
    b"\xe2\x80\xae",
    b"../../",
    b"/etc/passwd",
    b"NaN",
    b"inf",
    b"-inf",
    b"1e308",
    b"1e-320",
    b"-0",
    b"1e999",
    b"99999999999999999999",
    b"9223372036854775807",
    b"-9223372036854775808",
    b"4294967295",
    b"2147483648",
    b"65536",
    b"-1",
    b"0",
    b"1.000,5",
    b"1 000",
    b"9999-12-31",
    b"0000-00-00",
    b"-009999-01-01",
    b"2025-02-30",
    b"2025-03-30T02:30:00",
    b"23:59:60",
    b"[[[[[[[[",
    b"{{{{{{{{",
    b"\n=== ",
    b"%Y%s%Q%999999999d",
    b"**/*",
];

/// The input of this number: one of the seeds, damaged. The first inputs are the seeds themselves.
pub fn input(seeds: &[Vec<u8>], seed: u64, number: u64) -> Vec<u8> {
    if let Some(seed) = usize::try_from(number).ok().and_then(|number| seeds.get(number)) {
        return seed.clone();
    }
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    random.set_stream(number);
    let mut bytes = match seeds.len() {
        0 => Vec::new(),
        many => seeds[random.random_range(0..many)].clone(),
    };
    for _ in 0..random.random_range(1..=6) {
        damage(&mut bytes, seeds, &mut random);
        bytes.truncate(LONGEST);
    }
    bytes
}

fn damage(bytes: &mut Vec<u8>, seeds: &[Vec<u8>], random: &mut ChaCha8Rng) {
    let at = random.random_range(0..=bytes.len());
    let end = at + random.random_range(0..=24).min(bytes.len() - at);
    match random.random_range(0..14) {
        0 if at < bytes.len() => bytes[at] = random.random(),
        1 if at < bytes.len() => bytes[at] ^= 1 << random.random_range(0..8),
        2 => drop(bytes.drain(at..end)),
        3 => drop(bytes.splice(at..at, bytes[at..end].to_vec())),
        4 | 5 => drop(bytes.splice(at..at, ODD[random.random_range(0..ODD.len())].iter().copied())),
        6 => drop(bytes.splice(at..end, ODD[random.random_range(0..ODD.len())].iter().copied())),
        7 if random.random_range(0..4) == 0 => bytes.truncate(at),
        // A line many times.
        8 => {
            let line = bytes[at..].iter().position(|byte| *byte == b'\n').map_or(bytes.len(), |end| at + end + 1);
            let line = bytes[at..line.min(at + 200)].to_vec();
            let many = line.repeat(random.random_range(1..=60));
            bytes.splice(at..at, many);
        }
        // A number instead of a number.
        9 | 10 => {
            if let Some(from) = bytes[at..].iter().position(u8::is_ascii_digit).map(|found| at + found) {
                let digits = bytes[from..].iter().take_while(|byte| byte.is_ascii_digit() || **byte == b'.').count();
                let number = ODD[random.random_range(28..45)];
                bytes.splice(from..from + digits, number.iter().copied());
            }
        }
        // A whole number of two, four or eight bytes that is larger than anything it may count.
        11 => {
            let value = [0, 1, u64::MAX, 0x7FFF_FFFF, 0x8000_0000, 0xFFFF, 1 << 62][random.random_range(0..7)];
            let width = [2, 4, 8][random.random_range(0..3)];
            let mut value = value.to_le_bytes()[..width].to_vec();
            if random.random() {
                value.reverse();
            }
            let end = (at + width).min(bytes.len());
            bytes.splice(at..end, value);
        }
        // A piece of another input.
        12 => {
            let other = &seeds[random.random_range(0..seeds.len())];
            let from = random.random_range(0..=other.len());
            let until = from + random.random_range(0..=400).min(other.len() - from);
            bytes.splice(at..end, other[from..until].iter().copied());
        }
        _ => bytes[at..end].fill(random.random()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_input_is_the_same_every_time_and_no_two_are_alike_for_long() {
        let seeds = vec![b"field_id,season\nA,2025\n".to_vec(), b"x".to_vec()];
        let all: Vec<Vec<u8>> = (0..500).map(|number| input(&seeds, 1, number)).collect();
        assert_eq!(all[0], seeds[0]);
        assert!(all.iter().enumerate().all(|(number, bytes)| *bytes == input(&seeds, 1, number as u64)));
        let different: std::collections::BTreeSet<&Vec<u8>> = all.iter().collect();
        assert!(different.len() > 400, "{}", different.len());
    }
}
