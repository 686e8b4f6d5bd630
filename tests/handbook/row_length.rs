//! Row lengths and populations as extension handbooks print them.

use evenstand_agronomy::{
    FeetInches, Kind, SQUARE_METRES_PER_ACRE, hoop_population_per_m2, population_per_m2, row_length_thousandth_acre_m,
    row_length_thousandth_hectare_m, seeds_sown, theoretical_spacing_m,
};

use crate::shared::{near, number, relatively_near, shared_table};

const INCH: f64 = 0.0254;
const FOOT: f64 = 0.3048;

#[test]
fn a_thousandth_acre_of_row_is_as_long_as_handbooks_print_it() {
    // Tennessee extension 2011 (15, 20, 30, 36, 38 in) and Wisconsin extension (10, 19, 40 in), to the nearest inch.
    let printed = [
        (10.0, 52, 3),
        (15.0, 34, 10),
        (19.0, 27, 6),
        (20.0, 26, 2),
        (30.0, 17, 5),
        (36.0, 14, 6),
        (38.0, 13, 9),
        (40.0, 13, 1),
    ];
    for (width, feet, inches) in printed {
        let length = row_length_thousandth_acre_m(width * INCH).expect("a row spacing");
        assert_eq!(FeetInches::from_metres(length), Some(FeetInches { feet, inches }), "{width} in");
    }
    // Nebraska extension 2009, to a tenth of a foot.
    let length = row_length_thousandth_acre_m(28.0 * INCH).expect("a row spacing");
    near("28 in", Some(length / FOOT), 18.7, 0.05);
}

#[test]
fn a_thousandth_acre_of_row_follows_its_formula_exactly() {
    // length (ft) = 522.72 / width (in), from 43 560 square feet an acre.
    for width in [6.0, 7.5, 15.0, 20.0, 22.0, 30.0, 36.0, 40.0] {
        let length = row_length_thousandth_acre_m(width * INCH).map(|length| length / FOOT);
        relatively_near("length", length, 522.72 / width, 1e-14);
    }
}

#[test]
fn a_thousandth_hectare_of_row_is_ten_metres_over_the_width() {
    // 10 / width (m), printed to a tenth of a millimetre.
    let printed = [(0.175, 57.1429), (0.25, 40.0), (0.375, 26.6667), (0.5, 20.0), (0.75, 13.3333), (0.762, 13.1234)];
    for (width, length) in printed {
        near("length", row_length_thousandth_hectare_m(width), length, 5e-5);
    }
}

#[test]
fn both_tables_agree_at_every_width() {
    if let Some((_, rows)) = shared_table("reference/row_length_thousandth_acre.csv") {
        for row in &rows {
            let length = row_length_thousandth_acre_m(number(row, 0) * INCH).expect("a row spacing");
            near(&row[0], Some(length / FOOT), number(row, 2), 5.001e-5);
            near(&row[0], Some(length), number(row, 4), 5.001e-5);
            assert_eq!(FeetInches::from_metres(length).expect("a length").to_string(), row[3]);
        }
    }
    if let Some((_, rows)) = shared_table("reference/row_length_thousandth_hectare.csv") {
        for row in &rows {
            near(&row[0], row_length_thousandth_hectare_m(number(row, 0) / 100.0), number(row, 1), 5.001e-5);
        }
    }
}

#[test]
fn a_measuring_wheel_gives_the_population() {
    // Western Dakota agronomy page: 150 plants over 94 ft of 30 in rows are 27,804 plants an acre.
    let population = population_per_m2(150.0, 94.0 * FOOT, 30.0 * INCH).expect("a count");
    near("plants an acre", Kind::Population.from_kept("per_ac", population), 27_804.0, 0.5);
    relatively_near("formula", Some(population * SQUARE_METRES_PER_ACRE), 150.0 * 522_720.0 / 30.0 / 94.0, 1e-14);
}

#[test]
fn a_hoop_gives_the_population() {
    // Trade practice takes a hoop of 28.25 in as 10,000 plants an acre a plant; its formula gives 10,007.
    let population = hoop_population_per_m2(1.0, 28.25 * INCH).expect("a hoop");
    near("plants an acre", Kind::Population.from_kept("per_ac", population), 10_007.0, 0.5);
}

#[test]
fn the_intended_spacing_follows_from_population_and_row_spacing() {
    // Spacing (in) = 6,272,640 / (plants an acre × width in inches): 34,000 and 32,000 at 30 in.
    for (population, inches, half_digit) in [(34_000.0, 6.1496, 5e-5), (32_000.0, 6.534, 5e-13)] {
        let kept = Kind::Population.to_kept("per_ac", population).expect("a population");
        let spacing = theoretical_spacing_m(kept, 30.0 * INCH).map(|spacing| spacing / INCH);
        near("spacing", spacing, inches, half_digit);
    }
}

#[test]
fn a_thousandth_acre_is_sown_with_a_thousandth_of_the_rate() {
    let rate = Kind::Population.to_kept("per_ac", 34_000.0).expect("a population");
    let length = row_length_thousandth_acre_m(30.0 * INCH).expect("a row spacing");
    relatively_near("seeds", seeds_sown(rate, length, 30.0 * INCH), 34.0, 1e-14);
}
