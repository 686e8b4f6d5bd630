//! Can any difference between positions be seen at all?

use evenstand_stats::Direction;

use crate::levels::{EXCLUDED, largest_difference};
use crate::response::{Better, Response};
use crate::setting_fit::SettingFit;
use crate::summary::{mean, standard_deviation};

use super::trial::Compared;

/// What the positions show, every strip counting the same; see [`SettingFit`].
#[derive(Debug, Clone)]
pub(super) struct LabelTest {
    /// p value of the test that all positions have one mean.
    pub p_value: f64,
    /// Differences between two positions above this are excluded at 90 %, in the response's own unit.
    pub largest_difference: f64,
    /// Numbers of the positions that can still be the best, all comparisons together at 90 % (Hsu 1984); all where that cannot be told.
    pub can_be_best: Vec<usize>,
    /// Standard deviation of the estimates of the positions, on the model's scale.
    pub spread: f64,
    pub method: String,
}

impl LabelTest {
    /// `None` where the positions cannot be tested.
    pub fn new(compared: &Compared, response: &Response) -> Option<Self> {
        let fit = SettingFit::new(compared.setting_rows()).ok()?;
        let p_value = fit.alike()?.p_value;
        let count = compared.labels.len();
        let widest = largest_difference(&fit, count, response, mean(&compared.modelled));
        let differences: Vec<f64> =
            (1..count).map(|setting| Some(fit.contrast(setting, 0)?.estimate)).collect::<Option<_>>()?;
        let estimates: Vec<f64> = std::iter::once(0.0).chain(differences).collect();
        let direction =
            if response.better == Better::Lower { Direction::SmallestIsBest } else { Direction::LargestIsBest };
        let can_be_best = fit.can_be_best(direction, EXCLUDED).unwrap_or_else(|| (0..count).collect());
        (p_value.is_finite() && widest.is_finite()).then_some(Self {
            p_value,
            largest_difference: widest,
            can_be_best,
            spread: standard_deviation(&estimates),
            method: fit.method,
        })
    }
}
