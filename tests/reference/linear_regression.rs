//! NIST Statistical Reference Datasets, linear regression: certified coefficients, standard errors and analysis of variance.
//! NIST data are in the public domain; sources stand in `cases/nist/certified.json`.
//!
//! Fewest digits that agree with the certified values, of which fifteen are given (measured; asserted by
//! `every_set_reaches_the_digits_of_the_table_above`). The smallest are 5.9 for coefficients and 7.1 for standard errors:
//!
//! | set | coefficients | standard errors |
//! |---|---|---|
//! | norris | 14.1 | 13.9 |
//! | pontius | 13.5 | 13.8 |
//! | noint1 | 14.7 | 15 |
//! | noint2 | 15 | 14.9 |
//! | longley | 13.4 | 14.5 |
//! | wampler1 | 15 | certified as zero |
//! | wampler2 | 13.2 | certified as zero |
//! | wampler3 | 10.0 | 13.8 |
//! | wampler4 | 8.0 | 13.8 |
//! | wampler5 | 6.0 | 13.8 |
//! | filip | 7.5 | 7.2 |
//!
//! The last four have coefficients that are swamped by noise, or columns that are dependent to ten digits: what is missing is lost in the
//! representation of the data.

use crate::data::{Table, by_name, expected, number};
use crate::near;
use evenstand_stats::{Design, LeastSquares, LeastSquaresFit, LinearFit, OrthogonalPolynomial, baseline};
use ndarray::Array2;

const CERTIFIED: &str = include_str!("cases/nist/certified.json");

struct Tolerance {
    coefficients: f64,
    standard_errors: f64,
    others: f64,
}

fn columns(rows: usize, columns: &[(&str, Vec<f64>)]) -> (Array2<f64>, Vec<String>) {
    let matrix = Array2::from_shape_fn((rows, columns.len()), |(i, j)| columns[j].1[i]);
    (matrix, columns.iter().map(|(name, _)| (*name).to_string()).collect())
}

fn powers(x: &[f64], from: i32, to: i32) -> Vec<(&'static str, Vec<f64>)> {
    const NAMES: [&str; 11] = ["B0", "B1", "B2", "B3", "B4", "B5", "B6", "B7", "B8", "B9", "B10"];
    (from..=to).map(|k| (NAMES[k as usize], x.iter().map(|x| x.powi(k)).collect())).collect()
}

fn design(text: &str, from: i32, to: i32) -> Design {
    let table = Table::from_csv(text);
    let (matrix, names) = columns(table.rows(), &powers(&table.numbers("x"), from, to));
    Design::new(table.numbers("y"), matrix, names, vec![], None).expect("valid design")
}

fn check(id: &str, fit: &LeastSquaresFit, tolerance: &Tolerance) {
    let values = &expected(CERTIFIED, id)["values"];
    for (found, expected) in fit.coefficients().iter().zip(by_name(&values["coef"], fit.names())) {
        near::relative(*found, expected, tolerance.coefficients, id);
    }
    let largest = fit.coefficients().iter().fold(0.0_f64, |m, c| m.max(c.abs()));
    for (found, expected) in fit.standard_errors().iter().zip(by_name(&values["se"], fit.names())) {
        if expected == 0.0 {
            // Exact fits: the residual is rounding of coefficients of this size.
            near::absolute(*found, 0.0, 1e-9 * largest, id);
        } else {
            near::relative(*found, expected, tolerance.standard_errors, id);
        }
    }
    near::relative(fit.r_squared(), number(&values["r_squared"]), tolerance.others, id);
    assert_eq!(fit.residual_df() as u64, values["residual_df"].as_u64().expect("an integer"));
    assert_eq!(fit.regression_df() as u64, values["regression_df"].as_u64().expect("an integer"));
    let residual = number(&values["residual_ss"]);
    if residual > 0.0 {
        near::relative(fit.residual_sum_of_squares(), residual, tolerance.others, id);
        near::relative(fit.sigma(), number(&values["residual_sd"]), tolerance.others, id);
        let test = fit.overall_test().expect("columns to test");
        near::relative(test.f, number(&values["f"]), tolerance.others, id);
    }
    near::relative(fit.regression_sum_of_squares(), number(&values["regression_ss"]), tolerance.others, id);
}

#[test]
fn lines_and_parabolas_agree_to_twelve_digits() {
    let tight = Tolerance { coefficients: 1e-12, standard_errors: 1e-12, others: 1e-12 };
    for (id, text, from, to) in [
        ("norris", include_str!("cases/nist/norris.csv"), 0, 1),
        ("pontius", include_str!("cases/nist/pontius.csv"), 0, 2),
        ("noint1", include_str!("cases/nist/noint1.csv"), 1, 1),
        ("noint2", include_str!("cases/nist/noint2.csv"), 1, 1),
    ] {
        check(id, &LeastSquares.fit(&design(text, from, to)).expect("fit"), &tight);
    }
}

fn longley() -> Design {
    let table = Table::from_csv(include_str!("cases/nist/longley.csv"));
    let names = ["B1", "B2", "B3", "B4", "B5", "B6"];
    let mut all = vec![("B0", vec![1.0; table.rows()])];
    all.extend((0..6).map(|k| (names[k], table.numbers(&format!("x{}", k + 1)))));
    let (matrix, names) = columns(table.rows(), &all);
    Design::new(table.numbers("y"), matrix, names, vec![], None).expect("valid design")
}

#[test]
fn collinear_economic_series_agree_to_ten_digits() {
    let fit = LeastSquares.fit(&longley()).expect("fit");
    check("longley", &fit, &Tolerance { coefficients: 1e-10, standard_errors: 1e-10, others: 1e-11 });
}

