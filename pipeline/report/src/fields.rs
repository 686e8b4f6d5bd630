//! Field by field: the chart of each field-season, the facts about it, its strips and its findings.

use evenstand_tables::rows::{FieldSeasonRow, FindingRow, StripRow};
use serde::Serialize;

use crate::answer::plain_words;
use crate::charts::field::{Across, Course, FieldChart, StripDot};
use crate::charts::panel::CurvePoint;
use crate::number;
use crate::response::Response;
use crate::results::Results;
use crate::slug::{Names, slug};
use crate::why::{Figure, WordTable, curve_point};

/// Fields of one client and farm.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct FieldGroup {
    pub title: Option<String>,
    pub fields: Vec<FieldView>,
}

/// One field-season on the page.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct FieldView {
    pub title: String,
    pub kind: String,
    pub facts: Vec<(String, String)>,
    pub figure: Option<Figure>,
    pub finding: String,
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

/// A chart of a field-season with its file name and its finding in words.
pub(crate) struct DrawnField {
    pub field_id: String,
    pub season: i64,
    pub file: String,
    pub alt: String,
    pub chart: FieldChart,
}

/// Field-seasons in the order of the page: by client, farm, field and season.
fn ordered(results: &Results) -> Vec<&FieldSeasonRow> {
    let mut fields: Vec<&FieldSeasonRow> = results.field_seasons.iter().collect();
    fields.sort_by_key(|field| (&field.client, &field.farm, &field.field_id, field.season));
    fields
}

/// The charts of all field-seasons that have something to draw.
pub(crate) fn field_charts(results: &Results, names: &mut Names) -> Vec<DrawnField> {
    ordered(results)
        .into_iter()
        .filter_map(|field| {
            let chart = chart(results, field)?;
            let file = names.unique(&format!("field-{}-{}", slug(&field.field_id), field.season));
            let alt = finding(&chart, field);
            Some(DrawnField { field_id: field.field_id.clone(), season: field.season, file, alt, chart })
        })
        .collect()
}

fn strips_of<'a>(results: &'a Results, field: &FieldSeasonRow) -> Vec<&'a StripRow> {
    results.strips.iter().filter(|strip| strip.field_id == field.field_id && strip.season == field.season).collect()
}

/// The response a field is drawn by: the one that decides, else the first of the usual ones that was measured.
fn response_of(results: &Results, strips: &[&StripRow]) -> Response {
    let measured = |name: &&str| strips.iter().any(|strip| results.strip_value(strip, name).is_some());
    let name = [results.primary(), "on_time_share", "emerged_share", "spread_h", "spacing_cv"]
        .into_iter()
        .find(measured)
        .unwrap_or(results.primary());
    Response::of(name, results)
}

fn label_of(strip: &StripRow) -> Option<&str> {
    strip.closing_position.as_deref().or(strip.treatment.as_deref())
}

/// Numbers before words, numbers by size.
fn natural(label: &str) -> (u8, u64, String) {
    match label.trim().parse::<f64>() {
        Ok(number) if number.is_finite() && number >= 0.0 => (0, number.to_bits(), label.to_owned()),
        _ => (1, 0, label.to_owned()),
    }
}

fn sorted_labels<'a>(labels: impl Iterator<Item = &'a str>) -> Vec<String> {
    let mut labels: Vec<String> = labels.map(str::to_owned).collect();
    labels.sort_by_key(|label| natural(label));
    labels.dedup();
    labels
}

fn chart(results: &Results, field: &FieldSeasonRow) -> Option<FieldChart> {
    let strips = strips_of(results, field);
    let response = response_of(results, &strips);
    let gauge = results.field_gauge(&field.field_id, field.season);
    let blocks = sorted_labels(strips.iter().filter_map(|strip| strip.block.as_deref()));
    let block_of = |strip: &StripRow| {
        strip.block.as_ref().and_then(|block| blocks.iter().position(|name| name == block)).unwrap_or(blocks.len())
    };
    let value = |strip: &StripRow| results.strip_value(strip, &response.name).map(|value| response.axis_value(value));
    let measured = strips.iter().any(|strip| strip.force_n.is_some());
    let labels = sorted_labels(strips.iter().filter_map(|strip| label_of(strip)));
    let place = |strip: &StripRow| {
        if measured {
            strip.force_n.filter(|force| force.is_finite()).map(|force| gauge.value(force))
        } else {
            let label = label_of(strip)?;
            // Blocks stand a little apart, so that marks of one label do not hide each other.
            let step = 0.5 / (blocks.len() + 1) as f64;
            let aside = step * (block_of(strip) as f64 - (blocks.len().max(1) - 1) as f64 / 2.0);
            labels.iter().position(|name| name == label).map(|number| number as f64 + aside)
        }
    };
    let dots: Vec<StripDot> = strips
        .iter()
        .filter_map(|strip| Some(StripDot { x: place(strip)?, y: value(strip)?, block: block_of(strip) }))
        .collect();
    let courses = courses(results, field);
    if dots.is_empty() && courses.is_empty() {
        return None;
    }
    Some(FieldChart {
        title: format!("{}, {}", field.field_id, field.season),
        curves: if measured { curves(results, field, &response) } else { Vec::new() },
        across: if measured || labels.is_empty() { Across::Measured(gauge) } else { Across::Labels(labels) },
        response,
        strips: dots,
        blocks,
        courses,
    })
}

