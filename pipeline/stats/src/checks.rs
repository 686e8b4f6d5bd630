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
        for value in [0.0, 1.0, -0.1, f64::NAN] {
            assert!(check_level("the level", value).is_err());
        }
        assert!(check_level("the level", 0.95).is_ok());
    }
}
