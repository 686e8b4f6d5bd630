//! Field by field: the list of field-seasons, and of each its facts, its strips and its findings.

use evenstand_tables::rows::{FieldSeasonRow, FindingRow, StripRow};
use serde::Serialize;

use crate::picture::Figure;
use crate::results::{Results, of_field_season};
use crate::slug::{Names, slug};
use crate::words::answer::plain_words;
use crate::words::field_chart::response_of;
use crate::words::growers::owner;
use crate::words::number;
use crate::words::response::Response;
use crate::words::strip_says;
use crate::words::why::WordTable;

/// Fields of one client and farm, as the index lists them.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct FieldGroup {
    pub title: Option<String>,
    pub fields: Vec<FieldLine>,
}

/// One field-season in the list.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct FieldLine {
    /// Name of its page below `fields/`, without its ending.
    pub file: String,
    pub field: String,
    pub season: i64,
    pub planter: String,
    pub conditions: Vec<String>,
    pub kind: &'static str,
    pub strips: String,
    pub settings: String,
    /// Lowest and highest strip in the response that it is drawn by.
    pub range: String,
    pub response: String,
}

/// One field-season on its page.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct FieldView {
    pub file: String,
    pub title: String,
    pub owner: Option<String>,
    pub kind: &'static str,
    pub facts: Vec<(String, String)>,
    pub chart: Option<Figure>,
    pub map: Option<Figure>,
    pub along: Option<Figure>,
    pub strips: Option<WordTable>,
    pub findings: Vec<FindingView>,
    pub findings_left: usize,
}

/// A finding on the page.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct FindingView {
    pub severity: String,
    pub code: String,
    pub place: String,
    pub message: String,
    pub remedy: Option<String>,
}

impl FindingView {
    pub fn of(row: &FindingRow) -> Self {
        Self {
            severity: row.severity.clone(),
            code: plain_words(&row.code),
            place: row.place(),
            message: row.message.clone(),
            remedy: row.remedy.clone(),
        }
    }
}

/// Field-seasons in the order of the page: by client, farm, field and season.
pub(crate) fn ordered(results: &Results) -> Vec<&FieldSeasonRow> {
    let mut fields: Vec<&FieldSeasonRow> = results.field_seasons.iter().collect();
    fields.sort_by_key(|field| (&field.client, &field.farm, &field.field_id, field.season));
    fields
}

pub(crate) fn strips_of<'a>(results: &'a Results, field: &FieldSeasonRow) -> Vec<&'a StripRow> {
    of_field_season(&results.strips, &field.field_id, field.season).iter().collect()
}

/// Names of the pages of all field-seasons, in their order.
pub(crate) fn files(results: &Results) -> Vec<String> {
    let mut names = Names::default();
    ordered(results).iter().map(|field| names.unique(&format!("{}-{}", slug(&field.field_id), field.season))).collect()
}

/// The list of field-seasons, grouped by client and farm.
pub(crate) fn groups(results: &Results, files: &[String]) -> Vec<FieldGroup> {
    let mut groups: Vec<FieldGroup> = Vec::new();
    for (field, file) in ordered(results).into_iter().zip(files) {
        let title = owner(field);
        let line = line(results, field, file);
        match groups.last_mut() {
            Some(group) if group.title == title => group.fields.push(line),
            _ => groups.push(FieldGroup { title, fields: vec![line] }),
        }
    }
    groups
}

fn line(results: &Results, field: &FieldSeasonRow, file: &str) -> FieldLine {
    let strips = strips_of(results, field);
    let response = response_of(results, &strips);
    let values = || strips.iter().filter_map(|strip| results.strip_value(strip, &response.name));
    let (low, high) = (values().fold(f64::INFINITY, f64::min), values().fold(f64::NEG_INFINITY, f64::max));
    let mut conditions: Vec<String> = strips.iter().map(|strip| strip.condition.clone()).collect();
    conditions.sort();
    conditions.dedup();
    let count = |value: Option<i64>| value.map_or_else(|| "–".to_owned(), number::grouped);
    FieldLine {
        file: file.to_owned(),
        field: field.field_id.clone(),
        season: field.season,
        planter: field.planter_id.clone().unwrap_or_default(),
        conditions,
        kind: match field.kind.as_deref() {
            Some("trial") => "trial",
            Some("log") => "log",
            _ => "–",
        },
        strips: count(field.n_strips),
        settings: count(field.n_levels),
        range: if low.is_finite() {
            number::range(&response.value(low, None), &response.value(high, None))
        } else {
            "–".to_owned()
        },
        response: response.label,
    }
}

