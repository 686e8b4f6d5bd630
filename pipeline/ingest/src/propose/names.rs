//! A column's name as people write it, taken apart into words and a unit.

use evenstand_agronomy::Kind;

/// Words of a name that are compared; a longer name is cut.
const MOST_WORDS: usize = 16;
/// Letters of a name that are looked at.
const MOST_LETTERS: usize = 200;

/// A name without the text that may be its unit.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Variant {
    /// The words left, joined by blanks.
    pub words: String,
    /// The text taken for a unit.
    pub unit: Option<String>,
    /// Whether brackets, a comma or a header row of its own set the unit apart.
    pub apart: bool,
}

/// The words of a name: parted at blanks, signs, digits and capitals inside a word; lower case, without the plural s.
pub(super) fn words(name: &str) -> Vec<String> {
    let letters: Vec<char> = name.chars().take(MOST_LETTERS).collect();
    let (mut found, mut word) = (Vec::new(), String::new());
    for (index, letter) in letters.iter().enumerate() {
        let before = index.checked_sub(1).and_then(|index| letters.get(index));
        let after = letters.get(index + 1);
        let camel = letter.is_uppercase()
            && before.is_some_and(|before| {
                before.is_lowercase() || (before.is_uppercase() && after.is_some_and(|after| after.is_lowercase()))
            });
        let digit = before.is_some_and(|before| before.is_alphanumeric() && before.is_numeric() != letter.is_numeric());
        if (!letter.is_alphanumeric() || camel || digit) && !word.is_empty() {
            found.push(std::mem::take(&mut word));
        }
        if letter.is_alphanumeric() {
            word.extend(letter.to_lowercase());
        }
    }
    if !word.is_empty() {
        found.push(word);
    }
    found.truncate(MOST_WORDS);
    found.into_iter().map(singular).collect()
}

/// The words of a name as one text.
pub(super) fn joined(name: &str) -> String {
    words(name).join(" ")
}

fn singular(word: String) -> String {
    let kept = word.ends_with("ss") || word.ends_with("us") || word.ends_with("is") || word.chars().count() < 4;
    if kept { word } else { word.strip_suffix('s').map_or(word.clone(), str::to_owned) }
}

/// Every way to part a name from a unit, the whole name first.
pub(super) fn variants(name: &str) -> Vec<Variant> {
    let name: String = name.chars().take(MOST_LETTERS).collect();
    let name = name.trim();
    let mut all = vec![Variant { words: joined(name), unit: None, apart: false }];
    let mut add = |base: &str, unit: &str, apart: bool| {
        let words = joined(base);
        if !words.is_empty() && !unit.trim().is_empty() {
            all.push(Variant { words, unit: Some(unit.trim().to_owned()), apart });
        }
    };
    for (open, close) in [('(', ')'), ('[', ']'), ('{', '}')] {
        if let Some((before, rest)) = name.split_once(open) {
            let (inside, after) = rest.split_once(close).unwrap_or((rest, ""));
            add(&format!("{before} {after}"), inside, true);
        }
    }
    // The two rows of a header, and a unit behind a comma.
    for mark in [" / ", ", "] {
        if let Some((before, after)) = name.rsplit_once(mark) {
            add(before, after, true);
        }
    }
    if let Some((_, below)) = name.rsplit_once(" / ") {
        let inner = variants_of_one_row(below);
        all.extend(inner);
        return all;
    }
    for sign in ['%', '"', '\u{2033}', '\''] {
        if let Some(base) = name.strip_suffix(sign) {
            add(base, &sign.to_string(), false);
        }
    }
    let breaks: Vec<usize> =
        name.char_indices().filter(|(_, letter)| letter.is_whitespace() || *letter == '_').map(|(at, _)| at).collect();
    for at in breaks.iter().rev().take(3) {
        let (base, unit) = name.split_at(*at);
        let unit = unit.trim_matches(|letter: char| letter.is_whitespace() || letter == '_');
        if suffix(unit).is_some() {
            add(base, unit, false);
        }
    }
    // `Effort 1-5`, `Yield bu/ac`: a scale, or a unit that is none of ours.
    if let Some((base, last)) = name.rsplit_once([' ', '_']) {
        let scale =
            last.split_once('-').is_some_and(|(low, high)| low.parse::<u8>().is_ok() && high.parse::<u8>().is_ok());
        let ratio = last.split_once('/').is_some_and(|(above, below)| !above.is_empty() && !below.is_empty());
        if scale || (ratio && last.chars().all(|letter| letter.is_alphabetic() || letter == '/')) {
            add(base, last, scale);
        }
    }
    // `seeds/ac`: what is counted on an area.
    if let Some((base, area)) = name.rsplit_once('/')
        && suffix(&format!("/{area}")).is_some()
    {
        add(base, &format!("/{area}"), false);
    }
    // `yieldPerAcre`: a unit that only capitals set apart.
    let parts = words(name);
    if let Some(at) = parts.iter().rposition(|word| word == "per").filter(|at| *at > 0) {
        let unit = parts[at..].join(" ");
        add(&parts[..at].join(" "), &unit, false);
    }
    all
}

