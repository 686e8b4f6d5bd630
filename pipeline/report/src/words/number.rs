//! Numbers as people read them: never more digits than they have.

/// The sign of a negative number; a hyphen would be read as a range.
const MINUS: char = '\u{2212}';
/// Space between a number and its unit, where no line may break.
pub(crate) const NO_BREAK_SPACE: char = '\u{a0}';

/// A number with so many decimals. A rounded zero has no sign; a number that is not finite reads "not known".
pub(crate) fn fixed(value: f64, decimals: usize) -> String {
    if !value.is_finite() {
        return "not known".to_owned();
    }
    let text = format!("{:.decimals$}", value.abs());
    let is_zero = text.chars().all(|digit| matches!(digit, '0' | '.'));
    if value < 0.0 && !is_zero { format!("{MINUS}{text}") } else { text }
}

/// A whole number.
pub(crate) fn whole(value: f64) -> String {
    fixed(value, 0)
}

/// A share as whole percent. A share that only rounds to nothing or all says so.
pub(crate) fn percent(share: f64) -> String {
    let number = if share > 0.0 && share < 0.005 {
        "under 1".to_owned()
    } else if share < 1.0 && share > 0.995 {
        "over 99".to_owned()
    } else {
        whole(share * 100.0)
    };
    if share.is_finite() { format!("{number}{NO_BREAK_SPACE}%") } else { number }
}

/// A number with its unit; a unit of no characters leaves the number alone.
pub(crate) fn with_unit(number: &str, unit: &str) -> String {
    if unit.is_empty() { number.to_owned() } else { format!("{number}{NO_BREAK_SPACE}{unit}") }
}

/// Two ends of a range, "210 to 300" on one line, or one number where both read alike.
pub(crate) fn range(low: &str, high: &str) -> String {
    if low == high { low.to_owned() } else { format!("{low}{NO_BREAK_SPACE}to{NO_BREAK_SPACE}{high}") }
}

/// A count with its thousands set apart from five digits on.
pub(crate) fn grouped(count: i64) -> String {
    let digits = count.unsigned_abs().to_string();
    let mut grouped = if count < 0 { MINUS.to_string() } else { String::new() };
    for (index, digit) in digits.chars().enumerate() {
        if index > 0 && digits.len() > 4 && (digits.len() - index).is_multiple_of(3) {
            grouped.push(NO_BREAK_SPACE);
        }
        grouped.push(digit);
    }
    grouped
}

/// A p value: two digits where it is small enough to matter, one where not, and never a bare zero.
pub(crate) fn p_value(p: f64) -> String {
    if !p.is_finite() {
        "not known".to_owned()
    } else if p < 0.001 {
        "below 0.001".to_owned()
    } else if p < 0.01 {
        fixed(p, 3)
    } else if p < 0.1 {
        fixed(p, 2)
    } else {
        fixed(p, 1)
    }
}

/// Decimals that an estimate with this uncertainty deserves: its uncertainty keeps one digit, or two where the
/// first is a one. From 0 to 4.
pub(crate) fn decimals_for(uncertainty: f64) -> usize {
    if !uncertainty.is_finite() || uncertainty <= 0.0 {
        return 1;
    }
    let exponent = uncertainty.log10().floor();
    let leading = uncertainty / 10f64.powf(exponent);
    let decimals = if leading < 2.0 { 1.0 - exponent } else { -exponent };
    decimals.clamp(0.0, 4.0) as usize
}

/// Decimals needed to write multiples of a step, from 0 to 3.
pub(crate) fn decimals_of_step(step: f64) -> usize {
    (0..3)
        .find(|&decimals| {
            let scaled = step * 10f64.powi(decimals);
            (scaled - scaled.round()).abs() < 1e-3 && scaled.round() >= 1.0
        })
        .unwrap_or(3) as usize
}

/// A probability as a number of times in ten, in words, with the number of tenths for the row of dots.
pub(crate) struct Chance {
    /// For example "about 8 times in 10".
    pub words: String,
    /// From 0 to 10.
    pub tenths: usize,
}

/// Puts a probability in words.
pub(crate) fn chance(probability: f64) -> Option<Chance> {
    if !(0.0..=1.0).contains(&probability) {
        return None;
    }
    let tenths = (probability * 10.0).round() as usize;
    let words = if probability >= 0.95 {
        "more than 9 times in 10".to_owned()
    } else if probability < 0.05 {
        "less than 1 time in 10".to_owned()
    } else if tenths == 1 {
        "about 1 time in 10".to_owned()
    } else {
        format!("about {tenths} times in 10")
    };
    Some(Chance { words, tenths })
}

/// Puts a probability as a number of fields: "about 8 of 10 fields".
pub(crate) fn fields_in_ten(probability: f64) -> Option<String> {
    let tenths = chance(probability)?.tenths;
    Some(if probability >= 0.95 {
        "more than 9 of 10 fields".to_owned()
    } else if probability < 0.05 {
        "fewer than 1 of 10 fields".to_owned()
    } else {
        format!("about {tenths} of 10 fields")
    })
}

/// "1 strip", "4 strips", "no strips".
pub(crate) fn count(number: usize, one: &str, many: &str) -> String {
    match number {
        0 => format!("no {many}"),
        1 => format!("1 {one}"),
        _ => format!("{number} {many}"),
    }
}

/// A day in the calendar, `2025-04-26`, from whole days since 1970-01-01.
pub(crate) fn calendar_day(days: i64) -> String {
    let (year, month, day) = civil(days);
    format!("{year:04}-{month:02}-{day:02}")
}

