//! What a column measures, and how its cells are shown.

use evenstand_agronomy::Kind;
use evenstand_tables::Column;

use crate::BookUnits;

/// What the numbers of a column are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Measure {
    /// A force; in the rows of planters without a calibration, a pressure.
    Force,
    /// A quantity with a unit of its own.
    Quantity(Kind, Place),
    /// A force or a pressure, as the row's `compared` says.
    Compared,
    /// In the unit of the row's response.
    Response,
    /// A fraction, shown in per cent.
    Share,
    /// A probability.
    Probability,
    /// Anything else, with the format it is shown in.
    Other(&'static str),
}

/// Where a length is measured: that decides which unit a person expects.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Place {
    /// Down in the soil.
    Depth,
    /// Along the ground, and everything that is no length.
    Ground,
}

/// What a column of this table measures. `has_response` tells whether rows of the table are about responses.
pub(crate) fn measure(table: &str, column: &Column, has_response: bool) -> Measure {
    let name = column.name.as_str();
    match column.unit.as_deref() {
        Some("N") => return Measure::Force,
        Some("kPa") => return Measure::Quantity(Kind::Pressure, Place::Ground),
        Some("m") if name.ends_with("depth_m") => return Measure::Quantity(Kind::Length, Place::Depth),
        Some("m") => return Measure::Quantity(Kind::Length, Place::Ground),
        Some("m/s") => return Measure::Quantity(Kind::Speed, Place::Ground),
        Some("degC") => return Measure::Quantity(Kind::Temperature, Place::Ground),
        Some("mm") => return Measure::Quantity(Kind::Rain, Place::Ground),
        Some("1") => return Measure::Share,
        // Seven decimals of a degree are a centimetre.
        Some("deg") => return Measure::Other("0.0000000"),
        Some("h" | "s" | "degC d") => return Measure::Other("0.0"),
        Some(_) => return Measure::Other("0.00"),
        None => {}
    }
    let probability = ["p_value", "_probability"].iter().any(|ending| name.ends_with(ending));
    if probability || name.starts_with("prob_") || name.starts_with("p_") {
        Measure::Probability
    } else if name.ends_with("_share") {
        Measure::Share
    } else if matches!(table, "telemetry" | "set_actual") && name.starts_with("mean_") {
        Measure::Compared
    } else if matches!(name, "df" | "effective_draws" | "chi_square" | "aicc" | "seeds_sown" | "emerged") {
        Measure::Other("0.0")
    } else if has_response && !matches!(table, "model" | "shapes") {
        Measure::Response
    } else {
        Measure::Other("General")
    }
}

/// How one number is shown: in which unit, and in which format of the spreadsheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Shown {
    conversion: Option<(Kind, &'static str)>,
    /// The unit in words; empty where there is none.
    pub unit: &'static str,
    /// The format.
    pub format: &'static str,
}

impl Shown {
    /// A quantity of this kind in a system of units.
    pub fn quantity(kind: Kind, place: Place, units: BookUnits) -> Self {
        let (suffix, format) = match (units, kind) {
            (BookUnits::Us, Kind::Force) => ("lbf", "0.0"),
            (BookUnits::Us, Kind::Pressure) => ("psi", "0.0"),
            (BookUnits::Us, Kind::Length) if place == Place::Depth => ("in", "0.00"),
            (BookUnits::Us, Kind::Length) => ("ft", "0.0"),
            (BookUnits::Us, Kind::Speed) => ("mph", "0.0"),
            (BookUnits::Us, Kind::Temperature) => ("f", "0.0"),
            (BookUnits::Us, Kind::Rain) => ("in", "0.00"),
            (_, Kind::Length) if place == Place::Depth => (kind.kept_suffix(), "0.000"),
            (_, Kind::Force | Kind::Pressure) => (kind.kept_suffix(), "0"),
            (_, Kind::Speed) => (kind.kept_suffix(), "0.00"),
            _ => (kind.kept_suffix(), "0.0"),
        };
        let conversion = (suffix != kind.kept_suffix()).then_some((kind, suffix));
        Self { conversion, unit: kind.label(suffix).unwrap_or_default(), format }
    }

    /// A force, or the pressure that stands in for it.
    pub fn force(is_pressure: bool, units: BookUnits) -> Self {
        Self::quantity(if is_pressure { Kind::Pressure } else { Kind::Force }, Place::Ground, units)
    }

