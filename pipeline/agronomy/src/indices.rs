//! Indices of timing and evenness from the germination literature, all from the newly emerged counts of a course.
//!
//! In the formulas `N_i` plants were found newly emerged at inspection time `T_i`, and `N = Σ N_i`. The names and original
//! papers are those that Ranal & Santana (2006, Brazilian Journal of Botany 29(1):1-11) list. Units follow the times:
//! where those are hours, a rate is per hour.
//!
//! Two cautions hold for all of them. Plants came up at some time since the inspection before, so times taken at the
//! inspection are late by about half a gap. And seeds that never came up do not count: show the emerged share beside them.
//!
//! All are `None` where nobody emerged, and where the count falls anywhere: a plant that came up and vanished has no
//! place in these sums.

use crate::emergence::{Course, Crossing};

/// How far a newly emerged count may lie from a whole number and still be one: interpolated sums carry rounding.
const WHOLE_COUNT: f64 = 1e-6;

impl Course {
    /// Newly emerged plants, where the indices are defined at all.
    fn risen(&self) -> Option<Vec<f64>> {
        (self.first_fall().is_none() && self.final_count() > 0.0).then(|| self.newly_emerged())
    }

    /// Σ N_i (T_i − mean)²; exactly zero where all came up between two inspections.
    fn squares_of_time(&self) -> Option<f64> {
        let new = self.risen()?;
        if new.iter().filter(|&&plants| plants > 0.0).count() == 1 {
            return Some(0.0);
        }
        let mean = self.mean_time()?;
        Some(new.iter().zip(self.times()).map(|(plants, time)| plants * (time - mean).powi(2)).sum())
    }

    /// Mean emergence time, `Σ N_i T_i / N` (Ellis & Roberts 1980).
    pub fn mean_time(&self) -> Option<f64> {
        let new = self.risen()?;
        let weighted: f64 = new.iter().zip(self.times()).map(|(plants, time)| plants * time).sum();
        Some(weighted / self.final_count())
    }

    /// Variance of emergence time, `Σ N_i (T_i − mean)² / (N − 1)`, a square of time (Labouriau 1983).
    ///
    /// `None` for a single plant.
    pub fn variance_of_time(&self) -> Option<f64> {
        let divisor = self.final_count() - 1.0;
        if divisor > 0.0 { Some(self.squares_of_time()? / divisor) } else { None }
    }

    /// Standard error of the mean time, `sqrt(variance / N)` (Labouriau 1983).
    ///
    /// It treats plants as independent, which plants of one strip are not: never use it to compare strips.
    pub fn standard_error_of_mean_time(&self) -> Option<f64> {
        Some((self.variance_of_time()? / self.final_count()).sqrt())
    }

    /// Coefficient of variation of time, `sqrt(variance) / mean`, a ratio and not a percentage (Gomes 1960).
    pub fn cv_of_time(&self) -> Option<f64> {
        let mean = self.mean_time()?;
        if mean > 0.0 { Some(self.variance_of_time()?.sqrt() / mean) } else { None }
    }

    /// Mean emergence rate, `1 / mean time` (Labouriau 1983).
    pub fn mean_rate(&self) -> Option<f64> {
        self.mean_time().filter(|&mean| mean > 0.0).map(f64::recip)
    }

    /// Coefficient of velocity, `100 N / Σ N_i T_i`, in per cent per unit of time (Kotowski 1926).
    pub fn coefficient_of_velocity(&self) -> Option<f64> {
        Some(100.0 * self.mean_rate()?)
    }

    /// Speed of emergence, `Σ N_i / T_i`, in plants per unit of time (Maguire 1962).
    ///
    /// One of at least four formulas that are called "emergence rate index". `None` where a plant was up at time zero.
    pub fn maguire_speed(&self) -> Option<f64> {
        let new = self.risen()?;
        let mut speed = 0.0;
        for (&plants, &time) in new.iter().zip(self.times()) {
            if plants > 0.0 {
                if time <= 0.0 {
                    return None;
                }
                speed += plants / time;
            }
        }
        Some(speed)
    }

    /// Emergence rate index of Bilbro & Wanjura (1982), `N / mean time`, in plants per unit of time.
    pub fn bilbro_wanjura_index(&self) -> Option<f64> {
        Some(self.final_count() * self.mean_rate()?)
    }

    /// Coefficient of uniformity, `N / Σ N_i (T_i − mean)²`, per square of time; more is more even (Heydecker 1972).
    ///
    /// `None` where all came up between two inspections: the sum is zero, and how even they were is not known.
    pub fn heydecker_uniformity(&self) -> Option<f64> {
        let squares = self.squares_of_time()?;
        if squares > 0.0 { Some(self.final_count() / squares) } else { None }
    }

