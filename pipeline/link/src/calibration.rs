//! Calibrations of planters as a table, and what is wrong with them.

use std::collections::BTreeMap;

use evenstand_settings::{Knob, Planter, Settings, Weighed, mean_and_deviation};
use evenstand_stats::distribution::t_quantile;
use evenstand_tables::Finding;
use evenstand_tables::rows::{CalibrationRow, StripRow};

/// A calibration is loose where the force at the default may be off by more than this share of it, either way. Within this share an actual force
/// still counts as following the set one.
const LOOSE: f64 = 0.10;
/// Pressures used this far beyond those weighed, as a share of their span, are extrapolated.
const BEYOND: f64 = 0.10;

/// A row a pressure or position of every calibrated planter.
pub(crate) fn calibrations(settings: &Settings) -> Vec<CalibrationRow> {
    settings.planters.iter().flat_map(of_planter).collect()
}

fn of_planter(planter: &Planter) -> Vec<CalibrationRow> {
    let row = || CalibrationRow { planter_id: planter.id.clone(), ..CalibrationRow::default() };
    match &planter.knob {
        Some(Knob::Pressure { weighed: Some(weighed), .. }) => weighed
            .readings()
            .iter()
            .map(|reading| {
                let (mean_n, deviation_n) = mean_and_deviation(&reading.forces_n);
                let fitted = weighed.at(reading.pressure_kpa);
                let (low_n, high_n) = fitted.interval_n.unzip();
                CalibrationRow {
                    pressure_kpa: Some(reading.pressure_kpa),
                    n_readings: Some(reading.forces_n.len() as i64),
                    mean_n: Some(mean_n),
                    sd_n: deviation_n,
                    fitted_n: Some(fitted.force_n),
                    std_error_n: fitted.std_error_n,
                    low_n,
                    high_n,
                    ..row()
                }
            })
            .collect(),
        Some(Knob::Pressure { calibration: Some(given), .. }) => given
            .points()
            .iter()
            .map(|(pressure_kpa, force_n)| CalibrationRow {
                pressure_kpa: Some(*pressure_kpa),
                fitted_n: Some(*force_n),
                ..row()
            })
            .collect(),
        Some(Knob::Positions { positions, .. }) => positions
            .iter()
            .filter(|position| position.force_n.is_some())
            .map(|position| {
                let readings = &position.readings_n;
                let told = (!readings.is_empty()).then(|| mean_and_deviation(readings));
                let error = told.and_then(|(_, deviation)| Some(deviation? / (readings.len() as f64).sqrt()));
                let half = error.map(|error| error * t_quantile(0.975, readings.len() as f64 - 1.0));
                CalibrationRow {
                    closing_position: Some(position.label.clone()),
                    n_readings: told.map(|_| readings.len() as i64),
                    mean_n: told.map(|told| told.0),
                    sd_n: told.and_then(|told| told.1),
                    fitted_n: position.force_n,
                    std_error_n: error,
                    low_n: position.force_n.zip(half).map(|(force, half)| (force - half).max(0.0)),
                    high_n: position.force_n.zip(half).map(|(force, half)| force + half),
                    ..row()
                }
            })
            .collect(),
        _ => Vec::new(),
    }
}

