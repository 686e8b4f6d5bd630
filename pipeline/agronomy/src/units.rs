//! Units that ride in a column's header, and the exact factors between them.
//!
//! Every factor is written out of its definition (NIST SP 811: 1 lb = 0.45359237 kg, 1 ft = 0.3048 m, standard gravity
//! 9.80665 m/s²), so nothing here is a rounded table value.

/// Square metres in one acre of international feet: 43 560 × 0.3048².
///
/// The older acre of United States survey feet is larger by four parts in a million, far below what a count can tell.
pub const SQUARE_METRES_PER_ACRE: f64 = 4_046.856_422_4;

const NEWTONS_PER_KILOGRAM_FORCE: f64 = 9.806_65;
const NEWTONS_PER_POUND_FORCE: f64 = 0.453_592_37 * 9.806_65;
const METRES_PER_INCH: f64 = 0.0254;
const METRES_PER_FOOT: f64 = 0.3048;
/// 1609.344 m in 3600 s.
const METRES_PER_SECOND_PER_MILE_PER_HOUR: f64 = 0.447_04;

/// A kind of quantity that a column can measure; units are converted within a kind and never across.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Kind {
    /// Kept in newtons.
    Force,
    /// Gauge pressure, kept in kilopascals. A pressure is not a force: without an area there is no factor between them.
    Pressure,
    /// Kept in metres.
    Length,
    /// Kept in metres a second.
    Speed,
    /// Kept in degrees Celsius.
    Temperature,
    /// Kept as a fraction.
    Share,
    /// Plants or seeds on an area, kept per square metre.
    Population,
    /// Depth of rain, kept in millimetres.
    Rain,
}

/// One unit of a kind: `kept = (value − zero) × multiply / divide`.
///
/// Two numbers and not one factor, because 30 cm must be the double nearest to 0.3 m: 30 / 100 is, 30 × 0.01 need not be.
struct Unit {
    suffix: &'static str,
    label: &'static str,
    zero: f64,
    multiply: f64,
    divide: f64,
}

/// The way from one unit to the kept one of its kind.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conversion {
    zero: f64,
    multiply: f64,
    divide: f64,
}

impl Conversion {
    /// The value in the kept unit: `(value − zero) × multiply / divide`.
    pub fn to_kept(self, value: f64) -> f64 {
        (value - self.zero) * self.multiply / self.divide
    }
}

const fn unit(suffix: &'static str, label: &'static str, multiply: f64, divide: f64) -> Unit {
    Unit { suffix, label, zero: 0.0, multiply, divide }
}

static FORCE: [Unit; 5] = [
    unit("n", "N", 1.0, 1.0),
    unit("kn", "kN", 1000.0, 1.0),
    unit("lbf", "lbf", NEWTONS_PER_POUND_FORCE, 1.0),
    unit("kgf", "kgf", NEWTONS_PER_KILOGRAM_FORCE, 1.0),
    unit("lb", "lbf", NEWTONS_PER_POUND_FORCE, 1.0),
];
static PRESSURE: [Unit; 4] = [
    unit("kpa", "kPa", 1.0, 1.0),
    unit("psi", "psi", NEWTONS_PER_POUND_FORCE, METRES_PER_INCH * METRES_PER_INCH * 1000.0),
    unit("bar", "bar", 100.0, 1.0),
    unit("mpa", "MPa", 1000.0, 1.0),
];
static LENGTH: [Unit; 5] = [
    unit("m", "m", 1.0, 1.0),
    unit("mm", "mm", 1.0, 1000.0),
    unit("cm", "cm", 1.0, 100.0),
    unit("in", "in", METRES_PER_INCH, 1.0),
    unit("ft", "ft", METRES_PER_FOOT, 1.0),
];
static SPEED: [Unit; 3] = [
    unit("m_s", "m/s", 1.0, 1.0),
    unit("km_h", "km/h", 1000.0, 3600.0),
    unit("mph", "mph", METRES_PER_SECOND_PER_MILE_PER_HOUR, 1.0),
];
static TEMPERATURE: [Unit; 2] =
    [unit("c", "°C", 1.0, 1.0), Unit { suffix: "f", label: "°F", zero: 32.0, multiply: 5.0, divide: 9.0 }];
static SHARE: [Unit; 2] = [unit("frac", "fraction", 1.0, 1.0), unit("pct", "%", 1.0, 100.0)];
static POPULATION: [Unit; 3] = [
    unit("per_m2", "plants/m²", 1.0, 1.0),
    unit("per_ha", "plants/ha", 1.0, 10_000.0),
    unit("per_ac", "plants/acre", 1.0, SQUARE_METRES_PER_ACRE),
];
static RAIN: [Unit; 2] = [unit("mm", "mm", 1.0, 1.0), unit("in", "in", 25.4, 1.0)];

