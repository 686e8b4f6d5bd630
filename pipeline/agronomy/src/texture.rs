//! Soil texture: the twelve classes of the United States Department of Agriculture, and three coarse groups of them.
//!
//! The classes are the mutually exclusive inequalities of Benham, Ahrens & Nettleton (2009, "Clarification of Soil Texture
//! Class Boundaries", USDA-NRCS). Software that draws the triangle as polygons differs on points close to the lines.

use thiserror::Error;

/// How far the three shares may add up from 100 %: laboratories round each of them.
const SUM_TOLERANCE_PCT: f64 = 1.0;

/// Class lines are decided in whole millionths of a per cent, so that a share read as a fraction lies on the line it lies on.
const PARTS_PER_PERCENT: i64 = 1_000_000;

/// A texture class of the USDA triangle.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum TextureClass {
    /// Silt + 1.5 clay below 15 %.
    Sand,
    /// Not sand, and silt + 2 clay below 30 %.
    LoamySand,
    /// Silt + 2 clay from 30 %; clay from 7 to below 20 % with sand above 52 %, or clay below 7 % with silt below 50 %.
    SandyLoam,
    /// Clay from 7 to below 27 %, silt from 28 to below 50 %, sand up to 52 %.
    Loam,
    /// Silt from 50 % with clay from 12 to below 27 %, or silt from 50 to below 80 % with clay below 12 %.
    SiltLoam,
    /// Silt from 80 %, clay below 12 %.
    Silt,
    /// Clay from 20 to below 35 %, silt below 28 %, sand above 45 %.
    SandyClayLoam,
    /// Clay from 27 to below 40 %, sand above 20 % and up to 45 %.
    ClayLoam,
    /// Clay from 27 to below 40 %, sand up to 20 %.
    SiltyClayLoam,
    /// Clay from 35 %, sand above 45 %.
    SandyClay,
    /// Clay from 40 %, silt from 40 %.
    SiltyClay,
    /// Clay from 40 %, sand up to 45 %, silt below 40 %.
    Clay,
}

/// Texture classes put together for conditions: twelve are more than the strips of a review can tell apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum TextureGroup {
    /// Sand, loamy sand, sandy loam.
    Coarse,
    /// Loam, silt loam, silt, sandy clay loam.
    Medium,
    /// Clay loam, silty clay loam, sandy clay, silty clay, clay.
    Fine,
}

/// Why sand, silt and clay make no texture.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum TextureError {
    /// A share is not between 0 and 100 %.
    #[error("{name} is {found} %, which is not between 0 and 100 %\nCheck the column's unit (_pct or _frac).")]
    OutOfRange {
        /// `sand`, `silt` or `clay`.
        name: &'static str,
        /// The per cent found.
        found: f64,
    },
    /// The three do not add up.
    #[error(
        "sand, silt and clay add up to {sum} %, not to 100 ± 1 %\nCheck the three shares, or give the texture by its name."
    )]
    SumNotHundred {
        /// The sum found, in per cent.
        sum: f64,
    },
}

/// Sand, silt and clay in millionths of a per cent, which add up to 100 % exactly.
#[derive(Debug, Clone, Copy)]
struct Fractions {
    sand: i64,
    silt: i64,
    clay: i64,
}

impl Fractions {
    fn from_percent(sand_pct: f64, silt_pct: f64, clay_pct: f64) -> Result<Fractions, TextureError> {
        for (name, found) in [("sand", sand_pct), ("silt", silt_pct), ("clay", clay_pct)] {
            if !(0.0..=100.0).contains(&found) {
                return Err(TextureError::OutOfRange { name, found });
            }
        }
        let sum = sand_pct + silt_pct + clay_pct;
        // The small allowance is for sums such as 33.7 + 33.7 + 33.6, which miss 101 by rounding alone.
        if (sum - 100.0).abs() > SUM_TOLERANCE_PCT + 1e-9 {
            return Err(TextureError::SumNotHundred { sum });
        }
        let parts = |percent: f64| (percent * 100.0 / sum * PARTS_PER_PERCENT as f64).round() as i64;
        let (sand, clay) = (parts(sand_pct), parts(clay_pct));
        let silt = (100 * PARTS_PER_PERCENT - sand - clay).max(0);
        Ok(Fractions { sand, silt, clay })
    }
}

