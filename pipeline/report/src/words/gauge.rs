//! The units a person reads forces and pressures in.

use crate::words::number;

/// A unit on an axis or a gauge.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Unit {
    Newton,
    PoundForce,
    KilogramForce,
    Kilopascal,
    PoundPerSquareInch,
    Bar,
}

impl Unit {
    /// The unit of force of this name; newtons where the name is not known.
    pub fn of_force(name: &str) -> Self {
        match name.trim().to_ascii_lowercase().as_str() {
            "lbf" | "lb" => Unit::PoundForce,
            "kgf" => Unit::KilogramForce,
            _ => Unit::Newton,
        }
    }

    /// The unit of pressure of this name; kilopascals where the name is not known.
    pub fn of_pressure(name: Option<&str>) -> Self {
        match name.map(|name| name.trim().to_ascii_lowercase()).as_deref() {
            Some("psi") => Unit::PoundPerSquareInch,
            Some("bar") => Unit::Bar,
            _ => Unit::Kilopascal,
        }
    }

    /// How the unit is written.
    pub fn symbol(self) -> &'static str {
        match self {
            Unit::Newton => "N",
            Unit::PoundForce => "lbf",
            Unit::KilogramForce => "kgf",
            Unit::Kilopascal => "kPa",
            Unit::PoundPerSquareInch => "psi",
            Unit::Bar => "bar",
        }
    }

    /// Newtons in one of this force, or kilopascals in one of this pressure.
    /// Source: NIST SP 811 (2008), appendix B: 1 lbf = 4.448 221 615 260 5 N, 1 kgf = 9.806 65 N,
    /// 1 psi = 6.894 757 293 168 kPa (1 lbf over 0.000 645 16 m²), 1 bar = 100 kPa.
    pub fn size(self) -> f64 {
        match self {
            Unit::Newton | Unit::Kilopascal => 1.0,
            Unit::PoundForce => 4.448_221_615_260_5,
            Unit::KilogramForce => 9.806_65,
            Unit::PoundPerSquareInch => 4.448_221_615_260_5 / 0.645_16,
            Unit::Bar => 100.0,
        }
    }

    fn decimals(self) -> usize {
        if self == Unit::Bar { 1 } else { 0 }
    }
}

/// How a quantity in newtons or kilopascals is shown: its unit and the decimals of its step.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Gauge {
    /// Unit shown.
    pub unit: Unit,
    decimals: usize,
}

impl Gauge {
    /// A gauge without a step: whole numbers, tenths for bar.
    pub fn plain(unit: Unit) -> Self {
        Self { unit, decimals: unit.decimals() }
    }

    /// A gauge whose knob moves in steps of so many newtons or kilopascals.
    pub fn stepped(unit: Unit, step: Option<f64>) -> Self {
        let decimals = match step {
            Some(step) if step > 0.0 => number::decimals_of_step(step / unit.size()),
            _ => unit.decimals(),
        };
        Self { unit, decimals }
    }

    /// The value in the unit shown, from newtons or kilopascals.
    pub fn value(self, kept: f64) -> f64 {
        kept / self.unit.size()
    }

    /// The number alone.
    pub fn number(self, kept: f64) -> String {
        number::fixed(self.value(kept), self.decimals)
    }

    /// A number that is in the unit shown already.
    pub fn axis_number(self, shown: f64) -> String {
        number::fixed(shown, self.decimals)
    }

    /// The number with its unit.
    pub fn text(self, kept: f64) -> String {
        number::with_unit(&self.number(kept), self.unit.symbol())
    }

    /// Two numbers with the unit once: "210 to 300 kPa".
    pub fn range(self, low: f64, high: f64) -> String {
        number::with_unit(&number::range(&self.number(low), &self.number(high)), self.unit.symbol())
    }

    /// Title of an axis in this unit.
    pub fn axis_title(self) -> String {
        let quantity = match self.unit {
            Unit::Newton | Unit::PoundForce | Unit::KilogramForce => "Closing downforce",
            Unit::Kilopascal | Unit::PoundPerSquareInch | Unit::Bar => "Closing pressure",
        };
        format!("{quantity} ({})", self.unit.symbol())
    }

    /// What the axis measures, in running text.
    pub fn quantity(self) -> &'static str {
        match self.unit {
            Unit::Newton | Unit::PoundForce | Unit::KilogramForce => "closing downforce",
            Unit::Kilopascal | Unit::PoundPerSquareInch | Unit::Bar => "closing pressure",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_turn_back_into_what_a_person_set() {
        // 35 psi and 90 lbf in kept units, by the factors of NIST SP 811.
        let psi = Gauge::stepped(Unit::of_pressure(Some("psi")), Some(5.0 * 6.894_757_293_168));
        assert_eq!(psi.text(241.316_505_26), "35\u{a0}psi");
        assert_eq!(Gauge::plain(Unit::of_force("lbf")).text(400.339_945_4), "90\u{a0}lbf");
        assert_eq!(Gauge::plain(Unit::of_force("kgf")).text(98.066_5), "10\u{a0}kgf");
        assert_eq!(Gauge::stepped(Unit::Bar, Some(5.0)).text(235.0), "2.35\u{a0}bar");
        assert_eq!(Gauge::plain(Unit::of_pressure(None)).range(210.0, 300.0), "210\u{a0}to\u{a0}300\u{a0}kPa");
    }

    #[test]
    fn an_axis_of_pressure_does_not_speak_of_force() {
        assert_eq!(Gauge::plain(Unit::Kilopascal).axis_title(), "Closing pressure (kPa)");
        assert_eq!(Gauge::plain(Unit::PoundForce).axis_title(), "Closing downforce (lbf)");
    }
}
