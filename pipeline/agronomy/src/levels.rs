//! Which settings count as one: forces sorted into levels.

/// How far from each other forces may lie (N) and still be one setting, where all forces have this range (N): 2 % of it, or 2 N. Common
/// practice, no source.
pub fn level_width(range_n: f64) -> f64 {
    (0.02 * range_n).max(2.0)
}

/// Sorts forces into levels: forces belong to the level of the lightest among them where they lie within
/// [`level_width`] of it. A row of near neighbours therefore never grows into one level.
///
/// A setting that was meant to be the same is logged a little differently from strip to strip (a rounded gauge, a
/// pressure told in another unit); settings that were meant to differ lie further apart. Comes back as the level of
/// each force, numbered from 0 for the lightest, and the mean force of each level. Common practice, no source.
pub fn force_levels(forces_n: &[f64]) -> (Vec<usize>, Vec<f64>) {
    let mut order: Vec<usize> = (0..forces_n.len()).collect();
    order.sort_by(|a, b| forces_n[*a].total_cmp(&forces_n[*b]));
    let range = match (order.first(), order.last()) {
        (Some(low), Some(high)) => forces_n[*high] - forces_n[*low],
        _ => return (Vec::new(), Vec::new()),
    };
    let width = level_width(range);
    let mut levels = vec![0; forces_n.len()];
    let mut sums: Vec<(f64, usize)> = Vec::new();
    let mut lightest = f64::NEG_INFINITY;
    for index in order {
        let force = forces_n[index];
        if force - lightest > width {
            sums.push((0.0, 0));
            lightest = force;
        }
        levels[index] = sums.len() - 1;
        if let Some(last) = sums.last_mut() {
            last.0 += force;
            last.1 += 1;
        }
    }
    (levels, sums.into_iter().map(|(sum, count)| sum / count as f64).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn small_differences_are_one_level_and_large_ones_are_not() {
        let (levels, means) = force_levels(&[210.0, 100.0, 101.0, 150.0, 209.0]);
        assert_eq!(levels, vec![2, 0, 0, 1, 2]);
        assert_eq!(means, vec![100.5, 150.0, 209.5]);
    }

    #[test]
    fn a_row_of_near_neighbours_is_not_one_level() {
        let forces: Vec<f64> = (0..31).map(|step| 100.0 + 7.0 * f64::from(step)).collect();
        assert_eq!(force_levels(&forces).1.len(), 31);
    }

    #[test]
    fn one_force_is_one_level_and_none_is_none() {
        assert_eq!(force_levels(&[180.0, 180.0]), (vec![0, 0], vec![180.0]));
        assert_eq!(force_levels(&[]), (vec![], vec![]));
    }
}
