//! Interval-censored event times against direct maximum likelihood, `survival::survreg` and Turnbull's estimate in R.

use crate::data::{Table, expected, number, numbers};
use crate::near;
use evenstand_stats::{
    EventAt, EventPredictors, EventQuantity, EventTimes, EventTimesFit, IntervalData, Limit, LinearFit, Shape, Share,
    Turnbull, turnbull,
};
use serde_json::Value;

const CASES: &str = include_str!("cases/event_times.json");
const NEVER: f64 = f64::INFINITY;

/// Months to cosmetic deterioration after radiotherapy alone: Finkelstein DM, Wolfe RA (1985) Biometrics 41:731-740.
#[rustfmt::skip]
const RADIATION: [(f64, f64); 46] = [
    (45.0, NEVER), (6.0, 10.0), (0.0, 7.0), (46.0, NEVER), (46.0, NEVER), (7.0, 16.0), (17.0, NEVER), (7.0, 14.0),
    (37.0, 44.0), (0.0, 8.0), (4.0, 11.0), (15.0, NEVER), (11.0, 15.0), (22.0, NEVER), (46.0, NEVER), (46.0, NEVER),
    (25.0, 37.0), (46.0, NEVER), (26.0, 40.0), (46.0, NEVER), (27.0, 34.0), (36.0, 44.0), (46.0, NEVER), (36.0, 48.0),
    (37.0, NEVER), (40.0, NEVER), (17.0, 25.0), (46.0, NEVER), (11.0, 18.0), (38.0, NEVER), (5.0, 12.0), (37.0, NEVER),
    (0.0, 5.0), (18.0, NEVER), (24.0, NEVER), (36.0, NEVER), (5.0, 11.0), (19.0, 35.0), (17.0, 25.0), (24.0, NEVER),
    (32.0, NEVER), (33.0, NEVER), (19.0, 26.0), (37.0, NEVER), (34.0, NEVER), (36.0, NEVER),
];

/// The same after radiotherapy and chemotherapy.
#[rustfmt::skip]
const RADIATION_AND_CHEMOTHERAPY: [(f64, f64); 48] = [
    (8.0, 12.0), (0.0, 22.0), (24.0, 31.0), (17.0, 27.0), (17.0, 23.0), (24.0, 30.0), (16.0, 24.0), (13.0, NEVER),
    (11.0, 13.0), (16.0, 20.0), (18.0, 25.0), (17.0, 26.0), (32.0, NEVER), (23.0, NEVER), (44.0, 48.0), (14.0, 17.0),
    (0.0, 5.0), (5.0, 8.0), (12.0, 20.0), (11.0, NEVER), (33.0, 40.0), (31.0, NEVER), (13.0, 39.0), (19.0, 32.0),
    (34.0, NEVER), (13.0, NEVER), (16.0, 24.0), (35.0, NEVER), (15.0, 22.0), (11.0, 17.0), (22.0, 32.0), (10.0, 35.0),
    (30.0, 34.0), (13.0, NEVER), (10.0, 17.0), (8.0, 21.0), (4.0, 9.0), (11.0, NEVER), (14.0, 19.0), (4.0, 8.0),
    (34.0, NEVER), (30.0, 36.0), (18.0, 24.0), (16.0, 60.0), (35.0, 39.0), (21.0, NEVER), (11.0, 20.0), (48.0, NEVER),
];

pub fn cosmesis(id: &str) -> IntervalData {
    let rows = if id.ends_with("Chem") { &RADIATION_AND_CHEMOTHERAPY[..] } else { &RADIATION[..] };
    IntervalData::individuals(rows.iter().map(|row| row.0).collect(), rows.iter().map(|row| row.1).collect())
        .expect("valid")
}

fn counted(table: &Table, keep: impl Fn(usize) -> bool, [left, right, count]: [&str; 3]) -> IntervalData {
    let rows: Vec<usize> = (0..table.rows()).filter(|&row| keep(row)).collect();
    let column = |name: &str| -> Vec<f64> {
        let parse = |cell: &str| if cell == "Inf" { NEVER } else { cell.parse().expect("a number") };
        rows.iter().map(|&row| parse(&table.text(name)[row])).collect()
    };
    let counts = column(count).iter().map(|&count| count as u64).collect();
    IntervalData::new(column(left), column(right), counts).expect("valid")
}

