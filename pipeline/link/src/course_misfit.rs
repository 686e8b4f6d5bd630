//! Whether the curve of a strip describes what was counted.

use evenstand_stats::EventTimesFit;
use evenstand_stats::distribution::{chi_squared_sf, f_sf};

use crate::course_counts::{Came, CourseCounts};

/// Plants a cell of the test expects at least.
const LEAST_EXPECTED: f64 = 3.0;

/// Probability below which a curve that is right would not have been that far off.
const TOO_UNLIKELY: f64 = 0.01;

/// False where Pearson's distance of the curve from the counts of all places together is larger than chance and the places' own
/// scatter explain.
///
/// Intervals are merged until each expects three plants. Plants of one place come up, or fail, together, so the statistic is
/// divided by the scatter of the places around their common course where that is above one, and judged by F with the degrees
/// of freedom of both (the lack-of-fit test of quasi-likelihood; McCullagh & Nelder 1989, section 4.5). A strip of one place is judged
/// by chance alone. True where there is nothing left to judge by: too few cells, or places inspected at different times.
pub(crate) fn fits(fit: &EventTimesFit, counts: &CourseCounts, lag: f64) -> bool {
    let Ok(goodness) = fit.goodness(LEAST_EXPECTED) else { return true };
    let Some(cells) = goodness.cells.filter(|cells| cells.df > 0) else { return true };
    let df = cells.df as f64;
    let p = match scatter_of_places(counts, lag) {
        Some((scatter, scatter_df)) if scatter > 1.0 => f_sf(cells.pearson / df / scatter, df, scatter_df),
        _ => chi_squared_sf(cells.pearson, df),
    };
    p >= TOO_UNLIKELY
}

/// Pearson's statistic of places by intervals over its degrees of freedom, and these; one where the places differ by chance alone.
/// None where there is one place only or their intervals differ.
fn scatter_of_places(counts: &CourseCounts, lag: f64) -> Option<(f64, f64)> {
    let ends = |rows: &[Came]| -> Vec<(f64, f64)> {
        let finite = rows.iter().filter(|row| row.right.is_finite());
        finite.map(|row| (row.left, row.right)).collect()
    };
    let first = ends(counts.places.first()?);
    if counts.places.iter().any(|rows| ends(rows) != first) {
        return None;
    }
    // Neighbours are merged until the places together have three plants, the seeds that never came up being the last cell.
    let size = first.len() + 1;
    let table: Vec<Vec<f64>> = counts
        .places
        .iter()
        .map(|rows| (0..size).map(|k| rows.get(k).map_or(0.0, |row| row.count as f64)).collect())
        .collect();
    let mut merged: Vec<Vec<f64>> = Vec::new();
    let mut open = vec![0.0; table.len()];
    for k in 0..size {
        open.iter_mut().zip(&table).for_each(|(sum, row)| *sum += row[k]);
        let from_lag = k + 1 == size || first[k].1 > lag;
        if from_lag && open.iter().sum::<f64>() >= LEAST_EXPECTED {
            merged.push(std::mem::replace(&mut open, vec![0.0; table.len()]));
        }
    }
    if let Some(last) = merged.last_mut() {
        last.iter_mut().zip(&open).for_each(|(sum, rest)| *sum += rest);
    }
    let sizes: Vec<f64> = (0..table.len()).map(|place| merged.iter().map(|cell| cell[place]).sum()).collect();
    let total: f64 = sizes.iter().sum();
    let used = sizes.iter().filter(|size| **size > 0.0).count();
    if used < 2 || merged.len() < 2 {
        return None;
    }
    let df = ((used - 1) * (merged.len() - 1)) as f64;
    let mut pearson = 0.0;
    for cell in &merged {
        let share = cell.iter().sum::<f64>() / total;
        for (count, size) in cell.iter().zip(&sizes).filter(|(_, size)| **size > 0.0) {
            pearson += (count - size * share).powi(2) / (size * share);
        }
    }
    Some((pearson / df, df))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::course_counts::Place;
    use crate::fitted_times::curve;

    const VISITS: [f64; 9] = [100.0, 110.0, 120.0, 130.0, 140.0, 160.0, 180.0, 220.0, 300.0];

    fn counts(places: &[[i64; 9]]) -> CourseCounts {
        let place = |plants: &[i64; 9]| Place { hours: VISITS.to_vec(), plants: plants.to_vec(), seeds: Some(100.0) };
        CourseCounts::new(&places.iter().map(place).collect::<Vec<_>>()).unwrap()
    }

    fn judged(places: &[[i64; 9]]) -> bool {
        let counts = counts(places);
        fits(&curve(&counts, 0.0, None).unwrap(), &counts, 0.0)
    }

    #[test]
    fn a_course_in_two_waves_does_not_fit_and_a_smooth_one_does() {
        assert!(!judged(&[[0, 20, 40, 41, 41, 42, 70, 88, 90], [0, 21, 39, 41, 42, 42, 71, 86, 88]]));
        assert!(judged(&[[2, 11, 28, 48, 63, 80, 86, 89, 90], [3, 12, 27, 47, 65, 79, 85, 88, 88]]));
    }

    #[test]
    fn places_that_scatter_as_much_as_the_curve_misses_are_no_misfit() {
        // The same counts in all, but one place came up in the first wave and the other in the second.
        assert!(judged(&[[0, 41, 79, 81, 81, 81, 81, 81, 81], [0, 0, 0, 1, 2, 3, 60, 93, 97]]));
    }

    #[test]
    fn the_scatter_of_places_is_the_chi_squared_of_a_table_over_its_degrees_of_freedom() {
        let counts = counts(&[[0, 10, 10, 10, 10, 10, 10, 10, 60], [0, 20, 20, 20, 20, 20, 20, 20, 50]]);
        // Cells 10, 50, 40 and 20, 30, 50: (10-15)²/15 + (50-40)²/40 + (40-45)²/45, twice.
        let expected = 2.0 * (25.0 / 15.0 + 100.0 / 40.0 + 25.0 / 45.0);
        let (scatter, df) = scatter_of_places(&counts, 0.0).unwrap();
        assert!((scatter - expected / 2.0).abs() < 1e-12 && df == 2.0, "{scatter} {df}");
    }
}
