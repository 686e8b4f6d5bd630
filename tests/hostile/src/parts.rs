//! Several files in one input: `=== name` on a line of its own, then the bytes of the file up to the next such line.
//!
//! So a settings file travels with the table that it explains, and the parts of an archive are changed before they are packed: damage
//! to a packed archive is mostly caught by its check sums and goes no further.

use std::io::{Cursor, Write};

use evenstand_bundle::{Bundle, Limits};

const MARK: &[u8] = b"=== ";

/// The files of an input, by name, in order.
pub struct Parts<'a> {
    files: Vec<(String, &'a [u8])>,
}

impl<'a> Parts<'a> {
    /// Splits an input. Bytes before the first mark are a file called `input`.
    pub fn of(input: &'a [u8]) -> Self {
        let mut files = Vec::new();
        let (mut name, mut from, mut line) = ("input".to_owned(), 0, 0);
        while line < input.len() {
            let next = input[line..].iter().position(|byte| *byte == b'\n').map_or(input.len(), |end| line + end + 1);
            if input[line..].starts_with(MARK) && files.len() < 64 {
                if line > from || !files.is_empty() || name != "input" {
                    files.push((name, cut(&input[from..line])));
                }
                name = String::from_utf8_lossy(input[line + MARK.len()..next].trim_ascii()).into_owned();
                from = next;
            }
            line = next;
        }
        files.push((name, &input[from..]));
        Self { files }
    }

    /// The text of `evenstand.toml`, if the input has one.
    pub fn settings(&self) -> String {
        let own = self.files.iter().find(|(name, _)| name == "evenstand.toml");
        own.map(|(_, bytes)| String::from_utf8_lossy(bytes).into_owned()).unwrap_or_default()
    }

    /// The first file that is no settings.
    pub fn first(&self) -> (&str, &'a [u8]) {
        let first = self.files.iter().find(|(name, _)| name != "evenstand.toml");
        first.map_or(("input", &[]), |(name, bytes)| (name, bytes))
    }

    /// All but the settings as an archive. `None` where names are such that none can be written.
    pub fn zipped(&self) -> Option<Vec<u8>> {
        let mut writer = zip::ZipWriter::new(Cursor::new(Vec::new()));
        let stored = zip::write::SimpleFileOptions::default().compression_method(zip::CompressionMethod::Stored);
        for (name, bytes) in self.files.iter().filter(|(name, _)| name != "evenstand.toml") {
            writer.start_file(name.as_str(), stored).ok()?;
            writer.write_all(bytes).ok()?;
        }
        Some(writer.finish().ok()?.into_inner())
    }

    /// All but the settings as a bundle.
    pub fn bundle(&self) -> Option<Bundle> {
        Bundle::of_bytes(self.zipped()?, Limits::default()).ok()
    }
}

/// Without the end of line before the next mark.
fn cut(bytes: &[u8]) -> &[u8] {
    bytes.strip_suffix(b"\n").unwrap_or(bytes)
}

/// An input of several files.
pub fn joined(files: &[(&str, &[u8])]) -> Vec<u8> {
    let mut input = Vec::new();
    for (place, (name, bytes)) in files.iter().enumerate() {
        if place > 0 {
            input.push(b'\n');
        }
        input.extend_from_slice(MARK);
        input.extend_from_slice(name.as_bytes());
        input.push(b'\n');
        input.extend_from_slice(bytes);
    }
    input
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn files_come_back_as_they_were_joined() {
        let input = joined(&[("evenstand.toml", b"season = 1\n"), ("a/b.csv", b"x,y\n1,2"), ("empty", b"")]);
        let parts = Parts::of(&input);
        assert_eq!(parts.settings(), "season = 1\n");
        assert_eq!(parts.first(), ("a/b.csv", &b"x,y\n1,2"[..]));
        let mut bundle = parts.bundle().expect("an archive of two files");
        assert_eq!(bundle.read("empty").expect("it is there"), b"");
        assert_eq!(Parts::of(b"plain").first(), ("input", &b"plain"[..]));
    }
}
