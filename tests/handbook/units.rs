//! Factors that follow exactly from 0.45359237 kg, 0.3048 m and 9.80665 m/s² (NIST SP 811), typed to fifteen digits.

use evenstand_agronomy::{Kind, SQUARE_METRES_PER_ACRE};

use crate::shared::relatively_near;

#[test]
fn every_factor_has_its_fifteen_digits() {
    use Kind::{Force, Length, Population, Pressure, Rain, Share, Speed};
    let factors = [
        (Force, "lbf", "n", 4.448_221_615_260_5),
        (Force, "lb", "n", 4.448_221_615_260_5),
        (Force, "n", "lbf", 0.224_808_943_099_711),
        (Force, "kgf", "n", 9.806_65),
        (Force, "lbf", "kgf", 0.453_592_37),
        (Force, "kn", "n", 1000.0),
        (Pressure, "psi", "kpa", 6.894_757_293_168_36),
        (Pressure, "kpa", "psi", 0.145_037_737_730_209),
        (Pressure, "bar", "kpa", 100.0),
        (Pressure, "psi", "bar", 0.068_947_572_931_683_6),
        (Pressure, "bar", "psi", 14.503_773_773_020_9),
        (Pressure, "mpa", "kpa", 1000.0),
        (Length, "in", "cm", 2.54),
        (Length, "ft", "m", 0.3048),
        (Length, "ft", "in", 12.0),
        (Speed, "mph", "m_s", 0.447_04),
        (Speed, "mph", "km_h", 1.609_344),
        (Population, "per_ac", "per_ha", 2.471_053_814_671_65),
        (Population, "per_m2", "per_ac", 4_046.856_422_4),
        (Population, "per_m2", "per_ha", 10_000.0),
        (Share, "frac", "pct", 100.0),
        (Rain, "in", "mm", 25.4),
    ];
    for (kind, from, to, factor) in factors {
        let converted = kind.to_kept(from, 1.0).and_then(|kept| kind.from_kept(to, kept));
        relatively_near(&format!("{from} to {to}"), converted, factor, 3e-15);
    }
    relatively_near("acre", Some(SQUARE_METRES_PER_ACRE), 43_560.0 * 0.3048 * 0.3048, 3e-16);
}

#[test]
fn fahrenheit_has_its_fixed_points_and_its_step() {
    let celsius = |fahrenheit| Kind::Temperature.to_kept("f", fahrenheit).expect("a temperature");
    assert_eq!(celsius(32.0), 0.0);
    assert_eq!(celsius(212.0), 100.0);
    assert_eq!(celsius(-40.0), -40.0);
    assert_eq!(Kind::Temperature.from_kept("f", 100.0), Some(212.0));
    relatively_near("one degree", Some(celsius(33.0) - celsius(32.0)), 5.0 / 9.0, 1e-15);
}
