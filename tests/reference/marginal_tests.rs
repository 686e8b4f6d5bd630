//! Marginal means, their comparisons, and marginal (type III) joint tests of fitted mixed models.
//!
//! Expected values: R 4.2.2, lmerTest 3.1-3 (Satterthwaite), pbkrtest 0.5.2 and emmeans 1.8.4.1 (Kenward-Roger); see `cases/lmm.json`.

use crate::data::{expected, number};
use crate::mixed_models::{LMM, each};
use crate::models::model;
use crate::near;
use evenstand_stats::{
    Adjustment, Cell, ComparisonFamily, Contrast, DegreesOfFreedom, Design, LinearFit, Lmm, LmmFit, MarginalMeans,
};
use ndarray::Array2;
use serde_json::Value;

/// Prefixes of the indicator columns of all factors in the models of `cases/lmm.json`.
const FACTORS: [&str; 8] = ["Variety", "recipe", "temperature", "nf", "rf", "N", "P", "K"];

/// The factor that a column name such as `nf0.2` belongs to.
fn factor_of(part: &str) -> Option<&'static str> {
    FACTORS.into_iter().find(|factor| part.starts_with(factor))
}

/// Indicator columns of a factor: its levels but the first.
fn indicators<'a>(names: &'a [String], factor: &str) -> Vec<&'a str> {
    names.iter().map(String::as_str).filter(|name| !name.contains(':') && factor_of(name) == Some(factor)).collect()
}

/// Mean over the levels of every factor of the given column `parts`: one over the number of levels each.
fn mean_over_levels(names: &[String], parts: &[&str]) -> f64 {
    parts.iter().map(|part| 1.0 / (indicators(names, factor_of(part).expect("a factor")).len() as f64 + 1.0)).product()
}

/// Hypothesis rows of a term: its effects, averaged over the levels of all factors outside it.
fn marginal_rows(names: &[String], term: &str) -> Array2<f64> {
    let mut own: Vec<Vec<&str>> = vec![Vec::new()];
    for part in term.split(':') {
        let levels = if FACTORS.contains(&part) { indicators(names, part) } else { vec![part] };
        own =
            own.iter().flat_map(|done| levels.iter().map(move |level| [done.as_slice(), &[level]].concat())).collect();
    }
    Array2::from_shape_fn((own.len(), names.len()), |(i, j)| {
        let (mine, others): (Vec<&str>, Vec<&str>) = names[j].split(':').partition(|part| own[i].contains(part));
        if mine.len() == own[i].len() { mean_over_levels(names, &others) } else { 0.0 }
    })
}

fn fit_with(design: &Design, method: DegreesOfFreedom) -> LmmFit {
    Lmm::reml().with_degrees_of_freedom(method).fit(design).expect("fit")
}

#[test]
fn marginal_joint_tests_of_every_model_agree() {
    for (method, key) in [(DegreesOfFreedom::Satterthwaite, "type3"), (DegreesOfFreedom::KenwardRoger, "type3_kr")] {
        let mut tests = 0;
        each(|id, design, values| {
            let fit = fit_with(design, method);
            for expected in values[key].as_array().into_iter().flatten() {
                let term = expected["term"].as_str().expect("a name");
                let what = format!("{id}, {key}: {term}");
                let test = fit.joint_test(&marginal_rows(fit.names(), term)).expect("test");
                assert_eq!(test.numerator_df, number(&expected["num_df"]), "{what}");
                near::relative(test.f, number(&expected["f"]), 1e-6, &what);
                near::relative(test.denominator_df, number(&expected["den_df"]), 1e-5, &what);
                near::relative(test.p_value, number(&expected["p"]), 1e-5, &what);
                tests += 1;
            }
        });
        // Fourteen belong to the data typed in here.
        assert!(tests >= 14, "{key}: {tests}");
    }
}

/// Model, prefix of the columns of the factor whose means are compared, and its name in the expected values.
const COMPARED: [(&str, &str); 5] = [
    ("oats-splitplot-factor", "nf"),
    ("oats-additive-variety", "Variety"),
    ("oats-unbalanced", "nf"),
    ("seedrate-rcb", "rf"),
    ("cake", "temperature"),
];

/// One cell per level of the factor, averaged over the levels of every other factor.
fn cells(names: &[String], factor: &str, levels: &[&str]) -> Vec<Cell> {
    let of_level = |level: &str| {
        let wanted = format!("{factor}{level}");
        let value = |name: &String| {
            let parts: Vec<&str> = name.split(':').filter(|part| *part != "(Intercept)").collect();
            let (mine, others): (Vec<&str>, Vec<&str>) =
                parts.into_iter().partition(|part| factor_of(part) == Some(factor));
            let own = mine.iter().all(|part| *part == wanted);
            if own { mean_over_levels(names, &others) } else { 0.0 }
        };
        Cell::new(wanted.clone(), names.iter().map(value).collect())
    };
    levels.iter().map(|level| of_level(level)).collect()
}

fn list(values: &Value, key: &str) -> Vec<Value> {
    values[key].as_array().expect("a list").clone()
}

