//! Stand counts and germination counts, wide and long.

use std::collections::BTreeMap;

use super::{Reading, Row, block, check_all, kept_rows, reading};
use crate::support::shared;

const FOLDER: &str = "data/emergence";

/// Wide counts of what is new at each visit; the names of the columns count days.
fn wide(file: &str, columns: &str, visits: &str) -> String {
    block(
        file,
        "stand_count",
        columns,
        &format!(
            "[source.wide]\ncolumns = {visits}\nname_to = \"counted_at\"\nvalue_to = \"emerged\"\n\
             day_zero = \"2020-05-01\"\nnewly = true"
        ),
    )
}

fn cress() -> Reading {
    let columns = "strip_id = [\"Genotype\", \"Rep\"], seeds_sown = \"Total Seeds\"";
    reading("germinationmetrics.gcdata.csv", wide("*gcdata.csv", columns, "\"Day*\""))
}

fn lotus_wide_settings() -> String {
    wide("*lotusOr.csv", "strip_id = [\"Stage\", \"Dish\"]", "[\"?\", \"??\"]")
}

fn lotus() -> [Reading; 2] {
    let columns = "strip_id = [\"Stage\", \"Dish\"]";
    let long = format!("{columns}, sample_id = \"timeAf\", emerged = \"nCum\"");
    [
        reading("drcte.lotusOr.csv", lotus_wide_settings()),
        reading("drcte.lotus.csv", block("*lotus.csv", "stand_count", &long, "")),
    ]
}

/// Sums and rows: Python's csv.
#[rustfmt::skip]
fn readings() -> Vec<Reading> {
    let [lotus_wide, lotus_long] = lotus();
    let dishes = "strip_id = [\"Dish\", \"Temp\"], sample_id = \"timeAf\", emerged = \"nCum\"";
    vec![
        reading("agridat.carlson.germination.csv", block("*carlson*", "measure",
            "strip_id = [\"gen\", \"nacl\"], value = \"germ\"", "constants.name = \"germination\"\nconstants.unit = \"%\""))
            .balance(120, 0).sum("value", 7224.0)
            .row(2, &[("strip_id", "Anchor-0"), ("value", "100.0"), ("unit", "%")])
            .row(121, &[("strip_id", "Vernal-2"), ("value", "0.0")]),
        // Both the stand and the yield of a plot, from one file.
        reading("agridat.cochran.beets.csv",
            block("*beets*", "stand_count", "strip_id = [\"fert\", \"block\"], emerged = \"plants\"", "")
            + &block("*beets*", "measure", "strip_id = [\"fert\", \"block\"], value = \"yield\"", "constants.name = \"yield\""))
            .balance(84, 0).sum("emerged", 12012.0).sum("value", 222.03)
            .row(2, &[("strip_id", "None-B1"), ("emerged", "183")])
            .row(43, &[("strip_id", "PKN-B6"), ("value", "7.39")]),
        reading("agridat.mead.germination.csv", block("*mead*", "stand_count",
            "strip_id = [\"temp\", \"rep\", \"conc\"], emerged = \"germ\", seeds_sown = \"seeds\"", ""))
            .balance(64, 0).sum("emerged", 1171.0).sum("seeds_sown", 3200.0)
            .row(3, &[("strip_id", "T1-R1-0.1"), ("emerged", "13")]),
        reading("drc.germination.csv", block("drc.*", "stand_count",
            "strip_id = [\"species\", \"temp\"], sample_id = \"end\", emerged = \"germinated\"", ""))
            .balance(192, 0).sum("emerged", 260.0)
            .row(193, &[("strip_id", "rice-40"), ("sample_id", "Inf"), ("emerged", "12")]),
        reading("drcSeedGerm.alfalfaSG.csv", wide("*alfalfaSG.csv",
            "strip_id = [\"Dish\", \"Temp\"], seeds_sown = \"nViable\"", "[\"?\", \"??\"]"))
            // 21 dishes of 100 seeds at 29 visits; the last visit lies three days behind the one before.
            .balance(21, 0).sum("emerged", 43241.0).sum("seeds_sown", 29.0 * 2100.0)
            .row(2, &[("strip_id", "1-1"), ("counted_at", "2020-06-04T00:00:00Z"), ("emerged", "89")])
            .row(3, &[("strip_id", "2-1"), ("counted_at", "2020-06-04T00:00:00Z"), ("emerged", "84")])
            .row(2, &[("counted_at", "2020-05-10T00:00:00Z"), ("emerged", "6")]),
        // The last interval of a dish has no end, and no count at it.
        reading("drcSeedGerm.barley.csv", block("*barley.csv", "stand_count", dishes, ""))
            .balance(783, 27).sum("emerged", 22744.0)
            .set_aside(811, "missing_value", "emerged"),
        reading("drcSeedGerm.rape.csv", block("*rape.csv", "stand_count", &dishes.replace("Temp", "Psi"), ""))
            .balance(252, 42).sum("emerged", 7478.0)
            .row(2, &[("strip_id", "1-0"), ("sample_id", "3"), ("emerged", "49")])
            .set_aside(295, "missing_value", "emerged (\"nCum\")"),
        lotus_wide.balance(12, 0)
            .row(2, &[("strip_id", "A-1"), ("counted_at", "2020-05-16T00:00:00Z"), ("emerged", "17")]),
        lotus_long.balance(180, 12)
            .row(16, &[("strip_id", "A-1"), ("sample_id", "15"), ("emerged", "17")])
            .set_aside(17, "missing_value", "emerged"),
        // A column that is no date is refused row by row, with what was found.
        reading("drcte.lotus.csv", block("*lotus.csv", "stand_count",
            "strip_id = \"Dish\", counted_at = \"timeAf\", emerged = \"nCum\"", ""))
            .balance(0, 192).set_aside(2, "bad_time", "counted_at (\"timeAf\"): found \"1\", expected a date"),
        // What a block says of every row alike is judged once.
        reading("drcte.lotusOr.csv", lotus_wide_settings().replace("day_zero = \"2020-05-01\"\n", "")).balance(0, 12)
            .set_aside(2, "bad_time", "the name of the column \"1\" goes to counted_at: found \"1\", expected a date")
            .says(&["wide.day_zero = ", "no row of this file can be used"]),
        reading("drcte.lotusOr.csv", lotus_wide_settings().replace("2020\n", "\"spring\"\n")).balance(0, 12)
            .set_aside(13, "not_a_number", "season (a constant of the [[source]] block): found \"spring\"")
            .says(&["drcte.lotusOr.csv, row 1: season", "correct it under constants in the block"]),
        cress().balance(15, 0).row(2, &[("strip_id", "G1-1"), ("seeds_sown", "50.0"), ("emerged", "40")]),
        // No code: 134 rows; a code and no count: 1018 (the figures that come with the data: 2291 rows, 1139 with a stand).
        reading("maize_hips_2022_standcount.csv", block("maize*", "stand_count",
            "strip_id = \"qrCode\", row_length_ft = \"plotLength\", emerged = \"totalStandCount\"", ""))
            .balance(1139, 1152).sum("emerged", 68526.0).sum("row_length_m", 6075.426)
            .row(136, &[("strip_id", "22-A-1585173"), ("emerged", "65")])
            .row(2292, &[("strip_id", "22-A-1571934"), ("emerged", "66")])
            .set_aside(2, "missing_value", "strip_id (\"qrCode\")"),
    ]
}

