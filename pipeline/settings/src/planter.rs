//! Planters: what sets their closing downforce, and what force each setting gives.

use evenstand_agronomy::Kind;

use crate::SettingsError;
use crate::weighed::{Reading, Weighed, mean_and_deviation};

/// Force by pressure, weighed or from the manual: a line through points, straight between them.
#[derive(Debug, Clone, PartialEq)]
pub struct Calibration {
    points: Vec<(f64, f64)>,
}

impl Calibration {
    /// Takes points (kPa, N). Errors unless there are two or more, pressures rise and forces rise.
    pub fn new(points: Vec<(f64, f64)>) -> Result<Self, String> {
        if points.len() < 2 {
            return Err("two or more [kPa, N] pairs".into());
        }
        if points.iter().any(|(pressure, force)| !pressure.is_finite() || !force.is_finite()) {
            return Err("numbers".into());
        }
        if points.iter().any(|(_, force)| *force < 0.0) {
            return Err("forces of 0 N or more".into());
        }
        if points.windows(2).any(|pair| pair[1].0 <= pair[0].0 || pair[1].1 <= pair[0].1) {
            return Err("[kPa, N] pairs in which both pressure and force rise from pair to pair".into());
        }
        Ok(Self { points })
    }

    /// The points (kPa, N).
    pub fn points(&self) -> &[(f64, f64)] {
        &self.points
    }

    /// Force in newtons at a pressure in kPa, never below zero; the end pieces go on straight beyond the points.
    pub fn force_n(&self, pressure_kpa: f64) -> f64 {
        interpolate(&self.points, pressure_kpa, |point| *point).max(0.0)
    }

    /// The piece that a pressure falls in, by its first point, and how far along it lies: 0 at its first point, 1 at its second.
    pub(crate) fn piece(&self, pressure_kpa: f64) -> (usize, f64) {
        let piece = piece_of(&self.points, pressure_kpa, |point| *point);
        let (first, second) = (self.points[piece].0, self.points[piece + 1].0);
        (piece, (pressure_kpa - first) / (second - first))
    }

    /// Pressure in kPa that gives a force in newtons.
    pub fn pressure_kpa(&self, force_n: f64) -> f64 {
        interpolate(&self.points, force_n, |point| (point.1, point.0))
    }
}

fn piece_of(points: &[(f64, f64)], x: f64, view: impl Fn(&(f64, f64)) -> (f64, f64)) -> usize {
    points[1..points.len() - 1].iter().take_while(|point| view(point).0 <= x).count()
}

fn interpolate(points: &[(f64, f64)], x: f64, view: impl Fn(&(f64, f64)) -> (f64, f64)) -> f64 {
    let piece = piece_of(points, x, &view);
    let (x0, y0) = view(&points[piece]);
    let (x1, y1) = view(&points[piece + 1]);
    y0 + (x - x0) * (y1 - y0) / (x1 - x0)
}

/// One spring position or stop, and its force where it was weighed.
#[derive(Debug, Clone, PartialEq)]
pub struct Position {
    /// Label as people write it.
    pub label: String,
    /// Weighed force in newtons; of scale readings their mean.
    pub force_n: Option<f64>,
    /// Scale readings in newtons; empty where the force was given.
    pub readings_n: Vec<f64>,
}

/// What a person turns.
#[derive(Debug, Clone, PartialEq)]
pub enum Knob {
    /// Air or hydraulic pressure; limits, step and default in kPa.
    Pressure {
        /// Lowest pressure.
        min_kpa: f64,
        /// Highest pressure.
        max_kpa: f64,
        /// Step.
        step_kpa: f64,
        /// Default.
        default_kpa: Option<f64>,
        /// Unit the gauge reads in: `kpa`, `psi`, `bar` or `mpa`.
        unit: String,
        /// Force by pressure; without it the planter is modelled in its own pressure.
        calibration: Option<Calibration>,
        /// The scale readings behind it, where there are any.
        weighed: Option<Weighed>,
    },
    /// Positions in order, lightest first.
    Positions {
        /// The positions.
        positions: Vec<Position>,
        /// Label of the default.
        default: Option<String>,
    },
}

