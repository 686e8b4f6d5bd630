//! Expectations over the estimated standard deviation.

/// Exponents of the density below this are left out: e^-90 is under 1e-39.
const NEGLIGIBLE: f64 = -90.0;
/// In log s below this every function integrated here has reached its limit at s = 0.
const LOWEST: f64 = -60.0;
/// Trapezoid step in standard deviations of the integrand; with a step this small the skewness of log S does not matter.
const STEP: f64 = 0.45;
/// Largest step in log s. The Fourier transform of the density is a ratio of gamma functions; at 2 pi / step it is below 1e-16.
const LARGEST_STEP: f64 = 0.08;

/// The trapezoid rule in log s for `E f(S)`, where `S = sqrt(chi²_df / df)`; for infinite df `S` is 1.
pub(super) struct Scale {
    nodes: Vec<(f64, f64)>,
}

impl Scale {
    /// `sharpness` is the largest slope, in log s, of the functions to be integrated. `None` unless df is above zero.
    pub(super) fn new(df: f64, sharpness: f64) -> Option<Self> {
        if !(df > 0.0 && sharpness.is_finite()) {
            return None;
        }
        if df >= super::NORMAL_DF {
            return Some(Self { nodes: vec![(1.0, 1.0)] });
        }
        let step = (STEP / (2.0 * df + sharpness * sharpness).sqrt()).min(LARGEST_STEP);
        let mut nodes = Vec::new();
        let mut weigh = |u: f64, exponent: f64| nodes.push((u.exp(), exponent.exp()));
        for i in 0_u32.. {
            let u = f64::from(i) * step;
            let exponent = df * log_density(u);
            if exponent < NEGLIGIBLE {
                break;
            }
            weigh(u, exponent);
        }
        for i in 1_u32.. {
            let u = -f64::from(i) * step;
            let exponent = df * log_density(u);
            if exponent < NEGLIGIBLE {
                break;
            }
            if u < LOWEST {
                // What is left is a geometric series, because the density is proportional to exp(df u) here.
                nodes.push((0.0, exponent.exp() / -(-df * step).exp_m1()));
                break;
            }
            weigh(u, exponent);
        }
        let total: f64 = nodes.iter().map(|(_, weight)| weight).sum();
        nodes.iter_mut().for_each(|(_, weight)| *weight /= total);
        Some(Self { nodes })
    }

    pub(super) fn expect(&self, function: impl Fn(f64) -> f64) -> f64 {
        self.nodes.iter().map(|&(s, weight)| weight * function(s)).sum()
    }
}

/// Log density of log S over df, less its value at zero: `u - (exp(2u) - 1) / 2`.
fn log_density(u: f64) -> f64 {
    if u.abs() > 0.02 {
        return u - 0.5 * (2.0 * u).exp_m1();
    }
    // The leading terms cancel; this series has nothing to cancel: -sum over k ≥ 2 of 2^(k-1) u^k / k!.
    let mut term = u;
    let mut sum = 0.0;
    for k in 2..12 {
        term *= 2.0 * u / f64::from(k);
        sum -= term;
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn moments_of_the_scale_are_those_of_chi_squared() {
        for df in [0.05, 0.7, 1.0, 3.0, 12.5, 200.0, 1e6, 1e11, f64::INFINITY] {
            let scale = Scale::new(df, 3.0).expect("valid");
            // E S² = 1 and E S⁴ = 1 + 2 / df.
            assert!((scale.expect(|s| s * s) - 1.0).abs() < 1e-12, "df {df}");
            assert!((scale.expect(|s| s.powi(4)) / (1.0 + 2.0 / df) - 1.0).abs() < 1e-11, "df {df}");
        }
    }
}
