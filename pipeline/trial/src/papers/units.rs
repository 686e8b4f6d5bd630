//! Lengths in the units of the report, and settings as their knob shows them.

use evenstand_agronomy::Kind;
use evenstand_settings::{Knob, Settings};

use crate::{Plan, Setting};

/// How numbers are written on the papers of a plan.
pub(crate) struct Units {
    us: bool,
    force: String,
    /// Decimals of the gauge of each planter, in the order of the plan.
    decimals: Vec<usize>,
}

impl Units {
    pub fn new(plan: &Plan, settings: &Settings) -> Self {
        let decimals = plan.planters.iter().map(|planter| {
            let unit = planter.gauge.as_deref().unwrap_or("kpa");
            let known = settings.planters.iter().find(|known| known.id == planter.id);
            match known.and_then(|known| known.knob.as_ref()) {
                Some(Knob::Pressure { step_kpa, .. }) if *step_kpa > 0.0 => {
                    decimals_of_step(Kind::Pressure.from_kept(unit, *step_kpa).unwrap_or(*step_kpa))
                }
                _ => match unit {
                    "bar" => 1,
                    "mpa" => 2,
                    _ => 0,
                },
            }
        });
        Self {
            us: settings.display.us_customary(),
            force: settings.display.force().to_owned(),
            decimals: decimals.collect(),
        }
    }

    /// Suffix of lengths along the field.
    pub fn length_suffix(&self) -> &'static str {
        if self.us { "ft" } else { "m" }
    }

    /// Suffix of lengths that are held against a ruler.
    pub fn small_suffix(&self) -> &'static str {
        if self.us { "in" } else { "cm" }
    }

    /// Suffix of seeds by area.
    pub fn area_suffix(&self) -> &'static str {
        if self.us { "per_ac" } else { "per_ha" }
    }

    /// A length along the field as it is paced or taped: whole feet, or metres to a tenth.
    pub fn along(&self, metres: f64) -> String {
        if self.us { number(metres / 0.3048, 0) } else { number(metres, 1) }
    }

    /// The same with its unit.
    pub fn along_with_unit(&self, metres: f64) -> String {
        format!("{} {}", self.along(metres), self.length_suffix())
    }

    /// A length that is taped: a tenth of a foot or a centimetre.
    pub fn taped(&self, metres: f64) -> String {
        if self.us { number(metres / 0.3048, 2) } else { number(metres, 2) }
    }

    /// A row spacing.
    pub fn spacing(&self, metres: f64) -> String {
        if self.us { number(metres / 0.0254, 2) } else { number(metres * 100.0, 1) }
    }

    /// Seeds by area, to a whole one.
    pub fn by_area(&self, per_m2: f64) -> String {
        number(Kind::Population.from_kept(self.area_suffix(), per_m2).unwrap_or(per_m2), 0)
    }

    /// A force with its unit.
    pub fn force(&self, newtons: f64) -> String {
        let value = Kind::Force.from_kept(&self.force, newtons).unwrap_or(newtons);
        format!("{} {}", number(value, 0), Kind::Force.label(&self.force).unwrap_or("N"))
    }

    /// What the knob of a planter is set to, without its unit.
    pub fn knob(&self, plan: &Plan, planter: usize, setting: &Setting) -> String {
        match setting {
            Setting::Position(label) => label.clone(),
            Setting::PressureKpa(kpa) => {
                let unit = self.gauge(plan, planter);
                let shown = Kind::Pressure.from_kept(unit, *kpa).unwrap_or(*kpa);
                number(shown, self.decimals.get(planter).copied().unwrap_or(0))
            }
        }
    }

    /// The same as people say it: with the unit, or as a position.
    pub fn knob_in_words(&self, plan: &Plan, planter: usize, setting: &Setting) -> String {
        match setting {
            Setting::Position(label) => format!("position {label}"),
            Setting::PressureKpa(_) => {
                format!("{} {}", self.knob(plan, planter, setting), self.gauge_label(plan, planter))
            }
        }
    }

    /// Suffix of the unit that the gauge of a planter reads in.
    pub fn gauge<'a>(&self, plan: &'a Plan, planter: usize) -> &'a str {
        let gauge = plan.planters.get(planter).and_then(|planter| planter.gauge.as_deref());
        gauge.filter(|unit| Kind::Pressure.suffixes().contains(unit)).unwrap_or("kpa")
    }

    /// How that unit is written.
    pub fn gauge_label(&self, plan: &Plan, planter: usize) -> &'static str {
        Kind::Pressure.label(self.gauge(plan, planter)).unwrap_or("kPa")
    }
}

/// Decimals that a step needs, at most 3.
fn decimals_of_step(step: f64) -> usize {
    (0..3)
        .find(|decimals| {
            let scaled = step * 10_f64.powi(*decimals);
            (scaled - scaled.round()).abs() < 1e-3 && scaled.round() >= 1.0
        })
        .map_or(3, |decimals| decimals.unsigned_abs() as usize)
}

/// A number with so many decimals and no noughts at its end.
pub(crate) fn number(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_end_in_no_nought_and_steps_tell_their_decimals() {
        assert_eq!([number(30.04, 1), number(-0.01, 1), number(1.25, 2), number(100.0, 0)], ["30", "0", "1.25", "100"]);
        assert_eq!([0.5, 1.0, 5.0, 0.25, 0.001].map(decimals_of_step), [1, 0, 0, 2, 3]);
    }
}
