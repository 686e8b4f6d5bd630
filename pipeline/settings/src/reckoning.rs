//! Which settings the sums over telemetry depend on.

use std::fmt::Write;

use crate::{Knob, Settings};

impl Settings {
    /// The settings that sums over telemetry were made with, as text: the least speed, and the calibrations of planters
    /// set by pressure. Equal texts mean equal sums of equal rows.
    pub fn reckoned_with(&self) -> String {
        let mut text = format!("from {} m/s", self.analysis.min_speed_m_s);
        for planter in &self.planters {
            if let Some(Knob::Pressure { calibration: Some(calibration), .. }) = &planter.knob {
                let _ = write!(text, "; {}", planter.id);
                for (pressure, force) in calibration.points() {
                    let _ = write!(text, " {pressure} kPa {force} N");
                }
            }
        }
        text
    }
}

#[cfg(test)]
mod tests {
    use crate::Settings;

    #[test]
    fn least_speed_and_calibrations_are_told_and_nothing_else() {
        let planter = "[[planter]]\nid = \"p\"\n[planter.closing]\nkind = \"pressure\"\nmax_kpa = 500\nforce_n = [[0, 0], [200, 205.5]]\n";
        let of = |text: &str| Settings::parse(text).unwrap().reckoned_with();
        assert_eq!(of(&format!("min_speed_m_s = 1.5\n{planter}")), "from 1.5 m/s; p 0 kPa 0 N 200 kPa 205.5 N");
        assert_eq!(of(&format!("seed = 7\nname = \"x\"\n{planter}")), of(planter));
    }
}
