//! Words in cells: marks of missing values, yes and no, and words that stand for ours.

use std::collections::BTreeSet;

use evenstand_tables::{Column as Ours, ColumnType};

use super::dates::dates;
use super::numbers::NumberStyle;
use super::table::{Body, Table};

/// Words that stand for a missing value among numbers, dates or yes and no (from memory).
const MISSING: &[&str] = &[
    "x",
    "n/a",
    "n.a.",
    "n.a",
    "#n/a",
    ".",
    "..",
    "?",
    "none",
    "null",
    "nan",
    "missing",
    "miss",
    "--",
    "---",
    "n.d.",
    "nd",
    "k.a.",
    "*",
    "not counted",
    "not taken",
];
/// Numbers that stand for a missing value where every other number is far above (station files, from memory).
const MISSING_NUMBERS: &[f64] = &[-9999.0, -999.0, -999.9, -99.0, -99.9];

/// Marks of missing values in a file, as they stand in it, beyond those that are always understood.
pub(super) fn missing(table: &Table, style: &NumberStyle) -> Vec<String> {
    let reading = style.reading(Vec::new());
    let mut found: BTreeSet<String> = BTreeSet::new();
    let mut marks_yes = false;
    for column in &table.columns {
        let (numbers, others) = column.numbers(&reading);
        if numbers.len() > others {
            found.extend(column.texts().filter(|text| is_missing_word(text)).map(str::to_owned));
            let marked: BTreeSet<String> =
                numbers.iter().filter(|number| MISSING_NUMBERS.contains(number)).map(f64::to_string).collect();
            let rest = numbers
                .iter()
                .copied()
                .filter(|number| !MISSING_NUMBERS.contains(number))
                .fold(f64::INFINITY, f64::min);
            if rest.is_finite() && rest > -60.0 {
                found.extend(marked);
            }
            continue;
        }
        let words: BTreeSet<String> = column.distinct();
        marks_yes |= words.len() == 1 && words.iter().all(|word| word.eq_ignore_ascii_case("x"));
        let has_times = column.cells.iter().any(|cell| matches!(cell, Body::Time(_)));
        if words.iter().any(|word| is_missing_word(word))
            && (has_times || dates(words.iter().map(String::as_str)).are_dates())
        {
            found.extend(column.texts().filter(|text| is_missing_word(text)).map(str::to_owned));
        }
    }
    // A cross is a yes in one column and a gap in another: then it can be neither for the whole file.
    found.retain(|word| !marks_yes || !word.eq_ignore_ascii_case("x"));
    let mut seen = BTreeSet::new();
    found.into_iter().filter(|word| seen.insert(word.to_lowercase())).collect()
}

fn is_missing_word(word: &str) -> bool {
    MISSING.contains(&word.to_lowercase().as_str())
}

/// What the words of a column stand for.
#[derive(Debug, Default, PartialEq)]
pub(super) struct Words {
    /// Word of the file, word of ours, and whether it is a guess that somebody should look at.
    pub synonyms: Vec<(String, String, bool)>,
    /// Words that nothing is known about.
    pub unknown: Vec<String>,
}