/// Readings that do not lie on a line, that leave the force uncertain, or that do not reach what was used.
pub(crate) fn calibration_findings(strips: &[StripRow], settings: &Settings) -> Vec<Finding> {
    let mut used: BTreeMap<&str, (f64, f64)> = BTreeMap::new();
    for strip in strips {
        if let (Some(planter), Some(pressure)) = (strip.planter_id.as_deref(), strip.set_pressure_kpa) {
            let range = used.entry(planter).or_insert((pressure, pressure));
            *range = (range.0.min(pressure), range.1.max(pressure));
        }
    }
    let mut findings = Vec::new();
    for planter in &settings.planters {
        let Some(Knob::Pressure { calibration: Some(calibration), weighed, default_kpa, min_kpa, max_kpa, .. }) =
            &planter.knob
        else {
            continue;
        };
        if let Some(weighed) = weighed {
            let middle = (min_kpa + max_kpa) / 2.0;
            findings.extend(bent(planter, weighed));
            findings.extend(loose(planter, weighed, default_kpa.unwrap_or(middle)));
        }
        let points = calibration.points();
        // The points of a line begin where it leaves zero, those of pieces may be pooled: what was weighed is what counts.
        let given = || (points[0].0, points[points.len() - 1].0);
        let (first, last) = weighed.as_ref().map_or_else(given, Weighed::weighed_range_kpa);
        let slack = BEYOND * (last - first);
        if let Some((low, high)) = used.get(planter.id.as_str())
            && (*low < first - slack || *high > last + slack)
        {
            let message = format!(
                "planter {}: pressures from {low:.0} to {high:.0} kPa were used, but its force is known from {first:.0} to {last:.0} kPa; beyond that it is a straight line drawn on",
                planter.id
            );
            findings.push(
                Finding::warning("calibration_extrapolated", message)
                    .remedy("weigh the closing force at the lightest and the heaviest pressure that is used"),
            );
        }
    }
    findings
}

fn bent(planter: &Planter, weighed: &Weighed) -> Option<Finding> {
    let p_value = weighed.line_p_value().filter(|_| weighed.shape() == evenstand_settings::CalibrationShape::Pieces)?;
    let told = if p_value < 0.001 { "p < 0.001".to_owned() } else { format!("p = {p_value:.3}") };
    let pooled =
        if weighed.pooled() { "; neighbouring pressures between which the force falls are taken together" } else { "" };
    let message = format!(
        "planter {}: scale readings do not lie on a straight line ({told}), so the force between them is taken straight from one pressure to the next{pooled}",
        planter.id
    );
    Some(
        Finding::note("calibration_bent", message)
            .remedy("weigh at more pressures between, and look for slack or a stop in the linkage"),
    )
}

