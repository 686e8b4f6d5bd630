//! Which unit numbers without one are probably in.

use evenstand_agronomy::Kind;
use evenstand_tables::Column as Ours;

use super::columns::{kind_of_unit, own_name};

/// A suffix, the least and the largest number.
type Usual = (&'static str, f64, f64);

/// Numbers that people write for a column in each unit (from memory of common practice, wide on purpose): stem, and for
/// each suffix the least and the largest that is usual.
const USUAL: &[(&str, &[Usual])] = &[
    ("row_length", &[("m", 1.0, 30.0), ("ft", 2.5, 100.0), ("in", 120.0, 1200.0), ("cm", 100.0, 3000.0)]),
    ("length", &[("m", 3.0, 1000.0), ("ft", 10.0, 3000.0)]),
    (
        "row_spacing",
        &[("in", 7.0, 40.0), ("cm", 15.0, 102.0), ("mm", 150.0, 1020.0), ("m", 0.15, 1.02), ("ft", 1.2, 3.4)],
    ),
    ("seed_spacing", &[("in", 1.0, 15.0), ("cm", 2.0, 40.0), ("mm", 20.0, 400.0), ("m", 0.02, 0.4)]),
    ("seed_depth", &[("in", 0.5, 3.5), ("cm", 1.5, 9.0), ("mm", 12.0, 90.0), ("m", 0.01, 0.09)]),
    ("depth", &[("in", 0.5, 48.0), ("cm", 1.0, 120.0), ("mm", 10.0, 1200.0), ("m", 0.01, 1.2)]),
    ("seed_rate", &[("per_ac", 8000.0, 250_000.0), ("per_ha", 20_000.0, 650_000.0), ("per_m2", 2.0, 65.0)]),
    ("germination", &[("pct", 40.0, 100.0), ("frac", 0.4, 1.0)]),
    ("residue_cover", &[("pct", 1.01, 100.0), ("frac", 0.0, 1.0)]),
    ("sand", &[("pct", 1.01, 100.0), ("frac", 0.0, 1.0)]),
    ("silt", &[("pct", 1.01, 100.0), ("frac", 0.0, 1.0)]),
    ("clay", &[("pct", 1.01, 100.0), ("frac", 0.0, 1.0)]),
    ("water_gravimetric", &[("pct", 2.0, 60.0), ("frac", 0.02, 0.6)]),
    ("water_volumetric", &[("pct", 2.0, 60.0), ("frac", 0.02, 0.6)]),
    ("soil_temp", &[("c", -5.0, 40.0), ("f", 33.0, 110.0)]),
    ("tmin", &[("c", -45.0, 32.0), ("f", -50.0, 90.0)]),
    ("tmax", &[("c", -40.0, 50.0), ("f", -30.0, 120.0)]),
    ("rain", &[("mm", 0.0, 400.0), ("in", 0.0, 12.0)]),
    ("speed", &[("mph", 2.0, 11.0), ("km_h", 3.0, 18.0), ("m_s", 0.8, 5.0)]),
    (
        "position",
        &[("in", 0.0, 1200.0), ("cm", 0.0, 3000.0), ("mm", 0.0, 30_000.0), ("m", 0.0, 30.0), ("ft", 0.0, 100.0)],
    ),
    ("height", &[("in", 0.5, 130.0), ("cm", 1.0, 330.0), ("m", 0.01, 3.3), ("mm", 10.0, 3300.0)]),
    ("set_pressure", &[("psi", 0.0, 120.0), ("kpa", 0.0, 800.0), ("bar", 0.0, 8.0)]),
    ("actual_pressure", &[("psi", 0.0, 120.0), ("kpa", 0.0, 800.0), ("bar", 0.0, 8.0)]),
    ("set_force", &[("lbf", 0.0, 400.0), ("n", 0.0, 1800.0), ("kgf", 0.0, 180.0), ("kn", 0.0, 1.8)]),
    ("actual_force", &[("lbf", -50.0, 400.0), ("n", -200.0, 1800.0), ("kgf", -20.0, 180.0), ("kn", -0.2, 1.8)]),
    ("row_downforce", &[("lbf", -200.0, 900.0), ("n", -900.0, 4000.0), ("kgf", -90.0, 400.0), ("kn", -0.9, 4.0)]),
    ("penetration", &[("psi", 10.0, 900.0), ("kpa", 70.0, 6000.0), ("mpa", 0.05, 6.0)]),
];
/// Spread of a summer's highest temperatures below which a reading in °F would be a winter's.
const WARM: f64 = 55.0;

/// Units that the numbers of a column may be in, the likeliest first; all of the kind where they tell nothing.
pub(super) fn likely(ours: &Ours, numbers: &[f64]) -> Vec<&'static str> {
    let Some(kind) = kind_of_unit(ours) else { return Vec::new() };
    let usual = USUAL.iter().find(|(stem, _)| *stem == own_name(ours)).map_or(&[][..], |(_, units)| units);
    let mut fitting: Vec<&'static str> = usual
        .iter()
        .filter(|(suffix, low, high)| {
            usually_within(numbers, *low, *high) && within_limits(ours, kind, suffix, numbers)
        })
        .map(|(suffix, ..)| *suffix)
        .collect();
    let most = numbers.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    // A season in which it never got warmer than 55 °F is no season of a row crop; decimals of a degree are Celsius's.
    if kind == Kind::Temperature && most < WARM {
        fitting.retain(|suffix| *suffix != "f");
    }
    // Twelve inches of rain do not fall in a day; twelve millimetres do.
    if kind == Kind::Rain && most > 12.0 {
        fitting.retain(|suffix| *suffix != "in");
    }
    if fitting.is_empty() {
        kind.suffixes().iter().copied().filter(|suffix| *suffix != "lb").collect()
    } else {
        fitting
    }
}

