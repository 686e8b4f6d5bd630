//! Puts the pages together: the winter review, a page a field-season, a page a planter and farm, and the tables of the research farm.

use std::sync::LazyLock;

use rayon::prelude::*;
use serde::Serialize;

use evenstand_tables::rows::FieldSeasonRow;

use crate::picture::{Figure, Picture};
use crate::results::Results;
use crate::slug::Names;
use crate::templates::Templates;
use crate::words::answer::{Card, cards, deciding_points};
use crate::words::fields::{self, ordered};
use crate::words::ground;
use crate::words::growers::{Grower, growers};
use crate::words::research::{Research, research};
use crate::words::review_markdown::review_markdown;
use crate::words::since_last::{SinceLast, since_last};
use crate::words::units::System;
use crate::words::why::{self, WordTable};
use crate::words::{
    aside, calendar, dig_list, field_chart, hardware, in_short, method, missing, overview, scheme, scope, set_actual,
    telemetry,
};
use crate::{ReportError, font};

/// What every page has: its style, the way home, and the way to the same page in the other units.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Shell {
    /// Style and fonts inside the page; pages beside others name the style file instead.
    style: Option<&'static str>,
    script: &'static str,
    /// The way to the folder of the report.
    root: &'static str,
    /// The way to the folder of this system's pages.
    home: &'static str,
    other_page: String,
    other_words: &'static str,
    review: String,
    invented: bool,
}

/// The pages of one review in one system of units.
pub(crate) struct Pages<'a> {
    results: &'a Results,
    templates: &'a Templates,
    system: System,
    /// Whether this is the system that the review asks for.
    pub own: bool,
    scope: scope::Scope,
}

/// A page on its way into a file.
pub(crate) struct Page {
    pub file: String,
    pub html: String,
    /// Charts that the page shows, of a page in the review's own units: those of the others are no files.
    pub pictures: Vec<Picture>,
    /// The same as a Markdown notebook, of the winter review in its own units.
    pub notebook: Option<String>,
}

#[derive(Serialize)]
struct Index<'a> {
    shell: Shell,
    scope: scope::Scope,
    /// "90 %", or nothing where the run does not say.
    interval: String,
    cards: &'a [Card],
    growers: Vec<Grower>,
    short: in_short::InShort,
    since: Option<SinceLast>,
    together: Vec<Figure>,
    conditions: Vec<why::Why>,
    next: Option<WordTable>,
    groups: Vec<fields::FieldGroup>,
    calendars: Vec<(Figure, WordTable)>,
    missing: Option<WordTable>,
    finding_counts: Option<WordTable>,
    findings: Vec<fields::FindingView>,
    findings_left: usize,
    digging: Option<dig_list::DigList>,
    hardware: Option<hardware::Hardware>,
    set_actual: Option<set_actual::SetActual>,
    scheme: Option<scheme::Scheme>,
    telemetry: Option<WordTable>,
    aside_counts: Option<WordTable>,
    aside_rows: Option<WordTable>,
    method: method::Method,
}

#[derive(Serialize)]
struct FieldPage {
    shell: Shell,
    interval: String,
    field: fields::FieldView,
}

#[derive(Serialize)]
struct GrowerPage {
    shell: Shell,
    grower: Grower,
}

#[derive(Serialize)]
struct ResearchPage {
    shell: Shell,
    research: Research,
    method: method::Method,
}

/// Style and fonts, as the file `page.css` that pages beside the index share. The fonts are encoded once.
pub(crate) static STYLE: LazyLock<String> =
    LazyLock::new(|| format!("{}{}", font::font_face_rules(), include_str!("../templates/style.css")));

impl<'a> Pages<'a> {
    /// Pages in the system that the results are shown in.
    pub fn new(results: &'a Results, templates: &'a Templates, own: bool) -> Self {
        Self { results, templates, system: System::of(results), own, scope: scope::scope(results) }
    }

    /// `file` is seen from the folder of the system's pages; a page is one folder below it or in it.
    fn shell(&self, file: &str, whole: bool) -> Shell {
        let below = file.contains('/');
        let (root, home) = match (self.own, below) {
            (true, false) => ("", ""),
            (true, true) => ("../", "../"),
            (false, false) => ("../", ""),
            (false, true) => ("../../", "../"),
        };
        let other = self.system.other();
        Shell {
            style: whole.then_some(STYLE.as_str()),
            script: include_str!("../templates/script.js"),
            root,
            home,
            other_page: if self.own { format!("{root}{}/{file}", other.folder()) } else { format!("{root}{file}") },
            other_words: other.words(),
            review: self.scope.review.clone(),
            invented: self.scope.invented,
        }
    }