/// Words of ours, each with the words of files that stand for it.
type Meanings = [(&'static str, &'static [&'static str])];

/// Words of a file and what they stand for (from memory; the trade's words). Those of a column go before those of all.
const SYNONYMS: &[(&str, &Meanings)] = &[
    (
        "tillage",
        &[
            (
                "full",
                &[
                    "till",
                    "tilled",
                    "conventional",
                    "conventional till",
                    "conventional tillage",
                    "conv",
                    "conv till",
                    "ct",
                    "plough",
                    "plow",
                    "ploughed",
                    "plowed",
                    "chisel",
                    "chisel plow",
                    "moldboard",
                    "disk",
                    "disc",
                    "disked",
                    "full tillage",
                    "intensive",
                    "pflug",
                ],
            ),
            (
                "no_till",
                &[
                    "notill",
                    "nt",
                    "no tillage",
                    "none",
                    "zero till",
                    "zero tillage",
                    "direct drill",
                    "direct drilled",
                    "direct",
                    "direct seeding",
                    "direktsaat",
                ],
            ),
            ("strip_till", &["striptill", "st", "strip", "strip tillage", "zone till"]),
            (
                "reduced",
                &[
                    "min till",
                    "minimum",
                    "minimum till",
                    "minimum tillage",
                    "mintill",
                    "mulch",
                    "mulch till",
                    "vertical",
                    "vertical till",
                    "vt",
                    "rt",
                    "reduced till",
                    "reduced tillage",
                    "conservation",
                    "mulchsaat",
                ],
            ),
        ],
    ),
    (
        "trench_shut",
        &[
            (
                "yes",
                &[
                    "closed",
                    "shut",
                    "full",
                    "fully",
                    "fully closed",
                    "good",
                    "y",
                    "true",
                    "1",
                    "ja",
                    "oui",
                    "si",
                    "sí",
                    "ok",
                ],
            ),
            ("no", &["open", "not closed", "n", "false", "0", "nein", "non", "poor"]),
            (
                "partly",
                &[
                    "partial",
                    "partially",
                    "partially closed",
                    "part",
                    "some",
                    "half",
                    "half closed",
                    "teilweise",
                    "mostly",
                ],
            ),
        ],
    ),
    (
        "moisture_feel",
        &[
            ("dry", &["too dry", "d", "powdery", "trocken", "seco", "sec"]),
            ("moist", &["damp", "good", "ideal", "fit", "m", "medium", "normal", "feucht", "ok"]),
            ("wet", &["too wet", "w", "sticky", "saturated", "tacky", "nass", "very wet"]),
        ],
    ),
    (
        "texture",
        &[
            ("sand", &["s"]),
            ("loamy sand", &["ls"]),
            ("sandy loam", &["sl"]),
            ("loam", &["l"]),
            ("silt loam", &["sil", "silty loam"]),
            ("silt", &["si"]),
            ("sandy clay loam", &["scl"]),
            ("clay loam", &["cl"]),
            ("silty clay loam", &["sicl"]),
            ("sandy clay", &["sc"]),
            ("silty clay", &["sic"]),
            ("clay", &["c"]),
        ],
    ),
    (
        "gauge_wheel",
        &[
            ("flat", &["standard", "regular", "full width", "normal"]),
            ("reduced_inner_diameter", &["reduced", "reduced inner", "narrow", "reduced id", "rid"]),
        ],
    ),
    ("better", &[("higher", &["high", "more", "up", "max"]), ("lower", &["low", "less", "down", "min"])]),
];
/// Yes and no.
const YES_NO: &Meanings = &[
    ("yes", &["x", "ja", "oui", "si", "sí", "sim", "t", "present", "some", "true", "\u{2713}", "\u{2714}"]),
    ("no", &["none", "nein", "non", "nao", "não", "f", "absent", "nil", "false"]),
];
/// Words of which the meaning above is a guess.
const GUESSES: &[&str] = &[
    "good", "ok", "x", "some", "mostly", "strip", "direct", "minimum", "poor", "st", "normal", "medium", "none",
    "present", "vertical",
];

/// What the words of a column with given words, or with yes and no, stand for.
pub(super) fn words(ours: &Ours, found: &BTreeSet<String>) -> Words {
    let lists = SYNONYMS.iter().find(|(name, _)| *name == ours.name).map_or(&[][..], |(_, lists)| lists);
    let boolean = ours.column_type == ColumnType::Boolean;
    let lists = if boolean { YES_NO } else { lists };
    let tidy = |text: &str| text.trim().to_lowercase().replace(['-', ' '], "_");
    let understood = |word: &str| {
        let plain =
            matches!(word.to_ascii_lowercase().as_str(), "yes" | "y" | "true" | "1" | "no" | "n" | "false" | "0");
        (boolean && plain) || ours.allowed().iter().any(|allowed| tidy(allowed) == tidy(word))
    };
    let mut all = Words::default();
    let mut seen = BTreeSet::new();
    for word in found.iter().filter(|word| !understood(word) && seen.insert(word.to_lowercase())).take(40) {
        let meaning = lists.iter().find(|(_, words)| words.iter().any(|known| tidy(known) == tidy(word)));
        match meaning {
            Some((meaning, _)) => {
                let guess = GUESSES.contains(&word.trim().to_lowercase().as_str());
                all.synonyms.push((word.clone(), (*meaning).to_owned(), guess));
            }
            None => all.unknown.push(word.clone()),
        }
    }
    all
}

/// Whether a column has given words, or yes and no.
pub(super) fn has_words(ours: &Ours) -> bool {
    ours.column_type == ColumnType::Boolean || !ours.allowed().is_empty()
}

#[cfg(test)]
mod tests {
    use super::*;
    use evenstand_tables::{Group, schema};

    fn of(table: &str, column: &str, found: &[&str]) -> Words {
        let column = schema(Group::Raw, table).unwrap().column(column).unwrap();
        words(column, &found.iter().map(|word| (*word).to_owned()).collect())
    }

    #[test]
    fn words_of_the_trade_stand_for_ours_and_others_are_asked_about() {
        let said = of("field", "tillage", &["Conventional", "NT", "No-Till", "strip till", "ridge"]);
        assert_eq!(
            said.synonyms,
            [("Conventional".into(), "full".into(), false), ("NT".into(), "no_till".into(), false)]
        );
        assert_eq!(said.unknown, ["ridge"]);
        let said = of("dig_check", "trench_shut", &["open", "closed", "Yes", "partly"]);
        assert_eq!(said.synonyms, [("closed".into(), "yes".into(), false), ("open".into(), "no".into(), false)]);
        let said = of("dig_check", "air_gap", &["x", "Y", "none", "maybe"]);
        assert_eq!(said.synonyms, [("none".into(), "no".into(), true), ("x".into(), "yes".into(), true)]);
        assert_eq!(said.unknown, ["maybe"]);
    }

    #[test]
    fn every_meaning_is_a_word_of_the_schema() {
        for (name, lists) in SYNONYMS {
            let column = evenstand_tables::schemas()
                .iter()
                .filter(|table| table.group == Group::Raw)
                .find_map(|table| table.column(name))
                .unwrap();
            for (meaning, _) in *lists {
                assert!(column.allowed().iter().any(|word| word == meaning), "{name}: {meaning}");
            }
        }
    }
}
