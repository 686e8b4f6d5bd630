//! Does the advised trial do what is said of it? Reviews that grow by the trial that was considered.

use crate::scenarios::large;
use crate::season;
use crate::world::{Condition, Curve, FORCES};
use evenstand_model::{Answers, Questions, analyse};
use evenstand_settings::Settings;
use evenstand_tables::rows::{NextTrialRow, StripRow};

/// Reviews of one condition.
#[derive(Debug, Clone, Copy)]
struct Season {
    seed: u64,
    fields: usize,
    curve: Curve,
    /// Standard deviation of fields' own best, in scaled force.
    own: f64,
}

impl Season {
    fn strips(&self) -> Vec<StripRow> {
        let condition = Condition { own_best: self.own, level: 1.6, ..large(self.curve, self.fields) };
        season::strips(&crate::review(condition, 100.0), self.seed)
    }
}

fn answers(strips: &[StripRow], settings: &str) -> Answers {
    let settings = Settings::parse(settings).unwrap();
    analyse(&Questions { strips, measures: &[], digs: &[], settings: &settings })
}

fn rows(season: &Season) -> Vec<NextTrialRow> {
    answers(&season.strips(), "default_force_n = 100\ndraws = 1000\n").next_trials
}

fn advised(rows: &[NextTrialRow]) -> &NextTrialRow {
    let mut advised = rows.iter().filter(|row| row.advised == Some(true));
    let first = advised.next().unwrap();
    assert!(advised.next().is_none(), "one row of a group is advised");
    first
}

fn design(row: &NextTrialRow) -> (i64, i64, i64) {
    (row.n_levels.unwrap(), row.n_blocks.unwrap(), row.n_fields.unwrap())
}

/// Reviews of one, two and five field-seasons.
fn seasons() -> Vec<Season> {
    let inside = Curve::parabola(0.3, 1.0);
    let truths = [(inside, 0.1), (inside, 0.4), (Curve::Line { slope: 0.4 }, 0.0), (Curve::Flat, 0.0)];
    truths.into_iter().flat_map(|(curve, own)| [1, 2, 5].map(|fields| Season { seed: 3, fields, curve, own })).collect()
}

#[test]
fn no_trial_is_said_to_do_harm_beyond_the_error_of_simulating_and_one_of_each_group_is_advised() {
    for season in seasons() {
        let rows = rows(&season);
        let chosen = advised(&rows);
        println!("{:?}, {} fields: {}", season.curve, season.fields, chosen.reason.as_deref().unwrap());
        for row in rows.iter().filter(|row| row.n_fields != Some(0)) {
            let (reduction, error) = (row.reduction.unwrap(), row.monte_carlo_error.unwrap());
            assert!(reduction >= -3.0 * error, "{:?}: {reduction}, {error}", design(row));
            let parts = row.expected_loss_now.unwrap() - row.expected_loss_after.unwrap();
            assert!((parts - reduction).abs() < 1e-9, "{:?}", design(row));
            assert!((0.0..=1.0).contains(&row.prob_near_best_after.unwrap()));
        }
        if chosen.n_fields != Some(0) {
            assert_eq!(rows.len(), 48);
            let largest = rows.iter().map(|row| row.reduction.unwrap()).fold(f64::NEG_INFINITY, f64::max);
            let enough = |row: &&NextTrialRow| row.reduction.unwrap() >= 0.8 * largest;
            assert_eq!(rows.iter().filter(enough).map(|row| row.strips).min().unwrap(), chosen.strips);
            assert!(enough(&chosen));
        }
    }
}

#[test]
fn fewer_than_three_field_seasons_after_a_trial_are_never_said_to_settle_an_answer() {
    let rows = rows(&Season { seed: 4, fields: 1, curve: Curve::parabola(0.3, 0.6), own: 0.1 });
    assert!(rows.len() > 1);
    for row in &rows {
        let settled = row.prob_four_in_five_after.unwrap();
        assert!(row.n_fields >= Some(2) || settled == 0.0, "{:?}", design(row));
    }
    assert!(rows.iter().any(|row| row.prob_four_in_five_after > Some(0.0)));
}

#[test]
fn the_same_strips_give_the_same_rows_to_the_last_bit() {
    let season = Season { seed: 5, fields: 2, curve: Curve::Line { slope: 0.3 }, own: 0.0 };
    assert_eq!(rows(&season), rows(&season));
}

