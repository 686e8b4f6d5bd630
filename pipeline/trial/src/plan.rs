//! A planned strip trial: everything that its papers show, and nothing that they have to work out.

use serde::Serialize;

/// A strip trial in one field and season. Lengths in metres, forces in newtons, pressures in kilopascals.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Plan {
    /// Name of the review.
    pub review: String,
    /// Field.
    pub field_id: String,
    /// Year of planting.
    pub season: i64,
    /// Condition that the trial is for.
    pub condition: Option<String>,
    /// Response that decides.
    pub response: String,
    /// How settings are laid out.
    pub layout: Layout,
    /// Seed of everything drawn: the same request and seed give the same plan.
    pub seed: u64,
    /// The planter; two that plant side by side in [`Layout::StripSplit`].
    pub planters: Vec<PlantedBy>,
    /// Closers in the trial; one, except in [`Layout::SplitPlot`].
    pub closers: Vec<String>,
    /// Settings, lightest first.
    pub levels: Vec<Level>,
    /// Number of blocks.
    pub blocks: usize,
    /// Passes from the left of the trial to its right, in driving order; border passes among them.
    pub passes: Vec<Pass>,
    /// Strips, pass by pass, and along a pass from the start line on.
    pub strips: Vec<Strip>,
    /// Lengths and widths.
    pub field: FieldSize,
    /// Where plants are counted.
    pub counting: Counting,
    /// When plants are counted.
    pub visits: Visits,
    /// What the trial can show.
    pub worth: Worth,
    /// What the planner wants said: what was asked for and could not be had, and what was assumed.
    pub notes: Vec<String>,
}

/// How settings are laid out in the field.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Layout {
    /// Every setting once in every block, a pass a strip.
    CompleteBlocks,
    /// Blocks that hold fewer strips than there are settings.
    IncompleteBlocks,
    /// Closers, hard to change, on groups of neighbouring strips; settings on the strips of a group.
    SplitPlot,
    /// Two planters side by side, a pass each in every block; settings on segments along both passes.
    StripSplit,
}

/// A planter as the trial uses it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlantedBy {
    /// Planter, as in the settings file.
    pub id: String,
    /// Its closer.
    pub closer: String,
    /// Rows it plants.
    pub rows: u32,
    /// Unit its gauge reads in (`kpa`, `psi`, `bar`, `mpa`); `None` where the knob has positions.
    pub gauge: Option<String>,
    /// What it is set to outside the trial's strips.
    pub default: Option<Setting>,
}

/// What a knob stands at.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Setting {
    /// A gauge pressure, kPa.
    PressureKpa(f64),
    /// A position by its label.
    Position(String),
}

/// One setting of the trial.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Level {
    /// The knob of each planter, in the order of [`Plan::planters`].
    pub knobs: Vec<Setting>,
    /// Closing downforce; `None` where the planter is not calibrated.
    pub force_n: Option<f64>,
    /// Whether this is the default.
    pub is_default: bool,
}

/// One pass of a planter.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Pass {
    /// Number from the left, from 1.
    pub number: usize,
    /// Position in [`Plan::planters`].
    pub planter: usize,
    /// Away from the start line (or back to it).
    pub outward: bool,
    /// From the left edge of the trial to the left edge of the pass.
    pub left_m: f64,
    /// Its width.
    pub width_m: f64,
    /// Where it begins and ends along the field, from the start line.
    pub span_m: (f64, f64),
    /// Positions of its strips in [`Plan::strips`]; none on a border pass, which is planted at the default.
    pub strips: Vec<usize>,
}

/// A strip: what one setting is given to.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Strip {
    /// Name in the field and season, such as `S07`.
    pub strip_id: String,
    /// Block, from 1.
    pub block: usize,
    /// Position of its (first) pass in [`Plan::passes`].
    pub pass: usize,
    /// Position in [`Plan::planters`].
    pub planter: usize,
    /// Position in [`Plan::closers`].
    pub closer: usize,
    /// Position in [`Plan::levels`].
    pub level: usize,
    /// Where it begins and ends along the field, from the start line.
    pub span_m: (f64, f64),
    /// The part that is counted: without headlands and the length in which a changed setting settles.
    pub counted_m: (f64, f64),
    /// Places to count, in order of distance.
    pub places: Vec<Place>,
}

/// A place to count.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Place {
    /// Name in the strip, such as `a`.
    pub sample_id: String,
    /// Row unit, from 1 at the left of the planter as it drives.
    pub row_unit: u32,
    /// Where the counted piece of row begins, from the start line.
    pub at_m: f64,
}

/// Lengths and widths of the trial.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FieldSize {
    /// Distance between rows.
    pub row_spacing_m: f64,
    /// Seeds sown on an area.
    pub seed_rate_per_m2: Option<f64>,
    /// Left out at both ends of a pass.
    pub headland_m: f64,
    /// Left out after every change of setting, in the direction of travel.
    pub buffer_m: f64,
    /// Passes a strip.
    pub passes_per_strip: usize,
    /// Width of the whole trial, border passes included.
    pub width_m: f64,
    /// Longest pass.
    pub length_m: f64,
}

/// Where plants are counted: the same row units in every strip, as rows of one machine differ more than places along a row.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Counting {
    /// Row units counted, drawn once for the trial.
    pub row_units: Vec<u32>,
    /// Outer row units, not counted.
    pub border_rows: Vec<u32>,
    /// Row units behind wheels, not counted.
    pub wheel_rows: Vec<u32>,
    /// Places in a strip.
    pub places: usize,
    /// Length of row at a place.
    pub row_length_m: f64,
    /// Seeds at a place, from the seed rate.
    pub seeds: Option<f64>,
}

/// When plants are counted.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Visits {
    /// The visits, in order.
    pub visits: Vec<Visit>,
    /// Where the expected times come from, in words.
    pub basis: String,
    /// Expected day after planting on which a tenth of the plants that come up are up.
    pub first_tenth_day: f64,
    /// The same for nine tenths.
    pub nine_tenths_day: f64,
}

/// One visit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Visit {
    /// Whole days after planting.
    pub day: u32,
    /// The date, where a planting date was given.
    pub date: Option<String>,
    /// Why then, in a few words.
    pub reason: String,
}

/// What the trial can show.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Worth {
    /// Standard deviation between strips that had one setting in one block, in the response's own unit.
    pub strip_sd: f64,
    /// Where that number comes from, in words.
    pub strip_sd_from: String,
    /// Level of the test.
    pub alpha: f64,
    /// Power that differences are worked out for.
    pub power: f64,
    /// Difference between two settings that is found with that power.
    pub detectable: f64,
    /// The same for other numbers of blocks.
    pub by_blocks: Vec<DetectableWith>,
    /// Sentences for people, with the numbers in the units of the report.
    pub sentences: Vec<String>,
}

/// A number of blocks and the difference it shows.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct DetectableWith {
    /// Blocks in one field.
    pub blocks: usize,
    /// Difference between two settings, in the response's own unit.
    pub difference: f64,
}
