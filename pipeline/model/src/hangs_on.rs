//! What a suggestion hangs on, in words: a column of the starting points, and findings.

use evenstand_tables::Finding;
use evenstand_tables::rows::{SensitivityRow, StartingPointRow};

/// What the suggestion of `start` hangs on, by its alternatives; `None` where it hangs on nothing.
pub(crate) fn hangs_on(start: &StartingPointRow, rows: &[SensitivityRow]) -> Option<String> {
    let marks: Vec<String> = against(rows).map(|row| mark(start, row)).collect();
    (!marks.is_empty()).then(|| marks.join("; "))
}

fn against(rows: &[SensitivityRow]) -> impl Iterator<Item = &SensitivityRow> {
    rows.iter().filter(|row| row.agrees == Some(false))
}

fn mark(start: &StartingPointRow, row: &SensitivityRow) -> String {
    match row.kind.as_str() {
        "left_out" => format!("field {}", row.detail),
        "tolerance" => format!("{} the tolerance says {}", row.detail, says(start, row)),
        "axis" => format!("the {} force says {}", row.detail, says(start, row)),
        _ => format!("{} says {}", row.detail, says(start, row)),
    }
}

/// What an alternative would rather have than the suggested start.
fn says(start: &StartingPointRow, row: &SensitivityRow) -> &'static str {
    let other = row.start_n.or(row.best_n);
    let stays = row.advice.as_deref() == Some("stay") && start.start_n != start.default_n;
    match other.zip(start.start_n) {
        _ if stays => "stay",
        Some((other, here)) if other < here => "lighter",
        _ => "heavier",
    }
}

/// One finding a kind of alternative that a suggestion hangs on.
pub(crate) fn findings(start: &StartingPointRow, rows: &[SensitivityRow]) -> Vec<Finding> {
    let of = |kind: &str| against(rows).filter(|row| row.kind == kind).collect::<Vec<_>>();
    let said = |rows: &[&SensitivityRow]| rows.iter().map(|row| mark(start, row)).collect::<Vec<_>>().join(", ");
    let mut found = Vec::new();
    let (fields, responses, tolerances, axes) = (of("left_out"), of("response"), of("tolerance"), of("axis"));
    let about = format!("{}: the suggested start for {}", start.condition, start.response);
    if let Some(first) = fields.first() {
        let alone = start.n_field_seasons == Some(1);
        let message = if alone {
            format!("{about} rests on {} alone", mark(start, first))
        } else {
            let nothing = fields.iter().all(|row| row.best_n.is_none());
            let else_ = if nothing { "no curve could be told" } else { "the start would be another" };
            let names: Vec<&str> = fields.iter().map(|row| row.detail.as_str()).collect();
            format!("{about} hangs on one field-season: without {} {else_}", names.join(", or without "))
        };
        let mut finding = Finding::warning("hangs_on_one_field", message).remedy(
            "look at the settings, counts and soil notes of that field-season first; a trial in one more field-season shows whether it stands alone",
        );
        if let ([row], Some(season)) = (fields.as_slice(), first.season) {
            finding = finding.field(row.field_id.as_deref().unwrap_or_default(), season);
        }
        found.push(finding);
    }
    if !responses.is_empty() {
        found.push(
            Finding::warning(
                "responses_disagree",
                format!("{about} is not as good in all responses: {}", said(&responses)),
            )
            .remedy("decide which response matters most here and name it with primary in evenstand.toml; the table sensitivity has what the start loses in each"),
        );
    }
    if !tolerances.is_empty() {
        found.push(
            Finding::note("hangs_on_tolerance", format!("{about} hangs on the tolerance: {}", said(&tolerances))).remedy(
                "set the tolerance of this response in evenstand.toml to the loss that does not matter on this farm",
            ),
        );
    }
    if !axes.is_empty() {
        found.push(
            Finding::warning(
                "hangs_on_force_axis",
                format!("{about} hangs on which force is analysed: {}", said(&axes)),
            )
            .remedy("check the force sensor, the air supply and the calibration, then choose axis = \"set\" or \"actual\" in evenstand.toml"),
        );
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn start() -> StartingPointRow {
        StartingPointRow {
            condition: "moist".into(),
            response: "on_time_share".into(),
            start_n: Some(250.0),
            default_n: Some(150.0),
            n_field_seasons: Some(3),
            ..StartingPointRow::default()
        }
    }

    fn row(kind: &str, detail: &str, start_n: f64, advice: &str, agrees: bool) -> SensitivityRow {
        SensitivityRow {
            kind: kind.into(),
            detail: detail.into(),
            field_id: (kind == "left_out").then(|| "North".into()),
            season: (kind == "left_out").then_some(2024),
            best_n: Some(start_n),
            start_n: Some(start_n),
            advice: Some(advice.into()),
            agrees: Some(agrees),
            ..SensitivityRow::default()
        }
    }

    #[test]
    fn every_alternative_that_disagrees_is_named_with_what_it_would_rather_have() {
        let rows = [
            row("left_out", "North 2024", 200.0, "heavier", false),
            row("left_out", "South 2024", 260.0, "heavier", true),
            row("response", "spread_h", 290.0, "heavier", false),
            row("tolerance", "half", 250.0, "heavier", true),
            row("tolerance", "double", 150.0, "stay", false),
            row("axis", "actual", 120.0, "lighter", false),
        ];
        assert_eq!(
            hangs_on(&start(), &rows).as_deref(),
            Some(
                "field North 2024; spread_h says heavier; double the tolerance says stay; the actual force says lighter"
            )
        );
        let found = findings(&start(), &rows);
        let codes: Vec<&str> = found.iter().map(|finding| finding.code.as_str()).collect();
        assert_eq!(codes, ["hangs_on_one_field", "responses_disagree", "hangs_on_tolerance", "hangs_on_force_axis"]);
        assert_eq!((found[0].field_id.as_deref(), found[0].season), (Some("North"), Some(2024)));
        assert!(found[0].message.ends_with("without North 2024 the start would be another"), "{}", found[0].message);
        assert!(found.iter().all(|finding| finding.remedy.is_some()));
    }

    #[test]
    fn what_agrees_or_cannot_be_told_is_no_mark() {
        let untold = SensitivityRow { agrees: None, ..row("response", "t50_h", 100.0, "lighter", true) };
        let rows = [row("left_out", "North 2024", 250.0, "heavier", true), untold];
        assert_eq!((hangs_on(&start(), &rows), findings(&start(), &rows).len()), (None, 0));
    }

    #[test]
    fn a_suggestion_of_one_field_season_rests_on_it_alone() {
        let alone = StartingPointRow { n_field_seasons: Some(1), ..start() };
        let nothing = SensitivityRow {
            best_n: None,
            start_n: None,
            advice: None,
            ..row("left_out", "North 2024", 0.0, "", false)
        };
        let found = findings(&alone, &[nothing]);
        assert_eq!(found[0].message, "moist: the suggested start for on_time_share rests on field North 2024 alone");
    }
}
