//! Comparison of numbers. Every helper refuses values that are not finite first, because NaN passes through `max` unseen.

/// Both within `tolerance` of each other relative to the expected value.
#[track_caller]
pub fn relative(found: f64, expected: f64, tolerance: f64, what: &str) {
    assert!(found.is_finite(), "{what}: found {found}");
    let error = (found - expected).abs() / expected.abs();
    assert!(
        error <= tolerance,
        "{what}: found {found:e}, expected {expected:e}, relative error {error:.1e} above {tolerance:.0e}"
    );
}

/// Both within `tolerance` of each other.
#[track_caller]
pub fn absolute(found: f64, expected: f64, tolerance: f64, what: &str) {
    assert!(found.is_finite(), "{what}: found {found}");
    let error = (found - expected).abs();
    assert!(
        error <= tolerance,
        "{what}: found {found:e}, expected {expected:e}, error {error:.1e} above {tolerance:.0e}"
    );
}

/// Element-wise distance in units of `scale` (for coefficients: their standard errors, so that a coefficient of zero can be compared).
#[track_caller]
pub fn scaled(found: &[f64], expected: &[f64], scale: &[f64], tolerance: f64, what: &str) {
    assert_eq!(found.len(), expected.len(), "{what}: lengths");
    for j in 0..found.len() {
        let size = scale[j].max(expected[j].abs());
        absolute(found[j] / size, expected[j] / size, tolerance, &format!("{what} [{j}]"));
    }
}
