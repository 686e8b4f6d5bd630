//! The worked example of the R package germinationmetrics (repository aravind-j/germinationmetrics, vignette
//! "Introduction"), its batch of fifteen samples, and cases made up to be awkward.

use evenstand_agronomy::{Course, Crossing, on_time_count, pool};

use crate::shared::{near, number, relatively_near, shared_table};

/// Newly germinated on days 1 to 14, from the vignette's first example; 50 seeds.
const NEW_A_DAY: [f64; 14] = [0.0, 0.0, 0.0, 0.0, 4.0, 17.0, 10.0, 7.0, 1.0, 0.0, 1.0, 0.0, 0.0, 0.0];
const SEEDS: f64 = 50.0;

fn course_of_new(times: &[f64], new: &[f64]) -> Course {
    let mut sum = 0.0;
    let cumulative = new
        .iter()
        .map(|plants| {
            sum += plants;
            sum
        })
        .collect();
    Course::new(times.to_vec(), cumulative).expect("a valid course")
}

fn days(count: usize) -> Vec<f64> {
    (1..=count).map(|day| day as f64).collect()
}

fn worked_example() -> Course {
    course_of_new(&days(14), &NEW_A_DAY)
}

#[test]
fn the_worked_example_agrees_with_the_vignette_to_every_printed_digit() {
    let course = worked_example();
    // Printed to seven significant digits: half of the seventh.
    let printed = [
        ("final emergence", Some(100.0 * course.final_count() / SEEDS), 80.0, 1e-12),
        ("mean time", course.mean_time(), 6.7, 1e-12),
        ("variance", course.variance_of_time(), 1.446_154, 5e-7),
        ("standard error", course.standard_error_of_mean_time(), 0.190_141_6, 5e-8),
        ("cv of time", course.cv_of_time(), 0.179_486_8, 5e-8),
        ("t50 Coolbear", course.t50_coolbear().time(), 5.970_588, 5e-7),
        ("t50 Farooq", course.t50_farooq().time(), 5.941_176, 5e-7),
        ("mean rate", course.mean_rate(), 0.149_253_7, 5e-8),
        ("coefficient of velocity", course.coefficient_of_velocity(), 14.925_37, 5e-6),
        ("Maguire speed", course.maguire_speed(), 6.138_925, 5e-7),
        ("Maguire speed, %", course.maguire_speed().map(|speed| 100.0 * speed / SEEDS), 12.277_85, 5e-6),
        ("Bilbro-Wanjura", course.bilbro_wanjura_index(), 5.970_149, 5e-7),
        ("uniformity", course.heydecker_uniformity(), 0.709_219_9, 5e-8),
        ("synchrony", course.synchrony(), 0.266_666_7, 5e-8),
        ("uncertainty", course.uncertainty(), 2.062_987, 5e-7),
    ];
    for (what, found, expected, tolerance) in printed {
        near(what, found, expected, tolerance);
    }
}

#[test]
fn the_worked_example_has_the_exact_values_of_its_formulas() {
    let course = worked_example();
    // Fractions of whole numbers, worked out from the counts: N = 40, Σ N T = 268, Σ N (T − mean)² = 56.4.
    let exact = [
        ("mean time", course.mean_time(), 268.0 / 40.0),
        ("variance", course.variance_of_time(), 56.4 / 39.0),
        ("t50 Coolbear", course.t50_coolbear().time(), 5.0 + 16.5 / 17.0),
        ("t50 Farooq", course.t50_farooq().time(), 5.0 + 16.0 / 17.0),
        ("t90", course.time_to_share(0.9).time(), 7.0 + 5.0 / 7.0),
        ("coefficient of velocity", course.coefficient_of_velocity(), 4000.0 / 268.0),
        ("uniformity", course.heydecker_uniformity(), 40.0 / 56.4),
        ("synchrony", course.synchrony(), (6.0 + 136.0 + 45.0 + 21.0) / 780.0),
    ];
    for (what, found, expected) in exact {
        relatively_near(what, found, expected, 1e-14);
    }
}