impl TextureClass {
    /// Every class, from coarse to fine.
    pub const ALL: [TextureClass; 12] = [
        TextureClass::Sand,
        TextureClass::LoamySand,
        TextureClass::SandyLoam,
        TextureClass::Loam,
        TextureClass::SiltLoam,
        TextureClass::Silt,
        TextureClass::SandyClayLoam,
        TextureClass::ClayLoam,
        TextureClass::SiltyClayLoam,
        TextureClass::SandyClay,
        TextureClass::SiltyClay,
        TextureClass::Clay,
    ];

    /// The class of these shares in per cent, whole or fractional. Shares that add up to 99 to 101 are scaled to 100.
    ///
    /// # Errors
    /// When a share is not between 0 and 100, or their sum is further from 100 than 1; the error holds the sum.
    pub fn from_percent(sand_pct: f64, silt_pct: f64, clay_pct: f64) -> Result<TextureClass, TextureError> {
        let fractions = Fractions::from_percent(sand_pct, silt_pct, clay_pct)?;
        let found = TextureClass::ALL.into_iter().find(|class| class.holds(fractions));
        // The inequalities leave no gap (tested on a fine grid); loam is the middle of the triangle.
        Ok(found.unwrap_or(TextureClass::Loam))
    }

    /// The class's own inequality. No two of the twelve hold at once.
    fn holds(self, fractions: Fractions) -> bool {
        let Fractions { sand, silt, clay } = fractions;
        let percent = |whole: i64| whole * PARTS_PER_PERCENT;
        let below = |value: i64, whole: i64| value < percent(whole);
        let between = |value: i64, from: i64, to: i64| value >= percent(from) && value < percent(to);
        // Twice silt + 1.5 clay against twice 15, to stay whole.
        let sandiest = below(2 * silt + 3 * clay, 30);
        let next_sandiest = below(silt + 2 * clay, 30);
        match self {
            TextureClass::Sand => sandiest,
            TextureClass::LoamySand => !sandiest && next_sandiest,
            TextureClass::SandyLoam => {
                !next_sandiest && ((between(clay, 7, 20) && sand > percent(52)) || (below(clay, 7) && below(silt, 50)))
            }
            TextureClass::Loam => between(clay, 7, 27) && between(silt, 28, 50) && sand <= percent(52),
            TextureClass::SiltLoam => {
                (silt >= percent(50) && between(clay, 12, 27)) || (between(silt, 50, 80) && below(clay, 12))
            }
            TextureClass::Silt => silt >= percent(80) && below(clay, 12),
            TextureClass::SandyClayLoam => between(clay, 20, 35) && below(silt, 28) && sand > percent(45),
            TextureClass::ClayLoam => between(clay, 27, 40) && sand > percent(20) && sand <= percent(45),
            TextureClass::SiltyClayLoam => between(clay, 27, 40) && sand <= percent(20),
            TextureClass::SandyClay => clay >= percent(35) && sand > percent(45),
            TextureClass::SiltyClay => clay >= percent(40) && silt >= percent(40),
            TextureClass::Clay => clay >= percent(40) && sand <= percent(45) && below(silt, 40),
        }
    }

