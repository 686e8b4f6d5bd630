//! Which raw table a file is, by its name.

use evenstand_tables::{Group, schemas};

/// The raw table that a file name says: its text up to the first `.`, `-` or digit, less a trailing `_`.
/// `None` where no raw table is called so.
pub fn kind_of(file_name: &str) -> Option<&'static str> {
    let end = file_name
        .find(|letter: char| letter == '.' || letter == '-' || letter.is_ascii_digit())
        .unwrap_or(file_name.len());
    // A copy is often called "stand_count (1).csv".
    let name = file_name[..end].trim_end_matches(['_', ' ', '(']).to_ascii_lowercase();
    schemas().iter().find(|table| table.group == Group::Raw && table.name == name).map(|table| table.name.as_str())
}

/// Order in which kinds are read: fields first, because the others need their time zones; then strips, because rows that
/// name none find theirs by place or time.
pub fn read_order(kind: &str) -> u8 {
    match kind {
        "field" => 0,
        "strip" => 1,
        _ => 2,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_kind_is_the_name_up_to_a_dot_dash_or_digit() {
        assert_eq!(kind_of("stand_count-north.csv"), Some("stand_count"));
        assert_eq!(kind_of("setting_log_2024.csv"), Some("setting_log"));
        assert_eq!(kind_of("field.csv"), Some("field"));
        assert_eq!(kind_of("Field2025.csv"), Some("field"));
        assert_eq!(kind_of("Stand_Count (1).xlsx"), Some("stand_count"));
        assert_eq!(kind_of("stand_count 3.csv"), Some("stand_count"));
        assert_eq!(kind_of("notes.csv"), None);
        assert_eq!(kind_of("stand_counts.csv"), None);
    }
}
