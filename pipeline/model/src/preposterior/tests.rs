//! Against closed forms, and the directions that any trial must keep to.

use super::*;
use evenstand_stats::distribution::normal_cdf;

/// Straight lines through zero at force 0: worth is slope times force, and fields have slopes of their own.
struct Lines {
    slopes: Vec<f64>,
    own: Vec<f64>,
}

impl Lines {
    /// Slopes of standard deviation 1, and of `own` between fields.
    fn normal(number: usize, own: f64) -> Self {
        let mut random = ChaCha8Rng::seed_from_u64(5);
        let mut draws = |deviation: f64| -> Vec<f64> {
            (0..number).map(|_| deviation * random.sample::<f64, _>(StandardNormal)).collect()
        };
        Self { slopes: draws(1.0), own: draws(own) }
    }
}

impl Curves for Lines {
    fn number(&self) -> usize {
        self.slopes.len()
    }

    fn modelled(&self, draw: usize, force_n: f64, field: Field) -> f64 {
        force_n * (self.slopes[draw] + if field == Field::Unseen { self.own[draw] } else { 0.0 })
    }

    fn worth_of(&self, modelled: f64) -> f64 {
        modelled
    }
}

fn ends(strip_variance: f64) -> Choice {
    Choice { starts_n: vec![-1.0, 1.0], tolerance: 0.1, strip_variance }
}

fn effort(number: usize) -> Effort {
    Effort { truths: number, weighed: number, seed: 11 }
}

/// The chance of a right choice is Φ(difference / standard error), the standard error of the difference of two means being
/// √(2 σ² / (blocks × fields) + τ² / fields), τ the standard deviation of the difference between fields.
#[test]
fn two_settings_are_told_apart_as_often_as_the_normal_distribution_says() {
    const NUMBER: usize = 3000;
    for (strip_deviation, own, blocks, fields) in
        [(1.0, 0.0, 4, 1), (1.0, 0.0, 2, 3), (0.5, 0.4, 4, 2), (0.2, 1.0, 3, 3)]
    {
        let mut lines = Lines::normal(NUMBER, own);
        // The difference of the two settings is 0.8, one way or the other.
        lines.slopes.iter_mut().enumerate().for_each(|(draw, slope)| *slope = if draw % 2 == 0 { 0.4 } else { -0.4 });
        let variance = strip_deviation * strip_deviation;
        let prepared = Preposterior::new(&lines, ends(variance), effort(NUMBER)).unwrap();
        let levels = prepared.levels(&[-1.0, 1.0]).unwrap();
        let found = prepared.expected(&levels, blocks, fields).unwrap();
        let right = 1.0 - found.loss_after / 0.8;
        let field_variance = (2.0 * own).powi(2) / fields as f64;
        let std_error = (2.0 * variance / (blocks * fields) as f64 + field_variance).sqrt();
        // Fields are drawn, so their variance is that of 3,000 draws.
        assert!((prepared.difference_error(&levels, blocks, fields) / std_error - 1.0).abs() < 0.03);
        let expected = normal_cdf(0.8 / std_error);
        let chance = (expected * (1.0 - expected) / NUMBER as f64).sqrt();
        assert!((right - expected).abs() < 3.0 * chance, "{right} for {expected}, {chance}");
    }
}

/// With slopes of variance 1 and a trial that tells them with variance v, the expected loss falls from √(2/π) to
/// √(2/π) (1 − 1/√(1 + v)) (Raiffa & Schlaifer 1961, expected value of sample information).
#[test]
fn the_expected_loss_falls_as_the_normal_closed_form_says() {
    const NUMBER: usize = 3000;
    for (strip_variance, own, blocks, fields) in [(4.0, 0.0, 2, 1), (1.0, 0.7, 4, 2)] {
        let lines = Lines::normal(NUMBER, own);
        let prepared = Preposterior::new(&lines, ends(strip_variance), effort(NUMBER)).unwrap();
        let found = prepared.expected(&prepared.levels(&[-1.0, 1.0]).unwrap(), blocks, fields).unwrap();
        let variance = strip_variance / (2 * blocks * fields) as f64 + own * own / fields as f64;
        let all = (2.0 / std::f64::consts::PI).sqrt();
        let reduction = all / (1.0 + variance).sqrt();
        let error = found.monte_carlo_error;
        assert!(error < 0.05, "{error}");
        assert!((found.loss_now - all).abs() < 0.06, "{found:?}");
        assert!((found.reduction - reduction).abs() < 3.0 * error, "{} for {reduction}, {error}", found.reduction);
    }
}

#[test]
fn more_fields_help_where_fields_differ_and_more_blocks_where_strips_differ() {
    let gain = |own: f64, strip_variance: f64, blocks: usize, fields: usize| {
        let lines = Lines::normal(1000, own);
        let prepared = Preposterior::new(&lines, ends(strip_variance), effort(1000)).unwrap();
        let found = prepared.expected(&prepared.levels(&[-1.0, 0.0, 1.0]).unwrap(), blocks, fields).unwrap();
        (found.reduction, found.monte_carlo_error)
    };
    let (one_field, error) = gain(1.5, 0.2, 6, 1);
    let (three_fields, _) = gain(1.5, 0.2, 2, 3);
    assert!(three_fields > one_field + 2.0 * error, "{three_fields} for {one_field}, {error}");
    let (same_field, _) = gain(1.5, 0.2, 2, 1);
    assert!((one_field - same_field).abs() < error, "blocks alone hardly help there");
    let (two_blocks, error) = gain(0.0, 8.0, 2, 1);
    let (six_blocks, _) = gain(0.0, 8.0, 6, 1);
    assert!(six_blocks > two_blocks + 2.0 * error, "{six_blocks} for {two_blocks}, {error}");
    assert_eq!(six_blocks, gain(0.0, 8.0, 2, 3).0, "where fields are alike, only the number of strips counts");
}

#[test]
fn where_every_draw_says_the_same_there_is_nothing_to_gain() {
    let lines = Lines { slopes: vec![1.0; 100], own: vec![0.0; 100] };
    let prepared = Preposterior::new(&lines, ends(1.0), effort(100)).unwrap();
    assert_eq!((prepared.start_now, prepared.loss_now(), prepared.prob_near_best_now()), (1, 0.0, 1.0));
    let found = prepared.expected(&prepared.levels(&[-1.0, 1.0]).unwrap(), 4, 2).unwrap();
    assert_eq!((found.loss_after, found.reduction, found.monte_carlo_error), (0.0, 0.0, 0.0));
    assert_eq!((found.prob_near_best, found.prob_likely), (1.0, 1.0));
}

#[test]
fn what_cannot_be_simulated_gives_none() {
    let lines = Lines::normal(100, 0.1);
    let none = |choice: Choice| Preposterior::new(&lines, choice, effort(100)).is_none();
    assert!(none(ends(0.0)) && none(ends(f64::NAN)));
    assert!(none(Choice { starts_n: vec![1.0], ..ends(1.0) }));
    assert!(none(Choice { starts_n: vec![0.0, f64::INFINITY], ..ends(1.0) }));
    let prepared = Preposterior::new(&lines, ends(1.0), effort(100)).unwrap();
    assert!(prepared.levels(&[1.0]).is_none() && prepared.levels(&[1.0, f64::NAN]).is_none());
    let levels = prepared.levels(&[-1.0, 1.0]).unwrap();
    assert!(prepared.expected(&levels, 0, 1).is_none() && prepared.expected(&levels, 1, 0).is_none());
}