#[test]
fn every_file_of_counts_is_read_through_blocks_alone() {
    check_all(FOLDER, &readings());
}

/// Plants at the last visit, seeds, and the mean time of emergence of all 15 dishes, as they come with the data (R package
/// germinationmetrics, tolerance of its own tests 1e-12).
#[test]
fn wide_counts_of_new_seedlings_give_the_published_mean_times() {
    let Some((folder, json)) = shared(FOLDER).zip(shared("data/expected_public.json")) else { return };
    let (_, review) = cress().run(&folder);
    let mut by_dish: BTreeMap<String, Vec<Row>> = BTreeMap::new();
    for row in kept_rows(&review) {
        by_dish.entry(row["strip_id"].clone()).or_default().push(row);
    }
    let json: serde_json::Value = serde_json::from_slice(&std::fs::read(json).unwrap()).unwrap();
    let expected = json["emergence/germinationmetrics.gcdata.csv"]["recomputed_all_15"].as_array().unwrap();
    assert_eq!((expected.len(), by_dish.len()), (15, 15));
    for dish in expected {
        let number = |key: &str| dish[key].as_f64().unwrap();
        let rows = &by_dish[&format!("{}-{}", dish["Genotype"].as_str().unwrap(), number("Rep"))];
        let mut counts: Vec<(f64, f64)> = rows.iter().map(|row| (day(row), row["emerged"].parse().unwrap())).collect();
        counts.sort_by(|left, right| left.0.total_cmp(&right.0));
        let last = counts.last().unwrap().1;
        let (mut before, mut weighted) = (0.0, 0.0);
        for (day, emerged) in &counts {
            weighted += day * (emerged - before);
            before = *emerged;
        }
        assert_eq!((last, rows[0]["seeds_sown"].parse()), (number("germ"), Ok(number("total"))), "{dish}");
        assert!((weighted / last - number("MGT")).abs() < 1e-9, "{dish}");
    }
}

/// Days since 2020-05-01, in May.
fn day(row: &Row) -> f64 {
    row["counted_at"].strip_prefix("2020-05-").unwrap()[..2].parse::<f64>().unwrap() - 1.0
}

#[test]
fn the_wide_and_the_long_form_of_one_experiment_give_the_same_counts() {
    let Some(folder) = shared(FOLDER) else { return };
    let [wide, long] = lotus().map(|reading| kept_rows(&reading.run(&folder).1));
    let key = |row: &Row, day: f64| (row["strip_id"].clone(), day as i64);
    let wide: BTreeMap<_, _> = wide.iter().map(|row| (key(row, day(row)), row["emerged"].clone())).collect();
    let long: BTreeMap<_, _> =
        long.iter().map(|row| (key(row, row["sample_id"].parse().unwrap()), row["emerged"].clone())).collect();
    assert_eq!(wide.len(), 12 * 15);
    assert_eq!(wide, long);
}
