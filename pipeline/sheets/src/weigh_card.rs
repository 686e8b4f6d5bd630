//! The card for weighing a closing system: steps, cautions, and room for the readings of each planter.

use evenstand_agronomy::Kind;
use evenstand_settings::{Actuator, Knob, Planter, Settings};
use serde::Serialize;

use crate::SheetsError;
use crate::card::{STYLE, render};

/// File name of the card.
pub(crate) const WEIGH_CARD: &str = "weigh-card.html";

const TEMPLATE: &str = include_str!("../templates/weigh-card.html");
/// Most planters that are printed.
const MOST_PLANTERS: usize = 40;
/// Most settings of a planter, and empty rows where they are not known.
const MOST_SETTINGS: usize = 12;
const EMPTY_ROWS: usize = 6;

#[derive(Serialize)]
struct WeighPage<'a> {
    style: &'a str,
    force: &'a str,
    planters: Vec<WeighPlanter>,
}

#[derive(Serialize)]
struct WeighPlanter {
    id: String,
    /// What stands over the settings.
    setting: String,
    labels: Vec<String>,
    /// Whether springs press it down.
    springs: bool,
    /// How readings are typed in.
    example: String,
}

/// A page a planter; one empty page where none is described.
pub(crate) fn weigh_card(settings: &Settings) -> Result<String, SheetsError> {
    let suffix = settings.display.force();
    let mut planters: Vec<WeighPlanter> =
        settings.planters.iter().take(MOST_PLANTERS).map(|planter| weigh_planter(planter, suffix)).collect();
    if planters.is_empty() {
        planters.push(weigh_planter(&Planter::unknown(""), suffix));
    }
    let force = Kind::Force.label(suffix).unwrap_or(suffix);
    render(WEIGH_CARD, TEMPLATE, &WeighPage { style: STYLE, force, planters })
}

/// Readings of one setting, such as a scale in this unit shows.
fn readings(force: &str) -> &'static str {
    match force {
        "n" => "[182, 174, 178]",
        "kn" => "[0.182, 0.174, 0.178]",
        "kgf" => "[18.6, 17.7, 18.1]",
        _ => "[41, 39, 40]",
    }
}

/// The pressure beside them, about 20 psi.
fn pressure(unit: &str) -> &'static str {
    match unit {
        "kpa" => "140",
        "bar" => "1.4",
        "mpa" => "0.14",
        _ => "20",
    }
}

fn weigh_planter(planter: &Planter, force: &str) -> WeighPlanter {
    let springs = planter.actuator == Some(Actuator::Spring);
    match &planter.knob {
        Some(Knob::Positions { positions, .. }) => {
            let labels: Vec<String> =
                positions.iter().take(MOST_SETTINGS).map(|position| position.label.clone()).collect();
            let first = labels.first().cloned().unwrap_or_else(|| "1".to_owned());
            WeighPlanter {
                id: planter.id.clone(),
                setting: "Position".to_owned(),
                example: format!("positions = [{{ label = \"{first}\", weighed_{force} = {} }}, …]", readings(force)),
                labels,
                springs,
            }
        }
        knob => {
            let unit = match knob {
                Some(Knob::Pressure { unit, .. }) => unit.as_str(),
                _ => "psi",
            };
            WeighPlanter {
                id: planter.id.clone(),
                setting: format!("Pressure ({})", Kind::Pressure.label(unit).unwrap_or(unit)),
                example: format!(
                    "weighed = [{{ pressure_{unit} = {}, force_{force} = {} }}, …]",
                    pressure(unit),
                    readings(force)
                ),
                labels: vec![String::new(); EMPTY_ROWS],
                springs,
            }
        }
    }
}