/// A planter.
#[derive(Debug, Clone, PartialEq)]
pub struct Planter {
    /// Name, as in the tables.
    pub id: String,
    /// Kind of closer.
    pub closer: String,
    /// Kind of gauge wheel.
    pub gauge_wheel: Option<String>,
    /// What presses the closing system down, where it is known.
    pub actuator: Option<Actuator>,
    /// What sets the closing downforce.
    pub knob: Option<Knob>,
}

/// What presses a closing system down.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Actuator {
    /// Air bags or cylinders.
    Air,
    /// Hydraulic cylinders.
    Hydraulic,
    /// Springs.
    Spring,
}

impl Actuator {
    const ALL: [Actuator; 3] = [Actuator::Air, Actuator::Hydraulic, Actuator::Spring];

    /// `air`, `hydraulic` or `spring`.
    pub fn name(self) -> &'static str {
        match self {
            Actuator::Air => "air",
            Actuator::Hydraulic => "hydraulic",
            Actuator::Spring => "spring",
        }
    }
}

impl Planter {
    /// A planter that only the tables name: nothing is known of its knob.
    pub fn unknown(id: &str) -> Self {
        Self { id: id.to_owned(), closer: "other".into(), gauge_wheel: None, actuator: None, knob: None }
    }

    /// Force at a set pressure; `None` where the planter has no calibration.
    pub fn force_at_pressure(&self, pressure_kpa: f64) -> Option<f64> {
        match &self.knob {
            Some(Knob::Pressure { calibration: Some(calibration), .. }) => Some(calibration.force_n(pressure_kpa)),
            _ => None,
        }
    }

    /// Weighed force of a position; `None` where it was not weighed.
    pub fn force_at_position(&self, label: &str) -> Option<f64> {
        match &self.knob {
            Some(Knob::Positions { positions, .. }) => {
                positions.iter().find(|position| position.label == label)?.force_n
            }
            _ => None,
        }
    }

    /// Whether this planter's settings become a force in newtons.
    pub fn calibrated(&self) -> bool {
        match &self.knob {
            Some(Knob::Pressure { calibration, .. }) => calibration.is_some(),
            Some(Knob::Positions { positions, .. }) => positions.iter().any(|position| position.force_n.is_some()),
            None => true,
        }
    }

    /// Positions, lightest first, of a planter none of whose positions is weighed; `None` for every other planter.
    pub fn unweighed_positions(&self) -> Option<&[Position]> {
        match &self.knob {
            Some(Knob::Positions { positions, .. }) if !self.calibrated() => Some(positions),
            _ => None,
        }
    }

    /// The default in newtons (or nominal newtons where the planter has no calibration).
    pub fn default_force_n(&self) -> Option<f64> {
        match &self.knob {
            Some(Knob::Pressure { default_kpa, calibration, .. }) => {
                default_kpa.map(|pressure| calibration.as_ref().map_or(pressure, |line| line.force_n(pressure)))
            }
            Some(Knob::Positions { default, .. }) => self.force_at_position(default.as_deref()?),
            None => None,
        }
    }
}

pub(crate) const CLOSERS: [&str; 4] = ["discs_and_press_wheel", "angled_press_wheels", "single_wheel", "other"];
pub(crate) const GAUGE_WHEELS: [&str; 2] = ["reduced_inner_diameter", "flat"];

/// Reads one `[[planter]]` block; errors name the planter and the key.
pub(crate) fn parse(block: &toml::Table) -> Result<Planter, SettingsError> {
    let id = text(block, "planter", "id")?
        .ok_or_else(|| SettingsError::value("planter.id", "nothing", "a name for the planter"))?;
    let place = format!("planter \"{id}\"");
    known_keys(block, &place, &["id", "closer", "gauge_wheel", "closing"])?;
    let closer = text(block, &place, "closer")?.unwrap_or_else(|| "other".into());
    one_of(&closer, &CLOSERS, &format!("{place}, closer"))?;
    let gauge_wheel = text(block, &place, "gauge_wheel")?;
    if let Some(wheel) = &gauge_wheel {
        one_of(wheel, &GAUGE_WHEELS, &format!("{place}, gauge_wheel"))?;
    }
    let (knob, actuator) = match block.get("closing") {
        None => (None, None),
        Some(toml::Value::Table(closing)) => {
            let knob = parse_knob(closing, &place)?;
            let actuator = parse_actuator(closing, &knob, &place)?;
            (Some(knob), actuator)
        }
        Some(other) => {
            return Err(SettingsError::value(format!("{place}, closing"), other, "a [planter.closing] table"));
        }
    };
    Ok(Planter { id, closer, gauge_wheel, actuator, knob })
}

