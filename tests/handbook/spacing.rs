//! Twenty-five spacings, made up for this purpose with exact ties at 0.5 and 1.5 times the theoretical 20 cm, and the
//! indices by the definitions of Kachman & Smith 1995 and, from memory, the counting form of ISO 7256-1.

use evenstand_agronomy::{
    Kind, PRECISION_UPPER_LIMIT, SpacingClasses, consecutive_spacings, spacing_cv, spacing_standard_deviation,
};

use crate::shared::{near, relatively_near};

const SPACINGS_CM: [f64; 25] = [
    19.0, 21.0, 20.0, 18.0, 22.0, 10.0, 10.5, 30.0, 30.5, 4.0, 36.0, 41.0, 20.0, 19.5, 61.0, 20.5, 2.0, 38.0, 70.5,
    20.0, 21.5, 18.5, 75.0, 20.0, 19.0,
];
const THEORETICAL_CM: f64 = 20.0;

#[test]
fn the_example_falls_into_its_classes_and_shares() {
    let classes = SpacingClasses::of(&SPACINGS_CM, THEORETICAL_CM).expect("usable spacings");
    let counts = [classes.multiples, classes.singles, classes.one_skip, classes.two_skips, classes.more_skips];
    assert_eq!(counts, [3, 15, 4, 1, 2]);
    assert_eq!(classes.multiple_share(), Some(0.12));
    assert_eq!(classes.quality_share(), Some(0.6));
    assert_eq!(classes.miss_share(), Some(0.28));
    let form = classes.counting_form().expect("places were covered");
    assert_eq!(form.places, 34);
    near("multiples", Some(form.multiple_share), 3.0 / 34.0, 1e-15);
    near("quality of feed", Some(form.quality_share), 19.0 / 34.0, 1e-15);
    near("miss", Some(form.miss_share), 12.0 / 34.0, 1e-15);
}

#[test]
fn the_example_has_its_precision_and_variation() {
    let classes = SpacingClasses::of(&SPACINGS_CM, THEORETICAL_CM).expect("usable spacings");
    relatively_near("precision", classes.precision(), 0.191_904_614_202_944_47, 1e-14);
    relatively_near("over the mean", classes.precision_over_mean(), 0.192_224_989_184_919_33, 1e-14);
    relatively_near("deviation", spacing_standard_deviation(&SPACINGS_CM), 18.429_482_720_177_834, 1e-14);
    relatively_near("cv", spacing_cv(&SPACINGS_CM), 0.690_242_798_508_533_2, 1e-14);
    relatively_near("upper limit", Some(PRECISION_UPPER_LIMIT), 0.288_675_134_594_812_9, 1e-15);
}

#[test]
fn the_example_read_from_a_tape_in_any_unit_gives_the_same_classes() {
    let expected = SpacingClasses::of(&SPACINGS_CM, THEORETICAL_CM).expect("usable spacings");
    for suffix in Kind::Length.suffixes() {
        // Positions as a person writes them down in that unit, then converted as a file is.
        let theoretical = Kind::Length.to_kept("cm", THEORETICAL_CM).expect("a length");
        let mut position_cm = 250.0;
        let mut positions = vec![position_cm];
        for spacing in SPACINGS_CM {
            position_cm += spacing;
            positions.push(position_cm);
        }
        let kept: Vec<f64> = positions
            .iter()
            .map(|&cm| {
                let metres = Kind::Length.to_kept("cm", cm).expect("a length");
                let written = Kind::Length.from_kept(suffix, metres).expect("a length");
                Kind::Length.to_kept(suffix, written).expect("a length")
            })
            .collect();
        let spacings = consecutive_spacings(&kept).expect("finite positions");
        let found = SpacingClasses::of(&spacings, theoretical).expect("usable spacings");
        let counts = |classes: &SpacingClasses| {
            [classes.multiples, classes.singles, classes.one_skip, classes.two_skips, classes.more_skips]
        };
        assert_eq!(counts(&found), counts(&expected), "{suffix}");
        relatively_near(suffix, found.precision(), expected.precision().expect("singles"), 1e-12);
    }
}
