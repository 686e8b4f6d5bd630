//! The chart of a field-season: what is drawn, and what it shows in words.

use evenstand_tables::rows::{FieldSeasonRow, StripRow};

use crate::charts::field::{Across, Course, FieldChart, StripDot};
use crate::charts::panel::CurvePoint;
use crate::picture::Picture;
use crate::results::Results;
use crate::slug::{Names, slug};
use crate::words::fields::strips_of;
use crate::words::number;
use crate::words::response::Response;
use crate::words::strip_says::strip_says;
use crate::words::why::curve_point;

/// The chart of a field-season; nothing where it has neither strips to place nor courses.
pub(crate) fn picture(results: &Results, field: &FieldSeasonRow, names: &mut Names) -> Option<Picture> {
    let chart = chart(results, field)?;
    let file = names.unique(&format!("field-{}-{}", slug(&field.field_id), field.season));
    Some(Picture::new(file, finding(&chart, field), chart.sketch()))
}

/// The response a field is drawn by: the one that decides, else the first of the usual ones that was measured.
pub(crate) fn response_of(results: &Results, strips: &[&StripRow]) -> Response {
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
        .filter_map(|strip| {
            Some(StripDot {
                x: place(strip)?,
                y: value(strip)?,
                block: block_of(strip),
                says: strip_says(results, strip, &response, gauge),
            })
        })
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
    let rows = results.field_curves.of_field_season(&field.field_id, field.season);
    for row in rows.into_iter().filter(|row| row.response == response.name) {
        let Some(point) = curve_point(response, gauge, row.force_n, row.estimate, row.low, row.high) else { continue };
        match curves.iter_mut().find(|(condition, _)| *condition == row.condition) {
            Some((_, points)) => points.push(point),
            None => curves.push((row.condition, vec![point])),
        }
    }
    curves
}

/// Mean courses by setting; where there are none, the courses of strips if they are few enough to tell apart.
fn courses(results: &Results, field: &FieldSeasonRow) -> Vec<Course> {
    const TOLD_APART: usize = 6;
    let gauge = results.field_gauge(&field.field_id, field.season);
    let mut means: Vec<(f64, Course)> = Vec::new();
    for row in results.course_means.of_field_season(&field.field_id, field.season) {
        let Some(point) = row.hours.zip(row.share).map(|(hours, share)| (hours, share * 100.0)) else { continue };
        if !point.0.is_finite() || !point.1.is_finite() {
            continue;
        }
        let label = row.label.unwrap_or_else(|| gauge.text(row.force_n));
        match means.iter_mut().find(|(force, course)| *force == row.force_n && course.label == label) {
            Some((_, course)) => course.points.push(point),
            None => means.push((row.force_n, Course { label, points: vec![point] })),
        }
    }
    means.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut courses: Vec<Course> = means.into_iter().map(|(_, course)| course).collect();
    if courses.is_empty() {
        for row in results.courses.of_field_season(&field.field_id, field.season) {
            let Some(point) = row.hours.zip(row.share).map(|(hours, share)| (hours, share * 100.0)) else { continue };
            match courses.iter_mut().find(|course| course.label == row.strip_id) {
                Some(course) => course.points.push(point),
                None => courses.push(Course { label: row.strip_id, points: vec![point] }),
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
    let share = chart.response.scale == crate::words::response::Scale::Share;
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
        let chart = chart(&results, &results.field_seasons[0]).expect("there are strips");
        assert_eq!(chart.across, Across::Labels(["1", "2", "10"].map(str::to_owned).to_vec()));
        assert_eq!(chart.strips.len(), 6);
    }

    #[test]
    fn a_field_without_settings_or_counts_has_no_chart() {
        let mut results = Results::default();
        results.field_seasons.push(made_up::field_season("West", 2025));
        results.strips.push(made_up::strip("West", 2025, "1"));
        assert!(picture(&results, &results.field_seasons[0], &mut Names::default()).is_none());
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
        let mut names = Names::default();
        let files: Vec<String> =
            results.field_seasons.iter().filter_map(|field| Some(picture(&results, field, &mut names)?.file)).collect();
        assert_eq!(files, ["field-north-40-2025", "field-north-40-2025-2"]);
    }
}
