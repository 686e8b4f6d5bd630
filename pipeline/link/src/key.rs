//! Names that everything is tied together by.

/// A field and season.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(crate) struct FieldSeason {
    pub field_id: String,
    pub season: i64,
}

/// A strip of a field and season.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(crate) struct StripKey {
    pub field: FieldSeason,
    pub strip_id: String,
}

impl FieldSeason {
    pub fn new(field_id: &str, season: i64) -> Self {
        Self { field_id: field_id.to_owned(), season }
    }

    pub fn strip(&self, strip_id: &str) -> StripKey {
        StripKey { field: self.clone(), strip_id: strip_id.to_owned() }
    }
}

impl StripKey {
    pub fn new(field_id: &str, season: i64, strip_id: &str) -> Self {
        FieldSeason::new(field_id, season).strip(strip_id)
    }
}