#[test]
fn a_tenth_of_the_worked_example_was_up_exactly_on_day_five() {
    // Four of forty on day 5: the closed rule answers 5, where an open one would answer 4.38.
    let course = worked_example();
    assert_eq!(course.time_to_share(0.1), Crossing::At(5.0));
    let spread = course.time_to_share(0.9).time().expect("reached") - 5.0;
    near("spread", Some(spread), 19.0 / 7.0, 1e-14);
}

#[test]
fn the_open_rule_of_the_package_is_not_followed_where_a_count_hits_the_target() {
    // Fourth sample of the batch as the documentation tells it: 46 emerged, target 23 reached exactly on day 6, documented
    // T50 6.225806 because the rule passes over that visit. 4 up on day 5 and 35 on day 7 are the counts around it.
    let course = Course::new(vec![5.0, 6.0, 7.0, 8.0], vec![4.0, 23.0, 35.0, 46.0]).expect("a valid course");
    assert_eq!(course.t50_farooq(), Crossing::At(6.0));
    near("the documented value", Some(5.0 + (23.0 - 4.0) / (35.0 - 4.0) * 2.0), 6.225_806, 5e-7);
}

#[test]
fn awkward_cases_have_the_value_of_their_formula_or_none() {
    // Made up for this purpose; expected values worked out from the formulas.
    let together = course_of_new(&days(4), &[0.0, 0.0, 40.0, 0.0]);
    assert_eq!(together.mean_time(), Some(3.0));
    assert_eq!(together.variance_of_time(), Some(0.0));
    assert_eq!(together.cv_of_time(), Some(0.0));
    assert_eq!(together.synchrony(), Some(1.0));
    assert_eq!(together.uncertainty(), Some(0.0));
    assert_eq!(together.heydecker_uniformity(), None);

    let one_plant = course_of_new(&days(4), &[0.0, 1.0, 0.0, 0.0]);
    assert_eq!(one_plant.mean_time(), Some(2.0));
    assert_eq!(one_plant.variance_of_time(), None);
    assert_eq!(one_plant.synchrony(), None);
    assert_eq!(one_plant.uncertainty(), Some(0.0));
    assert_eq!(one_plant.t50_coolbear(), Crossing::At(2.0));

    let none = course_of_new(&days(4), &[0.0; 4]);
    assert_eq!(none.final_count(), 0.0);
    assert_eq!(none.mean_time(), None);
    assert_eq!(none.variance_of_time(), None);
    assert_eq!(none.synchrony(), None);
    assert_eq!(none.uncertainty(), None);
    assert_eq!(none.maguire_speed(), None);
    assert_eq!(none.t50_coolbear(), Crossing::Never);
    assert_eq!(none.time_to_share(0.1), Crossing::Never);

    let even = course_of_new(&days(4), &[10.0; 4]);
    near("mean time", even.mean_time(), 2.5, 1e-15);
    near("variance", even.variance_of_time(), 50.0 / 39.0, 1e-14);
    near("synchrony", even.synchrony(), 180.0 / 780.0, 1e-15);
    near("uncertainty", even.uncertainty(), 2.0, 1e-15);
    assert_eq!(even.time_to_share(0.1), Crossing::BeforeFirstInspection);

    let uneven_visits = course_of_new(&[8.0, 10.0, 11.0, 14.0], &[0.0, 12.0, 20.0, 8.0]);
    near("mean time", uneven_visits.mean_time(), 11.3, 1e-14);
    near("variance", uneven_visits.variance_of_time(), 2.061_538_461_54, 5e-12);
    near("synchrony", uneven_visits.synchrony(), 0.364_102_564_103, 5e-13);
    near("speed", uneven_visits.maguire_speed(), 3.589_610_389_61, 5e-12);
}

