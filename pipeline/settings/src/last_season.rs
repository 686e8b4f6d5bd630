//! Where last season's answers are.

use serde::Deserialize;

/// Last season's answers, to hold this season's against.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct LastSeason {
    /// The `starting_points.csv` of last season's review, seen from the review's folder.
    pub starting_points: Option<String>,
}

#[cfg(test)]
mod tests {
    use crate::Settings;

    #[test]
    fn last_seasons_table_may_be_named() {
        let settings =
            Settings::parse("[last_season]\nstarting_points = \"../2024/results/starting_points.csv\"").unwrap();
        assert_eq!(settings.last_season.starting_points.as_deref(), Some("../2024/results/starting_points.csv"));
        let message = Settings::parse("[last_season]\nfile = \"x\"").unwrap_err().to_string();
        assert!(message.contains("file") && message.contains("starting_points"), "{message}");
    }
}
