//! Stand counts of a strip: shares, times and the course.

use std::collections::BTreeMap;

use evenstand_agronomy::{Course, Crossing, ThermalClock, on_time_count, pool, seeds_sown};
use evenstand_tables::rows::{CountRow, FieldRow};
use evenstand_tables::{Finding, Moment};
use jiff::tz::TimeZone;

use crate::course_counts::{CourseCounts, Place};
use crate::force::about;
use crate::key::StripKey;

/// How a strip came up. Every number is missing where it is not defined.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Emergence {
    pub seeds_sown: Option<f64>,
    pub emerged: Option<f64>,
    pub emerged_share: Option<f64>,
    pub on_time_share: Option<f64>,
    pub t10_h: Option<f64>,
    pub t50_h: Option<f64>,
    pub t90_h: Option<f64>,
    pub spread_h: Option<f64>,
    pub mean_emergence_h: Option<f64>,
    pub t10_cd: Option<f64>,
    pub t50_cd: Option<f64>,
    pub t90_cd: Option<f64>,
    pub spread_cd: Option<f64>,
    pub mean_emergence_cd: Option<f64>,
    /// What a course is fitted to, or why there can be none.
    pub counts: Option<Result<CourseCounts, &'static str>>,
    pub synchrony: Option<f64>,
    pub samples: i64,
    /// Hours from planting and share of the seeds sown, by inspection; empty for a final stand.
    pub course: Vec<(f64, f64)>,
    /// Whether more plants came up than seeds were sown.
    pub over_full: bool,
}

/// What counts of a strip are read with.
pub(crate) struct CountContext<'a> {
    pub field: Option<&'a FieldRow>,
    pub planted_at: Option<Moment>,
    pub window_h: f64,
    /// Degree-days of the field, and the zone its days of weather are days of.
    pub clock: Option<(&'a ThermalClock, TimeZone)>,
}

/// The counts of one counted place.
struct Sample {
    inspections: BTreeMap<Moment, i64>,
    /// Counts that say no time: a final stand.
    untimed: Option<i64>,
    seeds: Option<f64>,
}

/// Longest time from planting to a count, in hours: autumn-sown crops are counted in spring.
const LONGEST_SEASON_H: f64 = 366.0 * 24.0;

/// Whether a count can be of this planting: not a day or more before it, nor more than a year after. Where planting is
/// not known, the season's year and the next.
fn of_this_planting(time: Moment, key: &StripKey, planted_at: Option<Moment>) -> bool {
    match planted_at {
        Some(planted_at) => (-24.0..=LONGEST_SEASON_H).contains(&time.hours_since(planted_at)),
        None => (-0.1..=2.1).contains(&time.years_since_start_of(key.field.season)),
    }
}

/// Seeds of a counted place vary around rate × length; only a count further above them than this is a finding by itself.
const SEEDING_SLACK: f64 = 0.08;

