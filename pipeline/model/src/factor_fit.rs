//! The fit behind tests of factors: main effects and interactions of two factors, by the errors of the layout.
//!
//! Every level of every factor has a column, and so has every combination of two factors all of whose combinations were planted. Blocks are fixed, so
//! that levels are compared inside blocks alone: a random block whose variance is estimated as zero would lend its few differences to the errors that
//! factors are held against. From [`MANY_BLOCKS`] on, where field-seasons share combinations, field-season and block are random. Over field-seasons every term that is tested
//! has field-season × term beside it, where the data can tell it: a factor that does not do the same everywhere is not called shown by the strips of a few fields.
//!
//! A factor of whole plots was given to a stretch of strips in each block and not drawn strip by strip. It has a random term block × factor, so its
//! levels are held against whole plots and what varied inside them against strips (split plot); two such factors cross (strip plot). Kenward & Roger (1997) give the F.
//! Effects are those of marginal means: every level of the other factors counts the same, however many strips it has.

use std::collections::BTreeSet;

use evenstand_stats::{Contrast, Design, JointTest, LinearFit, RandomTerm};
use ndarray::Array2;

use crate::covariates::Covariate;
use crate::factor_levels::Factor;
use crate::setting_terms::{count, linked_parts, renumber};
use crate::working_fit;

/// Blocks from which on they are random: as many fixed columns would cost more time than they tell.
const MANY_BLOCKS: usize = 200;

/// The strips of a trial with factors.
#[derive(Debug, Clone)]
pub(crate) struct FactorRows {
    pub response: Vec<f64>,
    /// Standard errors of the values from each strip's own counts, where they are known.
    pub std_errors: Option<Vec<f64>>,
    pub factors: Vec<Factor>,
    /// Which factors were given to whole plots.
    pub whole: Vec<bool>,
    pub blocks: Vec<usize>,
    pub fields: Vec<usize>,
}

/// A term that is tested.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Term {
    Main(usize),
    Interaction(usize, usize),
    Covariate(usize),
}

/// The largest effect of a term, and what it is.
pub(crate) struct Size {
    pub contrast: Contrast,
    pub of: String,
}

pub(crate) struct FactorFit {
    design: Design,
    fit: Box<dyn LinearFit>,
    factors: Vec<Factor>,
    pairs: Vec<(usize, usize)>,
    /// First column of each factor, of each pair, and of the covariates.
    starts: Vec<usize>,
    pair_starts: Vec<usize>,
    covariate_start: usize,
    columns: usize,
    pub method: String,
}

/// Pairs of factors all of whose combinations stand in the strips.
pub(crate) fn crossed(factors: &[Factor]) -> Vec<(usize, usize)> {
    pairs_of(factors.len()).filter(|(a, b)| missing(&factors[*a], &factors[*b]).is_empty()).collect()
}

/// All pairs of factors.
pub(crate) fn pairs_of(factors: usize) -> impl Iterator<Item = (usize, usize)> {
    (0..factors).flat_map(move |a| (a + 1..factors).map(move |b| (a, b)))
}

/// Combinations of two factors that no strip has, in words.
pub(crate) fn missing(a: &Factor, b: &Factor) -> Vec<String> {
    let there: BTreeSet<(usize, usize)> = a.codes.iter().copied().zip(b.codes.iter().copied()).collect();
    let all = (0..a.levels.len()).flat_map(|one| (0..b.levels.len()).map(move |other| (one, other)));
    all.filter(|cell| !there.contains(cell))
        .map(|(one, other)| format!("{} with {}", a.levels[one], b.levels[other]))
        .collect()
}

impl FactorFit {
    /// Fits the factors with the interactions `pairs`, adjusted for covariates. The error says in words why there is no test.
    pub fn new(rows: &FactorRows, pairs: &[(usize, usize)], covariates: &[Covariate]) -> Result<Self, String> {
        let blocks = renumber(rows.blocks.iter().copied());
        let fields = renumber(rows.fields.iter().copied());
        let fixed = count(&fields) == 1
            || count(&blocks) < MANY_BLOCKS
            || linked_parts(&fields, &combinations(&rows.factors)) > 1;
        let mut columns: Vec<(String, Vec<f64>)> = Vec::new();
        let (mut starts, mut pair_starts) = (Vec::new(), Vec::new());
        for factor in &rows.factors {
            starts.push(columns.len());
            columns.extend(indicators(&factor.words(), &factor.codes, factor.levels.len()));
        }
        for &(a, b) in pairs {
            let (a, b) = (&rows.factors[a], &rows.factors[b]);
            let codes: Vec<usize> =
                a.codes.iter().zip(&b.codes).map(|(one, other)| one * b.levels.len() + other).collect();
            pair_starts.push(columns.len());
            columns.extend(indicators(&interaction(a, b), &codes, a.levels.len() * b.levels.len()));
        }
        if fixed {
            columns.extend(indicators("block", &blocks, count(&blocks)));
        }
        let covariate_start = columns.len();
        columns.extend(covariates.iter().map(|own| (own.name.clone(), own.column.clone())));
        let matrix =
            Array2::from_shape_fn((rows.response.len(), columns.len()), |(row, column)| columns[column].1[row]);
        let random = random_terms(rows, pairs, &fields, &blocks, fixed);
        let no_replication = |_| "no replication is left beside these factors, so no test".to_owned();
        let names = columns.iter().map(|(name, _)| name.clone()).collect();
        let design = working_fit::design(rows.response.clone(), matrix, names, random, None, rows.std_errors.clone())
            .map_err(no_replication)?;
        let first_line =
            |error: evenstand_stats::StatsError| error.to_string().lines().next().unwrap_or_default().to_owned();
        let (fit, remarks) = working_fit::fit(&design).map_err(first_line)?;
        let method = method(rows, pairs, covariates, fixed, &design, remarks);
        Ok(Self {
            design,
            fit,
            factors: rows.factors.clone(),
            pairs: pairs.to_vec(),
            starts,
            pair_starts,
            covariate_start,
            columns: columns.len(),
            method,
        })
    }

