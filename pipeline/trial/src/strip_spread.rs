//! How much strips differ that had one setting in one block: the error of a trial, from the review's own strips.

use std::collections::BTreeMap;

use evenstand_stats::{Design, LeastSquares};
use evenstand_tables::rows::StripRow;
use ndarray::Array2;

use crate::error::TrialError;

/// Between strips, beyond chance in counting, where the review cannot tell: 1.5 points of emergence. An assumption, no source.
const ASSUMED_SHARE_SD: f64 = 0.015;
/// Plants of one place are more alike than chance: variance over that of independent plants. An assumption, no source.
const ASSUMED_CLUMPING: f64 = 1.3 * 1.3;
/// Share of seeds that come up where the review cannot tell; no source.
const ASSUMED_SHARE: f64 = 0.9;
/// Strips' times and spreads of emergence differ by so many hours; an assumption, no source.
const ASSUMED_HOURS_SD: f64 = 6.0;

/// A pooled variance between strips.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct StripSpread {
    /// Standard deviation in the response's unit, chance in counting included, as in the review.
    pub sd: f64,
    /// Degrees of freedom behind it.
    pub df: usize,
    pub field_seasons: usize,
    /// Mean of the response.
    pub mean: f64,
    /// Mean seeds counted a strip, for shares.
    pub seeds: Option<f64>,
}

/// A response of a strip by name; `None` for one that the strips table does not hold.
pub(crate) fn value(strip: &StripRow, response: &str) -> Option<f64> {
    match response {
        "on_time_share" => strip.on_time_share,
        "emerged_share" => strip.emerged_share,
        "t10_h" => strip.t10_h,
        "t50_h" => strip.t50_h,
        "t90_h" => strip.t90_h,
        "spread_h" => strip.spread_h,
        "mean_emergence_h" => strip.mean_emergence_h,
        "t50_cd" => strip.t50_cd,
        "spread_cd" => strip.spread_cd,
        "spacing_cv" => strip.spacing_cv,
        "leaf_stage_sd" => strip.leaf_stage_sd,
        _ => None,
    }
    .filter(|value| value.is_finite())
}

/// Pools over field-seasons the residual variance of `response ~ block + setting`: what a trial of the same care finds between
/// strips of one setting in one block. `None` where no field-season leaves a degree of freedom.
pub(crate) fn strip_spread(strips: &[&StripRow], response: &str) -> Option<StripSpread> {
    let mut field_seasons: BTreeMap<(&str, i64), Vec<(&StripRow, f64)>> = BTreeMap::new();
    for strip in strips.iter().filter(|strip| strip.usable != Some(false)) {
        if let Some(value) = value(strip, response) {
            field_seasons.entry((&strip.field_id, strip.season)).or_default().push((strip, value));
        }
    }
    let (mut squares, mut df, mut number) = (0.0, 0, 0);
    let (mut sum, mut count, mut seeds) = (0.0, 0usize, (0.0, 0usize));
    for strips in field_seasons.values() {
        let Some((own_squares, own_df)) = residual(strips) else { continue };
        squares += own_squares;
        df += own_df;
        number += 1;
        for (strip, value) in strips {
            sum += value;
            count += 1;
            if let Some(sown) = strip.seeds_sown {
                seeds = (seeds.0 + sown, seeds.1 + 1);
            }
        }
    }
    (df > 0).then(|| StripSpread {
        sd: (squares / df as f64).sqrt(),
        df,
        field_seasons: number,
        mean: sum / count as f64,
        seeds: (seeds.1 > 0).then(|| seeds.0 / seeds.1 as f64),
    })
}

/// Residual sum of squares and degrees of freedom of one field-season.
fn residual(strips: &[(&StripRow, f64)]) -> Option<(f64, usize)> {
    let code = |of: &dyn Fn(&StripRow) -> String| {
        let mut codes = BTreeMap::new();
        let values: Vec<String> = strips.iter().map(|(strip, _)| of(strip)).collect();
        for value in &values {
            let next = codes.len();
            codes.entry(value.clone()).or_insert(next);
        }
        (values.iter().map(|value| codes[value]).collect::<Vec<_>>(), codes.len())
    };
    let (blocks, block_number) = code(&|strip| strip.block.clone().unwrap_or_default());
    let (settings, setting_number) = code(&|strip| {
        let force = strip.force_n.map(|force| format!("{force:.0}"));
        format!(
            "{}/{}/{}/{}",
            strip.closer.as_deref().unwrap_or(""),
            strip.planter_id.as_deref().unwrap_or(""),
            strip.closing_position.clone().or(force).unwrap_or_default(),
            strip.treatment.as_deref().unwrap_or("")
        )
    });
    let columns = block_number + setting_number - 1;
    if strips.len() <= columns {
        return None;
    }
    let mut fixed = Array2::zeros((strips.len(), columns));
    for row in 0..strips.len() {
        fixed[(row, blocks[row])] = 1.0;
        if settings[row] > 0 {
            fixed[(row, block_number + settings[row] - 1)] = 1.0;
        }
    }
    let names = (0..columns).map(|column| format!("column {column}")).collect();
    let response = strips.iter().map(|(_, value)| *value).collect();
    let design = Design::new(response, fixed, names, Vec::new(), None).ok()?;
    let fit = LeastSquares.fit(&design).ok()?;
    Some((fit.residual_sum_of_squares(), fit.residual_df()))
}

/// The strip standard deviation of the trial that is planned, and where it comes from.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct TrialSpread {
    pub sd: f64,
    pub from: String,
}

