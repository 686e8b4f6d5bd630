//! Which parts of a planter usually stand together, and whether closers are pooled.

use std::collections::BTreeMap;

use serde::Deserialize;

use crate::SettingsError;
use crate::planter::{CLOSERS, GAUGE_WHEELS};

/// Hardware of planters. The pairs are common practice and have no source.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Hardware {
    /// Closers that usually stand behind each gauge wheel. A wheel of reduced inner diameter leaves a looser wall of the trench, which discs or a
    /// single wheel shut; a flat one leaves a denser wall, which wants a closer that presses more.
    pub usual_pairs: BTreeMap<String, Vec<String>>,
    /// Whether strips of different closers share one curve. They never do unless this says so.
    pub pool_closers: bool,
}

impl Default for Hardware {
    fn default() -> Self {
        let pair = |wheel: &str, closers: &[&str]| {
            (wheel.to_owned(), closers.iter().map(|closer| (*closer).to_owned()).collect::<Vec<_>>())
        };
        Self {
            usual_pairs: [
                pair("reduced_inner_diameter", &["discs_and_press_wheel", "single_wheel"]),
                pair("flat", &["angled_press_wheels", "discs_and_press_wheel"]),
            ]
            .into(),
            pool_closers: false,
        }
    }
}

impl Hardware {
    /// Whether a closer usually stands behind a gauge wheel; `None` where either is not known, or no pair is named for the wheel.
    pub fn is_usual(&self, gauge_wheel: Option<&str>, closer: &str) -> Option<bool> {
        let closers = self.usual_pairs.get(gauge_wheel?)?;
        (closer != "other").then(|| closers.iter().any(|usual| usual == closer))
    }

    pub(crate) fn check(&self) -> Result<(), SettingsError> {
        for (wheel, closers) in &self.usual_pairs {
            let key = "hardware.usual_pairs";
            if !GAUGE_WHEELS.contains(&wheel.as_str()) {
                return Err(SettingsError::value(
                    key,
                    format!("\"{wheel}\""),
                    format!("one of {}", GAUGE_WHEELS.join(", ")),
                ));
            }
            if let Some(unknown) = closers.iter().find(|closer| !CLOSERS.contains(&closer.as_str())) {
                return Err(SettingsError::value(
                    key,
                    format!("\"{unknown}\""),
                    format!("one of {}", CLOSERS.join(", ")),
                ));
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use crate::Settings;

    #[test]
    fn usual_pairs_have_defaults_and_what_is_not_known_is_not_judged() {
        let hardware = Settings::parse("").unwrap().hardware;
        assert_eq!(hardware.is_usual(Some("reduced_inner_diameter"), "discs_and_press_wheel"), Some(true));
        assert_eq!(hardware.is_usual(Some("reduced_inner_diameter"), "angled_press_wheels"), Some(false));
        assert_eq!(hardware.is_usual(Some("flat"), "single_wheel"), Some(false));
        assert_eq!(hardware.is_usual(Some("flat"), "other"), None);
        assert_eq!(hardware.is_usual(None, "single_wheel"), None);
        assert!(!hardware.pool_closers);
    }

    #[test]
    fn pairs_may_be_set_and_words_that_are_not_known_are_named() {
        let own = Settings::parse("[hardware]\nusual_pairs = { flat = [\"single_wheel\"] }").unwrap().hardware;
        assert_eq!(own.is_usual(Some("flat"), "single_wheel"), Some(true));
        assert_eq!(own.is_usual(Some("reduced_inner_diameter"), "single_wheel"), None);
        for text in ["usual_pairs = { round = [] }", "usual_pairs = { flat = [\"hoe\"] }"] {
            let message = Settings::parse(&format!("[hardware]\n{text}")).unwrap_err().to_string();
            assert!(message.contains("round") || message.contains("hoe"), "{message}");
            assert!(message.contains("one of"), "{message}");
        }
    }
}
