//! Priors of the spreads of random terms.

/// Prior of the standard deviation of a random term, in response units per unit of the covariate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SpreadPrior {
    /// Half-normal with this scale.
    HalfNormal(f64),
    /// Half-Cauchy with this scale (Gelman 2006), its tail cut by a half-normal of scale `slab` (Piironen & Vehtari 2017): most often small, and
    /// up to the size of the slab where the data say so. Without the slab, directions that the data do not show would go anywhere.
    TaperedCauchy {
        /// Scale near zero.
        scale: f64,
        /// Scale of the half-normal.
        slab: f64,
    },
}

impl SpreadPrior {
    /// Scale of the prior near zero.
    pub fn scale(self) -> f64 {
        match self {
            Self::HalfNormal(scale) | Self::TaperedCauchy { scale, .. } => scale,
        }
    }

    /// Scale of its tail.
    pub fn slab(self) -> f64 {
        match self {
            Self::HalfNormal(scale) => scale,
            Self::TaperedCauchy { slab, .. } => slab,
        }
    }

    /// Log density at a standard deviation, up to a constant.
    pub(super) fn log_density(self, deviation: f64) -> f64 {
        match self {
            Self::HalfNormal(scale) => -0.5 * (deviation / scale).powi(2),
            Self::TaperedCauchy { scale, slab } => {
                -(deviation / scale).powi(2).ln_1p() - 0.5 * (deviation / slab).powi(2)
            }
        }
    }
}