/// Works out how a strip came up from its counts, in the order of the files.
pub(crate) fn emergence(
    key: &StripKey,
    rows: &[CountRow],
    context: &CountContext,
    findings: &mut Vec<Finding>,
) -> Emergence {
    let (rows, outside): (Vec<&CountRow>, Vec<&CountRow>) =
        rows.iter().partition(|row| row.counted_at.is_none_or(|time| of_this_planting(time, key, context.planted_at)));
    if let Some(first) = outside.first() {
        findings.push(
            about(
                Finding::warning(
                    "count_outside_season",
                    format!("{} counts are dated before planting or long after it; they are not used", outside.len()),
                ),
                key,
            )
            .source(&first.source_file, Some(first.source_row))
            .remedy("check the dates of the counts, the planting date and the season"),
        );
    }
    let samples = samples(key, &rows, context.field, findings);
    let mut result = Emergence { samples: samples.len() as i64, ..Emergence::default() };
    if samples.is_empty() {
        return result;
    }
    let finals: Vec<i64> =
        samples.values().filter_map(|sample| sample.inspections.values().last().copied().or(sample.untimed)).collect();
    let emerged = finals.iter().sum::<i64>() as f64;
    result.emerged = Some(emerged);
    result.seeds_sown = samples.values().map(|sample| sample.seeds).sum::<Option<f64>>().filter(|seeds| *seeds > 0.0);
    match result.seeds_sown {
        Some(seeds) => {
            result.emerged_share = Some(emerged / seeds);
            result.over_full = emerged > seeds;
        }
        None => findings.push(
            about(Finding::warning("no_seeds", "seeds sown are not known, so no share can be told"), key)
                .source(&rows[0].source_file, Some(rows[0].source_row))
                .remedy("give seeds_sown, or row_length with the field's seed_rate (or seed_spacing) and row_spacing"),
        ),
    }
    if result.over_full {
        findings.push(
            about(
                Finding::warning(
                    "more_plants_than_seeds",
                    format!(
                        "{emerged:.0} plants from {:.0} seeds; the strip is left out of the models of counts",
                        result.seeds_sown.unwrap_or_default()
                    ),
                ),
                key,
            )
            .source(&rows[0].source_file, Some(rows[0].source_row))
            .remedy("check the counts, the row length and the seed rate"),
        );
    }
    for (name, sample) in samples.iter().filter(|_| !result.over_full) {
        let most = sample.inspections.values().copied().chain(sample.untimed).max().unwrap_or(0) as f64;
        if let Some(seeds) = sample.seeds.filter(|seeds| most > seeds * (1.0 + SEEDING_SLACK)) {
            findings.push(
                about(
                    Finding::warning(
                        "more_plants_than_seeds",
                        format!("{name}: {most:.0} plants from {seeds:.0} seeds"),
                    ),
                    key,
                )
                .source(&rows[0].source_file, None)
                .remedy("check the count, the row length and the seed rate"),
            );
        }
    }
    course_metrics(key, &samples, context, &mut result, findings);
    result
}

fn course_metrics(
    key: &StripKey,
    samples: &BTreeMap<String, Sample>,
    context: &CountContext,
    result: &mut Emergence,
    findings: &mut Vec<Finding>,
) {
    if samples.values().all(|sample| sample.inspections.len() < 2) {
        return;
    }
    // Without a planting time the clock starts at the first inspection; spread and on-time share do not need it.
    let start = context
        .planted_at
        .or_else(|| samples.values().filter_map(|sample| sample.inspections.keys().next()).min().copied());
    let Some(start) = start else { return };
    let courses: Vec<Course> = samples
        .values()
        .filter(|sample| !sample.inspections.is_empty())
        .filter_map(|sample| {
            let (times, counts) =
                sample.inspections.iter().map(|(time, count)| (time.hours_since(start), *count as f64)).unzip();
            Course::new(times, counts).ok()
        })
        .collect();
    let Some(course) = pool(&courses) else { return };
    if let (Some(seeds), Some(_)) = (result.seeds_sown, context.planted_at) {
        result.course =
            course.times().iter().zip(course.cumulative()).map(|(hours, count)| (*hours, count / seeds)).collect();
    }
    let t10 = course.time_to_share(0.1);
    if t10 == Crossing::BeforeFirstInspection {
        findings.push(
            about(Finding::warning("t10_before_first_inspection", "more than a tenth of the plants were up at the first inspection, so T10, spread and on-time share cannot be told"), key)
                .remedy("next season, start inspecting before the first plants are up"),
        );
    }
    let (t50, t90) = (course.time_to_share(0.5).time(), course.time_to_share(0.9).time());
    let t10 = t10.time();
    result.spread_h = t90.zip(t10).map(|(t90, t10)| t90 - t10);
    if let (Some(seeds), Some(on_time)) = (result.seeds_sown, on_time_count(&course, context.window_h)) {
        result.on_time_share = Some(on_time.plants / seeds);
        if on_time.ended_early {
            findings.push(
                about(Finding::note("course_ended_early", "inspections ended before the on-time window closed; plants that came later are not known, so the on-time share may be told too high"), key)
                    .remedy("next season, inspect until no new plants come up"),
            );
        }
    }
    result.synchrony = course.synchrony();
    if let Some(planted_at) = context.planted_at {
        (result.t10_h, result.t50_h, result.t90_h, result.mean_emergence_h) = (t10, t50, t90, course.mean_time());
        thermal_metrics(planted_at, &course, context, result);
        if !result.over_full {
            result.counts = Some(CourseCounts::new(&places(samples, planted_at)));
        }
    }
}

