//! Text made safe for XML and HTML: the one place for every page, drawing and workbook.

use std::borrow::Cow;

/// Text as it stands inside an element or a quoted attribute: `&`, `<`, `>` and both quotes are written as entities, and the
/// ends of lines and tabs are blanks, as an attribute has them. Left out is what XML 1.0 forbids (section 2.2), and marks that turn the
/// words behind them around: in a sentence a name must not change how the numbers after it read.
pub fn escaped(text: &str) -> Cow<'_, str> {
    written(text, |letter| match letter {
        '"' => Written::Entity("&quot;"),
        '\'' => Written::Entity("&#39;"),
        '\t' | '\n' | '\r' => Written::Entity(" "),
        letter if turns_words(letter) => Written::Nothing,
        letter => element_text(letter),
    })
}

/// Text as it stands between tags where it must come back letter by letter, as in the cell of a workbook: quotes, tabs and
/// ends of lines stay. What XML 1.0 forbids is left out.
pub fn escaped_cell(text: &str) -> Cow<'_, str> {
    written(text, element_text)
}

/// A whole page without what [`escaped`] leaves out: for pages whose template wrote the entities.
pub fn showable(page: String) -> String {
    let hidden = |letter: char| forbidden_in_xml(letter) || turns_words(letter);
    if page.contains(hidden) { page.replace(hidden, "") } else { page }
}

/// Whether a letter turns the words behind it around (Unicode Standard Annex 9, embeddings, overrides and isolates).
pub fn turns_words(letter: char) -> bool {
    matches!(letter, '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}')
}

/// Whether XML 1.0 has no way to hold a letter (section 2.2, production 2).
pub fn forbidden_in_xml(letter: char) -> bool {
    matches!(letter, '\0'..='\u{8}' | '\u{B}' | '\u{C}' | '\u{E}'..='\u{1F}' | '\u{FFFE}' | '\u{FFFF}')
}

enum Written {
    AsItIs,
    Entity(&'static str),
    Nothing,
}

fn element_text(letter: char) -> Written {
    match letter {
        '&' => Written::Entity("&amp;"),
        '<' => Written::Entity("&lt;"),
        '>' => Written::Entity("&gt;"),
        letter if forbidden_in_xml(letter) => Written::Nothing,
        _ => Written::AsItIs,
    }
}

fn written(text: &str, rule: impl Fn(char) -> Written) -> Cow<'_, str> {
    let Some(first) = text.char_indices().find(|(_, letter)| !matches!(rule(*letter), Written::AsItIs)) else {
        return Cow::Borrowed(text);
    };
    let (plain, rest) = text.split_at(first.0);
    let mut safe = String::with_capacity(text.len() + 16);
    safe.push_str(plain);
    for letter in rest.chars() {
        match rule(letter) {
            Written::AsItIs => safe.push(letter),
            Written::Entity(entity) => safe.push_str(entity),
            Written::Nothing => {}
        }
    }
    Cow::Owned(safe)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ordinary_names_are_not_even_copied() {
        for name in ["North 40", "Weiß-Acker Ж, 2. Gewende", "4/5 [b]", "30 lbf"] {
            assert!(matches!(escaped(name), Cow::Borrowed(same) if same == name));
        }
    }

    #[test]
    fn a_page_keeps_all_but_what_cannot_be_shown() {
        assert_eq!(showable("<p>a\u{1}b\u{202E}c\n\td</p>".into()), "<p>abc\n\td</p>");
    }

    #[test]
    fn no_name_ends_an_element_or_an_attribute() {
        assert_eq!(escaped("a\"b'<script>&]]>"), "a&quot;b&#39;&lt;script&gt;&amp;]]&gt;");
        assert_eq!(escaped_cell("30\" rows <&]]>\n2"), "30\" rows &lt;&amp;]]&gt;\n2");
    }

    #[test]
    fn what_xml_cannot_hold_is_left_out_and_so_is_what_turns_words_around() {
        let every: String = (0..=0x10FFFF).filter_map(char::from_u32).collect();
        for safe in [escaped(&every), escaped_cell(&every)] {
            assert!(!safe.chars().any(forbidden_in_xml));
            assert!(safe.contains('\u{7F}') && safe.contains('\u{FFFD}') && safe.contains('\u{10FFFF}'));
        }
        assert_eq!(escaped("a\0b\u{1}\u{FFFE}\u{202E}31\u{2066}\tc\nd"), "ab31 c d");
        assert_eq!(escaped_cell("a\0b\u{202E}31\tc"), "ab\u{202E}31\tc");
    }
}