/// A day without its year, `26 Apr`.
pub(crate) fn day_and_month(days: i64) -> String {
    const MONTHS: [&str; 12] = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
    let (_, month, day) = civil(days);
    format!("{day}{NO_BREAK_SPACE}{}", MONTHS[(month - 1) as usize])
}

/// Year, month and day from whole days since 1970-01-01.
/// Source: the days-from-civil method of H. Hinnant, turned round (from memory; the test holds known days).
fn civil(days: i64) -> (i64, i64, i64) {
    let shifted = days + 719_468;
    let era = shifted.div_euclid(146_097);
    let day_of_era = shifted.rem_euclid(146_097);
    let year_of_era = (day_of_era - day_of_era / 1460 + day_of_era / 36_524 - day_of_era / 146_096) / 365;
    let day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    let month_index = (5 * day_of_year + 2) / 153;
    let day = day_of_year - (153 * month_index + 2) / 5 + 1;
    let month = if month_index < 10 { month_index + 3 } else { month_index - 9 };
    let year = year_of_era + era * 400 + i64::from(month <= 2);
    (year, month, day)
}

/// Four digits that count: enough to compare a fit with another program's.
pub(crate) fn four_digits(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return fixed(value, 0);
    }
    let decimals = (3.0 - value.abs().log10().floor()).clamp(0.0, 8.0) as usize;
    fixed(value, decimals)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rounded_zero_has_no_sign_and_a_negative_has_a_minus() {
        assert_eq!(fixed(-0.2, 0), "0");
        assert_eq!(fixed(-3.4, 0), "−3");
        assert_eq!(fixed(-0.04, 1), "0.0");
        assert_eq!(fixed(f64::NAN, 1), "not known");
        assert_eq!(fixed(f64::INFINITY, 0), "not known");
    }

    #[test]
    fn shares_are_whole_percent_and_do_not_round_to_all_or_nothing() {
        assert_eq!(percent(0.784), "78\u{a0}%");
        assert_eq!(percent(1.0), "100\u{a0}%");
        assert_eq!(percent(0.998), "over 99\u{a0}%");
        assert_eq!(percent(0.0), "0\u{a0}%");
        assert_eq!(percent(0.001), "under 1\u{a0}%");
        assert_eq!(percent(f64::NAN), "not known");
    }

    #[test]
    fn long_counts_are_set_in_threes() {
        assert_eq!(grouped(4820), "4820");
        assert_eq!(grouped(48_200), "48\u{a0}200");
        assert_eq!(grouped(1_234_567), "1\u{a0}234\u{a0}567");
        assert_eq!(grouped(-12_000), "−12\u{a0}000");
    }

    #[test]
    fn p_values_never_read_zero() {
        assert_eq!(p_value(0.0), "below 0.001");
        assert_eq!(p_value(0.0042), "0.004");
        assert_eq!(p_value(0.034), "0.03");
        assert_eq!(p_value(0.62), "0.6");
        assert_eq!(p_value(f64::NAN), "not known");
    }

    #[test]
    fn decimals_follow_the_uncertainty() {
        assert_eq!(decimals_for(0.08), 2);
        assert_eq!(decimals_for(0.13), 2);
        assert_eq!(decimals_for(0.3), 1);
        assert_eq!(decimals_for(4.0), 0);
        assert_eq!(decimals_for(1.5), 1);
        assert_eq!(decimals_for(0.0), 1);
        assert_eq!(decimals_for(250.0), 0);
    }

    #[test]
    fn steps_of_a_knob_set_the_decimals() {
        assert_eq!(decimals_of_step(10.0), 0);
        assert_eq!(decimals_of_step(0.5), 1);
        assert_eq!(decimals_of_step(0.05), 2);
        assert_eq!(decimals_of_step(4.999_96), 0);
    }

    #[test]
    fn chances_are_times_in_ten() {
        let words = |p: f64| chance(p).map(|chance| chance.words);
        assert_eq!(words(0.81).as_deref(), Some("about 8 times in 10"));
        assert_eq!(words(0.99).as_deref(), Some("more than 9 times in 10"));
        assert_eq!(words(0.1).as_deref(), Some("about 1 time in 10"));
        assert_eq!(words(0.01).as_deref(), Some("less than 1 time in 10"));
        assert_eq!(words(1.2), None);
        assert_eq!(words(f64::NAN), None);
    }

    #[test]
    fn chances_are_fields_in_ten() {
        assert_eq!(fields_in_ten(0.7875).as_deref(), Some("about 8 of 10 fields"));
        assert_eq!(fields_in_ten(0.9499).as_deref(), Some("about 9 of 10 fields"));
        assert_eq!(fields_in_ten(1.0).as_deref(), Some("more than 9 of 10 fields"));
        assert_eq!(fields_in_ten(0.0).as_deref(), Some("fewer than 1 of 10 fields"));
        assert_eq!(fields_in_ten(f64::NAN), None);
    }

    #[test]
    fn days_fall_on_their_dates() {
        assert_eq!(calendar_day(0), "1970-01-01");
        assert_eq!(calendar_day(-1), "1969-12-31");
        assert_eq!(calendar_day(11_016), "2000-02-29");
        assert_eq!(calendar_day(20_204), "2025-04-26");
        assert_eq!(day_and_month(20_204), "26\u{a0}Apr");
    }
}
