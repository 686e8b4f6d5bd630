use evenstand_tables::rows::{StripMeasureRow, StripRow};

use super::*;
use crate::observations::observations;
use crate::response::Measures;

/// A trial of two closers and two forces in `blocks` blocks of each of `fields` field-seasons; the shares are made from small primes.
fn trial(fields: usize, blocks: usize) -> Vec<StripRow> {
    let mut strips = Vec::new();
    for field in 0..fields {
        for block in 0..blocks {
            for closer in 0..2 {
                for force in 0..2 {
                    let number = (field * blocks + block) * 4 + closer * 2 + force;
                    let noise = 0.01 * ((number * number * 7 + number * 5) % 13) as f64;
                    let closer_here = 0.06 * closer as f64 * [1.0, 2.5, 1.4][field];
                    strips.push(StripRow {
                        field_id: format!("F{field}"),
                        season: 2025,
                        strip_id: number.to_string(),
                        block: Some(block.to_string()),
                        condition: "moist".into(),
                        closer: Some(["discs", "wheels"][closer].into()),
                        force_n: Some([100.0, 200.0][force]),
                        force_source: Some("set_force".into()),
                        seeds_sown: Some(400.0),
                        emerged_share: Some(0.5 + closer_here + noise),
                        usable: Some(true),
                        ..StripRow::default()
                    });
                }
            }
        }
    }
    strips
}

fn found(strips: &[StripRow], measures: &[StripMeasureRow], covariates: &[&str]) -> Vec<FactorRow> {
    let measures = Measures::new(measures);
    let emerged = Response::all(&measures).into_iter().find(|own| own.name == "emerged_share").unwrap();
    let observed = observations(strips, &measures, &emerged, &Axis::Force).unwrap();
    let names: Vec<String> = covariates.iter().map(|name| (*name).to_owned()).collect();
    factor_rows(&observed, &emerged, &Axis::Force, None, &Before { names: &names, measures: &measures })
}

fn over_all<'a>(rows: &'a [FactorRow], term: &str) -> &'a FactorRow {
    rows.iter().find(|row| row.field_id.is_none() && row.term == term).unwrap()
}

/// In a balanced layout the test over all is Student's t of the differences of the field-seasons, squared.
#[test]
fn over_all_field_seasons_a_factor_is_held_against_how_it_differs_between_them() {
    let strips = trial(3, 3);
    let rows = found(&strips, &[], &[]);
    let differences: Vec<f64> = (0..3)
        .map(|field| {
            let mean_of = |closer: &str| {
                let own = strips
                    .iter()
                    .filter(|strip| strip.field_id == format!("F{field}") && strip.closer.as_deref() == Some(closer));
                crate::summary::mean(&own.filter_map(|strip| strip.emerged_share).collect::<Vec<_>>())
            };
            mean_of("wheels") - mean_of("discs")
        })
        .collect();
    let mean = crate::summary::mean(&differences);
    let t = mean / (crate::summary::standard_deviation(&differences) / 3.0_f64.sqrt());
    let closer = over_all(&rows, "closer");
    assert!((closer.f_value.unwrap() / (t * t) - 1.0).abs() < 1e-5, "{closer:?} {t}");
    assert!((closer.denominator_df.unwrap() - 2.0).abs() < 1e-4);
    assert!((closer.size.unwrap() - mean).abs() < 1e-9);
    assert_eq!(closer.size_of.as_deref(), Some("wheels − discs"));
    assert!(closer.method.as_ref().unwrap().contains("field-season × closer"), "{closer:?}");
    // Each field-season for itself: closers on whole plots, against three blocks.
    let alone = rows.iter().find(|row| row.field_id.as_deref() == Some("F1") && row.term == "closer").unwrap();
    assert!(alone.method.as_ref().unwrap().contains("random block × closer"), "{alone:?}");
}

#[test]
fn an_interaction_without_all_combinations_says_which_are_missing() {
    let mut strips = trial(1, 3);
    strips.retain(|strip| !(strip.closer.as_deref() == Some("wheels") && strip.force_n == Some(200.0)));
    let rows = found(&strips, &[], &[]);
    let interaction = over_all(&rows, "force × closer");
    assert_eq!(interaction.p_value, None);
    let reason = interaction.reason.as_deref().unwrap();
    assert_eq!(reason, "no strip had 200 N with wheels; an interaction needs every combination");
    assert!(over_all(&rows, "closer").p_value.is_some());
}

#[test]
fn factors_that_go_together_are_not_tested_and_say_so() {
    let mut strips = trial(1, 3);
    strips.retain(|strip| (strip.closer.as_deref() == Some("wheels")) == (strip.force_n == Some(200.0)));
    let rows = found(&strips, &[], &[]);
    let closer = over_all(&rows, "closer");
    assert!(closer.p_value.is_none() && closer.size.is_none());
    assert!(closer.reason.as_deref().unwrap().contains("cannot be told from the other factors"), "{closer:?}");
}

#[test]
fn a_trial_of_one_factor_has_no_rows() {
    let mut strips = trial(2, 3);
    strips.retain(|strip| strip.closer.as_deref() == Some("discs"));
    assert!(found(&strips, &[], &[]).is_empty());
}

#[test]
fn a_covariate_that_nobody_measured_is_a_finding_with_the_names_there_are() {
    let row = StripMeasureRow { name: "yield_before".into(), ..StripMeasureRow::default() };
    let measures = [row];
    let measures = Measures::new(&measures);
    let names = ["measure:yeld".to_owned(), "measure:yield_before".to_owned()];
    let findings = Before { names: &names, measures: &measures }.findings();
    assert_eq!(findings.len(), 1);
    assert!(findings[0].message.contains("measure:yeld,"), "{}", findings[0].message);
    assert_eq!(findings[0].remedy.as_deref(), Some("name one of measure:yield_before in covariates"));
}

#[test]
fn a_measure_taken_before_adjusts_where_all_strips_have_it() {
    let strips = trial(1, 5);
    let before = |left_out: usize| -> Vec<StripMeasureRow> {
        let of = |strip: &StripRow| StripMeasureRow {
            field_id: strip.field_id.clone(),
            season: strip.season,
            strip_id: strip.strip_id.clone(),
            name: "yield_before".into(),
            // What strips of the trial differ by apart from the closer, and something else.
            value: strip.emerged_share.map(|share| {
                let closer = 0.06 * f64::from(u8::from(strip.closer.as_deref() == Some("wheels")));
                let number: usize = strip.strip_id.parse().unwrap();
                100.0 * (share - closer) + 0.4 * ((number * 11) % 5) as f64
            }),
            ..StripMeasureRow::default()
        };
        strips.iter().skip(left_out).map(of).collect()
    };
    let plain = over_all(&found(&strips, &[], &[]), "closer").clone();
    let rows = found(&strips, &before(0), &["measure:yield_before"]);
    let adjusted = over_all(&rows, "closer");
    assert!(adjusted.size_std_error.unwrap() < 0.3 * plain.size_std_error.unwrap(), "{plain:?} {adjusted:?}");
    assert!((adjusted.size.unwrap() - 0.06).abs() < 0.01, "{adjusted:?}");
    let slope = over_all(&rows, "measure:yield_before");
    assert!(slope.size_low.unwrap() < 0.01 && slope.size_high.unwrap() > 0.008, "{slope:?}");
    let rows = found(&strips, &before(2), &["measure:yield_before"]);
    let method = over_all(&rows, "closer").method.clone().unwrap();
    assert!(method.ends_with("not adjusted: 2 strips have no measure:yield_before"), "{method}");
}
