//! Characters of an XML file: UTF-8, UTF-16 or one byte a character.

use std::borrow::Cow;

use crate::TaskDataError;

/// Characters of the bytes 0x80 to 0x9F in the Western single-byte set; the other bytes are their own code point.
/// Source: WHATWG Encoding Standard, index windows-1252, which the labels of Latin-1 and ASCII lead to as well.
const WESTERN: [char; 32] = [
    '€', '\u{81}', '‚', 'ƒ', '„', '…', '†', '‡', 'ˆ', '‰', 'Š', '‹', 'Œ', '\u{8d}', 'Ž', '\u{8f}', '\u{90}', '‘', '’',
    '“', '”', '•', '–', '—', '˜', '™', 'š', '›', 'œ', '\u{9d}', 'ž', 'Ÿ',
];

/// Text of a file, and whether its bytes were not the UTF-8 that they should be and were read as Western single bytes.
pub(crate) struct Text<'a> {
    pub text: Cow<'a, str>,
    pub guessed: bool,
}

/// Reads the bytes of the XML file `file` as text.
///
/// Errors where the declared encoding is none of those that are read, or UTF-16 is broken.
pub(crate) fn decode<'a>(bytes: &'a [u8], file: &str) -> Result<Text<'a>, TaskDataError> {
    let refuse = |problem: String| TaskDataError::Encoding { file: file.to_owned(), problem };
    let wide = match bytes {
        [0xFF, 0xFE, rest @ ..] => Some((rest, u16::from_le_bytes as fn([u8; 2]) -> u16)),
        [0xFE, 0xFF, rest @ ..] => Some((rest, u16::from_be_bytes as _)),
        [b'<', 0, ..] => Some((bytes, u16::from_le_bytes as _)),
        [0, b'<', ..] => Some((bytes, u16::from_be_bytes as _)),
        _ => None,
    };
    if let Some((bytes, unit)) = wide {
        let pairs = bytes.chunks_exact(2).map(|pair| unit([pair[0], pair[1]]));
        let text: Result<String, _> = char::decode_utf16(pairs).collect();
        let broken = !bytes.len().is_multiple_of(2);
        return match text {
            Ok(text) if !broken => Ok(Text { text: text.into(), guessed: false }),
            _ => Err(refuse("the characters should be UTF-16, but some are broken or cut off".to_owned())),
        };
    }
    let bytes = bytes.strip_prefix(&[0xEF, 0xBB, 0xBF]).unwrap_or(bytes);
    let declared = declared(bytes);
    match declared.as_deref().unwrap_or("utf-8") {
        // A file that a program wrote through a wide string says UTF-16 and is not; its bytes decide.
        "utf-8" | "utf8" | "us-ascii" | "ascii" | "utf-16" | "utf-16le" | "utf-16be" => {
            match std::str::from_utf8(bytes) {
                Ok(text) => Ok(Text { text: text.into(), guessed: false }),
                Err(_) => Ok(Text { text: western(bytes).into(), guessed: true }),
            }
        }
        "iso-8859-1" | "iso8859-1" | "latin1" | "latin-1" | "windows-1252" | "cp1252" => {
            Ok(Text { text: western(bytes).into(), guessed: false })
        }
        other => Err(refuse(format!(
            "its characters are said to be \"{}\"; UTF-8, UTF-16, ISO-8859-1 and windows-1252 are read",
            other.chars().take(40).collect::<String>()
        ))),
    }
}

/// Encoding that the XML declaration names, in lower case.
fn declared(bytes: &[u8]) -> Option<String> {
    let start = String::from_utf8_lossy(bytes.get(..200).unwrap_or(bytes)).into_owned();
    let declaration = start.trim_start().strip_prefix("<?xml")?.split("?>").next()?;
    let value = declaration.split_once("encoding")?.1.trim_start().strip_prefix('=')?.trim_start();
    let quote = value.chars().next().filter(|quote| matches!(quote, '"' | '\''))?;
    Some(value.split(quote).nth(1)?.trim().to_ascii_lowercase())
}

fn western(bytes: &[u8]) -> String {
    let character = |&byte: &u8| WESTERN.get(usize::from(byte).wrapping_sub(0x80)).copied().unwrap_or(char::from(byte));
    bytes.iter().map(character).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn text_of(bytes: &[u8]) -> (String, bool) {
        let text = decode(bytes, "a.xml").unwrap();
        (text.text.into_owned(), text.guessed)
    }

    #[test]
    fn the_same_letters_come_out_of_every_encoding() {
        let text = "<?xml version=\"1.0\"?><A B=\"Süd\"/>";
        assert_eq!(text_of(text.as_bytes()), (text.to_owned(), false));
        let mut marked = vec![0xEF, 0xBB, 0xBF];
        marked.extend(text.as_bytes());
        assert_eq!(text_of(&marked), (text.to_owned(), false));
        let little: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
        let big: Vec<u8> = text.encode_utf16().flat_map(u16::to_be_bytes).collect();
        assert_eq!(text_of(&little), (text.to_owned(), false));
        assert_eq!(text_of(&[&[0xFE, 0xFF], &big[..]].concat()), (text.to_owned(), false));
        let latin = b"<?xml version='1.0' encoding='ISO-8859-1'?><A B=\"S\xFCd\"/>";
        assert!(text_of(latin).0.contains("Süd") && !text_of(latin).1);
    }

    #[test]
    fn bytes_that_are_not_the_utf8_they_should_be_are_read_as_western_and_said_to_be() {
        assert_eq!(text_of(b"<A B=\"S\xFCd \x80\"/>"), ("<A B=\"Süd €\"/>".to_owned(), true));
    }

    #[test]
    fn an_encoding_that_is_not_read_is_refused_by_its_name() {
        let error = decode(b"<?xml version=\"1.0\" encoding=\"Shift_JIS\"?><A/>", "a.xml").err().unwrap().to_string();
        assert!(error.contains("shift_jis") && error.contains("UTF-8"), "{error}");
        assert!(decode(&[0xFF, 0xFE, b'<', 0, b'A'], "a.xml").is_err());
        assert!(decode(&[0xFF, 0xFE, 0x00, 0xD8, b'A', 0], "a.xml").is_err());
    }
}
