//! What a review that was read and modelled knows of a field, its planter and its conditions.

use std::collections::{BTreeMap, BTreeSet};

use evenstand_store::{KeptStore, StoreError, check_results, read_result};
use evenstand_tables::rows::{FieldRow, KnobRow, NextTrialRow, StartingPointRow, StripRow, StripSheetRow, WeatherRow};
use evenstand_trial::{Expected, Known};
use jiff::ToSpan;
use jiff::civil::{Date, date};

use crate::review::Review;

/// Rows of the store and of the results; all empty where nothing was read yet.
#[derive(Debug, Default)]
pub struct ReviewFacts {
    pub fields: Vec<FieldRow>,
    pub sheets: Vec<StripSheetRow>,
    weather: Vec<WeatherRow>,
    pub strips: Vec<StripRow>,
    knobs: Vec<KnobRow>,
    next_trials: Vec<NextTrialRow>,
    starting_points: Vec<StartingPointRow>,
}

impl ReviewFacts {
    /// Reads what is there.
    pub fn read(review: &Review) -> Result<Self, StoreError> {
        let mut facts = Self::default();
        if review.store.join("manifest.json").exists() {
            let store = KeptStore::open_checked(&review.store)?;
            facts.fields = store.read()?;
            facts.sheets = store.read()?;
            facts.weather = store.read()?;
        }
        if review.results.join("datapackage.json").exists() {
            check_results(&review.results)?;
            facts.strips = read_result(&review.results)?;
            facts.knobs = read_result(&review.results)?;
            facts.next_trials = read_result(&review.results)?;
            facts.starting_points = read_result(&review.results)?;
        }
        Ok(facts)
    }

    /// Names of fields, in order.
    pub fn field_names(&self) -> BTreeSet<&str> {
        self.fields
            .iter()
            .map(|row| row.field_id.as_str())
            .chain(self.strips.iter().map(|row| row.field_id.as_str()))
            .collect()
    }

    /// The latest row of a field.
    pub fn field(&self, field_id: &str) -> Option<&FieldRow> {
        self.fields.iter().filter(|row| row.field_id == field_id).max_by_key(|row| row.season)
    }

    /// The season after the latest one.
    pub fn next_season(&self) -> Option<i64> {
        self.fields
            .iter()
            .map(|row| row.season)
            .chain(self.strips.iter().map(|row| row.season))
            .max()
            .map(|season| season + 1)
    }

    /// Conditions of strips under a closer, in order; `mixed` and `unstated` are none that a trial can be for.
    pub fn conditions(&self, closer: &str) -> BTreeSet<&str> {
        let named = |row: &&StripRow| row.condition != "mixed" && row.condition != "unstated";
        let under = |row: &&StripRow| row.closer.as_deref() == Some(closer);
        self.strips.iter().filter(under).filter(named).map(|row| row.condition.as_str()).collect()
    }

    /// The condition of most of a field's latest strips.
    pub fn condition_of(&self, field_id: &str) -> Option<&str> {
        let own = || self.strips.iter().filter(|row| row.field_id == field_id);
        let latest = own().map(|row| row.season).max()?;
        let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
        own().filter(|row| row.season == latest).for_each(|row| *counts.entry(&row.condition).or_default() += 1);
        counts.into_iter().max_by_key(|(_, number)| *number).map(|(condition, _)| condition)
    }

    /// Rows of a planter: those of most strips it planted.
    pub fn rows_of(&self, planter_id: &str) -> Option<u32> {
        let planted: BTreeSet<(&str, i64)> = self
            .fields
            .iter()
            .filter(|row| row.planter_id.as_deref() == Some(planter_id))
            .map(|row| (row.field_id.as_str(), row.season))
            .collect();
        let rows = self
            .sheets
            .iter()
            .filter(|row| planted.contains(&(row.field_id.as_str(), row.season)))
            .filter_map(|row| row.rows);
        most_frequent(rows).and_then(|rows| u32::try_from(rows).ok())
    }

    /// Length of most of a field's strips, m.
    pub fn length_of(&self, field_id: &str) -> Option<f64> {
        let lengths = self.sheets.iter().filter(|row| row.field_id == field_id).filter_map(|row| row.length_m);
        most_frequent(lengths.map(|length| (length * 100.0).round() as i64)).map(|length| length as f64 / 100.0)
    }

    /// The response that decides for a condition and closer.
    pub fn primary(&self, condition: Option<&str>, closer: &str) -> Option<&str> {
        let here = |row: &&StartingPointRow| {
            row.closer == closer && condition.is_none_or(|condition| row.condition == condition)
        };
        self.starting_points.iter().filter(here).find(|row| row.primary == Some(true)).map(|row| row.response.as_str())
    }

