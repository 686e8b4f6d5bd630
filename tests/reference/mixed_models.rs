//! Linear mixed models against other software, in three layers: the criterion at a given theta, the optimum, the degrees of freedom.
//!
//! Expected values: R 4.2.2, lme4 1.1-31 (theta refined by Newton steps), lmerTest 3.1-3, pbkrtest 0.5.2; see `cases/lmm.json` for calls and sources.

use crate::data::{by_name, expected, number, numbers};
use crate::models::model;
use crate::near;
use evenstand_stats::{Criterion, DegreesOfFreedom, Design, LinearFit, Lmm, LmmFit, deviance_at};
use serde_json::Value;

pub const LMM: &str = include_str!("cases/lmm.json");

const ALL: [&str; 16] = [
    "oats-splitplot-factor",
    "oats-additive-variety",
    "oats-quadratic",
    "oats-unbalanced",
    "seedrate-rcb",
    "seedrate-quadratic",
    "dyestuff",
    "dyestuff2-boundary",
    "sleepstudy-corr",
    "sleepstudy-uncorr",
    "sleepstudy-intercept",
    "penicillin-crossed",
    "cake",
    "npk",
    "corn-quadratic-locyear",
    "corn-randomslope",
];

pub fn each(mut check: impl FnMut(&str, &Design, &Value)) {
    for id in ALL {
        if let Some(design) = model(id) {
            check(id, &design, &expected(LMM, id));
        }
    }
}

#[test]
fn the_criterion_at_a_given_theta_agrees() {
    each(|id, design, values| {
        let reml = deviance_at(design, &numbers(&values["reml"]["theta"]), Criterion::Reml).expect("deviance");
        near::absolute(reml, number(&values["reml"]["reml_criterion"]), 1e-9, id);
        let ml = deviance_at(design, &numbers(&values["ml"]["theta"]), Criterion::MaximumLikelihood).expect("deviance");
        near::absolute(ml, number(&values["ml"]["deviance"]), 1e-9, id);
    });
}

fn check_optimum(id: &str, fit: &LmmFit, values: &Value) {
    assert!(fit.optimum().converged, "{id}: {:?}", fit.optimum());
    let errors = by_name(&values["se"], fit.names());
    near::scaled(fit.coefficients(), &by_name(&values["fixef"], fit.names()), &errors, 1e-7, id);
    near::scaled(&fit.standard_errors(), &errors, &errors, 1e-7, id);
    near::absolute(fit.log_likelihood(), number(&values["loglik"]), 1e-9, id);
    near::absolute(fit.aic(), number(&values["aic"]), 2e-9, id);
    let sizes = numbers(&values["varcomp"]);
    let residual = sizes[sizes.len() - 1];
    for (component, expected) in fit.variance_components().iter().zip(&sizes) {
        if *expected < 1e-12 * residual {
            assert_eq!(component.variance, 0.0, "{id}: {}", component.term);
        } else {
            near::relative(component.variance, *expected, 1e-6, &format!("{id}: {}", component.term));
        }
    }
    for (found, expected) in fit.correlations().iter().zip(values["correlation"].as_array().into_iter().flatten()) {
        near::absolute(found.correlation, number(expected), 1e-6, id);
    }
}

#[test]
fn the_optimum_agrees() {
    each(|id, design, values| {
        check_optimum(id, &Lmm::reml().fit(design).expect("fit"), &values["reml"]);
        check_optimum(id, &Lmm::maximum_likelihood().fit(design).expect("fit"), &values["ml"]);
    });
}

#[test]
fn conditional_modes_and_their_spread_agree() {
    let mut compared = 0;
    each(|id, design, values| {
        let Some(blups) = values["reml"]["blups"].as_array() else { return };
        let fit = Lmm::reml().fit(design).expect("fit");
        let terms = fit.conditional_modes();
        let found = terms.iter().flat_map(|t| t.modes.iter().zip(&t.conditional_sd));
        for ((mode, spread), expected) in found.zip(blups) {
            let sd = number(&expected["cond_sd"]);
            near::absolute(*mode / sd, number(&expected["value"]) / sd, 1e-6, id);
            near::relative(*spread, sd, 1e-6, id);
            compared += 1;
        }
    });
    assert!(compared >= 24 + 24 + 6, "the typed data sets have this many groups");
}

#[test]
fn satterthwaite_degrees_of_freedom_agree() {
    each(|id, design, values| {
        let Some(expected) = values.get("satterthwaite_df") else { return };
        let fit = Lmm::reml().fit(design).expect("fit");
        for (j, name) in fit.names().iter().enumerate() {
            let mut row = vec![0.0; fit.names().len()];
            row[j] = 1.0;
            let contrast = fit.contrast(&row).expect("contrast");
            // The other program differentiates numerically too; its own balanced cases are off by up to 1e-8.
            near::relative(contrast.df, number(&expected[name.as_str()]), 1e-5, &format!("{id}: {name}"));
            assert_eq!(contrast.method, "satterthwaite");
        }
    });
}

#[test]
fn kenward_roger_standard_errors_and_degrees_of_freedom_agree() {
    each(|id, design, values| {
        let expected = &values["kenward_roger"];
        let fit = Lmm::reml().with_degrees_of_freedom(DegreesOfFreedom::KenwardRoger).fit(design).expect("fit");
        for (j, name) in fit.names().iter().enumerate() {
            let mut row = vec![0.0; fit.names().len()];
            row[j] = 1.0;
            let contrast = fit.contrast(&row).expect("contrast");
            let what = format!("{id}: {name}");
            near::relative(contrast.std_error, number(&expected["se"][name.as_str()]), 1e-6, &what);
            near::relative(contrast.df, number(&expected["df"][name.as_str()]), 1e-5, &what);
            near::relative(contrast.p_value(), number(&expected["p"][name.as_str()]), 1e-4, &what);
            assert_eq!(contrast.method, "kenward-roger");
        }
    });
}

#[test]
fn balanced_data_give_the_estimates_of_the_analysis_of_variance() {
    // Davies & Goldsmith (1972): between batches 1764.05, within 2451.25; five degrees of freedom for the mean.
    let fit = Lmm::reml().fit(&model("dyestuff").expect("typed in")).expect("fit");
    near::relative(fit.variance_components()[0].variance, 1764.05, 1e-7, "between");
    near::relative(fit.variance_components()[1].variance, 2451.25, 1e-7, "within");
    near::relative(fit.coefficients()[0], 1527.5, 1e-13, "mean");
    near::relative(fit.contrast(&[1.0]).expect("contrast").df, 5.0, 1e-6, "df");
}

#[test]
fn a_variance_of_zero_is_a_result_with_a_note() {
    let Some(design) = model("dyestuff2-boundary") else { return };
    let fit = Lmm::reml().fit(&design).expect("fit");
    assert_eq!(fit.theta(), [0.0]);
    assert!(fit.notes().iter().any(|note| note.code == "boundary"));
    let contrast = fit.contrast(&[1.0]).expect("contrast");
    assert_eq!(contrast.df, 29.0);
    assert!(contrast.method.contains("Batch"), "{}", contrast.method);
}

#[test]
fn a_standard_deviation_from_four_blocks_carries_a_note() {
    let fit = Lmm::reml().fit(&model("seedrate-rcb").expect("typed in")).expect("fit");
    assert_eq!(fit.notes().iter().map(|note| note.code).collect::<Vec<_>>(), ["few-groups"]);
    let six_blocks = Lmm::reml().fit(&model("oats-quadratic").expect("typed in")).expect("fit");
    assert_eq!(six_blocks.notes(), []);
}
