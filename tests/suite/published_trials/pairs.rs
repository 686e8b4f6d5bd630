//! Settings compared as their authors compared them.

use super::{Adapter, Row, joined, near, number, trial};

/// Rice, six seeding rates in four blocks: Gomez & Gomez (1984), Statistical Procedures for Agricultural Research.
/// Residual mean square 110558 with 15 degrees of freedom, F 2.1678, p 0.112809 (recomputed in R 4.2.2 on this file).
#[test]
fn randomised_blocks_have_the_published_error_and_test() {
    let Some(rows) = trial("gomez.seedrate") else { return };
    let (block, strip) = (joined(&["rep"]), joined(&["rep", "rate"]));
    let found = Adapter { treatment: Some("rate"), ..Adapter::of(&block, &strip, &number("yield")) }.run(&rows);
    let mean = |rate: &str| {
        let own: Vec<f64> =
            rows.iter().filter(|row| row["rate"] == rate).map(|row| row["yield"].parse().unwrap()).collect();
        own.iter().sum::<f64>() / own.len() as f64
    };
    let [difference, std_error, df] = found.pair("25", "150");
    near(difference, mean("25") - mean("150"), 1e-9);
    near(std_error, (2.0 * 110_558.0_f64 / 4.0).sqrt(), 0.001);
    assert_eq!(df, 15.0);
    near(found.p_value(), 0.112_809, 1e-6);
}

/// Eight mixtures of n, p and k in ten blocks, nine plots missing: Yates (1933), Empire J. Exp. Agric. 1, 129-142. Least squares give the
/// differences of the means of the table as Yates filled it in; residual mean square 0.32759 with 54 degrees of freedom.
///
/// The F of treatments that stands with the file (2.732) does not have blocks taken out; with them it is 2.5478, p 0.024241 (two nested fits by
/// `numpy.linalg.lstsq`, `scipy.stats.f.sf(2.5478, 7, 54)`). A comparison of settings must have them out, because the blocks lack different plots.
#[test]
fn missing_plots_give_the_differences_of_the_filled_in_table() {
    let Some(rows) = trial("yates.missing") else { return };
    let (block, strip) = (joined(&["block"]), joined(&["block", "trt"]));
    let found = Adapter { treatment: Some("trt"), ..Adapter::of(&block, &strip, &number("y")) }.run(&rows);
    let filled = [
        ("nk", 2.883917),
        ("0", 2.576175),
        ("nkp", 3.732593),
        ("kp", 3.332503),
        ("nkp", 3.757236),
        ("n", 3.314285),
        ("np", 3.606283),
        ("p", 3.886172),
        ("np", 3.217981),
    ];
    let mean = |treatment: &str| {
        let grown = rows.iter().filter(|row| row["trt"] == treatment).filter_map(|row| row["y"].parse::<f64>().ok());
        let all = grown.chain(filled.iter().filter(|cell| cell.0 == treatment).map(|cell| cell.1)).collect::<Vec<_>>();
        assert_eq!(all.len(), 10);
        all.iter().sum::<f64>() / 10.0
    };
    for other in ["n", "p", "k", "np", "nk", "kp", "nkp"] {
        let [difference, _, df] = found.pair(other, "0");
        near(difference, mean(other) - mean("0"), 1e-6);
        assert_eq!(df, 54.0);
    }
    near(found.p_value(), 0.024_241, 1e-6);
    // By the same nested fits, `sqrt(0.32759 k' (X'X)^- k)` with a pseudo-inverse.
    let [_, std_error, _] = found.pair("k", "0");
    near(std_error, 0.263_982_953, 1e-6);
}

/// Oats, three varieties on whole plots of six blocks, four nitrogen rates inside each: Yates (1935), J. R. Stat. Soc. Suppl. 2, 181-247.
/// Nitrogen against the error inside whole plots: mean square 177.08 with 45 degrees of freedom, and the interaction with variety 0.3028 times that
/// with 6. A review does not know the varieties, so both are its error: 51 degrees of freedom.
#[test]
fn inner_plots_are_compared_inside_their_whole_plot() {
    let Some(rows) = trial("yates.oats") else { return };
    let (block, strip) = (joined(&["block", "gen"]), joined(&["block", "gen", "nitro"]));
    let found = Adapter { treatment: Some("nitro"), ..Adapter::of(&block, &strip, &number("yield")) }.run(&rows);
    let pooled = 177.08 * (45.0 + 6.0 * 0.3028) / 51.0;
    for (rate, mean) in [("0.2", 98.9), ("0.4", 114.2), ("0.6", 123.4)] {
        let [difference, std_error, df] = found.pair(rate, "0");
        near(difference, mean - 79.4, 0.1);
        near(std_error, f64::sqrt(2.0 * pooled / 18.0), 0.001);
        assert_eq!(df, 51.0);
    }
}

