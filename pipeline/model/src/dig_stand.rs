//! Digs against the stand: did strips in which the trench was found open come up with fewer plants, or later?
//!
//! A strip's share of places not shut stands against its response, on the response's own scale, by least squares inside blocks: every block of
//! every field-season has its own level, so nothing is compared between them. A second comparison holds the setting alike too. Field-seasons are
//! projected one by one (Frisch & Waugh 1933, Econometrica 1:387), which is the same least squares without a column for every block.

use std::collections::BTreeMap;

use evenstand_agronomy::force_levels;
use evenstand_stats::distribution::{t_quantile, t_sf};
use evenstand_stats::{Design, LeastSquares};
use evenstand_tables::rows::{DigStandRow, DigStripRow, StripRow};
use ndarray::Array2;

/// Least degrees of freedom for an interval.
const ENOUGH_DF: f64 = 4.0;

/// A response that an open trench might show in.
struct Shown {
    name: &'static str,
    of: fn(&StripRow) -> Option<f64>,
    /// Whether a smaller value is the worse one.
    fewer: bool,
    more_words: &'static str,
    less_words: &'static str,
}

const SHOWN: [Shown; 4] = [
    Shown {
        name: "emerged_share",
        of: |strip| strip.emerged_share,
        fewer: true,
        more_words: "more plants",
        less_words: "fewer plants",
    },
    Shown {
        name: "on_time_share",
        of: |strip| strip.on_time_share,
        fewer: true,
        more_words: "more plants on time",
        less_words: "fewer plants on time",
    },
    Shown {
        name: "t50_h",
        of: |strip| strip.t50_h,
        fewer: false,
        more_words: "later plants",
        less_words: "earlier plants",
    },
    Shown {
        name: "spread_h",
        of: |strip| strip.spread_h,
        fewer: false,
        more_words: "plants that came up less evenly",
        less_words: "plants that came up more evenly",
    },
];

/// What is held alike.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Within {
    Block,
    Setting,
}

impl Within {
    fn name(self) -> &'static str {
        match self {
            Within::Block => "block",
            Within::Setting => "setting",
        }
    }
}

/// One strip that was dug and counted.
struct Pair<'a> {
    strip: &'a StripRow,
    /// Share of its places not shut.
    open: f64,
    value: f64,
}

/// Field and season.
type Place<'a> = (&'a str, i64);

/// A row a response and comparison; none where no strip was dug and counted.
pub(crate) fn dig_stand(digs: &[DigStripRow], strips: &[StripRow]) -> Vec<DigStandRow> {
    let mut judged: BTreeMap<(Place, &str), (f64, f64)> = BTreeMap::new();
    for dig in digs {
        if let (Some(id), Some(open)) = (dig.strip_id.as_deref(), dig.not_shut) {
            let count = judged.entry(((dig.field_id.as_str(), dig.season), id)).or_default();
            count.0 += f64::from(u8::from(open));
            count.1 += 1.0;
        }
    }
    let mut rows = Vec::new();
    for shown in &SHOWN {
        let pairs: Vec<Pair> = strips
            .iter()
            .filter(|strip| strip.usable != Some(false))
            .filter_map(|strip| {
                let (open, places) = judged.get(&((strip.field_id.as_str(), strip.season), strip.strip_id.as_str()))?;
                Some(Pair { strip, open: open / places, value: (shown.of)(strip)? })
            })
            .collect();
        if pairs.is_empty() {
            continue;
        }
        rows.extend([Within::Block, Within::Setting].map(|within| compared(shown, &pairs, within)));
    }
    rows
}

fn compared(shown: &Shown, pairs: &[Pair], within: Within) -> DigStandRow {
    let mut by_field: BTreeMap<Place, Vec<&Pair>> = BTreeMap::new();
    for pair in pairs {
        by_field.entry((pair.strip.field_id.as_str(), pair.strip.season)).or_default().push(pair);
    }
    let parts: Vec<Projected> = by_field.values().filter_map(|pairs| project(pairs, within)).collect();
    let informative = parts.iter().filter(|part| part.open_squares() > OPEN_VARIES).count();
    let (squares, products): (f64, f64) = parts
        .iter()
        .fold((0.0, 0.0), |(squares, products), part| (squares + part.open_squares(), products + part.products()));
    let df = parts.iter().map(|part| part.free).sum::<f64>() - 1.0;
    let mut row = DigStandRow {
        response: shown.name.to_owned(),
        compared_within: within.name().to_owned(),
        n_strips: Some(pairs.len() as i64),
        n_open_strips: Some(pairs.iter().filter(|pair| pair.open > 0.0).count() as i64),
        n_field_seasons: Some(informative as i64),
        method: Some(METHOD.to_owned()),
        ..DigStandRow::default()
    };
    if squares > OPEN_VARIES && df >= ENOUGH_DF {
        let difference = products / squares;
        let left: f64 = parts.iter().map(|part| part.left(difference)).sum();
        let error = (left / df / squares).sqrt();
        let half = t_quantile(0.975, df) * error;
        row.difference = Some(difference);
        row.std_error = Some(error);
        row.df = Some(df);
        (row.low, row.high) = (Some(difference - half), Some(difference + half));
        row.p_value = (error > 0.0).then(|| 2.0 * t_sf((difference / error).abs(), df));
    }
    row.reading = Some(reading(shown, &row, within));
    row
}

