//! What criterion measured, read from the files it keeps.

use std::collections::BTreeMap;
use std::fs;
use std::io;
use std::path::Path;

use serde::Deserialize;

/// Seconds of the runs of one case.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Timing {
    /// Middle sample.
    pub median: f64,
    /// Fastest sample.
    pub fastest: f64,
    /// Slowest sample.
    pub slowest: f64,
    /// Number of samples; one is the mean of several runs where a run is short.
    pub samples: usize,
}

#[derive(Deserialize)]
struct Benchmark {
    function_id: Option<String>,
}

/// Samples: runs in each, and nanoseconds they took together.
#[derive(Deserialize)]
struct Sample {
    iters: Vec<f64>,
    times: Vec<f64>,
}

/// Timings below criterion's `folder`, by the name of their case.
///
/// # Errors
/// A folder or file that cannot be read, or a file of another form.
pub fn kept_in(folder: &Path) -> io::Result<BTreeMap<String, Timing>> {
    let mut timings = BTreeMap::new();
    for case in fs::read_dir(folder)? {
        let newest = case?.path().join("new");
        if !newest.join("sample.json").is_file() {
            continue;
        }
        let named: Benchmark = serde_json::from_slice(&fs::read(newest.join("benchmark.json"))?)?;
        let sample: Sample = serde_json::from_slice(&fs::read(newest.join("sample.json"))?)?;
        if let (Some(name), Some(timing)) = (named.function_id, Timing::of(&sample)) {
            timings.insert(name, timing);
        }
    }
    Ok(timings)
}

impl Timing {
    /// `None` without samples.
    fn of(sample: &Sample) -> Option<Self> {
        let mut seconds: Vec<f64> =
            sample.times.iter().zip(&sample.iters).map(|(time, runs)| time / runs * 1e-9).collect();
        seconds.sort_by(f64::total_cmp);
        let samples = seconds.len();
        let (fastest, slowest) = (*seconds.first()?, *seconds.last()?);
        let median = 0.5 * (seconds[(samples - 1) / 2] + seconds[samples / 2]);
        Some(Self { median, fastest, slowest, samples })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sample_is_the_mean_of_its_runs_and_the_median_is_the_middle_one() {
        let sample = Sample { iters: vec![2.0, 1.0, 4.0], times: vec![6e9, 1e9, 8e9] };
        let timing = Timing { median: 2.0, fastest: 1.0, slowest: 3.0, samples: 3 };
        assert_eq!(Timing::of(&sample), Some(timing));
        assert_eq!(Timing::of(&Sample { iters: vec![], times: vec![] }), None);
    }
}
