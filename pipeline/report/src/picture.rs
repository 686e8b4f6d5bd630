//! A chart on its way into files: sketched, with its alt text and the name of its files.

use serde::Serialize;

use crate::ReportError;
use crate::charts;
use crate::charts::sketch::Sketch;

/// A chart before it is painted.
#[derive(Debug, Clone)]
pub(crate) struct Picture {
    /// Name of its files below `charts/`, without their ending.
    pub file: String,
    /// What it shows, in words.
    pub alt: String,
    pub sketch: Sketch,
}

/// A painted chart as a page needs it.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Figure {
    pub svg: String,
    pub file: String,
    pub alt: String,
}

impl Picture {
    /// The chart as SVG.
    pub fn figure(&self) -> Result<Figure, ReportError> {
        let svg = charts::svg(&self.sketch, &self.alt)?;
        Ok(Figure { svg, file: self.file.clone(), alt: self.alt.clone() })
    }

    /// The chart as a PNG image.
    pub fn png(&self) -> Result<Vec<u8>, ReportError> {
        charts::png(&self.sketch, &self.alt)
    }
}
