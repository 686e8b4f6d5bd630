//! Quantities with their units, as people type them: `400 m`, `1320ft`, `28 psi`, `2 %`.

use crate::Kind;

/// Reads a number and its unit; without a unit it is in the kept one.
fn read(kind: Kind, text: &str) -> Result<f64, String> {
    let text = text.trim();
    let end = text.find(|letter: char| !(letter.is_ascii_digit() || "+-.".contains(letter))).unwrap_or(text.len());
    let (number, unit) = text.split_at(end);
    let number: f64 = number.parse().map_err(|_| format!("\"{text}\" does not begin with a number"))?;
    let unit = unit.trim().to_lowercase().replace(['/', ' '], "_").replace('%', "pct");
    let unit = if unit.is_empty() { kind.kept_suffix() } else { unit.trim_start_matches("_") };
    match kind.to_kept(unit, number) {
        Some(value) if value.is_finite() => Ok(value),
        Some(_) => Err(format!("\"{text}\" is larger than any {}", kind.name())),
        None => Err(format!("\"{text}\" has no unit of {}: one of {}", kind.name(), kind.suffixes().join(", "))),
    }
}

/// A length in metres.
pub fn length(text: &str) -> Result<f64, String> {
    read(Kind::Length, text).and_then(
        |value| {
            if value >= 0.0 { Ok(value) } else { Err(format!("\"{text}\" is below 0")) }
        },
    )
}

/// A pressure in kilopascals, where the text has a unit of pressure.
pub fn pressure(text: &str) -> Option<f64> {
    text.chars().any(char::is_alphabetic).then(|| read(Kind::Pressure, text).ok()).flatten()
}

/// A population a square metre, written as `8.2 per_m2`, `82000/ha` or `33200/ac`.
pub fn population(text: &str) -> Result<f64, String> {
    let spelled = text.trim().to_lowercase().replace('/', " per ");
    read(Kind::Population, &spelled.split_whitespace().collect::<Vec<_>>().join(" ").replacen(" per ", " per_", 1))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_and_its_unit_are_read_with_or_without_a_space() {
        assert_eq!(length("400"), Ok(400.0));
        assert_eq!(length(" 400 m"), Ok(400.0));
        assert_eq!(length("1320ft"), Ok(1320.0 * 0.3048));
        assert_eq!(length("30in"), Ok(30.0 * 0.0254));
        assert_eq!(pressure("200 kPa"), Some(200.0));
        assert_eq!(pressure("3"), None);
        assert_eq!(population("82000/ha"), Ok(8.2));
        assert_eq!(population("8.2 per m2"), Ok(8.2));
    }

    #[test]
    fn what_is_not_understood_is_quoted_with_what_would_be() {
        assert!(length("long").expect_err("refused").contains("\"long\""));
        assert!(length("4 acres").expect_err("refused").contains("m, mm, cm, in, ft"));
        assert!(length("-4 m").expect_err("refused").contains("below 0"));
        assert!(length("").is_err() && length("1e400").is_err() && length("nan").is_err());
    }
}
