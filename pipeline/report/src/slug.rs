//! File names that every file system takes, and that never clash.

use std::collections::BTreeSet;

const LONGEST: usize = 48;

/// Lower-case letters and digits with single hyphens between; `unnamed` where nothing is left.
/// Letters outside ASCII are dropped: not every file system keeps them as written.
pub(crate) fn slug(name: &str) -> String {
    let mut slug = String::new();
    for letter in name.chars() {
        if slug.len() >= LONGEST {
            break;
        }
        if letter.is_ascii_alphanumeric() {
            slug.push(letter.to_ascii_lowercase());
        } else if !slug.is_empty() && !slug.ends_with('-') {
            slug.push('-');
        }
    }
    let slug = slug.trim_end_matches('-');
    if slug.is_empty() { "unnamed".to_owned() } else { slug.to_owned() }
}

/// Hands out names, each once.
#[derive(Debug, Default)]
pub(crate) struct Names {
    taken: BTreeSet<String>,
}

impl Names {
    /// The stem itself, or with `-2`, `-3`, … where it was given away before.
    pub fn unique(&mut self, stem: &str) -> String {
        let mut name = stem.to_owned();
        let mut number = 2;
        while !self.taken.insert(name.clone()) {
            name = format!("{stem}-{number}");
            number += 1;
        }
        name
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slugs_keep_to_letters_digits_and_single_hyphens() {
        assert_eq!(slug("North 40 / <West>"), "north-40-west");
        assert_eq!(slug("../../etc"), "etc");
        assert_eq!(slug("Überlingen"), "berlingen");
        assert_eq!(slug("…"), "unnamed");
        assert_eq!(slug(""), "unnamed");
        assert_eq!(slug("measure:yield"), "measure-yield");
        assert!(slug(&"long ".repeat(40)).len() <= LONGEST);
    }

    #[test]
    fn names_that_slug_alike_stay_apart() {
        let mut names = Names::default();
        let given: Vec<_> = ["A b", "a-B", "a b", "a b-2"].iter().map(|name| names.unique(&slug(name))).collect();
        assert_eq!(given, ["a-b", "a-b-2", "a-b-3", "a-b-2-2"]);
    }
}
