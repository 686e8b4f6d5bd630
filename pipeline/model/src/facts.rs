//! What was fitted and which checks it passed, as rows of the model table.

use evenstand_stats::LinearFit;
use evenstand_tables::rows::ModelRow;

use crate::binomial_check::BinomialCheck;
use crate::curve::CurveModel;
use crate::groups::Axis;
use crate::levels::LevelTest;
use crate::own_answer::best_here;

/// A row of the model table about one model.
struct Book<'a> {
    model: &'a str,
    response: &'a str,
    rows: Vec<ModelRow>,
}

impl Book<'_> {
    fn write(&mut self, item: &str, name: &str, value: Option<f64>, std_error: Option<f64>, text: Option<String>) {
        self.rows.push(ModelRow {
            model: self.model.to_owned(),
            response: Some(self.response.to_owned()),
            item: item.to_owned(),
            name: name.to_owned(),
            value: value.filter(|value| value.is_finite()),
            std_error: std_error.filter(|value| value.is_finite()),
            text,
        });
    }

    fn check(&mut self, name: &str, passed: bool, failure: impl FnOnce() -> String) {
        let text = if passed { "passed".to_owned() } else { format!("failed: {}", failure()) };
        self.write("check", name, None, None, Some(text));
    }
}

/// A model that could not be fitted.
pub(crate) fn not_fitted(axis: &Axis, response: &str, why: &str) -> Vec<ModelRow> {
    let mut book = Book { model: axis.name(), response, rows: Vec::new() };
    book.write("note", "not_fitted", None, None, Some(why.to_owned()));
    book.rows
}

