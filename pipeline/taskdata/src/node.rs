//! Tree of the elements of an XML file.

/// One element with its attributes A to I, the last letter that is read of any kept element.
#[derive(Debug)]
pub(crate) struct Node {
    pub name: &'static str,
    pub line: u32,
    pub attributes: Vec<(u8, Box<str>)>,
    pub children: Vec<Node>,
}

impl Node {
    /// The attribute as it is written, which may be empty; none where it is not there.
    pub fn raw(&self, letter: u8) -> Option<&str> {
        self.attributes.iter().find(|(name, _)| *name == letter).map(|(_, value)| value.trim())
    }

    /// The attribute where it is there and says something.
    pub fn text(&self, letter: u8) -> Option<&str> {
        self.raw(letter).filter(|value| !value.is_empty())
    }

    /// The attribute as a number, where it is one.
    pub fn number<T: std::str::FromStr>(&self, letter: u8) -> Option<T> {
        self.text(letter)?.parse().ok()
    }

    /// Children with this name, in the order of the file.
    pub fn all<'a>(&'a self, name: &'a str) -> impl Iterator<Item = &'a Node> + 'a {
        self.children.iter().filter(move |child| child.name == name)
    }
}
