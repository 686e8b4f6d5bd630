//! What was found and what was set aside: counted by code, then row by row up to a limit.

use std::collections::{BTreeMap, BTreeSet};

use evenstand_tables::rows::FindingRow;

use crate::results::Results;
use crate::words::answer::plain_words;
use crate::words::fields::FindingView;
use crate::words::why::WordTable;

/// Rows shown of a long table; the rest is named with its file.
const SHOWN: usize = 200;

/// Findings counted by severity and code, the most serious first, each with its first message.
pub(crate) fn finding_counts(results: &Results) -> Option<WordTable> {
    let mut counts: BTreeMap<(u8, &str, &str), (usize, &str)> = BTreeMap::new();
    for finding in &results.findings {
        let rank = rank(&finding.severity);
        counts.entry((rank, &finding.severity, &finding.code)).or_insert((0, &finding.message)).0 += 1;
    }
    if counts.is_empty() {
        return None;
    }
    let rows = counts
        .into_iter()
        .map(|((_, severity, code), (count, message))| {
            vec![severity.to_owned(), plain_words(code), count.to_string(), message.to_owned()]
        })
        .collect();
    Some(WordTable {
        caption: "Findings by kind".to_owned(),
        head: ["How serious", "Kind", "How many", "The first of them"].map(str::to_owned).to_vec(),
        rows,
        rest: None,
    })
}

/// Findings that belong to no field-season of the page, the most serious first, up to a limit; with the number left.
pub(crate) fn general_findings(results: &Results) -> (Vec<FindingView>, usize) {
    let pages: BTreeSet<(&str, i64)> =
        results.field_seasons.iter().map(|field| (field.field_id.as_str(), field.season)).collect();
    let has_page = |finding: &&FindingRow| {
        finding.field_id.as_deref().zip(finding.season).is_some_and(|field_season| pages.contains(&field_season))
    };
    let mut general: Vec<&FindingRow> = results.findings.iter().filter(|finding| !has_page(finding)).collect();
    general.sort_by_key(|finding| rank(&finding.severity));
    let left = general.len().saturating_sub(SHOWN);
    (general.into_iter().take(SHOWN).map(FindingView::of).collect(), left)
}

fn rank(severity: &str) -> u8 {
    match severity {
        "error" => 0,
        "warning" => 1,
        _ => 2,
    }
}

/// Rows set aside counted by table and reason.
pub(crate) fn aside_counts(results: &Results) -> Option<WordTable> {
    let mut counts: BTreeMap<(&str, &str), usize> = BTreeMap::new();
    for row in &results.set_aside {
        *counts.entry((&row.kind, &row.code)).or_default() += 1;
    }
    if counts.is_empty() {
        return None;
    }
    Some(WordTable {
        caption: "Rows set aside by reason".to_owned(),
        head: ["Table", "Reason", "Rows"].map(str::to_owned).to_vec(),
        rows: counts
            .into_iter()
            .map(|((kind, code), count)| vec![plain_words(kind), plain_words(code), count.to_string()])
            .collect(),
        rest: None,
    })
}

/// The rows themselves, up to a limit.
pub(crate) fn aside_rows(results: &Results) -> Option<WordTable> {
    if results.set_aside.is_empty() {
        return None;
    }
    let left = results.set_aside.len().saturating_sub(SHOWN);
    Some(WordTable {
        caption: "The rows".to_owned(),
        head: ["File", "Row", "Why", "As it stood"].map(str::to_owned).to_vec(),
        rows: results
            .set_aside
            .iter()
            .take(SHOWN)
            .map(|row| {
                vec![
                    row.source_file.clone(),
                    row.source_row.to_string(),
                    row.message.clone(),
                    row.raw.clone().unwrap_or_default(),
                ]
            })
            .collect(),
        rest: (left > 0).then(|| format!("{left} more rows are in results/set_aside.csv.")),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::made_up;

    #[test]
    fn a_long_table_is_cut_and_says_where_the_rest_is() {
        let mut results = made_up::review();
        let row = results.set_aside[0].clone();
        results.set_aside = vec![row; 231];
        let table = aside_rows(&results).expect("there are rows");
        assert_eq!(table.rows.len(), 200);
        assert_eq!(table.rest.as_deref(), Some("31 more rows are in results/set_aside.csv."));
        assert_eq!(aside_counts(&results).expect("counts").rows[0], ["stand count", "ambiguous date", "231"]);
    }

    #[test]
    fn errors_come_before_notes() {
        let mut results = made_up::review();
        let mut error = results.findings[0].clone();
        error.severity = "error".to_owned();
        error.code = "zz_last_by_name".to_owned();
        results.findings.push(error);
        let counts = finding_counts(&results).expect("there are findings");
        assert_eq!(counts.rows[0][0], "error");
        assert_eq!(counts.rows.last().expect("rows")[0], "note");
    }
}
