//! Points of the texture triangle: the inequalities of Benham, Ahrens & Nettleton 2009 (USDA-NRCS), example triples of the
//! R package soiltexture, and the class table of the R package aqp.

use std::collections::BTreeMap;

use evenstand_agronomy::TextureClass;

use crate::shared::{number, shared_table};

fn class_name(sand: f64, silt: f64, clay: f64) -> &'static str {
    TextureClass::from_percent(sand, silt, clay).expect("shares that add up").name()
}

#[test]
fn points_inside_the_classes_get_them() {
    // Two a class, where the inequalities and the polygons of the R package soiltexture agree; the last five are among
    // that package's own example triples.
    let points = [
        (92.0, 5.0, 3.0, "sand"),
        (88.0, 8.0, 4.0, "sand"),
        (82.0, 12.0, 6.0, "loamy sand"),
        (86.0, 6.0, 8.0, "loamy sand"),
        (65.0, 25.0, 10.0, "sandy loam"),
        (55.0, 40.0, 5.0, "sandy loam"),
        (42.0, 40.0, 18.0, "loam"),
        (40.0, 38.0, 22.0, "loam"),
        (20.0, 65.0, 15.0, "silt loam"),
        (30.0, 64.0, 6.0, "silt loam"),
        (5.0, 88.0, 7.0, "silt"),
        (10.0, 84.0, 6.0, "silt"),
        (60.0, 15.0, 25.0, "sandy clay loam"),
        (55.0, 17.0, 28.0, "sandy clay loam"),
        (32.0, 34.0, 34.0, "clay loam"),
        (25.0, 43.0, 32.0, "clay loam"),
        (10.0, 56.0, 34.0, "silty clay loam"),
        (5.0, 62.0, 33.0, "silty clay loam"),
        (52.0, 7.0, 41.0, "sandy clay"),
        (56.0, 5.0, 39.0, "sandy clay"),
        (6.0, 47.0, 47.0, "silty clay"),
        (3.0, 50.0, 47.0, "silty clay"),
        (20.0, 20.0, 60.0, "clay"),
        (10.0, 30.0, 60.0, "clay"),
        (32.0, 8.0, 60.0, "clay"),
        (70.0, 15.0, 15.0, "sandy loam"),
        (20.0, 55.0, 25.0, "silt loam"),
        (10.0, 85.0, 5.0, "silt"),
        (10.0, 43.0, 47.0, "silty clay"),
    ];
    for (sand, silt, clay, expected) in points {
        assert_eq!(class_name(sand, silt, clay), expected, "{sand}/{silt}/{clay}");
    }
}

#[test]
fn points_on_a_class_line_follow_the_inequalities() {
    let points = [
        (85.0, 15.0, 0.0, "loamy sand"),
        (90.0, 0.0, 10.0, "loamy sand"),
        (70.0, 30.0, 0.0, "sandy loam"),
        (85.0, 0.0, 15.0, "sandy loam"),
        (52.0, 41.0, 7.0, "loam"),
        (52.0, 21.0, 27.0, "sandy clay loam"),
        (45.0, 28.0, 27.0, "clay loam"),
        (20.0, 53.0, 27.0, "silty clay loam"),
        (50.0, 50.0, 0.0, "silt loam"),
        (20.0, 80.0, 0.0, "silt"),
        (8.0, 80.0, 12.0, "silt loam"),
        (45.0, 20.0, 35.0, "clay loam"),
        (45.0, 15.0, 40.0, "clay"),
        (20.0, 40.0, 40.0, "silty clay"),
        (45.0, 0.0, 55.0, "clay"),
        (65.0, 0.0, 35.0, "sandy clay"),
        (80.0, 0.0, 20.0, "sandy clay loam"),
    ];
    for (sand, silt, clay, expected) in points {
        assert_eq!(class_name(sand, silt, clay), expected, "{sand}/{silt}/{clay}");
    }
}

#[test]
fn every_whole_percent_triple_gets_a_class_and_every_class_gets_some() {
    let mut triples_of: BTreeMap<TextureClass, usize> = BTreeMap::new();
    for sand in 0..=100_i32 {
        for clay in 0..=(100 - sand) {
            let silt = 100 - sand - clay;
            let class = TextureClass::from_percent(f64::from(sand), f64::from(silt), f64::from(clay))
                .expect("whole shares that add up");
            *triples_of.entry(class).or_default() += 1;
        }
    }
    assert_eq!(triples_of.values().sum::<usize>(), 5151);
    assert_eq!(triples_of.len(), 12);
}

#[test]
fn all_test_and_boundary_points_agree() {
    for (file, count) in [("reference/texture_test_points.csv", 50), ("reference/texture_boundary_points.csv", 21)] {
        let Some((_, rows)) = shared_table(file) else {
            return;
        };
        assert_eq!(rows.len(), count);
        for row in &rows {
            assert_eq!(class_name(number(row, 0), number(row, 1), number(row, 2)), &row[3], "{row:?}");
        }
    }
}

#[test]
fn where_polygons_differ_the_inequalities_are_followed() {
    // Points strictly inside a polygon of the R package soiltexture, whose lines stand half a per cent higher.
    let Some((_, rows)) = shared_table("reference/texture_rule_vs_polygon_differences.csv") else {
        return;
    };
    assert_eq!(rows.len(), 60);
    for row in &rows {
        let found = class_name(number(row, 0), number(row, 1), number(row, 2));
        assert_eq!(found, &row[3], "{row:?}");
        assert_ne!(found, &row[4], "{row:?}");
    }
}

#[test]
fn the_class_table_of_another_package_agrees_everywhere() {
    // R package aqp, data set soiltexture$values: a class for every whole-percent triple, by abbreviation.
    let Some((_, rows)) = shared_table("data/weather_soil/aqp.soiltexture.values.csv") else {
        return;
    };
    assert_eq!(rows.len(), 5151);
    let differing: Vec<String> = rows
        .iter()
        .filter(|row| {
            let found = TextureClass::from_percent(number(row, 0), number(row, 1), number(row, 2)).expect("adds up");
            TextureClass::parse(&row[3]) != Some(found)
        })
        .map(|row| format!("{}/{}/{} {}", &row[0], &row[1], &row[2], &row[3]))
        .collect();
    assert!(differing.is_empty(), "{} triples differ: {:?}", differing.len(), &differing[..differing.len().min(40)]);
}
