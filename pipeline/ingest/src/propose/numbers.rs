//! How a file writes numbers: what stands before decimals and between thousands.

use crate::reading::Reading;

/// What was found.
#[derive(Debug, Default, PartialEq)]
pub(super) struct NumberStyle {
    /// A comma stands before decimals.
    pub comma: bool,
    /// What stands between thousands.
    pub thousands: Option<char>,
    /// Why it is not sure, with an example.
    pub doubt: Option<String>,
}

impl NumberStyle {
    /// The style of these cells; `semicolons` says that a semicolon divides them, as files with decimal commas have it.
    pub fn of<'a>(cells: impl Iterator<Item = &'a str>, semicolons: bool) -> Self {
        let mut seen = Seen::default();
        for cell in cells {
            seen.take(cell);
        }
        seen.judge(semicolons)
    }

    /// Reads numbers in this style.
    pub fn reading(&self, missing: Vec<String>) -> Reading {
        Reading {
            decimal: if self.comma { ',' } else { '.' },
            thousands: self.thousands,
            missing,
            ..Reading::default()
        }
    }
}

/// Whether a text is a number in any style: digits, with at most signs, separators and a power of ten.
pub(super) fn looks_like_a_number(text: &str) -> bool {
    let body = text.trim_start_matches(['-', '+', '\u{2212}']);
    let first = body.chars().next();
    let ends = body.ends_with(|letter: char| letter.is_ascii_digit() || letter == '.');
    first.is_some_and(|letter| letter.is_ascii_digit() || matches!(letter, '.' | ','))
        && ends
        && body.len() <= 40
        && body.chars().any(|letter| letter.is_ascii_digit())
        && body.chars().all(|letter| letter.is_ascii_digit() || is_between(letter) || matches!(letter, 'e' | 'E' | '-'))
        && body.matches(['.', ',']).count() <= 6
        && (body.parse::<f64>().is_ok() || separators(body).is_some())
}

fn is_between(letter: char) -> bool {
    matches!(letter, '.' | ',' | ' ' | '\'' | '\u{2019}' | '\u{a0}' | '\u{202f}')
}

/// What the separators of one number say.
#[derive(Debug, PartialEq)]
enum Separators {
    None,
    /// Decimals behind this one, and these between thousands.
    Decimal(char, Option<char>),
    /// Groups of three divided by this one, two or more times, or by one that never stands before decimals.
    Thousands(char),
    /// One of point and comma with three digits behind it.
    Either(char),
}

/// `None` where they stand in no order that a number has, as in a date.
fn separators(text: &str) -> Option<Separators> {
    let body = text.trim_start_matches(['-', '+', '\u{2212}']);
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    let mut kinds: Vec<char> = body.chars().filter(|letter| is_between(*letter)).collect();
    kinds.dedup();
    let grouped = |text: &str, mark: char| {
        let mut parts = text.split(mark);
        let first = parts.next().is_some_and(|first| digits(first) && first.len() <= 3);
        let rest: Vec<&str> = parts.collect();
        first && !rest.is_empty() && rest.iter().all(|part| part.len() == 3 && digits(part))
    };
    match kinds.as_slice() {
        [] => digits(body).then_some(Separators::None),
        [mark @ ('.' | ',')] if body.matches(*mark).count() == 1 => {
            let (whole, decimals) = body.split_once(*mark)?;
            let right = (whole.is_empty() || digits(whole)) && (decimals.is_empty() || digits(decimals));
            let either = decimals.len() == 3 && (1..=3).contains(&whole.len()) && !whole.starts_with('0');
            right.then_some(if either { Separators::Either(*mark) } else { Separators::Decimal(*mark, None) })
        }
        [mark] => grouped(body, *mark).then_some(Separators::Thousands(*mark)),
        [between, mark @ ('.' | ',')] if between != mark && body.matches(*mark).count() == 1 => {
            let (whole, decimals) = body.split_once(*mark)?;
            (grouped(whole, *between) && digits(decimals)).then_some(Separators::Decimal(*mark, Some(*between)))
        }
        _ => None,
    }
}