/// Puts the planned number of seeds in place of the review's: the part of a share's variance that is chance in counting, p (1 − p) / n,
/// shrinks with the number of seeds n, the rest does not.
///
/// # Errors
/// A response for which nothing can be assumed, without strips of its own and without a stated number.
pub(crate) fn trial_spread(
    seen: Option<StripSpread>,
    response: &str,
    planned_seeds: Option<f64>,
    stated: Option<f64>,
) -> Result<TrialSpread, TrialError> {
    if let Some(sd) = stated {
        return Ok(TrialSpread { sd, from: "as stated".into() });
    }
    let share = response.ends_with("_share");
    let chance = |share: f64, seeds: f64| share * (1.0 - share) / seeds;
    if let Some(seen) = seen {
        let strips = format!(
            "from strips of one setting in one block in {} field-season{} of this review, {} degrees of freedom",
            seen.field_seasons,
            if seen.field_seasons == 1 { "" } else { "s" },
            seen.df
        );
        if let (true, Some(before), Some(planned)) = (share, seen.seeds, planned_seeds) {
            let beyond = (seen.sd * seen.sd - chance(seen.mean, before)).max(0.0);
            let sd = (beyond + chance(seen.mean, planned)).sqrt();
            return Ok(TrialSpread {
                sd,
                from: format!("{strips}, with {planned:.0} seeds a strip in place of {before:.0}"),
            });
        }
        return Ok(TrialSpread { sd: seen.sd, from: strips });
    }
    if share {
        let seeds = planned_seeds.unwrap_or(100.0);
        let sd = (ASSUMED_SHARE_SD.powi(2) + ASSUMED_CLUMPING * chance(ASSUMED_SHARE, seeds)).sqrt();
        return Ok(TrialSpread {
            sd,
            from: format!(
                "assumed, as this review cannot tell: {seeds:.0} seeds a strip, 90 % of them up, a little more alike than chance, and 1.5 points between strips"
            ),
        });
    }
    if response.ends_with("_h") {
        return Ok(TrialSpread { sd: ASSUMED_HOURS_SD, from: "assumed, as this review cannot tell".into() });
    }
    Err(TrialError::request(
        format!("the spread of {response} between strips"),
        "no strips of this review that tell it",
        "a number: --strip-sd, in the response's own unit",
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn strip(field: &str, block: usize, force: f64, share: f64) -> StripRow {
        StripRow {
            field_id: field.into(),
            season: 2025,
            strip_id: format!("{block}-{force}"),
            block: Some(block.to_string()),
            force_n: Some(force),
            emerged_share: Some(share),
            seeds_sown: Some(100.0),
            ..StripRow::default()
        }
    }

    #[test]
    fn the_spread_is_the_residual_mean_square_of_randomised_blocks() {
        // Blocks 1 to 3, settings 100, 150, 200 N. Residual sum of squares of the two-way table by hand: row means 0.82, 0.85, 0.88; column means
        // 0.83, 0.85, 0.87; residuals (0, .01, -.01), (.02, -.02, 0), (-.02, .01, .01): 0.0016 with 4 degrees of freedom.
        let table = [[0.80, 0.83, 0.83], [0.85, 0.83, 0.87], [0.84, 0.89, 0.91]];
        let mut strips = Vec::new();
        for (block, row) in table.iter().enumerate() {
            for (setting, share) in row.iter().enumerate() {
                strips.push(strip("A", block, 100.0 + 50.0 * setting as f64, *share));
            }
        }
        let spread = strip_spread(&strips.iter().collect::<Vec<_>>(), "emerged_share").unwrap();
        assert_eq!((spread.df, spread.field_seasons), (4, 1));
        assert!((spread.sd - (0.0016f64 / 4.0).sqrt()).abs() < 1e-12, "{}", spread.sd);
        assert!((spread.mean - 0.85).abs() < 1e-12 && spread.seeds == Some(100.0));
        // A second field of one setting in two blocks adds nothing: no setting is repeated in a block, and no error is left.
        strips.push(strip("B", 1, 100.0, 0.5));
        strips.push(strip("B", 2, 100.0, 0.9));
        assert_eq!(strip_spread(&strips.iter().collect::<Vec<_>>(), "emerged_share"), Some(spread));
        assert_eq!(strip_spread(&[], "emerged_share"), None);
    }

    #[test]
    fn more_seeds_shrink_what_is_chance_and_nothing_else() {
        let seen = StripSpread { sd: 0.05, df: 40, field_seasons: 3, mean: 0.85, seeds: Some(100.0) };
        let sd = |seeds| trial_spread(Some(seen), "emerged_share", Some(seeds), None).unwrap().sd;
        assert!((sd(100.0) - 0.05).abs() < 1e-12);
        // 0.05² = 0.0025 = 0.001275 by chance of 100 seeds + 0.001225.
        assert!((sd(400.0) - (0.001_225f64 + 0.001_275 / 4.0).sqrt()).abs() < 1e-12);
        assert!((sd(1e12) - 0.035).abs() < 1e-6);
        assert_eq!(trial_spread(Some(seen), "t50_h", Some(400.0), None).unwrap().sd, 0.05);
        assert!(trial_spread(None, "spacing_cv", None, None).is_err());
        assert!(trial_spread(None, "emerged_share", Some(102.0), None).unwrap().from.contains("assumed"));
        assert_eq!(trial_spread(None, "spacing_cv", None, Some(0.04)).unwrap().sd, 0.04);
    }
}