#[test]
fn a_group_that_nothing_can_be_worked_out_for_gets_the_plain_trial_and_the_reason() {
    let season = Season { seed: 6, fields: 2, curve: Curve::Flat, own: 0.0 };
    let all = season.strips();
    let one_setting: Vec<StripRow> = all.iter().filter(|strip| strip.force_n == Some(FORCES[2])).cloned().collect();
    let one_block: Vec<StripRow> =
        all.iter().filter(|strip| strip.field_id == all[0].field_id && strip.block == all[0].block).cloned().collect();
    for (strips, missing) in [(one_setting, "one setting only"), (one_block, "stands in one strip only")] {
        let rows = answers(&strips, "default_force_n = 100\n").next_trials;
        assert_eq!(rows.len(), 1);
        let row = advised(&rows);
        assert_eq!((design(row), row.strips), ((5, 4, 3), Some(60)));
        assert_eq!((row.low_n, row.high_n, row.reduction), (Some(50.0), Some(150.0), None));
        assert!(row.reason.as_deref().unwrap().contains(missing), "{:?}", row.reason);
    }
}

#[test]
fn a_trial_goes_beyond_the_end_that_is_best_so_far_only_where_the_knob_does() {
    let season = Season { seed: 7, fields: 1, curve: Curve::Line { slope: 0.5 }, own: 0.0 };
    let mut strips = season.strips();
    strips.iter_mut().for_each(|strip| strip.planter_id = Some("north".into()));
    let rows_to = |max_kpa: u32| {
        let settings = format!(
            "draws = 1000\n[[planter]]\nid = \"north\"\ncloser = \"discs_and_press_wheel\"\n[planter.closing]\nkind = \"pressure\"\nmin_kpa = 0\nmax_kpa = {max_kpa}\nstep_kpa = 10\ndefault_kpa = 100\nforce_n = [[0, 0], [100, 100]]\n"
        );
        answers(&strips, &settings).next_trials
    };
    let (inside, beyond) = (rows_to(300), rows_to(600));
    assert_eq!(advised(&inside).high_n, Some(300.0));
    assert!((advised(&beyond).high_n.unwrap() - 355.0).abs() < 1e-6, "{:?}", advised(&beyond));
    // What nobody has tried is not valued: the loss is the same, and the reason says what is not known.
    assert_eq!(advised(&inside).expected_loss_now, advised(&beyond).expected_loss_now);
    assert!(inside.iter().all(|row| row.step_half_width.is_none()));
    assert!(advised(&beyond).reason.as_deref().unwrap().contains("nobody knows what lies beyond"));
    // More blocks and more fields tell the step better, and the advised trial nearly as well as the largest with as many settings, or to two points.
    let told = |wanted| beyond.iter().find(|row| design(row) == wanted).unwrap().step_half_width.unwrap();
    let (levels, blocks, fields) = design(advised(&beyond));
    assert!(told((levels, 2, 1)) > told((levels, 6, 1)) && told((levels, 6, 1)) > told((levels, 6, 3)));
    assert!(told((levels, blocks, fields)) <= f64::max(0.02, 1.25 * told((levels, 6, 3))));
}

/// Forecasts against what reviews of five field-seasons truly come to. The truths spread as the model's prior has it: a
/// field's own best lies |z| times 0.35 of half the range away, z standard normal.
#[test]
fn the_loss_forecast_is_that_of_the_reviews_that_had_the_trial() {
    const REVIEWS: u64 = 60;
    const OWN: [f64; 5] = [0.044, 0.135, 0.236, 0.363, 0.576];
    for before in [1, 2, 3] {
        let (mut now, mut after, mut true_now, mut true_after) = (0.0, 0.0, 0.0, 0.0);
        for seed in 0..REVIEWS {
            let (best, own) = (0.2 * (seed % 4) as f64 - 0.3, OWN[(seed % 5) as usize]);
            let curve = Curve::parabola(best, 0.8);
            let with = |fields| answers(&Season { seed, fields, curve, own }.strips(), "draws = 400\n");
            let share = |force: f64| {
                let s = (force - 190.0) / 110.0;
                1.0 / (1.0 + (-(1.6 - 0.8 * (s - best).powi(2))).exp())
            };
            let truth = |answers: &Answers| {
                let row = answers.starting_points.iter().find(|row| row.primary == Some(true)).unwrap();
                (share(190.0 + 110.0 * best) - share(row.best_n.unwrap())) / REVIEWS as f64
            };
            let review = with(before);
            let more = (5 - before).min(3);
            let wanted = (5, 4, more as i64);
            let rows = &review.next_trials;
            let row = rows.iter().find(|row| design(row) == wanted).unwrap_or(&rows[0]);
            now += row.expected_loss_now.unwrap() / REVIEWS as f64;
            after += row.expected_loss_after.unwrap() / REVIEWS as f64;
            true_now += truth(&review);
            true_after += truth(&with(before + more));
        }
        println!(
            "{before} field-seasons: forecast {now:.4}, then {after:.4}; true {true_now:.4}, then {true_after:.4}"
        );
        assert!(after < now && true_after < true_now);
        // With so few fields the prior of their spread is wide: forecasts err on the side of too much loss.
        assert!(now > 0.5 * true_now && now < 5.0 * true_now, "{now} for {true_now}");
    }
}