/// What presses the closing system down: as stated, else springs where the knob has positions.
fn parse_actuator(closing: &toml::Table, knob: &Knob, place: &str) -> Result<Option<Actuator>, SettingsError> {
    let names = Actuator::ALL.map(Actuator::name);
    let Some(stated) = text(closing, &format!("{place}, closing"), "actuator")? else {
        return Ok(matches!(knob, Knob::Positions { .. }).then_some(Actuator::Spring));
    };
    one_of(&stated, &names, &format!("{place}, closing.actuator"))?;
    Ok(Actuator::ALL.into_iter().find(|actuator| actuator.name() == stated))
}

fn parse_knob(closing: &toml::Table, place: &str) -> Result<Knob, SettingsError> {
    let place = format!("{place}, closing");
    match text(closing, &place, "kind")?.as_deref() {
        Some("pressure") => parse_pressure(closing, &place),
        Some("positions") => parse_positions(closing, &place),
        Some(other) => {
            Err(SettingsError::value(format!("{place}.kind"), format!("\"{other}\""), "\"pressure\" or \"positions\""))
        }
        None => Err(SettingsError::value(format!("{place}.kind"), "nothing", "\"pressure\" or \"positions\"")),
    }
}

fn parse_pressure(closing: &toml::Table, place: &str) -> Result<Knob, SettingsError> {
    let mut unit: Option<String> = None;
    let mut values = [None; 4];
    for (key, value) in closing {
        if ["kind", "force_n", "weighed", "actuator"].contains(&key.as_str()) {
            continue;
        }
        let (base, suffix) = key.split_once('_').unwrap_or((key, ""));
        let (Some(slot), true) = (
            ["min", "max", "step", "default"].iter().position(|k| *k == base),
            Kind::Pressure.suffixes().contains(&suffix),
        ) else {
            return Err(SettingsError::value(
                place,
                format!("the key {key}"),
                "kind, actuator, min_*, max_*, step_*, default_* (with _kpa, _psi, _bar or _mpa), and force_n or weighed",
            ));
        };
        let number = number(value).ok_or_else(|| SettingsError::value(format!("{place}.{key}"), value, "a number"))?;
        values[slot] = Kind::Pressure.to_kept(suffix, number);
        if base != "step" || unit.is_none() {
            unit = Some(suffix.to_owned());
        }
    }
    let [min, max, step, default] = values;
    let calibration = match closing.get("force_n") {
        None => None,
        Some(value) => {
            let points = pairs(value)
                .ok_or_else(|| SettingsError::value(format!("{place}.force_n"), value, "a list of [kPa, N] pairs"))?;
            let shown = format!("{points:?}");
            Some(
                Calibration::new(points)
                    .map_err(|expected| SettingsError::value(format!("{place}.force_n"), shown, expected))?,
            )
        }
    };
    let weighed = parse_weighed(closing, &mut unit, place)?;
    if weighed.is_some() && calibration.is_some() {
        return Err(SettingsError::value(
            place,
            "both force_n and weighed",
            "one of them: weighed for scale readings, force_n for pairs from the manual",
        ));
    }
    let calibration = calibration.or_else(|| weighed.as_ref().map(|weighed| weighed.calibration().clone()));
    let last_given = calibration.as_ref().and_then(|line| line.points().last().map(|point| point.0));
    // Not the last point of pieces: pooling moves it below the heaviest pressure weighed.
    let last_weighed = weighed.as_ref().map(|weighed| weighed.weighed_range_kpa().1).or(last_given);
    let min_kpa = min.unwrap_or(0.0);
    let max_kpa = max.or(last_weighed).ok_or_else(|| {
        SettingsError::value(format!("{place}.max_kpa"), "nothing", "the highest pressure the planter allows")
    })?;
    if max_kpa <= min_kpa {
        return Err(SettingsError::value(
            format!("{place}.max"),
            format!("{max_kpa} kPa"),
            format!("more than the lowest, {min_kpa} kPa"),
        ));
    }
    let step_kpa = step.unwrap_or(10.0);
    if !(step_kpa > 0.0 && step_kpa <= max_kpa - min_kpa) {
        return Err(SettingsError::value(
            format!("{place}.step"),
            format!("{step_kpa} kPa"),
            "a step above 0, within the limits",
        ));
    }
    if let Some(default) = default
        && !(min_kpa - 1e-9..=max_kpa + 1e-9).contains(&default)
    {
        return Err(SettingsError::value(
            format!("{place}.default"),
            format!("{default} kPa"),
            format!("a pressure within the limits {min_kpa} to {max_kpa} kPa"),
        ));
    }
    Ok(Knob::Pressure {
        min_kpa,
        max_kpa,
        step_kpa,
        default_kpa: default,
        unit: unit.unwrap_or_else(|| "kpa".into()),
        calibration,
        weighed,
    })
}

