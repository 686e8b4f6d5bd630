//! A small reader of the documents, which knows nothing of how they were made: it follows the objects of the format from the
//! catalog on, unpacks the pages, and turns glyphs back into letters by the fonts' own maps.

use std::collections::BTreeMap;

/// One run of text on a page.
#[derive(Debug, Clone, PartialEq)]
pub struct Run {
    pub text: String,
    pub size: f32,
    pub x: f32,
    pub y: f32,
    /// Number of the tagged part it stands in; nothing for decoration.
    pub part: Option<i32>,
}

/// A page.
#[derive(Debug, Clone)]
pub struct Page {
    pub media_box: Vec<f32>,
    pub runs: Vec<Run>,
}

/// A document.
#[derive(Debug)]
pub struct Document {
    pub objects: BTreeMap<u32, Vec<u8>>,
    pub pages: Vec<Page>,
    catalog: String,
}

impl Document {
    pub fn read(pdf: &[u8]) -> Self {
        assert!(pdf.starts_with(b"%PDF-1."));
        let objects = objects(pdf);
        let trailer = String::from_utf8_lossy(&pdf[find(pdf, b"trailer", 0).unwrap()..]).into_owned();
        let text = |id: u32| String::from_utf8_lossy(&objects[&id]).into_owned();
        let catalog = text(reference(&trailer, "/Root").unwrap());
        let tree = text(reference(&catalog, "/Pages").unwrap());
        let kids: Vec<u32> = references(&tree, "/Kids");
        let pages = kids.iter().map(|id| page(&text(*id), &objects)).collect();
        Self { objects, pages, catalog }
    }

    pub fn catalog(&self) -> &str {
        &self.catalog
    }

    pub fn object(&self, id: u32) -> String {
        String::from_utf8_lossy(&self.objects[&id]).into_owned()
    }

    /// All text, a run a line.
    pub fn text(&self) -> String {
        let runs = self.pages.iter().flat_map(|page| &page.runs);
        runs.map(|run| run.text.as_str()).collect::<Vec<_>>().join("\n")
    }

    /// Runs of a page that are no decoration.
    pub fn words(&self, page: usize) -> Vec<&Run> {
        self.pages[page].runs.iter().filter(|run| run.part.is_some()).collect()
    }
}

fn find(bytes: &[u8], what: &[u8], from: usize) -> Option<usize> {
    bytes.get(from..)?.windows(what.len()).position(|window| window == what).map(|position| position + from)
}

fn objects(pdf: &[u8]) -> BTreeMap<u32, Vec<u8>> {
    // By the table at the end, as a viewer does it.
    let start = find(pdf, b"startxref", 0).unwrap();
    let offset: usize = String::from_utf8_lossy(&pdf[start + 9..]).split_whitespace().next().unwrap().parse().unwrap();
    let table = String::from_utf8_lossy(&pdf[offset..]).into_owned();
    let mut lines = table.lines();
    assert_eq!(lines.next(), Some("xref"));
    let count: u32 = lines.next().unwrap().split(' ').nth(1).unwrap().parse().unwrap();
    let mut objects = BTreeMap::new();
    for (id, line) in (0..count).zip(lines) {
        if line.contains(" n") {
            let at: usize = line.split(' ').next().unwrap().parse().unwrap();
            let head = format!("{id} 0 obj");
            assert!(pdf[at..].starts_with(head.as_bytes()), "object {id} is not where the table says");
            let end = find(pdf, b"\nendobj", at).unwrap();
            objects.insert(id, pdf[at + head.len()..end].to_vec());
        }
    }
    objects
}

/// The object that a key of a dictionary refers to.
pub fn reference(dictionary: &str, key: &str) -> Option<u32> {
    let rest = &dictionary[dictionary.find(&format!("{key} "))? + key.len()..];
    let mut words = rest.split_whitespace();
    let id = words.next()?.parse().ok()?;
    (words.next() == Some("0")).then_some(id)
}

/// The objects that a list refers to.
pub fn references(dictionary: &str, key: &str) -> Vec<u32> {
    let rest = &dictionary[dictionary.find(key).unwrap()..];
    let list = &rest[rest.find('[').unwrap() + 1..rest.find(']').unwrap()];
    list.split_whitespace().collect::<Vec<_>>().chunks(3).map(|words| words[0].parse().unwrap()).collect()
}

fn stream(object: &[u8]) -> Vec<u8> {
    let start = find(object, b"stream\n", 0).unwrap() + 7;
    let end = object.len() - b"\nendstream".len();
    let head = String::from_utf8_lossy(&object[..start]);
    if head.contains("FlateDecode") {
        miniz_oxide::inflate::decompress_to_vec_zlib(&object[start..end]).unwrap()
    } else {
        object[start..end].to_vec()
    }
}

