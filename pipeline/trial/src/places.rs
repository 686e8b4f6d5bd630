//! Where plants are counted: row units drawn once for the trial, places along the row drawn in every strip, before anyone has seen a plant.

use rand::Rng;
use rand::seq::{IndexedRandom, SliceRandom};
use rand_chacha::ChaCha8Rng;

use crate::error::TrialError;
use crate::plan::Place;

/// Row units that are counted: drawn among those that are neither at the border of a pass nor behind a wheel.
///
/// # Errors
/// None is left.
pub(crate) fn row_units(
    rows: u32,
    border: u32,
    wheels: &[u32],
    wanted: usize,
    random: &mut ChaCha8Rng,
) -> Result<Vec<u32>, TrialError> {
    if let Some(wheel) = wheels.iter().find(|wheel| **wheel == 0 || **wheel > rows) {
        return Err(TrialError::request("a row behind a wheel", wheel, format!("a row unit from 1 to {rows}")));
    }
    let left: Vec<u32> = (border + 1..=rows.saturating_sub(border)).filter(|row| !wheels.contains(row)).collect();
    if left.is_empty() {
        return Err(TrialError::request(
            "the rows to count",
            format!("none of {rows} once {border} on either side and {} behind wheels are left out", wheels.len()),
            "fewer border rows or wheel rows",
        ));
    }
    let mut drawn: Vec<u32> = left.choose_multiple(random, wanted.min(left.len())).copied().collect();
    drawn.sort_unstable();
    Ok(drawn)
}

/// Places in the counted part of a strip: one at random in each of as many equal parts, row units in random order.
///
/// # Errors
/// A counted part in which so many pieces of row do not fit.
pub(crate) fn places(
    counted_m: (f64, f64),
    number: usize,
    row_length_m: f64,
    row_units: &[u32],
    random: &mut ChaCha8Rng,
) -> Result<Vec<Place>, TrialError> {
    let part = (counted_m.1 - counted_m.0) / number as f64;
    if part.is_nan() || part < row_length_m {
        return Err(TrialError::request(
            "the counted part of a strip",
            format!(
                "{:.0} m, too short for {number} places of {row_length_m:.1} m",
                (counted_m.1 - counted_m.0).max(0.0)
            ),
            "longer strips, fewer places, a shorter headland or a shorter buffer",
        ));
    }
    let mut units: Vec<u32> = (0..number).map(|place| row_units[place % row_units.len()]).collect();
    units.shuffle(random);
    Ok(units
        .into_iter()
        .enumerate()
        .map(|(place, row_unit)| {
            let at_m = counted_m.0 + part * place as f64 + random.random::<f64>() * (part - row_length_m);
            // A pace is not more exact than a decimetre; rounded inwards.
            let at_m = ((at_m * 10.0).floor() / 10.0).max(counted_m.0);
            Place { sample_id: letter(place), row_unit, at_m }
        })
        .collect())
}

/// `a` to `z`, then `aa`, `ab`.
fn letter(number: usize) -> String {
    let last = char::from(b'a' + (number % 26) as u8);
    if number < 26 { last.to_string() } else { format!("{}{last}", letter(number / 26 - 1)) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;

    #[test]
    fn rows_at_the_border_and_behind_wheels_are_never_drawn() {
        let mut seen = std::collections::BTreeSet::new();
        for seed in 0..500 {
            let drawn = row_units(12, 1, &[5, 8], 3, &mut ChaCha8Rng::seed_from_u64(seed)).unwrap();
            assert_eq!(drawn.len(), 3);
            assert!(drawn.windows(2).all(|pair| pair[0] < pair[1]));
            seen.extend(drawn);
        }
        assert_eq!(
            seen.into_iter().collect::<Vec<_>>(),
            [2, 3, 4, 6, 7, 9, 10, 11],
            "and every other one is, at times"
        );
        let mut random = ChaCha8Rng::seed_from_u64(1);
        assert!(row_units(2, 1, &[], 3, &mut random).is_err());
        assert!(row_units(12, 1, &[13], 3, &mut random).unwrap_err().to_string().contains("from 1 to 12"));
    }

    #[test]
    fn places_lie_in_the_counted_part_and_do_not_meet() {
        let mut sum = 0.0;
        for seed in 0..2000 {
            let places = places((20.0, 380.0), 4, 5.3, &[3, 6, 10], &mut ChaCha8Rng::seed_from_u64(seed)).unwrap();
            assert_eq!(places.iter().map(|place| place.sample_id.as_str()).collect::<Vec<_>>(), ["a", "b", "c", "d"]);
            assert!(places[0].at_m >= 20.0 && places[3].at_m + 5.3 <= 380.0);
            assert!(places.windows(2).all(|pair| pair[0].at_m + 5.2 <= pair[1].at_m), "{places:?}");
            sum += places[0].at_m;
        }
        // The first of four parts of 90 m: its places begin at 20 m to 104.7 m, 62.35 m on average, with a standard deviation of 24.5 m.
        assert!((sum / 2000.0 - 62.3).abs() < 2.5, "{}", sum / 2000.0);
        assert!(places((0.0, 10.0), 3, 5.3, &[3], &mut ChaCha8Rng::seed_from_u64(1)).is_err());
    }

    #[test]
    fn places_have_letters() {
        assert_eq!([0, 25, 26, 27, 52].map(letter), ["a", "z", "aa", "ab", "ba"]);
    }
}
