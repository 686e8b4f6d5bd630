//! The settings of a trial: around what is known, in steps of the planter's own knob.

use evenstand_agronomy::Kind;
use evenstand_settings::{Knob, Planter};

use crate::error::TrialError;
use crate::papers::number;
use crate::plan::{Level, Setting};

/// Where nothing else is known a trial goes from half the default to half as much again.
const AROUND: f64 = 0.5;

/// Limits of a trial in the planter's knob: kPa, or positions counted from 0.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Limits {
    /// Lowest and highest of the range that a trial was advised in.
    pub advised: Option<(f64, f64)>,
    /// Below this digs found trenches open.
    pub shut_from: Option<f64>,
    /// Above this digs found the seed hard to dig out.
    pub firm_from: Option<f64>,
}

/// Settings drawn up, and what is to be said about them.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Chosen {
    /// Lightest first.
    pub levels: Vec<Level>,
    pub notes: Vec<String>,
}

/// A knob as numbers in steps.
#[derive(Debug)]
struct Dial<'a> {
    planter: &'a Planter,
    low: f64,
    high: f64,
    step: f64,
    default: Option<f64>,
}

impl<'a> Dial<'a> {
    fn of(planter: &'a Planter) -> Result<Self, TrialError> {
        match &planter.knob {
            Some(Knob::Pressure { min_kpa, max_kpa, step_kpa, default_kpa, .. }) => {
                Ok(Self { planter, low: *min_kpa, high: *max_kpa, step: *step_kpa, default: *default_kpa })
            }
            Some(Knob::Positions { positions, default }) if positions.len() > 1 => {
                let place = |label: &String| positions.iter().position(|position| position.label == *label);
                let default = default.as_ref().and_then(place).map(|place| place as f64);
                Ok(Self { planter, low: 0.0, high: positions.len() as f64 - 1.0, step: 1.0, default })
            }
            _ => Err(TrialError::request(
                format!("the knob of planter \"{}\"", planter.id),
                "none in evenstand.toml",
                "a [planter.closing] block with a pressure or with two positions or more: a trial needs to know what can be turned, and how far",
            )),
        }
    }

    /// The nearest stop of the knob.
    fn snapped(&self, value: f64) -> f64 {
        let stop = self.low + ((value - self.low) / self.step).round() * self.step;
        stop.clamp(self.low, self.low + ((self.high - self.low) / self.step + 1e-9).floor() * self.step)
    }

    fn setting(&self, value: f64) -> Setting {
        match &self.planter.knob {
            Some(Knob::Positions { positions, .. }) => Setting::Position(positions[value as usize].label.clone()),
            _ => Setting::PressureKpa(value),
        }
    }

    fn force_n(&self, value: f64) -> Option<f64> {
        match &self.planter.knob {
            Some(Knob::Positions { positions, .. }) => positions[value as usize].force_n,
            _ => self.planter.force_at_pressure(value),
        }
    }

    fn value_of(&self, setting: &Setting) -> Option<f64> {
        match (setting, &self.planter.knob) {
            (Setting::PressureKpa(kpa), Some(Knob::Pressure { .. })) => Some(*kpa),
            (Setting::Position(label), Some(Knob::Positions { positions, .. })) => {
                positions.iter().position(|position| position.label == *label).map(|place| place as f64)
            }
            _ => None,
        }
    }

    fn level(&self, value: f64) -> Level {
        let is_default = self.default.is_some_and(|default| (default - value).abs() < 1e-6 * self.step);
        Level { knobs: vec![self.setting(value)], force_n: self.force_n(value), is_default }
    }

    fn shown(&self, value: f64) -> String {
        shown(&self.setting(value), gauge(self.planter))
    }
}

/// Unit that the gauge of a planter reads in; `None` where the knob has positions.
pub fn gauge(planter: &Planter) -> Option<&str> {
    match &planter.knob {
        Some(Knob::Pressure { unit, .. }) => Some(unit),
        _ => None,
    }
}

/// What a planter is set to where nothing else is said.
pub(crate) fn default_setting(planter: &Planter) -> Option<Setting> {
    match &planter.knob {
        Some(Knob::Pressure { default_kpa, .. }) => default_kpa.map(Setting::PressureKpa),
        Some(Knob::Positions { default, .. }) => default.clone().map(Setting::Position),
        None => None,
    }
}

