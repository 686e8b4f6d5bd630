//! Ranges and round ticks.

use crate::words::number;

/// Ends of an axis and the values it marks.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Axis {
    pub low: f64,
    pub high: f64,
    pub ticks: Vec<(f64, String)>,
}

/// Hours are read in half days and days.
const HOUR_STEPS: [f64; 9] = [1.0, 2.0, 3.0, 6.0, 12.0, 24.0, 48.0, 96.0, 192.0];

impl Axis {
    /// An axis over all values, between limits that its values cannot pass, with about `wanted` round ticks.
    /// `least` is the shortest span shown, so that small differences do not fill a chart.
    /// Values that are not finite are passed over; without any, the axis runs over the least span.
    pub fn round(values: impl Iterator<Item = f64>, limits: (f64, f64), least: f64, wanted: usize) -> Self {
        let (low, high) = span(values, limits, least);
        let raw = (high - low) / wanted as f64;
        let power = 10f64.powf(raw.log10().floor());
        let step = [1.0, 2.0, 5.0, 10.0].map(|factor| factor * power).into_iter().find(|step| *step >= raw * 0.999);
        Self::with_step(low, high, step.unwrap_or(10.0 * power), limits)
    }

    /// The same for hours.
    pub fn hours(values: impl Iterator<Item = f64>, wanted: usize) -> Self {
        let limits = (0.0, f64::INFINITY);
        let (low, high) = span(values, limits, 6.0);
        let raw = (high - low) / wanted as f64;
        let step = HOUR_STEPS.into_iter().find(|step| *step >= raw).unwrap_or((raw / 24.0).ceil() * 24.0);
        Self::with_step(low, high, step, limits)
    }

    /// Named places one apart.
    pub fn labels(labels: &[String]) -> Self {
        Self {
            low: -0.6,
            high: labels.len().max(1) as f64 - 0.4,
            ticks: labels.iter().enumerate().map(|(place, label)| (place as f64, label.clone())).collect(),
        }
    }

    fn with_step(low: f64, high: f64, step: f64, limits: (f64, f64)) -> Self {
        let first = ((low / step + 1e-9).floor() * step).max(limits.0);
        let last = ((high / step - 1e-9).ceil() * step).min(limits.1);
        let decimals = number::decimals_of_step(step);
        let count = ((last - first) / step + 1e-6).floor().clamp(0.0, 60.0) as usize;
        let ticks = (0..=count)
            .map(|index| {
                let value = first + index as f64 * step;
                (value, number::fixed(value, decimals))
            })
            .collect();
        Self { low: first, high: last, ticks }
    }
}

fn span(values: impl Iterator<Item = f64>, limits: (f64, f64), least: f64) -> (f64, f64) {
    let mut ends: Option<(f64, f64)> = None;
    for value in values.filter(|value| value.is_finite()) {
        let value = value.clamp(limits.0, limits.1);
        ends = Some(ends.map_or((value, value), |(low, high)| (low.min(value), high.max(value))));
    }
    let (mut low, mut high) = ends.unwrap_or_else(|| {
        let start = if limits.0.is_finite() { limits.0 } else { 0.0 };
        (start, start + least)
    });
    if high - low < least {
        let middle = (low + high) / 2.0;
        low = middle - least / 2.0;
        high = middle + least / 2.0;
        if low < limits.0 {
            high += limits.0 - low;
            low = limits.0;
        }
        if high > limits.1 {
            low = (low - (high - limits.1)).max(limits.0);
            high = limits.1;
        }
    }
    (low, high)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels(axis: &Axis) -> Vec<&str> {
        axis.ticks.iter().map(|(_, label)| label.as_str()).collect()
    }

    #[test]
    fn ticks_are_round_and_cover_the_values() {
        let axis = Axis::round([132.0, 641.0].into_iter(), (0.0, f64::INFINITY), 20.0, 6);
        assert_eq!(labels(&axis), ["100", "200", "300", "400", "500", "600", "700"]);
        let axis = Axis::round([0.213, 0.241].into_iter(), (0.0, f64::INFINITY), 0.001, 4);
        assert_eq!(labels(&axis), ["0.21", "0.22", "0.23", "0.24", "0.25"]);
    }

    #[test]
    fn shares_never_leave_nothing_to_all() {
        let axis = Axis::round([-3.0, 104.0, 55.0].into_iter(), (0.0, 100.0), 10.0, 5);
        assert_eq!((axis.low, axis.high), (0.0, 100.0));
        let axis = Axis::round([99.5].into_iter(), (0.0, 100.0), 10.0, 5);
        assert_eq!((axis.low, axis.high), (90.0, 100.0));
        assert_eq!(labels(&axis), ["90", "92", "94", "96", "98", "100"]);
    }

    #[test]
    fn equal_values_and_none_at_all_still_make_an_axis() {
        let axis = Axis::round([70.0, 70.0].into_iter(), (0.0, 100.0), 10.0, 5);
        assert!(axis.low < 70.0 && axis.high > 70.0 && axis.ticks.len() > 2);
        let axis = Axis::round(std::iter::once(f64::NAN), (0.0, 100.0), 10.0, 5);
        assert_eq!((axis.low, axis.high), (0.0, 10.0));
    }

    #[test]
    fn hours_are_marked_in_days() {
        let axis = Axis::hours([104.0, 260.0].into_iter(), 7);
        assert_eq!(labels(&axis), ["96", "120", "144", "168", "192", "216", "240", "264"]);
    }
}
