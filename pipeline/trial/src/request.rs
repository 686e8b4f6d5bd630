//! What is asked of a trial, and what the review knows.

use evenstand_settings::Planter;
use evenstand_tables::rows::{KnobRow, NextTrialRow, StripRow};

use crate::plan::Setting;
use crate::visits::Expected;

/// A request. What is `None` is taken from the review, or from a default that the plan states.
#[derive(Debug, Clone, PartialEq)]
pub struct Request {
    /// Field.
    pub field_id: String,
    /// Year of planting.
    pub season: i64,
    /// Condition that the trial is for, as the review labels it.
    pub condition: Option<String>,
    /// Response that decides.
    pub response: String,
    /// The planter; two for a strip-split.
    pub planters: Vec<AskedPlanter>,
    /// Closers; two or more make a split plot.
    pub closers: Vec<String>,
    /// The settings themselves.
    pub settings: Option<Vec<Setting>>,
    /// Number of settings, where they are not named.
    pub levels: Option<usize>,
    /// Blocks.
    pub blocks: Option<usize>,
    /// Strips a block, where that is fewer than settings.
    pub per_block: Option<usize>,
    /// Passes a strip.
    pub passes_per_strip: usize,
    /// Passes at the default on either side of the trial.
    pub border_passes: usize,
    /// Distance between rows, m.
    pub row_spacing_m: f64,
    /// Seeds sown on an area.
    pub seed_rate_per_m2: Option<f64>,
    /// Left out at both ends of a pass, m.
    pub headland_m: f64,
    /// Left out after a change of setting, m.
    pub buffer_m: f64,
    /// Outer row units on either side that are not counted.
    pub border_rows: u32,
    /// Row units behind wheels.
    pub wheel_rows: Vec<u32>,
    /// Places counted in a strip.
    pub places: usize,
    /// Length of row at a place, m; a thousandth of an acre where it is not said.
    pub row_length_m: Option<f64>,
    /// Standard deviation between strips, in the response's own unit.
    pub strip_sd: Option<f64>,
    /// Difference that matters, in the response's own unit; the review's tolerance where it is not said.
    pub difference: Option<f64>,
    /// Level of the test.
    pub alpha: f64,
    /// Power that differences are worked out for.
    pub power: f64,
    /// Seed of everything drawn.
    pub seed: u64,
}

/// A planter and the rows it plants.
#[derive(Debug, Clone, PartialEq)]
pub struct AskedPlanter {
    /// The planter.
    pub planter: Planter,
    /// Its rows.
    pub rows: u32,
}

/// What the review knows: rows of its results that belong to the trial's condition and closer.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Known {
    /// Strips.
    pub strips: Vec<StripRow>,
    /// Trials considered, for the response that decides.
    pub next_trials: Vec<NextTrialRow>,
    /// The planter's starting settings, with what digs allow.
    pub knobs: Vec<KnobRow>,
    /// When plants come up.
    pub expected: Expected,
}

impl Known {
    /// The trial that the review advises.
    pub(crate) fn advised(&self) -> Option<&NextTrialRow> {
        self.next_trials.iter().find(|row| row.advised == Some(true))
    }
}

impl Request {
    /// A request with the usual defaults: 1 pass a strip, a border pass on either side, 10 m of headland and 20 m of buffer, an outer row left out on
    /// either side, 3 places a strip, tests at 5 % with a power of 80 %.
    ///
    /// 20 m, the outer row, and 3 places of a thousandth of an acre are common practice, no source.
    pub fn new(field_id: &str, season: i64, planter: Planter, rows: u32, row_spacing_m: f64) -> Self {
        Self {
            field_id: field_id.to_owned(),
            season,
            condition: None,
            response: "on_time_share".into(),
            planters: vec![AskedPlanter { planter, rows }],
            closers: Vec::new(),
            settings: None,
            levels: None,
            blocks: None,
            per_block: None,
            passes_per_strip: 1,
            border_passes: 1,
            row_spacing_m,
            seed_rate_per_m2: None,
            headland_m: 10.0,
            buffer_m: 20.0,
            border_rows: 1,
            wheel_rows: Vec::new(),
            places: 3,
            row_length_m: None,
            strip_sd: None,
            difference: None,
            alpha: 0.05,
            power: 0.8,
            seed: 1,
        }
    }
}
