//! Runs on open data that nobody made for this project. Skipped where `../shared` is not there.

use std::collections::BTreeMap;
use std::fmt::Write;

use crate::support::{TestReview, read_csv, root, shared};

/// Stand counts of a maize hybrid experiment at five sites in 2022 (Dryad, doi 10.5061/dryad.905qftttm): no closing force
/// was ever written down. The file has no seed number; 80 seeds a plot are assumed here, so that a share can be told.
const SEEDS: f64 = 80.0;

fn hybrid_trial() -> Option<(TestReview, Vec<BTreeMap<String, String>>)> {
    let rows = read_csv(&shared("data/emergence/maize_hips_2022_standcount.csv")?);
    let mut strip = String::from("field_id,season,strip_id,block\n");
    let mut count = String::from("field_id,season,strip_id,seeds_sown,emerged\n");
    for row in &rows {
        let code = row["qrCode"].replace('"', "\"\"");
        let _ = writeln!(strip, "{},2022,\"{code}\",{}", row["location"], row["block"]);
        let _ = writeln!(count, "{},2022,\"{code}\",{SEEDS},{}", row["location"], row["totalStandCount"]);
    }
    Some((TestReview::new(&[("strip.csv", &strip), ("stand_count.csv", &count)]), rows))
}

#[test]
fn counts_without_any_closing_force_stay_open_and_the_reason_is_plain() {
    let Some((review, rows)) = hybrid_trial() else { return };
    let said = review.run("run", &[]);
    assert_eq!(said.status, 1, "{}", said.stderr);
    let points = review.result("starting_points");
    assert!(!points.is_empty() && points.iter().all(|row| row["evidence"] == "open" && row["start_n"].is_empty()));
    assert!(points[0]["reason"].contains("No closing downforce is known"), "{}", points[0]["reason"]);

    // Every plot with a code and a count is a strip with its share; computed here from the file itself.
    let strips: BTreeMap<(String, String), String> = review
        .result("strips")
        .into_iter()
        .map(|row| ((row["field_id"].clone(), row["strip_id"].clone()), row["emerged_share"].clone()))
        .collect();
    let mut shares = 0;
    for row in rows.iter().filter(|row| row["qrCode"] != "NA" && row["totalStandCount"] != "NA") {
        let share: f64 = strips[&(row["location"].clone(), row["qrCode"].clone())].parse().unwrap();
        assert_eq!(share, row["totalStandCount"].parse::<f64>().unwrap() / SEEDS);
        shares += 1;
    }
    // 1139 plots have a count: recomputed figure that comes with the data.
    assert_eq!(shares, 1139);
    assert_eq!(strips.values().filter(|share| !share.is_empty()).count(), 1139);

    // 134 rows carry the code "NA", so 133 repeat one: each is set aside in both tables, none lost.
    let set_aside = review.result("set_aside");
    let without_code =
        |kind: &str| set_aside.iter().filter(|row| row["kind"] == kind && row["message"].contains("strip_id")).count();
    assert_eq!((without_code("strip"), without_code("stand_count")), (134, 134));
    let without_counts: Vec<String> = review
        .result("findings")
        .into_iter()
        .filter(|row| row["code"] == "field_without_counts")
        .map(|row| row["field_id"].clone())
        .collect();
    assert_eq!(without_counts, ["Lincoln", "Scottsbluff"]);
}

/// Daily weather of a US Climate Reference Network station (NOAA, public domain) put under the demo's 2024 season: the
/// thermal clock must run on it, days without a reading must stay missing.
#[test]
fn the_demo_runs_on_the_thermal_clock_with_measured_weather() {
    let Some(station) = shared("data/weather_soil/uscrn_daily_2020_IA_54902.csv") else { return };
    let review = TestReview::copy_of(&root().join("sample-data/winter-review"));
    let mut weather = String::from("field_id,date,tmin_c,tmax_c,rain_mm\n");
    let mut may = 0.0;
    for row in read_csv(&station) {
        let date = &row["lst_date"];
        let number = |name: &str| row[name].parse::<f64>().ok().filter(|value| *value > -90.0);
        let cell = |name: &str| number(name).map(|value| value.to_string()).unwrap_or_default();
        for year in 2022..2026 {
            let _ = writeln!(
                weather,
                ",{year}-{}-{},{},{},{}",
                &date[4..6],
                &date[6..8],
                cell("t_daily_min"),
                cell("t_daily_max"),
                cell("p_daily_calc")
            );
        }
        if let (Some(low), Some(high), "05") = (number("t_daily_min"), number("t_daily_max"), &date[4..6]) {
            may += (low.clamp(10.0, 30.0) + high.clamp(10.0, 30.0)) / 2.0 - 10.0;
        }
    }
    // Published with the data: May 2020 sums to 183.55 degree-days Celsius when each temperature is clipped first.
    assert!((may - 183.55).abs() < 0.01, "{may}");
    for name in
        crate::support::files_below(&review.path().join("raw")).keys().filter(|name| name.starts_with("weather"))
    {
        std::fs::remove_file(review.path().join("raw").join(name)).unwrap();
    }
    // 29 February of 2020 is no day of 2022: that row must be set aside, not guessed.
    review.put("weather.csv", &weather);
    let settings = std::fs::read_to_string(review.path().join("evenstand.toml")).unwrap();
    review.put("evenstand.toml", &format!("clock = \"thermal\"\n{settings}"));
    let said = review.run("model", &[]);
    assert_eq!(said.status, 2, "there is no store yet");
    review.run("ingest", &[]);
    let said = review.run("model", &[]);
    assert!(said.status < 2, "{}", said.stderr);
    assert_eq!(
        review
            .result("set_aside")
            .iter()
            .filter(|row| row["code"] == "bad_time" && row["raw"].contains("02-29"))
            .count(),
        3
    );
    let strips = review.result("strips");
    let number = |row: &BTreeMap<String, String>, name: &str| row[name].parse::<f64>().ok();
    let mut told = 0;
    for row in &strips {
        if let (Some(t10), Some(t50), Some(t90), Some(spread)) =
            (number(row, "t10_cd"), number(row, "t50_cd"), number(row, "t90_cd"), number(row, "spread_cd"))
        {
            assert!(0.0 < t10 && t10 <= t50 && t50 <= t90 && (spread - (t90 - t10)).abs() < 1e-9);
            // At most 20 degree-days a day by this definition.
            assert!(t90 <= 20.0 * number(row, "t90_h").unwrap() / 24.0 + 1e-9);
            told += 1;
        }
    }
    assert!(told > 200, "{told}");
}
