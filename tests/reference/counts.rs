//! Published counts, and designs made from them or drawn at random.

use crate::data::Table;
use evenstand_stats::{BinomialDesign, RandomTerm};
use ndarray::Array2;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// Crowder (1978), Applied Statistics 27:34-37, table 3: germinated seeds of two Orobanche species in two root extracts.
/// Per plate: O75 (1) or O73 (0), cucumber (1) or bean (0), germinated, seeds.
const SEEDS: [[u16; 4]; 21] = [
    [1, 0, 10, 39],
    [1, 0, 23, 62],
    [1, 0, 23, 81],
    [1, 0, 26, 51],
    [1, 0, 17, 39],
    [0, 0, 8, 16],
    [0, 0, 10, 30],
    [0, 0, 8, 28],
    [0, 0, 23, 45],
    [0, 0, 0, 4],
    [1, 1, 5, 6],
    [1, 1, 53, 74],
    [1, 1, 55, 72],
    [1, 1, 32, 51],
    [1, 1, 46, 79],
    [1, 1, 10, 13],
    [0, 1, 3, 12],
    [0, 1, 22, 41],
    [0, 1, 15, 30],
    [0, 1, 32, 51],
    [0, 1, 3, 7],
];

/// The seeds in a 2 × 2 layout with a random intercept per plate.
pub fn seeds() -> BinomialDesign {
    let cell = |i: usize, j: usize| f64::from(SEEDS[i][j]);
    let fixed = Array2::from_shape_fn((21, 4), |(i, j)| match j {
        0 => 1.0,
        3 => cell(i, 0) * cell(i, 1),
        _ => cell(i, j - 1),
    });
    BinomialDesign::new(
        (0..21).map(|i| cell(i, 2)).collect(),
        (0..21).map(|i| cell(i, 3)).collect(),
        fixed,
        ["(Intercept)", "genO75", "extractcucumber", "genO75:extractcucumber"].map(String::from).to_vec(),
        vec![RandomTerm::intercept("plate", (0..21).collect(), 21)],
    )
    .expect("valid design")
}

/// Contagious bovine pleuropneumonia (Lesnoff and others 2004): incidence in 15 herds over four periods.
pub fn cbpp() -> Option<BinomialDesign> {
    let table = Table::from_shared("cbpp.csv")?;
    let period = table.factor("period");
    let herd = table.factor("herd");
    let fixed = Array2::from_shape_fn((table.rows(), 4), |(i, j)| f64::from(u8::from(j == 0 || period.codes[i] == j)));
    let groups = herd.labels.len();
    Some(
        BinomialDesign::new(
            table.numbers("incidence"),
            table.numbers("size"),
            fixed,
            ["(Intercept)", "period2", "period3", "period4"].map(String::from).to_vec(),
            vec![RandomTerm::intercept("herd", herd.codes, groups)],
        )
        .expect("valid design"),
    )
}

/// Spector & Mazzeo (1980), J Econ Educ 11:37-44, as printed in Greene's Econometric Analysis: grade point average, test score,
/// taught by the new method, grade improved.
const SPECTOR: [(f64, f64, u8, u8); 32] = [
    (2.66, 20.0, 0, 0),
    (2.89, 22.0, 0, 0),
    (3.28, 24.0, 0, 0),
    (2.92, 12.0, 0, 0),
    (4.0, 21.0, 0, 1),
    (2.86, 17.0, 0, 0),
    (2.76, 17.0, 0, 0),
    (2.87, 21.0, 0, 0),
    (3.03, 25.0, 0, 0),
    (3.92, 29.0, 0, 1),
    (2.63, 20.0, 0, 0),
    (3.32, 23.0, 0, 0),
    (3.57, 23.0, 0, 0),
    (3.26, 25.0, 0, 1),
    (3.53, 26.0, 0, 0),
    (2.74, 19.0, 0, 0),
    (2.75, 25.0, 0, 0),
    (2.83, 19.0, 0, 0),
    (3.12, 23.0, 1, 0),
    (3.16, 25.0, 1, 1),
    (2.06, 22.0, 1, 0),
    (3.62, 28.0, 1, 1),
    (2.89, 14.0, 1, 0),
    (3.51, 26.0, 1, 0),
    (3.54, 24.0, 1, 1),
    (2.83, 27.0, 1, 1),
    (3.39, 17.0, 1, 1),
    (2.67, 24.0, 1, 0),
    (3.65, 21.0, 1, 1),
    (4.0, 23.0, 1, 1),
    (3.1, 21.0, 1, 0),
    (2.39, 19.0, 1, 1),
];

