//! Pairs of gauge wheel and closer that do not usually stand together: a note, never a verdict.

use std::collections::{BTreeMap, BTreeSet};

use evenstand_settings::Settings;
use evenstand_tables::Finding;
use evenstand_tables::rows::StripRow;

/// A note a planter and unusual pair, by the strips planted, else by the settings.
pub(crate) fn unusual_pairs(strips: &[StripRow], settings: &Settings) -> Vec<Finding> {
    let planted = strips
        .iter()
        .filter_map(|strip| Some((strip.planter_id.clone()?, strip.gauge_wheel.clone()?, strip.closer.clone()?)));
    let stated = settings
        .planters
        .iter()
        .filter_map(|planter| Some((planter.id.clone(), planter.gauge_wheel.clone()?, planter.closer.clone())));
    let pairs: BTreeSet<(String, String, String)> = planted.chain(stated).collect();
    pairs
        .into_iter()
        .filter(|(_, wheel, closer)| settings.hardware.is_usual(Some(wheel), closer) == Some(false))
        .map(|(planter, wheel, closer)| {
            let wall = if wheel == "flat" { "a denser wall, which wants a closer that presses more" } else { "a looser wall" };
            let plain = |word: &str| word.replace('_', " ");
            let message = format!(
                "planter {planter}: {} behind gauge wheels of kind {} are not a usual pair (common practice, no source); such wheels leave {wall}",
                plain(&closer),
                plain(&wheel)
            );
            Finding::note("unusual_pair", message)
                .remedy("dig before judging it; which pairs are usual stands in evenstand.toml as [hardware] usual_pairs")
        })
        .collect()
}

/// Gauge wheels that a log names otherwise than the settings do: a note a planter.
pub(crate) fn wheels_that_disagree(strips: &[StripRow], settings: &Settings) -> Vec<Finding> {
    let mut logged: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    for strip in strips {
        if let (Some(planter), Some(wheel)) = (strip.planter_id.as_deref(), strip.gauge_wheel.as_deref()) {
            logged.entry(planter).or_default().insert(wheel);
        }
    }
    logged
        .into_iter()
        .filter_map(|(planter, wheels)| {
            let stated = settings.planter(planter).gauge_wheel?;
            let other: Vec<&str> = wheels.into_iter().filter(|wheel| *wheel != stated).collect();
            let message = format!(
                "planter {planter}: the setting log names gauge wheels of kind {}, the settings {}; each strip has what its log says",
                other.join(", ").replace('_', " "),
                stated.replace('_', " ")
            );
            (!other.is_empty()).then(|| {
                Finding::note("gauge_wheel_disagrees", message)
                    .remedy("correct the one that is wrong; wheels that were changed on purpose may stay")
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn notes(planter_wheel: &str, strip_wheel: Option<&str>) -> usize {
        let settings = Settings::parse(&format!(
            "[[planter]]\nid = \"p\"\ncloser = \"angled_press_wheels\"\ngauge_wheel = \"{planter_wheel}\""
        ))
        .unwrap();
        let strip = StripRow {
            planter_id: Some("p".into()),
            closer: Some("angled_press_wheels".into()),
            gauge_wheel: strip_wheel.map(Into::into),
            ..StripRow::default()
        };
        unusual_pairs(&[strip.clone(), strip], &settings).len()
    }

    #[test]
    fn an_unusual_pair_is_noted_once_and_a_usual_one_is_not() {
        assert_eq!(notes("flat", None), 0);
        assert_eq!(notes("reduced_inner_diameter", None), 1);
        assert_eq!(notes("reduced_inner_diameter", Some("reduced_inner_diameter")), 1);
        assert_eq!(notes("flat", Some("reduced_inner_diameter")), 1);
    }

    #[test]
    fn a_log_that_names_another_wheel_than_the_settings_is_noted() {
        let settings = Settings::parse("[[planter]]\nid = \"p\"\ngauge_wheel = \"flat\"").unwrap();
        let strip = |wheel: &str| StripRow {
            planter_id: Some("p".into()),
            gauge_wheel: Some(wheel.into()),
            ..StripRow::default()
        };
        assert!(wheels_that_disagree(&[strip("flat")], &settings).is_empty());
        assert_eq!(wheels_that_disagree(&[strip("flat"), strip("reduced_inner_diameter")], &settings).len(), 1);
    }
}
