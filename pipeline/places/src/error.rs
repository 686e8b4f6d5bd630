use evenstand_bundle::BundleError;

/// Why no strip of a file could be read.
#[derive(Debug, thiserror::Error)]
pub enum PlaceError {
    /// The file or one of its parts could not be opened or unpacked.
    #[error(transparent)]
    Bundle(#[from] BundleError),
    /// A file could not be opened.
    #[error("the file cannot be opened: {problem}")]
    Open {
        /// What the system said.
        problem: String,
    },
    /// The bytes are not what the format asks for.
    #[error("this cannot be read as {format}: {problem}")]
    Damaged {
        /// The format, in words.
        format: &'static str,
        /// What was found and where.
        problem: String,
    },
    /// The coordinates are in another system than longitude and latitude on WGS 84.
    #[error(
        "the coordinates are in {system}, not in longitude and latitude on WGS 84; \
         export the strips again with the coordinate system WGS 84 (EPSG:4326)"
    )]
    OtherSystem {
        /// Name of the system as the file gives it.
        system: String,
    },
    /// The bundle holds no such set of files.
    #[error("{missing} is missing; a shapefile needs its .shp and .dbf side by side under one name")]
    Missing {
        /// What was looked for.
        missing: String,
    },
    /// Several sets of strips, and nothing tells which is meant.
    #[error("there are several sets of shapes here: {}; keep one, or name the one to read", .names.join(", "))]
    Several {
        /// Their names.
        names: Vec<String>,
    },
    /// More than a file of strips can hold.
    #[error("the file has more than {limit} {what}: this is not a file of strips; export only the strips of the trial")]
    TooMany {
        /// What there are too many of.
        what: &'static str,
        /// How many are read.
        limit: usize,
    },
    /// The distance given for the error of positions cannot be used.
    #[error("the buffer around strips is {found} m; give a number from 0 to {limit} m")]
    Buffer {
        /// What was given, in metres.
        found: f64,
        /// The largest distance that is taken, in metres.
        limit: f64,
    },
}

impl PlaceError {
    pub(crate) fn damaged(format: &'static str, problem: impl Into<String>) -> Self {
        Self::Damaged { format, problem: problem.into() }
    }
}
