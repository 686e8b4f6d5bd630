//! What a person finds who digs behind the planter.

use rand::Rng;
use rand_chacha::ChaCha8Rng;

use super::condition::Truth;

/// Scale of the logistic curves of open and of too firm trenches, N: that far from the force at which half are, 27 or 73 % are.
const DIG_SCALE_N: f64 = 18.0;

impl Truth {
    /// The forces at which a tenth of the places dug are open, and a tenth are too firm, N.
    pub fn dig_limits(&self) -> (f64, f64) {
        // From half of the places to a tenth of them.
        let tenth = DIG_SCALE_N * 9.0_f64.ln();
        (self.open_limit_n + tenth, self.firm_limit_n - tenth)
    }
}

/// What one dug place showed: `trench_shut`, `light_at_seed`, `air_gap`, `firm_all_round`, `press_mark`, `dig_effort`, `soil_thrown`.
///
/// The limits move with the field's own best force, so that the digs and the counts of a field tell one story.
/// `shift_n` is how far the field's own best force lies above that of its condition, N.
pub fn dig(generator: &mut ChaCha8Rng, truth: &Truth, shift_n: f64, force_n: f64) -> [&'static str; 7] {
    let logistic = |x: f64| (1.0 + (-x).exp()).recip();
    let open_chance = logistic((truth.open_limit_n + shift_n - force_n) / DIG_SCALE_N);
    let firm_chance = logistic((force_n - truth.firm_limit_n - shift_n) / DIG_SCALE_N);
    let yes_no = |yes: bool| if yes { "yes" } else { "no" };
    let draw: f64 = generator.random();
    let detail: f64 = generator.random();
    if draw < open_chance {
        let wide = detail < 0.4;
        [
            if wide { "no" } else { "partly" },
            yes_no(detail < 0.7),
            "yes",
            "no",
            "no",
            if detail < 0.5 { "1" } else { "2" },
            "no",
        ]
    } else if draw > 1.0 - firm_chance {
        ["yes", "no", "no", "yes", "yes", if detail < 0.6 { "4" } else { "5" }, yes_no(detail < 0.3)]
    } else {
        ["yes", "no", "no", "yes", yes_no(detail < 0.85), if detail < 0.25 { "2" } else { "3" }, "no"]
    }
}
