//! What every answer must be, whatever the data.

use evenstand_stats::{Contrast, LinearFit, StatsError};
use ndarray::Array2;

/// Codes of notes that explain numbers which are not there.
pub const EXPLAINS: [&str; 4] = ["separation", "perfect-fit", "stopped-early", "runaway"];

pub fn check_fit(fit: &dyn LinearFit, what: &str) -> Vec<String> {
    let mut wrong = Vec::new();
    let explained = fit.notes().iter().any(|note| EXPLAINS.contains(&note.code));
    let mut complain = |bad: bool, about: String| {
        if bad && !explained {
            wrong.push(format!("{what}: {about}"));
        }
    };
    let width = fit.coefficients().len();
    complain(fit.coefficients().iter().any(|b| !b.is_finite()), format!("coefficients {:?}", fit.coefficients()));
    complain(
        fit.standard_errors().iter().any(|s| !(s.is_finite() && *s >= 0.0)),
        format!("standard errors {:?} for {:?}", fit.standard_errors(), fit.coefficients()),
    );
    for j in 0..width {
        let mut row = vec![0.0; width];
        row[j] = 1.0;
        match fit.contrast(&row) {
            Ok(contrast) => complain(!meaningful(&contrast), format!("{contrast:?}")),
            Err(error) => complain(true, format!("contrast {j}: {error}")),
        }
    }
    match fit.joint_test(&Array2::eye(width)) {
        Ok(test) => complain(
            !((0.0..=1.0).contains(&test.p_value) && test.denominator_df > 0.0 && test.f >= 0.0),
            format!("{test:?}"),
        ),
        // Without a column there is nothing to test.
        Err(_) if width == 0 => {}
        // Kenward and Roger's test of several rows needs moments that need not exist.
        Err(StatsError::DegreesOfFreedom { .. }) => {}
        Err(error) => complain(true, format!("joint test: {error}")),
    }
    complain(fit.aic().is_nan() || fit.aicc().is_nan(), format!("AIC {} {}", fit.aic(), fit.aicc()));
    wrong
}

pub fn meaningful(contrast: &Contrast) -> bool {
    let limits = contrast.interval(0.95);
    contrast.df > 0.0
        && contrast.std_error >= 0.0
        && (0.0..=1.0).contains(&contrast.p_value())
        && !limits.low.is_nan()
        && !limits.high.is_nan()
}
