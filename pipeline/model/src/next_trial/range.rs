//! From which force to which force a trial goes, and what the planter's knob can give.

use std::collections::BTreeMap;

use evenstand_settings::{Knob, Planter, Settings};
use evenstand_tables::rows::StripRow;

use crate::groups::GroupKey;

/// Steps between starts over the tested range.
const STEPS: usize = 20;
/// A plain trial goes from this share of the default to as much above it.
const AROUND: f64 = 0.5;

/// What the knob of the planter with most strips in a group can give, on the axis of the group (kPa where that is its
/// own pressure).
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Reach {
    pub low_n: f64,
    pub high_n: f64,
    /// Weighed forces of its positions, lightest first; empty for a pressure, which can be anything between.
    pub positions_n: Vec<f64>,
}

impl Reach {
    /// `None` where no planter of the group has a knob whose forces are known.
    pub fn of(key: &GroupKey, strips: &[&StripRow], settings: &Settings) -> Option<Self> {
        let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
        for planter in strips.iter().filter_map(|strip| strip.planter_id.as_deref()) {
            *counts.entry(planter).or_default() += 1;
        }
        let mut planters: Vec<(&str, usize)> = counts.into_iter().collect();
        planters.sort_by(|a, b| b.1.cmp(&a.1).then(a.0.cmp(b.0)));
        planters.iter().find_map(|(id, _)| Self::of_planter(&settings.planter(id), key))
    }

    fn of_planter(planter: &Planter, key: &GroupKey) -> Option<Self> {
        let (low_n, high_n, positions_n) = match planter.knob.as_ref()? {
            Knob::Pressure { min_kpa, max_kpa, .. } if !key.planter_id.is_empty() => (*min_kpa, *max_kpa, Vec::new()),
            Knob::Pressure { min_kpa, max_kpa, calibration, .. } => {
                let line = calibration.as_ref()?;
                (line.force_n(*min_kpa).max(0.0), line.force_n(*max_kpa), Vec::new())
            }
            Knob::Positions { positions, .. } => {
                let mut forces: Vec<f64> = positions.iter().filter_map(|position| position.force_n).collect();
                forces.sort_by(f64::total_cmp);
                (*forces.first()?, *forces.last()?, forces)
            }
        };
        (low_n < high_n).then_some(Self { low_n, high_n, positions_n })
    }
}

/// The end of the tested range beyond which a trial goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Beyond {
    Lightest,
    Heaviest,
}

/// The range of a trial, and the forces tested so far that can be a start.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct TrialRange {
    /// Evenly spaced over the tested range, lightest first.
    pub starts_n: Vec<f64>,
    /// Lightest and heaviest setting of the trial.
    pub ends_n: (f64, f64),
    pub beyond: Option<Beyond>,
}

impl TrialRange {
    /// The tested range; where the best is at an end and the knob goes on, one step between its settings (at most half of it) to either side of that end,
    /// beyond it as far as the knob goes. Settings far from such an end are known to be worse. `None` for an empty range.
    pub fn new(
        tested: (f64, f64),
        settings: usize,
        reach: Option<&Reach>,
        worth: impl Fn(&f64) -> f64,
    ) -> Option<Self> {
        let (low, high) = tested;
        let step = (high - low) / STEPS as f64;
        if !(step > 0.0 && step.is_finite()) {
            return None;
        }
        let starts_n: Vec<f64> = (0..=STEPS).map(|number| low + (high - low) * number as f64 / STEPS as f64).collect();
        let worth: Vec<f64> = starts_n.iter().map(worth).collect();
        let best = (0..starts_n.len()).fold(0, |best, start| if worth[start] > worth[best] { start } else { best });
        let wanted = STEPS / settings.saturating_sub(1).max(2);
        let (inside, most) = (step * wanted as f64, wanted as f64);
        let room = |force: f64| step * (force / step + 1e-9).floor().clamp(0.0, most);
        let (below, above) = reach.map_or((0.0, 0.0), |reach| (room(low - reach.low_n), room(reach.high_n - high)));
        let (ends_n, beyond) = match best {
            0 if below > 0.0 => ((low - below, low + inside), Some(Beyond::Lightest)),
            STEPS if above > 0.0 => ((high - inside, high + above), Some(Beyond::Heaviest)),
            _ => ((low, high), None),
        };
        Some(Self { starts_n, ends_n, beyond })
    }

    /// So many forces, evenly spread over the range.
    pub fn levels_n(&self, number: usize) -> Vec<f64> {
        let (first, last) = self.ends_n;
        (0..number).map(|level| first + (last - first) * level as f64 / (number - 1) as f64).collect()
    }

    /// Of so many settings the one beyond the tested range and the next one, and the end of the tested range; `None` where the trial stays inside.
    pub fn step_beyond(&self, number: usize) -> Option<([f64; 2], f64)> {
        let levels = self.levels_n(number);
        let last = levels.len() - 1;
        Some(match self.beyond? {
            Beyond::Lightest => ([levels[0], levels[1]], self.starts_n[0]),
            Beyond::Heaviest => ([levels[last], levels[last - 1]], self.starts_n[STEPS]),
        })
    }

