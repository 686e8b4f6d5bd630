//! A chart on its way into files: sketched, with its alt text and the name of its files.

use std::sync::OnceLock;

use minijinja::Value;
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
    /// The SVG, once it was painted: a page and a file show the same.
    painted: OnceLock<Value>,
}

/// A painted chart as a page needs it.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Figure {
    /// A text that needs no escaping; pages share it.
    pub svg: Value,
    pub file: String,
    pub alt: String,
}

impl Picture {
    /// A chart to paint.
    pub fn new(file: String, alt: String, sketch: Sketch) -> Self {
        Self { file, alt, sketch, painted: OnceLock::new() }
    }

    /// The chart as SVG, painted the first time it is asked for.
    fn painted(&self) -> Result<&Value, ReportError> {
        if let Some(painted) = self.painted.get() {
            return Ok(painted);
        }
        let svg = Value::from_safe_string(charts::svg(&self.sketch, &self.alt)?);
        Ok(self.painted.get_or_init(|| svg))
    }

    /// The chart as an SVG document.
    pub fn svg(&self) -> Result<&str, ReportError> {
        Ok(self.painted()?.as_str().unwrap_or_default())
    }

    /// The chart as a page shows it.
    pub fn figure(&self) -> Result<Figure, ReportError> {
        Ok(Figure { svg: self.painted()?.clone(), file: self.file.clone(), alt: self.alt.clone() })
    }

    /// The chart as a PNG image.
    pub fn png(&self) -> Result<Vec<u8>, ReportError> {
        charts::png(&self.sketch, &self.alt)
    }
}