    /// Synchrony `Z`, the share of pairs of plants that were found at the same inspection,
    /// `Σ N_i (N_i − 1) / (N (N − 1))`, from 0 to 1 (Primack 1985).
    ///
    /// It depends on the inspections, so only strips with the same visits compare. `None` for a single plant, and where a
    /// newly emerged count is not whole, as in samples pooled over unequal visits: pairs of parts of plants mean nothing.
    pub fn synchrony(&self) -> Option<f64> {
        let new = self.risen()?;
        if new.iter().any(|plants| (plants - plants.round()).abs() > WHOLE_COUNT) {
            return None;
        }
        let everyone = self.final_count();
        let pairs: f64 = new.iter().map(|plants| plants.round() * (plants.round() - 1.0)).sum();
        if everyone.round() > 1.0 { Some(pairs / (everyone.round() * (everyone.round() - 1.0))) } else { None }
    }

    /// Uncertainty `U`, the entropy of emergence over the inspections, `−Σ f_i log2 f_i` with `f_i = N_i / N`, in bits
    /// (Shannon 1948; Labouriau & Valadares 1976).
    ///
    /// Zero where all were found at one inspection. It depends on the inspections as synchrony does.
    pub fn uncertainty(&self) -> Option<f64> {
        let new = self.risen()?;
        let everyone = self.final_count();
        let bits: f64 = new
            .iter()
            .map(|plants| plants / everyone)
            .filter(|&share| share > 0.0)
            .map(|share| share * share.log2())
            .sum();
        // Turning the sign of zero would give −0, which nobody wants to read.
        Some(0.0 - bits)
    }

    /// Time to the middle plant, target `(N + 1) / 2` (Coolbear, Francis & Grierson 1984), by the closed rule of
    /// [`Course::time_to`].
    pub fn t50_coolbear(&self) -> Crossing {
        if self.final_count() > 0.0 { self.time_to((self.final_count() + 1.0) / 2.0) } else { Crossing::Never }
    }

    /// Time to half of the plants, target `N / 2` (Farooq et al. 2005), by the closed rule of [`Course::time_to`].
    pub fn t50_farooq(&self) -> Crossing {
        self.time_to_share(0.5)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn course(times: &[f64], cumulative: &[f64]) -> Course {
        Course::new(times.to_vec(), cumulative.to_vec()).expect("a valid course")
    }

    fn near(found: Option<f64>, expected: f64) {
        let found = found.expect("a value");
        assert!((found - expected).abs() <= 1e-13 * expected.abs().max(1.0), "{found} is not {expected}");
    }

    #[test]
    fn two_plants_two_days_apart_are_worked_by_hand() {
        let pair = course(&[1.0, 2.0, 3.0], &[1.0, 1.0, 2.0]);
        near(pair.mean_time(), 2.0);
        near(pair.variance_of_time(), 2.0);
        near(pair.standard_error_of_mean_time(), 1.0);
        near(pair.cv_of_time(), 2.0_f64.sqrt() / 2.0);
        near(pair.mean_rate(), 0.5);
        near(pair.coefficient_of_velocity(), 50.0);
        near(pair.maguire_speed(), 4.0 / 3.0);
        near(pair.bilbro_wanjura_index(), 1.0);
        near(pair.heydecker_uniformity(), 1.0);
        near(pair.synchrony(), 0.0);
        near(pair.uncertainty(), 1.0);
        assert_eq!(pair.t50_farooq(), Crossing::At(1.0));
        assert_eq!(pair.t50_coolbear(), Crossing::At(2.5));
    }

    #[test]
    fn all_at_one_awkward_time_have_no_variance_at_all() {
        // 7.3 × 3 / 3 is not 7.3 in binary; a mean off by one unit would make the uniformity huge instead of undefined.
        let together = course(&[6.1, 7.3, 8.9], &[0.0, 3.0, 3.0]);
        assert_eq!(together.variance_of_time(), Some(0.0));
        assert_eq!(together.heydecker_uniformity(), None);
        assert_eq!(together.synchrony(), Some(1.0));
        assert!(together.uncertainty().expect("defined").is_sign_positive());
    }

    #[test]
    fn a_fall_leaves_the_indices_undefined_but_not_the_times() {
        let fallen = course(&[1.0, 2.0, 3.0], &[0.0, 10.0, 8.0]);
        assert_eq!(fallen.mean_time(), None);
        assert_eq!(fallen.variance_of_time(), None);
        assert_eq!(fallen.maguire_speed(), None);
        assert_eq!(fallen.synchrony(), None);
        assert_eq!(fallen.uncertainty(), None);
        near(fallen.time_to_share(0.5).time(), 1.4);
    }

    #[test]
    fn parts_of_plants_make_no_pairs() {
        let interpolated = course(&[1.0, 2.0, 3.0], &[0.0, 2.5, 5.0]);
        assert_eq!(interpolated.synchrony(), None);
        near(interpolated.mean_time(), 2.5);
        let rounding_only = course(&[1.0, 2.0, 3.0], &[0.0, 3.0 + 1e-12, 5.0]);
        near(rounding_only.synchrony(), 0.4);
    }

    #[test]
    fn a_plant_at_time_zero_has_no_speed() {
        assert_eq!(course(&[0.0, 1.0], &[1.0, 2.0]).maguire_speed(), None);
        near(course(&[0.0, 1.0], &[0.0, 2.0]).maguire_speed(), 2.0);
        assert_eq!(course(&[0.0], &[2.0]).mean_rate(), None);
    }
}
