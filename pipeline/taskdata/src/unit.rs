//! Units as machines write them, to see whether what they show agrees with the dictionary.

use crate::device::Presentation;
use crate::dictionary;

/// Newtons in a pound-force and a kilogram-force, from their definitions (NIST SP 811).
const POUND: f64 = 0.453_592_37 * 9.806_65;
const KILOGRAM: f64 = 9.806_65;
const ACRE: f64 = 4_046.856_422_4;

/// Unit in lower case, unit of the International System, factor to it, and what zero of the unit is in it.
///
/// Weights are forces here: a table row is used only where the dictionary expects its kind.
static UNITS: [(&str, &str, f64, f64); 72] = [
    ("n", "N", 1.0, 0.0),
    ("dan", "N", 10.0, 0.0),
    ("kn", "N", 1000.0, 0.0),
    ("kg", "N", KILOGRAM, 0.0),
    ("kgs", "N", KILOGRAM, 0.0),
    ("kgf", "N", KILOGRAM, 0.0),
    ("kp", "N", KILOGRAM, 0.0),
    ("lb", "N", POUND, 0.0),
    ("lbs", "N", POUND, 0.0),
    ("lbf", "N", POUND, 0.0),
    ("pa", "Pa", 1.0, 0.0),
    ("hpa", "Pa", 100.0, 0.0),
    ("kpa", "Pa", 1000.0, 0.0),
    ("mbar", "Pa", 100.0, 0.0),
    ("bar", "Pa", 1e5, 0.0),
    ("psi", "Pa", POUND / (0.0254 * 0.0254), 0.0),
    ("mm", "m", 0.001, 0.0),
    ("cm", "m", 0.01, 0.0),
    ("m", "m", 1.0, 0.0),
    ("meter", "m", 1.0, 0.0),
    ("meters", "m", 1.0, 0.0),
    ("km", "m", 1000.0, 0.0),
    ("in", "m", 0.0254, 0.0),
    ("inch", "m", 0.0254, 0.0),
    ("inches", "m", 0.0254, 0.0),
    ("ft", "m", 0.3048, 0.0),
    ("feet", "m", 0.3048, 0.0),
    ("mi", "m", 1609.344, 0.0),
    ("mm/s", "m/s", 0.001, 0.0),
    ("m/s", "m/s", 1.0, 0.0),
    ("km/h", "m/s", 1000.0 / 3600.0, 0.0),
    ("kph", "m/s", 1000.0 / 3600.0, 0.0),
    ("mph", "m/s", 0.447_04, 0.0),
    ("/m²", "1/m²", 1.0, 0.0),
    ("/m2", "1/m²", 1.0, 0.0),
    ("1/m²", "1/m²", 1.0, 0.0),
    ("1/m2", "1/m²", 1.0, 0.0),
    ("/ha", "1/m²", 1e-4, 0.0),
    ("1/ha", "1/m²", 1e-4, 0.0),
    ("sds/ha", "1/m²", 1e-4, 0.0),
    ("seeds/ha", "1/m²", 1e-4, 0.0),
    ("ksds/ha", "1/m²", 0.1, 0.0),
    ("sds/ac", "1/m²", 1.0 / ACRE, 0.0),
    ("seeds/ac", "1/m²", 1.0 / ACRE, 0.0),
    ("ksds/ac", "1/m²", 1000.0 / ACRE, 0.0),
    ("/s", "1/s", 1.0, 0.0),
    ("1/s", "1/s", 1.0, 0.0),
    ("/min", "1/s", 1.0 / 60.0, 0.0),
    ("1/min", "1/s", 1.0 / 60.0, 0.0),
    ("hz", "1/s", 1.0, 0.0),
    ("m²", "m²", 1.0, 0.0),
    ("m2", "m²", 1.0, 0.0),
    ("ha", "m²", 1e4, 0.0),
    ("ac", "m²", ACRE, 0.0),
    ("s", "s", 1.0, 0.0),
    ("sec", "s", 1.0, 0.0),
    ("seconds", "s", 1.0, 0.0),
    ("min", "s", 60.0, 0.0),
    ("minutes", "s", 60.0, 0.0),
    ("h", "s", 3600.0, 0.0),
    ("hours", "s", 3600.0, 0.0),
    ("%", "1", 0.01, 0.0),
    ("ppm", "1", 1e-6, 0.0),
    ("#", "1", 1.0, 0.0),
    ("k", "K", 1.0, 0.0),
    ("mk", "K", 0.001, 0.0),
    ("c", "K", 1.0, 273.15),
    ("°c", "K", 1.0, 273.15),
    ("f", "K", 5.0 / 9.0, 459.67 * 5.0 / 9.0),
    ("°f", "K", 5.0 / 9.0, 459.67 * 5.0 / 9.0),
    ("ms/m", "S/m", 0.001, 0.0),
    ("s/m", "S/m", 1.0, 0.0),
];