fn chickweed() -> Option<IntervalData> {
    Table::from_shared("chickweed.csv").map(|table| counted(&table, |_| true, ["start", "end", "count"]))
}

/// One species of the Verbascum data with the cluster of each row.
fn verbascum(species: &str) -> Option<(IntervalData, Vec<usize>)> {
    let table = Table::from_shared("verbascum.csv")?;
    let keep = |row: usize| table.text("Species")[row] == species;
    let data = counted(&table, keep, ["timeBef", "timeAf", "nSeeds"]);
    let dishes = table.text("Dish");
    let clusters = (0..table.rows()).filter(|&row| keep(row)).map(|row| dishes[row].parse().expect("a code")).collect();
    Some((data, clusters))
}

fn curve(shape: &str) -> EventTimes {
    match shape {
        "weibull" => EventTimes::weibull(),
        "lognormal" => EventTimes::log_normal(),
        "loglogistic" => EventTimes::log_logistic(),
        other => panic!("no shape named {other}"),
    }
}

const SHAPES: [&str; 3] = ["weibull", "lognormal", "loglogistic"];
const QUANTILES: [(&str, f64); 3] = [("T10", 0.1), ("T50", 0.5), ("T90", 0.9)];

/// Value and standard error of a quantile; `None` when there is no such time.
fn time(fit: &EventTimesFit, p: f64, of: Share) -> Option<(f64, f64)> {
    let found = fit.quantity(&EventQuantity::Quantile { p, of }, &EventAt::intercepts()).expect("a quantile");
    found.map(|found| (found.estimate, found.std_error))
}

/// Standard errors of mu, sigma and d from those of mu, log sigma and logit d.
fn natural_errors(fit: &EventTimesFit) -> Vec<f64> {
    let [_, sigma, d] = fit.parameters_at(&EventAt::intercepts()).expect("parameters");
    let factors = [1.0, sigma, d * (1.0 - d)];
    fit.standard_errors().iter().zip(factors).map(|(error, factor)| error * factor).collect()
}

/// Everything an entry says about one fit. The other program stops at a gradient of 1e-9, so parameters agree to nine digits of
/// their standard errors; it takes its curvature from differences, so standard errors agree to seven digits or so.
fn check_fit(curve: EventTimes, data: &IntervalData, entry: &Value, what: &str) -> EventTimesFit {
    let point = numbers(&entry["working_params"]);
    let predictors = EventPredictors::intercepts(data.rows());
    let (value, gradient) = curve.log_likelihood_at(data, &predictors, &point).expect("a value");
    near::absolute(
        value,
        number(&entry["loglik"]),
        2e-12,
        &format!("{what}: log-likelihood at the other's parameters"),
    );
    for slope in gradient {
        near::absolute(slope, 0.0, 5e-9, &format!("{what}: gradient at the other's parameters"));
    }
    let fit = curve.fit(data).expect("a fit");
    assert!(fit.record().converged, "{what}: {:?}", fit.record());
    near::absolute(fit.log_likelihood(), number(&entry["loglik"]), 2e-12, what);
    near::absolute(fit.aic(), number(&entry["aic"]), 2e-12, what);
    near::scaled(fit.coefficients(), &point, &fit.standard_errors(), 5e-10, what);
    let [mu, sigma, d] = fit.parameters_at(&EventAt::intercepts()).expect("parameters");
    let errors = natural_errors(&fit);
    for (k, (name, found)) in [("mu", mu), ("sigma", sigma), ("d", d)].iter().enumerate().take(point.len()) {
        near::relative(*found, number(&entry["params"][name]), 2e-10, &format!("{what} {name}"));
        near::relative(errors[k], number(&entry["se"][name]), 5e-7, &format!("{what} error of {name}"));
    }
    let covariance = entry["working_vcov"].as_array().expect("rows");
    let scale = fit.standard_errors();
    for (i, row) in covariance.iter().enumerate() {
        for (j, expected) in numbers(row).into_iter().enumerate() {
            let found = fit.covariance()[[i, j]] / (scale[i] * scale[j]);
            near::absolute(found, expected / (scale[i] * scale[j]), 1e-6, &format!("{what} covariance {i},{j}"));
        }
    }
    for (of, values, errors) in
        [(Share::Happening, "quantiles", "se_quantiles"), (Share::All, "quantiles_of_all", "se_quantiles_of_all")]
    {
        for (name, p) in QUANTILES {
            match time(&fit, p, of) {
                Some((found, error)) => {
                    near::relative(found, number(&entry[values][name]), 2e-10, &format!("{what} {values} {name}"));
                    near::relative(error, number(&entry[errors][name]), 5e-7, &format!("{what} {errors} {name}"));
                }
                None => assert_eq!(entry[values][name], "NA", "{what} {values} {name}"),
            }
        }
    }
    fit
}

