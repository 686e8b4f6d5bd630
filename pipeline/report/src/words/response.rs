//! Responses in words: what each is called, how its values and differences are written, and which way is better.

use evenstand_tables::{Group, schema};

use crate::results::Results;
use crate::words::number::{self, NO_BREAK_SPACE};

/// How values of a response are written.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Scale {
    /// Fractions shown as percent; differences in points.
    Share,
    /// Whole hours.
    Hours,
    /// Whole degree-days Celsius.
    DegreeDays,
    /// A number in its own unit with decimals from its spread.
    Plain {
        /// Unit, or nothing.
        unit: String,
    },
}

/// A response as people read about it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Response {
    /// Name in the tables.
    pub name: String,
    /// Label as in a heading.
    pub label: String,
    /// How values are written.
    pub scale: Scale,
    better: &'static str,
    worse: &'static str,
    shown_name: String,
}

impl Response {
    /// The response of this name. A name that is not known keeps its own words.
    pub fn of(name: &str, results: &Results) -> Self {
        let schema_label = schema(Group::Results, "strips")
            .ok()
            .and_then(|table| table.column(name))
            .and_then(|column| column.title.clone());
        let measure = name.strip_prefix("measure:");
        let label = match name {
            "on_time_share" => "Plants up on time".to_owned(),
            "emerged_share" => "Plants up in the end".to_owned(),
            "dig_check" => "Digging".to_owned(),
            _ => schema_label.unwrap_or_else(|| capitalised(&measure.unwrap_or(name).replace('_', " "))),
        };
        let scale = if name.ends_with("_share") || matches!(name, "spacing_cv" | "spacing_precision" | "synchrony") {
            Scale::Share
        } else if name.ends_with("_h") {
            Scale::Hours
        } else if name.ends_with("_cd") {
            Scale::DegreeDays
        } else {
            let unit = match measure {
                Some(measure) => results
                    .strip_measures
                    .iter()
                    .find(|row| row.name == measure)
                    .and_then(|row| row.unit.clone())
                    .unwrap_or_default(),
                None if name == "leaf_stage_sd" => "leaves".to_owned(),
                None => String::new(),
            };
            Scale::Plain { unit }
        };
        let (better, worse) = match name {
            "on_time_share" => ("more plants on time", "fewer plants on time"),
            "emerged_share" => ("more plants up in the end", "fewer plants up in the end"),
            "spread_h" | "spread_cd" | "spread_fit_h" => {
                ("less between the first and the last plants", "more between the first and the last plants")
            }
            "spacing_cv" | "spacing_precision" => ("less uneven in plant spacing", "more uneven in plant spacing"),
            "leaf_stage_sd" => ("less difference in leaf stage", "more difference in leaf stage"),
            "synchrony" => ("more plants up together", "fewer plants up together"),
            _ if name.starts_with('t') && matches!(scale, Scale::Hours | Scale::DegreeDays) => ("sooner", "later"),
            "mean_emergence_h" | "mean_emergence_cd" => ("sooner", "later"),
            _ => ("better", "worse"),
        };
        let shown_name = label.to_lowercase().replace("(t90 − t10)", "(T90 − T10)");
        Self { name: name.to_owned(), label, scale, better, worse, shown_name }
    }

    /// The label inside a sentence.
    pub fn in_text(&self) -> &str {
        &self.shown_name
    }

    /// The value as it stands on an axis: shares in percent.
    pub fn axis_value(&self, value: f64) -> f64 {
        if self.scale == Scale::Share { value * 100.0 } else { value }
    }

    /// Title of an axis.
    pub fn axis_title(&self) -> String {
        let unit = match (&self.scale, self.name.as_str()) {
            (Scale::Share, "on_time_share" | "emerged_share") => "% of seeds sown",
            (Scale::Share, "miss_share" | "multiple_share" | "quality_share") => "% of spacings",
            (Scale::Share, _) => "%",
            (Scale::Hours, _) => "hours",
            (Scale::DegreeDays, _) => "°C·d",
            (Scale::Plain { unit }, _) => unit,
        };
        if unit.is_empty() {
            self.label.clone()
        } else if self.label.ends_with(')') {
            format!("{}, {unit}", self.label)
        } else {
            format!("{} ({unit})", self.label)
        }
    }