#[test]
fn polynomials_of_degree_five_agree_as_far_as_their_noise_lets_them() {
    // The coefficients are all 1 (or powers of 0.1) while the residuals of Wampler4 and Wampler5 are 1e5 and 1e7, so double precision
    // leaves about ten and seven digits of the coefficients. Standard errors do not suffer.
    let tolerance = |coefficients| Tolerance { coefficients, standard_errors: 1e-11, others: 1e-11 };
    for (id, text, coefficients) in [
        ("wampler1", include_str!("cases/nist/wampler1.csv"), 1e-9),
        ("wampler2", include_str!("cases/nist/wampler2.csv"), 1e-9),
        ("wampler3", include_str!("cases/nist/wampler3.csv"), 1e-9),
        ("wampler4", include_str!("cases/nist/wampler4.csv"), 1e-7),
        ("wampler5", include_str!("cases/nist/wampler5.csv"), 1e-5),
    ] {
        check(id, &LeastSquares.fit(&design(text, 0, 5)).expect("fit"), &tolerance(coefficients));
    }
}

#[test]
fn a_polynomial_of_degree_ten_keeps_every_column_and_seven_digits() {
    // Rounding the powers of x to double precision alone moves the coefficients by about 1e-8 and the residual sum by 2e-9.
    let design = design(include_str!("cases/nist/filip.csv"), 0, 10);
    assert!(design.aliased().is_empty());
    let fit = LeastSquares.fit(&design).expect("fit");
    check("filip", &fit, &Tolerance { coefficients: 1e-7, standard_errors: 1e-7, others: 1e-8 });
    assert!(fit.condition() > 1e6);
}

#[test]
fn orthogonal_polynomials_fit_degree_ten_without_losing_digits() {
    let table = Table::from_csv(include_str!("cases/nist/filip.csv"));
    let polynomial = OrthogonalPolynomial::new(&table.numbers("x"), 10).expect("enough points");
    let matrix = polynomial.columns(&table.numbers("x"));
    let names = (0..11).map(|k| format!("P{k}")).collect();
    let design = Design::new(table.numbers("y"), matrix, names, vec![], None).expect("valid design");
    let fit = LeastSquares.fit(&design).expect("fit");
    let values = &expected(CERTIFIED, "filip")["values"];
    near::relative(fit.sigma(), number(&values["residual_sd"]), 1e-12, "residual sd");
    near::relative(fit.r_squared(), number(&values["r_squared"]), 1e-12, "R squared");
    assert!(fit.condition() < 1e3);
    let raw = polynomial.raw_coefficients(fit.coefficients()).expect("one each");
    for (k, found) in raw.iter().enumerate() {
        near::relative(*found, number(&values["coef"][format!("B{k}")]), 1e-8, "raw coefficient");
    }
}

#[test]
fn the_independent_baseline_agrees_with_the_certified_values_too() {
    let norris = design(include_str!("cases/nist/norris.csv"), 0, 1);
    let values = &expected(CERTIFIED, "norris")["values"];
    for (found, expected) in baseline(&norris).expect("solvable").iter().zip(by_name(&values["coef"], norris.names())) {
        near::relative(*found, expected, 1e-11, "norris by the baseline");
    }
}

/// Digits that agree with a certified value, at most the fifteen that are certified.
fn digits(found: f64, certified: f64) -> f64 {
    (-((found - certified) / certified).abs().log10()).min(15.0)
}

#[test]
fn every_set_reaches_the_digits_of_the_table_above() {
    // Set, first and last power of x (none for longley), fewest digits of the coefficients and of the standard errors.
    let sets = [
        ("norris", include_str!("cases/nist/norris.csv"), 0, 1, (13.0, 13.0)),
        ("pontius", include_str!("cases/nist/pontius.csv"), 0, 2, (13.0, 13.0)),
        ("noint1", include_str!("cases/nist/noint1.csv"), 1, 1, (14.0, 14.0)),
        ("noint2", include_str!("cases/nist/noint2.csv"), 1, 1, (14.0, 14.0)),
        ("longley", "", 0, 0, (13.0, 14.0)),
        ("wampler1", include_str!("cases/nist/wampler1.csv"), 0, 5, (14.0, 15.0)),
        ("wampler2", include_str!("cases/nist/wampler2.csv"), 0, 5, (13.0, 15.0)),
        ("wampler3", include_str!("cases/nist/wampler3.csv"), 0, 5, (9.9, 13.0)),
        ("wampler4", include_str!("cases/nist/wampler4.csv"), 0, 5, (7.9, 13.0)),
        ("wampler5", include_str!("cases/nist/wampler5.csv"), 0, 5, (5.9, 13.0)),
        ("filip", include_str!("cases/nist/filip.csv"), 0, 10, (7.4, 7.1)),
    ];
    for (id, text, from, to, (coefficients, errors)) in sets {
        let design = if text.is_empty() { longley() } else { design(text, from, to) };
        let fit = LeastSquares.fit(&design).expect("fit");
        let values = &expected(CERTIFIED, id)["values"];
        let fewest = |found: &[f64], certified: Vec<f64>| {
            found.iter().zip(certified).filter(|(_, c)| *c != 0.0).map(|(f, c)| digits(*f, c)).fold(15.0, f64::min)
        };
        let of_coefficients = fewest(fit.coefficients(), by_name(&values["coef"], fit.names()));
        let of_errors = fewest(&fit.standard_errors(), by_name(&values["se"], fit.names()));
        println!("{id}: coefficients {of_coefficients:.1} digits, standard errors {of_errors:.1}");
        assert!(of_coefficients >= coefficients, "{id}: coefficients {of_coefficients:.2}");
        assert!(of_errors >= errors, "{id}: standard errors {of_errors:.2}");
    }
}
