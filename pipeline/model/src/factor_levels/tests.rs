use super::*;
use crate::observations::{Observations, observations};
use crate::response::{Measures, Response};

fn strip(number: usize, force_n: f64) -> StripRow {
    StripRow {
        field_id: "F".into(),
        season: 2025,
        strip_id: number.to_string(),
        condition: "moist".into(),
        force_n: Some(force_n),
        force_source: Some("set_force".into()),
        seeds_sown: Some(400.0),
        emerged_share: Some(0.8),
        usable: Some(true),
        ..StripRow::default()
    }
}

/// Four strips: two forces, each twice, changed by `change`.
fn strips(change: impl Fn(usize, &mut StripRow)) -> Vec<StripRow> {
    (0..4)
        .map(|number| {
            let mut strip = strip(number, [100.0, 200.0][number % 2]);
            change(number, &mut strip);
            strip
        })
        .collect()
}

fn found(strips: &[StripRow]) -> Vec<(&'static str, Vec<String>, Vec<usize>)> {
    let emerged = Response::all(&Measures::new(&[])).into_iter().find(|own| own.name == "emerged_share").unwrap();
    let observed: Observations = observations(strips, &Measures::new(&[]), &emerged, &Axis::Force).unwrap();
    let factors = factors_of(&observed.rows.iter().collect::<Vec<_>>(), &Axis::Force);
    factors.into_iter().map(|factor| (factor.name, factor.levels, factor.codes)).collect()
}

fn names(strips: &[StripRow]) -> Vec<&'static str> {
    found(strips).into_iter().map(|(name, ..)| name).collect()
}

#[test]
fn what_varied_is_a_factor_and_what_did_not_or_is_not_known_of_all_strips_is_none() {
    let all = strips(|number, strip| {
        strip.closer = Some(["discs", "wheels"][number / 2].into());
        strip.depth_stop = Some("2".into());
        strip.gauge_wheel = (number > 0).then(|| ["flat", "reduced_inner_diameter"][number / 2].into());
    });
    assert_eq!(names(&all), ["force", "closer"]);
    assert_eq!(found(&all)[1].1, ["discs", "wheels"]);
}

#[test]
fn speeds_are_classes_where_they_lie_further_apart_than_a_planter_wanders() {
    let slow = strips(|number, strip| strip.speed_m_s = Some([1.98, 2.02, 2.05, 2.1][number]));
    assert_eq!(names(&slow), ["force"]);
    let two = strips(|number, strip| strip.speed_m_s = Some([2.0, 2.1, 2.9, 2.7][number]));
    assert_eq!(found(&two)[1], ("speed", vec!["2.0 m/s".into(), "2.8 m/s".into()], vec![0, 0, 1, 1]));
}

#[test]
fn a_treatment_counts_only_where_it_says_more_than_the_other_factors() {
    let of_force = strips(|number, strip| strip.treatment = Some(["light", "heavy"][number % 2].into()));
    assert_eq!(names(&of_force), ["force"]);
    let of_both = strips(|number, strip| {
        strip.closer = Some(["discs", "wheels"][number / 2].into());
        strip.treatment = Some(["A", "B", "C", "D"][number].into());
    });
    assert_eq!(names(&of_both), ["force", "closer"]);
    let own = strips(|number, strip| strip.treatment = Some(["with starter", "without"][number / 2].into()));
    assert_eq!(names(&own), ["force", "treatment"]);
}

#[test]
fn positions_of_two_planters_are_no_levels_of_one_factor() {
    let two = strips(|number, strip| {
        strip.planter_id = Some(["north", "south"][number / 2].into());
        strip.depth_stop = Some(["1", "2"][number % 2].into());
    });
    assert_eq!(names(&two), ["force"]);
}
