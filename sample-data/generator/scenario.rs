//! Which fields there are, season by season, and how they were planted.

use super::clock::LocalMinute;
use super::condition::Condition;

/// Kilopascals in a pound-force per square inch (NIST SP 811, appendix B.8).
const KPA_PER_PSI: f64 = 6.894_757;

/// Closing pressure in kPa and the force it gives at one row in N, for planter `north-12`.
pub const CALIBRATION: [[f64; 2]; 5] = [[0.0, 0.0], [100.0, 95.0], [200.0, 205.0], [300.0, 320.0], [413.7, 440.0]];
/// Weighed force in N of the spring positions 1 to 5 of planter `south-8`.
pub const POSITIONS: [f64; 5] = [80.0, 130.0, 180.0, 235.0, 290.0];

/// Who a field belongs to.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Client {
    /// Keeps records in inches, feet, psi and miles an hour.
    Tamarack,
    /// Keeps records in metric units.
    Hollis,
}

impl Client {
    /// Both, in the order of the files.
    pub const ALL: [Self; 2] = [Self::Tamarack, Self::Hollis];

    /// The name in full.
    pub fn name(self) -> &'static str {
        match self {
            Self::Tamarack => "Tamarack Land Co.",
            Self::Hollis => "Hollis & Daughters",
        }
    }

    /// The name in file names.
    pub fn short(self) -> &'static str {
        match self {
            Self::Tamarack => "tamarack",
            Self::Hollis => "hollis",
        }
    }
}

/// What the closing system was set to.
#[derive(Clone, Copy, PartialEq)]
pub enum Setting {
    /// Pressure of planter `north-12`, psi.
    Psi(f64),
    /// Pressure of planter `north-12`, kPa.
    Kpa(f64),
    /// Spring position of planter `south-8`, counted from 1.
    Position(usize),
}

impl Setting {
    /// The force that the setting gives, N.
    pub fn force_n(self) -> f64 {
        match self {
            Self::Psi(psi) => force_of_pressure(psi * KPA_PER_PSI),
            Self::Kpa(kpa) => force_of_pressure(kpa),
            Self::Position(label) => POSITIONS[label.clamp(1, POSITIONS.len()) - 1],
        }
    }

    /// The planter it belongs to.
    pub fn planter(self) -> &'static str {
        match self {
            Self::Psi(_) | Self::Kpa(_) => "north-12",
            Self::Position(_) => "south-8",
        }
    }

    /// The number on the knob.
    pub fn shown(self) -> String {
        match self {
            Self::Psi(value) | Self::Kpa(value) => format!("{value}"),
            Self::Position(label) => format!("{label}"),
        }
    }
}

/// Force at a pressure in kPa: piecewise linear between the calibration points, held at the last.
fn force_of_pressure(kpa: f64) -> f64 {
    for pair in CALIBRATION.windows(2) {
        let ([low_kpa, low_n], [high_kpa, high_n]) = (pair[0], pair[1]);
        if kpa <= high_kpa {
            return low_n + (high_n - low_n) * (kpa - low_kpa) / (high_kpa - low_kpa);
        }
    }
    CALIBRATION[CALIBRATION.len() - 1][1]
}

/// What a field-season is there to show.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// A strip trial in randomised complete blocks.
    Trial,
    /// A strip trial on ground where force does nothing.
    NoResponse,
    /// A strip trial that was planted again, so its counts are not used.
    Replanted,
    /// An ordinary field: every strip at one setting, chosen for the soil.
    Log,
}

/// One field in one season.
pub struct FieldSeason {
    /// Name of the field.
    pub field: &'static str,
    /// Year of planting.
    pub season: i32,
    /// Whose it is.
    pub client: Client,
    /// Farm it lies on.
    pub farm: &'static str,
    /// Month, day and hour of planting.
    pub planted: (u32, u32, i64),
    /// Soil and residue at planting.
    pub condition: Condition,
    /// What it is there to show.
    pub role: Role,
    /// Settings compared.
    pub settings: &'static [Setting],
    /// Blocks of a trial; strips of a log.
    pub repeats: usize,
    /// USDA texture class.
    pub texture: &'static str,
    /// Whether settings were logged by telemetry.
    pub telemetry: bool,
    /// Whether somebody dug behind the planter.
    pub dug: bool,
    /// Strips that were planted and never counted.
    pub uncounted: &'static [&'static str],
}

impl FieldSeason {
    /// When planting began.
    pub fn planted_at(&self) -> LocalMinute {
        let (month, day, hour) = self.planted;
        LocalMinute::new(self.season, month, day, hour, 30)
    }

    /// Whether settings varied inside the field.
    pub fn is_trial(&self) -> bool {
        self.role != Role::Log
    }

    /// Field and season, to tell field-seasons apart in a list.
    pub fn is(&self, field: &str, season: i32) -> bool {
        self.field == field && self.season == season
    }
}

use Client::{Hollis, Tamarack};
use Condition::{DryBare, MoistBare, MoistCovered, WetCovered};
use Role::{Log, NoResponse, Replanted, Trial};
use Setting::{Kpa, Position, Psi};

