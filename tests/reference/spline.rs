//! The penalised spline against the same model written with the full covariance matrix of the rows, sharing no code with the crate
//! but the columns of the basis.

use crate::brute_force::invert;
use crate::models::potassium;
use crate::near;
use evenstand_stats::{FittedShape, Interval, RandomTerm, ResponseFrame, ResponseShape, ShapeComparison, SplineBasis};
use ndarray::Array2;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

type Matrix = Vec<Vec<f64>>;

fn times(a: &Matrix, v: &[f64]) -> Vec<f64> {
    a.iter().map(|row| row.iter().zip(v).map(|(x, y)| x * y).sum()).collect()
}

fn product(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

/// A model `y = X β + Z u + block + e`: everything that the textbook formulas need.
struct Model {
    y: Vec<f64>,
    x: Vec<Vec<f64>>,
    /// Covariance of the rows over sigma², its inverse and log determinant.
    inverse: Matrix,
    log_determinant: f64,
    z: Vec<Vec<f64>>,
    theta: f64,
}

impl Model {
    fn new(y: &[f64], x: Vec<Vec<f64>>, z: Vec<Vec<f64>>, theta: f64, block: Option<(&[usize], f64)>) -> Self {
        let n = y.len();
        let v: Matrix = (0..n)
            .map(|i| {
                (0..n)
                    .map(|j| {
                        let curve = theta * theta * z.iter().map(|column| column[i] * column[j]).sum::<f64>();
                        let shared =
                            block.map_or(0.0, |(of, theta)| f64::from(u8::from(of[i] == of[j])) * theta * theta);
                        f64::from(u8::from(i == j)) + curve + shared
                    })
                    .collect()
            })
            .collect();
        let (log_determinant, inverse) = invert(v);
        Self { y: y.to_vec(), x, inverse, log_determinant, z, theta }
    }

    /// Coefficients, `(X'V⁻¹X)⁻¹`, its log determinant less a sign, and the generalised residual sum of squares.
    fn solve(&self) -> (Vec<f64>, Matrix, f64, f64) {
        let images: Vec<Vec<f64>> = self.x.iter().map(|column| times(&self.inverse, column)).collect();
        let information = images.iter().map(|a| self.x.iter().map(|b| product(a, b)).collect()).collect();
        let (log_information, covariance) = invert(information);
        let right: Vec<f64> = images.iter().map(|a| product(a, &self.y)).collect();
        let beta = times(&covariance, &right);
        let rest = self.residual(&beta);
        let sum = product(&rest, &times(&self.inverse, &rest));
        (beta, covariance, log_information, sum)
    }

    fn residual(&self, beta: &[f64]) -> Vec<f64> {
        (0..self.y.len()).map(|i| self.y[i] - self.x.iter().zip(beta).map(|(c, b)| c[i] * b).sum::<f64>()).collect()
    }

    fn reml(&self) -> f64 {
        let (_, _, log_information, sum) = self.solve();
        let df = (self.y.len() - self.x.len()) as f64;
        self.log_determinant + log_information + df * (1.0 + (2.0 * std::f64::consts::PI * sum / df).ln())
    }

    fn maximum_likelihood(&self) -> f64 {
        let n = self.y.len() as f64;
        self.log_determinant + n * (1.0 + (2.0 * std::f64::consts::PI * self.solve().3 / n).ln())
    }

    /// Best linear unbiased prediction of `row β + spline u`, and its standard error of prediction.
    fn predict(&self, row: &[f64], spline: &[f64]) -> (f64, f64) {
        let (beta, covariance, _, sum) = self.solve();
        let sigma2 = sum / (self.y.len() - self.x.len()) as f64;
        let square = self.theta * self.theta;
        // Covariance of the curve's random part with the rows, over sigma².
        let c: Vec<f64> =
            (0..self.y.len()).map(|i| square * self.z.iter().zip(spline).map(|(z, s)| z[i] * s).sum::<f64>()).collect();
        let weights = times(&self.inverse, &c);
        let value = product(row, &beta) + product(&weights, &self.residual(&beta));
        let d: Vec<f64> = row.iter().zip(&self.x).map(|(r, column)| r - product(&weights, column)).collect();
        let variance = square * product(spline, spline) - product(&weights, &c) + product(&d, &times(&covariance, &d));
        (value, (sigma2 * variance).sqrt())
    }
}

/// Four blocks of eight levels, a bent response.
fn blocks(seed: u64) -> (Vec<f64>, Vec<f64>, Vec<usize>) {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut normal = || -> f64 { random.sample(StandardNormal) };
    let x: Vec<f64> = (0..32).map(|i| 5.0 + 3.0 * f64::from(i % 8)).collect();
    let block: Vec<usize> = (0..32).map(|i| i / 8).collect();
    let level: Vec<f64> = (0..4).map(|_| normal()).collect();
    let y = (0..32).map(|i| 4.0 * (x[i] / 4.0).sin() + level[block[i]] + 0.5 * normal()).collect();
    (x, y, block)
}

#[test]
fn likelihood_curve_and_standard_error_are_those_of_the_full_covariance_matrix() {
    for with_blocks in [false, true] {
        let (x, y, block) = blocks(3);
        let terms = if with_blocks { vec![RandomTerm::intercept("block", block.clone(), 4)] } else { vec![] };
        let frame =
            ResponseFrame::new(y.clone(), x.clone(), Array2::zeros((32, 0)), vec![], terms, None).expect("frame");
        let fit = FittedShape::fit(&frame, ResponseShape::Spline).expect("fit");
        let range = Interval { low: 5.0, high: 26.0 };
        let basis = SplineBasis::new(range, 10).expect("basis");
        let columns = basis.columns(&x).expect("columns");
        let centred: Vec<f64> = x.iter().map(|x| x - 15.5).collect();
        let at = |theta: &[f64]| {
            let curve = theta[theta.len() - 1];
            let shared = with_blocks.then(|| (&block[..], theta[0]));
            Model::new(&y, vec![vec![1.0; 32], centred.clone()], columns.clone(), curve, shared)
        };
        let (reml, ml) = (fit.restricted(), fit.maximum_likelihood());
        near::absolute(reml.criterion(), at(reml.theta()).reml(), 1e-8, "REML");
        near::absolute(ml.criterion(), at(ml.theta()).maximum_likelihood(), 1e-8, "ML");
        // No other roughness is better.
        for factor in [0.5, 0.9, 1.1, 2.0] {
            let mut other = reml.theta().to_vec();
            *other.last_mut().expect("a spline") *= factor;
            assert!(at(&other).reml() > reml.criterion());
        }
        let model = at(reml.theta());
        for point in [5.0, 9.3, 17.0, 26.0] {
            let found = fit.curve(point).expect("curve");
            let spline = basis.row(point).expect("inside");
            let (value, error) = model.predict(&[1.0, point - 15.5], &spline);
            near::relative(found.estimate, value, 1e-8, "curve");
            near::relative(found.std_error, error, 1e-8, "error");
            let reference = basis.row(12.0).expect("inside");
            let difference: Vec<f64> = spline.iter().zip(&reference).map(|(a, b)| a - b).collect();
            let (value, error) = model.predict(&[0.0, point - 12.0], &difference);
            let found = fit.difference(point, 12.0).expect("difference");
            near::relative(found.estimate, value, 1e-7, "difference");
            near::relative(found.std_error, error, 1e-7, "its error");
        }
        assert!(fit.curve(26.1).is_err(), "nothing is known beyond the data");
        assert_eq!(fit.n_parameters(), 4 + usize::from(with_blocks));
        assert!(fit.lack_of_fit().is_none());
    }
}

#[test]
fn a_straight_response_gives_a_straight_spline() {
    // Symmetric residuals around a line, without any bend.
    let x: Vec<f64> = (0..24).map(|i| f64::from(i / 4)).collect();
    let y: Vec<f64> = (0..24).map(|i| 2.0 + 0.5 * x[i] + [1.0, -1.0, 0.4, -0.4][i % 4]).collect();
    let frame = ResponseFrame::plain(y, x).expect("frame");
    let spline = FittedShape::fit(&frame, ResponseShape::Spline).expect("fit");
    let line = FittedShape::fit(&frame, ResponseShape::Linear).expect("fit");
    assert!(spline.notes().iter().any(|note| note.code == "boundary"));
    let (sd, parameters) = spline.spline_roughness().expect("a spline");
    assert_eq!(sd, 0.0);
    near::absolute(parameters, 2.0, 1e-12, "effective parameters");
    for x in [0.0, 1.7, 5.0] {
        let (a, b) = (spline.curve(x).expect("curve"), line.curve(x).expect("curve"));
        near::relative(a.estimate, b.estimate, 1e-10, "curve");
        near::relative(a.std_error, b.std_error, 1e-10, "error");
        near::absolute(a.df, b.df, 1e-9, "df");
    }
}

#[test]
fn a_bent_response_needs_more_parameters_than_a_line_and_wins_against_it() {
    let (x, y, block) = blocks(8);
    let indicators = Array2::from_shape_fn((32, 4), |(i, j)| f64::from(u8::from(block[i] == j)));
    let names = (0..4).map(|j| format!("block {j}")).collect();
    let frame = ResponseFrame::new(y, x, indicators, names, vec![], None).expect("frame");
    let comparison = ShapeComparison::new(&frame, &ResponseShape::ALL).expect("comparison");
    assert_eq!(comparison.best().shape(), ResponseShape::Spline);
    let (_, parameters) = comparison.best().spline_roughness().expect("a spline");
    assert!(parameters > 3.0 + 4.0 && parameters < 12.0, "{parameters}");
    // Most of a sine wave is no quadratic.
    let quadratic = comparison.get(ResponseShape::Quadratic).expect("fitted");
    assert!(quadratic.lack_of_fit().expect("levels").p_value < 1e-3);
    assert!(comparison.averaged_curve(&[5.0, 14.0, 26.0]).expect("curve").iter().all(|p| p.std_error > 0.0));
}

#[test]
fn a_spline_is_fitted_to_few_levels_and_refused_for_fewer() {
    let (x, y) = potassium();
    let frame = ResponseFrame::plain(y.clone(), x.clone()).expect("frame");
    let fit = FittedShape::fit(&frame, ResponseShape::Spline).expect("fit");
    assert!(fit.restricted().optimum().converged, "{:?}", fit.restricted().optimum());
    let four: Vec<f64> = (0..24).map(|i| f64::from(i % 4)).collect();
    let frame = ResponseFrame::plain(y, four).expect("frame");
    let refused = FittedShape::fit(&frame, ResponseShape::Spline).expect_err("four levels");
    assert!(refused.to_string().contains("at least 5"), "{refused}");
}
