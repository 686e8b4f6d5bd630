//! The templates of the pages. Every value that is put into one is escaped, save charts, styles and scripts of our own.

use evenstand_tables::showable;
use minijinja::value::Serde;
use minijinja::{AutoEscape, Environment};
use serde::Serialize;

use crate::ReportError;
use crate::words::labels;

/// All templates, compiled in.
pub(crate) struct Templates {
    environment: Environment<'static>,
}

macro_rules! sources {
    ($($name:literal),+ $(,)?) => {[$(($name, include_str!(concat!("../templates/", $name)))),+]};
}

impl Templates {
    /// Reads the templates. Errors where one of them is at fault.
    pub fn new() -> Result<Self, ReportError> {
        let mut environment = Environment::new();

        environment.set_auto_escape_callback(|_| AutoEscape::Html);
        environment.add_global("INVENTED", labels::INVENTED);
        environment.add_global("CHECK_BY_DIGGING", labels::CHECK_BY_DIGGING.to_vec());
        environment.add_global("NOT_A_COMMAND", labels::NOT_A_COMMAND);
        environment.add_global("NO_START", labels::NO_START);
        for (name, source) in sources![
            "aside.html",
            "card.html",
            "condition.html",
            "digging.html",
            "field.html",
            "grower.html",
            "hardware.html",
            "head.html",
            "macros.html",
            "method.html",
            "page.html",
            "research.html",
            "scheme.html",
            "set_actual.html",
        ] {
            environment.add_template(name, source)?;
        }
        Ok(Self { environment })
    }

    /// A page.
    pub fn page(&self, name: &str, values: &impl Serialize) -> Result<String, ReportError> {
        Ok(showable(self.environment.get_template(name)?.render(Serde(values))?))
    }
}
