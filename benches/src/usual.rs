//! What the usual environments take for the same work, as measured for this project in 2026; typed in, not measured here.
//!
//! Two cores of an Intel Xeon (virtual), 24 GiB, Linux, nothing else running; R 4.2.2 with lme4 1.1-31, lmerTest 3.1-3 and pbkrtest 0.5.2
//! (Debian's packages with the default BLAS); Python 3.11 with statsmodels 0.15.0. Strip table in memory, same model, 3 blocks of 8
//! strips in 10, 100 and 1000 fields.

/// One measurement of another environment.
#[derive(Debug, Clone, Copy)]
pub struct Usual {
    /// Software and call.
    pub software: &'static str,
    /// Seconds.
    pub seconds: f64,
}

const fn usual(software: &'static str, seconds: f64) -> Usual {
    Usual { software, seconds }
}

/// Restricted likelihood fit at 10, 100 and 1000 fields.
pub const FIT: [[Usual; 2]; 3] = [
    [usual("lme4 `lmer`", 0.048), usual("statsmodels `MixedLM`", 0.039)],
    [usual("lme4 `lmer`", 0.067), usual("statsmodels `MixedLM`", 0.283)],
    [usual("lme4 `lmer`", 0.315), usual("statsmodels `MixedLM`", 2.475)],
];

/// Fit and summary with Satterthwaite's degrees of freedom.
pub const SATTERTHWAITE: [[Usual; 1]; 3] =
    [[usual("lmerTest `summary`", 0.075)], [usual("lmerTest `summary`", 0.139)], [usual("lmerTest `summary`", 0.729)]];

/// Summary with Kenward and Roger's; the last one with the other core busy.
pub const KENWARD_ROGER: [[Usual; 1]; 3] = [
    [usual("pbkrtest summary", 0.404)],
    [usual("pbkrtest summary", 1.03)],
    [usual("pbkrtest summary (other core busy)", 8.1)],
];

/// Parametric bootstrap, 200 refits: on one core, and on two.
pub const REFITS: [[Usual; 2]; 3] = [
    [usual("lme4 `bootMer`, 1 core", 1.80), usual("lme4 `bootMer`, 2 cores", 2.02)],
    [usual("lme4 `bootMer`, 1 core", 4.23), usual("lme4 `bootMer`, 2 cores", 4.71)],
    [usual("lme4 `bootMer`, 1 core", 30.4), usual("lme4 `bootMer`, 2 cores", 28.1)],
];

/// Binomial mixed model with a random effect of every strip, Laplace.
pub const BINOMIAL: [[Usual; 1]; 3] = [
    [usual("lme4 `glmer`", 0.33)],
    [usual("lme4 `glmer`, convergence warning", 5.04)],
    [usual("lme4 `glmer`, convergence warning", 70.2)],
];