#[test]
fn chickweed_curves_agree_with_direct_maximum_likelihood() {
    let Some(data) = chickweed() else { return };
    let check = expected(CASES, "interval-chickweed");
    assert_eq!((data.total(), data.events()), (200, 40));
    for shape in SHAPES {
        let fit = check_fit(curve(shape), &data, &check[format!("{shape}_limit")], shape);
        assert_eq!(fit.limit_status(), Limit::Estimated);
        assert!(fit.notes().is_empty(), "{:?}", fit.notes());
    }
    check_fit(curve("loglogistic").without_limit(), &data, &check["loglogistic_without_limit"], "d = 1");
    for shape in SHAPES {
        let entry = &check[format!("survreg_{shape}_no_cure")];
        check_survreg(&curve(shape).without_limit().fit(&data).expect("a fit"), entry, shape);
    }
}

/// `survreg` is a Newton search too; its last step leaves it within 1e-10 of the maximum, mostly far closer.
fn check_survreg(fit: &EventTimesFit, entry: &Value, what: &str) {
    near::absolute(fit.log_likelihood(), number(&entry["loglik"]), 2e-12, what);
    let errors = fit.standard_errors();
    near::relative(fit.coefficients()[0], number(&entry["intercept"]), 1e-12, what);
    near::relative(fit.coefficients()[1].exp(), number(&entry["scale"]), 1e-12, what);
    near::relative(errors[0], number(&entry["se_intercept"]), 5e-12, what);
    near::relative(errors[1], number(&entry["se_log_scale"]), 5e-12, what);
    for (name, p) in QUANTILES {
        let (found, error) = time(fit, p, Share::Happening).expect("d is one");
        near::relative(found, number(&entry["T"][name]), 1e-10, name);
        near::relative(error, number(&entry["se_T"][name]), 2e-10, name);
    }
}

#[test]
fn verbascum_curves_and_their_clustered_errors_agree_with_direct_maximum_likelihood() {
    for species in ["arcturus", "blattaria", "creticum"] {
        let Some((data, clusters)) = verbascum(species) else { return };
        let check = expected(CASES, &format!("interval-verbascum-{species}"));
        for shape in SHAPES {
            let what = format!("{species} {shape}");
            let entry = &check[format!("{shape}_limit")];
            let robust = check_fit(curve(shape), &data, entry, &what).robust(&clusters).expect("four clusters");
            assert_eq!(robust.robust(&clusters).expect("again").covariance(), robust.covariance());
            for (name, found) in ["mu", "sigma", "d"].iter().zip(natural_errors(&robust)) {
                near::relative(found, number(&entry["cluster_robust_se"][name]), 2e-7, &format!("{what} {name}"));
            }
            for (name, p) in QUANTILES {
                let (_, error) = time(&robust, p, Share::Happening).expect("a time");
                near::relative(error, number(&entry["cluster_robust_se_quantiles"][name]), 2e-7, &what);
            }
            assert!(robust.notes().iter().any(|note| note.code == "few-clusters"));
        }
    }
}