    /// A value with its unit. `uncertainty` (in the unit of the table) sets the decimals of a plain number.
    pub fn value(&self, value: f64, uncertainty: Option<f64>) -> String {
        match &self.scale {
            Scale::Share => number::percent(value),
            Scale::Hours => number::with_unit(&number::whole(value), "h"),
            Scale::DegreeDays => number::with_unit(&number::whole(value), "°C·d"),
            Scale::Plain { unit } => number::with_unit(&number::fixed(value, plain_decimals(uncertainty)), unit),
        }
    }

    /// Whether less is better.
    pub fn lower_is_better(&self) -> bool {
        self.better.starts_with("less") || self.better == "sooner"
    }

    /// The unit of differences, as in the head of a table: "points"; nothing where there is none.
    pub fn difference_unit(&self) -> &str {
        match &self.scale {
            Scale::Share => "points",
            Scale::Hours => "hours",
            Scale::DegreeDays => "°C·d",
            Scale::Plain { unit } => unit,
        }
    }

    /// A difference without sign words: "4 points", "6 hours", "0.3 t/ha".
    pub fn difference(&self, difference: f64, uncertainty: Option<f64>) -> String {
        self.with_unit_of_difference(self.bare_difference(difference, uncertainty))
    }

    /// A difference with the decimals that its uncertainty deserves, from one to three: "0.39 points".
    pub fn fine_difference(&self, difference: f64, uncertainty: Option<f64>) -> String {
        self.with_unit_of_difference(self.fine_number(difference, uncertainty))
    }

    /// The same as a bare number, for an interval.
    pub fn fine_number(&self, difference: f64, uncertainty: Option<f64>) -> String {
        let factor = self.axis_value(1.0);
        let decimals = uncertainty.map_or(1, |one| number::decimals_for(one * factor)).clamp(1, 3);
        number::fixed(difference * factor, decimals)
    }

    /// A limit that differences do not pass, rounded up, so that no more is excluded than was.
    pub fn limit(&self, limit: f64) -> String {
        let shown = self.axis_value(limit);
        let decimals = number::decimals_for(shown / 4.0);
        let power = 10f64.powi(decimals as i32);
        self.with_unit_of_difference(number::fixed((shown * power - 1e-9).ceil() / power, decimals))
    }

    /// A margin that somebody set, as it was set, up to three decimals: "2 points", "2.5 hours".
    pub fn margin(&self, margin: f64) -> String {
        let shown = self.axis_value(margin);
        let as_set = |decimals: &usize| {
            let power = 10f64.powi(*decimals as i32);
            ((shown * power).round() / power - shown).abs() < 1e-9
        };
        let decimals = (0..3).find(as_set).unwrap_or(3);
        self.with_unit_of_difference(number::fixed(shown, decimals))
    }

    fn with_unit_of_difference(&self, number: String) -> String {
        let (one, many) = match &self.scale {
            Scale::Share => ("point", "points"),
            Scale::Hours => ("hour", "hours"),
            Scale::DegreeDays => ("°C·d", "°C·d"),
            Scale::Plain { unit } => (unit.as_str(), unit.as_str()),
        };
        number::with_unit(&number, if number == "1" { one } else { many })
    }

    /// A difference as a bare number, for a table or inside an interval.
    pub fn bare_difference(&self, difference: f64, uncertainty: Option<f64>) -> String {
        match &self.scale {
            Scale::Share => number::whole(difference * 100.0),
            Scale::Hours | Scale::DegreeDays => number::whole(difference),
            Scale::Plain { .. } => number::fixed(difference, plain_decimals(uncertainty)),
        }
    }

    /// Whether a difference, as it would be written, is nothing.
    pub fn rounds_to_nothing(&self, difference: f64, uncertainty: Option<f64>) -> bool {
        self.bare_difference(difference.abs(), uncertainty).chars().all(|digit| matches!(digit, '0' | '.'))
    }

