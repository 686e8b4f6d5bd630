//! What digging showed, by condition and closer: counts. Limits of the dig window are not fitted yet, and the table says so.

use std::collections::BTreeMap;

use evenstand_tables::rows::{DigStripRow, DigWindowRow};

/// Counts the digs of each condition and closer.
pub(crate) fn dig_window(digs: &[DigStripRow]) -> Vec<DigWindowRow> {
    let mut groups: BTreeMap<(String, String), Vec<&DigStripRow>> = BTreeMap::new();
    for dig in digs {
        let closer = dig.closer.clone().unwrap_or_else(|| "other".into());
        groups.entry((dig.condition.clone(), closer)).or_default().push(dig);
    }
    groups
        .into_iter()
        .map(|((condition, closer), digs)| {
            let open = digs.iter().filter(|dig| dig.not_shut == Some(true)).count();
            let firm = digs.iter().filter(|dig| dig.too_firm == Some(true)).count();
            DigWindowRow {
                condition,
                closer,
                planter_id: None,
                open_limit_n: None,
                firm_limit_n: None,
                n_digs: Some(digs.len() as i64),
                n_open: Some(open as i64),
                n_firm: Some(firm as i64),
                evidence: "open".to_owned(),
                reason: Some(format!(
                    "Of {} places dug, {open} were not shut and {firm} too firm. This version counts digs; it does not work out limits from them.",
                    digs.len()
                )),
                ..DigWindowRow::default()
            }
        })
        .collect()
}
