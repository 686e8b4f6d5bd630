//! The example row: plausible, and invented.

use evenstand_settings::{Knob, Settings};
use evenstand_tables::EXAMPLE_ROW;

use crate::known::{Known, clean};

/// A cell of the example row.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Example {
    /// Text.
    Text(String),
    /// A number, in the kept unit until it is put into that of the column.
    Number(f64),
    /// A day: year, month, day.
    Day(u16, u8, u8),
    /// A day and a time: year, month, day, hour, minute.
    Moment(u16, u8, u8, u8, u8),
}

impl Example {
    /// As a person would type it.
    pub fn text(&self) -> String {
        match self {
            Example::Text(text) => text.clone(),
            Example::Number(number) => number.to_string(),
            Example::Day(year, month, day) => format!("{year:04}-{month:02}-{day:02}"),
            Example::Moment(year, month, day, hour, minute) => {
                format!("{year:04}-{month:02}-{day:02} {hour:02}:{minute:02}")
            }
        }
    }
}

/// The values of the example row.
pub(crate) struct Examples {
    season: u16,
    planter: String,
    /// Pressure in kPa, where the planter's knob is one.
    pressure: Option<f64>,
    position: Option<String>,
}

impl Examples {
    /// Examples name the first planter of the settings and stand on its own knob, so that they look like what is to come.
    pub fn new(settings: &Settings, known: &Known) -> Self {
        let planter = settings.planters.first();
        let knob = planter.and_then(|planter| planter.knob.as_ref());
        let (pressure, position) = match knob {
            Some(Knob::Pressure { min_kpa, max_kpa, default_kpa, .. }) => {
                (Some(default_kpa.unwrap_or((min_kpa + max_kpa) / 2.0)), None)
            }
            Some(Knob::Positions { positions, default }) => {
                let first = positions.first().map(|position| &position.label);
                (None, default.as_ref().or(first).and_then(|label| clean(label)))
            }
            // 30 psi.
            None => (Some(206.842_718_795_133), None),
        };
        // A made-up year where no season is known: there is no clock here.
        let season =
            known.season.and_then(|season| u16::try_from(season).ok()).filter(|year| (1900..=2200).contains(year));
        Self {
            season: season.unwrap_or(2025),
            planter: known.planters.first().cloned().unwrap_or_else(|| "north-12".into()),
            pressure,
            position,
        }
    }

    /// The example of a column, numbers in the kept unit; nothing where a person would leave it empty.
    pub fn of(&self, table: &str, column: &str) -> Option<Example> {
        use Example::{Day, Moment, Number, Text};
        let text = |text: &str| Some(Text(text.to_owned()));
        let year = self.season;
        match (table, column) {
            (_, "field_id") => text(EXAMPLE_ROW),
            (_, "season") => Some(Number(f64::from(year))),
            (_, "strip_id") => text("S1"),
            (_, "sample_id") => text("S1-a"),
            (_, "block") => text("1"),
            (_, "row_unit") => text("5"),
            (_, "planter_id") => text(&self.planter),
            (_, "condition") => text("moist, light residue"),
            ("field", "crop") => text("maize"),
            ("field", "hybrid") => text("invented 100"),
            ("field", "planted_at") => Some(Moment(year, 4, 28, 7, 30)),
            ("field", "row_spacing_m") => Some(Number(0.762)),
            ("field", "seed_rate_per_m2") => Some(Number(8.4)),
            ("field", "seed_depth_m") => Some(Number(0.05)),
            ("field", "tillage") => text("no_till"),
            ("field", "previous_crop") => text("soybean"),
            ("field", "germination_frac") => Some(Number(0.95)),
            ("field", "replanted") => text("no"),
            ("field", "timezone") => text("America/Chicago"),
            ("strip", "treatment") => text("light"),
            ("strip", "started_at") => Some(Moment(year, 4, 28, 7, 40)),
            ("strip", "ended_at") => Some(Moment(year, 4, 28, 7, 52)),
            ("setting_log", "set_pressure_kpa" | "actual_pressure_kpa") => self.pressure.map(Number),
            ("setting_log", "closing_position") => self.position.as_deref().and_then(text),
            ("soil_note", "taken_at") => Some(Moment(year, 4, 28, 7, 0)),
            ("soil_note", "moisture_feel") => text("moist"),
            ("soil_note", "residue_cover_frac") => Some(Number(0.4)),
            ("soil_note", "crust") => text("no"),
            ("soil_note", "texture") => text("silt loam"),
            ("soil_note", "depth_m") => Some(Number(0.05)),
            ("soil_note", "soil_temp_c") => Some(Number(12.0)),
            ("dig_check", "dug_at") => Some(Moment(year, 4, 28, 7, 45)),
            ("dig_check", "trench_shut") => text("yes"),
            ("dig_check", "light_at_seed" | "air_gap" | "soil_thrown") => text("no"),
            ("dig_check", "firm_all_round") => text("yes"),
            ("dig_check", "press_mark") => text("yes"),
            ("dig_check", "dig_effort") => Some(Number(2.0)),
            ("dig_check", "seed_depth_m") => Some(Number(0.05)),
            // The length of a thousandth of an acre in rows of 30 inches.
            ("stand_count", "row_length_m") => Some(Number(5.310_758)),
            ("stand_count", "counted_at") => Some(Moment(year, 5, 9, 16, 0)),
            ("stand_count", "emerged") => Some(Number(29.0)),
            ("spacing" | "plant", "plant") => text("1"),
            ("spacing", "position_m") => Some(Number(0.16)),
            ("plant", "leaf_stage") => Some(Number(4.0)),
            ("plant", "height_m") => Some(Number(0.25)),
            ("measure", "name") => text("yield"),
            ("measure", "value") => Some(Number(11.2)),
            ("measure", "unit") => text("t/ha"),
            ("measure", "better") => text("higher"),
            ("weather", "date") => Some(Day(year, 4, 28)),
            ("weather", "tmin_c") => Some(Number(6.0)),
            ("weather", "tmax_c") => Some(Number(18.0)),
            ("weather", "rain_mm") => Some(Number(5.0)),
            _ => None,
        }
    }
}
