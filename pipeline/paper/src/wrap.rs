//! Text broken into lines.

use crate::font::OneFace;

/// A line of a broken text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Wrapped {
    pub text: String,
    /// Whether the line ends inside a word, so that the next one goes on without a space.
    pub inside_word: bool,
}

impl Wrapped {
    fn whole(text: String) -> Self {
        Self { text, inside_word: false }
    }
}

/// The lines of a text in a column. Words wider than the column are broken between letters; line breaks of the text are kept;
/// a text without letters has no lines.
pub(crate) fn wrap(text: &str, face: &OneFace<'_>, size: f32, width: f32) -> Vec<Wrapped> {
    let mut lines = Vec::new();
    for paragraph in text.split(['\n', '\r', '\u{2028}', '\u{2029}', '\u{b}', '\u{c}', '\u{85}']) {
        let paragraph: String = paragraph.chars().filter(|letter| !is_invisible(*letter)).collect();
        let mut line = String::new();
        // A no-break space holds its words together and is printed as a space.
        for word in paragraph.split([' ', '\t']).filter(|word| !word.is_empty()) {
            let word = word.replace(['\u{a0}', '\u{202f}'], " ");
            let gap = if line.is_empty() { "" } else { " " };
            if face.width(&line, size) + face.width(gap, size) + face.width(&word, size) <= width {
                line.push_str(gap);
                line.push_str(&word);
                continue;
            }
            if !line.is_empty() {
                lines.push(Wrapped::whole(std::mem::take(&mut line)));
            }
            line = broken(&word, face, size, width, &mut lines);
        }
        if !line.is_empty() {
            lines.push(Wrapped::whole(line));
        }
    }
    lines
}

/// Puts all of a word but its last piece into lines, and gives that piece.
fn broken(word: &str, face: &OneFace<'_>, size: f32, width: f32, lines: &mut Vec<Wrapped>) -> String {
    let mut piece = String::new();
    let mut wide = 0.0;
    for letter in word.chars() {
        let letter_width = face.glyph(letter).1 * size;
        if !piece.is_empty() && wide + letter_width > width {
            lines.push(Wrapped { text: std::mem::take(&mut piece), inside_word: true });
            wide = 0.0;
        }
        piece.push(letter);
        wide += letter_width;
    }
    piece
}

/// Letters that mark where a word may be broken, or the order of bytes; they have no look of their own.
fn is_invisible(letter: char) -> bool {
    matches!(letter, '\u{ad}' | '\u{200b}' | '\u{200c}' | '\u{200d}' | '\u{2060}' | '\u{feff}')
}

/// The lines cut to so many, with "…" where there are more. For titles that are repeated, never for what stands nowhere else.
pub(crate) fn shortened(lines: Vec<Wrapped>, most: usize, face: &OneFace<'_>, size: f32, width: f32) -> Vec<Wrapped> {
    if lines.len() <= most {
        return lines;
    }
    let mut lines: Vec<Wrapped> = lines.into_iter().take(most).collect();
    if let Some(last) = lines.last_mut() {
        while !last.text.is_empty() && face.width(&last.text, size) + face.width("…", size) > width {
            last.text.pop();
        }
        last.text.push('…');
    }
    lines
}