    /// Numbers of settings that a knob with positions can give in this range, and beyond an end odd ones, so that the end itself is among the settings where the
    /// knob has room for a whole step; at least one number comes back.
    pub fn level_counts(&self, wanted: &[usize], reach: Option<&Reach>) -> Vec<usize> {
        let (first, last) = self.ends_n;
        let wanted: Vec<usize> =
            wanted.iter().copied().filter(|number| self.beyond.is_none() || number % 2 == 1).collect();
        let slack = (last - first) / STEPS as f64;
        let inside = |force: &&f64| (first - slack..=last + slack).contains(*force);
        let positions = reach.map_or(0, |reach| reach.positions_n.iter().filter(inside).count());
        if positions < 2 {
            return wanted;
        }
        let given: Vec<usize> = wanted.iter().copied().filter(|number| *number <= positions).collect();
        if given.is_empty() { vec![positions] } else { given }
    }
}

/// The range of a plain trial around a default, inside the knob's reach; the whole reach where there is no default.
pub(super) fn around(default_n: Option<f64>, reach: Option<&Reach>) -> Option<(f64, f64)> {
    let (low, high) = match (default_n, reach) {
        (Some(force), Some(reach)) => {
            (((1.0 - AROUND) * force).max(reach.low_n), ((1.0 + AROUND) * force).min(reach.high_n))
        }
        (Some(force), None) => ((1.0 - AROUND) * force, (1.0 + AROUND) * force),
        (None, Some(reach)) => (reach.low_n, reach.high_n),
        (None, None) => return None,
    };
    (low < high).then_some((low, high))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reach(low_n: f64, high_n: f64) -> Reach {
        Reach { low_n, high_n, positions_n: Vec::new() }
    }

    #[test]
    fn the_range_is_widened_by_one_step_where_the_best_is_at_an_end_and_the_knob_allows_it() {
        let tested = (100.0, 300.0);
        let wide = TrialRange::new(tested, 5, Some(&reach(0.0, 500.0)), |force| *force).unwrap();
        assert_eq!((wide.starts_n[0], wide.starts_n[20], wide.ends_n), (100.0, 300.0, (250.0, 350.0)));
        assert_eq!(wide.beyond, Some(Beyond::Heaviest));
        assert_eq!(wide.levels_n(3), vec![250.0, 300.0, 350.0]);
        assert_eq!(wide.step_beyond(3), Some(([350.0, 300.0], 300.0)));
        assert_eq!(wide.level_counts(&[3, 4, 5, 6], None), vec![3, 5]);
        let wide = TrialRange::new(tested, 5, Some(&reach(80.0, 500.0)), |force| -force).unwrap();
        assert_eq!((wide.starts_n[0], wide.ends_n, wide.beyond), (100.0, (80.0, 150.0), Some(Beyond::Lightest)));
        assert_eq!(wide.levels_n(3), vec![80.0, 115.0, 150.0]);
        assert_eq!(wide.step_beyond(3), Some(([80.0, 115.0], 100.0)));
    }

    #[test]
    fn the_range_stays_where_the_best_lies_inside_or_the_knob_is_at_its_end_or_not_known() {
        let inside = |force: &f64| -(force - 200.0).abs();
        let plain = |reach: Option<&Reach>, worth: fn(&f64) -> f64| {
            let range = TrialRange::new((100.0, 300.0), 5, reach, worth).unwrap();
            assert_eq!((range.starts_n.len(), range.ends_n, range.beyond), (21, (100.0, 300.0), None));
            assert_eq!(range.step_beyond(3), None);
        };
        plain(Some(&reach(0.0, 500.0)), inside);
        plain(Some(&reach(100.0, 300.0)), |force| *force);
        plain(Some(&reach(120.0, 280.0)), |force| -force);
        plain(None, |force| *force);
        assert_eq!(TrialRange::new((100.0, 100.0), 1, None, inside), None);
        assert_eq!(TrialRange::new((f64::NAN, 100.0), 1, None, inside), None);
    }

    #[test]
    fn a_knob_with_few_positions_gives_few_settings() {
        let range = TrialRange::new((100.0, 300.0), 4, None, |force| *force).unwrap();
        let counts = |positions: &[f64]| {
            let reach = Reach { positions_n: positions.to_vec(), ..reach(100.0, 300.0) };
            range.level_counts(&[3, 4, 5, 6], Some(&reach))
        };
        assert_eq!(counts(&[100.0, 170.0, 230.0, 300.0, 400.0]), vec![3, 4]);
        assert_eq!(counts(&[100.0, 300.0]), vec![2]);
        assert_eq!(counts(&[]), vec![3, 4, 5, 6]);
    }

    #[test]
    fn a_plain_trial_goes_around_the_default_inside_the_knob() {
        assert_eq!(around(Some(200.0), None), Some((100.0, 300.0)));
        assert_eq!(around(Some(200.0), Some(&reach(150.0, 600.0))), Some((150.0, 300.0)));
        assert_eq!(around(None, Some(&reach(150.0, 600.0))), Some((150.0, 600.0)));
        assert_eq!(around(None, None), None);
        assert_eq!(around(Some(0.0), None), None);
    }
}
