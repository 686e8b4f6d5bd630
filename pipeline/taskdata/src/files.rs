//! Names in a bundle, found whatever their case.

use std::collections::BTreeMap;

use evenstand_bundle::Bundle;

use crate::TaskDataError;

/// Files of a bundle by folder and name.
pub(crate) struct Files {
    by_lower_case: BTreeMap<String, Vec<String>>,
}

impl Files {
    pub fn of(bundle: &Bundle) -> Self {
        let mut by_lower_case: BTreeMap<String, Vec<String>> = BTreeMap::new();
        for name in bundle.names() {
            by_lower_case.entry(name.to_lowercase()).or_default().push(name.clone());
        }
        Self { by_lower_case }
    }

    /// The file `folder` + `stem` + "." + `ending`; a stem that has the ending already keeps it. The same letters in the
    /// same case come first where two files differ by case alone.
    pub fn find(&self, folder: &str, stem: &str, ending: &str) -> Option<String> {
        let stem = stem.strip_suffix(&format!(".{}", ending.to_lowercase())).unwrap_or(stem);
        let stem = stem.strip_suffix(&format!(".{}", ending.to_uppercase())).unwrap_or(stem);
        let wanted = format!("{folder}{stem}.{ending}");
        let found = self.by_lower_case.get(&wanted.to_lowercase())?;
        found.iter().find(|name| **name == wanted).or_else(|| found.first()).cloned()
    }

    /// Records of the time logs in a folder: stem and name as they are written.
    pub fn logs(&self, folder: &str) -> Vec<(String, String)> {
        let stem = |name: &String| {
            let (stem, ending) = name.strip_prefix(folder)?.rsplit_once('.')?;
            let (tag, number) = stem.split_at_checked(3)?;
            let digits = !number.is_empty() && number.bytes().all(|byte| byte.is_ascii_digit());
            let is_log = tag.eq_ignore_ascii_case("TLG") && digits && ending.eq_ignore_ascii_case("BIN");
            is_log.then(|| (stem.to_owned(), name.clone()))
        };
        self.by_lower_case.values().flatten().filter_map(stem).collect()
    }
}

/// The folder part of a name in a bundle, with its slash; empty at the top.
pub(crate) fn folder_of(name: &str) -> &str {
    name.rfind('/').and_then(|slash| name.get(..=slash)).unwrap_or("")
}

/// The bytes of a file.
pub(crate) fn read(bundle: &mut Bundle, file: &str) -> Result<Vec<u8>, TaskDataError> {
    bundle.read(file).map_err(|source| TaskDataError::Bundle { file: file.to_owned(), source })
}