/// How far the shown step may be from the dictionary's: makers round their factors to a few digits.
const TOLERANCE: f64 = 0.01;

/// What the machine shows against what the dictionary says of the same raw value, where the two differ.
///
/// None where they agree, and where the unit or the entry is not known here: then nothing is claimed.
pub(crate) fn disagreement(ddi: u16, presentation: &Presentation) -> Option<String> {
    let entry = dictionary::entry(ddi)?;
    let (step, kind) = entry.quantity()?;
    let unit = presentation.unit.as_deref()?;
    // Lower case would make millipascals of megapascals.
    let (_, shown_kind, factor, zero) = UNITS.iter().find(|row| row.0 == unit.to_lowercase() && unit != "MPa")?;
    let listed = format!("{} {}", entry.resolution, entry.unit);
    if *shown_kind != kind {
        return Some(format!("it is shown in {unit}, but by the dictionary one raw step of {ddi:04X} is {listed}"));
    }
    let shown_step = presentation.scale * factor;
    let shown_zero = presentation.shown(0.0) * factor + zero;
    if (shown_step - step).abs() > TOLERANCE * step {
        let scale = presentation.scale;
        return Some(format!(
            "one raw step is shown as {scale} {unit}, but by the dictionary ({ddi:04X}) it is {listed}"
        ));
    }
    // Temperatures are listed in thousandths of a degree, and a zero rounded by 0.15 K misleads nobody.
    let steps = if kind == "K" { 200.0 } else { 1.0 };
    let off = shown_zero.abs() > steps * step;
    off.then(|| {
        let shown = presentation.shown(0.0);
        format!("raw zero is shown as {shown} {unit}, but by the dictionary ({ddi:04X}) it is 0 {}", entry.unit)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(ddi: u16, offset: i64, scale: f64, unit: &str) -> Option<String> {
        disagreement(ddi, &Presentation { offset, scale, decimals: None, unit: Some(unit.into()) })
    }

    #[test]
    fn scales_that_say_what_the_dictionary_says_agree() {
        for (ddi, offset, scale, unit) in [
            (427, 0, 0.101971, "kgs"),
            (427, 0, 0.2248, "lbf"),
            (427, 0, 1.0, "N"),
            (366, 0, 0.00001, "bar"),
            (366, 0, 0.000145, "psi"),
            (12, 0, 0.01, "ksds/ha"),
            (415, 0, 0.0001, "%"),
            (57, 0, 0.1, "cm"),
            (119, 0, 0.0166667, "minutes"),
            (579, -273_150, 0.001, "°C"),
            (397, 0, 0.0036, "km/h"),
        ] {
            assert_eq!(said(ddi, offset, scale, unit), None, "{ddi} {unit}");
        }
        // Unknown units and states claim nothing.
        assert_eq!(said(427, 0, 5.0, "notches"), None);
        assert_eq!(said(141, 0, 5.0, "kg"), None);
    }

    #[test]
    fn another_step_another_kind_and_another_zero_are_told_apart() {
        assert!(said(427, 0, 1.0, "lbf").unwrap().contains("one raw step is shown as 1 lbf"));
        assert!(said(427, 0, 0.0001, "bar").unwrap().contains("shown in bar"));
        assert!(said(427, -500, 1.0, "N").unwrap().contains("raw zero is shown as -500 N"));
        assert_eq!(said(579, -273_000, 0.001, "°C"), None);
        assert!(said(579, 0, 0.001, "°C").unwrap().contains("raw zero is shown as 0 °C"));
    }
}
