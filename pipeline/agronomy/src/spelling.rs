//! What a mistyped name probably meant.

/// The candidate nearest to `word`, or `None` where none is near enough to be meant by it.
///
/// Letter case does not count. Nearness is the number of letters inserted, deleted, replaced, or swapped with their
/// neighbour (optimal string alignment). One slip is allowed in a short word, two from five letters, three from nine on;
/// never so many as the word has letters. Of equally near candidates the first wins.
pub fn closest<'a>(word: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let wanted: Vec<char> = word.trim().to_lowercase().chars().collect();
    let slips_allowed = (1 + wanted.len().saturating_sub(1) / 4).min(3);
    let mut best: Option<(usize, &'a str)> = None;
    for candidate in candidates {
        let letters: Vec<char> = candidate.to_lowercase().chars().collect();
        // Words of very unequal length cannot be near: spare the table.
        if letters.len().abs_diff(wanted.len()) > slips_allowed {
            continue;
        }
        let slips = edit_distance(&wanted, &letters);
        let near = slips == 0 || (slips <= slips_allowed && slips < wanted.len());
        if near && best.is_none_or(|(fewest, _)| slips < fewest) {
            best = Some((slips, candidate));
        }
    }
    best.map(|(_, candidate)| candidate)
}

/// Number of edits from one word to the other: three rows of the usual table, of which the oldest serves the swaps.
fn edit_distance(from: &[char], to: &[char]) -> usize {
    let mut before_last: Vec<usize> = vec![0; to.len() + 1];
    let mut last: Vec<usize> = (0..=to.len()).collect();
    for (row, &letter) in from.iter().enumerate() {
        let mut current = vec![row + 1; to.len() + 1];
        for (column, &other) in to.iter().enumerate() {
            let replaced = last[column] + usize::from(letter != other);
            let mut fewest = replaced.min(last[column + 1] + 1).min(current[column] + 1);
            let swapped = row > 0 && column > 0 && letter == to[column - 1] && from[row - 1] == other;
            if swapped {
                fewest = fewest.min(before_last[column - 1] + 1);
            }
            current[column + 1] = fewest;
        }
        before_last = std::mem::replace(&mut last, current);
    }
    last[to.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn distance(from: &str, to: &str) -> usize {
        edit_distance(&from.chars().collect::<Vec<_>>(), &to.chars().collect::<Vec<_>>())
    }

    #[test]
    fn edits_are_counted() {
        assert_eq!(distance("strip", "strip"), 0);
        assert_eq!(distance("strip", "stripe"), 1);
        assert_eq!(distance("strip", "srtip"), 1);
        assert_eq!(distance("emerged", "emergd"), 1);
        assert_eq!(distance("kitten", "sitting"), 3);
        assert_eq!(distance("", "abc"), 3);
        assert_eq!(distance("abc", ""), 3);
    }

    #[test]
    fn a_slip_of_the_fingers_finds_its_word() {
        let columns = ["strip_id", "seeds_sown", "counted_at", "emerged"];
        assert_eq!(closest("emergde", columns), Some("emerged"));
        assert_eq!(closest("Strip_ID", columns), Some("strip_id"));
        assert_eq!(closest("seed_sown", columns), Some("seeds_sown"));
        assert_eq!(closest("counted_on", columns), Some("counted_at"));
    }

    #[test]
    fn a_different_word_finds_nothing() {
        assert_eq!(closest("yield", ["strip_id", "emerged"]), None);
        assert_eq!(closest("n", ["m", "c"]), None);
        assert_eq!(closest("", ["m"]), None);
        assert_eq!(closest("emerged", []), None);
    }

    #[test]
    fn of_equally_near_words_the_first_wins() {
        assert_eq!(closest("sit", ["sat", "set"]), Some("sat"));
        assert_eq!(closest("sit", ["set", "sat"]), Some("set"));
    }
}
