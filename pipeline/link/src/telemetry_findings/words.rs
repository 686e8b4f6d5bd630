//! Numbers in words.

use evenstand_tables::Severity;

pub(crate) fn whole(value: Option<i64>) -> u64 {
    value.and_then(|value| u64::try_from(value).ok()).unwrap_or(0)
}

pub(crate) fn severity(matters: bool) -> Severity {
    if matters { Severity::Warning } else { Severity::Note }
}

pub(crate) fn count(number: u64, one: &str, many: &str) -> String {
    format!("{number} {}", if number == 1 { one } else { many })
}

pub(crate) fn times(number: u64) -> String {
    if number == 1 { "once".to_owned() } else { format!("{number} times") }
}

pub(crate) fn percent(share: f64) -> String {
    let percent = share * 100.0;
    if percent > 0.0 && percent < 1.0 { "less than 1 %".to_owned() } else { format!("{percent:.0} %") }
}

pub(crate) fn seconds(seconds: f64) -> String {
    if seconds < 10.0 {
        format!("{seconds:.1} s")
    } else if seconds < 600.0 {
        format!("{seconds:.0} s")
    } else if seconds < 36_000.0 {
        format!("{:.0} min", seconds / 60.0)
    } else {
        format!("{:.0} h", seconds / 3600.0)
    }
}