    /// The class's name in lower case, such as `silty clay loam`.
    pub fn name(self) -> &'static str {
        match self {
            TextureClass::Sand => "sand",
            TextureClass::LoamySand => "loamy sand",
            TextureClass::SandyLoam => "sandy loam",
            TextureClass::Loam => "loam",
            TextureClass::SiltLoam => "silt loam",
            TextureClass::Silt => "silt",
            TextureClass::SandyClayLoam => "sandy clay loam",
            TextureClass::ClayLoam => "clay loam",
            TextureClass::SiltyClayLoam => "silty clay loam",
            TextureClass::SandyClay => "sandy clay",
            TextureClass::SiltyClay => "silty clay",
            TextureClass::Clay => "clay",
        }
    }

    /// The usual abbreviation, such as `sicl` (common practice in soil surveys, no source).
    pub fn abbreviation(self) -> &'static str {
        match self {
            TextureClass::Sand => "s",
            TextureClass::LoamySand => "ls",
            TextureClass::SandyLoam => "sl",
            TextureClass::Loam => "l",
            TextureClass::SiltLoam => "sil",
            TextureClass::Silt => "si",
            TextureClass::SandyClayLoam => "scl",
            TextureClass::ClayLoam => "cl",
            TextureClass::SiltyClayLoam => "sicl",
            TextureClass::SandyClay => "sc",
            TextureClass::SiltyClay => "sic",
            TextureClass::Clay => "c",
        }
    }

    /// The class that a text names, or `None`.
    ///
    /// Letter case, hyphens, underscores and doubled spaces do not count; `silty loam` is taken as silt loam; the
    /// abbreviations are understood; so are the sand sizes before a sandy class (`very fine sandy loam`, `loamy coarse
    /// sand`), which are subclasses of it.
    pub fn parse(text: &str) -> Option<TextureClass> {
        let lower = text.to_lowercase();
        let words: Vec<&str> =
            lower.split(|letter: char| letter.is_whitespace() || letter == '-' || letter == '_').collect();
        let is_size = |word: &str| matches!(word, "very" | "fine" | "medium" | "coarse");
        let sized = words.iter().any(|word| is_size(word));
        let plain: Vec<&str> = words.into_iter().filter(|word| !word.is_empty() && !is_size(word)).collect();
        let plain = plain.join(" ");
        let found = TextureClass::ALL
            .into_iter()
            .find(|class| class.name() == plain || class.abbreviation() == plain)
            .or((plain == "silty loam").then_some(TextureClass::SiltLoam));
        let has_sand_sizes = |class: &TextureClass| {
            matches!(class, TextureClass::Sand | TextureClass::LoamySand | TextureClass::SandyLoam)
        };
        found.filter(|class| !sized || has_sand_sizes(class))
    }

    /// The coarse group of the class.
    ///
    /// The moisture-by-feel guide of the Natural Resources Conservation Service has four: coarse (fine sand, loamy fine
    /// sand), moderately coarse (sandy loams), medium (sandy clay loam, loam, silt loam) and fine (clay loam, silty clay
    /// loam, clay). Coarse and moderately coarse are one here. Silt, which the guide does not name, goes with the silt
    /// loams, and sandy and silty clay go with the clays: a choice of this project.
    pub fn group(self) -> TextureGroup {
        match self {
            TextureClass::Sand | TextureClass::LoamySand | TextureClass::SandyLoam => TextureGroup::Coarse,
            TextureClass::Loam | TextureClass::SiltLoam | TextureClass::Silt | TextureClass::SandyClayLoam => {
                TextureGroup::Medium
            }
            TextureClass::ClayLoam
            | TextureClass::SiltyClayLoam
            | TextureClass::SandyClay
            | TextureClass::SiltyClay
            | TextureClass::Clay => TextureGroup::Fine,
        }
    }
}

