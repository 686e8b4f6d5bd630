//! XML of task data as a tree of the elements that matter here, read within limits.

use std::collections::BTreeMap;

use quick_xml::events::{BytesStart, Event};
use quick_xml::{Reader, XmlVersion};

use crate::TaskDataError;
use crate::node::Node;
use crate::notice::Notices;
use crate::text::{Text, decode};

/// Elements that are kept where their parent is. Others are passed over with all that is in them.
const KEPT: [&str; 20] = [
    "ISO11783_TaskData",
    "XFC",
    "XFR",
    "DVC",
    "DET",
    "DOR",
    "DPD",
    "DPT",
    "DVP",
    "FRM",
    "PFD",
    "PLN",
    "LSG",
    "PNT",
    "TSK",
    "TIM",
    "PTN",
    "DLV",
    "TLG",
    "GRD",
];

/// Elements whose attribute A is an id, unique in the whole set (memory of ISO 11783-10, annex D).
const WITH_ID: [&str; 21] = [
    "BSN", "CCG", "CCL", "CCT", "CLD", "CPC", "CTP", "CTR", "CVT", "DET", "DVC", "FRM", "GGP", "GPN", "OTQ", "PDT",
    "PFD", "PGP", "TSK", "VPN", "WKR",
];

const DEPTH: usize = 32;
const ATTRIBUTES: usize = 256;
/// Characters of one attribute that are kept; the longest designator of the standard has 128 (memory).
const CHARACTERS: usize = 512;
/// Bytes that an attribute takes beside its characters: many short ones fill the memory as well.
const BESIDE: usize = 40;

/// A whole file.
#[derive(Debug)]
pub(crate) struct Document {
    pub root: Node,
    /// `VersionMajor` and `VersionMinor` of the root.
    pub version: (Option<u8>, Option<u8>),
}

/// What one set of task data may hold over all its files, and the ids met so far.
#[derive(Debug)]
pub(crate) struct Budget {
    /// Elements that may still be met: 5 million at first.
    elements: usize,
    /// Elements that may still be kept: a million at first.
    kept: usize,
    /// Characters of attributes and ids that may still be kept, with [`BESIDE`] for each: 200 million at first.
    characters: usize,
    ids: BTreeMap<Box<str>, (&'static str, String, u32)>,
}

impl Default for Budget {
    fn default() -> Self {
        Self { elements: 5_000_000, kept: 1_000_000, characters: 200_000_000, ids: BTreeMap::new() }
    }
}

/// Reads the XML file `file`, which begins with the element `expected`.
///
/// Errors where it is not well-formed, repeats an id, has a document type, nests or holds too much. Entities are the five
/// of XML itself and character numbers; no other is expanded.
pub(crate) fn read(
    bytes: &[u8],
    file: &str,
    expected: &'static str,
    budget: &mut Budget,
    notices: &mut Notices,
) -> Result<Document, TaskDataError> {
    let Text { text, guessed } = decode(bytes, file)?;
    let text = text.trim_start_matches('\u{feff}');
    let mut reader = Reader::from_str(text);
    let mut parser =
        Parser { file, text, expected, counted: 0, line: 1, stack: Vec::new(), skipped: 0, done: None, cut: 0, budget };
    let mut version = (None, None);
    loop {
        let start = usize::try_from(reader.buffer_position()).unwrap_or(usize::MAX);
        parser.count_lines(start);
        match reader.read_event() {
            Ok(Event::Start(start)) => parser.open(&start, false, &mut version)?,
            Ok(Event::Empty(start)) => parser.open(&start, true, &mut version)?,
            Ok(Event::End(_)) => parser.close(),
            Ok(Event::DocType(_)) => {
                return Err(
                    parser.refuse("it has a document type (DOCTYPE), which task data do not; export the data again")
                );
            }
            Ok(Event::Eof) => break,
            Ok(_) => {}
            Err(error) => {
                parser.count_lines(usize::try_from(reader.error_position()).unwrap_or(0));
                return Err(parser.refuse(&format!(
                    "the XML is damaged here ({error}); copy the file from the terminal again, or export it again"
                )));
            }
        }
    }
    if guessed {
        let message = "some characters are not the UTF-8 they should be; they are read as Western letters".to_owned();
        notices.add("encoding_guessed", file, message, "look at names with accents or umlauts");
    }
    if parser.cut > 0 {
        let message = format!("{} texts are longer than {CHARACTERS} characters and were cut to that", parser.cut);
        notices.add("text_cut", file, message, "look at the names, or shorten them where they were written");
    }
    parser.finish().map(|root| Document { root, version })
}

struct Parser<'a> {
    file: &'a str,
    text: &'a str,
    expected: &'static str,
    /// Bytes up to which `line` counts.
    counted: usize,
    line: u32,
    /// Kept elements that are open.
    stack: Vec<Node>,
    /// Open elements inside one that is passed over, itself included.
    skipped: usize,
    done: Option<Node>,
    /// Attributes that were longer than what is kept of them.
    cut: u64,
    budget: &'a mut Budget,
}