/// The inspected places of a strip as the fit of the course takes them.
fn places(samples: &BTreeMap<String, Sample>, planted_at: Moment) -> Vec<Place> {
    samples
        .values()
        .filter(|sample| !sample.inspections.is_empty())
        .map(|sample| Place {
            hours: sample.inspections.keys().map(|time| time.hours_since(planted_at)).collect(),
            plants: sample.inspections.values().copied().collect(),
            seeds: sample.seeds,
        })
        .collect()
}

/// Days since 1970-01-01 on the local calendar, `hours` after a moment.
pub(crate) fn local_days(moment: Moment, hours: f64, zone: &TimeZone) -> f64 {
    let microseconds = moment.0 + (hours * 3.6e9).round() as i64;
    let offset = jiff::Timestamp::from_microsecond(microseconds).map_or(0, |time| zone.to_offset(time).seconds());
    microseconds as f64 / 8.64e10 + f64::from(offset) / 86_400.0
}

fn thermal_metrics(planted_at: Moment, course: &Course, context: &CountContext, result: &mut Emergence) {
    let Some((clock, zone)) = &context.clock else { return };
    let degree_days = |hours: Option<f64>| {
        clock.degree_days_between(local_days(planted_at, 0.0, zone), local_days(planted_at, hours?, zone))
    };
    result.t10_cd = degree_days(result.t10_h);
    result.t50_cd = degree_days(result.t50_h);
    result.t90_cd = degree_days(result.t90_h);
    result.spread_cd = result.t90_cd.zip(result.t10_cd).map(|(t90, t10)| t90 - t10);
    // The mean of thermal times is not the thermal time of the mean: it is taken over the inspections.
    let new: Vec<f64> = course.newly_emerged();
    let weighted: Option<f64> = course
        .times()
        .iter()
        .zip(&new)
        .filter(|(_, new)| **new != 0.0)
        .map(|(hours, new)| degree_days(Some(*hours)).map(|cd| cd * new))
        .sum();
    let total: f64 = new.iter().sum();
    result.mean_emergence_cd = result.mean_emergence_h.and(weighted).map(|sum| sum / total);
}

/// Sorts count rows into counted places.
fn samples(
    key: &StripKey,
    rows: &[&CountRow],
    field: Option<&FieldRow>,
    findings: &mut Vec<Finding>,
) -> BTreeMap<String, Sample> {
    let mut samples: BTreeMap<String, Sample> = BTreeMap::new();
    let mut unnamed: BTreeMap<Option<Moment>, usize> = BTreeMap::new();
    for row in rows {
        let name =
            row.sample_id.clone().or_else(|| row.row_unit.as_ref().map(|unit| format!("row {unit}"))).unwrap_or_else(
                || {
                    // Counts that name no place: the first of each time belong together, then the second, and so on.
                    let place = unnamed.entry(row.counted_at).or_default();
                    *place += 1;
                    format!("place {place}")
                },
            );
        let sample =
            samples.entry(name.clone()).or_insert(Sample { inspections: BTreeMap::new(), untimed: None, seeds: None });
        sample.seeds = sample.seeds.or_else(|| seeds_of(row, field));
        let earlier = match row.counted_at {
            Some(time) => sample.inspections.insert(time, row.emerged),
            None => sample.untimed.replace(row.emerged),
        };
        if let Some(earlier) = earlier {
            let message = if earlier == row.emerged {
                format!("{name} has the same count ({earlier}) twice at one time; it is used once")
            } else {
                format!("{name} has two counts at one time ({earlier}, then {}); the last is used", row.emerged)
            };
            findings.push(
                about(Finding::warning("repeated_count", message), key)
                    .source(&row.source_file, Some(row.source_row))
                    .remedy("give each counted place its own sample_id, or remove the row that is wrong"),
            );
        }
    }
    if unnamed.values().any(|count| *count > 1) {
        findings.push(
            about(
                Finding::warning(
                    "repeated_strip",
                    format!(
                        "{} counts of the same time name no sample; they are taken as separate places of this strip",
                        unnamed.values().max().copied().unwrap_or_default()
                    ),
                ),
                key,
            )
            .source(&rows[0].source_file, Some(rows[0].source_row))
            .remedy("give each counted place a sample_id; if two strips carry the same name, rename one of them"),
        );
    }
    for (name, sample) in &samples {
        let counts: Vec<i64> = sample.inspections.values().copied().collect();
        if let Some(fall) = counts.windows(2).position(|pair| pair[1] < pair[0]) {
            findings.push(
                about(Finding::warning("falling_count", format!("{name}: the cumulative count falls from {} to {} at inspection {}", counts[fall], counts[fall + 1], fall + 2)), key)
                    .source(&rows[0].source_file, None)
                    .remedy("check the count; if plants died, write that in a note: times are told from the counts as they stand"),
            );
        }
    }
    samples
}

