//! The functions of force that a curve is made of: a level, a line, a parabola, and what departs from the parabola.
//!
//! On scaled force s in −1 to 1 a departure is a sum of Legendre polynomials of degree 3 to 6. They are orthogonal to every parabola
//! over the range, so that a departure cannot pass for slope or curvature. Degree k weighs (3 / k)²: what a response that bends more
//! sharply on one side than on the other, or levels off, leaves beyond a parabola falls about so with the degree.

/// First departure among the functions.
pub(crate) const FIRST_DEPARTURE: usize = 3;
/// Number of functions: 1, s, s², and four departures.
pub(crate) const FUNCTIONS: usize = 7;
/// Values of the functions, or their coefficients.
pub(crate) type Functions = [f64; FUNCTIONS];

/// The functions at scaled force `s`.
pub(crate) fn basis(s: f64) -> Functions {
    let mut values = [1.0, s, s * s, 0.0, 0.0, 0.0, 0.0];
    // Legendre polynomials by their recurrence: k P_k = (2 k − 1) s P_(k−1) − (k − 1) P_(k−2).
    let (mut before, mut last) = (1.0, s);
    for (degree, value) in values.iter_mut().enumerate().skip(2) {
        let k = degree as f64;
        (before, last) = (last, ((2.0 * k - 1.0) * s * last - (k - 1.0) * before) / k);
        if degree >= FIRST_DEPARTURE {
            *value = (FIRST_DEPARTURE as f64 / k).powi(2) * last;
        }
    }
    values
}

/// The departures of a curve with these coefficients as coefficients of the powers of s, from 1 to s⁶: quick to work out at many forces.
pub(crate) fn departure_powers(coefficients: &Functions) -> Functions {
    let mut powers = [0.0; FUNCTIONS];
    let [mut before, mut last] = [[0.0; FUNCTIONS]; 2];
    (before[0], last[1]) = (1.0, 1.0);
    // The recurrence of `basis`, power by power.
    for (degree, coefficient) in coefficients.iter().enumerate().skip(2) {
        let k = degree as f64;
        let next = std::array::from_fn(|power| {
            let raised = if power > 0 { last[power - 1] } else { 0.0 };
            ((2.0 * k - 1.0) * raised - (k - 1.0) * before[power]) / k
        });
        (before, last) = (last, next);
        if degree >= FIRST_DEPARTURE {
            let weight = coefficient * (FIRST_DEPARTURE as f64 / k).powi(2);
            powers.iter_mut().zip(&last).for_each(|(sum, power)| *sum += weight * power);
        }
    }
    powers
}

/// Sum of coefficients times functions.
pub(crate) fn dot(coefficients: &Functions, functions: &Functions) -> f64 {
    coefficients.iter().zip(functions).map(|(coefficient, function)| coefficient * function).sum()
}

/// `a − b`, function by function.
pub(crate) fn less(a: &Functions, b: &Functions) -> Functions {
    std::array::from_fn(|function| a[function] - b[function])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn departures_are_orthogonal_to_parabolas_and_one_at_the_heavy_end_before_weighing() {
        let steps = 20_000;
        for departure in FIRST_DEPARTURE..FUNCTIONS {
            for power in 0..3 {
                let sum: f64 = (0..steps)
                    .map(|step| {
                        let s = -1.0 + (2.0 * f64::from(step) + 1.0) / f64::from(steps);
                        basis(s)[departure] * s.powi(power)
                    })
                    .sum();
                assert!((sum / f64::from(steps)).abs() < 1e-8, "departure {departure}, power {power}: {sum}");
            }
            let weight = (3.0 / departure as f64).powi(2);
            assert!((basis(1.0)[departure] - weight).abs() < 1e-12);
        }
    }

    #[test]
    fn departures_are_the_same_by_their_powers() {
        let coefficients = [1.0, 2.0, 3.0, 0.4, -0.3, 0.2, -0.1];
        let powers = departure_powers(&coefficients);
        for s in [-1.0, -0.7, 0.0, 0.2, 1.0] {
            let functions = basis(s);
            let wanted: f64 = (FIRST_DEPARTURE..FUNCTIONS).map(|number| coefficients[number] * functions[number]).sum();
            let found: f64 = powers.iter().rev().fold(0.0, |sum, power| sum * s + power);
            assert!((found - wanted).abs() < 1e-14, "{s}: {found} {wanted}");
        }
    }

    #[test]
    fn the_cubic_is_legendres() {
        assert!((basis(0.4)[3] - (5.0 * 0.064 - 3.0 * 0.4) / 2.0).abs() < 1e-12);
    }
}