/// Improvement of the grade by average, score and method.
pub fn spector() -> BinomialDesign {
    let fixed = Array2::from_shape_fn((32, 4), |(i, j)| {
        let (average, score, method, _) = SPECTOR[i];
        [1.0, average, score, f64::from(method)][j]
    });
    BinomialDesign::new(
        SPECTOR.iter().map(|row| f64::from(row.3)).collect(),
        vec![1.0; 32],
        fixed,
        ["(Intercept)", "GPA", "TUCE", "PSI"].map(String::from).to_vec(),
        vec![],
    )
    .expect("valid design")
}

/// Endometrial cancer grades (Heinze & Schemper 2002), separated by the first column.
pub fn endometrial() -> Option<BinomialDesign> {
    let table = Table::from_shared("endometrial.csv")?;
    let columns: Vec<Vec<f64>> = ["NV", "PI", "EH"].map(|name| table.numbers(name)).to_vec();
    let fixed = Array2::from_shape_fn((table.rows(), 4), |(i, j)| if j == 0 { 1.0 } else { columns[j - 1][i] });
    Some(
        BinomialDesign::new(
            table.numbers("HG"),
            vec![1.0; table.rows()],
            fixed,
            ["(Intercept)", "NV", "PI", "EH"].map(String::from).to_vec(),
            vec![],
        )
        .expect("valid design"),
    )
}

/// Columns `1, x, x²` and the random numbers behind them.
pub fn random_counts(rows: usize, largest: u32, seed: u64, terms: Vec<RandomTerm>) -> BinomialDesign {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let x: Vec<f64> = (0..rows).map(|_| random.random::<f64>() * 2.0 - 1.0).collect();
    let trials: Vec<f64> = (0..rows).map(|_| f64::from(random.random_range(1..=largest))).collect();
    let successes = (0..rows)
        .map(|i| {
            let shift: f64 = terms.iter().enumerate().map(|(k, t)| ((t.groups[i] * (k + 2)) as f64).sin()).sum();
            let p = 1.0 / (1.0 + (-(0.4 + 0.8 * x[i] + 0.9 * shift)).exp());
            (0..trials[i] as u32).map(|_| f64::from(u8::from(random.random::<f64>() < p))).sum()
        })
        .collect();
    let fixed = Array2::from_shape_fn((rows, 3), |(i, j)| x[i].powi(j as i32));
    BinomialDesign::new(successes, trials, fixed, ["one", "x", "x2"].map(String::from).to_vec(), terms)
        .expect("valid design")
}

/// The same rows in another order; `order[i]` is the old place of new row `i`.
pub fn reordered(design: &BinomialDesign, order: &[usize]) -> BinomialDesign {
    let pick = |values: &[f64]| order.iter().map(|&i| values[i]).collect::<Vec<f64>>();
    let terms = design
        .random()
        .iter()
        .map(|term| RandomTerm {
            groups: order.iter().map(|&i| term.groups[i]).collect(),
            columns: term.columns.iter().map(|c| pick(c)).collect(),
            ..term.clone()
        })
        .collect();
    let fixed = design.fixed().select(ndarray::Axis(0), order);
    BinomialDesign::new(pick(design.successes()), pick(design.trials()), fixed, design.names().to_vec(), terms)
        .expect("valid design")
}
