//! Log probabilities of the standard curves and their derivatives, exact in both tails and for narrow intervals.
//!
//! A row's probability depends on where its ends `z = (log t - mu) / sigma` lie on a standard distribution G. Derivatives are taken
//! along two directions: `shift` moves both ends up together; `tau = log sigma` draws them to zero, `dz/dtau = -z`. The distance
//! `w` of the two ends is `log(right / left) / sigma`; it is carried along instead of being formed as a difference.

use super::normal;
use crate::distribution::normal_quantile;

/// The standard distribution of `(log t - mu) / sigma`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shape {
    /// `G(z) = 1 / (1 + exp(-z))`: t is log-logistic with median exp(mu) and slope 1 / sigma.
    LogLogistic,
    /// `G(z) = 1 - exp(-exp(z))`: t is Weibull with scale exp(mu) and shape 1 / sigma.
    Weibull,
    /// `G(z) = Φ(z)`: t is log-normal with median exp(mu).
    LogNormal,
}

/// A log probability with first and second derivatives along `shift` and `tau`.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Piece {
    pub(super) log: f64,
    pub(super) shift: f64,
    pub(super) tau: f64,
    pub(super) shift_shift: f64,
    pub(super) shift_tau: f64,
    pub(super) tau_tau: f64,
}

/// A function of one argument with two derivatives.
pub(super) type Curve = (f64, f64, f64);

impl Piece {
    /// `f(y)` where y moves with `shift` at rate one and along `tau` at the given rate and second derivative.
    fn through((log, first, second): Curve, y_tau: f64, y_tau_tau: f64) -> Self {
        Self {
            log,
            shift: first,
            tau: first * y_tau,
            shift_shift: second,
            shift_tau: second * y_tau,
            tau_tau: second * y_tau * y_tau + first * y_tau_tau,
        }
    }

    /// `f(z)` of one end.
    pub(super) fn of_end(curve: Curve, z: f64) -> Self {
        Self::through(curve, -z, z)
    }

    fn plus(self, other: Self) -> Self {
        Self {
            log: self.log + other.log,
            shift: self.shift + other.shift,
            tau: self.tau + other.tau,
            shift_shift: self.shift_shift + other.shift_shift,
            shift_tau: self.shift_tau + other.shift_tau,
            tau_tau: self.tau_tau + other.tau_tau,
        }
    }
}

impl Shape {
    /// Name in words.
    pub fn name(self) -> &'static str {
        match self {
            Self::LogLogistic => "log-logistic",
            Self::Weibull => "Weibull",
            Self::LogNormal => "log-normal",
        }
    }

    /// `log G(z)` with derivatives.
    fn log_cdf(self, z: f64) -> Curve {
        match self {
            Self::LogLogistic => (-softplus(-z), logistic(-z), -logistic_density(z)),
            Self::Weibull => {
                let h = z.exp();
                let k = over_expm1(h);
                (log_one_minus_exp(h, z), k, k - slope_of_over_expm1(h))
            }
            Self::LogNormal => normal::log_cdf(z),
        }
    }

    /// `log (1 - G(z))` with derivatives.
    fn log_sf(self, z: f64) -> Curve {
        match self {
            Self::LogLogistic => (-softplus(z), -logistic(z), -logistic_density(z)),
            Self::Weibull => {
                let h = z.exp();
                (-h, -h, -h)
            }
            Self::LogNormal => {
                let (log, first, second) = normal::log_cdf(-z);
                (log, -first, second)
            }
        }
    }

    /// `log G(z)` along shift and tau.
    pub(super) fn by(self, z: f64) -> Piece {
        Piece::of_end(self.log_cdf(z), z)
    }

    /// `log (1 - G(z))` along shift and tau.
    pub(super) fn after(self, z: f64) -> Piece {
        Piece::of_end(self.log_sf(z), z)
    }

    /// `log (G(high) - G(low))` along shift and tau, for finite ends `width` apart.
    pub(super) fn between(self, low: f64, high: f64, width: f64) -> Piece {
        match self {
            // G(b) - G(a) = G(b) (1 - G(a)) (1 - exp(-w))
            Self::LogLogistic => {
                let (k, slope) = (over_expm1(width), slope_of_over_expm1(width));
                let gap = Piece {
                    log: log_one_minus_exp(width, width.ln()),
                    tau: -k,
                    tau_tau: k - slope,
                    ..Piece::default()
                };
                self.by(high).plus(self.after(low)).plus(gap)
            }
            // G(b) - G(a) = exp(-exp(a)) (1 - exp(-exp(y))), y = log(exp(b) - exp(a)) = b + log(1 - exp(-w))
            Self::Weibull => {
                let (k, slope) = (over_expm1(width), slope_of_over_expm1(width));
                let y = high + log_one_minus_exp(width, width.ln());
                self.after(low).plus(Piece::through(self.log_cdf(y), -high - k, high + k - slope))
            }
            Self::LogNormal => normal::between(low, high, width),
        }
    }

    /// `G(z)`.
    pub(super) fn cdf(self, z: f64) -> f64 {
        if z == f64::NEG_INFINITY { 0.0 } else { self.log_cdf(z).0.exp() }
    }

    /// The z with `G(z) = p`, for p inside (0, 1).
    pub(super) fn quantile(self, p: f64) -> f64 {
        match self {
            Self::LogLogistic => p.ln() - (-p).ln_1p(),
            Self::Weibull => (-(-p).ln_1p()).ln(),
            Self::LogNormal => normal_quantile(p),
        }
    }

    /// Density of G at z, and the derivative of its log.
    pub(super) fn density(self, z: f64) -> (f64, f64) {
        match self {
            Self::LogLogistic => (logistic_density(z), 1.0 - 2.0 * logistic(z)),
            Self::Weibull => ((z - z.exp()).exp(), 1.0 - z.exp()),
            Self::LogNormal => ((-0.5 * z * z).exp() / (2.0 * std::f64::consts::PI).sqrt(), -z),
        }
    }

    /// Mean and standard deviation of G.
    pub(super) fn moments(self) -> (f64, f64) {
        let pi = std::f64::consts::PI;
        match self {
            Self::LogLogistic => (0.0, pi / 3.0_f64.sqrt()),
            // Minus Euler's constant.
            Self::Weibull => (-0.577_215_664_901_532_9, pi / 6.0_f64.sqrt()),
            Self::LogNormal => (0.0, 1.0),
        }
    }
}