/// Everything about a fitted model.
pub(crate) fn model_facts(axis: &Axis, model: &CurveModel, levels: &[Option<LevelTest>]) -> Vec<ModelRow> {
    let fit = &model.fit;
    let mut book = Book { model: axis.name(), response: &model.response.name, rows: Vec::new() };
    book.write(
        "formula",
        "formula",
        None,
        None,
        Some(format!("{} scale: {}", model.response.scale.name(), model.formula)),
    );
    for (number, (key, coverage)) in model.observations.groups.iter().enumerate() {
        let text = format!(
            "{}; {}{}; {}, {} field-seasons, {} strips, {} settings",
            key.condition,
            key.closer,
            if key.planter_id.is_empty() { String::new() } else { format!("; {}", key.planter_id) },
            coverage.basis.name(),
            coverage.field_seasons,
            coverage.strips,
            coverage.level_forces.len()
        );
        book.write("group", &format!("group {}", number + 1), None, None, Some(text));
    }
    for covariate in &model.frame.covariates.columns {
        let text = format!(
            "adjusted for inside field-seasons: {} in {} with it, compared with {}",
            count(covariate.strips, "strip", "strips"),
            count(covariate.field_seasons, "field-season", "field-seasons"),
            covariate.reference
        );
        book.write("covariate", &covariate.name, None, None, Some(text));
    }
    for part in &model.frame.covariates.left_out {
        let text = "varied, but too few strips to adjust for it beside everything else".to_owned();
        book.write("note", "covariate_left_out", None, None, Some(format!("{part} {text}")));
    }
    book.write(
        "scaling",
        "centre",
        Some(model.frame.centre_n),
        None,
        Some("force at which the scaled force is 0".into()),
    );
    book.write(
        "scaling",
        "half_range",
        Some(model.frame.half_range_n),
        None,
        Some("force per unit of scaled force".into()),
    );
    book.write("fit", "observations", Some(fit.n_observations() as f64), None, None);
    book.write("fit", "log_likelihood", Some(fit.log_likelihood()), None, Some("restricted".into()));
    book.write("fit", "criterion", Some(fit.criterion()), None, Some("−2 log restricted likelihood".into()));
    let optimum = fit.optimum();
    book.write("fit", "evaluations", Some(optimum.evaluations as f64), None, Some(optimum.reason.to_string()));
    for component in fit.variance_components() {
        book.write("variance", &component.term, Some(component.variance), None, Some("variance".into()));
    }
    for (column, name) in fit.names().iter().enumerate() {
        let row: Vec<f64> = (0..fit.names().len()).map(|other| f64::from(u8::from(other == column))).collect();
        let Ok(contrast) = fit.contrast(&row) else { continue };
        let limits = contrast.interval(0.95);
        let text = format!("95 %: {:.4} to {:.4}; df {:.1}, {}", limits.low, limits.high, contrast.df, contrast.method);
        book.write("coefficient", name, Some(contrast.estimate), Some(contrast.std_error), Some(text));
    }
    let posterior = &model.drawn.posterior;
    book.write("draws", "draws", Some(posterior.draws() as f64), None, Some("stored draws of the posterior".into()));
    let smallest = posterior.effective_sample_size.iter().copied().fold(f64::INFINITY, f64::min);
    book.write(
        "draws",
        "effective_sample_size",
        Some(smallest),
        None,
        Some("smallest over standard deviations".into()),
    );
    book.write("draws", "acceptance_rate", Some(posterior.acceptance_rate), None, None);
    for term in &model.drawn.terms {
        let text = "half-normal scale of the standard deviation".to_owned();
        book.write("prior", term.name(), Some(model.drawn.prior(*term)), None, Some(text));
    }
    book.check("converged", optimum.converged, || optimum.reason.to_string());
    book.check("effective sample size at least 100", smallest >= 100.0, || format!("{smallest:.0}"));
    for (number, test) in levels.iter().enumerate() {
        if let Some(test) = test {
            book.write(
                "levels",
                &format!("group {}", number + 1),
                Some(test.p_value),
                None,
                Some(format!("p value that all settings are alike; df {}", test.method)),
            );
        }
    }
    for group in 0..model.observations.groups.len() {
        let Some(best) = best_here(model, group) else { continue };
        let text = "of the group's parabola in the fields tried, inside the tested range".to_owned();
        let limit = |side: &str| format!("{side} that can be the best in the fields tried, 95 % (Fieller)");
        book.write("own_best", &format!("best, group {}", group + 1), Some(best.best_n), None, Some(text));
        book.write("own_best", &format!("low, group {}", group + 1), Some(best.set.0), None, Some(limit("lightest")));
        book.write("own_best", &format!("high, group {}", group + 1), Some(best.set.1), None, Some(limit("heaviest")));
    }
    match &model.binomial {
        None => {}
        Some(Ok(check)) => binomial_facts(&mut book, check),
        Some(Err(why)) => book.write("note", "binomial_not_fitted", None, None, Some(why.clone())),
    }
    for note in fit.notes() {
        book.write("note", note.code, None, None, Some(note.message.clone()));
    }
    if let Some(remark) = &model.remark {
        book.write("note", "degrees-of-freedom", None, None, Some(remark.clone()));
    }
    book.rows
}

fn count(number: usize, one: &str, many: &str) -> String {
    format!("{number} {}", if number == 1 { one } else { many })
}

/// The binomial model beside the working one.
fn binomial_facts(book: &mut Book, check: &BinomialCheck) {
    let text = "binomial mixed model by Laplace's approximation, with a strip term".to_owned();
    book.write("binomial", "log_likelihood", Some(check.log_likelihood), None, Some(text));
    for (term, deviation) in &check.deviations {
        let text = "standard deviation on the logit".to_owned();
        book.write("binomial", term, Some(*deviation), None, Some(text));
    }
    for compared in &check.coefficients {
        let text = format!("{:+.2} standard errors from the working model", compared.difference);
        book.write("binomial", &compared.name, Some(compared.estimate), Some(compared.std_error), Some(text));
    }
    for note in &check.notes {
        book.write("binomial", "note", None, None, Some(note.clone()));
    }
    book.check("binomial model converged", check.converged, || check.reason.clone());
    book.check("binomial model tells the same slopes", check.agrees(), || {
        check.worst().map_or_else(String::new, |worst| {
            format!("{} differs by {:.1} standard errors", worst.name, worst.difference.abs())
        })
    });
}