    /// The test of a term; `None` where the strips cannot tell it.
    pub fn test(&self, term: Term) -> Option<JointTest> {
        let effects = match term {
            // Every combination of the two was planted, so these know all that the other ones do.
            Term::Interaction(a, b) => self.interaction_effects(a, b, true),
            _ => self.effects(term),
        };
        let rows: Vec<Vec<f64>> =
            effects.into_iter().filter_map(|(_, row)| self.design.estimable_row(&row).ok()).collect();
        let width = rows.first()?.len();
        let test =
            self.fit.joint_test(&Array2::from_shape_fn((rows.len(), width), |(row, column)| rows[row][column])).ok()?;
        (test.p_value.is_finite() && test.f.is_finite()).then_some(test)
    }

    /// The largest difference between two levels, of differences between differences, or the slope of a covariate.
    pub fn size(&self, term: Term) -> Option<Size> {
        let coefficients = self.fit.coefficients();
        let value = |row: &[f64]| row.iter().zip(coefficients).map(|(a, b)| a * b).sum::<f64>();
        let (of, row) = self
            .effects(term)
            .into_iter()
            .filter_map(|(of, row)| Some((of, self.design.estimable_row(&row).ok()?)))
            .max_by(|(_, a), (_, b)| value(a).abs().total_cmp(&value(b).abs()))?;
        Some(Size { contrast: self.fit.contrast(&row).ok()?, of })
    }

    /// Differences between two levels that can be told, of all factors: contrasts by factor and pair.
    pub fn differences(&self) -> Vec<Option<Contrast>> {
        let mains = (0..self.factors.len()).flat_map(|factor| self.effects(Term::Main(factor)));
        mains.map(|(_, row)| self.fit.contrast(&self.design.estimable_row(&row).ok()?).ok()).collect()
    }

    /// Effects of a term on all columns, with what each is.
    fn effects(&self, term: Term) -> Vec<(String, Vec<f64>)> {
        match term {
            Term::Main(factor) => {
                let levels = &self.factors[factor].levels;
                pairs_of(levels.len())
                    .map(|(a, b)| {
                        let mut row = self.marginal(factor, b);
                        row.iter_mut().zip(self.marginal(factor, a)).for_each(|(to, from)| *to -= from);
                        (format!("{} − {}", levels[b], levels[a]), row)
                    })
                    .collect()
            }
            Term::Interaction(a, b) => self.interaction_effects(a, b, false),
            Term::Covariate(number) => {
                let mut row = vec![0.0; self.columns];
                row[self.covariate_start + number] = 1.0;
                vec![("a unit more".to_owned(), row)]
            }
        }
    }

    /// Differences of differences, all of them or those with the first levels alone.
    fn interaction_effects(&self, a: usize, b: usize, with_first: bool) -> Vec<(String, Vec<f64>)> {
        let Some(pair) = self.pairs.iter().position(|own| *own == (a, b)) else { return Vec::new() };
        let (one, other) = (&self.factors[a].levels, &self.factors[b].levels);
        let column = |level: usize, of: usize| self.pair_starts[pair] + level * other.len() + of;
        let others: Vec<(usize, usize)> = pairs_of(other.len()).collect();
        pairs_of(one.len())
            .flat_map(|(low, high)| others.iter().map(move |(first, second)| (low, high, *first, *second)))
            .filter(|(low, _, first, _)| !with_first || (*low, *first) == (0, 0))
            .map(|(low, high, first, second)| {
                let mut row = vec![0.0; self.columns];
                row[column(high, second)] = 1.0;
                row[column(low, second)] = -1.0;
                row[column(high, first)] = -1.0;
                row[column(low, first)] = 1.0;
                let difference = format!("{} − {}", one[high], one[low]);
                (format!("({difference}) at {} less the same at {}", other[second], other[first]), row)
            })
            .collect()
    }

