//! The texts of a workbook: each is kept once, and cells name it by its number (ECMA-376 part 1, 18.4).

use std::borrow::Cow;
use std::collections::HashMap;

use evenstand_tables::{escaped_cell, forbidden_in_xml};

const BEGIN: &str = "<si><t>";
/// Blanks at the ends of a text would go without this.
const BEGIN_WITH_BLANKS: &str = "<si><t xml:space=\"preserve\">";
const END: &str = "</t></si>";
/// Letters of a written-out code, `_xHHHH_`.
const CODE: usize = 7;

/// The texts met so far, in the order in which they came first.
#[derive(Debug, Default)]
pub(crate) struct Strings {
    /// By the text as it is written in the file.
    numbers: HashMap<Box<str>, u32>,
    written: String,
    cells: u64,
}

impl Strings {
    /// The number of a text for one more cell.
    pub fn number(&mut self, text: &str) -> u32 {
        self.number_of_written(&escaped(text))
    }

    /// The number of a text that is already as the file has it.
    pub fn number_of_written(&mut self, text: &str) -> u32 {
        self.cells += 1;
        if let Some(number) = self.numbers.get(text) {
            return *number;
        }
        let number = u32::try_from(self.numbers.len()).unwrap_or(u32::MAX);
        self.numbers.insert(text.into(), number);
        let blank = ['\t', '\n', ' '];
        self.written.push_str(if text.starts_with(blank) || text.ends_with(blank) { BEGIN_WITH_BLANKS } else { BEGIN });
        self.written.push_str(text);
        self.written.push_str(END);
        number
    }

    /// Says that one more cell has a text that was met before.
    pub fn again(&mut self) {
        self.cells += 1;
    }

    /// The part of the workbook that holds the texts.
    pub fn part(&self) -> [Cow<'_, str>; 3] {
        let head = format!(
            "<?xml version=\"1.0\" encoding=\"UTF-8\" standalone=\"yes\"?>\n\
             <sst xmlns=\"http://schemas.openxmlformats.org/spreadsheetml/2006/main\" count=\"{}\" uniqueCount=\"{}\">",
            self.cells,
            self.numbers.len()
        );
        [Cow::Owned(head), Cow::Borrowed(&self.written), Cow::Borrowed("</sst>")]
    }
}

/// The texts of such a part, as they are written.
pub(crate) fn written(part: &str) -> Vec<&str> {
    let texts = part.split("<si>").skip(1);
    texts.filter_map(|text| text.split_once('>')?.1.split_once("</t>")).map(|(text, _)| text).collect()
}

/// A text as the file has it: letters that mean something to XML as entities, and those that XML cannot hold as `_xHHHH_` (ECMA-376 part 1,
/// 22.9.2.19), in which a text that already looks like such a code has its first letter written out.
fn escaped(text: &str) -> Cow<'_, str> {
    let special = |byte: &u8| matches!(byte, b'_' | b'\r' | 0xEF) || *byte < b'\t';
    let special = |byte: &u8| special(byte) || (b'\x0B'..b' ').contains(byte);
    if !text.as_bytes().iter().any(special) {
        return escaped_cell(text);
    }
    let mut coded = String::with_capacity(text.len() + 16);
    for (place, letter) in text.char_indices() {
        match letter {
            // A return by itself would come back as the end of a line.
            '\r' => coded.push_str("_x000D_"),
            letter if forbidden_in_xml(letter) => coded.push_str(&format!("_x{:04X}_", u32::from(letter))),
            '_' if is_code(&text.as_bytes()[place..]) => coded.push_str("_x005F_"),
            letter => coded.push(letter),
        }
    }
    Cow::Owned(escaped_cell(&coded).into_owned())
}

/// Whether a text begins with a written-out code.
fn is_code(text: &[u8]) -> bool {
    match text.first_chunk::<CODE>() {
        Some([b'_', b'x', digits @ .., b'_']) => digits.iter().all(u8::is_ascii_hexdigit),
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_is_kept_once_and_its_cells_are_counted() {
        let mut strings = Strings::default();
        assert_eq!(["a", "b & c", "a", " d"].map(|text| strings.number(text)), [0, 1, 0, 2]);
        strings.again();
        let part = strings.part().concat();
        assert!(part.contains("count=\"5\" uniqueCount=\"3\""), "{part}");
        assert!(
            part.ends_with("<si><t>a</t></si><si><t>b &amp; c</t></si><si><t xml:space=\"preserve\"> d</t></si></sst>")
        );
        assert_eq!(written(&part), ["a", "b &amp; c", " d"]);
    }

    #[test]
    fn control_characters_are_written_out_and_texts_that_look_like_it_stay_what_they_are() {
        assert_eq!(escaped("a\u{1}b\tc"), "a_x0001_b\tc");
        assert_eq!(escaped("_x0001_"), "_x005F_x0001_");
        assert_eq!(escaped("_x00_ _xyzzy_ Ж\u{FFFE}"), "_x00_ _xyzzy_ Ж_xFFFE_");
        assert_eq!(escaped("1 < 2 > 0"), "1 &lt; 2 &gt; 0");
    }
}