/// The same trial: varieties against the error between whole plots, F 1.4853 with 2 and 10 degrees of freedom, which is p 0.2724
/// (`scipy.stats.f.sf(1.4853, 2, 10)`). The 72 plots as replicates would have called it shown.
#[test]
fn whole_plots_are_compared_by_their_own_error_and_not_by_that_of_plots_inside_them() {
    let Some(rows) = trial("yates.oats") else { return };
    let (block, strip) = (joined(&["block"]), joined(&["block", "gen"]));
    let found = Adapter { treatment: Some("gen"), ..Adapter::of(&block, &strip, &number("yield")) }.run(&rows);
    near(found.p_value(), 0.272_4, 1e-4);
    let [difference, std_error, df] = found.pair("Marvellous", "Victory");
    near(difference, 12.17, 0.01);
    // Variances 106.06 between whole plots and 177.08 inside (REML), four plots each, six blocks.
    near(std_error, (2.0 * (106.06 + 177.08_f64 / 4.0) / 6.0).sqrt(), 0.001);
    assert_eq!(df, 10.0);
}

/// Rice, eight managements on main plots, four times of application inside, two samples a plot: Gomez & Gomez (1984). Managements F 2.239, p 0.0944;
/// error of times 34.44 a sample with 48 degrees of freedom, and the interaction 0.657 times that with 21.
#[test]
fn samples_inside_a_plot_are_no_replicates() {
    let Some(rows) = trial("gomez.splitplot.subsample") else { return };
    let (block, strip) = (joined(&["rep"]), joined(&["rep", "manage"]));
    let found = Adapter { treatment: Some("manage"), ..Adapter::of(&block, &strip, &number("height")) }.run(&rows);
    near(found.p_value(), 0.0944, 5e-5);
    assert_eq!(found.pair("M1", "M2")[2], 14.0);
    let (block, strip) = (joined(&["rep", "manage"]), joined(&["rep", "manage", "time"]));
    let found = Adapter { treatment: Some("time"), ..Adapter::of(&block, &strip, &number("height")) }.run(&rows);
    let [_, std_error, df] = found.pair("T1", "T4");
    let pooled = 34.44 * (48.0 + 21.0 * 0.657) / 69.0;
    near(std_error, f64::sqrt(2.0 * (pooled / 2.0) / 24.0), 0.001);
    assert_eq!(df, 69.0);
}

/// Rice, six varieties and three nitrogen rates in strips that cross: Gomez & Gomez (1984). Each is compared by the strips it was given to:
/// nitrogen F 34.07, p 0.00307 with 2 and 4 degrees of freedom, varieties F 7.653, p 0.00337 with 5 and 10.
#[test]
fn strips_that_cross_are_compared_each_by_their_own_error() {
    let Some(rows) = trial("gomez.stripplot") else { return };
    let block = joined(&["rep"]);
    for (treatment, strip, p_value, pair, df) in [
        ("nitro", ["rep", "nitro"], 0.003_07, ("120", "0"), 4.0),
        ("gen", ["rep", "gen"], 0.003_37, ("G1", "G2"), 10.0),
    ] {
        let strip = move |row: &Row| format!("{}-{}", row[strip[0]], row[strip[1]]);
        let found = Adapter { treatment: Some(treatment), ..Adapter::of(&block, &strip, &number("yield")) }.run(&rows);
        near(found.p_value(), p_value, 5e-6);
        assert_eq!(found.pair(pair.0, pair.1)[2], df);
    }
}

/// Asparagus, four cutting treatments in four blocks, the same plots over years: Snedecor & Cochran, Statistical Methods.
/// Variances 462.8 between plots and 404.7 between years of a plot (REML, as the data's documentation prints them).
#[test]
fn years_of_one_plot_are_no_replicates() {
    let Some(rows) = trial("snedecor.asparagus") else { return };
    let years = rows.iter().map(|row| row["year"].as_str()).collect::<std::collections::BTreeSet<_>>().len() as f64;
    let (block, strip) = (joined(&["block"]), joined(&["block", "trt"]));
    let found = Adapter { treatment: Some("trt"), ..Adapter::of(&block, &strip, &number("yield")) }.run(&rows);
    let [difference, std_error, df] = found.pair("Jun-01", "Jul-15");
    near(difference, 325.05 - 181.2, 1e-9);
    near(std_error, (2.0 * (462.8 + 404.7 / years) / 4.0).sqrt(), 0.001);
    assert_eq!(df, 9.0);
    // As seasons of a field, years are drawn anew and so are strips: the difference is the same, and its error is the one for a year not yet seen
    // (setting by season, 12 degrees of freedom). It does not hold the error of plots that stayed where they were, as strips of an annual crop do not.
    let value = number("yield");
    let seasons = Adapter { treatment: Some("trt"), season: Some("year"), ..Adapter::of(&block, &strip, &value) };
    let seasons = seasons.run(&rows);
    let [over_years, error_over_years, df] = seasons.pair_in("unstated", None, "Jun-01", "Jul-15");
    near(over_years, difference, 1e-9);
    assert!(error_over_years > std_error && (df - 12.0).abs() < 1e-6, "{error_over_years} {df}");
}