fn loose(planter: &Planter, weighed: &Weighed, pressure_kpa: f64) -> Option<Finding> {
    let fitted = weighed.at(pressure_kpa);
    let (low, high) = fitted.interval_n?;
    (high - low > 2.0 * LOOSE * fitted.force_n).then(|| {
        let message = format!(
            "planter {}: at its usual pressure the closing force is {:.0} N, but by the scale readings it may be {low:.0} to {high:.0} N; an error that all strips share shifts every force alike and cannot be seen in the counts",
            planter.id, fitted.force_n
        );
        Finding::warning("calibration_loose", message).remedy("weigh again, three readings at each of four or more pressures, on level ground")
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn settings(weighed: &str) -> Settings {
        Settings::parse(&format!(
            "[[planter]]\nid = \"p\"\n[planter.closing]\nkind = \"pressure\"\nmin_psi = 0\nmax_psi = 75\ndefault_psi = 35\n{weighed}"
        ))
        .unwrap()
    }

    fn strip(psi: f64) -> StripRow {
        StripRow {
            planter_id: Some("p".into()),
            set_pressure_kpa: Some(psi * 6.894_757_293_168),
            ..StripRow::default()
        }
    }

    fn codes(weighed: &str, used_psi: f64) -> Vec<String> {
        calibration_findings(&[strip(used_psi)], &settings(weighed)).into_iter().map(|finding| finding.code).collect()
    }

    const STRAIGHT: &str = "weighed = [{ pressure_psi = 0, force_lbf = [0, 1] }, { pressure_psi = 25, force_lbf = [49, 51] }, { pressure_psi = 50, force_lbf = [100, 101] }, { pressure_psi = 75, force_lbf = [149, 151] }]";

    #[test]
    fn straight_and_close_readings_are_no_finding() {
        assert_eq!(codes(STRAIGHT, 60.0), Vec::<String>::new());
    }

    #[test]
    fn bent_loose_and_extrapolated_calibrations_are_told() {
        let bent = "weighed = [{ pressure_psi = 0, force_lbf = [0, 1] }, { pressure_psi = 25, force_lbf = [20, 21] }, { pressure_psi = 50, force_lbf = [60, 61] }, { pressure_psi = 75, force_lbf = [149, 151] }]";
        assert_eq!(codes(bent, 60.0), ["calibration_bent"]);
        let loose = "weighed = [{ pressure_psi = 20, force_lbf = 30 }, { pressure_psi = 40, force_lbf = 90 }, { pressure_psi = 60, force_lbf = 110 }]";
        assert_eq!(codes(loose, 60.0), ["calibration_loose"]);
        assert_eq!(
            codes(
                &STRAIGHT
                    .replace("pressure_psi = 75, force_lbf = [149, 151]", "pressure_psi = 52, force_lbf = [103, 105]"),
                70.0
            ),
            ["calibration_extrapolated"]
        );
        assert_eq!(codes("force_n = [[0, 0], [300, 311]]", 60.0), ["calibration_extrapolated"]);
        assert_eq!(codes("force_n = [[0, 0], [500, 311]]", 60.0), Vec::<String>::new());
    }

    #[test]
    fn slack_of_a_linkage_that_was_weighed_is_not_extrapolated() {
        // The line leaves zero at 20 psi; 5 psi was weighed all the same.
        let slack = "weighed = [{ pressure_psi = 0, force_lbf = 0 }, { pressure_psi = 40, force_lbf = 40 }, { pressure_psi = 75, force_lbf = 150 }]";
        assert!(!codes(slack, 5.0).contains(&"calibration_extrapolated".to_owned()));
        assert!(codes(slack, 90.0).contains(&"calibration_extrapolated".to_owned()));
    }

    #[test]
    fn bent_readings_are_judged_between_the_pressures_weighed_and_say_where_they_were_pooled() {
        // Far from a line, and far apart at 25 and 50 psi, between which the default of 35 psi lies.
        let bent = "weighed = [{ pressure_psi = 0, force_lbf = [0, 0, 1] }, { pressure_psi = 25, force_lbf = [20, 50, 35] }, { pressure_psi = 50, force_lbf = [30, 60, 40] }, { pressure_psi = 75, force_lbf = [300, 310, 305] }]";
        assert_eq!(codes(bent, 60.0), ["calibration_bent", "calibration_loose"]);
        let message = |weighed: &str| calibration_findings(&[strip(50.0)], &settings(weighed))[0].message.clone();
        assert!(!message(bent).contains("taken together"));
        let falling = "weighed = [{ pressure_psi = 0, force_lbf = [0, 1] }, { pressure_psi = 25, force_lbf = [80, 81] }, { pressure_psi = 50, force_lbf = [102, 103] }, { pressure_psi = 75, force_lbf = [100, 101] }]";
        assert!(message(falling).contains("taken together"), "{}", message(falling));
    }

    #[test]
    fn every_setting_that_was_weighed_or_given_has_a_row() {
        let rows = calibrations(&settings(STRAIGHT));
        assert_eq!((rows.len(), rows[1].n_readings), (4, Some(2)));
        assert!(rows.iter().all(|row| row.low_n.unwrap() <= row.fitted_n.unwrap() && row.fitted_n < row.high_n));
        let given = calibrations(&settings("force_n = [[0, 0], [500, 311]]"));
        assert_eq!((given.len(), given[1].fitted_n, given[1].mean_n), (2, Some(311.0), None));
        let positions = Settings::parse(
            "[[planter]]\nid = \"q\"\n[planter.closing]\nkind = \"positions\"\npositions = [{ label = \"1\", weighed_lbf = [28, 30, 29] }, { label = \"2\", force_n = 210 }, { label = \"3\" }]",
        )
        .unwrap();
        let rows = calibrations(&positions);
        assert_eq!((rows.len(), rows[0].n_readings, rows[1].n_readings), (2, Some(3), None));
        // 29 lbf; standard error 1 / √3 lbf.
        assert!((rows[0].fitted_n.unwrap() - 29.0 * 4.448_221_615_260_5).abs() < 1e-9);
        assert!((rows[0].std_error_n.unwrap() - 4.448_221_615_260_5 / 3.0_f64.sqrt()).abs() < 1e-9);
    }
}
