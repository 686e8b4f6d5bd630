//! How text becomes numbers and times in one file.

use evenstand_settings::SourceRule;
use jiff::tz::TimeZone;

use crate::time::zone;

/// What a person declared about the writing of a file; the default is a decimal point and nothing else.
#[derive(Debug, Clone)]
pub(crate) struct Reading {
    pub decimal: char,
    pub thousands: Option<char>,
    /// Further text that stands for a missing value.
    pub missing: Vec<String>,
    /// Zone of times without an offset.
    pub zone: Option<TimeZone>,
    /// Formats of times, tried before those of the review.
    pub formats: Vec<String>,
}

impl Default for Reading {
    fn default() -> Self {
        Self { decimal: '.', thousands: None, missing: Vec::new(), zone: None, formats: Vec::new() }
    }
}

impl Reading {
    /// Takes it from a block of the settings. Errors where the time zone has no such name.
    pub fn of(rule: &SourceRule) -> Result<Self, String> {
        Ok(Self {
            decimal: rule.decimal,
            thousands: rule.thousands,
            missing: rule.missing.clone(),
            zone: rule.timezone.as_deref().map(zone).transpose()?,
            formats: rule.time_formats.clone(),
        })
    }

    /// Whether a cell's text stands for a missing value.
    pub fn is_missing(&self, text: &str) -> bool {
        matches!(text, "" | "-")
            || text.eq_ignore_ascii_case("na")
            || self.missing.iter().any(|marker| marker.eq_ignore_ascii_case(text) || same_number(marker, text))
    }

    /// Whether a number stands for a missing value, such as -9999.
    pub fn is_missing_number(&self, number: f64) -> bool {
        self.missing.iter().any(|marker| marker.parse() == Ok(number))
    }

    /// A number as people write it here; `None` where the text is none, or its thousands are not in groups of three.
    pub fn number(&self, text: &str) -> Option<f64> {
        if self.decimal == '.' && self.thousands.is_none() {
            return text.parse().ok().filter(|number: &f64| number.is_finite());
        }
        let (whole, decimals) = match text.split_once(self.decimal) {
            Some((whole, decimals)) => (whole, Some(decimals)),
            None => (text, None),
        };
        let whole = self.ungrouped(whole)?;
        // What is left may only be digits, a sign and a power of ten: a point here would be somebody else's decimals.
        let plain =
            |text: &str| text.bytes().all(|byte| byte.is_ascii_digit() || matches!(byte, b'-' | b'+' | b'e' | b'E'));
        if !plain(&whole) || !decimals.is_none_or(plain) {
            return None;
        }
        let text = match decimals {
            Some(decimals) => format!("{whole}.{decimals}"),
            None => whole,
        };
        text.parse().ok().filter(|number: &f64| number.is_finite())
    }

    /// Digits without what stands between thousands; `None` where it stands elsewhere.
    fn ungrouped(&self, whole: &str) -> Option<String> {
        let Some(between) = self.thousands.filter(|letter| whole.contains(*letter)) else {
            return Some(whole.to_owned());
        };
        let mut groups = whole.split(between);
        let first = groups.next()?.trim_start_matches(['-', '+']);
        let even = (1..=3).contains(&first.len()) && groups.all(|group| group.len() == 3);
        even.then(|| whole.chars().filter(|letter| *letter != between).collect())
    }

    /// What a number that was not understood should have looked like.
    pub fn number_remedy(&self, text: &str) -> &'static str {
        if self.decimal == '.' && self.thousands.is_none() && text.contains(',') {
            "write a decimal point and no thousands separator, or say decimal = \",\" in a [[source]] block of evenstand.toml"
        } else if self.decimal == ',' {
            "write digits with a decimal comma, as the [[source]] block says; leave the cell empty where nothing was measured"
        } else {
            "write digits with a decimal point; leave the cell empty where nothing was measured"
        }
    }
}

fn same_number(marker: &str, text: &str) -> bool {
    matches!((marker.parse::<f64>(), text.parse::<f64>()), (Ok(marker), Ok(found)) if marker == found)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_decimal_comma_and_thousands_are_read_only_as_declared() {
        let point = Reading::default();
        assert_eq!(point.number("12.5"), Some(12.5));
        assert_eq!(point.number("12,5"), None);
        let comma = Reading { decimal: ',', thousands: Some('.'), ..Reading::default() };
        assert_eq!(comma.number("12,5"), Some(12.5));
        assert_eq!(comma.number("-1.234.567,25"), Some(-1_234_567.25));
        assert_eq!(comma.number("34.000"), Some(34_000.0));
        assert_eq!(comma.number("12.5"), None, "a point that does not stand between thousands is not thrown away");
        assert_eq!(comma.number("1,2,3"), None);
        assert_eq!(comma.number("1,5e3"), Some(1500.0));
        let blank = Reading { thousands: Some(' '), ..Reading::default() };
        assert_eq!(blank.number("84 000"), Some(84_000.0));
        assert_eq!(blank.number("84 00"), None);
        let comma_alone = Reading { decimal: ',', ..Reading::default() };
        assert_eq!(
            comma_alone.number("12.5"),
            None,
            "with a decimal comma declared, a point is not a second decimal sign"
        );
    }

    #[test]
    fn missing_markers_are_words_or_numbers() {
        let reading = Reading { missing: vec!["x".into(), "-9999".into()], ..Reading::default() };
        for text in ["", "-", "NA", "na", "X", "-9999", "-9999.0"] {
            assert!(reading.is_missing(text), "{text}");
        }
        assert!(!reading.is_missing("0") && reading.is_missing_number(-9999.0));
    }
}
