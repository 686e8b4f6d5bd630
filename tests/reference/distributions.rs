//! Quantiles and binomial intervals against SciPy and mpmath.

use crate::data::{expected, number, numbers};
use crate::near;
use evenstand_stats::{clopper_pearson, distribution, wilson};

const OTHER: &str = include_str!("cases/other.json");

#[test]
fn quantiles_agree_with_scipy_to_ten_digits() {
    let check = expected(OTHER, "dist-central-quantiles");
    let entries = check["values"].as_array().expect("a list");
    assert!(entries.len() > 15);
    for entry in entries {
        let p = number(&entry["p"]);
        let found = match entry["dist"].as_str() {
            Some("t") => distribution::t_quantile(p, number(&entry["df"])),
            Some("f") => distribution::f_quantile(p, number(&entry["df1"]), number(&entry["df2"])),
            Some("chi2") => distribution::chi_squared_quantile(p, number(&entry["df"])),
            other => panic!("unknown distribution {other:?}"),
        };
        near::relative(found, number(&entry["q"]), 1e-10, &entry.to_string());
    }
}

#[test]
fn binomial_intervals_agree_with_scipy_to_ten_digits() {
    let check = expected(OTHER, "binomial-intervals");
    for entry in check["values"].as_array().expect("a list") {
        let x = entry["x"].as_u64().expect("a count");
        let n = entry["n"].as_u64().expect("a count");
        let exact = clopper_pearson(x, n, 0.95).expect("valid");
        let score = wilson(x, n, 0.95).expect("valid");
        for (found, name) in [(exact, "clopper_pearson"), (score, "wilson")] {
            let limits = numbers(&entry[name]);
            near::absolute(found.low, limits[0], 1e-10, name);
            near::absolute(found.high, limits[1], 1e-10, name);
        }
    }
}
