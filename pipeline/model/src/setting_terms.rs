//! Random terms beside settings as a factor: field-season, block, and field-season × setting where they can be told apart.

use evenstand_stats::RandomTerm;

/// Random terms of strips from several field-seasons, and what had to be left out of them.
pub(crate) struct SettingTerms {
    pub random: Vec<RandomTerm>,
    /// A remark for the method, where field-season × setting cannot be estimated.
    pub left_out: Option<&'static str>,
}

/// The terms that these strips can carry. Codes are numbered without gaps; settings are fixed in the model.
///
/// Field-season × setting needs more cells than setting and field-season take together (the rank of the two as factors).
/// With just as many, every cell is fitted by the two, the likelihood is flat between this term and field-season, and the
/// answer would be wherever the search happens to stop: two fields that share one setting are such a case.
pub(crate) fn setting_terms(fields: &[usize], blocks: &[usize], settings: &[usize]) -> SettingTerms {
    let rows = fields.len();
    let n_fields = count(fields);
    let mut terms = SettingTerms { random: Vec::new(), left_out: None };
    if n_fields < 2 {
        return terms;
    }
    let mut add = |name: &str, codes: &[usize]| {
        if count(codes) < rows {
            terms.random.push(RandomTerm::intercept(name, codes.to_vec(), count(codes)));
        }
    };
    add("field-season", fields);
    if count(blocks) > n_fields {
        add("block", blocks);
    }
    match cells_told_apart(fields, settings) {
        Some(cells) => add(FIELD_BY_SETTING, &cells),
        None => {
            terms.left_out =
                Some("field-season × setting cannot be estimated: too few settings in common between field-seasons");
        }
    }
    terms
}

/// Field-season × setting alone, for models whose blocks are fixed; none where it cannot be told from field-season and setting.
pub(crate) fn field_by_setting(fields: &[usize], settings: &[usize]) -> Option<RandomTerm> {
    let cells = cells_told_apart(fields, settings)?;
    (count(&cells) < fields.len()).then(|| RandomTerm::intercept(FIELD_BY_SETTING, cells.clone(), count(&cells)))
}

const FIELD_BY_SETTING: &str = "field-season × setting";

/// Cells of field-season and setting, where there are more of them than the two take together.
fn cells_told_apart(fields: &[usize], settings: &[usize]) -> Option<Vec<usize>> {
    let n_settings = count(settings);
    let cells = renumber(fields.iter().zip(settings).map(|(field, setting)| field * n_settings + setting));
    let rank = n_settings + count(fields) - linked_parts(fields, settings);
    (count(&cells) > rank).then_some(cells)
}

/// Number of parts that field-seasons fall into when two that share a setting are linked.
pub(crate) fn linked_parts(fields: &[usize], settings: &[usize]) -> usize {
    let n_fields = count(fields);
    let mut above: Vec<usize> = (0..n_fields + count(settings)).collect();
    let mut parts = above.len();
    for (field, setting) in fields.iter().zip(settings) {
        let (one, other) = (top(&mut above, *field), top(&mut above, n_fields + setting));
        if one != other {
            above[other] = one;
            parts -= 1;
        }
    }
    parts
}

/// What stands above all in the part of `code`, which is nearer to it afterwards: thousands of fields would be a long way.
fn top(above: &mut [usize], mut code: usize) -> usize {
    while above[code] != code {
        above[code] = above[above[code]];
        code = above[code];
    }
    code
}

/// Codes numbered from 0 without gaps, in the order of their size.
pub(crate) fn renumber(codes: impl Iterator<Item = usize>) -> Vec<usize> {
    let codes: Vec<usize> = codes.collect();
    let mut sorted = codes.clone();
    sorted.sort_unstable();
    sorted.dedup();
    codes.iter().map(|code| sorted.partition_point(|other| other < code)).collect()
}

/// Number of groups of codes that are numbered without gaps.
pub(crate) fn count(codes: &[usize]) -> usize {
    codes.iter().max().map_or(0, |code| code + 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two strips a cell, from pairs of field and setting; a block a strip of each cell.
    fn names(cells: &[(usize, usize)]) -> (Vec<String>, bool) {
        let twice: Vec<(usize, usize)> = cells.iter().flat_map(|cell| [*cell, *cell]).collect();
        let fields: Vec<usize> = twice.iter().map(|cell| cell.0).collect();
        let settings: Vec<usize> = twice.iter().map(|cell| cell.1).collect();
        let blocks: Vec<usize> = twice.iter().enumerate().map(|(row, cell)| 2 * cell.0 + row % 2).collect();
        let terms = setting_terms(&fields, &blocks, &settings);
        (terms.random.into_iter().map(|term| term.name).collect(), terms.left_out.is_some())
    }

    #[test]
    fn parts_are_counted_however_long_the_chain_that_links_them() {
        assert_eq!(
            (linked_parts(&[], &[]), linked_parts(&[0, 1], &[0, 1]), linked_parts(&[0, 1, 1], &[0, 0, 1])),
            (0, 2, 1)
        );
        // Field n has settings n and n + 1; without setting 500 of field 499 the chain is two.
        let (fields, settings): (Vec<usize>, Vec<usize>) = (0..1000).flat_map(|n| [(n, n), (n, n + 1)]).unzip();
        assert_eq!(linked_parts(&fields, &settings), 1);
        let cut = |codes: &[usize]| [&codes[..999], &codes[1000..]].concat();
        assert_eq!(linked_parts(&cut(&fields), &cut(&settings)), 2);
    }

    #[test]
    fn two_fields_that_share_one_setting_cannot_tell_field_by_setting_from_field() {
        let (terms, left_out) = names(&[(0, 0), (0, 1), (0, 2), (1, 2), (1, 3), (1, 4)]);
        assert_eq!(terms, ["field-season", "block"]);
        assert!(left_out);
    }

    #[test]
    fn two_fields_that_share_two_settings_can() {
        let (terms, left_out) = names(&[(0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (1, 3)]);
        assert_eq!(terms, ["field-season", "block", "field-season × setting"]);
        assert!(!left_out);
    }

    #[test]
    fn fields_without_a_setting_in_common_cannot_and_one_field_has_no_terms() {
        assert!(names(&[(0, 0), (0, 1), (1, 2), (1, 3)]).1);
        assert_eq!(names(&[(0, 0), (0, 1)]), (vec![], false));
    }
}
