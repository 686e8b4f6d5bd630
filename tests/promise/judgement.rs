//! Is the judging itself right? Records made up by hand, and the figures that must come of them.

use crate::calibration::classes;
use crate::files::{figures_csv, records_csv, records_header};
use crate::judge::{Record, judge};
use crate::lines::Line;
use crate::notebook::{Run, notebook};
use crate::scenarios::{large, scenarios, world};
use crate::tally::{Estimate, Tally, tally};
use crate::truth::Truth;
use crate::world::{Condition, Curve, Layout, World};

fn record(seed: u64, evidence: &str, near: f64) -> Record {
    Record { seed, evidence: evidence.into(), near, shape: "inside".into(), ..Record::default() }
}

#[test]
fn a_mean_over_reviews_has_the_textbook_error() {
    let records: Vec<Record> = [0.2, 0.4, 0.9].iter().zip(1..).map(|(near, seed)| record(seed, "", *near)).collect();
    let mean = Estimate::mean(&records, |record| Some(record.near));
    assert!((mean.value.unwrap() - 0.5).abs() < 1e-12);
    // Standard deviation √0.13 over √3.
    assert!((mean.error.unwrap() - (0.13_f64 / 3.0).sqrt()).abs() < 1e-12);
    assert_eq!(Estimate::mean(&records, |_| None), Estimate::default());
    assert_eq!(Estimate::mean(&records[..1], |record| Some(record.near)).error, None);
}

#[test]
fn conditions_of_one_review_count_as_one_for_the_error() {
    let once: Vec<Record> = [0.2, 0.4, 0.9].iter().zip(1..).map(|(near, seed)| record(seed, "", *near)).collect();
    let four_times: Vec<Record> = once.iter().flat_map(|record| vec![record.clone(); 4]).collect();
    let of = |records: &[Record]| Estimate::mean(records, |record| Some(record.near));
    assert!((of(&once).error.unwrap() - of(&four_times).error.unwrap()).abs() < 1e-12);
    assert_eq!(of(&four_times).count, 12);
}

fn inside() -> World {
    world("made up", 190.0, vec![large(Curve::parabola(0.1, 1.5), 5)])
}

fn only(world: &World, records: &[Record]) -> Tally {
    tally(world, records).remove(0)
}

#[test]
fn settled_starts_that_are_right_too_rarely_miss_their_line() {
    let world = inside();
    let of = |near: f64| -> Vec<Record> { (0..400).map(|seed| record(seed, "settled", near)).collect() };
    assert_eq!(Line::SettledRight.misses(&only(&world, &of(0.8))), []);
    // 0.79 of 400 is within two standard errors (0.02 each) of 0.80, 0.70 is not.
    let found = Line::SettledRight.misses(&only(&world, &of(0.79)));
    assert!(found.len() == 1 && found[0].within_error, "{found:?}");
    let found = Line::SettledRight.misses(&only(&world, &of(0.7)));
    assert!(found.len() == 1 && !found[0].within_error, "{found:?}");
    let leaning: Vec<Record> = (0..400).map(|seed| record(seed, "leaning", 0.1)).collect();
    assert!(!Line::SettledRight.applies(&only(&world, &leaning)));
}

#[test]
fn coverage_is_asked_only_of_answers_that_claim_evidence() {
    let covered =
        |evidence: &str, covered: f64, seed: u64| Record { covered: Some(covered), ..record(seed, evidence, 1.0) };
    let mixed: Vec<Record> = (0..100)
        .map(|seed| if seed < 50 { covered("open", 0.0, seed) } else { covered("leaning", 0.9, seed) })
        .collect();
    let row = only(&inside(), &mixed);
    assert_eq!(Line::Coverage.misses(&row), []);
    assert!((row.covered.value.unwrap() - 0.45).abs() < 1e-12);
    let narrow: Vec<Record> = (0..100).map(|seed| covered("leaning", 0.5, seed)).collect();
    assert_eq!(Line::Coverage.misses(&only(&inside(), &narrow)).len(), 1);
}

#[test]
fn a_shape_named_where_force_does_nothing_misses_its_line() {
    let flat = world("made up", 190.0, vec![large(Curve::Flat, 5)]);
    let named: Vec<Record> = (0..100).map(|seed| record(seed, "leaning", 1.0)).collect();
    assert_eq!(Line::FlatIsFlat.misses(&only(&flat, &named)).len(), 1);
    assert_eq!(Line::FlatIsFlat.misses(&only(&inside(), &named)), []);
    let told: Vec<Record> = named.iter().map(|record| Record { shape: "flat".into(), ..record.clone() }).collect();
    assert_eq!(Line::FlatIsFlat.misses(&only(&flat, &told)), []);
}

