//! Small random frames of the worst kinds.

use evenstand_stats::{BinomialDesign, Design, RandomTerm};
use ndarray::Array2;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::panic::{AssertUnwindSafe, catch_unwind};

pub type Random = ChaCha8Rng;

/// Runs `check` on every seed; it gives what it finds wrong. All of it is shown at once, panics included.
/// `EVENSTAND_STRESS=N` takes N times as many seeds.
pub fn over_seeds(seeds: u64, check: impl Fn(&mut Random) -> Vec<String>) {
    let mut wrong = Vec::new();
    let times: u64 = std::env::var("EVENSTAND_STRESS").map_or(1, |times| times.parse().expect("a whole number"));
    for seed in 0..times * seeds {
        let mut random = Random::seed_from_u64(seed);
        match catch_unwind(AssertUnwindSafe(|| check(&mut random))) {
            Ok(found) => wrong.extend(found.into_iter().map(|what| format!("seed {seed}: {what}"))),
            Err(_) => wrong.push(format!("seed {seed}: panicked")),
        }
    }
    assert!(wrong.is_empty(), "{} complaints, first:\n{}", wrong.len(), wrong[..wrong.len().min(25)].join("\n"));
}

pub fn unit(random: &mut Random) -> f64 {
    2.0 * random.random::<f64>() - 1.0
}

pub fn pick<T: Copy>(random: &mut Random, from: &[T]) -> T {
    from[random.random_range(0..from.len())]
}

pub fn scale(random: &mut Random) -> f64 {
    pick(random, &[1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1e-9, 1e-9, 1e-4, 1e-4, 1e4, 1e4, 1e9, 1e9, 1e-150, 1e150])
}

pub fn offset(random: &mut Random) -> f64 {
    pick(random, &[0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0, 1.0, 1e9, 1e9, -1e9, -1e9, 1e150])
}

pub fn columns(random: &mut Random, rows: usize) -> Array2<f64> {
    let count = random.random_range(1..5);
    let mut columns: Vec<Vec<f64>> = Vec::new();
    for j in 0..count {
        let kind = if j == 0 { pick(random, &[0, 0, 0, 2, 3]) } else { random.random_range(0..8) };
        let size = scale(random);
        columns.push(match kind {
            0 => vec![1.0; rows],
            1 => vec![0.0; rows],
            2 => {
                let shift = offset(random);
                (0..rows).map(|_| size * unit(random) + shift).collect()
            }
            3 => (0..rows).map(|_| size * f64::from(random.random_range(0..3_u8))).collect(),
            4 => columns[random.random_range(0..j)].clone(),
            5 => (0..rows).map(|i| columns.iter().map(|column| size * column[i]).sum()).collect(),
            6 => (0..rows).map(|i| f64::from(u8::from(i == 0))).collect(),
            // All but equal to the column before it.
            _ => columns[j - 1].iter().map(|value| value * (1.0 + 1e-9 * unit(random))).collect(),
        });
    }
    if rows > 2 && random.random::<f64>() < 0.2 {
        let last = columns.len() - 1;
        columns.iter_mut().take(last + 1).for_each(|column| (1..rows / 2).for_each(|i| column[i] = column[0]));
    }
    Array2::from_shape_fn((rows, count), |(i, j)| columns[j][i])
}

pub fn names(count: usize) -> Vec<String> {
    (0..count).map(|j| format!("c{j}")).collect()
}

pub fn response(random: &mut Random, fixed: &Array2<f64>) -> Vec<f64> {
    let (rows, size) = (fixed.nrows(), scale(random));
    match random.random_range(0..8) {
        0 => vec![0.0; rows],
        1 => vec![size; rows],
        2 => fixed.rows().into_iter().map(|row| row.sum()).collect(),
        3 => (0..rows).map(|i| f64::from(u8::from(i == 0))).collect(),
        4 => (0..rows).map(|_| f64::from(random.random_range(0..2_u8))).collect(),
        5 => (0..rows).map(|i| size * (unit(random) + (i % 3) as f64)).collect(),
        _ => {
            let shift = offset(random);
            (0..rows).map(|_| size * unit(random) + shift).collect()
        }
    }
}