/// Scale readings: `weighed = [{ pressure_psi = 20, force_lbf = [41, 39] }, …]`. `unit` is that of the first, where no limit names one.
fn parse_weighed(
    closing: &toml::Table,
    unit: &mut Option<String>,
    place: &str,
) -> Result<Option<Weighed>, SettingsError> {
    const EXPECTED: &str = "a list such as [{ pressure_psi = 20, force_lbf = [41, 39, 40] }, …], one entry a pressure";
    let place = format!("{place}.weighed");
    let Some(value) = closing.get("weighed") else { return Ok(None) };
    let refused = |found: &toml::Value| SettingsError::value(&place, found, EXPECTED);
    let mut readings = Vec::new();
    for entry in value.as_array().ok_or_else(|| refused(value))? {
        let table = entry.as_table().ok_or_else(|| refused(entry))?;
        let (mut pressure_kpa, mut forces_n) = (None, None);
        for (key, value) in table {
            match key.split_once('_') {
                Some(("pressure", suffix)) if pressure_kpa.is_none() => {
                    pressure_kpa = number(value).and_then(|value| Kind::Pressure.to_kept(suffix, value));
                    unit.get_or_insert_with(|| suffix.to_owned());
                }
                Some(("force", suffix)) if forces_n.is_none() => forces_n = readings_n(suffix, value),
                _ => return Err(SettingsError::value(&place, format!("the key {key}"), EXPECTED)),
            }
        }
        let (Some(pressure_kpa), Some(forces_n)) = (pressure_kpa, forces_n) else { return Err(refused(entry)) };
        readings.push(Reading { pressure_kpa, forces_n });
    }
    let shown = value.to_string();
    Weighed::fit(readings).map(Some).map_err(|expected| SettingsError::value(&place, shown, expected))
}

/// One force or a list of them, in newtons.
fn readings_n(suffix: &str, value: &toml::Value) -> Option<Vec<f64>> {
    let kept = |value: &toml::Value| Kind::Force.to_kept(suffix, number(value)?);
    match value {
        toml::Value::Array(values) => values.iter().map(kept).collect(),
        one => Some(vec![kept(one)?]),
    }
}

