//! How much strips differ that had one setting in one block, as a trial of the same care would find it.

use crate::curve::CurveModel;
use crate::response::Scale;
use crate::summary::mean;

/// Variance of a typical strip of a group on the model's scale, chance of counting included: sigma² (mean over draws) divided by the mean weight of
/// the group's strips. Weights are those of the model: n p (1 − p) of shares, p fitted; the inverse of sampling
/// variance plus strip variance where sampling variances are known; 1 otherwise.
pub(crate) fn strip_variance(model: &CurveModel, group: usize) -> f64 {
    let rows = &model.observations.rows;
    let members = || (0..rows.len()).filter(|row| rows[*row].group == group);
    let sigma_squared = mean(&model.drawn.posterior.sigma.iter().map(|sigma| sigma * sigma).collect::<Vec<_>>());
    let known: Option<Vec<f64>> = rows.iter().map(|row| row.modelled_std_error).collect();
    let seeds: Option<Vec<f64>> = rows.iter().map(|row| row.value.seeds).collect();
    let mean_weight = match (known, seeds) {
        (Some(errors), _) => {
            let between = model.fit.variance_components().last().map_or(0.0, |component| component.variance);
            mean(&members().map(|row| 1.0 / (errors[row] * errors[row] + between)).collect::<Vec<_>>())
        }
        (None, Some(seeds)) if model.response.scale == Scale::Logit => {
            let raw = |row: usize| {
                let share = Scale::Logit.back(model.fit.fitted()[row]).clamp(0.02, 0.98);
                seeds[row] * share * (1.0 - share)
            };
            mean(&members().map(raw).collect::<Vec<_>>()) / mean(&(0..rows.len()).map(raw).collect::<Vec<_>>())
        }
        _ => 1.0,
    };
    sigma_squared / mean_weight
}
