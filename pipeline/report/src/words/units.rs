//! The two systems of units that a report can be read in.

use crate::results::Results;
use crate::words::gauge::Unit;

/// A system of units. Pressures stay in the unit of the planter's own gauge in both.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum System {
    Metric,
    Us,
}

impl System {
    /// The one that the review asks for.
    pub fn of(results: &Results) -> Self {
        match Unit::of_force(results.fact("force_unit").unwrap_or("N")) {
            Unit::PoundForce => System::Us,
            _ => System::Metric,
        }
    }

    /// The other one.
    pub fn other(self) -> Self {
        match self {
            System::Metric => System::Us,
            System::Us => System::Metric,
        }
    }

    /// What the switch to it says.
    pub fn words(self) -> &'static str {
        match self {
            System::Metric => "newtons and metres",
            System::Us => "pounds-force and feet",
        }
    }

    /// Metres in a unit of length on the ground, and the unit.
    /// Source: NIST SP 811 (2008), appendix B: 1 ft = 0.3048 m.
    pub fn ground_length(self) -> (f64, &'static str) {
        match self {
            System::Metric => (1.0, "m"),
            System::Us => (0.3048, "ft"),
        }
    }

    /// Folder of the pages in this system below the report, where it is not the review's own.
    pub fn folder(self) -> &'static str {
        match self {
            System::Metric => "metric",
            System::Us => "us",
        }
    }

    /// Its unit of force, as a fact of the run has it.
    pub fn force_unit(self) -> &'static str {
        match self {
            System::Metric => "N",
            System::Us => "lbf",
        }
    }
}
