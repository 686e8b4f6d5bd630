//! Growing degree-days as extension pages and columns print them.

use evenstand_agronomy::{
    Kind, TemperatureLimits, TemperatureReading, ThermalClock, daily_degree_days, degree_days_fahrenheit,
};

use crate::shared::near;

fn fahrenheit(maximum_f: f64, minimum_f: f64) -> Option<f64> {
    let celsius = |value| Kind::Temperature.to_kept("f", value).expect("a temperature");
    daily_degree_days(celsius(minimum_f), celsius(maximum_f), TemperatureLimits::CORN, TemperatureReading::ClipEach)
}

/// Highest and lowest temperature and degree-days, all Fahrenheit, by the 86/50 rule.
const PRINTED: [(f64, f64, f64); 8] = [
    // Wisconsin county newspaper 2018
    (90.0, 65.0, 25.5),
    (72.0, 46.0, 11.0),
    (63.0, 42.0, 6.5),
    // a trade agronomist's column 2011
    (81.0, 63.0, 22.0),
    (68.0, 44.0, 9.0),
    // Ohio State 2023
    (87.0, 63.0, 24.5),
    // trade pages, the second of 2019
    (83.0, 61.0, 22.0),
    (75.0, 51.0, 13.0),
];

#[test]
fn printed_examples_of_the_86_50_rule_agree_to_the_last_digit() {
    for (maximum, minimum, printed) in PRINTED {
        let found = fahrenheit(maximum, minimum).map(degree_days_fahrenheit);
        // The values are exact; only the way through Celsius rounds.
        near(&format!("{maximum}/{minimum} °F"), found, printed, 1e-12);
    }
}

#[test]
fn three_printed_days_add_up_to_their_printed_sum() {
    // The newspaper of 2018 gives 43 for its three days.
    let daily = PRINTED[..3].iter().map(|&(maximum, minimum, _)| fahrenheit(maximum, minimum)).collect();
    let clock = ThermalClock::new(120, daily);
    near("sum", clock.degree_days_between(120.0, 123.0).map(degree_days_fahrenheit), 43.0, 1e-12);
}

#[test]
fn days_at_and_beyond_the_limits_are_clipped() {
    // Worked out from the rule: both below 50, both above 86, one below, both at 50, both limits.
    for (maximum, minimum, expected) in
        [(48.0, 40.0, 0.0), (95.0, 88.0, 36.0), (60.0, 40.0, 5.0), (50.0, 50.0, 0.0), (86.0, 50.0, 18.0)]
    {
        let found = fahrenheit(maximum, minimum).map(degree_days_fahrenheit);
        near(&format!("{maximum}/{minimum} °F"), found, expected, 1e-12);
    }
}

#[test]
fn the_two_readings_in_celsius_have_the_values_of_their_formulas() {
    // The two readings that McMaster & Wilhelm (1997) tell apart, worked out for a base of 10 °C; the first without a
    // ceiling, the second with 30 °C.
    let days = [
        (20.0, 4.0, 2.0, 5.0),
        (25.0, 12.0, 8.5, 8.5),
        (34.0, 20.0, 17.0, 15.0),
        (12.0, 2.0, 0.0, 1.0),
        (30.0, 10.0, 10.0, 10.0),
        (9.0, 1.0, 0.0, 0.0),
        (18.0, 11.0, 4.5, 4.5),
    ];
    let open = TemperatureLimits { base_c: 10.0, ceiling_c: None };
    for (maximum, minimum, mean_first, clip_each) in days {
        assert_eq!(daily_degree_days(minimum, maximum, open, TemperatureReading::MeanFirst), Some(mean_first));
        let clipped = daily_degree_days(minimum, maximum, TemperatureLimits::CORN, TemperatureReading::ClipEach);
        assert_eq!(clipped, Some(clip_each));
    }
}
