//! Daily weather and soil tables.

use super::{Reading, Row, block, check_all, kept_rows, reading};
use crate::support::shared;

const FOLDER: &str = "data/weather_soil";

fn station(file: &'static str) -> Reading {
    let columns = "date = \"lst_date\", tmax_c = \"t_daily_max\", tmin_c = \"t_daily_min\", rain_mm = \"p_daily_calc\"";
    reading(file, block("uscrn*", "weather", columns, "time_formats = \"%Y%m%d\""))
}

fn textures() -> Reading {
    let columns = "sand_pct = \"sand\", silt_pct = \"silt\", clay_pct = \"clay\", note = \"texcl\"";
    reading("aqp.soiltexture.values.csv", block("*soiltexture*", "soil_note", columns, ""))
}

/// Sums and rows: Python's csv.
#[rustfmt::skip]
fn readings() -> Vec<Reading> {
    vec![
        // One day without a highest and eight without a lowest temperature are kept without them.
        station("uscrn_daily_2020_IA_54902.csv").balance(366, 0)
            .sum("tmax_c", 5868.4).sum("tmin_c", 1579.8).sum("rain_mm", 780.2)
            .row(2, &[("date", "2020-01-01"), ("season", "2020"), ("tmax_c", "9.8"), ("tmin_c", "-5.6")])
            .row(367, &[("date", "2020-12-31"), ("tmax_c", "-4.5"), ("rain_mm", "0.0")]),
        station("uscrn_daily_2020_NE_94995.csv").balance(366, 0)
            .sum("tmax_c", 6465.1).sum("tmin_c", 1590.2).sum("rain_mm", 644.4)
            .row(367, &[("date", "2020-12-31"), ("tmax_c", "1.1"), ("tmin_c", "-18.7")]),
        // 366 rows belong to the leap year 2012, then 365 a year.
        reading("vega.seattle-weather.csv", block("vega*", "weather",
            "date = \"date\", tmax_c = \"temp_max\", tmin_c = \"temp_min\", rain_mm = \"precipitation\"", ""))
            .balance(1461, 0).sum("rain_mm", 4426.0).sum("tmax_c", 24017.5).sum("tmin_c", 12031.0)
            .sum("season", 2012.0 * 366.0 + (2013.0 + 2014.0 + 2015.0) * 365.0)
            .row(2, &[("date", "2012-01-01"), ("season", "2012")])
            .row(1462, &[("date", "2015-12-31"), ("season", "2015"), ("tmin_c", "-2.1")]),
        textures().balance(5151, 0),
        reading("aqp.sp4.csv", block("aqp.sp4.csv", "soil_note",
            "block = [\"id\", \"name\"], depth_cm = \"bottom\", sand_pct = \"sand\", silt_pct = \"silt\", clay_pct = \"clay\"", ""))
            .balance(30, 0).sum("depth_m", 5.28).sum("sand_frac", 12.9).sum("silt_frac", 9.15).sum("clay_frac", 7.94)
            .row(2, &[("block", "colusa-A"), ("depth_m", "0.03")])
            .row(31, &[("block", "shasta-trinity-Bt2"), ("depth_m", "0.4"), ("clay_frac", "0.67")]),
        reading("agridat.lambert.soiltemp.csv", block("*lambert*", "measure",
            "strip_id = \"depth\", sample_id = \"month\", value = \"temp\"", "constants.name = \"soil temperature\""))
            .balance(84, 0).sum("value", -1141.0)
            .row(2, &[("strip_id", "0.25"), ("sample_id", "1"), ("value", "-84.0")])
            .row(85, &[("strip_id", "6"), ("sample_id", "12"), ("value", "-20.0")]),
        // Its temperatures are in tenths. Taken for degrees Fahrenheit 35 of them, and the 24 depths of 4 m and 6 m, are no
        // soil note; nine rows are both.
        reading("agridat.lambert.soiltemp.csv", block("*lambert*", "soil_note",
            "depth_m = \"depth\", soil_temp_f = \"temp\"", ""))
            .balance(34, 50).set_aside(2, "out_of_range", "found \"-84\", expected -22 to 158 °F")
            .set_aside(85, "out_of_range", "found \"6\", expected 0 to 3 m"),
    ]
}

#[test]
fn every_file_of_weather_and_soil_is_read_through_blocks_alone() {
    check_all(FOLDER, &readings());
}

/// Sums of degree days of May 2020, by the definitions that stand beside them.
#[test]
fn degree_days_of_the_kept_days_are_the_expected_ones() {
    let Some((folder, json)) = shared(FOLDER).zip(shared("data/expected_public.json")) else { return };
    let json: serde_json::Value = serde_json::from_slice(&std::fs::read(json).unwrap()).unwrap();
    let expected = &json["weather_soil/uscrn_daily_2020_*"]["recomputed GDD 1-31 May 2020"];
    for (number, file) in [("54902", "uscrn_daily_2020_IA_54902.csv"), ("94995", "uscrn_daily_2020_NE_94995.csv")] {
        let rows = kept_rows(&station(file).run(&folder).1);
        let may: Vec<&Row> = rows.iter().filter(|row| row["date"].starts_with("2020-05")).collect();
        assert_eq!(may.len(), 31);
        let sum = |degree_days: &dyn Fn(f64, f64) -> f64| -> f64 {
            may.iter().map(|row| degree_days(row["tmax_c"].parse().unwrap(), row["tmin_c"].parse().unwrap())).sum()
        };
        let fahrenheit = |celsius: f64| celsius * 9.0 / 5.0 + 32.0;
        let average = sum(&|high, low| ((high + low) / 2.0 - 10.0).max(0.0));
        let clamped = sum(&|high, low| (high.clamp(10.0, 30.0) + low.clamp(10.0, 30.0)) / 2.0 - 10.0);
        let in_fahrenheit =
            sum(&|high, low| (fahrenheit(high).clamp(50.0, 86.0) + fahrenheit(low).clamp(50.0, 86.0)) / 2.0 - 50.0);
        let found = [("base10_avg", average), ("clamped_10_30C", clamped), ("clamped_50_86F", in_fahrenheit)];
        for (name, sum) in found {
            let expected = expected[number][name].as_f64().unwrap();
            assert!((sum - expected).abs() < 0.006, "{number} {name}: {sum}, expected {expected}");
        }
    }
}

#[test]
fn every_texture_keeps_its_sand_silt_and_clay() {
    let Some(folder) = shared(FOLDER) else { return };
    let reading = textures();
    let mut kept = kept_rows(&reading.run(&folder).1);
    kept.sort_by_key(|row| row["source_row"].parse::<i64>().unwrap());
    let text = std::fs::read_to_string(folder.join(reading.file)).unwrap();
    let lines: Vec<Vec<&str>> = text.lines().skip(1).map(|line| line.split(',').collect()).collect();
    assert_eq!((lines.len(), kept.len()), (5151, 5151));
    for (line, row) in lines.iter().zip(&kept) {
        for (cell, column) in line.iter().zip(["sand_frac", "silt_frac", "clay_frac"]) {
            let (percent, share): (f64, f64) = (cell.parse().unwrap(), row[column].parse().unwrap());
            assert!((percent / 100.0 - share).abs() < 1e-12, "{line:?} {column} {share}");
        }
        assert_eq!(line[3].trim_matches('"'), row["note"]);
    }
}
