//! Checks that every door makes.

use crate::error::{Result, StatsError};

/// `what` has the `expected` length.
pub(crate) fn check_length(what: &str, found: usize, expected: usize) -> Result<()> {
    if found == expected { Ok(()) } else { Err(StatsError::Length { what: what.into(), found, expected }) }
}

/// No value of `what` is NaN or infinite.
pub(crate) fn check_finite(what: &str, values: &[f64]) -> Result<()> {
    match values.iter().position(|value| !value.is_finite()) {
        None => Ok(()),
        Some(position) => Err(StatsError::NotFinite { what: what.into(), position, value: values[position] }),
    }
}

/// Largest number that a design takes: its fourth power, which a variance of a variance needs, is still a number.
pub(crate) const LARGEST: f64 = 1e30;
/// Smallest size of a column that is not zero: its square is still told from zero.
pub(crate) const SMALLEST: f64 = 1e-75;

/// As [`check_finite`], and no value of `what` is so large, nor all of them so small, that squares and products leave the range of a number.
pub(crate) fn check_scale(what: &str, values: &[f64]) -> Result<()> {
    check_finite(what, values)?;
    let size = values.iter().fold(0.0, |size: f64, value| size.max(value.abs()));
    if size > LARGEST || (size > 0.0 && size < SMALLEST) {
        return Err(StatsError::Scale { what: what.into(), size });
    }
    Ok(())
}

/// A level, confidence or share lies between 0 and 1, both excluded.
pub(crate) fn check_level(what: &'static str, value: f64) -> Result<()> {
    if value > 0.0 && value < 1.0 {
        return Ok(());
    }
    Err(StatsError::OutOfRange { what, value, expected: "a number between 0 and 1" })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_check_names_what_it_found() {
        assert_eq!(check_length("x", 2, 3), Err(StatsError::Length { what: "x".into(), found: 2, expected: 3 }));
        assert!(matches!(check_finite("x", &[1.0, f64::NAN]), Err(StatsError::NotFinite { position: 1, .. })));
        for size in [1e31, -1e150, 1e-80] {
            assert!(matches!(check_scale("x", &[0.0, size]), Err(StatsError::Scale { .. })), "{size}");
        }
        assert!(check_scale("x", &[0.0, 1e-20, -1e30]).is_ok() && check_scale("x", &[0.0, 1e-300, 1.0]).is_ok());
        for value in [0.0, 1.0, -0.1, f64::NAN] {
            assert!(check_level("the level", value).is_err());
        }
        assert!(check_level("the level", 0.95).is_ok());
    }
}