#[test]
fn a_loss_above_a_rivals_misses_its_line_and_logs_may_not_be_settled() {
    let logs = World { layout: Layout::Logs { seasons: 4, correlation: 0.5 }, ..inside() };
    let costly = |seed: u64| Record {
        loss: 0.02 + 0.001 * (seed % 3) as f64,
        rivals: [0.5, 0.01, 0.5, 0.5],
        ..record(seed, "settled", 1.0)
    };
    let row = only(&logs, &(0..90).map(costly).collect::<Vec<_>>());
    let found = Line::NoWorse.misses(&row);
    assert!(found.len() == 1 && found[0].what.contains("best mean"), "{found:?}");
    assert_eq!(Line::LogsNeverSettled.misses(&row).len(), 1);
    assert!(!Line::LogsNeverSettled.applies(&only(&inside(), &[record(1, "settled", 1.0)])));
}

#[test]
fn an_answer_that_cannot_be_used_counts_as_a_failure_and_stays_at_the_default() {
    // No strip is in the second condition, so no row answers for it.
    let mut world = inside();
    world.conditions.push(Condition { name: "never planted", field_seasons: 0, ..large(Curve::Flat, 0) });
    let truths: Vec<Truth> = world.conditions.iter().map(|condition| Truth::new(&world, condition)).collect();
    let records = judge(&world, &truths, 1, 200);
    assert_eq!(records.len(), 2);
    assert_eq!(records[0].failure, None);
    assert_eq!(records[1].failure.as_deref(), Some("no row that decides"));
    assert_eq!((records[1].acted_n, records[1].moved()), (190.0, false));
    let row = only(&world, &records);
    assert_eq!((row.failures, row.reviews, row.loss.count), (1, 1, 2));
    assert_eq!(Line::NoFailure.misses(&row).len(), 1);
}

#[test]
fn said_and_kept_are_sorted_by_what_was_said() {
    let said = |said: f64, near: f64, seed: u64| Record { said: Some(said), ..record(seed, "leaning", near) };
    let found = classes(vec![said(0.85, 1.0, 2), said(0.55, 0.2, 1), said(0.89, 0.5, 1), said(1.0, 0.9, 3)]);
    let eighties = &found[3];
    assert_eq!((eighties.from, eighties.to, eighties.kept.count), (0.8, 0.9, 2));
    assert!((eighties.said.value.unwrap() - 0.87).abs() < 1e-12);
    assert!((eighties.kept.value.unwrap() - 0.75).abs() < 1e-12);
    assert_eq!(found[5].kept.value, Some(0.9));
    assert_eq!(found[1].kept.value, None);
}

#[test]
fn the_same_seeds_give_the_same_page_and_files() {
    let named = |world: &World| world.name == "four conditions, modest" || world.name.starts_with("logs, inside");
    let write = || {
        let (mut tallies, mut records, mut rows) = (Vec::new(), Vec::new(), records_header());
        for world in scenarios().into_iter().filter(named) {
            let truths: Vec<Truth> = world.conditions.iter().map(|condition| Truth::new(&world, condition)).collect();
            let judged: Vec<Record> = (1..=2).flat_map(|seed| judge(&world, &truths, seed, 200)).collect();
            rows.push_str(&records_csv(&world.name, &judged));
            tallies.extend(tally(&world, &judged));
            records.extend(judged);
        }
        let run = Run { reviews: 2, draws: 200, first_seed: 1, scenarios: vec!["four".into()], file: "page.md".into() };
        let classes = classes(records);
        (notebook(&run, &tallies, &classes, &[], &[]), figures_csv(&tallies), rows)
    };
    let (page, figures, rows) = write();
    assert_eq!((page.clone(), figures.clone(), rows.clone()), write());
    assert!(page.contains("--reviews 2 --draws 200 --first-seed 1 --scenario \"four\" --notebook page.md"), "{page}");
    assert!(!page.contains("NaN") && !figures.contains("NaN") && !rows.contains("NaN"));
    // A row of figures has as many cells as the header; a scenario's comma stands in quotes.
    let mut reader = csv_rows(&rows);
    let width = reader.next().unwrap();
    assert_eq!(width, 26);
    assert!(reader.all(|cells| cells == width));
    assert_eq!(csv_rows(&rows).count(), 1 + 2 * 6);
}

/// Number of cells of each line; commas in quotes do not part cells.
fn csv_rows(text: &str) -> impl Iterator<Item = usize> {
    text.lines().map(|line| 1 + line.split('"').step_by(2).map(|part| part.matches(',').count()).sum::<usize>())
}
