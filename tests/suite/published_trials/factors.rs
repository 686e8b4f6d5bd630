//! Trials of two factors or more, and with covariates: F and degrees of freedom by the layout that was used.
//!
//! A factor beside the setting is written as a depth stop, which is changed by hand and so taken for one of whole plots unless the settings say
//! otherwise. Values called "by least squares" were worked out apart from this project by nested fits with `numpy.linalg.lstsq` on the file (NumPy 2.4.6, SciPy 1.17.1).

use super::{Adapter, Answered, Row, joined, near, number, trial};

/// F with its degrees of freedom, and that a size stands beside it.
fn test(found: &Answered, term: &str, f: (f64, f64), df: (f64, f64)) -> Row {
    let row = found.factor(term);
    let value = |name: &str| {
        row[name].parse::<f64>().unwrap_or_else(|_| panic!("{term}: {name} is \"{}\", {}", row[name], row["reason"]))
    };
    near(value("f_value"), f.0, f.1);
    near(value("numerator_df"), df.0, 1e-9);
    near(value("denominator_df"), df.1, 1e-4);
    assert!(value("size_low") < value("size") && value("size") < value("size_high"), "{term}");
    row
}

/// Yates (1935), oats: varieties on whole plots, nitrogen inside. F 1.4853, 37.6857 and 0.3028 (recomputed in R 4.2.2 by lmerTest, whose search ends a hair
/// beside the exact 37.685647, which is by least squares).
#[test]
fn a_split_plot_has_two_errors() {
    let Some(rows) = trial("yates.oats") else { return };
    let (block, strip, value) = (joined(&["block"]), joined(&["gen", "nitro"]), number("yield"));
    let strip = move |row: &Row| format!("{}-{}", row["block"], strip(row));
    let adapter =
        Adapter { treatment: Some("nitro"), parts: &[("depth_stop", "gen")], ..Adapter::of(&block, &strip, &value) };
    let found = adapter.run(&rows);
    let row = test(&found, "force", (37.685_647_06, 1e-6), (3.0, 45.0));
    near(row["size"].parse().unwrap(), 123.4 - 79.4, 0.06);
    assert_eq!(row["size_of"], "160 N − 100 N");
    test(&found, "depth stop", (1.4853, 5e-5), (2.0, 10.0));
    let row = test(&found, "force × depth stop", (0.3028, 5e-5), (6.0, 45.0));
    assert!(row["method"].contains("random block × depth stop"), "{}", row["method"]);
    // The same strips as if every one had been drawn alone: one error for all, 55 degrees of freedom.
    let alone = Adapter { settings: "[analysis]\nwhole_plots = []\n", ..adapter }.run(&rows);
    let row = alone.factor("depth stop");
    near(row["denominator_df"].parse().unwrap(), 55.0, 1e-9);
    assert!(row["f_value"].parse::<f64>().unwrap() > 1.5, "{}", row["f_value"]);
}

/// Gomez & Gomez (1984), rice: managements on main plots, times inside, two samples a plot. F 2.239 (p 0.0944), 7.945 (0.000211) and 0.657.
#[test]
fn a_split_plot_with_samples_has_the_published_tests() {
    let Some(rows) = trial("gomez.splitplot.subsample") else { return };
    let (block, strip, value) = (joined(&["rep"]), joined(&["rep", "manage", "time"]), number("height"));
    let adapter =
        Adapter { treatment: Some("time"), parts: &[("depth_stop", "manage")], ..Adapter::of(&block, &strip, &value) };
    let found = adapter.run(&rows);
    let row = test(&found, "depth stop", (2.239, 5e-4), (7.0, 14.0));
    near(row["p_value"].parse().unwrap(), 0.0944, 5e-5);
    let row = test(&found, "force", (7.945, 5e-4), (3.0, 48.0));
    near(row["p_value"].parse().unwrap(), 0.000_211, 5e-7);
    test(&found, "force × depth stop", (0.657, 5e-4), (21.0, 48.0));
}

/// Gomez & Gomez (1984), rice: varieties and nitrogen on strips that cross. F 7.653, 34.07 and 5.801.
#[test]
fn a_strip_plot_has_three_errors() {
    let Some(rows) = trial("gomez.stripplot") else { return };
    let (block, strip, value) = (joined(&["rep"]), joined(&["rep", "gen", "nitro"]), number("yield"));
    let adapter = Adapter {
        treatment: Some("nitro"),
        parts: &[("depth_stop", "gen")],
        settings: "[analysis]\nwhole_plots = [\"force\", \"depth_stop\"]\n",
        ..Adapter::of(&block, &strip, &value)
    };
    let found = adapter.run(&rows);
    let row = test(&found, "depth stop", (7.653, 5e-4), (5.0, 10.0));
    near(row["p_value"].parse().unwrap(), 0.003_37, 5e-6);
    let row = test(&found, "force", (34.07, 5e-3), (2.0, 4.0));
    near(row["p_value"].parse().unwrap(), 0.003_07, 5e-6);
    let row = test(&found, "force × depth stop", (5.801, 5e-4), (10.0, 20.0));
    near(row["p_value"].parse().unwrap(), 0.000_427, 5e-7);
}

