//! A `[[source]]` block, checked and ready to be used on files.

use encoding_rs::Encoding;
use evenstand_agronomy::closest;
use evenstand_settings::SourceRule;
use evenstand_tables::{Group, schemas};

use crate::columns_of_text::Cut;
use crate::format::Format;
use crate::reading::Reading;

/// How the files of one pattern are read.
#[derive(Debug, Clone)]
pub struct Mapping {
    pub(crate) rule: SourceRule,
    pub(crate) reading: Reading,
    pub(crate) encoding: Option<&'static Encoding>,
    pub(crate) delimiter: Option<u8>,
    kind: &'static str,
    files: Vec<glob::Pattern>,
}

impl Mapping {
    /// Checks a block. Errors say which key is wrong and what was expected.
    pub fn new(rule: &SourceRule) -> Result<Self, String> {
        let at = |key: &str, problem: String| format!("source \"{}\", {key}: {problem}", rule.file.join("\", \""));
        let kinds = || schemas().iter().filter(|table| table.group == Group::Raw).map(|table| table.name.as_str());
        let kind = kinds().find(|kind| *kind == rule.kind).ok_or_else(|| {
            let near = closest(&rule.kind, kinds()).map(|near| format!("; did you mean {near}?")).unwrap_or_default();
            at("kind", format!("\"{}\" is none of {}{near}", rule.kind, kinds().collect::<Vec<_>>().join(", ")))
        })?;
        let files = rule.file.iter().map(|text| pattern(text).map_err(|problem| at("file", problem)));
        let encoding = rule.encoding.as_deref().map(|label| {
            Encoding::for_label(label.as_bytes()).ok_or_else(|| {
                at("encoding", format!("\"{label}\" is no encoding such as utf-8, latin1 or windows-1252"))
            })
        });
        let delimiter = match rule.delimiter.as_deref() {
            Some("tab") => Some(b'\t'),
            Some("blanks") | None => None,
            Some(letter) => letter.bytes().next(),
        };
        Ok(Self {
            reading: Reading::of(rule).map_err(|problem| at("timezone", problem))?,
            encoding: encoding.transpose()?,
            delimiter,
            kind,
            files: files.collect::<Result<_, _>>()?,
            rule: rule.clone(),
        })
    }

    /// Whether the block is about this file, given by its path below `raw/`.
    pub fn fits(&self, file: &str) -> bool {
        self.files.iter().any(|files| files.matches_with(file, MATCHING))
    }

    /// The raw table that rows become.
    pub fn kind(&self) -> &'static str {
        self.kind
    }

    /// The files it is about, as they stand in the settings.
    pub fn files(&self) -> &[String] {
        &self.rule.file
    }

    /// Whether files are task data, whose channels the block names.
    pub fn names_channels(&self) -> bool {
        !self.rule.channel.is_empty()
    }

    /// Keys of the block that mean nothing for files of this format.
    pub fn keys_without_effect(&self, format: Format) -> Vec<&'static str> {
        let rule = &self.rule;
        let text = [
            ("delimiter", rule.delimiter.is_some()),
            ("widths", !rule.widths.is_empty()),
            ("encoding", rule.encoding.is_some()),
        ];
        let sheets = [("sheet", !rule.sheet.is_empty()), ("range", rule.range.is_some())];
        let rows = [("header_row", rule.header_row.is_some())];
        let channels = [("channel", !rule.channel.is_empty())];
        let idle: Vec<&[(&'static str, bool)]> = match format {
            Format::Text => vec![&sheets, &channels],
            Format::Workbook => vec![&text, &channels],
            Format::Parquet => vec![&text, &sheets, &rows, &channels],
            Format::TaskData => vec![&text, &sheets, &rows],
            Format::GeoJson => vec![&text, &sheets, &rows, &channels],
            Format::Shapefile | Format::GeoPackage => vec![&text, &sheets[1..], &rows, &channels],
            Format::Archive => vec![&text, &sheets[1..], &rows],
        };
        idle.into_iter().flatten().filter(|(_, given)| *given).map(|(key, _)| *key).collect()
    }

    /// How lines of a text file are cut where no letter divides them.
    pub(crate) fn cut(&self) -> Option<Cut> {
        if !self.rule.widths.is_empty() {
            return Some(Cut::Widths(self.rule.widths.clone()));
        }
        (self.rule.delimiter.as_deref() == Some("blanks")).then_some(Cut::Blanks)
    }
}

const MATCHING: glob::MatchOptions =
    glob::MatchOptions { case_sensitive: false, require_literal_separator: true, require_literal_leading_dot: false };

fn pattern(text: &str) -> Result<glob::Pattern, String> {
    glob::Pattern::new(text).map_err(|error| format!("\"{text}\" is no pattern of file names ({})", error.msg))
}

/// Whether a name fits a pattern in which `*` stands for any letters, whatever the case.
pub(crate) fn name_fits(text: &str, name: &str) -> bool {
    let matching = glob::MatchOptions { require_literal_separator: false, ..MATCHING };
    text.eq_ignore_ascii_case(name) || pattern(text).is_ok_and(|pattern| pattern.matches_with(name, matching))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mapping(text: &str) -> Result<Mapping, String> {
        Mapping::new(&evenstand_settings::Settings::parse(text).unwrap().sources[0])
    }

    #[test]
    fn files_are_matched_by_pattern() {
        let found =
            mapping("[[source]]\nfile = [\"counts/*.xlsx\", \"**/old.csv\"]\nkind = \"stand_count\"\n").unwrap();
        assert!(found.fits("counts/North.XLSX") && found.fits("a/b/old.csv") && found.fits("old.csv"));
        assert!(!found.fits("counts/deep/North.xlsx") && !found.fits("north.xlsx"));
        assert!(name_fits("Stand [*", "stand [*") && name_fits("V*", "v12") && !name_fits("V*", "W"));
    }

    #[test]
    fn a_block_that_cannot_work_says_why() {
        let message = |text: &str| mapping(text).unwrap_err();
        let said = message("[[source]]\nfile = \"a.csv\"\nkind = \"stand_counts\"\n");
        assert!(said.contains("a.csv") && said.contains("did you mean stand_count?"), "{said}");
        let said = message("[[source]]\nfile = \"a.csv\"\nkind = \"field\"\nencoding = \"ebcdic\"\n");
        assert!(said.contains("ebcdic") && said.contains("latin1"), "{said}");
        let said = message("[[source]]\nfile = \"a.csv\"\nkind = \"field\"\ntimezone = \"Iowa\"\n");
        assert!(said.contains("Iowa") && said.contains("America/Chicago"), "{said}");
    }
}