/// A column name taken apart into what it measures and the unit it ends in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ColumnUnit<'a> {
    /// The name without its unit, such as `set_force` of `set_force_lbf`.
    pub base: &'a str,
    /// The unit suffix, without the underscore before it, as the kind spells it.
    pub suffix: &'static str,
}

impl Kind {
    /// Every kind, in the order of the data contract.
    pub const ALL: [Kind; 8] = [
        Kind::Force,
        Kind::Pressure,
        Kind::Length,
        Kind::Speed,
        Kind::Temperature,
        Kind::Share,
        Kind::Population,
        Kind::Rain,
    ];

    /// The kind of that name (`force`, `pressure`, …), or `None`.
    pub fn parse(name: &str) -> Option<Kind> {
        Kind::ALL.into_iter().find(|kind| kind.name() == name)
    }

    /// The name that a schema uses.
    pub fn name(self) -> &'static str {
        match self {
            Kind::Force => "force",
            Kind::Pressure => "pressure",
            Kind::Length => "length",
            Kind::Speed => "speed",
            Kind::Temperature => "temperature",
            Kind::Share => "share",
            Kind::Population => "population",
            Kind::Rain => "rain",
        }
    }

    /// The suffix of the unit that is kept, without an underscore before it.
    pub fn kept_suffix(self) -> &'static str {
        self.suffixes()[0]
    }

    /// All suffixes of the kind, the kept one first, without an underscore before them.
    ///
    /// `lb` stands under force as pounds-force: whether a column's base name says that it is a force, is for the reader
    /// of the file to judge.
    pub fn suffixes(self) -> &'static [&'static str] {
        match self {
            Kind::Force => &["n", "kn", "lbf", "kgf", "lb"],
            Kind::Pressure => &["kpa", "psi", "bar", "mpa"],
            Kind::Length => &["m", "mm", "cm", "in", "ft"],
            Kind::Speed => &["m_s", "km_h", "mph"],
            Kind::Temperature => &["c", "f"],
            Kind::Share => &["frac", "pct"],
            Kind::Population => &["per_m2", "per_ha", "per_ac"],
            Kind::Rain => &["mm", "in"],
        }
    }

    fn units(self) -> &'static [Unit] {
        match self {
            Kind::Force => &FORCE,
            Kind::Pressure => &PRESSURE,
            Kind::Length => &LENGTH,
            Kind::Speed => &SPEED,
            Kind::Temperature => &TEMPERATURE,
            Kind::Share => &SHARE,
            Kind::Population => &POPULATION,
            Kind::Rain => &RAIN,
        }
    }

    fn unit(self, suffix: &str) -> Option<&'static Unit> {
        self.units().iter().find(|unit| unit.suffix == suffix)
    }

    /// The value in the kept unit, or `None` where the suffix is not one of this kind.
    pub fn to_kept(self, suffix: &str, value: f64) -> Option<f64> {
        Some(self.conversion(suffix)?.to_kept(value))
    }

    /// What brings values of the unit of that suffix into the kept one, for many values; `None` where the suffix is not one of
    /// this kind.
    pub fn conversion(self, suffix: &str) -> Option<Conversion> {
        let unit = self.unit(suffix)?;
        Some(Conversion { zero: unit.zero, multiply: unit.multiply, divide: unit.divide })
    }

    /// The kept value in the unit of the suffix, or `None` where the suffix is not one of this kind.
    pub fn from_kept(self, suffix: &str, value: f64) -> Option<f64> {
        let unit = self.unit(suffix)?;
        Some(value * unit.divide / unit.multiply + unit.zero)
    }

    /// How a person writes the unit of that suffix, such as `km/h`; `None` where the suffix is not one of this kind.
    pub fn label(self, suffix: &str) -> Option<&'static str> {
        self.unit(suffix).map(|unit| unit.label)
    }

    /// The column name split before its unit, or `None` where it does not end in a unit of this kind.
    ///
    /// The suffix is matched as written, in lower case, and something must stand before it.
    pub fn split_column(self, column: &str) -> Option<ColumnUnit<'_>> {
        // Longest first. No suffix of one kind ends in another one's today; a later one might.
        let mut suffixes = self.suffixes().to_vec();
        suffixes.sort_by_key(|suffix| std::cmp::Reverse(suffix.len()));
        suffixes.into_iter().find_map(|suffix| {
            let base = column.strip_suffix(suffix)?.strip_suffix('_')?;
            (!base.is_empty()).then_some(ColumnUnit { base, suffix })
        })
    }
}