fn seeds_of(row: &CountRow, field: Option<&FieldRow>) -> Option<f64> {
    if row.seeds_sown.is_some() {
        return row.seeds_sown;
    }
    let field = field?;
    let length = row.row_length_m?;
    match (field.seed_rate_per_m2, field.row_spacing_m, field.seed_spacing_m) {
        (Some(rate), Some(spacing), _) => seeds_sown(rate, length, spacing),
        (_, _, Some(seed_spacing)) if seed_spacing > 0.0 => Some(length / seed_spacing),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn count(sample: &str, hours: i64, emerged: i64) -> CountRow {
        CountRow {
            field_id: "A".into(),
            season: 2025,
            strip_id: "1".into(),
            sample_id: Some(sample.into()),
            row_unit: None,
            row_length_m: None,
            seeds_sown: Some(50.0),
            visit_number: None,
            distance_m: None,
            counted_at: Some(Moment(hours * 3_600_000_000)),
            emerged,
            lat: None,
            lon: None,
            source_file: "stand_count.csv".into(),
            source_row: 2,
            source_sha256: String::new(),
        }
    }

    fn of(rows: &[CountRow]) -> (Emergence, Vec<Finding>) {
        let context = CountContext { field: None, planted_at: Some(Moment(0)), window_h: 48.0, clock: None };
        let mut findings = Vec::new();
        let result = emergence(&StripKey::new("A", 2025, "1"), rows, &context, &mut findings);
        (result, findings)
    }

    #[test]
    fn samples_are_pooled_before_anything_is_worked_out() {
        let rows = [
            ("a", 100, 0),
            ("a", 124, 20),
            ("a", 148, 40),
            ("a", 196, 40),
            ("b", 100, 0),
            ("b", 124, 0),
            ("b", 148, 40),
            ("b", 196, 40),
        ]
        .map(|(sample, hours, emerged)| count(sample, hours, emerged));
        let (result, findings) = of(&rows);
        assert!(findings.is_empty(), "{findings:?}");
        assert_eq!((result.seeds_sown, result.emerged, result.samples), (Some(100.0), Some(80.0), 2));
        // Pooled 0, 20, 80: a tenth (8) at 100 + 24 * 8/20, nine tenths (72) at 124 + 24 * 52/60.
        let t10 = 100.0 + 24.0 * 8.0 / 20.0;
        let t90 = 124.0 + 24.0 * 52.0 / 60.0;
        assert!((result.t10_h.unwrap() - t10).abs() < 1e-12 && (result.spread_h.unwrap() - (t90 - t10)).abs() < 1e-12);
        assert_eq!(result.on_time_share, Some(0.8));
    }

    #[test]
    fn the_on_time_share_is_of_the_seeds_sown_within_the_window_after_t10() {
        let rows = [count("a", 0, 0), count("a", 100, 10), count("a", 200, 20), count("a", 300, 40)];
        let (result, _) = of(&rows);
        // T10 = 4 plants at 40 h; 88 h later-limit gives 8.8 plants of 50 seeds.
        assert!((result.on_time_share.unwrap() - 8.8 / 50.0).abs() < 1e-12);
    }

    #[test]
    fn a_strip_that_was_up_at_the_first_inspection_has_no_t10_and_says_so() {
        let (result, findings) = of(&[count("a", 100, 10), count("a", 200, 40)]);
        assert_eq!((result.t10_h, result.on_time_share, result.spread_h), (None, None, None));
        assert_eq!(findings[0].code, "t10_before_first_inspection");
        assert_eq!(result.emerged_share, Some(0.8));
    }

    #[test]
    fn falling_counts_and_more_plants_than_seeds_are_findings() {
        let (result, findings) = of(&[count("a", 0, 0), count("a", 100, 55), count("a", 200, 52)]);
        let codes: Vec<_> = findings.iter().map(|finding| finding.code.as_str()).collect();
        assert_eq!(codes, ["falling_count", "more_plants_than_seeds"]);
        assert!(result.over_full && result.emerged == Some(52.0));
    }
}