    fn page(
        &self,
        file: String,
        template: &str,
        values: &impl Serialize,
        pictures: Vec<Picture>,
    ) -> Result<Page, ReportError> {
        let html = self.templates.page(template, values)?;
        let file = if self.own { file } else { format!("{}/{file}", self.system.folder()) };
        Ok(Page { file, html, pictures, notebook: None })
    }

    /// The winter review.
    pub fn index(&self) -> Result<Page, ReportError> {
        let results = self.results;
        let mut names = Names::default();
        let pooled = why::pooled_charts(results, &mut names, self.own);
        let together = overview::side_by_side(results, &pooled, &mut names);
        let forests: Vec<_> =
            deciding_points(results).into_iter().map(|point| overview::forest(results, point, &mut names)).collect();
        let calendars = calendar::calendars(results, &mut names);
        let conditions = why::sections(results, &pooled, &forests)?;
        let (findings, findings_left) = aside::general_findings(results);
        let cards = cards(results);
        let index = Index {
            shell: self.shell("index.html", true),
            scope: self.scope.clone(),
            interval: scope::interval(results),
            cards: &cards,
            growers: growers(results),
            short: in_short::in_short(results),
            since: since_last(results),
            together: together.par_iter().map(Picture::figure).collect::<Result<_, _>>()?,
            next: why::next_table(&conditions),
            conditions,
            groups: fields::groups(results, &fields::files(results)),
            calendars: calendars
                .iter()
                .map(|(picture, table)| Ok((picture.figure()?, table.clone())))
                .collect::<Result<_, ReportError>>()?,
            missing: missing::missing(results),
            finding_counts: aside::finding_counts(results),
            findings,
            findings_left,
            digging: dig_list::dig_list(results),
            hardware: hardware::hardware(results),
            set_actual: set_actual::set_actual(results),
            scheme: scheme::scheme(results),
            telemetry: telemetry::telemetry_table(results),
            aside_counts: aside::aside_counts(results),
            aside_rows: aside::aside_rows(results),
            method: method::method(results),
        };
        let mut pictures = Vec::new();
        if self.own {
            pictures.extend(pooled.into_iter().map(|chart| chart.picture));
            pictures.extend(together);
            pictures.extend(forests.into_iter().flatten().map(|(picture, _)| picture));
            pictures.extend(calendars.into_iter().map(|(picture, _)| picture));
        } else {
            // Large, and painted already.
            drop((pooled, together, forests, calendars));
        }
        let notebook = self.own.then(|| review_markdown(results, &index.conditions));
        Ok(Page { notebook, ..self.page("index.html".to_owned(), "page.html", &index, pictures)? })
    }

    /// The field-seasons with the names of their charts and pages, in their order.
    pub fn field_seasons(&self) -> Vec<(&'a FieldSeasonRow, String)> {
        ordered(self.results).into_iter().zip(fields::files(self.results)).collect()
    }

    /// The page of a field-season; `file` is its name without ending.
    pub fn field(&self, field: &FieldSeasonRow, file: &str) -> Result<Page, ReportError> {
        let mut names = Names::default();
        let mut pictures = [
            field_chart::picture(self.results, field, &mut names),
            ground::map(self.results, field, &mut names),
            ground::along(self.results, field, &mut names),
        ];
        // Names of the page are unique; those of its charts follow them.
        for (picture, kind) in pictures.iter_mut().zip(["field", "map", "pass"]) {
            if let Some(picture) = picture {
                picture.file = format!("{kind}-{file}");
            }
        }
        let figure = |picture: &Option<Picture>| picture.as_ref().map(Picture::figure).transpose();
        let figures = [figure(&pictures[0])?, figure(&pictures[1])?, figure(&pictures[2])?];
        let name = format!("fields/{file}.html");
        let values = FieldPage {
            shell: self.shell(&name, false),
            interval: scope::interval(self.results),
            field: fields::view(self.results, field, file, figures),
        };
        self.page(name, "field.html", &values, pictures.into_iter().flatten().collect())
    }

    /// The pages for growers: each a file of its own that needs no other.
    pub fn growers(&self) -> Result<Vec<Page>, ReportError> {
        growers(self.results)
            .into_par_iter()
            .map(|grower| {
                let name = format!("growers/{}.html", grower.file);
                let values = GrowerPage { shell: self.shell(&name, true), grower };
                self.page(name, "grower.html", &values, Vec::new())
            })
            .collect()
    }

    /// The tables of the research farm.
    pub fn research(&self) -> Result<Page, ReportError> {
        let values = ResearchPage {
            shell: self.shell("research.html", false),
            research: research(self.results),
            method: method::method(self.results),
        };
        self.page("research.html".to_owned(), "research.html", &values, Vec::new())
    }
}