/// The kinds that know this suffix, in the order of [`Kind::ALL`]: none, one, or two (`mm` and `in` are lengths and rain).
///
/// For a message that says what a misplaced unit is: `psi` is a pressure and this column wants a force.
pub fn kinds_of_suffix(suffix: &str) -> Vec<Kind> {
    Kind::ALL.into_iter().filter(|kind| kind.suffixes().contains(&suffix)).collect()
}

/// How a person writes the unit of that suffix, whichever kind it belongs to; `None` where no kind knows it.
pub fn label_of_suffix(suffix: &str) -> Option<&'static str> {
    Kind::ALL.into_iter().find_map(|kind| kind.label(suffix))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_two_lists_of_suffixes_agree_and_the_kept_one_stands_first() {
        for kind in Kind::ALL {
            let of_units: Vec<&str> = kind.units().iter().map(|unit| unit.suffix).collect();
            assert_eq!(of_units, kind.suffixes(), "{}", kind.name());
            assert_eq!(kind.to_kept(kind.kept_suffix(), 12.5), Some(12.5), "{}", kind.name());
            assert_eq!(Kind::parse(kind.name()), Some(kind));
        }
        let kept: Vec<&str> = Kind::ALL.iter().map(|kind| kind.kept_suffix()).collect();
        assert_eq!(kept, ["n", "kpa", "m", "m_s", "c", "frac", "per_m2", "mm"]);
        assert_eq!(Kind::parse("colour"), None);
    }

    #[test]
    fn a_value_survives_the_way_to_the_kept_unit_and_back() {
        for kind in Kind::ALL {
            for &suffix in kind.suffixes() {
                for value in [-3.7, 0.0, 0.1, 17.424, 34_000.0] {
                    let kept = kind.to_kept(suffix, value).expect("a suffix of the kind");
                    let back = kind.from_kept(suffix, kept).expect("a suffix of the kind");
                    // Adding 32 to a difference near −32 leaves an absolute error of one unit in the last place of 32.
                    let tolerance = 4.0 * f64::EPSILON * value.abs().max(32.0);
                    assert!((back - value).abs() <= tolerance, "{} {suffix} {value} {back}", kind.name());
                }
            }
        }
    }

    #[test]
    fn round_numbers_stay_round() {
        assert_eq!(Kind::Length.to_kept("cm", 30.0), Some(0.3));
        assert_eq!(Kind::Length.to_kept("mm", 762.0), Some(0.762));
        assert_eq!(Kind::Share.to_kept("pct", 30.0), Some(0.3));
        assert_eq!(Kind::Population.to_kept("per_ha", 84_000.0), Some(8.4));
        assert_eq!(Kind::Temperature.to_kept("f", 86.0), Some(30.0));
        assert_eq!(Kind::Temperature.to_kept("f", 50.0), Some(10.0));
        assert_eq!(Kind::Speed.to_kept("km_h", 9.0), Some(2.5));
        assert_eq!(Kind::Rain.to_kept("in", 1.0), Some(25.4));
    }

    #[test]
    fn a_pressure_is_refused_where_a_force_is_wanted() {
        assert_eq!(Kind::Force.to_kept("psi", 40.0), None);
        assert_eq!(Kind::Force.split_column("set_force_psi"), None);
        assert_eq!(kinds_of_suffix("psi"), [Kind::Pressure]);
        assert_eq!(kinds_of_suffix("mm"), [Kind::Length, Kind::Rain]);
        assert!(kinds_of_suffix("furlong").is_empty());
    }

    #[test]
    fn a_column_is_split_before_its_unit() {
        let split = |kind: Kind, column| kind.split_column(column).map(|found| (found.base, found.suffix));
        assert_eq!(split(Kind::Speed, "speed_km_h"), Some(("speed", "km_h")));
        assert_eq!(split(Kind::Population, "seed_rate_per_m2"), Some(("seed_rate", "per_m2")));
        assert_eq!(split(Kind::Length, "row_length_mm"), Some(("row_length", "mm")));
        assert_eq!(split(Kind::Force, "set_force_n"), Some(("set_force", "n")));
        assert_eq!(split(Kind::Force, "set_force_kn"), Some(("set_force", "kn")));
        assert_eq!(split(Kind::Length, "_m"), None);
        assert_eq!(split(Kind::Length, "m"), None);
        assert_eq!(split(Kind::Length, "row_length"), None);
        assert_eq!(split(Kind::Length, "row_length_ü"), None);
    }

    #[test]
    fn labels_are_what_a_person_writes() {
        assert_eq!(Kind::Speed.label("km_h"), Some("km/h"));
        assert_eq!(label_of_suffix("per_ha"), Some("plants/ha"));
        assert_eq!(label_of_suffix("f"), Some("°F"));
        assert_eq!(label_of_suffix("furlong"), None);
    }
}