const FIVE_PSI: &[Setting] = &[Psi(14.0), Psi(21.0), Psi(28.0), Psi(36.0), Psi(45.0)];
const FOUR_PSI: &[Setting] = &[Psi(15.0), Psi(24.0), Psi(33.0), Psi(42.0)];
const LIGHT_PSI: &[Setting] = &[Psi(8.0), Psi(16.0), Psi(24.0), Psi(32.0)];
const FIVE_KPA: &[Setting] = &[Kpa(105.0), Kpa(155.0), Kpa(205.0), Kpa(260.0), Kpa(315.0)];
const FIVE_POSITIONS: &[Setting] = &[Position(1), Position(2), Position(3), Position(4), Position(5)];
const LIGHT_POSITIONS: &[Setting] = &[Position(1), Position(2), Position(3), Position(4)];

const QUARRY_BEND: &str = "Quarry Bend";
const LINDQVIST: &str = "Lindqvist Place";
const COLD_SPRING: &str = "Cold Spring";
const HOME_FARM: &str = "Home Farm";
const RIDGE_FARM: &str = "Ridge Farm";
const THE_REACH: &str = "The Reach";

/// Everything but what differs between ordinary trials of a block design.
const fn plan(
    field: &'static str,
    season: i32,
    client: Client,
    farm: &'static str,
    planted: (u32, u32, i64),
    condition: Condition,
    settings: &'static [Setting],
) -> FieldSeason {
    FieldSeason {
        field,
        season,
        client,
        farm,
        planted,
        condition,
        role: Trial,
        settings,
        repeats: 4,
        texture: match condition {
            MoistCovered => "silt loam",
            DryBare => "loam",
            WetCovered => "silty clay loam",
            MoistBare => "sandy loam",
        },
        telemetry: false,
        dug: false,
        uncounted: &[],
    }
}

/// Every field-season of the review, season by season.
#[rustfmt::skip]
pub const FIELD_SEASONS: &[FieldSeason] = &[
    FieldSeason { dug: true, ..plan("quarry-east", 2022, Tamarack, QUARRY_BEND, (5, 10, 9), MoistCovered, FIVE_PSI) },
    plan("lindqvist-40", 2022, Tamarack, LINDQVIST, (5, 16, 13), DryBare, FIVE_PSI),
    FieldSeason { dug: true, ..plan("home-north", 2022, Hollis, HOME_FARM, (5, 12, 8), MoistCovered, FIVE_POSITIONS) },
    FieldSeason { dug: true, ..plan("ridge-top", 2022, Hollis, RIDGE_FARM, (5, 18, 10), DryBare, FIVE_POSITIONS) },
    FieldSeason { telemetry: true, uncounted: &["S06", "S17"], ..plan("quarry-west", 2023, Tamarack, QUARRY_BEND, (5, 8, 10), MoistCovered, FIVE_PSI) },
    FieldSeason { telemetry: true, dug: true, ..plan("cold-spring-2", 2023, Tamarack, COLD_SPRING, (5, 15, 9), DryBare, FIVE_PSI) },
    FieldSeason { repeats: 3, dug: true, ..plan("lindqvist-bottom", 2023, Tamarack, LINDQVIST, (5, 4, 11), WetCovered, LIGHT_PSI) },
    FieldSeason { role: Log, repeats: 6, ..plan("quarry-pond", 2023, Tamarack, QUARRY_BEND, (5, 5, 12), WetCovered, &[Psi(14.0)]) },
    plan("home-south", 2023, Hollis, HOME_FARM, (5, 11, 9), MoistCovered, FIVE_POSITIONS),
    FieldSeason { telemetry: true, dug: true, uncounted: &["S13"], ..plan("quarry-east", 2024, Tamarack, QUARRY_BEND, (5, 9, 8), MoistCovered, FIVE_PSI) },
    FieldSeason { telemetry: true, ..plan("lindqvist-40", 2024, Tamarack, LINDQVIST, (5, 17, 9), DryBare, FIVE_PSI) },
    FieldSeason { role: Log, repeats: 8, ..plan("cold-spring-1", 2024, Tamarack, COLD_SPRING, (5, 18, 14), DryBare, &[Psi(42.0)]) },
    FieldSeason { uncounted: &["S11"], ..plan("home-north", 2024, Hollis, HOME_FARM, (5, 13, 8), MoistCovered, FIVE_POSITIONS) },
    FieldSeason { repeats: 3, dug: true, ..plan("reach-creek", 2024, Hollis, THE_REACH, (5, 7, 13), WetCovered, LIGHT_POSITIONS) },
    FieldSeason { role: NoResponse, dug: true, ..plan("ridge-mill", 2024, Hollis, RIDGE_FARM, (5, 14, 9), MoistBare, FIVE_KPA) },
    FieldSeason { telemetry: true, repeats: 3, ..plan("quarry-west", 2025, Tamarack, QUARRY_BEND, (5, 7, 9), MoistCovered, FOUR_PSI) },
    FieldSeason { dug: true, uncounted: &["S04", "S05"], ..plan("cold-spring-2", 2025, Tamarack, COLD_SPRING, (5, 19, 10), DryBare, FIVE_PSI) },
    plan("home-south", 2025, Hollis, HOME_FARM, (5, 10, 9), MoistCovered, FIVE_POSITIONS),
    FieldSeason { role: NoResponse, ..plan("ridge-mill", 2025, Hollis, RIDGE_FARM, (5, 15, 10), MoistBare, FIVE_KPA) },
    FieldSeason { role: Replanted, ..plan("reach-house", 2025, Hollis, THE_REACH, (5, 6, 12), MoistCovered, FIVE_POSITIONS) },
    FieldSeason { role: Log, repeats: 8, ..plan("home-north", 2025, Hollis, HOME_FARM, (5, 12, 9), MoistCovered, &[Position(3)]) },
];
