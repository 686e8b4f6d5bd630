//! How each strip was set: one closing downforce, and where it came from.

use std::collections::BTreeMap;

use evenstand_settings::{Axis, Knob, Planter, Settings};
use evenstand_tables::{Finding, Moment};

use crate::key::{FieldSeason, StripKey};
use crate::telemetry::{HandRow, SettingLogs, TelemetrySummary};

/// What a planter is called that no log and no field names.
const UNNAMED_PLANTER: &str = "unnamed planter";

/// The setting of one strip.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct StripSetting {
    pub planter_id: Option<String>,
    pub force_n: Option<f64>,
    pub force_source: Option<&'static str>,
    pub set_force_n: Option<f64>,
    pub actual_force_n: Option<f64>,
    pub force_sd_n: Option<f64>,
    pub set_pressure_kpa: Option<f64>,
    pub closing_position: Option<String>,
    pub speed_m_s: Option<f64>,
    pub block: Option<String>,
    /// What the operator called the condition; several where rows disagree.
    pub conditions: Vec<String>,
    pub press_position: Option<String>,
    pub depth_stop: Option<String>,
    pub gauge_wheel: Option<String>,
    /// Mean place of the strip's own rows, in degrees.
    pub lat: Option<f64>,
    pub lon: Option<f64>,
    /// First row of its telemetry.
    pub started_at: Option<Moment>,
    pub telemetry_rows: u64,
    pub telemetry_rows_at_speed: u64,
}

/// A force with the name of what it was worked out from.
type Sourced = Option<(f64, &'static str)>;

/// What setting logs say, ready to be asked strip by strip.
pub(crate) struct Settled<'a> {
    by_strip: BTreeMap<StripKey, Vec<&'a HandRow>>,
    by_block: BTreeMap<(FieldSeason, String), Vec<&'a HandRow>>,
    by_field: BTreeMap<FieldSeason, Vec<&'a HandRow>>,
    telemetry: &'a BTreeMap<StripKey, TelemetrySummary>,
}

impl<'a> Settled<'a> {
    pub fn new(logs: &'a SettingLogs) -> Self {
        let mut settled = Self {
            by_strip: BTreeMap::new(),
            by_block: BTreeMap::new(),
            by_field: BTreeMap::new(),
            telemetry: &logs.telemetry,
        };
        for row in &logs.hand {
            let field = FieldSeason::new(&row.field_id, row.season);
            match (&row.strip_id, &row.block) {
                (Some(strip_id), _) => settled.by_strip.entry(field.strip(strip_id)).or_default().push(row),
                (None, Some(block)) => settled.by_block.entry((field, block.clone())).or_default().push(row),
                (None, None) => settled.by_field.entry(field).or_default().push(row),
            }
        }
        settled
    }

    /// Strips that the logs name.
    pub fn strips(&self) -> impl Iterator<Item = &StripKey> {
        self.by_strip.keys().chain(self.telemetry.keys())
    }

    /// The setting of one strip: its own rows, else its block's, else its field's; telemetry beside them.
    pub fn of(
        &self,
        key: &StripKey,
        block: Option<&str>,
        field_planter: Option<&str>,
        settings: &Settings,
        findings: &mut Vec<Finding>,
    ) -> StripSetting {
        let own = self.by_strip.get(key);
        let own_block = own.and_then(|rows| rows.iter().find_map(|row| row.block.clone()));
        let telemetry = self.telemetry.get(key);
        let block =
            block.map(str::to_owned).or(own_block).or_else(|| telemetry.and_then(|summary| summary.block.clone()));
        let rows: &[&HandRow] = own
            .or_else(|| self.by_block.get(&(key.field.clone(), block.clone()?)))
            .or_else(|| self.by_field.get(&key.field))
            .map_or(&[], Vec::as_slice);
        let planter_id = rows
            .iter()
            .find_map(|row| row.planter_id.clone())
            .or_else(|| telemetry.and_then(|summary| summary.planter_id.clone()))
            .or_else(|| field_planter.map(str::to_owned));
        let planter = planter_id.as_deref().map_or_else(|| Planter::unknown(""), |id| settings.planter(id));
        let set_by_hand = mean_set(key, rows, &planter, findings);
        let set_logged = telemetry
            .and_then(|summary| Some((summary.set_force_n?, source_name("set", summary.set_from_pressure, &planter))));
        let actual = telemetry
            .and_then(|summary| {
                Some((summary.actual_force_n?, source_name("actual", summary.actual_from_pressure, &planter)))
            })
            .or_else(|| mean(rows.iter().filter_map(|row| actual_of(row, &planter))));
        if let (Some((hand, _)), Some((logged, _))) = (set_by_hand, set_logged)
            && (hand - logged).abs() > 0.05 * logged.abs().max(20.0)
        {
            findings.push(
                about(Finding::warning(
                    "setting_disagrees",
                    format!("the hand-written setting ({hand:.0} N) and the telemetry ({logged:.0} N) differ; the telemetry is used"),
                ), key)
                .remedy("correct the one that is wrong"),
            );
        }
        let set = set_logged.or(set_by_hand);
        let used = match settings.analysis.axis {
            Axis::Set => set.or(actual),
            Axis::Actual => actual.or(set),
        };
        let mut conditions: Vec<String> = rows.iter().filter_map(|row| row.condition.clone()).collect();
        conditions.extend(telemetry.and_then(|summary| summary.condition.clone()));
        conditions.sort();
        conditions.dedup();
        let place = |of: &dyn Fn(&HandRow) -> Option<f64>| {
            mean(own?.iter().filter_map(|row| Some((of(row)?, "")))).map(|(degrees, _)| degrees)
        };
        // Pressures of a planter without a name must still not be taken for newtons of another.
        let nominal = used.is_some_and(|(_, source)| source == "nominal");
        let planter_id = planter_id.or_else(|| nominal.then(|| UNNAMED_PLANTER.to_owned()));
        StripSetting {
            planter_id,
            force_n: used.map(|(force, _)| force),
            force_source: used.map(|(_, source)| source),
            set_force_n: set.map(|(force, _)| force),
            actual_force_n: actual.map(|(force, _)| force),
            force_sd_n: telemetry.and_then(|summary| summary.force_sd_n),
            set_pressure_kpa: telemetry.and_then(|summary| summary.set_pressure_kpa).or_else(|| {
                mean(rows.iter().filter_map(|row| Some((row.set_pressure_kpa?, "")))).map(|(pressure, _)| pressure)
            }),
            closing_position: rows.iter().find_map(|row| row.closing_position.clone()),
            speed_m_s: telemetry
                .and_then(|summary| summary.speed_m_s)
                .or_else(|| mean(rows.iter().filter_map(|row| Some((row.speed_m_s?, "")))).map(|(speed, _)| speed)),
            block,
            conditions,
            press_position: rows
                .iter()
                .find_map(|row| row.press_position.clone())
                .or_else(|| telemetry?.press_position.clone()),
            depth_stop: rows.iter().find_map(|row| row.depth_stop.clone()).or_else(|| telemetry?.depth_stop.clone()),
            gauge_wheel: rows
                .iter()
                .find_map(|row| row.gauge_wheel.clone())
                .or_else(|| telemetry?.gauge_wheel.clone())
                .or_else(|| planter.gauge_wheel.clone()),
            lat: telemetry.and_then(|summary| summary.lat).or_else(|| place(&|row| row.lat)),
            lon: telemetry.and_then(|summary| summary.lon).or_else(|| place(&|row| row.lon)),
            started_at: telemetry.and_then(|summary| summary.started_at),
            telemetry_rows: telemetry.map_or(0, |summary| summary.rows),
            telemetry_rows_at_speed: telemetry.map_or(0, |summary| summary.rows_at_speed),
        }
    }
}

