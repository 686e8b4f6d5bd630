//! The commented starter `evenstand.toml`.

/// Every key of the settings with its default or an example behind `#`, and what it is for behind `# `. As it stands it
/// says nothing: it gives the same settings as no file.
pub const STARTER: &str = include_str!("../starter/evenstand.toml");

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use evenstand_settings::{ConditionScheme, Knob, Place, Settings, Telemetry, Tolerances, Weather};

    use super::*;

    /// The starter with every example line put in force: a `#` without a blank behind it is taken away.
    fn in_force() -> String {
        let line = |line: &str| match line.strip_prefix('#') {
            Some(rest) if !rest.starts_with(' ') => rest.to_owned(),
            _ => line.to_owned(),
        };
        STARTER.lines().map(line).collect::<Vec<_>>().join("\n")
    }

    #[test]
    fn as_it_stands_it_says_nothing() {
        assert_eq!(Settings::parse(STARTER).unwrap(), Settings::default());
        assert!(STARTER.lines().all(|line| line.is_empty() || line.starts_with('#')));
    }

    #[test]
    fn with_every_example_in_force_it_still_reads_and_gives_the_defaults_that_it_shows() {
        let settings = Settings::parse(&in_force()).unwrap();
        let mut analysis = settings.analysis.clone();
        assert_eq!(analysis.primary.take().as_deref(), Some("on_time_share"));
        assert_eq!(analysis.default_force_n.take(), Some(200.0));
        assert_eq!(analysis.whole_plots.take().map(|parts| parts.len()), Some(4));
        assert_eq!(std::mem::take(&mut analysis.covariates), ["measure:yield_before"]);
        assert_eq!(analysis, Settings::default().analysis);
        let by = settings.condition.by.clone();
        assert_eq!(by.map(|by| by.len()), Some(2));
        assert!(settings.condition.texture.contains_key("coarse"));
        let condition = ConditionScheme { by: None, texture: Default::default(), ..settings.condition };
        assert_eq!(condition, ConditionScheme::default());
        assert_eq!(settings.place, Place::default());
        assert_eq!(settings.weather, Weather::default());
        assert_eq!(settings.telemetry, Telemetry::default());
        assert_eq!(settings.display.force(), Settings::default().display.force());
        assert_eq!(settings.display.speed(), Settings::default().display.speed());
        for response in [
            "on_time_share",
            "emerged_share",
            "spread_h",
            "t50_h",
            "spread_cd",
            "t50_cd",
            "spacing_cv",
            "leaf_stage_sd",
        ] {
            assert_eq!(settings.tolerance.of(response), Tolerances::default().of(response), "{response}");
            assert!(STARTER.contains(&format!("\n#{response} = ")), "{response}");
        }
        assert!(matches!(settings.planters[0].knob, Some(Knob::Pressure { calibration: Some(_), .. })));
        assert!(matches!(settings.planters[1].knob, Some(Knob::Positions { .. })));
        assert_eq!(settings.sources.len(), 3);
        assert!(settings.sources[0].wide.is_some() && settings.sources[2].channel.len() == 1);
    }

    /// Keys of a section, as the settings list them when a key is misspelt.
    fn keys(wrong: &str) -> BTreeSet<String> {
        let message = Settings::parse(wrong).unwrap_err().to_string();
        let (_, expected) = message.split_once("expected").unwrap_or_else(|| panic!("no list of keys in {message}"));
        let words = expected.split('`').skip(1).step_by(2);
        words.map(str::to_owned).collect()
    }

    #[test]
    fn every_key_that_the_settings_know_is_there() {
        let text = in_force();
        let tables: BTreeSet<&str> =
            text.lines().filter(|line| line.starts_with('[')).flat_map(|line| line.split(['[', ']', '.'])).collect();
        let source = "[[source]]\nfile = \"a\"\nkind = \"field\"\n";
        for wrong in [
            "zzz = 1".to_owned(),
            "[analysis]\nzzz = 1".into(),
            "[condition]\nzzz = 1".into(),
            "[display]\nzzz = 1".into(),
            "[place]\nzzz = 1".into(),
            "[weather]\nzzz = 1".into(),
            "[last_season]\nzzz = 1".into(),
            "[telemetry]\nzzz = 1".into(),
            format!("{source}zzz = 1"),
            format!("{source}[source.wide]\nzzz = 1"),
            format!("{source}[[source.channel]]\nzzz = 1"),
        ] {
            let keys = keys(&wrong);
            assert!(!keys.is_empty(), "{wrong}");
            for key in keys {
                // Keys of the analysis stand at the top.
                let there = key == "analysis"
                    || tables.contains(key.as_str())
                    || text.lines().any(|line| line.starts_with(&format!("{key} = ")));
                assert!(there, "{key}, after {wrong}");
            }
        }
    }
}
