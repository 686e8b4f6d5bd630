//! Pages from templates, with every name escaped.

use evenstand_tables::showable;
use minijinja::value::Serde;
use minijinja::{AutoEscape, Environment};
use serde::Serialize;

use crate::TrialError;

pub(crate) const STYLE: &str = include_str!("../../templates/paper.css");
const CAUTIONS: &str = include_str!("../../templates/cautions.html");

/// Renders a page.
pub(crate) fn render(file: &str, template: &str, page: &impl Serialize) -> Result<String, TrialError> {
    let fault = |source: minijinja::Error| TrialError::Paper { file: file.to_owned(), source };
    let mut environment = Environment::new();
    environment.set_auto_escape_callback(|_| AutoEscape::Html);
    environment.add_template("cautions.html", CAUTIONS).map_err(fault)?;
    environment.add_template(file, template).map_err(fault)?;
    let page = environment.get_template(file).and_then(|template| template.render(Serde(page))).map_err(fault)?;
    Ok(showable(page) + "\n")
}