/// `log(1 + exp(x))`.
pub(super) fn softplus(x: f64) -> f64 {
    x.max(0.0) + (-x.abs()).exp().ln_1p()
}

/// `1 / (1 + exp(-x))`.
pub(super) fn logistic(x: f64) -> f64 {
    let e = (-x.abs()).exp();
    if x >= 0.0 { 1.0 / (1.0 + e) } else { e / (1.0 + e) }
}

/// `logistic(x) (1 - logistic(x))`.
pub(super) fn logistic_density(x: f64) -> f64 {
    let e = (-x.abs()).exp();
    e / ((1.0 + e) * (1.0 + e))
}

/// `log(1 - exp(-h))` for h ≥ 0 whose log is given, so that an h too small for a number still counts.
fn log_one_minus_exp(h: f64, log_h: f64) -> f64 {
    if h < 1e-4 {
        log_h - h * (0.5 - h / 24.0)
    } else if h < std::f64::consts::LN_2 {
        (-(-h).exp_m1()).ln()
    } else {
        (-(-h).exp()).ln_1p()
    }
}

/// `h / (exp(h) - 1)`, which is one at zero.
pub(super) fn over_expm1(h: f64) -> f64 {
    if h == 0.0 {
        1.0
    } else if h > 700.0 {
        0.0
    } else {
        h / h.exp_m1()
    }
}

/// `h² exp(h) / (exp(h) - 1)²`. The derivative of k = [`over_expm1`] along log h is k less this.
fn slope_of_over_expm1(h: f64) -> f64 {
    if h > 700.0 {
        return 0.0;
    }
    let k = over_expm1(h);
    k * k * h.exp()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::derivatives::{STEP, derivatives};

    const SHAPES: [Shape; 3] = [Shape::LogLogistic, Shape::Weibull, Shape::LogNormal];

    /// A piece as a function of (shift, tau), to be differentiated by differences.
    fn check(name: &str, piece: impl Fn(f64, f64) -> Piece) {
        let here = piece(0.0, 0.0);
        let numeric = derivatives(|p| Some(vec![piece(p[0], p[1]).log]), &[0.0, 0.0], STEP).expect("has values");
        let pairs = [
            (here.shift, numeric.gradient[0][0]),
            (here.tau, numeric.gradient[1][0]),
            (here.shift_shift, numeric.hessian[0][0]),
            (here.shift_tau, numeric.hessian[1][0]),
            (here.tau_tau, numeric.hessian[3][0]),
        ];
        let scale = 1.0 + here.log.abs() + pairs.iter().map(|p| p.0.abs()).fold(0.0, f64::max);
        for (k, (found, expected)) in pairs.iter().enumerate() {
            assert!((found - expected).abs() < 3e-8 * scale, "{name}, derivative {k}: {found} against {expected}");
        }
    }

    #[test]
    fn derivatives_agree_with_differences_everywhere() {
        for shape in SHAPES {
            for z in [-9.0, -3.0, -0.4, 0.0, 0.7, 2.5] {
                let moved = |shift: f64, tau: f64| z * (-tau).exp() + shift;
                check(&format!("{shape:?} by {z}"), |s, t| shape.by(moved(s, t)));
                check(&format!("{shape:?} after {z}"), |s, t| shape.after(moved(s, t)));
                for width in [1e-3, 0.05, 0.3, 2.0, 6.0] {
                    let between = |s: f64, t: f64| {
                        let low = z * (-t).exp() + s;
                        let width = width * (-t).exp();
                        shape.between(low, low + width, width)
                    };
                    check(&format!("{shape:?} {z} + {width}"), between);
                }
            }
        }
    }

    #[test]
    fn an_interval_and_its_two_ends_add_up_to_one() {
        for shape in SHAPES {
            for (low, high) in [(-2.0, 1.0), (-0.01, 0.01), (0.5, 0.6), (-7.0, -6.5), (1.5, 3.0)] {
                let sum = shape.cdf(low) + shape.between(low, high, high - low).log.exp() + shape.after(high).log.exp();
                assert!((sum - 1.0).abs() < 4e-16, "{shape:?} ({low}, {high}): {sum}");
                assert!((shape.cdf(shape.quantile(0.3)) - 0.3).abs() < 1e-15);
            }
        }
    }
}