#[test]
fn marginal_means_and_adjusted_comparisons_of_fitted_models_agree_with_emmeans() {
    for (id, factor) in COMPARED {
        let Some(design) = model(id) else { continue };
        let values = expected(LMM, id);
        let emmeans = list(&values, "emmeans_kr");
        let levels: Vec<&str> = emmeans.iter().map(|entry| entry[factor].as_str().expect("a level")).collect();
        let fit = fit_with(&design, DegreesOfFreedom::KenwardRoger);
        let means = MarginalMeans::new(&design, &fit, &cells(design.names(), factor, &levels)).expect("means");
        assert!(means.missing().is_empty());
        for (mean, entry) in means.means().iter().zip(&emmeans) {
            let what = format!("{id}: {}", mean.name);
            let (found, error) = (&mean.contrast, number(&entry["SE"]));
            near::absolute(found.estimate / error, number(&entry["emmean"]) / error, 1e-7, &what);
            near::relative(found.std_error, error, 1e-6, &what);
            near::relative(found.df, number(&entry["df"]), 1e-5, &what);
            let limits = found.interval(0.95);
            near::absolute(limits.low / error, number(&entry["lower.CL"]) / error, 1e-5, &what);
            near::absolute(limits.high / error, number(&entry["upper.CL"]) / error, 1e-5, &what);
        }
        let tukey = means.all_pairs().expect("family").adjust(Adjustment::Tukey, 0.95).expect("adjusted");
        assert_eq!(tukey.method.contains("Tukey-Kramer"), id == "oats-unbalanced", "{}", tukey.method);
        for (row, entry) in tukey.rows.iter().zip(list(&values, "tukey_kr")) {
            let what = format!("{id}: {}", row.name);
            let error = number(&entry["se"]);
            near::absolute(row.estimate / error, number(&entry["estimate"]) / error, 1e-7, &what);
            near::relative(row.std_error, error, 1e-6, &what);
            near::relative(row.df, number(&entry["df"]), 1e-5, &what);
            near::absolute(row.t, number(&entry["t"]), 1e-5, &what);
            near::absolute(row.adjusted_p, number(&entry["p"]), 1e-7, &what);
            // The limits of the other program carry the tolerance of its qtukey, 1e-4 of a constant.
            near::absolute(row.interval.low / error, number(&entry["lower"]) / error, 1e-4, &what);
            near::absolute(row.interval.high / error, number(&entry["upper"]) / error, 1e-4, &what);
        }
        let family = means.against_control(&means.means()[0].name).expect("a family");
        let dunnett = family.adjust(Adjustment::Dunnett, 0.95).expect("adjusted");
        for (row, entry) in dunnett.rows.iter().zip(list(&values, "dunnett_kr")) {
            let what = format!("{id}: {}", row.name);
            let error = number(&entry["se"]);
            near::absolute(row.estimate / error, number(&entry["estimate"]) / error, 1e-7, &what);
            near::relative(row.std_error, error, 1e-6, &what);
            near::relative(row.df, number(&entry["df"]), 1e-5, &what);
            near::relative(row.p_value, number(&entry["p_unadjusted"]), 1e-4, &what);
            // The expected values were sampled to about 1e-4; a constant of 2.5 is then off by about 2e-3.
            near::absolute(row.adjusted_p, number(&entry["p_dunnett_mvt"]), 3e-4, &what);
            near::absolute(row.interval.low / error, number(&entry["lower_mvt"]) / error, 3e-3, &what);
            near::absolute(row.interval.high / error, number(&entry["upper_mvt"]) / error, 3e-3, &what);
        }
        // Any three positive correlations are a product of loadings, so even the unbalanced family is integrated.
        assert!(dunnett.method.contains("integrated"), "{id}: {}", dunnett.method);
    }
}

#[test]
fn tukey_p_values_agree_to_nine_digits_given_the_estimates_and_degrees_of_freedom_of_emmeans() {
    for (id, _) in COMPARED {
        let entries = list(&expected(LMM, id), "tukey_kr");
        let (names, contrasts): (Vec<String>, Vec<Contrast>) = entries
            .iter()
            .map(|entry| {
                let [estimate, std_error, df] = ["estimate", "se", "df"].map(|key| number(&entry[key]));
                let method = "kenward-roger".into();
                let name = entry["contrast"].as_str().expect("a name");
                (name.to_string(), Contrast { estimate, std_error, df, method })
            })
            .unzip();
        let means = (1..).find(|k| k * (k - 1) / 2 == contrasts.len()).expect("all pairs");
        let covariance = Array2::eye(contrasts.len());
        let family = ComparisonFamily::all_pairs(names, contrasts, &covariance, means).expect("a family");
        let adjusted = family.adjust(Adjustment::Tukey, 0.95).expect("adjusted");
        for (row, entry) in adjusted.rows.iter().zip(&entries) {
            // The other program's ptukey itself is good to about 1e-10.
            near::absolute(row.adjusted_p, number(&entry["p"]), 1e-9, &format!("{id}: {}", row.name));
        }
    }
}