#[test]
fn two_samples_that_came_up_alike_have_the_times_of_one() {
    let one = worked_example();
    let two = pool(&[one.clone(), one.clone()]).expect("two samples");
    assert_eq!(two.final_count(), 80.0);
    for share in [0.1, 0.5, 0.9] {
        assert_eq!(two.time_to_share(share), one.time_to_share(share), "{share}");
    }
    let on_time = on_time_count(&one, 2.0).expect("T10 is known");
    assert_eq!((on_time.t10, on_time.plants, on_time.ended_early), (5.0, 31.0, false));
    let twice = on_time_count(&two, 2.0).expect("T10 is known");
    assert_eq!(twice.plants, 62.0);
}

/// Counts of the fifteen samples, by genotype and replicate. Only read: the data set is under the GPL.
fn batch() -> Option<Vec<(String, Course)>> {
    let (_, rows) = shared_table("reference/germ_batch_counts.csv")?;
    let courses = rows.iter().map(|row| {
        let new: Vec<f64> = (2..16).map(|column| number(row, column)).collect();
        (format!("{} {}", &row[0], &row[1]), course_of_new(&days(14), &new))
    });
    Some(courses.collect())
}

#[test]
fn the_batch_agrees_sample_by_sample() {
    // germinationmetrics, example data set and documented output; recomputed to ten significant digits.
    let (Some(batch), Some((header, expected))) = (batch(), shared_table("reference/germ_batch_expected.csv")) else {
        return;
    };
    // The package's open rule where a count hits the target, and the closed rule here.
    let ties = ["G3 1 t50_coolbear", "G4 1 t50_farooq", "G4 2 t50_coolbear", "G5 3 t50_farooq"];
    let (mut compared, mut tied) = (0, 0);
    for ((sample, course), row) in batch.iter().zip(&expected) {
        assert_eq!(*sample, format!("{} {}", &row[0], &row[1]));
        let seeds = number(row, 2);
        for (column, name) in header.iter().enumerate().skip(3) {
            let found = match name {
                "fep" => Some(100.0 * course.final_count() / seeds),
                "t50_coolbear" => course.t50_coolbear().time(),
                "t50_farooq" => course.t50_farooq().time(),
                "mgt" => course.mean_time(),
                "var_t" => course.variance_of_time(),
                "se_t" => course.standard_error_of_mean_time(),
                "cv_t" => course.cv_of_time(),
                "cvg" => course.coefficient_of_velocity(),
                "speed" => course.maguire_speed(),
                "cug" => course.heydecker_uniformity(),
                "z" => course.synchrony(),
                "u" => course.uncertainty(),
                "eri_bilbro" => course.bilbro_wanjura_index(),
                other => panic!("unknown column {other}"),
            };
            let what = format!("{sample} {name}");
            if ties.contains(&what.as_str()) {
                assert_eq!(found, Some(6.0), "{what}");
                tied += 1;
            } else {
                relatively_near(&what, found, number(row, column), 1e-9);
            }
            compared += 1;
        }
    }
    assert_eq!((compared, tied), (15 * 13, 4));
}

#[test]
fn the_four_tie_cases_follow_the_closed_rule() {
    let (Some(batch), Some((_, cases))) = (batch(), shared_table("reference/germ_t50_tie_cases.csv")) else {
        return;
    };
    assert_eq!(cases.len(), 4);
    for case in &cases {
        let sample = format!("{} {}", &case[0], &case[1]);
        let (_, course) = batch.iter().find(|(name, _)| *name == sample).expect("a sample of the batch");
        assert_eq!(course.final_count(), number(case, 3), "{sample}");
        let found = match &case[2] {
            "t50_coolbear" => course.t50_coolbear(),
            "t50_farooq" => course.t50_farooq(),
            other => panic!("unknown metric {other}"),
        };
        assert_eq!(found, Crossing::At(number(case, 5)), "{sample}");
        assert_eq!(found, course.time_to(number(case, 4)), "{sample}");
    }
}