/// A setting as people read it off, such as `28 psi` or `position 3`.
pub fn shown(setting: &Setting, gauge: Option<&str>) -> String {
    match setting {
        Setting::Position(label) => format!("position {label}"),
        Setting::PressureKpa(kpa) => {
            let suffix = gauge.unwrap_or("kpa");
            let value = Kind::Pressure.from_kept(suffix, *kpa).unwrap_or(*kpa);
            let digits = if suffix == "bar" {
                2
            } else if suffix == "mpa" {
                3
            } else {
                0
            };
            format!("{} {}", number(value, digits), Kind::Pressure.label(suffix).unwrap_or(suffix))
        }
    }
}

/// `number` settings around the default: it among them, at least one lighter and one heavier, none outside the knob's limits or where
/// digs found the trench open or the seed too firm.
///
/// They go over the advised range, else from half the default to half as much again, as evenly as steps of the knob allow.
///
/// # Errors
/// A planter without a knob; limits that leave fewer than two settings.
pub(crate) fn around_default(planter: &Planter, limits: &Limits, number: usize) -> Result<Chosen, TrialError> {
    let dial = Dial::of(planter)?;
    let mut notes = Vec::new();
    let (low, high) = allowed(&dial, limits);
    // Stops inside what digs allow; the ends of a range are rounded inwards.
    let first = dial.low + ((low - dial.low) / dial.step - 1e-9).ceil() * dial.step;
    let last = dial.low + ((high - dial.low) / dial.step + 1e-9).floor() * dial.step;
    if last - first < dial.step * (1.0 - 1e-9) {
        return Err(TrialError::request(
            format!("settings of planter \"{}\"", planter.id),
            format!(
                "{} to {} between the knob's limits and what digs allow",
                dial.shown(dial.snapped(low)),
                dial.shown(dial.snapped(high))
            ),
            "room for two settings or more: name the settings yourself with --settings, or look at the dig checks again",
        ));
    }
    let default = dial.default.filter(|default| (first - 1e-9..=last + 1e-9).contains(default));
    if let (Some(value), None) = (dial.default, default) {
        notes.push(format!(
            "The default, {}, is not among the settings: digs found it {}.",
            dial.shown(value),
            if value < first { "too light to shut the trench" } else { "too firm" }
        ));
    }
    let middle = default.unwrap_or(0.5 * (first + last));
    let (wanted_low, wanted_high) = limits.advised.unwrap_or(((1.0 - AROUND) * middle, (1.0 + AROUND) * middle));
    // Positions have no half of a default; they go as far as the knob.
    let positions = matches!(planter.knob, Some(Knob::Positions { .. })) && limits.advised.is_none();
    let (wanted_low, wanted_high) = if positions { (first, last) } else { (wanted_low, wanted_high) };
    let low = dial.snapped(wanted_low.clamp(first, (middle - dial.step).max(first)));
    let high = dial.snapped(wanted_high.clamp((middle + dial.step).min(last), last));
    let mut values = spread(&dial, default, (low.max(first), high.min(last)), number);
    values.sort_by(f64::total_cmp);
    values.dedup_by(|a, b| (*a - *b).abs() < 0.5 * dial.step);
    if let Some(default) = default {
        // A default between two stops keeps its place, and neighbours that are less than a step away go.
        values.retain(|value| *value == default || (value - default).abs() >= (0.5 - 1e-9) * dial.step);
        if !values.iter().any(|value| *value < default) {
            notes.push(format!(
                "No setting is lighter than the default, {}: it is the lightest that is allowed.",
                dial.shown(default)
            ));
        }
        if !values.iter().any(|value| *value > default) {
            notes.push(format!(
                "No setting is heavier than the default, {}: it is the heaviest that is allowed.",
                dial.shown(default)
            ));
        }
    }
    if values.len() < number {
        notes.push(format!("There is room for {} settings, not for {number}.", values.len()));
    }
    Ok(Chosen { levels: values.into_iter().map(|value| dial.level(value)).collect(), notes })
}