/// The lower row of a two-row header; it holds no ` / `.
fn variants_of_one_row(below: &str) -> Vec<Variant> {
    if below.contains(" / ") { Vec::new() } else { variants(below) }
}

/// How people spell the units of this project (from memory; the trade's spellings).
const SPELLINGS: &[(&str, &[&str])] = &[
    ("ft", &["ft", "feet", "foot", "'", "\u{2032}"]),
    ("in", &["in", "inch", "inches", "\"", "\u{2033}"]),
    ("mm", &["mm", "millimeter", "millimeters", "millimetre", "millimetres"]),
    ("cm", &["cm", "centimeter", "centimeters", "centimetre", "centimetres"]),
    ("m", &["m", "meter", "meters", "metre", "metres"]),
    ("n", &["n", "newton", "newtons"]),
    ("kn", &["kn"]),
    ("lbf", &["lbf", "lb", "lbs", "pound", "pounds"]),
    ("kgf", &["kgf", "kg"]),
    ("psi", &["psi", "psig"]),
    ("kpa", &["kpa"]),
    ("bar", &["bar"]),
    ("mpa", &["mpa"]),
    ("m_s", &["m/s", "mps", "m s", "m_s"]),
    ("km_h", &["km/h", "kmh", "kph", "kmph", "km h", "km_h"]),
    ("mph", &["mph", "mi/h", "miles/h", "miles per hour"]),
    ("c", &["c", "celsius", "centigrade"]),
    ("f", &["f", "fahrenheit"]),
    ("pct", &["%", "pct", "percent", "per cent"]),
    ("frac", &["frac", "fraction"]),
    ("per_m2", &["m2", "m\u{b2}", "square metre", "square meter", "sq m"]),
    ("per_ha", &["ha", "hectare", "hectares"]),
    ("per_ac", &["ac", "acre", "acres", "a"]),
];

/// The project's suffix of a unit as people spell it; `None` where it is none of the project's units.
pub(super) fn suffix(spelled: &str) -> Option<&'static str> {
    let lower = spelled.trim().trim_end_matches('.').to_lowercase();
    let lower = lower.trim_start_matches(['\u{b0}', '\u{ba}']).trim_start_matches("deg").trim();
    let lower = lower.trim_start_matches('_').trim();
    if lower == "ppa" {
        return Some("per_ac");
    }
    // Plants or seeds on an area; what is counted may stand before it.
    let counted = [
        "plants", "plant", "seeds", "seed", "kernels", "kernel", "pl", "pls", "sds", "körner", "korn", "pflanzen",
        "grains", "graines", "semillas", "plantas", "plantes", "sementes", "",
    ];
    let area = counted.iter().find_map(|what| {
        let rest = lower.strip_prefix(what)?.trim();
        rest.strip_prefix('/').or_else(|| rest.strip_prefix("per ")).or_else(|| rest.strip_prefix("per_"))
    });
    let is_area = |suffix: &str| suffix.starts_with("per_");
    let wanted = area.unwrap_or(lower).trim();
    SPELLINGS
        .iter()
        .find(|(suffix, spellings)| is_area(suffix) == area.is_some() && spellings.contains(&wanted))
        .map(|(suffix, _)| *suffix)
}

/// The suffix of a unit for a column of this kind.
pub(super) fn suffix_of_kind(spelled: &str, kind: Kind) -> Option<&'static str> {
    let found = suffix(spelled)?;
    kind.suffixes().iter().copied().find(|suffix| *suffix == found)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_parted_at_signs_digits_and_capitals() {
        for (name, expected) in [
            ("Strip #", "strip"),
            ("totalStandCount", "total stand count"),
            ("GDDToAnthesis", "gdd to anthesis"),
            ("Day07", "day 07"),
            ("  Seeds  sown ", "seed sown"),
            ("Length_counted", "length counted"),
            ("Gauge-wheel stress", "gauge wheel stress"),
            ("", ""),
            ("🌽", ""),
        ] {
            assert_eq!(joined(name), expected, "{name}");
        }
    }

    #[test]
    fn a_unit_is_found_however_it_is_set_apart() {
        for (name, words, unit) in [
            ("Row length (ft)", "row length", "ft"),
            ("Closing pressure [psi]", "closing pressure", "psi"),
            ("closing_force_lbs", "closing force", "lbf"),
            ("Seed depth, in.", "seed depth", "in"),
            ("Residue %", "residue", "pct"),
            ("Residue%", "residue", "pct"),
            ("Soil temp (°F)", "soil temp", "f"),
            ("Speed km/h", "speed", "km_h"),
            ("Seeding rate (plants/ac)", "seeding rate", "per_ac"),
            ("Target population per acre", "target population", "per_ac"),
            ("Row length / m", "row length", "m"),
            ("speed_m_s", "speed", "m_s"),
            ("Row spacing 30\"", "row spacing 30", "in"),
        ] {
            let found = variants(name).into_iter().any(|variant| {
                variant.words == words && variant.unit.as_deref().and_then(suffix).is_some_and(|suffix| suffix == unit)
            });
            assert!(found, "{name}: {:?}", variants(name));
        }
        assert_eq!(suffix("bushels"), None);
        assert_eq!(suffix_of_kind("psi", Kind::Force), None);
    }
}
