//! What can be wrong with a settings file.

/// A fault in `evenstand.toml`, in the words a person needs to mend it.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SettingsError {
    /// The file is not TOML, or a key is unknown or of the wrong type; the message has line and column.
    #[error("evenstand.toml cannot be read: {0}")]
    Syntax(String),
    /// A value makes no sense.
    #[error("evenstand.toml, {key}: found {found}; expected {expected}")]
    Value {
        /// Key, with the planter's id where it is about one.
        key: String,
        /// What stands there.
        found: String,
        /// What should stand there.
        expected: String,
    },
}

impl SettingsError {
    pub(crate) fn value(key: impl Into<String>, found: impl std::fmt::Display, expected: impl Into<String>) -> Self {
        Self::Value { key: key.into(), found: found.to_string(), expected: expected.into() }
    }
}
