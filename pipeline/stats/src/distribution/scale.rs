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
    /// Upwards from s = 1, then downwards.
    branches: [Vec<Node>; 2],
}

struct Node {
    s: f64,
    weight: f64,
    /// Weight of this node and all beyond it.
    remaining: f64,
}

impl Scale {
    /// `sharpness` is the largest slope, in log s, of the functions to be integrated. `None` unless df is above zero.
    pub(super) fn new(df: f64, sharpness: f64) -> Option<Self> {
        if !(df > 0.0 && sharpness.is_finite()) {
            return None;
        }
        let node = |s: f64, weight: f64| Node { s, weight, remaining: 0.0 };
        if df >= super::NORMAL_DF {
            return Some(Self { branches: [vec![Node { s: 1.0, weight: 1.0, remaining: 1.0 }], Vec::new()] });
        }
        let step = (STEP / (2.0 * df + sharpness * sharpness).sqrt()).min(LARGEST_STEP);
        let mut upward = Vec::new();
        for i in 0_u32.. {
            let u = f64::from(i) * step;
            let exponent = df * log_density(u);
            if exponent < NEGLIGIBLE {
                break;
            }
            upward.push(node(u.exp(), exponent.exp()));
        }
        let mut downward = Vec::new();
        for i in 1_u32.. {
            let u = -f64::from(i) * step;
            let exponent = df * log_density(u);
            if exponent < NEGLIGIBLE {
                break;
            }
            if u < LOWEST {
                // What is left is a geometric series, because the density is proportional to exp(df u) here.
                downward.push(node(0.0, exponent.exp() / -(-df * step).exp_m1()));
                break;
            }
            downward.push(node(u.exp(), exponent.exp()));
        }
        let total: f64 = upward.iter().chain(&downward).map(|node| node.weight).sum();
        let mut branches = [upward, downward];
        for branch in &mut branches {
            let mut remaining = 0.0;
            for node in branch.iter_mut().rev() {
                node.weight /= total;
                remaining += node.weight;
                node.remaining = remaining;
            }
        }
        Some(Self { branches })
    }

    /// The expectation of a function with values from 0 to 1; nodes that cannot change its last digit are left out.
    pub(super) fn expect(&self, function: impl Fn(f64) -> f64) -> f64 {
        let mut sum = 0.0;
        for branch in &self.branches {
            for node in branch {
                if node.remaining < 0.1 * f64::EPSILON * sum {
                    break;
                }
                sum += node.weight * function(node.s);
            }
        }
        sum
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