fn source_name(which: &str, from_pressure: bool, planter: &Planter) -> &'static str {
    let nominal = from_pressure && !matches!(&planter.knob, Some(Knob::Pressure { calibration: Some(_), .. }));
    match (which, from_pressure) {
        _ if nominal => "nominal",
        ("set", false) => "set_force",
        ("set", true) => "set_pressure",
        (_, false) => "actual_force",
        (_, true) => "actual_pressure",
    }
}

/// Set force of a hand-written row: from the force, else the pressure, else the position.
fn set_of(row: &HandRow, planter: &Planter) -> Sourced {
    if let Some(force) = row.set_force_n {
        return Some((force, "set_force"));
    }
    if let Some(pressure) = row.set_pressure_kpa {
        return Some(
            planter.force_at_pressure(pressure).map_or((pressure, "nominal"), |force| (force, "set_pressure")),
        );
    }
    Some((planter.force_at_position(row.closing_position.as_deref()?)?, "position"))
}

fn actual_of(row: &HandRow, planter: &Planter) -> Sourced {
    if let Some(force) = row.actual_force_n {
        return Some((force, "actual_force"));
    }
    let pressure = row.actual_pressure_kpa?;
    Some(planter.force_at_pressure(pressure).map_or((pressure, "nominal"), |force| (force, "actual_pressure")))
}

fn mean(values: impl Iterator<Item = (f64, &'static str)>) -> Sourced {
    let (mut sum, mut count, mut source) = (0.0, 0.0, None);
    for (value, name) in values {
        sum += value;
        count += 1.0;
        source.get_or_insert(name);
    }
    Some((sum / count, source?))
}

fn mean_set(key: &StripKey, rows: &[&HandRow], planter: &Planter, findings: &mut Vec<Finding>) -> Sourced {
    if let Some(row) = rows.iter().find(|row| {
        row.closing_position.as_ref().is_some_and(|label| match &planter.knob {
            Some(Knob::Positions { positions, .. }) => !positions.iter().any(|position| position.label == *label),
            _ => false,
        })
    }) {
        findings.push(
            about(
                Finding::warning(
                    "unknown_position",
                    format!(
                        "the planter {} has no position called \"{}\"",
                        planter.id,
                        row.closing_position.as_deref().unwrap_or_default()
                    ),
                ),
                key,
            )
            .source(&row.source_file, Some(row.source_row))
            .remedy("correct the label, or add the position to the planter in evenstand.toml"),
        );
    }
    let forces: Vec<(f64, &'static str)> = rows.iter().filter_map(|row| set_of(row, planter)).collect();
    let (low, high) = forces
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), (force, _)| (low.min(*force), high.max(*force)));
    if high - low > 0.05 * high.abs().max(20.0) {
        findings.push(
            about(
                Finding::warning(
                    "setting_varies",
                    format!(
                        "the setting log has {} rows for this strip, from {low:.0} to {high:.0} N; their mean is used",
                        forces.len()
                    ),
                ),
                key,
            )
            .source(&rows[0].source_file, Some(rows[0].source_row))
            .remedy("a strip should have one setting; split it, or correct the log"),
        );
    }
    mean(forces.into_iter())
}

/// A finding about one strip.
pub(crate) fn about(finding: Finding, key: &StripKey) -> Finding {
    finding.field(&key.field.field_id, key.field.season).strip(&key.strip_id)
}
