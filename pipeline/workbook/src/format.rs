//! What a number format makes of a number.

/// How a number is shown. Only the first section of a format counts, the one for positive numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) enum NumberFormat {
    #[default]
    Number,
    /// A percentage.
    Share,
    /// Year, month or day.
    Day,
    /// Hour, minute or second of a day.
    Clock,
    /// Both.
    Moment,
    /// A date or a time by the language of the program; the value decides.
    DayOrClock,
    /// Hours, minutes or seconds counted on, `[h]:mm`.
    Duration,
}

impl NumberFormat {
    /// Format of a built-in number: ECMA-376 part 1, 18.8.30. 27 to 36 and 50 to 58 mean a date in some languages and a
    /// time in others.
    pub fn built_in(id: u32) -> Self {
        match id {
            9 | 10 => Self::Share,
            14..=17 => Self::Day,
            18..=21 | 45 | 47 => Self::Clock,
            22 => Self::Moment,
            27..=36 | 50..=58 => Self::DayOrClock,
            46 => Self::Duration,
            _ => Self::Number,
        }
    }

    /// Format of a code such as `yyyy-mm-dd hh:mm` (ECMA-376 part 1, 18.8.31).
    pub fn of_code(code: &str) -> Self {
        // Names, not codes; the second is the first in German, which some programs write (from memory).
        if ["general", "standard"].iter().any(|name| code.trim().eq_ignore_ascii_case(name)) {
            return Self::Number;
        }
        let letters: Vec<char> = unquoted(code);
        let (mut day, mut clock) = (false, false);
        let mut after_hour = false;
        let mut at = 0;
        while let Some(&letter) = letters.get(at) {
            let same = letters.iter().skip(at).take_while(|next| **next == letter).count();
            let next = letters.get(at + same);
            match letter {
                '\u{1}' => return Self::Duration,
                'y' | 'd' => day = true,
                // In `0.00E+00` the letter is an exponent, else an era year.
                'e' if !matches!(next, Some('+' | '-')) => day = true,
                // A weekday, a year of the Buddhist calendar.
                'a' if same >= 3 => day = true,
                'b' if same >= 2 => day = true,
                'h' | 's' => clock = true,
                // A month, unless it stands beside hours or seconds.
                'm' => {
                    let before_second = letters.iter().skip(at + same).find(|next| next.is_alphabetic()) == Some(&'s');
                    match after_hour || before_second {
                        true => clock = true,
                        false => day = true,
                    }
                }
                _ => {}
            }
            if letter.is_alphabetic() {
                after_hour = letter == 'h';
            }
            at += same;
        }
        match (day, clock) {
            (true, true) => Self::Moment,
            (true, false) => Self::Day,
            (false, true) => Self::Clock,
            (false, false) if letters.contains(&'%') => Self::Share,
            (false, false) => Self::Number,
        }
    }
}

/// Letters of the first section in lower case, without literal text, colours and `AM/PM`; `\u{1}` for `[h]`, `[m]` and
/// `[s]`.
fn unquoted(code: &str) -> Vec<char> {
    let mut letters = Vec::new();
    let mut rest = code.chars();
    while let Some(letter) = rest.next() {
        match letter {
            ';' => break,
            '"' => {
                let _text = rest.by_ref().find(|next| *next == '"');
            }
            '\\' | '_' | '*' => {
                let _literal = rest.next();
            }
            '[' => {
                let inside: String = rest.by_ref().take_while(|next| *next != ']').collect();
                let inside = inside.to_ascii_lowercase();
                let counts = |unit| !inside.is_empty() && inside.chars().all(|letter| letter == unit);
                if ['h', 'm', 's'].into_iter().any(counts) {
                    letters.push('\u{1}');
                }
            }
            'a' | 'A' => {
                let half_day = ["m/pm", "/p"]
                    .into_iter()
                    .find(|half| rest.as_str().get(..half.len()).is_some_and(|next| next.eq_ignore_ascii_case(half)));
                if let Some(after) = half_day.and_then(|half| rest.as_str().get(half.len()..)) {
                    rest = after.chars();
                } else {
                    letters.push('a');
                }
            }
            other => letters.push(other.to_ascii_lowercase()),
        }
    }
    letters
}

#[cfg(test)]
mod tests {
    use super::NumberFormat::{self, *};

    #[test]
    fn a_number_is_a_date_only_where_its_format_says_so() {
        for (code, wanted) in [
            ("General", Number),
            ("0.00E+00", Number),
            ("0.00e-00", Number),
            ("#,##0.00 \"days\"", Number),
            ("0\\d", Number),
            ("[Red]0.0", Number),
            ("[$-409]0.0", Number),
            ("@", Number),
            ("0_d", Number),
            ("0*y", Number),
            ("0;yyyy", Number),
            ("", Number),
            ("0%", Share),
            ("0.0 %;[Red]-0.0 %", Share),
            ("0\"%\"", Number),
            ("yyyy-mm-dd", Day),
            ("DD/MM/YYYY;@", Day),
            ("[$-409]d-mmm-yy;@", Day),
            ("mmm-yy", Day),
            ("m", Day),
            ("aaa", Day),
            ("Standard", Number),
            ("\"sown \"dd.mm.", Day),
            ("hh:mm", Clock),
            ("h:mm AM/PM", Clock),
            ("h A/P", Clock),
            ("mm:ss.0", Clock),
            ("yyyy-mm-dd hh:mm:ss", Moment),
            ("m/d/yy h:mm", Moment),
            ("h:mm d", Moment),
            ("[h]:mm:ss", Duration),
            ("[mm]:ss", Duration),
            ("[Blue][hh]:mm", Duration),
            ("\"", Number),
            ("[", Number),
            ("\\", Number),
        ] {
            assert_eq!(NumberFormat::of_code(code), wanted, "{code}");
        }
        assert_eq!(NumberFormat::built_in(0), Number);
        assert_eq!(NumberFormat::built_in(14), Day);
        assert_eq!(NumberFormat::built_in(22), Moment);
        assert_eq!(NumberFormat::built_in(46), Duration);
    }
}
