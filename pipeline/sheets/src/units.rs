//! Which unit a column is filled in with.

use std::collections::BTreeMap;

use evenstand_agronomy::Kind;
use evenstand_settings::{Knob, Settings};
use evenstand_tables::{Group, schemas};

use crate::{Options, SheetsError};

/// A system of units.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum UnitSystem {
    /// Metres, centimetres, kilopascals, plants a hectare.
    Metric,
    /// Feet, inches, pounds on the square inch, plants an acre.
    Us,
}

/// The unit of every column.
pub(crate) struct Units {
    system: UnitSystem,
    force: &'static str,
    speed: &'static str,
    pressure: &'static str,
    own: BTreeMap<String, &'static str>,
}

impl Units {
    /// Errors where a unit is asked for that there is not.
    pub fn new(settings: &Settings, options: &Options) -> Result<Self, SheetsError> {
        let from_settings = if settings.display.us_customary() { UnitSystem::Us } else { UnitSystem::Metric };
        let system = options.system.unwrap_or(from_settings);
        let us = system == UnitSystem::Us;
        // A system that was asked for here goes before single units of the settings, which belong to the other one.
        let display = |kind: Kind, suffix: Option<&str>, otherwise| {
            let asked = suffix.filter(|_| system == from_settings).and_then(|suffix| spelled(kind, suffix));
            asked.unwrap_or(otherwise)
        };
        let force = display(Kind::Force, Some(settings.display.force()), if us { "lbf" } else { "n" });
        let speed = display(Kind::Speed, Some(settings.display.speed()), if us { "mph" } else { "km_h" });
        let gauge = if us { "psi" } else { "kpa" };
        let pressure = display(Kind::Pressure, settings.display.pressure(), unit_of_gauges(settings).unwrap_or(gauge));
        let own = options.units.iter().map(|(key, suffix)| Ok((key.clone(), checked(key, suffix)?)));
        let own = own.collect::<Result<_, SheetsError>>()?;
        Ok(Self { system, force, speed, pressure, own })
    }

    /// Suffix of the unit of a column: its kind, and its name without a unit.
    pub fn suffix(&self, kind: Kind, stem: &str) -> &'static str {
        if let Some(suffix) = self.own.get(stem).or_else(|| self.own.get(kind.name())) {
            return suffix;
        }
        let us = self.system == UnitSystem::Us;
        match kind {
            Kind::Force => self.force,
            Kind::Speed => self.speed,
            // A probe for soil has a gauge of its own.
            Kind::Pressure if stem == "penetration" => {
                if us {
                    "psi"
                } else {
                    "kpa"
                }
            }
            Kind::Pressure => self.pressure,
            // What is paced or taped along a row, and what is held against a ruler.
            Kind::Length if matches!(stem, "row_length" | "length" | "distance") => {
                if us {
                    "ft"
                } else {
                    "m"
                }
            }
            Kind::Length => {
                if us {
                    "in"
                } else {
                    "cm"
                }
            }
            Kind::Temperature => {
                if us {
                    "f"
                } else {
                    "c"
                }
            }
            Kind::Share => "pct",
            Kind::Population => {
                if us {
                    "per_ac"
                } else {
                    "per_ha"
                }
            }
            Kind::Rain => {
                if us {
                    "in"
                } else {
                    "mm"
                }
            }
        }
    }
}

/// The unit that the gauges of all planters read in; nothing where they differ or none has a gauge.
fn unit_of_gauges(settings: &Settings) -> Option<&'static str> {
    let mut units = settings.planters.iter().filter_map(|planter| match &planter.knob {
        Some(Knob::Pressure { unit, .. }) => spelled(Kind::Pressure, unit),
        _ => None,
    });
    let first = units.next()?;
    units.all(|unit| unit == first).then_some(first)
}

fn spelled(kind: Kind, suffix: &str) -> Option<&'static str> {
    kind.suffixes().iter().copied().find(|known| *known == suffix)
}

/// The suffix, where the key is a kind or a column that has a unit, and the kind has the suffix.
fn checked(key: &str, suffix: &str) -> Result<&'static str, SheetsError> {
    let of_column = || {
        let raw = schemas().iter().filter(|table| table.group == Group::Raw);
        let mut columns = raw.flat_map(|table| &table.columns);
        let column = columns.find(|column| column.stem.as_deref() == Some(key))?;
        Kind::parse(column.unit_kind.as_deref()?)
    };
    let fault = |found: &str, expected: String| SheetsError::Unit { key: key.into(), found: found.into(), expected };
    let kind = Kind::parse(key).or_else(of_column).ok_or_else(|| {
        let kinds: Vec<&str> = Kind::ALL.iter().map(|kind| kind.name()).collect();
        fault(key, format!("a kind of unit ({}) or a column without its unit, such as row_length", kinds.join(", ")))
    })?;
    spelled(kind, suffix).ok_or_else(|| fault(suffix, kind.suffixes().join(", ")))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn units(settings: &str, options: &Options) -> Units {
        Units::new(&Settings::parse(settings).unwrap(), options).unwrap()
    }

    #[test]
    fn units_follow_the_display_units_and_the_gauge_of_the_planters() {
        let metric = units("", &Options::default());
        assert_eq!(metric.suffix(Kind::Length, "row_length"), "m");
        assert_eq!(metric.suffix(Kind::Length, "row_spacing"), "cm");
        assert_eq!(metric.suffix(Kind::Pressure, "set_pressure"), "kpa");
        let us = units("[display]\nunits = \"us\"\nforce = \"kgf\"", &Options::default());
        assert_eq!(us.suffix(Kind::Length, "row_length"), "ft");
        assert_eq!(us.suffix(Kind::Population, "seed_rate"), "per_ac");
        assert_eq!(us.suffix(Kind::Force, "set_force"), "kgf");
        let bar = "[[planter]]\nid = \"a\"\n[planter.closing]\nkind = \"pressure\"\nmax_bar = 4\nstep_bar = 0.1\n";
        let gauge = units(bar, &Options::default());
        assert_eq!(gauge.suffix(Kind::Pressure, "set_pressure"), "bar");
        assert_eq!(gauge.suffix(Kind::Pressure, "penetration"), "kpa");
    }

    #[test]
    fn a_unit_asked_for_goes_before_all_others_and_a_columns_own_before_its_kinds() {
        let own = [("length", "in"), ("row_length", "ft"), ("share", "frac")];
        let own = own.into_iter().map(|(key, suffix)| (key.to_owned(), suffix.to_owned())).collect();
        let units = units("", &Options { units: own, ..Options::default() });
        assert_eq!(units.suffix(Kind::Length, "row_length"), "ft");
        assert_eq!(units.suffix(Kind::Length, "length"), "in");
        assert_eq!(units.suffix(Kind::Share, "germination"), "frac");
    }

    #[test]
    fn a_unit_that_there_is_not_is_refused_with_those_that_there_are() {
        let said = |key: &str, suffix: &str| {
            let units = BTreeMap::from([(key.to_owned(), suffix.to_owned())]);
            let refused = Units::new(&Settings::default(), &Options { units, ..Options::default() });
            refused.err().unwrap().to_string()
        };
        assert!(said("length", "furlong").contains("ft"), "{}", said("length", "furlong"));
        assert!(said("colour", "m").contains("row_length"), "{}", said("colour", "m"));
        assert!(said("set_pressure", "lbf").contains("psi"), "{}", said("set_pressure", "lbf"));
    }
}