fn curves(results: &Results, field: &FieldSeasonRow, response: &Response) -> Vec<(String, Vec<CurvePoint>)> {
    let gauge = results.field_gauge(&field.field_id, field.season);
    let mut curves: Vec<(String, Vec<CurvePoint>)> = Vec::new();
    let rows = results
        .field_curves
        .iter()
        .filter(|row| row.field_id == field.field_id && row.season == field.season && row.response == response.name);
    for row in rows {
        let Some(point) = curve_point(response, gauge, row.force_n, row.estimate, row.low, row.high) else { continue };
        match curves.iter_mut().find(|(condition, _)| *condition == row.condition) {
            Some((_, points)) => points.push(point),
            None => curves.push((row.condition.clone(), vec![point])),
        }
    }
    curves
}

/// Mean courses by setting; where there are none, the courses of strips if they are few enough to tell apart.
fn courses(results: &Results, field: &FieldSeasonRow) -> Vec<Course> {
    const TOLD_APART: usize = 6;
    let gauge = results.field_gauge(&field.field_id, field.season);
    let mut means: Vec<(f64, Course)> = Vec::new();
    for row in results.course_means.iter().filter(|row| row.field_id == field.field_id && row.season == field.season) {
        let Some(point) = row.hours.zip(row.share).map(|(hours, share)| (hours, share * 100.0)) else { continue };
        if !point.0.is_finite() || !point.1.is_finite() {
            continue;
        }
        let label = row.label.clone().unwrap_or_else(|| gauge.text(row.force_n));
        match means.iter_mut().find(|(force, course)| *force == row.force_n && course.label == label) {
            Some((_, course)) => course.points.push(point),
            None => means.push((row.force_n, Course { label, points: vec![point] })),
        }
    }
    means.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut courses: Vec<Course> = means.into_iter().map(|(_, course)| course).collect();
    if courses.is_empty() {
        for row in results.courses.iter().filter(|row| row.field_id == field.field_id && row.season == field.season) {
            let Some(point) = row.hours.zip(row.share).map(|(hours, share)| (hours, share * 100.0)) else { continue };
            match courses.iter_mut().find(|course| course.label == row.strip_id) {
                Some(course) => course.points.push(point),
                None => courses.push(Course { label: row.strip_id.clone(), points: vec![point] }),
            }
        }
        if courses.len() > TOLD_APART {
            courses.clear();
        }
    }
    for course in &mut courses {
        course.points.sort_by(|a, b| a.0.total_cmp(&b.0));
    }
    courses
}

fn finding(chart: &FieldChart, field: &FieldSeasonRow) -> String {
    let share = chart.response.scale == crate::response::Scale::Share;
    let shown = |value: f64| chart.response.value(if share { value / 100.0 } else { value }, None);
    let values = || chart.strips.iter().map(|strip| strip.y);
    let (low, high) = (values().fold(f64::INFINITY, f64::min), values().fold(f64::NEG_INFINITY, f64::max));
    let mut words = format!("Chart of field {}, {}. ", field.field_id, field.season);
    if low.is_finite() {
        words.push_str(&format!(
            "{} in {}, from {} to {}. ",
            chart.response.label,
            number::count(chart.strips.len(), "strip", "strips"),
            shown(low),
            shown(high)
        ));
    }
    for (condition, points) in &chart.curves {
        if let Some((first, last)) = points.first().zip(points.last()) {
            words.push_str(&format!(
                "The fitted curve ({condition}) runs from {} to {}. ",
                shown(first.estimate),
                shown(last.estimate)
            ));
        }
    }
    let ends: Vec<String> = chart
        .courses
        .iter()
        .filter_map(|course| {
            course.points.last().map(|last| format!("{} {}", course.label, number::percent(last.1 / 100.0)))
        })
        .collect();
    if !ends.is_empty() {
        words.push_str(&format!("Seeds up at the last inspection: {}.", ends.join(", ")));
    }
    words.trim_end().to_owned()
}

