//! Text of old tables, one byte a letter.

/// How the text of a table is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Encoding {
    Utf8,
    Windows1252,
    Latin1,
}

/// Letters 0x80 to 0x9F of Windows-1252 (WHATWG Encoding Standard, index windows-1252).
const WINDOWS_1252: [u16; 32] = [
    0x20AC, 0x0081, 0x201A, 0x0192, 0x201E, 0x2026, 0x2020, 0x2021, 0x02C6, 0x2030, 0x0160, 0x2039, 0x0152, 0x008D,
    0x017D, 0x008F, 0x0090, 0x2018, 0x2019, 0x201C, 0x201D, 0x2022, 0x2013, 0x2014, 0x02DC, 0x2122, 0x0161, 0x203A,
    0x0153, 0x009D, 0x017E, 0x0178,
];

impl Encoding {
    /// The encoding that a `.cpg` file names. Nothing where it names one that is not known here.
    pub(crate) fn named(text: &str) -> Option<Self> {
        let plain: String = text.chars().filter(char::is_ascii_alphanumeric).collect::<String>().to_ascii_lowercase();
        match plain.as_str() {
            "utf8" | "65001" | "cp65001" => Some(Self::Utf8),
            "1252" | "ansi1252" | "cp1252" | "windows1252" | "ldid87" => Some(Self::Windows1252),
            "iso88591" | "88591" | "latin1" | "28591" => Some(Self::Latin1),
            _ => None,
        }
    }

    /// Text of the bytes, and whether any of them had no meaning and was replaced.
    pub(crate) fn decode(self, bytes: &[u8]) -> (String, bool) {
        match self {
            Self::Utf8 => {
                let text = String::from_utf8_lossy(bytes);
                // A column of fixed width cuts a letter of several bytes in two: the half at the end is not text.
                let cut = std::str::from_utf8(bytes).is_err_and(|error| error.error_len().is_none());
                let text = if cut { text.trim_end_matches('\u{FFFD}').to_owned() } else { text.into_owned() };
                let replaced = text.contains('\u{FFFD}');
                (text, replaced)
            }
            Self::Latin1 => (bytes.iter().copied().map(char::from).collect(), false),
            Self::Windows1252 => (bytes.iter().copied().map(windows_1252).collect(), false),
        }
    }
}

fn windows_1252(byte: u8) -> char {
    let high = byte.checked_sub(0x80).and_then(|place| WINDOWS_1252.get(usize::from(place)));
    high.and_then(|&code| char::from_u32(u32::from(code))).unwrap_or(char::from(byte))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_encodings_are_known_in_the_spellings_that_programs_write() {
        for (name, encoding) in [
            ("UTF-8\r\n", Encoding::Utf8),
            ("1252", Encoding::Windows1252),
            ("ANSI 1252", Encoding::Windows1252),
            ("ISO-8859-1", Encoding::Latin1),
            ("88591", Encoding::Latin1),
        ] {
            assert_eq!(Encoding::named(name), Some(encoding), "{name}");
        }
        assert_eq!(Encoding::named("Big5"), None);
    }

    #[test]
    fn the_same_bytes_are_other_text_in_other_encodings() {
        assert_eq!(Encoding::Latin1.decode(b"Kr\xFCger").0, "Krüger");
        assert_eq!(Encoding::Windows1252.decode(b"5 \x80 \x96 \x9F").0, "5 € – Ÿ");
        assert_eq!(Encoding::Utf8.decode("Krüger".as_bytes()), ("Krüger".to_owned(), false));
        assert_eq!(Encoding::Utf8.decode(b"Kr\xC3"), ("Kr".to_owned(), false), "cut by the width of the column");
        assert!(Encoding::Utf8.decode(b"Kr\xFCger").1, "replaced");
    }
}