#[test]
fn turnbull_masses_of_the_cosmesis_data_are_the_published_ones() {
    for id in ["interval-cosmesis-Rad", "interval-cosmesis-RadChem"] {
        let entry = &expected(CASES, id)["turnbull"];
        let found = turnbull(&cosmesis(id));
        assert!(found.converged() && found.gap() < 1e-8, "{id}: gap {:e}", found.gap());
        assert_eq!(found.masses().len() as u64, entry["n_innermost"].as_u64().expect("a count"), "{id}");
        near::absolute(found.log_likelihood(), number(&entry["loglik"]), 5e-13, id);
        let carrying: Vec<_> = found.masses().iter().filter(|mass| mass.mass > 0.0).collect();
        let intervals = entry["intervals"].as_array().expect("intervals");
        assert_eq!(carrying.len(), intervals.len(), "{id}");
        for (mass, expected) in carrying.iter().zip(intervals) {
            assert_eq!((mass.left, mass.right), (number(&expected["left"]), number(&expected["right"])), "{id}");
            near::absolute(mass.mass, number(&expected["mass"]), 1e-13, id);
            let by = found.cumulative(mass.right);
            near::absolute(by.low, number(&expected["cum"]), 1e-13, id);
            assert_eq!(by.low, by.high, "{id}: defined at the right end");
        }
    }
}

#[test]
fn turnbull_of_looks_at_common_times_is_the_running_share() {
    let Some(data) = chickweed() else { return };
    let entry = &expected(CASES, "interval-chickweed")["turnbull"];
    let found: Turnbull = turnbull(&data);
    for (right, expected) in data.right().iter().zip(numbers(&entry["cumulative"])) {
        let by = found.cumulative(*right);
        near::absolute(by.low, expected, 1e-12, &format!("by {right}"));
    }
}

#[test]
fn cosmesis_curves_agree_with_direct_maximum_likelihood_and_survreg() {
    for id in ["interval-cosmesis-Rad", "interval-cosmesis-RadChem"] {
        let (data, check) = (cosmesis(id), expected(CASES, id));
        for shape in SHAPES {
            let what = format!("{id} {shape}");
            let fit = check_fit(curve(shape).without_limit(), &data, &check[format!("ml_{shape}")], &what);
            check_survreg(&fit, &check[format!("survreg_{shape}")], &what);
        }
    }
}

#[test]
fn a_likelihood_that_rises_to_a_limit_of_one_says_so_and_reports_the_curve_without_limit() {
    for (id, shape) in [("Rad", "weibull"), ("Rad", "lognormal"), ("Rad", "loglogistic"), ("RadChem", "lognormal")] {
        let data = cosmesis(id);
        let fit = curve(shape).fit(&data).expect("a fit");
        let without = curve(shape).without_limit().fit(&data).expect("a fit");
        assert_eq!(fit.limit_status(), Limit::AtOne, "{id} {shape}");
        assert!(fit.notes().iter().any(|note| note.code == "limit-at-one"), "{:?}", fit.notes());
        assert_eq!(fit.coefficients(), without.coefficients());
        // The claim itself: with mu and sigma as they are, the log-likelihood rises all the way from d = 0.9 to 1.
        let predictors = EventPredictors::intercepts(data.rows());
        let mut last = f64::NEG_INFINITY;
        for d in [0.9_f64, 0.97, 0.99, 0.999, 0.99999] {
            let mut point = without.coefficients().to_vec();
            point.push((d / (1.0 - d)).ln());
            let (value, _) = curve(shape).log_likelihood_at(&data, &predictors, &point).expect("a value");
            assert!(value > last && value < fit.log_likelihood());
            last = value;
        }
        let at = EventAt::intercepts();
        let interval = fit.profile_interval(&EventQuantity::Limit, &at, 0.95).expect("works").expect("one");
        assert!(interval.high_open && interval.limits.high == 1.0, "{interval:?}");
        assert!(interval.limits.low > 0.3 && interval.limits.low < 1.0, "{interval:?}");
        let refused = fit.quantity(&EventQuantity::Limit, &at).expect_err("no standard error");
        assert!(refused.to_string().contains("estimated as 1"));
    }
}

#[test]
fn the_three_shapes_have_names_in_words() {
    let names = [Shape::LogLogistic, Shape::Weibull, Shape::LogNormal].map(Shape::name);
    assert_eq!(names, ["log-logistic", "Weibull", "log-normal"]);
}
