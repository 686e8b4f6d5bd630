//! How often a trench may be found open, or the soil too firm, before a force counts as too light or too heavy.

use serde::Deserialize;

use crate::SettingsError;

/// Limits of the dig window. The defaults are common practice and have no source.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Dig {
    /// A force is heavy enough where at most this share of the places dug is not shut. Default 0.10.
    pub open_share: f64,
    /// A force is light enough where at most this share of the places dug is too firm. Default 0.10.
    pub firm_share: f64,
}

impl Default for Dig {
    fn default() -> Self {
        Self { open_share: 0.10, firm_share: 0.10 }
    }
}

impl Dig {
    pub(crate) fn check(&self) -> Result<(), SettingsError> {
        for (key, share) in [("dig.open_share", self.open_share), ("dig.firm_share", self.firm_share)] {
            if !(share > 0.0 && share < 1.0) {
                return Err(SettingsError::value(key, share, "a share between 0 and 1, for example 0.10 for 10 %"));
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use crate::Settings;

    #[test]
    fn shares_have_defaults_and_may_be_set_one_by_one() {
        let settings = Settings::parse("[dig]\nfirm_share = 0.2").unwrap();
        assert_eq!((settings.dig.open_share, settings.dig.firm_share), (0.10, 0.20));
    }

    #[test]
    fn a_share_that_makes_no_sense_is_named_with_what_was_expected() {
        for line in ["open_share = 10", "firm_share = 0", "open_share = nan", "shut_share = 0.1"] {
            let message = Settings::parse(&format!("[dig]\n{line}")).unwrap_err().to_string();
            assert!(message.contains(line.split(' ').next().unwrap()) && message.contains("expected"), "{message}");
        }
    }
}