impl Parser<'_> {
    fn count_lines(&mut self, to: usize) {
        let passed = self.text.as_bytes().get(self.counted..to).unwrap_or_default();
        let lines = passed.iter().filter(|byte| **byte == b'\n').count();
        self.line = self.line.saturating_add(u32::try_from(lines).unwrap_or(u32::MAX));
        self.counted = self.counted.max(to);
    }

    fn refuse(&self, problem: &str) -> TaskDataError {
        // A damaged file may have a name of a million characters, which nobody reads.
        let problem = problem.chars().take(2 * CHARACTERS).collect();
        TaskDataError::Xml { file: self.file.to_owned(), line: self.line, problem }
    }

    fn too_much(&self, what: &'static str, limit: usize) -> TaskDataError {
        TaskDataError::TooMuch { file: self.file.to_owned(), what, limit }
    }

    fn open(
        &mut self,
        start: &BytesStart<'_>,
        empty: bool,
        version: &mut (Option<u8>, Option<u8>),
    ) -> Result<(), TaskDataError> {
        let full = Budget::default();
        self.budget.elements =
            self.budget.elements.checked_sub(1).ok_or_else(|| self.too_much("elements", full.elements))?;
        if self.stack.len() + self.skipped >= DEPTH {
            return Err(self.too_much("levels of elements in one another", DEPTH));
        }
        let is_root = self.stack.is_empty() && self.skipped == 0;
        if is_root && self.done.is_some() {
            return Err(self.refuse("something follows after the end of the data; export the data again"));
        }
        let name = start.name().into_inner();
        let kept_name = KEPT.iter().find(|kept| **kept == name).copied().filter(|_| self.skipped == 0);
        if is_root && name != self.expected {
            let (found, file) = (name.chars().take(40).collect(), self.file.to_owned());
            return Err(TaskDataError::OtherRoot { file, found, expected: self.expected });
        }
        let attributes = self.attributes(start, name, kept_name.is_some(), is_root.then_some(version))?;
        let Some(name) = kept_name else {
            self.skipped += usize::from(!empty);
            return Ok(());
        };
        self.budget.kept = self.budget.kept.checked_sub(1).ok_or_else(|| self.too_much("elements", full.kept))?;
        self.stack.push(Node { name, line: self.line, attributes, children: Vec::new() });
        if empty {
            self.close();
        }
        Ok(())
    }

    /// The attributes of one letter, where the element is kept. Notes its id and the version either way.
    fn attributes(
        &mut self,
        start: &BytesStart<'_>,
        name: &str,
        keep: bool,
        mut version: Option<&mut (Option<u8>, Option<u8>)>,
    ) -> Result<Vec<(u8, Box<str>)>, TaskDataError> {
        let mut attributes = Vec::new();
        for (position, attribute) in start.attributes().enumerate() {
            if position >= ATTRIBUTES {
                return Err(self.too_much("attributes in one element", ATTRIBUTES));
            }
            let attribute = attribute.map_err(|error| {
                self.refuse(&format!("an attribute of {name} is damaged ({error}); export the data again"))
            })?;
            let key = attribute.key.into_inner();
            if attribute.value.contains('<') {
                return Err(self.refuse(&format!(
                    "the attribute {key} of {name} holds a bare \"<\", which XML does not allow there; write &lt; in its \
                     place, or export the data again with a name that has no \"<\""
                )));
            }
            let value = attribute.normalized_value(XmlVersion::Implicit1_0).map_err(|error| {
                self.refuse(&format!(
                    "the attribute {key} of {name} cannot be read ({error}); XML's own five entities are, and no others: \
                     export the data again"
                ))
            })?;
            match (key, version.as_deref_mut()) {
                ("VersionMajor", Some(version)) => version.0 = value.trim().parse().ok(),
                ("VersionMinor", Some(version)) => version.1 = value.trim().parse().ok(),
                _ => {}
            }
            if key == "A" {
                self.note_id(name, value.trim())?;
            }
            if let ([letter @ b'A'..=b'I'], true) = (key.as_bytes(), keep) {
                let end = value.char_indices().nth(CHARACTERS).map_or(value.len(), |(end, _)| end);
                let kept: Box<str> = value.get(..end).unwrap_or(&value).into();
                self.cut += u64::from(kept.len() < value.len());
                self.spend(kept.len() + BESIDE)?;
                attributes.push((*letter, kept));
            }
        }
        Ok(attributes)
    }

    /// Takes characters from the budget.
    fn spend(&mut self, characters: usize) -> Result<(), TaskDataError> {
        let left = self.budget.characters.checked_sub(characters);
        let full = Budget::default().characters;
        self.budget.characters = left.ok_or_else(|| self.too_much("characters in attributes", full))?;
        Ok(())
    }

    fn note_id(&mut self, name: &str, id: &str) -> Result<(), TaskDataError> {
        let Some(name) = WITH_ID.iter().find(|with_id| **with_id == name).copied() else { return Ok(()) };
        if id.is_empty() || id.len() > CHARACTERS {
            return Ok(());
        }
        let carried_by = |(name, file, line): &(&str, String, u32)| format!("{name} in {file}, line {line}");
        let second = (name, self.file.to_owned(), self.line);
        if let Some(first) = self.budget.ids.get(id) {
            let (first, second) = (carried_by(first), carried_by(&second));
            return Err(TaskDataError::DuplicateId { id: id.to_owned(), first, second });
        }
        self.spend(id.len() + self.file.len() + 2 * BESIDE)?;
        self.budget.ids.insert(id.into(), second);
        Ok(())
    }

    fn close(&mut self) {
        if self.skipped > 0 {
            self.skipped -= 1;
        } else if let Some(node) = self.stack.pop() {
            match self.stack.last_mut() {
                Some(parent) => parent.children.push(node),
                None => self.done = Some(node),
            }
        }
    }

    fn finish(self) -> Result<Node, TaskDataError> {
        if let Some(open) = self.stack.last() {
            let problem =
                format!("the file ends inside {} of line {}; copy it from the terminal again", open.name, open.line);
            return Err(self.refuse(&problem));
        }
        let nothing = self.refuse("the file is empty, or holds no XML; copy it from the terminal again");
        self.done.ok_or(nothing)
    }
}
