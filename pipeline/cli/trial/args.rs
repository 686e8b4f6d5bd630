//! What can be said of a trial. The comments here are the help.

use std::path::PathBuf;

use clap::Args;
use jiff::civil::Date;

use crate::args::Common;
use evenstand_agronomy::quantity::{length, population};

/// Options of `evenstand trial`. What is not given comes from the review, else from a default that the plan names.
#[derive(Debug, Clone, Args)]
pub struct TrialArgs {
    /// Where the review is.
    #[command(flatten)]
    pub common: Common,
    /// Ask question by question; an empty answer takes what stands in brackets.
    #[arg(long)]
    pub ask: bool,
    /// Field that the trial lies in.
    #[arg(long, value_name = "FIELD")]
    pub field: Option<String>,
    /// Condition that the trial is for, as the review labels it; by default that of the field's latest strips.
    #[arg(long, value_name = "LABEL")]
    pub condition: Option<String>,
    /// Year of planting; by default the year after the review's latest season.
    #[arg(long, value_name = "YEAR")]
    pub season: Option<i64>,
    /// Planter; twice for two planters side by side (settings then change along the pass).
    #[arg(long, value_name = "ID")]
    pub planter: Vec<String>,
    /// Closers to compare, hard to change: they get groups of neighbouring strips (a split plot).
    #[arg(long, value_name = "A,B", value_delimiter = ',')]
    pub closers: Vec<String>,
    /// The settings themselves, in the planter's knob: 20psi,28psi,36psi or labels of positions.
    #[arg(long, value_name = "LIST", value_delimiter = ',', conflicts_with = "levels")]
    pub settings: Vec<String>,
    /// Number of settings, where they are not named.
    #[arg(long, value_name = "N")]
    pub levels: Option<usize>,
    /// Blocks.
    #[arg(long, value_name = "N")]
    pub blocks: Option<usize>,
    /// Strips a block, where a block cannot hold every setting (incomplete blocks).
    #[arg(long, value_name = "N")]
    pub strips_per_block: Option<usize>,
    /// Passes a strip.
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub passes: usize,
    /// Passes at the default on either side of the trial.
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub border_passes: usize,
    /// Rows of the planter; once for each planter.
    #[arg(long, value_name = "N")]
    pub rows: Vec<u32>,
    /// Distance between rows: 30in, 0.75m.
    #[arg(long, value_name = "LENGTH", value_parser = length)]
    pub row_spacing: Option<f64>,
    /// Seeds sown: 33200/ac, 82000/ha, 8.2/m2.
    #[arg(long, value_name = "RATE", value_parser = population)]
    pub seed_rate: Option<f64>,
    /// Length of the field along the passes: 400m, 1320ft.
    #[arg(long, value_name = "LENGTH", value_parser = length)]
    pub length: Option<f64>,
    /// Left out at both ends of a pass.
    #[arg(long, value_name = "LENGTH", value_parser = length, default_value = "10m")]
    pub headland: f64,
    /// Left out after every change of setting, until it has settled.
    #[arg(long, value_name = "LENGTH", value_parser = length, default_value = "20m")]
    pub buffer: f64,
    /// Outer rows on either side of a pass that are not counted.
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub border_rows: u32,
    /// Rows behind wheels, not counted: 4,5,8,9.
    #[arg(long, value_name = "LIST", value_delimiter = ',')]
    pub wheel_rows: Vec<u32>,
    /// Places counted in a strip.
    #[arg(long, value_name = "N", default_value_t = 3)]
    pub places: usize,
    /// Length of row counted at a place; by default a thousandth of an acre.
    #[arg(long, value_name = "LENGTH", value_parser = length)]
    pub place_length: Option<f64>,
    /// Day on which the trial will be planted, about: 2027-05-05.
    #[arg(long, value_name = "DATE")]
    pub planting_date: Option<Date>,
    /// Response that decides; by default the one that decides in the review.
    #[arg(long, value_name = "NAME")]
    pub response: Option<String>,
    /// Difference that matters, in the response's own unit (0.02 of a share); by default the review's tolerance.
    #[arg(long, value_name = "NUMBER")]
    pub difference: Option<f64>,
    /// Standard deviation between strips of one setting in one block, in the response's own unit; by default the review's own.
    #[arg(long, value_name = "NUMBER")]
    pub strip_sd: Option<f64>,
    /// Level of the test.
    #[arg(long, value_name = "SHARE", default_value_t = 0.05)]
    pub alpha: f64,
    /// How often a difference that is there shall be seen.
    #[arg(long, value_name = "SHARE", default_value_t = 0.8)]
    pub power: f64,
    /// A-B line: longitude,latitude of the first pass's left edge at the start, and of a place straight ahead.
    #[arg(long, value_name = "LON,LAT LON,LAT", allow_hyphen_values = true)]
    pub line: Option<String>,
    /// Outline of the field as GeoJSON.
    #[arg(long, value_name = "FILE")]
    pub outline: Option<PathBuf>,
    /// Seed of everything drawn; by default made of the review's seed, the field and the season.
    #[arg(long, value_name = "NUMBER")]
    pub seed: Option<u64>,
}