/// A field-season with its charts painted.
pub(crate) fn view(
    results: &Results,
    field: &FieldSeasonRow,
    file: &str,
    [chart, map, along]: [Option<Figure>; 3],
) -> FieldView {
    const FINDINGS: usize = 12;
    let own: Vec<&FindingRow> = results
        .findings
        .iter()
        .filter(|row| row.field_id.as_deref() == Some(&field.field_id) && row.season == Some(field.season))
        .collect();
    FieldView {
        file: file.to_owned(),
        title: format!("{}, {}", field.field_id, field.season),
        owner: owner(field),
        kind: match field.kind.as_deref() {
            Some("trial") => "A trial: settings varied inside the field.",
            Some("log") => "A log: one setting over the whole field, so it is compared with other fields only.",
            Some("none") => "No setting was recorded.",
            _ => "",
        },
        facts: facts(results, field),
        chart,
        map,
        along,
        strips: strip_table(results, field),
        findings: own.iter().take(FINDINGS).map(|row| FindingView::of(row)).collect(),
        findings_left: own.len().saturating_sub(FINDINGS),
    }
}

fn facts(results: &Results, field: &FieldSeasonRow) -> Vec<(String, String)> {
    let count = |value: Option<i64>| value.map(number::grouped);
    // The day in the field's own time zone stands among the records; a time alone is one of UTC.
    let recorded = of_field_season(&results.recorded, &field.field_id, field.season);
    let recorded = recorded.iter().find(|row| row.what == "planted");
    let planted = match (recorded, field.planted_at) {
        (Some(row), _) => Some(number::calendar_day(i64::from(row.day.0))),
        (None, Some(moment)) => Some(format!("{} (UTC)", number::calendar_day(moment.days().floor() as i64))),
        (None, None) => None,
    };
    [
        ("Crop", field.crop.clone()),
        ("Hybrid", field.hybrid.clone()),
        ("Planter", field.planter_id.clone()),
        ("Planted", planted),
        ("Tillage", field.tillage.as_deref().map(plain_words)),
        ("Conditions", field.conditions.clone()),
        ("Strips", count(field.n_strips)),
        ("Blocks", count(field.n_blocks)),
        ("Settings", count(field.n_levels)),
        ("Telemetry rows", count(field.n_telemetry_rows.filter(|rows| *rows > 0))),
    ]
    .into_iter()
    .filter_map(|(name, value)| value.map(|value| (name.to_owned(), value)))
    .collect()
}

fn strip_table(results: &Results, field: &FieldSeasonRow) -> Option<WordTable> {
    const SHOWN: usize = 200;
    let strips = strips_of(results, field);
    if strips.is_empty() {
        return None;
    }
    let gauge = results.field_gauge(&field.field_id, field.season);
    let decides = response_of(results, &strips);
    let mut shown: Vec<Response> = vec![decides];
    for name in ["on_time_share", "emerged_share", "t50_h", "spread_h"] {
        if shown[0].name != name && strips.iter().any(|strip| results.strip_value(strip, name).is_some()) {
            shown.push(Response::of(name, results));
        }
    }
    let knob = |strip: &StripRow| {
        let planter = strip.planter_id.as_deref().and_then(|planter_id| results.planter(planter_id));
        let pressure =
            strip.set_pressure_kpa.zip(planter).map(|(kpa, planter)| crate::results::knob_gauge(planter).text(kpa));
        let position = strip.closing_position.as_ref().map(|position| format!("position {position}"));
        let force = strip.force_n.map(|force| gauge.text(force));
        let knob = pressure.or(position);
        match (knob, force) {
            (Some(knob), Some(force)) if knob != force => format!("{knob} ({force})"),
            (Some(knob), _) => knob,
            (None, Some(force)) => force,
            (None, None) => strip.treatment.clone().unwrap_or_else(|| "–".to_owned()),
        }
    };
    let sourced = !results.sources.is_empty();
    let rows = strips
        .iter()
        .take(SHOWN)
        .map(|strip| {
            let mut row = vec![
                strip.strip_id.clone(),
                strip.block.clone().unwrap_or_else(|| "–".to_owned()),
                strip.condition.clone(),
                knob(strip),
            ];
            row.extend(shown.iter().map(|response| {
                results
                    .strip_value(strip, &response.name)
                    .map_or_else(|| "–".to_owned(), |value| response.value(value, None))
            }));
            if sourced {
                row.push(strip_says::files(results, (&strip.field_id, strip.season, &strip.strip_id)));
            }
            row
        })
        .collect();
    let mut head = ["Strip", "Block", "Condition", "Setting"].map(str::to_owned).to_vec();
    head.extend(shown.iter().map(|response| response.label.clone()));
    if sourced {
        head.push("Files and rows".to_owned());
    }
    let left = strips.len().saturating_sub(SHOWN);
    Some(WordTable {
        caption: format!("The strips of {}, {}", field.field_id, field.season),
        head,
        rows,
        rest: (left > 0).then(|| format!("{left} more strips are in results/strips.csv.")),
    })
}