/// Sum of squares from which the shares of open places differ at all.
const OPEN_VARIES: f64 = 1e-9;

const METHOD: &str = "least squares inside blocks of field-seasons on the share of places not shut; t intervals";

/// Shares of open places and values of one field-season, less what blocks (and settings) explain.
struct Projected {
    open: Vec<f64>,
    value: Vec<f64>,
    /// Degrees of freedom that are left.
    free: f64,
}

impl Projected {
    fn open_squares(&self) -> f64 {
        self.open.iter().map(|open| open * open).sum()
    }

    fn products(&self) -> f64 {
        self.open.iter().zip(&self.value).map(|(open, value)| open * value).sum()
    }

    /// Squares of the values that a difference leaves.
    fn left(&self, difference: f64) -> f64 {
        self.open.iter().zip(&self.value).map(|(open, value)| (value - difference * open).powi(2)).sum()
    }
}

/// `None` where nothing is left to compare.
fn project(pairs: &[&Pair], within: Within) -> Option<Projected> {
    let block = |pair: &Pair| (pair.strip.condition.clone(), pair.strip.block.clone());
    let mut groups: Vec<Vec<usize>> = vec![codes(pairs.iter().map(|pair| block(pair)))];
    if within == Within::Setting {
        // A strip without a force is told apart by its position, or not at all.
        let forces: Vec<f64> = pairs.iter().map(|pair| pair.strip.force_n.unwrap_or(f64::MIN)).collect();
        let levels = force_levels(&forces).0;
        groups.push(codes(pairs.iter().zip(levels).map(|(pair, level)| (level, pair.strip.closing_position.clone()))));
    }
    let columns: Vec<(usize, usize)> = groups
        .iter()
        .enumerate()
        .flat_map(|(group, codes)| (0..codes.iter().max().map_or(0, |most| most + 1)).map(move |code| (group, code)))
        .collect();
    let matrix = Array2::from_shape_fn((pairs.len(), columns.len()), |(row, column)| {
        let (group, code) = columns[column];
        f64::from(u8::from(groups[group][row] == code))
    });
    let names: Vec<String> = (0..columns.len()).map(|column| format!("c{column}")).collect();
    let residuals = |values: Vec<f64>| {
        let design = Design::new(values, matrix.clone(), names.clone(), Vec::new(), None).ok()?;
        let free = pairs.len().checked_sub(design.rank()).filter(|free| *free > 0)?;
        let fit = LeastSquares.fit(&design).ok()?;
        Some((fit.residuals().to_vec(), free as f64))
    };
    let (open, free) = residuals(pairs.iter().map(|pair| pair.open).collect())?;
    let (value, _) = residuals(pairs.iter().map(|pair| pair.value).collect())?;
    Some(Projected { open, value, free })
}

/// Numbers of the distinct values, in their order.
fn codes<K: Ord + Clone>(values: impl Iterator<Item = K>) -> Vec<usize> {
    let values: Vec<K> = values.collect();
    let mut distinct = values.clone();
    distinct.sort();
    distinct.dedup();
    values.iter().map(|value| distinct.partition_point(|other| other < value)).collect()
}

/// What the numbers say, never surer than they are.
fn reading(shown: &Shown, row: &DigStandRow, within: Within) -> String {
    let alike = match within {
        Within::Block => "Compared inside blocks",
        Within::Setting => "Compared inside blocks and at one setting",
    };
    let (Some(difference), Some(low), Some(high)) = (row.difference, row.low, row.high) else {
        let why = if row.n_open_strips == Some(0) {
            "no strip had an open trench"
        } else {
            "too few strips with and without an open trench lie side by side"
        };
        return format!("{alike}, nothing can be told: {why}.");
    };
    let side = if difference > 0.0 { shown.more_words } else { shown.less_words };
    let worse = (difference < 0.0) == shown.fewer;
    if low > 0.0 || high < 0.0 {
        let worth = match (worse, within) {
            (true, Within::Block) => "so digging told of the stand",
            (true, Within::Setting) => "so digging told more of the stand than the setting does",
            (false, _) => "which is not what an open trench should do: look at what else differed",
        };
        format!("{alike}, strips with an open trench came up with {side}, {worth}.")
    } else {
        format!(
            "{alike}, no difference is shown: strips with an open trench may have come up with {}, {}, or alike.",
            shown.less_words, shown.more_words
        )
    }
}
