//! For tests: draws and trials simple enough to work out by hand. Parabolas over 100 to 300 N, all fields alike.

use evenstand_settings::{Planter, Settings};

use crate::dig_window::Allowed;
use crate::draws::GroupDraws;
use crate::groups::{Basis, Coverage};
use crate::levels::LevelTest;

pub(crate) const TESTED: (f64, f64) = (100.0, 300.0);
/// Ten newtons to either side of a best lose less than this, eleven more.
pub(crate) const TOLERANCE: f64 = 0.0105;

/// `−(s − peak)²` with the peak at a force.
pub(crate) fn peak_at(force_n: f64) -> [f64; 3] {
    let s = (force_n - 200.0) / 100.0;
    [-s * s, 2.0 * s, -1.0]
}

pub(crate) const RISING: [f64; 3] = [0.0, 1.0, 0.0];
pub(crate) const FALLING: [f64; 3] = [0.0, -1.0, 0.0];
pub(crate) const LEVEL: [f64; 3] = [0.0; 3];

pub(crate) fn draws(parts: &[(usize, [f64; 3])]) -> GroupDraws {
    let parabolas: Vec<[f64; 3]> = parts.iter().flat_map(|(count, parabola)| vec![*parabola; *count]).collect();
    GroupDraws::of_parabolas(&parabolas, TESTED)
}

/// Three field-seasons of trials, each over the whole range.
pub(crate) fn tried() -> Coverage {
    Coverage {
        basis: Basis::Trial,
        field_seasons: 3,
        strips: 36,
        level_forces: vec![100.0, 160.0, 220.0, 300.0],
        tested: TESTED,
        varied_within_fields: true,
        blocks: 9,
        repeated: true,
        fewest_strips: 9,
        spans: vec![TESTED; 3],
        allowed: Allowed::default(),
    }
}

/// Settings that were told apart, all of which can be the best.
pub(crate) fn told_apart() -> LevelTest {
    LevelTest {
        p_value: 0.01,
        largest_difference: 1.0,
        can_be_best: vec![100.0, 160.0, 220.0, 300.0],
        shapes: None,
        lack_of_fit: None,
        method: String::new(),
    }
}

/// A planter with this block of its closing system.
pub(crate) fn planter(closing: &str) -> Planter {
    let text = format!("[[planter]]\nid = \"p\"\ncloser = \"other\"\n[planter.closing]\n{closing}");
    Settings::parse(&text).unwrap().planter("p")
}