/// Yates (1933): n, p and k on every combination in ten blocks, nine plots missing. Main effects and interactions in pairs, each beside all others and fixed
/// blocks, by least squares: residual mean square 0.346319 with 55 degrees of freedom.
#[test]
fn three_factors_with_missing_plots_are_tested_each_beside_all_others() {
    let Some(rows) = trial("yates.missing") else { return };
    let (block, strip, value) = (joined(&["block"]), joined(&["block", "trt"]), number("y"));
    let adapter = Adapter {
        treatment: Some("n"),
        parts: &[("depth_stop", "p"), ("press_position", "k")],
        settings: "[analysis]\nwhole_plots = []\n",
        ..Adapter::of(&block, &strip, &value)
    };
    let found = adapter.run(&rows);
    for (term, f, size) in [
        ("force", 1.295_392_709_4, 0.160_442_762_3),
        ("depth stop", 1.794_690_312_8, -0.189_773_518_9),
        ("press position", 0.028_011_126_1, 0.023_875_712_4),
        ("force × depth stop", 0.070_187_202_9, 2.0 * 0.037_201_716_8),
        ("force × press position", 3.310_227_525_7, 2.0 * 0.256_678_012_9),
        ("depth stop × press position", 6.208_335_017_3, 2.0 * -0.353_294_385_1),
    ] {
        let row = test(&found, term, (f, 1e-8), (1.0, 55.0));
        near(row["size"].parse().unwrap(), size, 1e-8);
    }
}

/// Calves of nine sires in three lines, ages of dams as treatments, weaning age and weight measured before: Harvey (1960), Least-squares analysis of data with
/// unequal subclass numbers, USDA ARS 20-8. Published slopes −0.008154879 and 0.001970446, in the model of line, sire, age of dam, line × age of
/// dam and both covariates; F of ages and of the interaction by least squares. A line is constant inside a sire, so with sires fixed it has no test.
#[test]
fn covariates_have_the_published_slopes_and_move_the_tests() {
    let Some(rows) = trial("harvey.lsmeans") else { return };
    let (block, strip, value) = (joined(&["sire"]), joined(&["calf"]), number("adg"));
    let adapter = Adapter {
        treatment: Some("damage"),
        parts: &[("depth_stop", "line")],
        before: &["weanage", "weight"],
        settings: "[analysis]\nwhole_plots = []\ncovariates = [\"measure:weanage\", \"measure:weight\"]\n",
        ..Adapter::of(&block, &strip, &value)
    };
    let found = adapter.run(&rows);
    test(&found, "force", (1.225_324_808_1, 1e-8), (2.0, 48.0));
    let row = test(&found, "force × depth stop", (2.285_596_682_9, 1e-8), (4.0, 48.0));
    assert!(row["method"].contains("adjusted for covariates"), "{}", row["method"]);
    for (name, slope, f) in [("weanage", -0.008_154_879, 6.845_641_2), ("weight", 0.001_970_446, 5.076_405_0)] {
        let row = test(&found, &format!("measure:{name}"), (f, 1e-6), (1.0, 48.0));
        near(row["size"].parse().unwrap(), slope, 5e-10);
    }
    let line = found.factor("depth stop");
    assert!(line["f_value"].is_empty() && line["reason"].contains("blocks they stood in"), "{}", line["reason"]);
    let plain = Adapter { settings: "[analysis]\nwhole_plots = []\n", ..adapter }.run(&rows);
    test(&plain, "force × depth stop", (2.830_996_601_1, 1e-8), (4.0, 50.0));
}

/// The same calves without lines: adjusted means of the ages of dams 2.56, 2.46 and 2.36 (emmeans 1.8.4), slopes −0.008946642 and 0.002452132.
/// Differences and their errors by least squares, 52 degrees of freedom. The published means let every line count the same, ours every block (sire),
/// which moves all three by 0.005 and no difference.
#[test]
fn differences_are_between_means_at_one_value_of_the_covariates() {
    let Some(rows) = trial("harvey.lsmeans") else { return };
    let (block, strip, value) = (joined(&["sire"]), joined(&["calf"]), number("adg"));
    let adapter = Adapter {
        treatment: Some("damage"),
        before: &["weanage", "weight"],
        settings: "[analysis]\ncovariates = [\"measure:weanage\", \"measure:weight\"]\n",
        ..Adapter::of(&block, &strip, &value)
    };
    let found = adapter.run(&rows);
    for (a, b, difference, std_error) in [
        ("A3", "A4", 0.097_469_677_2, 0.095_530_111_2),
        ("A3", "A5", 0.197_088_560_3, 0.086_395_291_3),
        ("A4", "A5", 0.099_618_883_1, 0.073_213_153_3),
    ] {
        let [own, error, df] = found.pair(a, b);
        near(own, difference, 1e-9);
        near(error, std_error, 1e-9);
        assert_eq!(df, 52.0);
    }
    let rows = found.review.result("comparisons");
    let pair = rows
        .iter()
        .find(|row| row["response"] == "measure:yield" && row["treatment_a"] == "A5" && row["treatment_b"] == "A3")
        .unwrap();
    near(pair["mean_a"].parse().unwrap(), 2.352_768_740_8, 1e-9);
    near(pair["mean_b"].parse().unwrap(), 2.549_857_301_1, 1e-9);
    assert!(
        pair["method"].contains("adjusted for covariates (it helped: squared widths of the intervals are 0.9"),
        "{}",
        pair["method"]
    );
}
