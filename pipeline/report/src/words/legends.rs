//! What the marks of a condition's chart mean.

use crate::charts::condition::ConditionChart;
use crate::charts::dig_panel::DigPanel;
use crate::charts::lanes::Look;

impl ConditionChart {
    /// What the marks of this chart mean; `interval` is the confidence of the band in words.
    pub fn legend(&self, interval: &str) -> String {
        let interval = if interval.is_empty() { "interval".to_owned() } else { format!("{interval} interval") };
        let mut words = if self.digs_alone() {
            String::new()
        } else {
            format!(
                "Circles: strips with field and block taken out. Line: pooled curve; shaded: its {interval}. Small \
                 strokes on the axis: settings that were tried."
            )
        };
        let shown = |value: Option<f64>| value.map(|value| self.gauge.axis_number(value));
        words.push_str(match (shown(self.start), shown(self.default)) {
            (Some(start), Some(default)) if start == default => " Solid upright: start, and the default.",
            (Some(_), Some(_)) => " Solid upright: start. Dashed upright: default.",
            (Some(_), None) => " Solid upright: start.",
            (None, Some(_)) => " Dashed upright: default.",
            (None, None) => "",
        });
        let bars: Vec<&str> = self
            .lanes()
            .iter()
            .map(|lane| match lane.look {
                Look::Hatched => "hatched, as good as the best",
                Look::Filled => "filled, what can be the best in a field not yet seen",
                Look::Outlined => "outlined, the same by this condition alone",
                Look::Dots => "dots, the lightest and the heaviest setting that can be the best without a curve",
            })
            .collect();
        if !bars.is_empty() {
            words.push_str(&format!(" Bars below: {}.", bars.join("; ")));
        }
        if let Some(digs) = &self.digs {
            words.push_str(&digs.legend(&interval));
        }
        words.trim_start().to_owned()
    }
}

impl DigPanel {
    /// What its marks mean.
    pub fn legend(&self, interval: &str) -> String {
        let shown: Vec<&str> =
            [(&self.open, "solid line and circles, not shut"), (&self.firm, "dashed line and squares, too firm")]
                .into_iter()
                .filter_map(|(side, words)| (!side.is_empty()).then_some(words))
                .collect();
        let mut words = format!(" Panel of digs: places at each setting, counted; {}", shown.join("; "));
        if [&self.open, &self.firm].iter().any(|side| side.curve.len() > 1) {
            words.push_str(&format!("; shaded, the {interval} of a typical field"));
        }
        words.push('.');
        if self.open.allowed.is_some() || self.firm.allowed.is_some() {
            words.push_str(" Dotted line: the share allowed.");
        }
        let bars: Vec<&str> = self
            .bars
            .iter()
            .map(|bar| match bar.look {
                Look::Hatched => "hatched, forces that digging allows",
                Look::Outlined => "outlined, more than the share allowed are not shut",
                Look::Filled | Look::Dots => "filled, more than the share allowed are too firm",
            })
            .collect();
        if !bars.is_empty() {
            words.push_str(&format!(" Bars under it: {}.", bars.join("; ")));
        }
        words
    }
}