fn letters(font: &str, objects: &BTreeMap<u32, Vec<u8>>) -> BTreeMap<u16, String> {
    let map = String::from_utf8_lossy(&stream(&objects[&reference(font, "/ToUnicode").unwrap()])).into_owned();
    let mut letters = BTreeMap::new();
    for part in map.split("beginbfchar\n").skip(1) {
        for line in part.lines().take_while(|line| line.starts_with('<')) {
            let (glyph, text) = line.split_once(' ').unwrap();
            let glyph = u16::from_str_radix(glyph.trim_matches(['<', '>']), 16).unwrap();
            let text = text.trim_matches(['<', '>']).as_bytes();
            let units: Vec<u16> = text
                .chunks(4)
                .map(|four| u16::from_str_radix(std::str::from_utf8(four).unwrap(), 16).unwrap())
                .collect();
            letters.insert(glyph, String::from_utf16(&units).unwrap());
        }
    }
    letters
}

fn page(dictionary: &str, objects: &BTreeMap<u32, Vec<u8>>) -> Page {
    let from = dictionary.find("/MediaBox [").unwrap() + 11;
    let media_box = dictionary[from..].split(']').next().unwrap();
    let media_box = media_box.split_whitespace().map(|edge| edge.parse().unwrap()).collect();
    let fonts: BTreeMap<&str, BTreeMap<u16, String>> = ["Regular", "Bold"]
        .into_iter()
        .filter_map(|name| {
            let id = reference(dictionary, &format!("/{name}"))?;
            Some((name, letters(&String::from_utf8_lossy(&objects[&id]), objects)))
        })
        .collect();
    let contents = stream(&objects[&reference(dictionary, "/Contents").unwrap()]);
    Page { media_box, runs: runs(&contents, &fonts) }
}

/// Goes through the operators of a page.
fn runs(contents: &[u8], fonts: &BTreeMap<&str, BTreeMap<u16, String>>) -> Vec<Run> {
    let mut runs = Vec::new();
    let (mut font, mut size, mut x, mut y, mut part) = (String::new(), 0.0, 0.0, 0.0, None);
    let mut operands: Vec<Vec<u8>> = Vec::new();
    for token in tokens(contents) {
        let number =
            |back: usize| -> f32 { std::str::from_utf8(&operands[operands.len() - back]).unwrap().parse().unwrap() };
        match token.as_slice() {
            b"Tf" => {
                size = number(1);
                font = String::from_utf8(operands[operands.len() - 2][1..].to_vec()).unwrap();
            }
            b"Td" => (x, y) = (number(2), number(1)),
            b"BDC" => {
                let words: Vec<String> =
                    operands.iter().map(|operand| String::from_utf8_lossy(operand).into_owned()).collect();
                let at = words.iter().position(|word| word == "/MCID").unwrap();
                part = Some(words[at + 1].parse().unwrap());
            }
            b"BMC" | b"EMC" => part = None,
            b"Tj" => {
                let glyphs = operands.last().unwrap();
                assert_eq!(glyphs.len() % 2, 0, "two bytes a glyph");
                let letters = &fonts[font.as_str()];
                let text =
                    glyphs.chunks(2).map(|two| letters[&u16::from_be_bytes([two[0], two[1]])].as_str()).collect();
                runs.push(Run { text, size, x, y, part });
            }
            _ => {
                operands.push(token);
                continue;
            }
        }
        operands.clear();
    }
    runs
}

/// Words of the format; texts in parentheses or angles are given as their bytes.
fn tokens(contents: &[u8]) -> Vec<Vec<u8>> {
    let mut tokens = Vec::new();
    let mut bytes = contents.iter().copied().peekable();
    while let Some(byte) = bytes.next() {
        match byte {
            b'(' => {
                let (mut text, mut depth) = (Vec::new(), 1);
                while let Some(byte) = bytes.next() {
                    match byte {
                        b'\\' => text.push(match bytes.next().unwrap() {
                            b'n' => b'\n',
                            b'r' => b'\r',
                            b't' => b'\t',
                            b'b' => 8,
                            b'f' => 12,
                            digit @ b'0'..=b'7' => {
                                let mut value = u32::from(digit - b'0');
                                for _ in 0..2 {
                                    if let Some(next) = bytes.next_if(|byte| matches!(byte, b'0'..=b'7')) {
                                        value = value * 8 + u32::from(next - b'0');
                                    }
                                }
                                value as u8
                            }
                            other => other,
                        }),
                        b'(' => {
                            depth += 1;
                            text.push(byte);
                        }
                        b')' if depth == 1 => break,
                        b')' => {
                            depth -= 1;
                            text.push(byte);
                        }
                        byte => text.push(byte),
                    }
                }
                tokens.push(text);
            }
            b'<' if bytes.next_if_eq(&b'<').is_some() => {}
            b'<' => {
                let digits: Vec<u8> = bytes.by_ref().take_while(|byte| *byte != b'>').collect();
                let two = |two: &[u8]| u8::from_str_radix(std::str::from_utf8(two).unwrap(), 16).unwrap();
                tokens.push(digits.chunks(2).map(two).collect());
            }
            byte if byte.is_ascii_whitespace() || matches!(byte, b'<' | b'>' | b'[' | b']') => {}
            byte => {
                let mut word = vec![byte];
                while let Some(next) = bytes.next_if(|byte| !byte.is_ascii_whitespace() && !b"<>[]()/".contains(byte)) {
                    word.push(next);
                }
                tokens.push(word);
            }
        }
    }
    tokens
}