/// The settings that were named, lightest first.
///
/// # Errors
/// One that the knob does not have, is outside its limits, or where digs found the trench open or the seed too firm; fewer than two.
pub(crate) fn named(planter: &Planter, limits: &Limits, settings: &[Setting]) -> Result<Chosen, TrialError> {
    let dial = Dial::of(planter)?;
    let (low, high) = allowed(&dial, limits);
    let mut values = Vec::new();
    for setting in settings {
        let value = dial.value_of(setting).ok_or_else(|| {
            TrialError::request(
                format!("a setting of planter \"{}\"", planter.id),
                shown(setting, gauge(planter)),
                match &planter.knob {
                    Some(Knob::Positions { positions, .. }) => {
                        let labels: Vec<&str> = positions.iter().map(|position| position.label.as_str()).collect();
                        format!("one of its positions: {}", labels.join(", "))
                    }
                    _ => "a pressure".into(),
                },
            )
        })?;
        if !(low - 1e-6..=high + 1e-6).contains(&value) {
            return Err(TrialError::request(
                format!("a setting of planter \"{}\"", planter.id),
                shown(setting, gauge(planter)),
                format!(
                    "a setting from {} to {}: the knob's limits, and where digs found the trench shut and the seed not too firm",
                    dial.shown(dial.snapped(low)),
                    dial.shown(dial.snapped(high))
                ),
            ));
        }
        values.push(value);
    }
    values.sort_by(f64::total_cmp);
    values.dedup_by(|a, b| (*a - *b).abs() < 1e-6 * dial.step);
    if values.len() < 2 {
        return Err(TrialError::request("the settings of the trial", values.len(), "two different ones or more"));
    }
    let mut notes = Vec::new();
    if let Some(default) = dial.default {
        if !values.iter().any(|value| (value - default).abs() < 1e-6) {
            notes.push(format!("The default, {}, is not among the settings.", dial.shown(default)));
        }
        let (lighter, heavier) =
            (values.iter().any(|value| *value < default), values.iter().any(|value| *value > default));
        if !lighter || !heavier {
            notes.push(format!(
                "No setting is {} than the default: whether the best lies there stays open.",
                if lighter { "heavier" } else { "lighter" }
            ));
        }
    }
    Ok(Chosen { levels: values.into_iter().map(|value| dial.level(value)).collect(), notes })
}

/// The knob's limits, narrowed by digs.
fn allowed(dial: &Dial, limits: &Limits) -> (f64, f64) {
    (dial.low.max(limits.shut_from.unwrap_or(dial.low)), dial.high.min(limits.firm_from.unwrap_or(dial.high)))
}