impl TextureGroup {
    /// `coarse`, `medium` or `fine`.
    pub fn name(self) -> &'static str {
        match self {
            TextureGroup::Coarse => "coarse",
            TextureGroup::Medium => "medium",
            TextureGroup::Fine => "fine",
        }
    }

    /// The group that a text names, whatever its letter case, or `None`.
    pub fn parse(text: &str) -> Option<TextureGroup> {
        let text = text.trim().to_lowercase();
        [TextureGroup::Coarse, TextureGroup::Medium, TextureGroup::Fine].into_iter().find(|group| group.name() == text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_half_percent_triple_gets_exactly_one_class() {
        let mut triples = 0;
        for sand in 0..=200_i32 {
            for clay in 0..=(200 - sand) {
                let silt = 200 - sand - clay;
                let percent = |halves: i32| f64::from(halves) / 2.0;
                let fractions =
                    Fractions::from_percent(percent(sand), percent(silt), percent(clay)).expect("adds up to 100");
                let holding = TextureClass::ALL.into_iter().filter(|class| class.holds(fractions)).count();
                assert_eq!(holding, 1, "sand {sand}/2 silt {silt}/2 clay {clay}/2");
                triples += 1;
            }
        }
        assert_eq!(triples, 201 * 202 / 2);
    }

    #[test]
    fn a_share_read_as_a_fraction_lies_on_the_same_line() {
        // 0.07 × 100 is 7.000000000000001 and 0.28 × 100 is 28.000000000000004; 0.57 × 100 is 56.99999999999999.
        for (sand, silt, clay) in [(52, 41, 7), (45, 28, 27), (85, 15, 0), (43, 57, 0), (20, 53, 27), (71, 22, 7)] {
            let percent = |whole: i32| f64::from(whole);
            let as_fraction = |whole: i32| f64::from(whole) / 100.0 * 100.0;
            assert_eq!(
                TextureClass::from_percent(as_fraction(sand), as_fraction(silt), as_fraction(clay)),
                TextureClass::from_percent(percent(sand), percent(silt), percent(clay)),
            );
        }
    }

    #[test]
    fn rounded_shares_are_scaled_and_wrong_ones_refused_with_their_sum() {
        assert_eq!(TextureClass::from_percent(33.3, 33.3, 33.3), Ok(TextureClass::ClayLoam));
        assert_eq!(TextureClass::from_percent(40.0, 40.0, 21.0), Ok(TextureClass::Loam));
        assert_eq!(TextureClass::from_percent(40.0, 40.0, 30.0), Err(TextureError::SumNotHundred { sum: 110.0 }));
        assert_eq!(TextureClass::from_percent(0.4, 0.4, 0.2), Err(TextureError::SumNotHundred { sum: 1.0 }));
        assert_eq!(
            TextureClass::from_percent(-5.0, 65.0, 40.0),
            Err(TextureError::OutOfRange { name: "sand", found: -5.0 })
        );
        assert!(matches!(
            TextureClass::from_percent(50.0, f64::NAN, 50.0),
            Err(TextureError::OutOfRange { name: "silt", .. })
        ));
    }

    #[test]
    fn names_and_abbreviations_are_read_back() {
        for class in TextureClass::ALL {
            assert_eq!(TextureClass::parse(class.name()), Some(class));
            assert_eq!(TextureClass::parse(class.abbreviation()), Some(class));
        }
    }

    #[test]
    fn people_may_write_a_name_in_their_own_way() {
        assert_eq!(TextureClass::parse("  Silt-Loam "), Some(TextureClass::SiltLoam));
        assert_eq!(TextureClass::parse("silty loam"), Some(TextureClass::SiltLoam));
        assert_eq!(TextureClass::parse("SILTY_CLAY  LOAM"), Some(TextureClass::SiltyClayLoam));
        assert_eq!(TextureClass::parse("very fine sandy loam"), Some(TextureClass::SandyLoam));
        assert_eq!(TextureClass::parse("loamy coarse sand"), Some(TextureClass::LoamySand));
        assert_eq!(TextureClass::parse("fine clay"), None);
        assert_eq!(TextureClass::parse("fine"), None);
        assert_eq!(TextureClass::parse("gravel"), None);
        assert_eq!(TextureClass::parse(""), None);
        assert_eq!(TextureClass::parse(" - "), None);
    }

    #[test]
    fn groups_are_read_by_name() {
        for group in [TextureGroup::Coarse, TextureGroup::Medium, TextureGroup::Fine] {
            assert_eq!(TextureGroup::parse(&group.name().to_uppercase()), Some(group));
        }
        assert_eq!(TextureGroup::parse("loam"), None);
        assert_eq!(TextureClass::SandyLoam.group(), TextureGroup::Coarse);
        assert_eq!(TextureClass::SandyClayLoam.group(), TextureGroup::Medium);
        assert_eq!(TextureClass::SiltyClay.group(), TextureGroup::Fine);
    }
}
