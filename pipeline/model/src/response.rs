//! What is modelled: a number of each strip, its scale, and which way is better.

use std::collections::{BTreeSet, HashMap};

use evenstand_tables::rows::{StripMeasureRow, StripRow};

/// Scale a response is modelled on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Scale {
    /// Plants of seeds: empirical logit with binomial sampling weights.
    Logit,
    /// Times and spreads: natural logarithm.
    Log,
    /// As it is.
    Identity,
}

impl Scale {
    /// From the model's scale to the response's own.
    pub fn back(self, value: f64) -> f64 {
        match self {
            Scale::Logit => 1.0 / (1.0 + (-value).exp()),
            Scale::Log => value.exp(),
            Scale::Identity => value,
        }
    }

    pub fn name(self) -> &'static str {
        match self {
            Scale::Logit => "logit",
            Scale::Log => "log",
            Scale::Identity => "identity",
        }
    }
}

/// Which way is better.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Better {
    Higher,
    Lower,
    /// Neither: compared, but no starting point comes of it.
    Neither,
}

impl Better {
    /// 1 where higher is better, −1 where lower is.
    pub fn sign(self) -> f64 {
        if self == Better::Lower { -1.0 } else { 1.0 }
    }
}

/// The review's other measures, to be asked strip by strip.
pub(crate) struct Measures<'a> {
    rows: &'a [StripMeasureRow],
    values: HashMap<(&'a str, i64, &'a str, &'a str), f64>,
}

impl<'a> Measures<'a> {
    /// Names of the measures, each once.
    pub fn names(&self) -> Vec<&'a str> {
        let names: BTreeSet<&str> = self.rows.iter().map(|row| row.name.as_str()).collect();
        names.into_iter().collect()
    }

    /// The value of a measure of a strip.
    pub fn of(&self, strip: &StripRow, name: &str) -> Option<f64> {
        let key = (strip.field_id.as_str(), strip.season, strip.strip_id.as_str(), name);
        self.values.get(&key).copied().filter(|value| value.is_finite())
    }

    pub fn new(rows: &'a [StripMeasureRow]) -> Self {
        let values = rows
            .iter()
            .filter_map(|row| {
                Some(((row.field_id.as_str(), row.season, row.strip_id.as_str(), row.name.as_str()), row.value?))
            })
            .collect();
        Self { rows, values }
    }
}

/// A response: its name in the tables and how it is modelled.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Response {
    pub name: String,
    pub scale: Scale,
    pub better: Better,
}

/// A strip's value of a response; of shares also the seeds behind it, of fitted times their standard error.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Value {
    pub value: f64,
    pub seeds: Option<f64>,
    /// Standard error from the counts of the strip alone, in the response's own unit.
    pub std_error: Option<f64>,
}

impl Response {
    fn new(name: &str, scale: Scale, better: Better) -> Self {
        Self { name: name.to_owned(), scale, better }
    }

    /// Every response there can be: those of counts, spacing and plants, and the review's other measures.
    pub fn all(measures: &Measures) -> Vec<Self> {
        let names = measures.names();
        let measures = measures.rows;
        let mut all = vec![
            Self::new("on_time_share", Scale::Logit, Better::Higher),
            Self::new("emerged_share", Scale::Logit, Better::Higher),
            Self::new("spread_h", Scale::Log, Better::Lower),
            Self::new("t50_h", Scale::Log, Better::Lower),
            Self::new("spread_fit_h", Scale::Log, Better::Lower),
            Self::new("t50_fit_h", Scale::Log, Better::Lower),
            Self::new("spread_cd", Scale::Log, Better::Lower),
            Self::new("t50_cd", Scale::Log, Better::Lower),
            Self::new("spacing_cv", Scale::Identity, Better::Lower),
            Self::new("leaf_stage_sd", Scale::Identity, Better::Lower),
        ];
        for name in names {
            let better = match measures
                .iter()
                .find(|row| row.name == name && row.better.is_some())
                .and_then(|row| row.better.as_deref())
            {
                Some("lower") => Better::Lower,
                Some("higher") => Better::Higher,
                _ => Better::Neither,
            };
            all.push(Self::new(&format!("measure:{name}"), Scale::Identity, better));
        }
        all
    }

    /// The value of a strip; missing where it was not measured, or must stay out of the models (more plants than seeds).
    pub fn of(&self, strip: &StripRow, measures: &Measures) -> Option<Value> {
        let plain = |value: Option<f64>| {
            let value = value.filter(|value| value.is_finite())?;
            Some(Value { value, seeds: None, std_error: None })
        };
        let fitted = |value: Option<f64>, std_error: Option<f64>| {
            let usable = |number: &f64| number.is_finite() && *number > 0.0;
            let (value, std_error) = (value.filter(usable)?, std_error.filter(usable)?);
            Some(Value { value, seeds: None, std_error: Some(std_error) })
        };
        let share = |value: Option<f64>| {
            let value = value.filter(|share| (0.0..=1.0).contains(share))?;
            let seeds = strip.seeds_sown.filter(|seeds| *seeds >= 1.0);
            (strip.usable == Some(true)).then_some(Value { value, seeds, std_error: None })
        };
        match self.name.as_str() {
            "on_time_share" => share(strip.on_time_share),
            "emerged_share" => share(strip.emerged_share),
            "spread_h" => plain(strip.spread_h.filter(|hours| *hours > 0.0)),
            "t50_h" => plain(strip.t50_h.filter(|hours| *hours > 0.0)),
            "spread_fit_h" => fitted(strip.spread_fit_h, strip.spread_fit_se_h),
            "t50_fit_h" => fitted(strip.t50_fit_h, strip.t50_fit_se_h),
            "spread_cd" => plain(strip.spread_cd.filter(|degree_days| *degree_days > 0.0)),
            "t50_cd" => plain(strip.t50_cd.filter(|degree_days| *degree_days > 0.0)),
            "spacing_cv" => plain(strip.spacing_cv),
            "leaf_stage_sd" => plain(strip.leaf_stage_sd),
            name => {
                let name = name.strip_prefix("measure:")?;
                plain(
                    measures
                        .values
                        .get(&(strip.field_id.as_str(), strip.season, strip.strip_id.as_str(), name))
                        .copied(),
                )
            }
        }
    }

    /// The value on the model's scale. Shares become empirical logits of whole plants, ln((k + ½)/(n − k + ½)).
    pub fn modelled(&self, value: Value) -> f64 {
        match (self.scale, value.seeds) {
            (Scale::Logit, Some(seeds)) => {
                let plants = (value.value * seeds).round().min(seeds);
                ((plants + 0.5) / (seeds - plants + 0.5)).ln()
            }
            (Scale::Logit, None) => (value.value.clamp(0.005, 0.995) / (1.0 - value.value.clamp(0.005, 0.995))).ln(),
            (Scale::Log, _) => value.value.ln(),
            (Scale::Identity, _) => value.value,
        }
    }

    /// Standard error of the value on the model's scale, where the counts of the strip give one: of a logarithm, the relative one.
    pub fn modelled_std_error(&self, value: Value) -> Option<f64> {
        let std_error = value.std_error?;
        Some(if self.scale == Scale::Log { std_error / value.value } else { std_error })
    }
}
