//! Seeded data of the sizes that are timed.

use evenstand_stats::{BinomialDesign, Design, IntervalData, RandomTerm, ResponseFrame, Result};
use ndarray::Array2;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

/// How many of what.
#[derive(Debug, Clone, Copy)]
pub struct Layout {
    /// Fields (field-seasons).
    pub fields: usize,
    /// Blocks in each field.
    pub blocks: usize,
    /// Strips in each block, one for each level of x.
    pub levels: usize,
    /// Random slopes and curvatures of fields too.
    pub slopes: bool,
    /// Conditions, each with a curve of its own: three fixed columns.
    pub conditions: usize,
}

impl Layout {
    /// `fields` fields of three blocks of eight strips, in four conditions: the layout of the published comparison.
    pub fn of_fields(fields: usize) -> Self {
        Self { fields, blocks: 3, levels: 8, slopes: false, conditions: 4 }
    }

    /// The size of the demo review: 21 field-seasons of two blocks of eight strips, in three conditions, slopes random.
    pub fn of_review() -> Self {
        Self { fields: 21, blocks: 2, levels: 8, slopes: true, conditions: 3 }
    }

    /// Number of strips.
    pub fn strips(&self) -> usize {
        self.fields * self.blocks * self.levels
    }

    fn field(&self, strip: usize) -> usize {
        strip / (self.blocks * self.levels)
    }

    fn block(&self, strip: usize) -> usize {
        strip / self.levels
    }

    /// Conditions differ between fields and inside them.
    fn condition(&self, strip: usize) -> usize {
        (self.field(strip) + self.block(strip) % 2) % self.conditions
    }

    fn x(&self, strip: usize) -> f64 {
        2.0 * (strip % self.levels) as f64 / (self.levels - 1) as f64 - 1.0
    }

    fn fixed(&self) -> Array2<f64> {
        Array2::from_shape_fn((self.strips(), 3 * self.conditions), |(i, j)| {
            let mine = j / 3 == 0 || self.condition(i) == j / 3;
            f64::from(u8::from(mine)) * self.x(i).powi((j % 3) as i32)
        })
    }

    fn names(&self) -> Vec<String> {
        (0..3 * self.conditions).map(|j| format!("c{j}")).collect()
    }

    fn terms(&self) -> Vec<RandomTerm> {
        let strips = 0..self.strips();
        let field: Vec<usize> = strips.clone().map(|i| self.field(i)).collect();
        let block = strips.clone().map(|i| self.block(i)).collect();
        let mut terms = vec![
            RandomTerm::intercept("field", field.clone(), self.fields),
            RandomTerm::intercept("block", block, self.fields * self.blocks),
        ];
        if self.slopes {
            let x: Vec<f64> = strips.map(|i| self.x(i)).collect();
            let square = x.iter().map(|x| x * x).collect();
            terms.push(RandomTerm::slope("x", field.clone(), self.fields, x));
            terms.push(RandomTerm::slope("x²", field, self.fields, square));
        }
        terms
    }
}

/// Columns of a mixed model before they are checked, so that the check can be timed with the fit.
#[derive(Debug, Clone)]
pub struct Columns {
    response: Vec<f64>,
    fixed: Array2<f64>,
    names: Vec<String>,
    terms: Vec<RandomTerm>,
}

impl Columns {
    /// A quadratic curve with its own place in each condition. Standard deviations: strip 0.5, field 0.8, block 0.3, and slopes
    /// 0.4 and 0.2 where the layout has them.
    pub fn drawn(layout: &Layout, seed: u64) -> Self {
        let mut normal = normal(seed);
        let mut effects = |count: usize, sd: f64| -> Vec<f64> { (0..count).map(|_| sd * normal()).collect() };
        let slopes = f64::from(u8::from(layout.slopes));
        let (level, within) = (effects(layout.fields, 0.8), effects(layout.fields * layout.blocks, 0.3));
        let (linear, curved) = (effects(layout.fields, 0.4 * slopes), effects(layout.fields, 0.2 * slopes));
        let noise = effects(layout.strips(), 0.5);
        let response = (0..layout.strips())
            .map(|i| {
                let (x, field) = (layout.x(i), layout.field(i));
                let curve = 1.0 + 0.2 * layout.condition(i) as f64 + (0.5 + linear[field]) * x;
                curve - (0.7 - curved[field]) * x * x + level[field] + within[layout.block(i)] + noise[i]
            })
            .collect();
        Self { response, fixed: layout.fixed(), names: layout.names(), terms: layout.terms() }
    }

