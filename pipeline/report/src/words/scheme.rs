//! The condition scheme in use: classes, rules, sources, and how many strips fell where.

use evenstand_tables::rows::ConditionRow;
use serde::Serialize;

use crate::results::Results;
use crate::words::answer::plain_words;
use crate::words::why::WordTable;

/// Part name of whole labels.
const LABELS: &str = "condition";

/// The section.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Scheme {
    /// Parts that make a label, in words.
    pub parts: Vec<String>,
    /// The same as the settings write them.
    pub by: String,
    pub labels: WordTable,
    pub classes: WordTable,
}

/// The scheme; `None` where the table is empty.
pub(crate) fn scheme(results: &Results) -> Option<Scheme> {
    let rows = &results.conditions;
    if rows.is_empty() {
        return None;
    }
    let mut parts: Vec<&str> = Vec::new();
    for row in rows.iter().filter(|row| row.in_label == Some(true) && row.part != LABELS) {
        if !parts.contains(&row.part.as_str()) {
            parts.push(&row.part);
        }
    }
    let count = |count: Option<i64>| count.unwrap_or(0).to_string();
    let labels = rows.iter().filter(|row| row.part == LABELS);
    let classes = rows.iter().filter(|row| row.part != LABELS);
    let class_row = |row: &ConditionRow| {
        vec![
            plain_words(&row.part),
            row.class.clone(),
            row.rule.clone().unwrap_or_default(),
            row.source.clone().unwrap_or_default(),
            count(row.n_strips),
            count(row.n_field_seasons),
        ]
    };
    let table = |caption: &str, head: &[&str], rows: Vec<Vec<String>>| WordTable {
        caption: caption.to_owned(),
        head: head.iter().map(|word| (*word).to_owned()).collect(),
        rows,
        rest: None,
    };
    Some(Scheme {
        by: by(&parts, rows),
        parts: parts.into_iter().map(plain_words).collect(),
        labels: table(
            "Conditions, and the strips in them",
            &["Condition", "Strips", "Field-seasons"],
            labels.map(|row| vec![row.class.clone(), count(row.n_strips), count(row.n_field_seasons)]).collect(),
        ),
        classes: table(
            "Classes that a condition can be made of",
            &["Part", "Class", "A strip belongs to it where", "Source", "Strips", "Field-seasons"],
            classes.map(class_row).collect(),
        ),
    })
}

/// The parts in use as the settings write them. Where none is, the first that the table lists stands as an example: an empty
/// list would be refused.
fn by(parts: &[&str], rows: &[ConditionRow]) -> String {
    let first = || rows.iter().map(|row| row.part.as_str()).find(|part| *part != LABELS).unwrap_or("moisture");
    let written = if parts.is_empty() { &[first()][..] } else { parts };
    written.iter().map(|part| format!("\"{part}\"")).collect::<Vec<_>>().join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(part: &str, class: &str, in_label: bool) -> ConditionRow {
        ConditionRow {
            part: part.into(),
            class: class.into(),
            rule: Some("rule".into()),
            in_label: Some(in_label),
            n_strips: Some(12),
            ..ConditionRow::default()
        }
    }

    #[test]
    fn the_parts_of_the_label_come_out_as_the_settings_write_them() {
        let conditions = vec![
            row("moisture", "dry", true),
            row("moisture", "wet", true),
            row("texture_group", "fine", false),
            row("condition", "wet, covered", true),
        ];
        let scheme = scheme(&Results { conditions, ..Results::default() }).unwrap();
        assert_eq!((scheme.by.as_str(), scheme.parts.as_slice()), ("\"moisture\"", &["moisture".to_owned()][..]));
        assert_eq!(scheme.labels.rows, [["wet, covered", "12", "0"]]);
        assert_eq!(scheme.classes.rows.len(), 3);
        assert_eq!(scheme.classes.rows[2][0], "texture group");
    }

    #[test]
    fn the_example_is_never_an_empty_list() {
        let conditions = vec![row("texture_group", "fine", false), row("condition", "all", true)];
        let scheme = scheme(&Results { conditions, ..Results::default() }).unwrap();
        assert_eq!((scheme.by.as_str(), scheme.parts.len()), ("\"texture_group\"", 0));
    }
}
