//! NIST one-way analysis of variance sets, and a randomised complete block trial from a textbook.

use crate::data::{Factor, Table, expected, number, numbers};
use crate::models;
use crate::near;
use evenstand_stats::{Design, LeastSquares, LinearFit};
use ndarray::Array2;

const CERTIFIED: &str = include_str!("cases/nist/certified.json");
const OTHER: &str = include_str!("cases/other.json");

fn one_way(table: &Table) -> Design {
    let Factor { codes, labels } = table.factor("treatment");
    let fixed =
        Array2::from_shape_fn((codes.len(), labels.len()), |(i, j)| f64::from(u8::from(j == 0 || codes[i] == j)));
    Design::new(table.numbers("response"), fixed, labels, vec![], None).expect("valid design")
}

fn check(id: &str, table: &Table, tolerance: f64) {
    let values = &expected(CERTIFIED, id)["values"];
    let fit = LeastSquares.fit(&one_way(table)).expect("fit");
    let test = fit.overall_test().expect("treatments to test");
    assert_eq!(test.numerator_df, number(&values["between_df"]));
    assert_eq!(test.denominator_df, number(&values["within_df"]));
    near::relative(test.f, number(&values["f"]), tolerance, id);
    near::relative(fit.residual_sum_of_squares(), number(&values["within_ss"]), tolerance, id);
    near::relative(fit.regression_sum_of_squares(), number(&values["between_ss"]), tolerance, id);
    near::relative(fit.r_squared(), number(&values["r_squared"]), tolerance, id);
    near::relative(fit.sigma(), number(&values["residual_sd"]), tolerance, id);
}

#[test]
fn measured_sets_agree_to_the_digits_that_their_offset_leaves() {
    check("sirstv", &Table::from_csv(include_str!("cases/nist/sirstv.csv")), 1e-11);
    // Seven leading digits of all responses are equal and the data are not exact in binary.
    check("atmwtag", &Table::from_csv(include_str!("cases/nist/atmwtag.csv")), 1e-8);
}

#[test]
fn simulated_sets_agree_to_the_digits_that_their_offset_leaves() {
    // The last digit of a response of size 1e6 is stored to 1e-10, of size 1e12 to 1e-4: NIST's lower, average and higher difficulty.
    for (first, tolerance) in [(1, 1e-12), (4, 1e-8), (7, 2e-2)] {
        for number in first..first + 3 {
            let id = format!("smls0{number}");
            if let Some(table) = Table::from_shared(&format!("nist_{id}.csv")) {
                check(&id, &table, tolerance);
            }
        }
    }
}

#[test]
fn the_block_trial_of_six_seeding_rates_gives_the_printed_table() {
    // Gomez & Gomez (1984), page 26; expected values from R's anova of the least-squares fit.
    let values = &expected(OTHER, "anova-seedrate-rcb")["values"];
    let table = models::seedrate();
    let blocks = table.factor("rep");
    let rates = table.factor("rate");
    let fixed = Array2::from_shape_fn((24, 9), |(i, j)| match j {
        0 => 1.0,
        1..=3 => f64::from(u8::from(blocks.codes[i] == j)),
        _ => f64::from(u8::from(rates.codes[i] == j - 3)),
    });
    let names = (0..9).map(|j| format!("c{j}")).collect();
    let design = Design::new(table.numbers("yield"), fixed, names, vec![], None).expect("valid design");
    let fit = LeastSquares.fit(&design).expect("fit");
    let rows = Array2::from_shape_fn((5, 9), |(i, j)| f64::from(u8::from(j == i + 4)));
    let test = fit.joint_test(&rows).expect("test");
    near::relative(test.f, numbers(&values["f"])[1], 1e-12, "F of rates");
    near::relative(test.p_value, numbers(&values["p"])[1], 1e-11, "p of rates");
    near::relative(fit.residual_sum_of_squares(), numbers(&values["ss"])[2], 1e-12, "residual SS");
}
