//! What a plan promises to show, held against simulated trials and against tables.

use evenstand_stats::distribution::t_quantile;
use evenstand_stats::{Analysis, PlannedTrial, Question, SimulationOptions, detectable_difference, simulate_power};
use evenstand_trial::{Layout, Plan, Request};
use ndarray::Array2;

use crate::{planned, request, two_planters};

/// The share of simulated trials in which the difference that a plan calls detectable, between its lightest and its
/// heaviest setting, is found. Each trial is laid out as planned and analysed with blocks (or groups of one closer) as columns.
fn simulated(plan: &Plan) -> f64 {
    let (levels, closers) = (plan.levels.len(), plan.closers.len());
    // In a strip-split the unit of a setting is a segment across both planters.
    let both = plan.layout == Layout::StripSplit;
    let strips: Vec<_> = plan.strips.iter().filter(|strip| !both || strip.planter == 0).collect();
    let groups = plan.blocks * closers;
    let columns = groups + (levels - 1) * closers;
    let mut fixed = Array2::zeros((strips.len(), columns));
    for (row, strip) in strips.iter().enumerate() {
        fixed[(row, (strip.block - 1) * closers + strip.closer)] = 1.0;
        if strip.level > 0 {
            fixed[(row, groups + strip.closer * (levels - 1) + strip.level - 1)] = 1.0;
        }
    }
    // Between two settings in complete blocks every pair is alike; in incomplete ones the plan states the mean over pairs.
    let (first, last) = (0, levels - 1);
    let mean = strips.iter().map(|strip| if strip.level == last { plan.worth.detectable } else { 0.0 }).collect();
    let mut row = vec![0.0; columns];
    for closer in 0..closers {
        row[groups + closer * (levels - 1) + last - 1] = 1.0 / closers as f64;
    }
    assert_eq!(first, 0, "the lightest setting has no column");
    let trial = PlannedTrial {
        fixed,
        names: (0..columns).map(|column| format!("column {column}")).collect(),
        mean,
        random: Vec::new(),
        sigma: plan.worth.strip_sd,
    };
    let question = Question::Contrast { row, alpha: plan.worth.alpha };
    simulate_power(&trial, Analysis::LeastSquares, &question, SimulationOptions { runs: 40_000, seed: 11 })
        .unwrap()
        .power
}

#[test]
fn the_difference_called_detectable_is_found_as_often_as_promised() {
    // 40 000 runs: standard error 0.2 points at 80 %.
    let complete = |levels, blocks| Request { levels: Some(levels), blocks: Some(blocks), ..request() };
    let closers = vec!["discs_and_press_wheel".to_owned(), "angled_press_wheels".to_owned()];
    let requests = [
        complete(2, 4),
        complete(4, 4),
        complete(5, 3),
        Request { power: 0.9, alpha: 0.1, ..complete(3, 6) },
        // Balanced: every pair of the seven settings stands together once.
        Request { per_block: Some(3), ..complete(7, 7) },
        Request { closers, ..complete(4, 4) },
        Request { levels: Some(4), blocks: Some(4), ..two_planters() },
    ];
    for request in requests {
        let plan = planned(&request);
        let found = simulated(&plan);
        assert!((found - plan.worth.power).abs() < 0.01, "{:?}: {found} for {}", plan.layout, plan.worth.power);
    }
}

/// Rows of a file of numbers; `None`, and said so, where it is not there.
fn table(name: &str) -> Option<Vec<Vec<f64>>> {
    let path = format!("{}/../../../shared/reference/{name}", env!("CARGO_MANIFEST_DIR"));
    let Ok(text) = std::fs::read_to_string(&path) else {
        println!("skipped: {name} is not there");
        return None;
    };
    let rows = text.lines().skip(1).filter(|line| !line.is_empty());
    Some(rows.map(|line| line.split(',').map(|cell| cell.trim().parse().unwrap()).collect()).collect())
}

#[test]
fn least_significant_differences_are_those_of_the_table() {
    // trial_lsd_rcbd.csv: t(1 - alpha / 2, (r - 1)(t - 1)) sqrt(2 / r), in residual standard deviations, four decimals.
    let Some(rows) = table("trial_lsd_rcbd.csv") else { return };
    assert_eq!(rows.len(), 20);
    for row in rows {
        let [levels, blocks, df, at_5, at_10] = row[..] else { panic!("{row:?}") };
        let plan = planned(&Request {
            levels: Some(levels as usize),
            blocks: Some(blocks as usize),
            strip_sd: Some(1.0),
            ..request()
        });
        for (alpha, expected) in [(0.05, at_5), (0.1, at_10)] {
            let difference = t_quantile(1.0 - alpha / 2.0, df) * (2.0 / blocks).sqrt();
            assert!((difference - expected).abs() < 6e-5, "{row:?}: {difference}");
        }
        // The plan's own standard error and degrees of freedom: what it calls detectable follows from them.
        let own = detectable_difference((2.0 / blocks).sqrt(), df, 0.8, 0.05).unwrap();
        assert!((plan.worth.detectable - own).abs() < 1e-9, "{row:?}");
    }
}

#[test]
fn differences_that_pairs_of_settings_show_are_those_of_the_table() {
    // trial_power_paired.csv: two settings in r blocks, two-sided t on r - 1 degrees of freedom by the noncentral t; four
    // decimals, of which the search behind the table leaves the last one open.
    let Some(rows) = table("trial_power_paired.csv") else { return };
    assert_eq!(rows.len(), 16);
    for row in rows {
        let [blocks, alpha, at_80, at_90, _] = row[..] else { panic!("{row:?}") };
        for (power, expected) in [(0.8, at_80), (0.9, at_90)] {
            let asked = Request {
                levels: Some(2),
                blocks: Some(blocks as usize),
                alpha,
                power,
                strip_sd: Some(1.0),
                ..request()
            };
            let found = planned(&asked).worth.detectable;
            assert!((found - expected).abs() < 1e-4, "{row:?}: {found}");
        }
    }
}

#[test]
fn samples_are_as_large_as_a_textbook_says() {
    // Cohen, Statistical Power Analysis for the Behavioral Sciences, 2nd ed. 1988, table 2.4.1 (from memory): two samples of n, two-sided
    // t test at 5 %, power 80 %: n = 393, 64 and 26 for differences of 0.2, 0.5 and 0.8 standard deviations.
    for (difference, expected) in [(0.2, 393), (0.5, 64), (0.8, 26)] {
        let power = |n: i32| {
            let (std_error, df) = ((2.0 / f64::from(n)).sqrt(), f64::from(2 * n - 2));
            evenstand_stats::difference_power(difference, std_error, df, 0.05).unwrap().power
        };
        let enough = (2..1000).find(|n| power(*n) >= 0.8).unwrap();
        // The book rounds, this counts up: 0.2 needs 394 for 80.0 %, as 393 gives 79.99 %.
        assert!((enough - expected).abs() <= 1 && (power(expected) - 0.8).abs() < 0.01, "{difference}: {enough}");
    }
}

#[test]
fn by_blocks_holds_the_planned_number_and_falls() {
    let plan = planned(&Request { levels: Some(4), blocks: Some(7), ..request() });
    let own = plan.worth.by_blocks.iter().find(|row| row.blocks == 7).unwrap();
    assert!((own.difference - plan.worth.detectable).abs() < 1e-12);
    assert!(plan.worth.by_blocks.windows(2).all(|pair| pair[1].difference < pair[0].difference));
}