    /// A value of a response.
    pub fn response(response: &str) -> Self {
        let share =
            response.ends_with("_share") || matches!(response, "spacing_cv" | "spacing_precision" | "synchrony");
        let (unit, format) = if share {
            ("%", "0.0%")
        } else if response.ends_with("_h") {
            ("h", "0.0")
        } else if response.ends_with("_cd") {
            ("°C·d", "0.0")
        } else {
            ("", "0.000")
        };
        Self { conversion: None, unit, format }
    }

    /// A number that is shown as it is kept.
    pub fn plain(unit: &'static str, format: &'static str) -> Self {
        Self { conversion: None, unit, format }
    }

    /// The kept number in the unit shown.
    pub fn value(self, kept: f64) -> f64 {
        self.conversion.and_then(|(kind, suffix)| kind.from_kept(suffix, kept)).unwrap_or(kept)
    }
}

/// The unit of a column as its row of units has it, where the schema's unit is shown as it is.
pub(crate) fn unit_in_words(unit: Option<&str>) -> &'static str {
    match unit {
        Some("h") => "h",
        Some("s") => "s",
        Some("deg") => "°",
        Some("degC d") => "°C·d",
        Some("leaves") => "leaves",
        _ => "",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use evenstand_tables::{ColumnType, Group, schema, schemas};

    fn us(kind: Kind, place: Place) -> Shown {
        Shown::quantity(kind, place, BookUnits::Us)
    }

    #[test]
    fn quantities_are_converted_as_worked_out_by_hand() {
        let near = |shown: f64, by_hand: f64| assert!((shown - by_hand).abs() < 5e-7, "{shown} {by_hand}");
        // NIST SP 811: 200 N / 4.4482216 = 44.961789 lbf; 241.316505 kPa = 35 psi; 2 m/s / 0.44704 = 4.473873 mph.
        near(us(Kind::Force, Place::Ground).value(200.0), 44.961_789);
        near(us(Kind::Pressure, Place::Ground).value(241.316_505_260_88), 35.0);
        near(us(Kind::Speed, Place::Ground).value(2.0), 4.473_872_6);
        near(us(Kind::Length, Place::Depth).value(0.0508), 2.0);
        near(us(Kind::Length, Place::Ground).value(30.48), 100.0);
        near(us(Kind::Temperature, Place::Ground).value(10.0), 50.0);
        near(us(Kind::Rain, Place::Ground).value(25.4), 1.0);
        assert_eq!(Shown::force(false, BookUnits::Metric).value(200.0), 200.0);
        assert_eq!(Shown::force(true, BookUnits::Us).unit, "psi");
        assert_eq!(Shown::force(true, BookUnits::Metric).unit, "kPa");
    }

    #[test]
    fn every_unit_of_the_result_tables_is_known_here() {
        for table in schemas().iter().filter(|table| table.group == Group::Results) {
            let has_response = table.column("response").is_some();
            for column in table.columns.iter().filter(|column| column.column_type == ColumnType::Number) {
                if let (Some(unit), Measure::Other(_)) = (&column.unit, measure(&table.name, column, has_response)) {
                    assert!(!unit_in_words(Some(unit)).is_empty(), "{}.{}: {unit}", table.name, column.name);
                }
            }
        }
    }

    #[test]
    fn columns_without_a_unit_are_told_apart_by_name() {
        let of = |table: &str, column: &str| {
            let schema = schema(Group::Results, table).unwrap();
            measure(table, schema.column(column).unwrap(), schema.column("response").is_some())
        };
        assert_eq!(of("comparisons", "p_value"), Measure::Probability);
        assert_eq!(of("comparisons", "p_between_fields"), Measure::Probability);
        assert_eq!(of("comparisons", "spread_between_fields"), Measure::Response);
        assert_eq!(of("starting_points", "prob_gain"), Measure::Probability);
        assert_eq!(of("dig_window", "window_probability"), Measure::Probability);
        assert_eq!(of("starting_points", "gain_vs_default"), Measure::Response);
        assert_eq!(of("comparisons", "df"), Measure::Other("0.0"));
        assert_eq!(of("telemetry", "stuck_share"), Measure::Share);
        assert_eq!(of("set_actual", "mean_set"), Measure::Compared);
        assert_eq!(of("model", "value"), Measure::Other("General"));
        assert_eq!(of("digs", "seed_depth_m"), Measure::Quantity(Kind::Length, Place::Depth));
    }
}