/// The fields of the page, grouped by client and farm, with the charts that were painted for them.
pub(crate) fn groups(results: &Results, drawn: &[DrawnField], painted: &[&str]) -> Vec<FieldGroup> {
    let mut groups: Vec<FieldGroup> = Vec::new();
    for field in ordered(results) {
        let title = match (&field.client, &field.farm) {
            (Some(client), Some(farm)) => Some(format!("{client} · {farm}")),
            (Some(owner), None) | (None, Some(owner)) => Some(owner.clone()),
            (None, None) => None,
        };
        let chart = drawn.iter().position(|chart| chart.field_id == field.field_id && chart.season == field.season);
        let view = view(results, field, chart.map(|index| (&drawn[index], painted[index])));
        match groups.last_mut() {
            Some(group) if group.title == title => group.fields.push(view),
            _ => groups.push(FieldGroup { title, fields: vec![view] }),
        }
    }
    groups
}

fn view(results: &Results, field: &FieldSeasonRow, chart: Option<(&DrawnField, &str)>) -> FieldView {
    const FINDINGS: usize = 12;
    let own: Vec<&FindingRow> = results
        .findings
        .iter()
        .filter(|row| row.field_id.as_deref() == Some(&field.field_id) && row.season == Some(field.season))
        .collect();
    FieldView {
        title: format!("{}, {}", field.field_id, field.season),
        kind: match field.kind.as_deref() {
            Some("trial") => "A trial: settings varied inside the field.",
            Some("log") => "A log: one setting over the whole field, so it is compared with other fields only.",
            Some("none") => "No setting was recorded.",
            _ => "",
        }
        .to_owned(),
        facts: facts(field),
        finding: chart.map_or_else(String::new, |(drawn, _)| drawn.alt.clone()),
        figure: chart.map(|(drawn, svg)| Figure { svg: svg.to_owned(), file: drawn.file.clone() }),
        strips: strip_table(results, field),
        findings: own.iter().take(FINDINGS).map(|row| FindingView::of(row)).collect(),
        findings_left: own.len().saturating_sub(FINDINGS),
    }
}

fn facts(field: &FieldSeasonRow) -> Vec<(String, String)> {
    let count = |value: Option<i64>| value.map(number::grouped);
    let planted =
        field.planted_at.map(|moment| format!("{} (UTC)", number::calendar_day(moment.days().floor() as i64)));
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
    const SHOWN: usize = 60;
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
            row
        })
        .collect();
    let mut head = ["Strip", "Block", "Condition", "Setting"].map(str::to_owned).to_vec();
    head.extend(shown.iter().map(|response| response.label.clone()));
    let left = strips.len().saturating_sub(SHOWN);
    Some(WordTable {
        caption: format!("The strips of {}, {}", field.field_id, field.season),
        head,
        rows,
        rest: (left > 0).then(|| format!("{left} more strips are in results/strips.csv.")),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::made_up;

    #[test]
    fn positions_without_forces_stand_in_order_and_not_on_a_force_axis() {
        let mut results = Results::default();
        results.field_seasons.push(made_up::field_season("West", 2025));
        for (number, position) in ["10", "2", "1", "10", "2", "1"].into_iter().enumerate() {
            let mut strip = made_up::strip("West", 2025, &number.to_string());
            strip.closing_position = Some(position.to_owned());
            strip.block = Some((number / 3 + 1).to_string());
            strip.on_time_share = Some(0.6 + 0.02 * number as f64);
            results.strips.push(strip);
        }
        let charts = field_charts(&results, &mut Names::default());
        assert_eq!(charts.len(), 1);
        assert_eq!(charts[0].chart.across, Across::Labels(["1", "2", "10"].map(str::to_owned).to_vec()));
        assert_eq!(charts[0].chart.strips.len(), 6);
    }

    #[test]
    fn a_field_without_settings_or_counts_has_no_chart_but_keeps_its_facts() {
        let mut results = Results::default();
        results.field_seasons.push(made_up::field_season("West", 2025));
        results.strips.push(made_up::strip("West", 2025, "1"));
        let charts = field_charts(&results, &mut Names::default());
        assert!(charts.is_empty());
        let groups = groups(&results, &charts, &[]);
        assert!(groups[0].fields[0].figure.is_none());
        assert!(groups[0].fields[0].facts.contains(&("Planted".to_owned(), "2025-04-26 (UTC)".to_owned())));
    }

    #[test]
    fn fields_that_slug_alike_get_files_of_their_own() {
        let mut results = Results::default();
        for field in ["North 40", "north-40"] {
            results.field_seasons.push(made_up::field_season(field, 2025));
            let mut strip = made_up::strip(field, 2025, "1");
            strip.force_n = Some(200.0);
            strip.on_time_share = Some(0.7);
            results.strips.push(strip);
        }
        let files: Vec<String> =
            field_charts(&results, &mut Names::default()).into_iter().map(|chart| chart.file).collect();
        assert_eq!(files, ["field-north-40-2025", "field-north-40-2025-2"]);
    }
}