pub fn groups(random: &mut Random, rows: usize) -> (Vec<usize>, usize) {
    match random.random_range(0..5) {
        0 => (vec![0; rows], 1),
        1 => ((0..rows).collect(), rows),
        2 => ((0..rows).map(|i| 2 * (i / 2)).collect(), rows + 2),
        _ => {
            let count = random.random_range(1..6);
            ((0..rows).map(|_| random.random_range(0..count)).collect(), count)
        }
    }
}

pub fn random_terms(random: &mut Random, rows: usize, correlated: bool) -> Vec<RandomTerm> {
    let count = random.random_range(0..4);
    (0..count)
        .map(|k| {
            let name = format!("t{k}");
            let (codes, number) = groups(random, rows);
            let size = scale(random);
            let covariate: Vec<f64> = (0..rows).map(|_| size * unit(random)).collect();
            match random.random_range(0..if correlated { 6 } else { 4 }) {
                0 => RandomTerm::slope(name, codes, number, covariate),
                4 => RandomTerm::smooth(name, vec![covariate, vec![1.0; rows], vec![0.5; rows]]),
                5 => {
                    let both = vec![("one".into(), vec![1.0; rows]), ("x".into(), covariate)];
                    RandomTerm::correlated(name, codes, number, both)
                }
                _ => RandomTerm::intercept(name, codes, number),
            }
        })
        .collect()
}

pub fn design(random: &mut Random) -> Option<Design> {
    let rows = random.random_range(1..14);
    let fixed = columns(random, rows);
    let response = response(random, &fixed);
    let names = names(fixed.ncols());
    let random_terms = random_terms(random, rows, true);
    // A frame whose terms are refused is still a frame without them.
    let plain = |terms: Vec<RandomTerm>, random: &mut Random| {
        let size = scale(random);
        match random.random_range(0..6) {
            0 => {
                let variances: Vec<f64> = (0..rows).map(|_| size * (1.1 + unit(random))).collect();
                Design::with_sampling_variances(response.clone(), fixed.clone(), names.clone(), terms, &variances)
            }
            1 => {
                let mut weights: Vec<f64> = (0..rows).map(|_| size * (1.1 + unit(random))).collect();
                if random.random_range(0..4) == 0 {
                    weights[random.random_range(0..rows)] = 0.0;
                }
                Design::new(response.clone(), fixed.clone(), names.clone(), terms, Some(weights))
            }
            _ => Design::new(response.clone(), fixed.clone(), names.clone(), terms, None),
        }
    };
    match plain(random_terms, random) {
        Ok(design) => Some(design),
        Err(error) => {
            assert!(!error.to_string().contains("NaN"), "{error}");
            plain(Vec::new(), random).ok()
        }
    }
}

pub fn counts(random: &mut Random) -> Option<BinomialDesign> {
    let rows = random.random_range(1..12);
    let fixed = columns(random, rows);
    let most = pick(random, &[1_u32, 1, 4, 30, 1000]);
    let trials: Vec<f64> = (0..rows).map(|_| f64::from(random.random_range(1..=most))).collect();
    let kind = random.random_range(0..6);
    let cut = fixed[[random.random_range(0..rows), fixed.ncols() - 1]];
    let successes = trials
        .iter()
        .enumerate()
        .map(|(i, &n)| match kind {
            0 => 0.0,
            1 => n,
            2 => n * f64::from(u8::from(fixed[[i, fixed.ncols() - 1]] > cut)),
            3 => (0.3 * n).floor(),
            _ => f64::from(random.random_range(0..=n as u32)),
        })
        .collect();
    let terms = random_terms(random, rows, false);
    let names = names(fixed.ncols());
    let plain =
        |terms| BinomialDesign::new(Vec::clone(&successes), trials.clone(), fixed.clone(), names.clone(), terms);
    plain(terms).or_else(|_| plain(Vec::new())).ok()
}
