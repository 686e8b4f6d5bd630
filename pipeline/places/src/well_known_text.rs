//! Well-known text of coordinate systems, as in a `.prj` file: `KEYWORD["name", value, OTHER[…], …]`.

/// Depth of brackets that is read; real definitions have six.
const DEEPEST: usize = 32;

/// A keyword and what stands in its brackets.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Node {
    /// In capitals.
    pub keyword: String,
    /// Quoted texts.
    pub texts: Vec<String>,
    /// Bare values: numbers and words.
    pub values: Vec<String>,
    /// Keywords inside.
    pub nodes: Vec<Node>,
}

impl Node {
    /// The first quoted text, or the keyword where there is none.
    pub(crate) fn name(&self) -> &str {
        self.texts.first().unwrap_or(&self.keyword)
    }

    /// The first node with one of these keywords, here or below, in the order of the text.
    pub(crate) fn find(&self, keywords: &[&str]) -> Option<&Node> {
        if keywords.contains(&self.keyword.as_str()) {
            return Some(self);
        }
        self.nodes.iter().find_map(|node| node.find(keywords))
    }

    /// The first value, where it is a number.
    pub(crate) fn number(&self) -> Option<f64> {
        self.values.first()?.parse().ok()
    }
}

/// Reads a text; nothing where it has not this form.
pub(crate) fn read(text: &str) -> Option<Node> {
    let mut open: Vec<Node> = vec![Node::default()];
    let mut word = String::new();
    let mut letters = text.chars().peekable();
    while let Some(letter) = letters.next() {
        match letter {
            '[' | '(' => {
                if open.len() > DEEPEST {
                    return None;
                }
                open.push(Node { keyword: std::mem::take(&mut word).to_uppercase(), ..Node::default() });
            }
            ']' | ')' => {
                let mut node = open.pop()?;
                node.values.extend(taken(&mut word));
                open.last_mut()?.nodes.push(node);
            }
            ',' => {
                let value = taken(&mut word);
                open.last_mut()?.values.extend(value);
            }
            '"' => {
                let mut quoted = String::new();
                loop {
                    match letters.next()? {
                        '"' if letters.peek() == Some(&'"') => quoted.extend(letters.next()),
                        '"' => break,
                        other => quoted.push(other),
                    }
                }
                open.last_mut()?.texts.push(quoted);
            }
            other if other.is_whitespace() || other == '\u{FEFF}' => {}
            other => word.push(other),
        }
    }
    let root = open.pop()?;
    if open.is_empty() { root.nodes.into_iter().next() } else { None }
}

fn taken(word: &mut String) -> Option<String> {
    (!word.is_empty()).then(|| std::mem::take(word))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nested_keywords_texts_and_values_are_read() {
        let node = read("GEOGCS[\"A \"\"b\"\"\", DATUM[\"D\",SPHEROID(\"S\",6378137,298.25)],unit[\"degree\",0.5]]\n")
            .unwrap();
        assert_eq!((node.keyword.as_str(), node.name()), ("GEOGCS", "A \"b\""));
        assert_eq!(node.find(&["SPHEROID"]).unwrap().values, ["6378137", "298.25"]);
        assert_eq!(node.find(&["UNIT"]).unwrap().number(), Some(0.5));
    }

    #[test]
    fn text_of_another_form_is_nothing() {
        let deep = format!("{}{}", "A[".repeat(100), "]".repeat(100));
        for text in ["", "degrees", "A[", "A]", "A[\"b]", deep.as_str()] {
            assert_eq!(read(text), None, "{text}");
        }
    }
}
