//! From the properties of a feature to a strip.

use std::collections::BTreeMap;

use geo::MultiPolygon;

use crate::strip::{Reading, Strip};

/// Properties with a meaning of their own.
const KEYS: [&str; 6] = ["field_id", "season", "strip_id", "block", "treatment", "condition"];
/// Letters of a column's name in a `.dbf`.
const DBF_NAME: usize = 10;

/// Name and value of one property.
pub(crate) type Property = (String, String);

/// Finds the meaning of properties by their names.
pub(crate) struct Names<'a> {
    reading: &'a Reading,
    cut: bool,
}

/// Lower case, blanks as underscores.
fn plain(name: &str) -> String {
    name.trim().to_lowercase().replace(char::is_whitespace, "_")
}

impl<'a> Names<'a> {
    /// Names as they are written.
    pub(crate) fn whole(reading: &'a Reading) -> Self {
        Self { reading, cut: false }
    }

    /// Names that may be cut to ten letters.
    pub(crate) fn cut(reading: &'a Reading) -> Self {
        Self { reading, cut: true }
    }

    /// The strip that properties and a shape make; or why they make none.
    pub(crate) fn strip(
        &self,
        properties: &[Property],
        shape: MultiPolygon<f64>,
        feature: usize,
    ) -> Result<Strip, String> {
        let mut known: BTreeMap<String, (&Property, bool)> = BTreeMap::new();
        let mut others = BTreeMap::new();
        let filled = || properties.iter().filter(|(_, value)| !is_missing(value));
        // What the caller says a name means counts before what the name looks like.
        let given = filled().filter_map(|property| Some((property, self.mapped(&property.0)?, true)));
        let seen = filled().filter(|(name, _)| self.mapped(name).is_none()).map(|property| {
            let key = self.key(&property.0).unwrap_or_default();
            (property, key, false)
        });
        for (property, key, is_given) in given.chain(seen) {
            let (name, value) = (property.0.trim(), property.1.trim());
            match known.get(&key) {
                None if !key.is_empty() => {
                    known.insert(key, (property, is_given));
                }
                Some(((first, said), first_given)) if *first_given == is_given => {
                    if said.trim() != value {
                        let (first, said) = (first.trim(), said.trim());
                        return Err(format!(
                            "`{first}` says {said} and `{name}` says {value}, and both mean {key}: remove one of them"
                        ));
                    }
                }
                _ => {
                    others.insert(name.to_owned(), value.to_owned());
                }
            }
        }
        let mut take = |key: &str| known.remove(key).map(|((_, value), _)| value.trim().to_owned());
        let Some(strip_id) = take("strip_id").map(whole_number) else {
            let found: Vec<&str> = properties.iter().map(|(name, _)| name.as_str()).take(20).collect();
            let found = if found.is_empty() { "no properties".into() } else { found.join(", ") };
            return Err(format!("it has no strip_id (found: {found}); add it, or say which property names the strip"));
        };
        let season = match take("season") {
            Some(text) => Some(year(&text)?),
            None => self.reading.season,
        };
        let field_id = take("field_id").map(whole_number).or_else(|| self.reading.field_id.clone());
        let block = take("block").map(whole_number);
        others.extend(known.into_iter().map(|(key, ((_, value), _))| (key, value.trim().to_owned())));
        Ok(Strip { field_id, season, strip_id, block, properties: others, shape, feature })
    }

    fn mapped(&self, name: &str) -> Option<String> {
        let found = self.reading.names.iter().find(|(foreign, _)| self.matches(name, &plain(foreign)));
        found.map(|(_, ours)| plain(ours))
    }

    fn key(&self, name: &str) -> Option<String> {
        KEYS.iter().find(|key| self.matches(name, key)).map(|key| (*key).to_owned())
    }

    fn matches(&self, name: &str, wanted: &str) -> bool {
        let name = plain(name);
        name == wanted || (self.cut && name == wanted.chars().take(DBF_NAME).collect::<String>())
    }
}

fn is_missing(value: &str) -> bool {
    matches!(value.trim(), "" | "-" | "NA")
}

/// A name that is a whole number is written as one: tables of shapes store 3 as 3.000.
fn whole_number(text: String) -> String {
    match text.split_once('.') {
        Some((whole, rest)) if is_digits(whole) && !rest.is_empty() && rest.bytes().all(|digit| digit == b'0') => {
            whole.to_owned()
        }
        _ => text,
    }
}