/// Values over a range, the default among them, on stops of the knob: on each side of it as many as the room there asks for, at least one.
fn spread(dial: &Dial, default: Option<f64>, (low, high): (f64, f64), number: usize) -> Vec<f64> {
    let even =
        |from: f64, to: f64, parts: usize| (0..parts).map(move |part| from + (to - from) * part as f64 / parts as f64);
    match default {
        Some(default) if low < default - 1e-9 || high > default + 1e-9 => {
            let others = number.saturating_sub(1).max(1);
            let share = ((default - low) / (high - low)).clamp(0.0, 1.0);
            let least = usize::from(low < default - 1e-9);
            let most = if high > default + 1e-9 { others.saturating_sub(1).max(least) } else { others };
            let below = ((share * others as f64).round() as usize).clamp(least, most);
            let above = others - below;
            let lighter = even(low, default, below).map(|value| dial.snapped(value));
            let heavier = even(high, default, above).map(|value| dial.snapped(value));
            lighter.chain([default]).chain(heavier).collect()
        }
        _ => (0..number)
            .map(|level| dial.snapped(low + (high - low) * level as f64 / (number.max(2) - 1) as f64))
            .collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use evenstand_settings::Settings;

    fn planter(closing: &str) -> Planter {
        let text = format!("[[planter]]\nid = \"p\"\n[planter.closing]\n{closing}");
        Settings::parse(&text).unwrap().planter("p")
    }

    fn pressure(min: f64, max: f64, step: f64, default: f64) -> Planter {
        planter(&format!(
            "kind = \"pressure\"\nmin_kpa = {min}\nmax_kpa = {max}\nstep_kpa = {step}\ndefault_kpa = {default}"
        ))
    }

    fn kpa(chosen: &Chosen) -> Vec<f64> {
        let value = |level: &Level| if let Setting::PressureKpa(kpa) = level.knobs[0] { kpa } else { panic!() };
        chosen.levels.iter().map(value).collect()
    }

    #[test]
    fn settings_go_around_the_default_on_stops_of_the_knob() {
        let chosen = around_default(&pressure(0.0, 500.0, 10.0, 200.0), &Limits::default(), 5).unwrap();
        assert_eq!(kpa(&chosen), [100.0, 150.0, 200.0, 250.0, 300.0]);
        assert_eq!(
            chosen.levels.iter().map(|level| level.is_default).collect::<Vec<_>>(),
            [false, false, true, false, false]
        );
        assert!(chosen.notes.is_empty());
        let advised = Limits { advised: Some((120.0, 430.0)), ..Limits::default() };
        assert_eq!(
            kpa(&around_default(&pressure(0.0, 500.0, 10.0, 200.0), &advised, 5).unwrap()),
            [120.0, 200.0, 280.0, 350.0, 430.0]
        );
    }

    #[test]
    fn one_is_lighter_and_one_heavier_even_where_the_advice_is_one_sided() {
        let advised = Limits { advised: Some((200.0, 400.0)), ..Limits::default() };
        assert_eq!(kpa(&around_default(&pressure(0.0, 500.0, 10.0, 200.0), &advised, 4).unwrap())[..2], [190.0, 200.0]);
        let at_the_end = around_default(&pressure(0.0, 500.0, 10.0, 500.0), &Limits::default(), 4).unwrap();
        assert_eq!(kpa(&at_the_end).last(), Some(&500.0));
        assert!(at_the_end.notes[0].contains("heavier"), "{:?}", at_the_end.notes);
    }

    #[test]
    fn nothing_is_outside_what_digs_allow() {
        let limits = Limits { shut_from: Some(155.0), firm_from: Some(262.0), ..Limits::default() };
        let chosen = around_default(&pressure(0.0, 500.0, 10.0, 200.0), &limits, 5).unwrap();
        assert_eq!(kpa(&chosen), [160.0, 180.0, 200.0, 230.0, 260.0]);
        let heavier_default = around_default(&pressure(0.0, 500.0, 10.0, 300.0), &limits, 4).unwrap();
        assert!(kpa(&heavier_default).iter().all(|kpa| (160.0..=260.0).contains(kpa)));
        assert!(heavier_default.notes[0].contains("too firm"), "{:?}", heavier_default.notes);
        let empty = Limits { shut_from: Some(300.0), firm_from: Some(305.0), ..Limits::default() };
        assert!(
            around_default(&pressure(0.0, 500.0, 10.0, 200.0), &empty, 4)
                .unwrap_err()
                .to_string()
                .contains("room for two")
        );
        let refused = named(
            &pressure(0.0, 500.0, 10.0, 200.0),
            &limits,
            &[Setting::PressureKpa(100.0), Setting::PressureKpa(200.0)],
        );
        assert!(refused.unwrap_err().to_string().contains("100 kPa"));
    }

    #[test]
    fn positions_are_taken_by_label() {
        let springs = planter(
            "kind = \"positions\"\ndefault = \"3\"\npositions = [{label=\"1\"},{label=\"2\"},{label=\"3\"},{label=\"4\"},{label=\"5\"}]",
        );
        let labels =
            |chosen: Chosen| chosen.levels.iter().map(|level| shown(&level.knobs[0], None)).collect::<Vec<_>>();
        assert_eq!(
            labels(around_default(&springs, &Limits::default(), 3).unwrap()),
            ["position 1", "position 3", "position 5"]
        );
        assert_eq!(labels(around_default(&springs, &Limits::default(), 4).unwrap()).len(), 4);
        let message = named(&springs, &Limits::default(), &[Setting::Position("9".into())]).unwrap_err().to_string();
        assert!(message.contains("one of its positions: 1, 2, 3, 4, 5"), "{message}");
    }

    #[test]
    fn every_number_of_settings_keeps_the_promises_on_any_knob() {
        for default in [0.0, 20.0, 50.0, 130.0, 200.0, 385.0, 400.0] {
            for (low, high) in [(0.0, 400.0), (180.0, 220.0), (50.0, 60.0), (390.0, 400.0)] {
                for number in 2..=8 {
                    let limits = Limits { advised: Some((low, high)), ..Limits::default() };
                    let chosen = around_default(&pressure(0.0, 400.0, 10.0, default), &limits, number).unwrap();
                    let values = kpa(&chosen);
                    assert!(values.len() >= 2 && values.len() <= number, "{default} {low} {high} {number}: {values:?}");
                    assert!(values.windows(2).all(|pair| pair[1] - pair[0] >= 5.0), "{values:?}");
                    assert!(values.contains(&default), "{values:?}");
                    if number > 2 {
                        assert!(default == 0.0 || values[0] < default, "{default} {low} {high} {number}: {values:?}");
                        assert!(
                            default == 400.0 || values[values.len() - 1] > default,
                            "{default} {low} {high} {number}: {values:?}"
                        );
                    }
                }
            }
        }
    }

    #[test]
    fn pressures_are_shown_as_the_gauge_reads_them() {
        assert_eq!(shown(&Setting::PressureKpa(193.053), Some("psi")), "28 psi");
        assert_eq!(shown(&Setting::PressureKpa(150.0), Some("bar")), "1.5 bar");
        assert_eq!(shown(&Setting::PressureKpa(150.0), Some("kpa")), "150 kPa");
    }
}