/// Whether numbers in a unit are as large as they usually are.
pub(super) fn usual(ours: &Ours, suffix: &str, numbers: &[f64]) -> bool {
    let units = USUAL.iter().find(|(stem, _)| *stem == own_name(ours)).map_or(&[][..], |(_, units)| units);
    units.iter().find(|(unit, ..)| *unit == suffix).is_none_or(|(_, low, high)| usually_within(numbers, *low, *high))
}

/// Whether nine numbers of ten lie within.
fn usually_within(numbers: &[f64], low: f64, high: f64) -> bool {
    let inside = numbers.iter().filter(|number| (low..=high).contains(*number) || **number == 0.0).count();
    10 * inside >= 9 * numbers.len()
}

fn within_limits(ours: &Ours, kind: Kind, suffix: &str, numbers: &[f64]) -> bool {
    let (low, high) = (ours.minimum().unwrap_or(f64::NEG_INFINITY), ours.maximum().unwrap_or(f64::INFINITY));
    let kept: Vec<f64> = numbers.iter().filter_map(|number| kind.to_kept(suffix, *number)).collect();
    usually_within(&kept, low, high)
}

#[cfg(test)]
mod tests {
    use super::*;
    use evenstand_tables::{Group, schema};

    #[test]
    fn numbers_narrow_the_units_down_where_they_can() {
        let of = |table: &str, column: &str, numbers: &[f64]| {
            likely(schema(Group::Raw, table).unwrap().column(column).unwrap(), numbers)
        };
        assert_eq!(of("field", "row_spacing_m", &[76.0]), ["cm"]);
        assert_eq!(of("field", "row_spacing_m", &[0.76]), ["m"]);
        assert_eq!(of("field", "seed_rate_per_m2", &[34_000.0]), ["per_ac", "per_ha"]);
        assert_eq!(of("stand_count", "row_length_m", &[17.5]), ["m", "ft"]);
        assert_eq!(of("weather", "tmax_c", &[9.8, 21.0]), ["c"]);
        assert_eq!(of("weather", "tmax_c", &[61.0, 88.0]), ["f"]);
        assert_eq!(of("weather", "rain_mm", &[0.0, 38.0]), ["mm"]);
        assert_eq!(of("soil_note", "residue_cover_frac", &[0.3, 0.45]), ["frac"]);
    }

    #[test]
    fn every_stem_and_suffix_is_one_of_ours() {
        for (stem, units) in USUAL {
            let columns = evenstand_tables::schemas()
                .iter()
                .filter(|table| table.group == Group::Raw)
                .flat_map(|table| &table.columns);
            let column = columns.into_iter().find(|column| column.stem.as_deref() == Some(*stem)).unwrap();
            let kind = kind_of_unit(column).unwrap();
            for (suffix, low, high) in *units {
                assert!(kind.suffixes().contains(suffix) && low < high, "{stem} {suffix}");
            }
        }
    }
}