fn is_digits(text: &str) -> bool {
    !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit())
}

fn year(text: &str) -> Result<i64, String> {
    let whole = whole_number(text.to_owned());
    let year = whole.parse::<i64>().ok().filter(|year| (1900..=2200).contains(year));
    year.ok_or_else(|| format!("its season is `{text}`, but expected is the year of planting, such as 2025"))
}

/// Properties as text, for a person to look up a feature by.
pub(crate) fn raw(properties: &[Property]) -> String {
    let pairs: Vec<String> = properties.iter().map(|(name, value)| format!("{name}={value}")).collect();
    pairs.join("; ")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn strip(names: &Names, properties: &[(&str, &str)]) -> Result<Strip, String> {
        let properties: Vec<Property> = properties.iter().map(|(n, v)| ((*n).to_owned(), (*v).to_owned())).collect();
        names.strip(&properties, MultiPolygon::new(Vec::new()), 1)
    }

    #[test]
    fn keys_are_known_in_any_case_and_with_blanks() {
        let reading = Reading::default();
        let properties = [
            ("Field ID", " north "),
            ("SEASON", "2025.0"),
            ("Strip Id", "3.000"),
            ("Block", "A"),
            ("Treatment", "30 psi"),
            ("Note", "x"),
        ];
        let strip = strip(&Names::whole(&reading), &properties).unwrap();
        assert_eq!(strip.field_id.as_deref(), Some("north"));
        assert_eq!((strip.season, strip.strip_id.as_str(), strip.block.as_deref()), (Some(2025), "3", Some("A")));
        let others: Vec<(&str, &str)> = strip.properties.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
        assert_eq!(others, [("Note", "x"), ("treatment", "30 psi")]);
    }

    #[test]
    fn a_foreign_name_is_matched_whole_or_cut_to_ten_letters() {
        let names = BTreeMap::from([("Experiment plot".to_owned(), "strip_id".to_owned())]);
        let reading = Reading { names, field_id: Some("f".into()), season: Some(2024), ..Reading::default() };
        let found = strip(&Names::cut(&reading), &[("EXPERIMENT", "12"), ("SEASON", "NA")]).unwrap();
        assert_eq!((found.strip_id.as_str(), found.field_id.as_deref(), found.season), ("12", Some("f"), Some(2024)));
        let whole = strip(&Names::whole(&reading), &[("EXPERIMENT", "12")]);
        assert!(whole.unwrap_err().contains("found: EXPERIMENT"));
    }

    #[test]
    fn a_given_name_counts_before_one_that_looks_right() {
        let reading = Reading { names: BTreeMap::from([("plot".into(), "strip_id".into())]), ..Reading::default() };
        let found = strip(&Names::whole(&reading), &[("strip_id", "old"), ("plot", "7")]).unwrap();
        assert_eq!((found.strip_id.as_str(), found.properties["strip_id"].as_str()), ("7", "old"));
    }

    #[test]
    fn two_names_for_one_key_that_disagree_are_refused() {
        let reading = Reading::default();
        let problem = strip(&Names::whole(&reading), &[("strip_id", "1"), ("Strip ID", "2")]).unwrap_err();
        assert!(problem.contains("says 1") && problem.contains("says 2"), "{problem}");
        assert!(strip(&Names::whole(&reading), &[("strip_id", "1"), ("Strip ID", "1")]).is_ok());
        let names = BTreeMap::from([("plot".into(), "strip_id".into()), ("row".into(), "strip_id".into())]);
        let reading = Reading { names, ..Reading::default() };
        let problem = strip(&Names::whole(&reading), &[("plot", "1"), ("strip_id", "3"), ("row", "2")]).unwrap_err();
        assert!(problem.contains("`plot` says 1 and `row` says 2"), "{problem}");
    }

    #[test]
    fn a_season_that_is_no_year_is_refused() {
        let reading = Reading::default();
        let problem = strip(&Names::whole(&reading), &[("strip_id", "1"), ("season", "spring")]).unwrap_err();
        assert!(problem.contains("`spring`") && problem.contains("2025"), "{problem}");
    }
}