    /// What belongs to a condition, closer and planter.
    pub fn known(&self, review: &Review, request: &Wanted) -> Known {
        let Wanted { field_id, condition, closer, planter_id, response, planting } = request;
        let same = |own: &str| condition.is_none_or(|condition| condition == own);
        let strips: Vec<StripRow> = self
            .strips
            .iter()
            .filter(|row| row.closer.as_deref() == Some(closer) && same(&row.condition))
            .cloned()
            .collect();
        // Where a condition has no strips yet, all of the closer tell how much strips differ.
        let strips = if strips.is_empty() {
            self.strips.iter().filter(|row| row.closer.as_deref() == Some(closer)).cloned().collect()
        } else {
            strips
        };
        let expected = self.expected(review, field_id, *planting, &strips);
        Known {
            next_trials: self
                .next_trials
                .iter()
                .filter(|row| row.closer == *closer && condition.is_some_and(|condition| condition == row.condition))
                .filter(|row| row.response == *response)
                .filter(|row| row.planter_id.as_deref().is_none_or(|id| id.is_empty() || id == *planter_id))
                .cloned()
                .collect(),
            knobs: self
                .knobs
                .iter()
                .filter(|row| {
                    row.planter_id == *planter_id && condition.is_some_and(|condition| condition == row.condition)
                })
                .cloned()
                .collect(),
            strips,
            expected,
        }
    }

    fn expected(&self, review: &Review, field_id: &str, planting: Option<Date>, strips: &[StripRow]) -> Expected {
        let both = |first: fn(&StripRow) -> Option<f64>, last: fn(&StripRow) -> Option<f64>, scale: f64| {
            let median = |of: fn(&StripRow) -> Option<f64>| {
                let values: Vec<f64> = strips.iter().filter_map(of).filter(|value| value.is_finite()).collect();
                evenstand_stats::quantile(&values, 0.5).ok().map(|value| value / scale)
            };
            median(first).zip(median(last))
        };
        let (normal, normal_seasons) = self.normal(review, field_id);
        Expected {
            planting,
            seen_cd: both(|row| row.t10_cd, |row| row.t90_cd, 1.0),
            seen_days: both(|row| row.t10_h, |row| row.t90_h, 24.0),
            normal: (normal_seasons > 0).then_some(normal),
            normal_seasons,
        }
    }

    /// Mean degree-days of each day of the year, over the review's seasons and seven days around it; the field's own weather where it
    /// has some.
    fn normal(&self, review: &Review, field_id: &str) -> (Vec<Option<f64>>, usize) {
        const HALF_WINDOW: usize = 3;
        let own: Vec<&WeatherRow> =
            self.weather.iter().filter(|row| row.field_id.as_deref() == Some(field_id)).collect();
        let shared: Vec<&WeatherRow> = self.weather.iter().filter(|row| row.field_id.is_none()).collect();
        let rows = if own.is_empty() { shared } else { own };
        let mut days = vec![(0.0, 0usize); 366];
        let mut seasons = BTreeSet::new();
        for row in rows {
            let weather = &review.settings.weather;
            let Some(daily) = row.tmin_c.zip(row.tmax_c).and_then(|(low, high)| weather.degree_days_of(low, high))
            else {
                continue;
            };
            let Ok(day) = date(1970, 1, 1).checked_add(i64::from(row.date.0).days()) else { continue };
            let slot = &mut days[day.day_of_year() as usize - 1];
            *slot = (slot.0 + daily, slot.1 + 1);
            seasons.insert(row.season);
        }
        let mean = |day: usize| {
            let around = (0..=2 * HALF_WINDOW).map(|step| &days[(day + 366 + step - HALF_WINDOW) % 366]);
            let (sum, number) = around.fold((0.0, 0), |(sum, number), (own, count)| (sum + own, number + count));
            (number > 0).then(|| sum / number as f64)
        };
        ((0..366).map(mean).collect(), seasons.len())
    }
}

/// What the review is asked about.
pub struct Wanted<'a> {
    pub field_id: &'a str,
    pub condition: Option<&'a str>,
    pub closer: &'a str,
    pub planter_id: &'a str,
    pub response: &'a str,
    pub planting: Option<Date>,
}

/// The most frequent value; of several the smallest.
fn most_frequent(values: impl Iterator<Item = i64>) -> Option<i64> {
    let mut counts: BTreeMap<i64, usize> = BTreeMap::new();
    values.for_each(|value| *counts.entry(value).or_default() += 1);
    counts.into_iter().rev().max_by_key(|(_, number)| *number).map(|(value, _)| value)
}
