//! Daily weather, April to June of each season, one invented station for all fields.

use rand::Rng;

use super::clock::{DAY, LocalMinute};
use super::growth::noise;
use super::random::{Purpose, stream};
use super::tidy::TidyTable;

/// `weather.csv`, in degrees Fahrenheit and inches. Warmth goes up through the season, with spells; by mid May it comes to
/// the 12 to 14 degree-days a day that the plants were drawn with, on average but not day by day.
pub fn daily() -> TidyTable {
    let mut table = TidyTable::new("weather.csv", &["field_id", "date", "tmin_f", "tmax_f", "rain_in"]);
    for season in 2022..=2025 {
        let mut generator = stream(Purpose::Weather, season as usize);
        let mut spell = 0.0;
        for day in 0..91 {
            spell = 0.7 * spell + 3.0 * noise(&mut generator);
            let usual = 50.0 + 0.27 * day as f64;
            let wet = generator.random::<f64>() < 0.3;
            let half_range = 11.5 + noise(&mut generator) - if wet { 3.0 } else { 0.0 };
            let rain = if wet {
                // Exponential with a mean of a third of an inch.
                -0.33 * (1.0 - generator.random::<f64>()).ln()
            } else {
                0.0
            };
            table.push([
                String::new(),
                LocalMinute::new(season, 4, 1, 0, 0).plus(day * DAY).date(),
                format!("{:.0}", usual + spell - half_range),
                format!("{:.0}", usual + spell + half_range),
                format!("{rain:.2}"),
            ]);
        }
    }
    table
}
