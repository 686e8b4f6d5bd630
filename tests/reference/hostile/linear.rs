//! Least squares, means and comparisons, optima and shapes.

use super::answers::{check_fit, meaningful};
use super::frames::{Random, design, offset, over_seeds, response, scale};
use evenstand_stats::{
    Adjustment, Cell, CoefficientDraws, Design, Direction, LeastSquares, LinearFit, MarginalMeans, QuadraticOptimum,
    QuadraticRows, ResponseFrame, ResponseShape, ShapeComparison,
};
use ndarray::Array2;
use rand::Rng;

#[test]
fn least_squares_and_what_follows_from_it() {
    over_seeds(1500, |random| {
        let Some(design) = design(random) else { return vec![] };
        let fit = match LeastSquares.fit(&design) {
            Ok(fit) => fit,
            Err(error) => return vec![format!("least squares refused a checked design: {error}")],
        };
        let mut wrong = check_fit(&fit, "least squares");
        if random.random_range(0..8) == 0 {
            wrong.extend(what_follows(&design, &fit, random));
        }
        wrong
    });
}

pub fn what_follows(design: &Design, fit: &impl LinearFit, random: &mut Random) -> Vec<String> {
    let mut wrong = Vec::new();
    // Correlations without structure are averaged over many directions, so most seeds leave them out.
    let (directions, adjustments) = if random.random_range(0..20) == 0 { (true, 4) } else { (false, 2) };
    let width = design.rank() + design.aliased().len();
    let cells: Vec<Cell> = (0..random.random_range(1..4))
        .map(|k| Cell::new(format!("m{k}"), (0..width).map(|_| f64::from(random.random_range(0..2_u8))).collect()))
        .collect();
    match MarginalMeans::new(design, fit, &cells) {
        Err(error) => wrong.push(format!("means: {error}")),
        Ok(means) => {
            let families = [means.all_pairs(), means.against_control("m0")];
            for family in families.into_iter().flatten() {
                let all = [Adjustment::Holm, Adjustment::Tukey, Adjustment::Dunnett, Adjustment::SingleStep];
                for adjustment in all.into_iter().take(adjustments) {
                    let Ok(adjusted) = family.adjust(adjustment, 0.95) else { continue };
                    let noted = adjusted.notes.iter().any(|note| note.code == "degenerate");
                    let defined = |p: f64| (0.0..=1.0).contains(&p);
                    if !noted && !adjusted.rows.iter().all(|row| defined(row.adjusted_p) && defined(row.p_value)) {
                        wrong.push(format!("{adjustment:?}: {:?}", adjusted.rows));
                    }
                }
            }
            if let Some(Ok(best)) = directions.then(|| means.comparisons_with_best(Direction::LargestIsBest, 0.9))
                && best.rows.iter().any(|row| row.p_value.is_nan() || row.interval.low.is_nan())
            {
                wrong.push(format!("best: {best:?}"));
            }
        }
    }
    if design.rank() >= 2 {
        let unit = |j: usize| (0..design.rank()).map(|k| f64::from(u8::from(k == j))).collect();
        let rows = QuadraticRows { slope: unit(design.rank() - 2), curvature: unit(design.rank() - 1), centre: 0.0 };
        if let Ok(optimum) = QuadraticOptimum::new(fit, &rows, 0.0) {
            let limits = optimum.delta_interval(0.9);
            let undefined = limits.is_some_and(|limits| limits.low.is_nan() || limits.high.is_nan());
            if undefined || optimum.estimate().is_some_and(f64::is_nan) {
                wrong.push(format!("optimum {:?} {limits:?}", optimum.estimate()));
            }
            let _ = optimum.fieller_set(0.9);
            let _ = optimum.constrained_set(0.9, evenstand_stats::Interval { low: 0.0, high: 1.0 });
        }
    }
    if let Ok(draws) = CoefficientDraws::new(fit, f64::INFINITY, 3, 1)
        && draws.coefficients().iter().any(|value| !value.is_finite())
    {
        wrong.push("draws of coefficients are not finite".into());
    }
    wrong
}

#[test]
fn shapes_of_a_response() {
    over_seeds(150, |random| {
        let rows = random.random_range(2..12);
        let (size, shift, levels) = (scale(random), offset(random), random.random_range(1..8_u8));
        let x: Vec<f64> = (0..rows).map(|_| shift + size * f64::from(random.random_range(0..levels))).collect();
        let fixed = Array2::from_shape_fn((rows, 2), |(i, j)| if j == 0 { 1.0 } else { x[i] });
        let response = response(random, &fixed);
        let Ok(frame) = ResponseFrame::plain(response, x.clone()) else { return vec![] };
        let Ok(comparison) = ShapeComparison::new(&frame, &ResponseShape::ALL) else { return vec![] };
        let mut wrong = Vec::new();
        let total: f64 = comparison.weights().iter().sum();
        if !((total - 1.0).abs() < 1e-9) {
            wrong.push(format!("weights {:?}", comparison.weights()));
        }
        for fit in comparison.candidates() {
            match fit.curve(x[0]) {
                Ok(contrast) if !meaningful(&contrast) && fit.notes().is_empty() => {
                    wrong.push(format!("{:?}: {contrast:?}", fit.shape()));
                }
                _ => {}
            }
        }
        wrong
    });
}