fn parse_positions(closing: &toml::Table, place: &str) -> Result<Knob, SettingsError> {
    known_keys(closing, place, &["kind", "positions", "default", "actuator"])?;
    let list = closing.get("positions").and_then(toml::Value::as_array).ok_or_else(|| {
        SettingsError::value(
            format!("{place}.positions"),
            "nothing",
            "[{ label = \"1\", force_n = 130 }, …], lightest first",
        )
    })?;
    let mut positions: Vec<Position> = Vec::new();
    for entry in list {
        let key = format!("{place}.positions");
        let table =
            entry.as_table().ok_or_else(|| SettingsError::value(&key, entry, "{ label = \"1\", force_n = 130 }"))?;
        let label = text(table, &key, "label")?.ok_or_else(|| SettingsError::value(&key, entry, "a label"))?;
        let force_n = match table.get("force_n") {
            None => None,
            Some(value) => Some(number(value).ok_or_else(|| SettingsError::value(&key, value, "a force in newtons"))?),
        };
        let readings_n = position_readings(table, &key)?;
        if force_n.is_some() && !readings_n.is_empty() {
            return Err(SettingsError::value(
                key,
                format!("both force_n and weighed for the label {label}"),
                "one of them: weighed_lbf (or another unit) for scale readings, force_n for a force from the manual",
            ));
        }
        let weighed_n = (!readings_n.is_empty()).then(|| mean_and_deviation(&readings_n).0);
        if positions.iter().any(|position| position.label == label) {
            return Err(SettingsError::value(key, format!("the label {label} twice"), "each label once"));
        }
        positions.push(Position { label, force_n: force_n.or(weighed_n), readings_n });
    }
    if positions.is_empty() {
        return Err(SettingsError::value(format!("{place}.positions"), "an empty list", "at least one position"));
    }
    let forces: Vec<f64> = positions.iter().filter_map(|position| position.force_n).collect();
    if forces.windows(2).any(|pair| pair[1] <= pair[0]) {
        return Err(SettingsError::value(
            format!("{place}.positions"),
            format!("forces {} N", forces.iter().map(|force| format!("{force:.0}")).collect::<Vec<_>>().join(", ")),
            "forces that rise from position to position",
        ));
    }
    let default = text(closing, place, "default")?;
    if let Some(label) = &default
        && !positions.iter().any(|position| position.label == *label)
    {
        let labels: Vec<_> = positions.iter().map(|position| position.label.as_str()).collect();
        return Err(SettingsError::value(
            format!("{place}.default"),
            format!("\"{label}\""),
            format!("one of {}", labels.join(", ")),
        ));
    }
    Ok(Knob::Positions { positions, default })
}

/// Scale readings of one position: `weighed_lbf = [28, 30, 29]`, in any unit of force; empty where there are none.
fn position_readings(position: &toml::Table, place: &str) -> Result<Vec<f64>, SettingsError> {
    const EXPECTED: &str = "label, and force_n or weighed_n, weighed_lbf or weighed_kgf with one reading or a list";
    let mut readings = Vec::new();
    for (key, value) in position.iter().filter(|(key, _)| !["label", "force_n"].contains(&key.as_str())) {
        let suffix = key.strip_prefix("weighed_").filter(|suffix| Kind::Force.suffixes().contains(suffix));
        let suffix = suffix.ok_or_else(|| SettingsError::value(place, format!("the key {key}"), EXPECTED))?;
        let own = readings_n(suffix, value).filter(|own| !own.is_empty() && own.iter().all(|force| *force >= 0.0));
        readings.extend(own.ok_or_else(|| SettingsError::value(format!("{place}, {key}"), value, EXPECTED))?);
    }
    Ok(readings)
}

fn text(table: &toml::Table, place: &str, key: &str) -> Result<Option<String>, SettingsError> {
    match table.get(key) {
        None => Ok(None),
        Some(toml::Value::String(text)) => Ok(Some(text.trim().to_owned())),
        Some(toml::Value::Integer(number)) => Ok(Some(number.to_string())),
        Some(other) => Err(SettingsError::value(format!("{place}, {key}"), other, "text in quotes")),
    }
}

fn number(value: &toml::Value) -> Option<f64> {
    let number = value.as_float().or_else(|| value.as_integer().map(|whole| whole as f64))?;
    number.is_finite().then_some(number)
}

fn pairs(value: &toml::Value) -> Option<Vec<(f64, f64)>> {
    value
        .as_array()?
        .iter()
        .map(|pair| match pair.as_array()?.as_slice() {
            [pressure, force] => Some((number(pressure)?, number(force)?)),
            _ => None,
        })
        .collect()
}

fn one_of(value: &str, allowed: &[&str], key: &str) -> Result<(), SettingsError> {
    if allowed.contains(&value) {
        return Ok(());
    }
    Err(SettingsError::value(key, format!("\"{value}\""), format!("one of {}", allowed.join(", "))))
}

