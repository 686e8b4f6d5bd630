//! Log probabilities of the standard normal with derivatives, from the far tail to intervals of almost no width.

use super::shape::{Curve, Piece};
use crate::distribution::normal_log_cdf;
use crate::distribution::normal_tail::{FAR, above_half, hazard_less_argument, log_density, mills};

/// Narrower than this (times the distance from the centre) an interval is integrated by its series.
const NARROW: f64 = 0.1;

/// `log Φ(z)` with derivatives.
pub(super) fn log_cdf(z: f64) -> Curve {
    let log = normal_log_cdf(z);
    if z <= -FAR {
        // z + ratio is the small difference of two large numbers far out; here it comes by itself.
        let rest = hazard_less_argument(-z);
        let ratio = rest - z;
        return (log, ratio, -ratio * rest);
    }
    let ratio = (log_density(z) - log).exp();
    (log, ratio, -ratio * (z + ratio))
}

/// `log (Φ(high) - Φ(low))` along shift and tau.
pub(super) fn between(low: f64, high: f64, width: f64) -> Piece {
    let middle = 0.5 * (low + high);
    if width * middle.abs().max(1.0) < NARROW { narrow(middle, width) } else { wide(low, high, width) }
}

fn wide(low: f64, high: f64, width: f64) -> Piece {
    // The upper tail is turned over: only there do both probabilities have few digits.
    let (a, b) = if low + high > 0.0 { (-high, -low) } else { (low, high) };
    let log = if b > 0.0 {
        (above_half(b) + above_half(-a)).ln()
    } else {
        let drop = if b <= -FAR {
            // log Φ(b) - log Φ(a) with a² - b² formed from the width.
            -0.5 * width * (a + b) + (mills(-b) / mills(-a)).ln()
        } else {
            normal_log_cdf(b) - normal_log_cdf(a)
        };
        normal_log_cdf(b) + (-(-drop).exp_m1()).ln()
    };
    let (u, v) = ((log_density(low) - log).exp(), (log_density(high) - log).exp());
    let shift = v - u;
    let tau = low * u - high * v;
    let second = low * u - high * v;
    Piece {
        log,
        shift,
        tau,
        shift_shift: second - shift * shift,
        shift_tau: high * high * v - low * low * u - shift * tau,
        tau_tau: high * (1.0 - high * high) * v - low * (1.0 - low * low) * u - tau * tau,
    }
}

/// By the series of `∫ φ` around the middle m, `φ(m) w (1 + e)`, e = `w² (m² - 1) / 24 + …` in Hermite polynomials of m.
fn narrow(m: f64, w: f64) -> Piece {
    let (m2, w2) = (m * m, w * w);
    let coefficients = [w2 / 24.0, w2 * w2 / 1920.0, w2 * w2 * w2 / 322_560.0];
    let polynomials = [
        (m2 - 1.0, 2.0 * m, 2.0),
        ((m2 - 6.0) * m2 + 3.0, (4.0 * m2 - 12.0) * m, 12.0 * m2 - 12.0),
        (((m2 - 15.0) * m2 + 45.0) * m2 - 15.0, ((6.0 * m2 - 60.0) * m2 + 90.0) * m, (30.0 * m2 - 180.0) * m2 + 90.0),
    ];
    // Along tau both m and w shrink in proportion, so w d/dw of w^j is j w^j.
    let (mut e, mut e_m, mut e_mm, mut e_w, mut e_mw, mut e_ww) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
    for (k, (c, (value, first, second))) in coefficients.iter().zip(polynomials).enumerate() {
        let power = 2.0 * (k + 1) as f64;
        e += c * value;
        e_m += c * first;
        e_mm += c * second;
        e_w += power * c * value;
        e_mw += power * c * first;
        e_ww += power * power * c * value;
    }
    let whole = 1.0 + e;
    let e_tau = -(m * e_m + e_w);
    let e_m_tau = -(m * e_mm + e_mw);
    let e_tau_tau = m * e_m + m2 * e_mm + 2.0 * m * e_mw + e_ww;
    Piece {
        log: log_density(m) + w.ln() + e.ln_1p(),
        shift: -m + e_m / whole,
        tau: m2 - 1.0 + e_tau / whole,
        shift_shift: -1.0 + e_mm / whole - (e_m / whole).powi(2),
        shift_tau: m + e_m_tau / whole - e_m * e_tau / (whole * whole),
        tau_tau: -2.0 * m2 + e_tau_tau / whole - (e_tau / whole).powi(2),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_ways_to_an_interval_meet_where_one_takes_over() {
        for middle in [-4.0, -0.3, 0.0, 1.0, 2.5] {
            let width = NARROW / f64::max(1.0, f64::abs(middle));
            let (series, plain) = (narrow(middle, width), wide(middle - 0.5 * width, middle + 0.5 * width, width));
            for (a, b) in [
                (series.log, plain.log),
                (series.shift, plain.shift),
                (series.tau, plain.tau),
                (series.shift_shift, plain.shift_shift),
                (series.shift_tau, plain.shift_tau),
                (series.tau_tau, plain.tau_tau),
            ] {
                assert!((a - b).abs() < 2e-11 * (1.0 + a.abs()), "at {middle}: {a} against {b}");
            }
        }
    }
}