    /// Mean of a level over the levels of all factors that it crosses, apart from what all levels share.
    fn marginal(&self, factor: usize, level: usize) -> Vec<f64> {
        let mut row = vec![0.0; self.columns];
        row[self.starts[factor] + level] = 1.0;
        for ((a, b), start) in self.pairs.iter().zip(&self.pair_starts) {
            let (first, second) = (self.factors[*a].levels.len(), self.factors[*b].levels.len());
            if *a == factor {
                (0..second).for_each(|other| row[start + level * second + other] = 1.0 / second as f64);
            } else if *b == factor {
                (0..first).for_each(|other| row[start + other * second + level] = 1.0 / first as f64);
            }
        }
        row
    }
}

/// "force × depth stop".
pub(crate) fn interaction(a: &Factor, b: &Factor) -> String {
    format!("{} × {}", a.words(), b.words())
}

fn indicators(name: &str, codes: &[usize], levels: usize) -> Vec<(String, Vec<f64>)> {
    (0..levels)
        .map(|level| {
            let column = codes.iter().map(|code| f64::from(u8::from(*code == level))).collect();
            (format!("{name} {level}"), column)
        })
        .collect()
}

/// The combination of all factors that each strip has, numbered.
pub(crate) fn combinations(factors: &[Factor]) -> Vec<usize> {
    factors
        .iter()
        .fold(vec![0; factors.first().map_or(0, |own| own.codes.len())], |codes, factor| cells(&codes, &factor.codes))
}

/// Cells of two groupings, numbered without gaps.
fn cells(a: &[usize], b: &[usize]) -> Vec<usize> {
    let width = b.iter().max().map_or(1, |code| code + 1);
    renumber(a.iter().zip(b).map(|(one, other)| one * width + other))
}

/// Random terms that these strips can carry.
fn random_terms(
    rows: &FactorRows,
    pairs: &[(usize, usize)],
    fields: &[usize],
    blocks: &[usize],
    fixed: bool,
) -> Vec<RandomTerm> {
    let strips = rows.response.len();
    let mut random: Vec<RandomTerm> = Vec::new();
    let mut add = |name: String, codes: Vec<usize>| {
        // The same grouping under two names would be told twice: one block a field-season, for example.
        let there = random.iter().any(|term| renumber(term.groups.iter().copied()) == codes);
        if count(&codes) > 1 && count(&codes) < strips && !there {
            random.push(RandomTerm::intercept(name, codes.clone(), count(&codes)));
        }
    };
    if !fixed {
        add("field-season".to_owned(), fields.to_vec());
        if count(blocks) > count(fields) {
            add("block".to_owned(), blocks.to_vec());
        }
    }
    let more = |groups: &[usize], factor: &Factor| {
        let (own, codes) = (cells(groups, &factor.codes), renumber(factor.codes.iter().copied()));
        (count(&own) > count(groups) + count(&codes) - linked_parts(groups, &codes)).then_some(own)
    };
    for (factor, _) in rows.factors.iter().zip(&rows.whole).filter(|(_, whole)| **whole) {
        if let Some(own) = more(blocks, factor) {
            add(format!("block × {}", factor.words()), own);
        }
    }
    if count(fields) < 2 {
        return random;
    }
    for factor in &rows.factors {
        if let Some(own) = more(fields, factor) {
            add(format!("field-season × {}", factor.words()), own);
        }
    }
    for &(a, b) in pairs {
        let (a, b) = (&rows.factors[a], &rows.factors[b]);
        let own = cells(&cells(fields, &a.codes), &b.codes);
        let of_field = |field: usize| {
            let mine = (0..strips).filter(|row| fields[*row] == field);
            mine.map(|row| (a.codes[row], b.codes[row])).collect::<BTreeSet<_>>().len()
        };
        let whole = (0..count(fields)).filter(|field| of_field(*field) == a.levels.len() * b.levels.len()).count();
        if whole >= 2 {
            add(format!("field-season × {}", interaction(a, b)), own);
        }
    }
    random
}

fn method(
    rows: &FactorRows,
    pairs: &[(usize, usize)],
    covariates: &[Covariate],
    fixed: bool,
    design: &Design,
    remarks: Vec<String>,
) -> String {
    let mut effects: Vec<String> = rows.factors.iter().map(Factor::words).collect();
    effects.extend(pairs.iter().map(|(a, b)| interaction(&rows.factors[*a], &rows.factors[*b])));
    if fixed {
        effects.push("block".to_owned());
    }
    effects.extend(covariates.iter().map(|own| own.name.clone()));
    let effects = effects.join(" + ");
    let mut parts = vec![if design.random().is_empty() {
        format!("least squares: {effects}")
    } else {
        let named: Vec<&str> = design.random().iter().map(|term| term.name.as_str()).collect();
        format!("mixed model: {effects}, random {}; kenward-roger", named.join(", "))
    }];
    if rows.factors.len() > 2 {
        parts.push("what takes three factors together counts as error".to_owned());
    }
    if rows.std_errors.is_some() {
        parts.push("sampling variances of the strips taken as known".to_owned());
    }
    parts.extend(remarks);
    parts.join("; ")
}