fn known_keys(table: &toml::Table, place: &str, known: &[&str]) -> Result<(), SettingsError> {
    match table.keys().find(|key| !known.contains(&key.as_str())) {
        None => Ok(()),
        Some(key) => Err(SettingsError::value(place, format!("the key {key}"), format!("only {}", known.join(", ")))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_calibration_runs_both_ways_between_and_beyond_its_points() {
        let line = Calibration::new(vec![(0.0, 0.0), (100.0, 120.0), (500.0, 640.0)]).unwrap();
        assert_eq!(line.force_n(50.0), 60.0);
        assert_eq!(line.force_n(300.0), 380.0);
        assert_eq!(line.force_n(600.0), 770.0);
        assert_eq!(line.pressure_kpa(380.0), 300.0);
        assert_eq!(line.pressure_kpa(-12.0), -10.0);
    }

    fn closing(text: &str) -> Result<Planter, SettingsError> {
        parse(&toml::from_str(&format!("id = \"a\"\n[closing]\n{text}")).unwrap())
    }

    #[test]
    fn scale_readings_come_in_any_unit_one_or_several_at_a_pressure() {
        let planter = closing(
            "kind = \"pressure\"\nactuator = \"air\"\nweighed = [{ pressure_psi = 0, force_lbf = 0 }, { pressure_psi = 75, force_lbf = [149, 151] }]",
        )
        .unwrap();
        assert_eq!(planter.actuator, Some(Actuator::Air));
        let Some(Knob::Pressure { max_kpa, unit, weighed: Some(weighed), .. }) = &planter.knob else {
            panic!("weighed")
        };
        assert_eq!((unit.as_str(), weighed.readings().len()), ("psi", 2));
        assert!((max_kpa - 75.0 * 6.894_757_293_168).abs() < 1e-9);
        assert!((planter.force_at_pressure(35.0 * 6.894_757_293_168).unwrap() - 311.375_513).abs() < 1e-5);
        let planter = closing("kind = \"positions\"\npositions = [{ label = \"1\", weighed_lbf = [28, 30, 29] }, { label = \"2\", force_n = 210 }]").unwrap();
        assert!((planter.force_at_position("1").unwrap() - 29.0 * 4.448_221_615_260_5).abs() < 1e-9);
        assert_eq!(planter.actuator, Some(Actuator::Spring));
    }

    #[test]
    fn readings_that_make_no_sense_are_named_with_the_planter_and_the_key() {
        for (text, part) in [
            (
                "kind = \"pressure\"\nmax_psi = 60\nforce_n = [[0, 0], [400, 400]]\nweighed = [{ pressure_psi = 0, force_lbf = 0 }, { pressure_psi = 75, force_lbf = 150 }]",
                "both force_n and weighed",
            ),
            ("kind = \"pressure\"\nweighed = [{ pressure_psi = 20, force_psi = 40 }]", "weighed"),
            ("kind = \"pressure\"\nweighed = [{ pressure_psi = 20, weight = 40 }]", "the key weight"),
            ("kind = \"pressure\"\nweighed = [{ pressure_psi = 20, force_lbf = 40 }]", "two or more pressures"),
            ("kind = \"pressure\"\nweighed = 3", "one entry a pressure"),
            ("kind = \"pressure\"\nmax_psi = 60\nactuator = \"rope\"", "air, hydraulic, spring"),
            (
                "kind = \"positions\"\npositions = [{ label = \"1\", force_n = 100, weighed_lbf = 28 }]",
                "both force_n and weighed",
            ),
            ("kind = \"positions\"\npositions = [{ label = \"1\", weighed_psi = 28 }]", "weighed_psi"),
            ("kind = \"positions\"\npositions = [{ label = \"1\", weighed_lbf = [] }]", "weighed_lbf"),
        ] {
            let message = closing(text).unwrap_err().to_string();
            assert!(message.contains("planter \"a\"") && message.contains(part), "{part}: {message}");
        }
    }

    #[test]
    fn the_heaviest_pressure_weighed_is_within_the_limits_even_where_it_was_pooled() {
        let weighed = "weighed = [{ pressure_kpa = 0, force_n = [0, 1] }, { pressure_kpa = 25, force_n = [80, 81] }, { pressure_kpa = 50, force_n = [102, 103] }, { pressure_kpa = 60, force_n = [100, 101] }]";
        let planter = closing(&format!("kind = \"pressure\"\ndefault_kpa = 60\n{weighed}")).unwrap();
        let Some(Knob::Pressure { max_kpa, .. }) = planter.knob else { panic!("a pressure knob") };
        assert_eq!(max_kpa, 60.0);
    }

    #[test]
    fn limits_in_psi_are_kept_in_kilopascal_and_the_unit_remembered() {
        let block: toml::Table = toml::from_str(
            "id = \"a\"\n[closing]\nkind = \"pressure\"\nmin_psi = 0\nmax_psi = 60\nstep_psi = 1\ndefault_psi = 30\nforce_n = [[0, 0], [400, 480]]",
        )
        .unwrap();
        let planter = parse(&block).unwrap();
        let Some(Knob::Pressure { default_kpa: Some(default), unit, .. }) = &planter.knob else {
            panic!("a pressure knob")
        };
        assert!((default - 206.842_718_795_051).abs() < 1e-9);
        assert_eq!(unit, "psi");
        assert!((planter.default_force_n().unwrap() - 206.842_718_795_051 * 1.2).abs() < 1e-9);
    }

    #[test]
    fn a_knob_that_cannot_be_is_named_with_the_planter_the_key_and_what_was_expected() {
        for (text, parts) in [
            ("kind = \"pressure\"", ["max_kpa", "the highest pressure"]),
            ("kind = \"pressure\"\nmin_kpa = 400\nmax_kpa = 400", ["closing.max", "more than the lowest, 400 kPa"]),
            ("kind = \"pressure\"\nmax_kpa = 400\nstep_kpa = 0", ["closing.step", "above 0"]),
            ("kind = \"pressure\"\nmax_kpa = 400\nstep_kpa = 401", ["closing.step", "within the limits"]),
            ("kind = \"pressure\"\nmax_kpa = 400\ndefault_kpa = 401", ["closing.default", "0 to 400 kPa"]),
            (
                "kind = \"pressure\"\nmin_kpa = 50\nmax_kpa = 400\ndefault_kpa = 49",
                ["closing.default", "50 to 400 kPa"],
            ),
            ("kind = \"positions\"", ["closing.positions", "lightest first"]),
            ("kind = \"positions\"\npositions = []", ["an empty list", "at least one position"]),
            ("kind = \"positions\"\npositions = [3]", ["closing.positions", "label = "]),
            ("kind = \"positions\"\npositions = [{ force_n = 3 }]", ["closing.positions", "a label"]),
            (
                "kind = \"positions\"\npositions = [{ label = \"1\", force_n = \"x\" }]",
                ["closing.positions", "in newtons"],
            ),
            ("kind = \"positions\"\npositions = [{ label = \"1\" }, { label = \"1\" }]", ["label 1 twice", "once"]),
            (
                "kind = \"positions\"\npositions = [{ label = \"1\", force_n = 200 }, { label = \"2\", force_n = 200 }]",
                ["200, 200 N", "rise from position to position"],
            ),
            (
                "kind = \"positions\"\ndefault = \"3\"\npositions = [{ label = \"1\" }, { label = \"2\" }]",
                ["\"3\"", "one of 1, 2"],
            ),
        ] {
            let message = closing(text).unwrap_err().to_string();
            assert!(message.contains("planter \"a\""), "{text}: {message}");
            assert!(parts.iter().all(|part| message.contains(part)), "{text}: {message}");
        }
        let at_the_ends = "kind = \"pressure\"\nmin_kpa = 50\nmax_kpa = 400\nstep_kpa = 350\ndefault_kpa = 400";
        assert!(closing(at_the_ends).is_ok());
    }

    #[test]
    fn a_falling_calibration_is_refused_with_the_planter_named() {
        let block: toml::Table = toml::from_str(
            "id = \"a\"\n[closing]\nkind = \"pressure\"\nmax_kpa = 400\nforce_n = [[0, 0], [200, 300], [400, 250]]",
        )
        .unwrap();
        let message = parse(&block).unwrap_err().to_string();
        assert!(message.contains("planter \"a\"") && message.contains("rise"), "{message}");
    }
}