    /// The checked design.
    ///
    /// # Errors
    /// As [`Design::new`].
    pub fn design(&self) -> Result<Design> {
        Design::new(self.response.clone(), self.fixed.clone(), self.names.clone(), self.terms.clone(), None)
    }
}

/// Counts of 20 to 39 seeds a strip; standard deviations in logits: field 0.6, block 0.3, strip 0.4. A term with one group a strip is last.
///
/// # Errors
/// As [`BinomialDesign::new`].
pub fn counts(layout: &Layout, seed: u64) -> Result<BinomialDesign> {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let strips = layout.strips();
    let mut effects = |count: usize, sd: f64| -> Vec<f64> {
        (0..count).map(|_| sd * random.sample::<f64, _>(StandardNormal)).collect()
    };
    let (level, within) = (effects(layout.fields, 0.6), effects(layout.fields * layout.blocks, 0.3));
    let strip = effects(strips, 0.4);
    let trials: Vec<f64> = (0..strips).map(|_| f64::from(random.random_range(20..40_u32))).collect();
    let successes = (0..strips)
        .map(|i| {
            let x = layout.x(i);
            let curve = 1.0 + 0.2 * layout.condition(i) as f64 + 0.5 * x - 0.7 * x * x;
            let p = 1.0 / (1.0 + (-(curve + level[layout.field(i)] + within[layout.block(i)] + strip[i])).exp());
            (0..trials[i] as u32).map(|_| f64::from(u8::from(random.random::<f64>() < p))).sum()
        })
        .collect();
    let mut terms = layout.terms();
    terms.push(RandomTerm::intercept("strip", (0..strips).collect(), strips));
    BinomialDesign::new(successes, trials, layout.fixed(), layout.names(), terms)
}

/// Looks of the event times, in days.
const LOOKS: [f64; 8] = [4.0, 5.0, 6.0, 7.0, 8.5, 10.0, 13.0, 18.0];

/// `records` records of 180 individuals looked at eight times; log-logistic, log scale 2 and 0.12, nine in ten have the event.
///
/// # Errors
/// As [`IntervalData::from_cumulative`].
pub fn event_records(records: usize, seed: u64) -> Result<Vec<IntervalData>> {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    (0..records)
        .map(|_| {
            let mut seen = vec![0; LOOKS.len()];
            for _ in 0..180 {
                let (has, p): (f64, f64) = (random.random(), random.random());
                let time = (2.0 + 0.12 * (p / (1.0 - p)).ln()).exp();
                if has < 0.9 {
                    seen.iter_mut().zip(LOOKS).filter(|(_, look)| time <= *look).for_each(|(count, _)| *count += 1);
                }
            }
            IntervalData::from_cumulative(&LOOKS, &seen.into_iter().map(Some).collect::<Vec<_>>(), 180)
        })
        .collect()
}

/// A response that levels off, over eight levels in 21 field-seasons of two blocks; level and slope of fields random.
///
/// # Errors
/// As [`ResponseFrame::new`].
pub fn response_frame(seed: u64) -> Result<ResponseFrame> {
    let mut normal = normal(seed);
    let strips = 21 * 16;
    let x: Vec<f64> = (0..strips).map(|i| [40.0, 80.0, 110.0, 150.0, 190.0, 220.0, 250.0, 300.0][i % 8]).collect();
    let field: Vec<usize> = (0..strips).map(|i| i / 16).collect();
    let (level, slope): (Vec<f64>, Vec<f64>) = (0..21).map(|_| (normal(), 0.3 * normal())).unzip();
    let block: Vec<f64> = (0..42).map(|_| 0.4 * normal()).collect();
    let scaled: Vec<f64> = x.iter().map(|x| (x - 170.0) / 130.0).collect();
    let response = (0..strips)
        .map(|i| {
            let rise = 0.02 * x[i].min(170.0) + slope[field[i]] * scaled[i];
            rise + level[field[i]] + block[i / 8] + 0.5 * normal()
        })
        .collect();
    let terms = vec![
        RandomTerm::intercept("field", field.clone(), 21),
        RandomTerm::intercept("block", (0..strips).map(|i| i / 8).collect(), 42),
        RandomTerm::slope("x", field, 21, scaled),
    ];
    ResponseFrame::new(response, x, Array2::zeros((strips, 0)), vec![], terms, None)
}

fn normal(seed: u64) -> impl FnMut() -> f64 {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    move || random.sample(StandardNormal)
}
