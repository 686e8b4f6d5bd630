//! A `[[source]]` block as text: sure lines plain, unsure ones with a question behind them, unknown ones commented out.

/// One line of a block.
#[derive(Debug)]
struct Line {
    text: String,
    doubt: Option<String>,
    open: bool,
}

/// Lines of one part of a block.
#[derive(Debug, Default)]
pub(super) struct Lines(Vec<Line>);

impl Lines {
    /// A line that is sure.
    pub fn sure(&mut self, text: String) {
        self.0.push(Line { text, doubt: None, open: false });
    }

    /// A line that holds, with what a person should look at.
    pub fn unsure(&mut self, text: String, doubt: impl Into<String>) {
        self.0.push(Line { text, doubt: Some(doubt.into()), open: false });
    }

    /// Either of the two.
    pub fn put(&mut self, text: String, doubt: Option<String>) {
        self.0.push(Line { text, doubt, open: false });
    }

    /// A line that only a person can complete; it is commented out.
    pub fn open(&mut self, text: String, doubt: impl Into<String>) {
        self.0.push(Line { text, doubt: Some(doubt.into()), open: true });
    }
}

/// A block being written.
#[derive(Debug, Default)]
pub(super) struct Block {
    /// Keys of the block itself.
    pub top: Lines,
    /// `[source.columns]`.
    pub columns: Lines,
    /// `[source.wide]`.
    pub wide: Lines,
    /// Names of columns that the block does not use.
    pub unused: Vec<String>,
}

impl Block {
    /// The text, ready to be pasted.
    pub fn text(&self) -> String {
        let mut text = String::from("[[source]]\n");
        for (heading, lines) in
            [("", &self.top), ("[source.columns]\n", &self.columns), ("[source.wide]\n", &self.wide)]
        {
            if lines.0.is_empty() {
                continue;
            }
            text.push_str(heading);
            for line in &lines.0 {
                if line.open {
                    text.push_str("# ");
                }
                text.push_str(&line.text);
                if let Some(doubt) = &line.doubt {
                    text.push_str("   # ?  ");
                    text.push_str(&comment(doubt));
                }
                text.push('\n');
            }
        }
        if !self.unused.is_empty() {
            text.push_str(&format!("# not used: {}\n", comment(&some(&self.unused, 30))));
        }
        text
    }

    /// What a person is asked, in the order of the lines; a question that several lines share comes once.
    pub fn questions(&self) -> Vec<String> {
        let lines = self.top.0.iter().chain(&self.columns.0).chain(&self.wide.0);
        let mut questions: Vec<String> = Vec::new();
        for line in lines {
            if let Some(doubt) = &line.doubt {
                let question = format!("{}: {}", comment(&line.text), comment(doubt));
                if !questions.contains(&question) {
                    questions.push(question);
                }
            }
        }
        questions
    }
}

/// Text that may stand in a comment: one line without control letters.
pub(super) fn comment(text: &str) -> String {
    text.chars().map(|letter| if letter.is_control() { ' ' } else { letter }).collect()
}

/// A basic string of TOML 1.0: quotes, backslashes and control letters are escaped.
pub(super) fn quoted(text: &str) -> String {
    let mut quoted = String::from("\"");
    for letter in text.chars() {
        match letter {
            '"' => quoted.push_str("\\\""),
            '\\' => quoted.push_str("\\\\"),
            '\n' => quoted.push_str("\\n"),
            '\t' => quoted.push_str("\\t"),
            '\r' => quoted.push_str("\\r"),
            letter if letter.is_control() => quoted.push_str(&format!("\\u{:04X}", u32::from(letter))),
            letter => quoted.push(letter),
        }
    }
    quoted.push('"');
    quoted
}

/// One string, or a list of them.
pub(super) fn list(texts: &[String]) -> String {
    match texts {
        [one] => quoted(one),
        many => format!("[{}]", many.iter().map(|text| quoted(text)).collect::<Vec<_>>().join(", ")),
    }
}

/// Names for a sentence: `"a", "b" and 3 more`.
pub(super) fn some(texts: &[String], most: usize) -> String {
    let shown: Vec<String> = texts.iter().take(most).map(|text| format!("\"{text}\"")).collect();
    let rest = texts.len().saturating_sub(most);
    if rest > 0 { format!("{} and {rest} more", shown.join(", ")) } else { shown.join(", ") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_text_of_a_file_breaks_out_of_its_string_or_comment() {
        for text in ["a\"b", "\\", "\"\"\"", "a\nb = 1", "\u{0}\u{1b}\u{7f}\u{85}", "# no", "[x]", "\t🌽", "'''"] {
            let mut block = Block::default();
            block.top.unsure(format!("file = {}", quoted(text)), text);
            block.top.open(format!("kind = {}", quoted(text)), text);
            let read: toml::Table = block.text().parse().unwrap_or_else(|error| panic!("{text:?}: {error}"));
            assert_eq!(read["source"][0]["file"].as_str(), Some(text));
            assert_eq!(read["source"][0].get("kind"), None);
        }
    }
}
