//! Rows of the table.

use crate::timing::Timing;
use crate::usual::Usual;

/// Head of the table.
pub const HEAD: &str = "| case | median | fastest to slowest | samples | R | how many times faster than the fastest of them |\n\
                        | --- | --- | --- | --- | --- | --- |";

/// One row in markdown.
pub fn row(name: &str, timing: &Timing, usual: &[Usual]) -> String {
    let others: Vec<String> =
        usual.iter().map(|other| format!("{} {}", other.software, seconds(other.seconds))).collect();
    let fastest = usual.iter().map(|other| other.seconds).fold(f64::INFINITY, f64::min);
    let [others, ratio] = if usual.is_empty() {
        ["not measured".to_string(), String::new()]
    } else {
        [others.join("; "), two_digits(fastest / timing.median)]
    };
    let spread = format!("{} to {}", seconds(timing.fastest), seconds(timing.slowest));
    format!("| {name} | {} | {spread} | {} | {others} | {ratio} |", seconds(timing.median), timing.samples)
}

/// Three digits and a unit that fits.
pub fn seconds(value: f64) -> String {
    let (scaled, unit) = match value {
        v if v >= 1.0 => (v, "s"),
        v if v >= 1e-3 => (1e3 * v, "ms"),
        v => (1e6 * v, "µs"),
    };
    let decimals = if scaled >= 100.0 {
        0
    } else if scaled >= 10.0 {
        1
    } else {
        2
    };
    format!("{scaled:.decimals$} {unit}")
}

/// More digits than two would claim more than a few runs on a shared machine can tell.
fn two_digits(value: f64) -> String {
    if value >= 10.0 {
        let step = 10_f64.powf(value.log10().floor() - 1.0);
        format!("{:.0}", (value / step).round() * step)
    } else {
        format!("{value:.1}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_row_compares_with_the_fastest_of_the_others() {
        let timing = Timing { median: 0.031, fastest: 0.03, slowest: 0.04, samples: 9 };
        let other = |software: &str, seconds| Usual { software: software.to_owned(), seconds };
        let others = [other("a", 3.1), other("b", 0.31)];
        assert_eq!(
            row("fit", &timing, &others),
            "| fit | 31.0 ms | 30.0 ms to 40.0 ms | 9 | a 3.10 s; b 310 ms | 10 |"
        );
        assert_eq!(row("fit", &timing, &[]), "| fit | 31.0 ms | 30.0 ms to 40.0 ms | 9 | not measured |  |");
    }

    #[test]
    fn ratios_keep_two_digits() {
        for (value, expected) in [(0.123, "0.1"), (3.16, "3.2"), (12.7, "13"), (123.4, "120"), (996.0, "1000")] {
            assert_eq!(two_digits(value), expected);
        }
    }
}
