//! Text in XLS records.

use super::records::Record;

/// How text is coded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Coding {
    /// Version 8: one or two bytes a letter, both Unicode.
    Unicode,
    /// Version 5: one byte a letter.
    Bytes {
        /// What the bytes mean.
        code_page: u16,
    },
}

/// Letters 0x80 to 0x9F of code page 1252 (Unicode Consortium, CP1252.TXT); the rest of it is Latin-1.
const WINDOWS_1252: [char; 32] = [
    '€', '\u{81}', '‚', 'ƒ', '„', '…', '†', '‡', 'ˆ', '‰', 'Š', '‹', 'Œ', '\u{8D}', 'Ž', '\u{8F}', '\u{90}', '‘', '’',
    '“', '”', '•', '–', '—', '˜', '™', 'š', '›', 'œ', '\u{9D}', 'ž', 'Ÿ',
];

/// Reads text from a record and the parts it goes on in.
pub(crate) struct Chars<'a> {
    part: &'a [u8],
    more: std::iter::Copied<std::slice::Iter<'a, &'a [u8]>>,
}

impl<'a> Chars<'a> {
    /// From a place in the first part of a record.
    pub fn of(record: &'a Record<'_>, place: usize) -> Self {
        Self { part: record.data.get(place..).unwrap_or_default(), more: record.more.iter().copied() }
    }

    /// A text after its length, which has two bytes where it is `long`, else one. `None` where it is cut short.
    pub fn short_or_long(&mut self, coding: Coding, long: bool) -> Option<String> {
        let length = if long { self.two()? } else { u16::from(self.byte()?) };
        match coding {
            Coding::Unicode => {
                let wide = self.byte()? & 1 != 0;
                self.letters(usize::from(length), wide)
            }
            Coding::Bytes { code_page } => {
                let letters = (0..length).map(|_| self.byte().map(|byte| letter_of(byte, code_page)));
                letters.collect()
            }
        }
    }

    /// The table of shared texts, as far as it is sound ([MS-XLS] 2.4.265 and 2.5.293).
    pub fn table(&mut self) -> Vec<String> {
        let mut texts = Vec::new();
        while self.is_more() {
            match self.rich_text() {
                Some(text) => texts.push(text),
                None => break,
            }
        }
        texts
    }

    fn rich_text(&mut self) -> Option<String> {
        let length = usize::from(self.two()?);
        let flags = self.byte()?;
        let runs = if flags & 8 != 0 { usize::from(self.two()?) } else { 0 };
        let extra = if flags & 4 != 0 { u32::from(self.two()?) | u32::from(self.two()?) << 16 } else { 0 };
        let text = self.letters(length, flags & 1 != 0)?;
        self.skip(runs * 4 + usize::try_from(extra).unwrap_or(usize::MAX / 2));
        Some(text)
    }

    /// `count` letters. Where they go on in another part, it begins with a byte that says anew how wide they are.
    fn letters(&mut self, count: usize, wide: bool) -> Option<String> {
        let mut units: Vec<u16> = Vec::with_capacity(count);
        let mut wide = wide;
        while units.len() < count {
            if self.part.is_empty() {
                self.part = self.more.next()?;
                wide = self.byte()? & 1 != 0;
                continue;
            }
            units.push(if wide { self.two()? } else { u16::from(self.byte()?) });
        }
        Some(String::from_utf16_lossy(&units))
    }

    fn is_more(&mut self) -> bool {
        while self.part.is_empty() {
            match self.more.next() {
                Some(part) => self.part = part,
                None => return false,
            }
        }
        true
    }

    fn skip(&mut self, mut bytes: usize) {
        while bytes > 0 && self.is_more() {
            let here = bytes.min(self.part.len());
            self.part = self.part.get(here..).unwrap_or_default();
            bytes -= here;
        }
    }

    fn byte(&mut self) -> Option<u8> {
        self.is_more().then(|| self.part.split_off_first().copied()).flatten()
    }

    fn two(&mut self) -> Option<u16> {
        Some(u16::from_le_bytes([self.byte()?, self.byte()?]))
    }
}

/// A letter of version 5. Code pages other than 1252 are known in their first half only.
fn letter_of(byte: u8, code_page: u16) -> char {
    match byte {
        0..0x80 => char::from(byte),
        // 1252 goes by three names.
        _ if !matches!(code_page, 1252 | 0x8001 | 1200) => char::REPLACEMENT_CHARACTER,
        0x80..0xA0 => WINDOWS_1252.get(usize::from(byte - 0x80)).copied().unwrap_or(char::REPLACEMENT_CHARACTER),
        _ => char::from(byte),
    }
}
