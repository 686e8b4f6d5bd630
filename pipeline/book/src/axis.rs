//! Ends of an axis on round numbers.

/// Smallest and largest round number around these values, and the step between marks; nothing where there is no value.
pub(crate) fn around(values: impl Iterator<Item = f64>) -> Option<(f64, f64, f64)> {
    let (low, high) = values
        .filter(|value| value.is_finite())
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| (low.min(value), high.max(value)));
    if low > high {
        return None;
    }
    // One value alone stands in the middle of a short axis.
    let span = if high > low { high - low } else { low.abs().max(1.0) * 0.2 };
    let (low, high) = if high > low { (low, high) } else { (low - span / 2.0, high + span / 2.0) };
    let rough = span / 6.0;
    let power = 10_f64.powi(rough.log10().floor() as i32);
    let step = [1.0, 2.0, 5.0, 10.0].map(|times| times * power).into_iter().find(|step| *step >= rough * 0.999)?;
    let at = |marks: f64| {
        // 3 × 0.1 is not 0.3: the number is rounded to the decimals of its step.
        let decimals = (2.0 - power.log10()).max(0.0) as i32;
        let scale = 10_f64.powi(decimals);
        (marks * step * scale).round() / scale
    };
    let (first, last) = (at((low / step + 1e-9).floor()), at((high / step - 1e-9).ceil()));
    (first.is_finite() && last.is_finite() && first < last).then_some((first, last, at(1.0)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_axis_ends_on_round_numbers_around_the_values() {
        assert_eq!(around([80.0, 330.83].into_iter()), Some((50.0, 350.0, 50.0)));
        assert_eq!(around([0.31, 0.69, 0.5].into_iter()), Some((0.3, 0.7, 0.1)));
        assert_eq!(around([-0.021, 0.052].into_iter()), Some((-0.04, 0.06, 0.02)));
        assert_eq!(around([200.0].into_iter()), Some((180.0, 220.0, 10.0)));
        assert_eq!(around([0.0, 0.0].into_iter()), Some((-0.1, 0.1, 0.05)));
        assert_eq!(around([f64::NAN].into_iter()), None);
        assert_eq!(around([-1e308, 1e308].into_iter()), None);
    }
}