/// Examples of each writing that occurred.
#[derive(Default)]
struct Seen {
    point: Option<String>,
    comma: Option<String>,
    points: usize,
    commas: usize,
    thousands: Option<char>,
    either_point: Option<String>,
    either_comma: Option<String>,
}

impl Seen {
    fn take(&mut self, cell: &str) {
        let example = || Some(cell.to_owned());
        match separators(cell) {
            Some(Separators::Decimal(mark, between)) => {
                if mark == ',' {
                    self.commas += 1;
                    self.comma = self.comma.take().or_else(example);
                } else {
                    self.points += 1;
                    self.point = self.point.take().or_else(example);
                }
                self.thousands = self.thousands.or(between);
            }
            Some(Separators::Thousands(mark)) => self.thousands = self.thousands.or(Some(mark)),
            Some(Separators::Either('.')) => self.either_point = self.either_point.take().or_else(example),
            Some(Separators::Either(_)) => self.either_comma = self.either_comma.take().or_else(example),
            _ => {}
        }
    }

    fn judge(self, semicolons: bool) -> NumberStyle {
        let usable = |mark: char| matches!(mark, '.' | ',' | ' ' | '\'' | '\u{a0}' | '\u{202f}').then_some(mark);
        let mut style = NumberStyle { thousands: self.thousands.and_then(usable), ..NumberStyle::default() };
        match (&self.comma, &self.point) {
            (Some(comma), Some(point)) => {
                style.comma = self.commas > self.points;
                style.doubt = Some(format!("both {comma} and {point} stand in this file"));
            }
            (Some(_), None) => style.comma = true,
            (None, Some(_)) => {}
            (None, None) => match (style.thousands, &self.either_comma, &self.either_point) {
                (Some('.'), ..) => style.comma = true,
                (None, Some(cell), None) if semicolons => {
                    style.comma = true;
                    style.doubt = Some(format!("{cell} could also be a number of thousands: thousands = \",\""));
                }
                (None, Some(cell), _) => {
                    style.thousands = Some(',');
                    style.doubt = Some(format!("{cell} could also have decimals: decimal = \",\""));
                }
                _ => {}
            },
        }
        if style.comma && style.thousands.is_none() && self.either_point.is_some() {
            style.thousands = Some('.');
        }
        if !style.comma && style.thousands.is_none() && self.either_comma.is_some() {
            style.thousands = Some(',');
        }
        style.thousands = style.thousands.filter(|mark| *mark != if style.comma { ',' } else { '.' });
        style
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn style(cells: &[&str], semicolons: bool) -> (bool, Option<char>, bool) {
        let found = NumberStyle::of(cells.iter().copied(), semicolons);
        (found.comma, found.thousands, found.doubt.is_some())
    }

    #[test]
    fn the_style_follows_from_cells_that_can_be_read_one_way_only() {
        assert_eq!(style(&["12", "17.5"], false), (false, None, false));
        assert_eq!(style(&["5,33", "1.140"], true), (true, Some('.'), false));
        assert_eq!(style(&["5.33", "34,000"], false), (false, Some(','), false));
        assert_eq!(style(&["1.234.567,25"], true), (true, Some('.'), false));
        assert_eq!(style(&["84 000"], false), (false, Some(' '), false));
        assert_eq!(style(&["5.334"], false), (false, None, false), "three decimals of a metre are usual");
        assert_eq!(style(&["34,000"], false), (false, Some(','), true));
        assert_eq!(style(&["1,140"], true), (true, None, true));
        assert_eq!(style(&["5,3", "5.3", "5,4"], true), (true, None, true));
        assert_eq!(style(&["08.05.2025", "x", ""], true), (false, None, false));
    }

    #[test]
    fn dates_and_words_are_no_numbers() {
        for text in ["12", "-9999", "5,33", "1.140", "84 000", "1e5", ".5", "34,000.5"] {
            assert!(looks_like_a_number(text), "{text}");
        }
        for text in ["08.05.2025", "2025-05-08", "5/8/2025", "x", "", "12 ft", "-", "1,2,3", "..", "12:30"] {
            assert!(!looks_like_a_number(text), "{text}");
        }
    }
}