    /// A gain in words, where positive is better: "about 4 points more plants on time". A gain that rounds to
    /// nothing says so, so that no one reads a zero as a finding.
    pub fn gain(&self, gain: f64, uncertainty: Option<f64>) -> String {
        if self.rounds_to_nothing(gain, uncertainty) {
            let least = match &self.scale {
                Scale::Share => format!("half a point{NO_BREAK_SPACE}"),
                Scale::Hours => format!("half an hour{NO_BREAK_SPACE}"),
                Scale::DegreeDays => format!("half a degree-day{NO_BREAK_SPACE}"),
                _ => "what can be measured ".to_owned(),
            };
            return format!("a difference of less than {}", least.trim_end());
        }
        let way = if gain < 0.0 { self.worse } else { self.better };
        format!("about {} {way}", self.difference(gain.abs(), uncertainty))
    }
}

fn plain_decimals(uncertainty: Option<f64>) -> usize {
    uncertainty.map_or(1, number::decimals_for)
}

/// The text with its first letter large.
pub(crate) fn capitalised(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::made_up;

    #[test]
    fn gains_read_in_the_unit_of_the_response_and_the_right_way_round() {
        let results = Results::default();
        let gain = |name: &str, gain: f64| Response::of(name, &results).gain(gain, Some(0.04));
        assert_eq!(gain("on_time_share", 0.041), "about 4\u{a0}points more plants on time");
        assert_eq!(gain("on_time_share", -0.01), "about 1\u{a0}point fewer plants on time");
        assert_eq!(gain("spread_h", 6.3), "about 6\u{a0}hours less between the first and the last plants");
        assert_eq!(gain("t50_h", 5.0), "about 5\u{a0}hours sooner");
        assert_eq!(gain("t50_cd", 3.2), "about 3\u{a0}°C·d sooner");
        assert_eq!(gain("spread_cd", 0.3), "a difference of less than half a degree-day");
        assert_eq!(gain("leaf_stage_sd", 0.141), "about 0.14\u{a0}leaves less difference in leaf stage");
        assert_eq!(gain("emerged_share", 0.002), "a difference of less than half a point");
    }

    #[test]
    fn what_is_excluded_is_rounded_up_and_small_losses_keep_their_decimals() {
        let results = Results::default();
        let share = Response::of("on_time_share", &results);
        assert_eq!(share.limit(0.0917), "10\u{a0}points");
        assert_eq!(share.limit(0.0432), "4.4\u{a0}points");
        assert_eq!(share.limit(0.25), "25\u{a0}points");
        assert_eq!(Response::of("spread_h", &results).limit(18.2), "19\u{a0}hours");
        assert_eq!(Response::of("leaf_stage_sd", &results).limit(0.2861), "0.29\u{a0}leaves");
        assert_eq!(share.fine_difference(0.003_93, Some(0.000_65)), "0.39\u{a0}points");
        assert_eq!(share.fine_difference(0.003_93, Some(0.005)), "0.4\u{a0}points");
        assert_eq!(share.fine_difference(0.003_93, None), "0.4\u{a0}points");
    }

    #[test]
    fn labels_come_from_the_schema_and_measures_from_their_table() {
        let mut results = Results::default();
        results.strip_measures.push(made_up::measure("North", 2025, "1", "grain_yield", 11.24, "t/ha"));
        let yield_response = Response::of("measure:grain_yield", &results);
        assert_eq!(yield_response.axis_title(), "Grain yield (t/ha)");
        assert_eq!(yield_response.value(11.24, Some(0.3)), "11.2\u{a0}t/ha");
        assert_eq!(Response::of("spread_h", &results).axis_title(), "Emergence spread (T90 − T10), hours");
        assert_eq!(Response::of("on_time_share", &results).axis_title(), "Plants up on time (% of seeds sown)");
        assert_eq!(
            Response::of("spread_cd", &results).axis_title(),
            "Emergence spread (T90 − T10) in degree-days (°C·d)"
        );
        assert_eq!(Response::of("t50_cd", &results).in_text(), "time to 50 % in degree-days");
        assert_eq!(Response::of("something_new", &results).label, "Something new");
    }
}
