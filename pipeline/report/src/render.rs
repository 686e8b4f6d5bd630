//! Writes the files of a report.

use std::io;
use std::thread;

use evenstand_book::{BookFacts, BookUnits, review_workbook};
use evenstand_paper::{Sheet, cards_pdf};
use rayon::prelude::*;

use crate::page::{Page, Pages, STYLE};
use crate::picture::Picture;
use crate::results::Results;
use crate::templates::Templates;
use crate::words::paper::{about, paper_cards};
use crate::words::scope::scope;
use crate::words::units::System;
use crate::{ReportError, Summary, font};

/// Pages and charts that are made at a time, so that a review of thousands of fields never holds all of them.
const AT_A_TIME: usize = 32;

/// Draws the charts and writes the pages.
///
/// `write` is called once a file with its name inside the report and its bytes:
///
/// - `index.html`, the winter review, which needs no other file; `growers/PLANTER-FARM.html`, a sheet each; `fields/FIELD-SEASON.html`
///   and `research.html`, which share `page.css`;
/// - the same pages in the other system of units, below `us/` or `metric/`;
/// - `review.xlsx`, every result table as a sheet, with charts of the spreadsheet's own;
/// - `cards.pdf`, the sheets for growers on paper: A4, or Letter where the review is in US units;
/// - `review.md`, the winter review as a Markdown notebook;
/// - `charts/NAME.svg` and `charts/NAME.png` of every chart.
///
/// Returns how many charts and pages there are. The same results give the same bytes. Errors where `write` does, or where a template or a
/// drawing is at fault; poor or missing data are no error.
pub fn render(results: &Results, write: &mut dyn FnMut(&str, &[u8]) -> io::Result<()>) -> Result<Summary, ReportError> {
    let own = results.clone().in_order();
    let other = System::of(&own).other().shown(&own);
    let templates = Templates::new()?;
    let mut files = Files { write, summary: Summary::default() };
    files.write("page.css", STYLE.as_bytes())?;
    // The workbook is one long piece of work, the pages are many short ones.
    let workbook = thread::scope(|scope| {
        let workbook = scope.spawn(|| workbook(&own));
        files.write("cards.pdf", &cards_pdf(&paper_cards(&own), sheet(&own), font::faces(), &about(&own))?)?;
        files.all_pages(&Pages::new(&own, &templates, true))?;
        files.all_pages(&Pages::new(&other, &templates, false))?;
        workbook.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))
    })?;
    files.write("review.xlsx", &workbook)?;
    Ok(files.summary)
}

/// Every result table as one workbook, in the units of the review.
fn workbook(results: &Results) -> Result<Vec<u8>, ReportError> {
    let scope = scope(results);
    let facts = BookFacts {
        title: scope.review,
        invented: scope.invented,
        units: match System::of(results) {
            System::Metric => BookUnits::Metric,
            System::Us => BookUnits::Us,
        },
    };
    Ok(review_workbook(&results.tables()?, &facts)?)
}

/// The paper that goes with the units of the review.
fn sheet(results: &Results) -> Sheet {
    match System::of(results) {
        System::Metric => Sheet::A4,
        System::Us => Sheet::Letter,
    }
}

struct Files<'a> {
    write: &'a mut dyn FnMut(&str, &[u8]) -> io::Result<()>,
    summary: Summary,
}

impl Files<'_> {
    fn write(&mut self, file: &str, bytes: &[u8]) -> Result<(), ReportError> {
        (self.write)(file, bytes).map_err(|source| ReportError::Write { file: file.to_owned(), source })
    }

    /// Writes all pages of one system of units.
    fn all_pages(&mut self, pages: &Pages) -> Result<(), ReportError> {
        self.page(pages.index()?, pages.own)?;
        self.page(pages.research()?, pages.own)?;
        self.pages(pages.growers()?, pages.own)?;
        for few in pages.field_seasons().chunks(AT_A_TIME) {
            let made = few.par_iter().map(|(field, file)| pages.field(field, file)).collect::<Result<_, _>>()?;
            self.pages(made, pages.own)?;
        }
        Ok(())
    }

    fn page(&mut self, page: Page, with_charts: bool) -> Result<(), ReportError> {
        self.pages(vec![page], with_charts)
    }

    /// Writes pages, and in the review's own units their charts as files.
    fn pages(&mut self, pages: Vec<Page>, with_charts: bool) -> Result<(), ReportError> {
        if with_charts {
            let pictures: Vec<&Picture> = pages.iter().flat_map(|page| &page.pictures).collect();
            for few in pictures.chunks(AT_A_TIME) {
                let painted: Vec<(&str, Vec<u8>)> = few
                    .par_iter()
                    .map(|picture| Ok((picture.svg()?, picture.png()?)))
                    .collect::<Result<_, ReportError>>()?;
                for (picture, (svg, png)) in few.iter().zip(painted) {
                    self.write(&format!("charts/{}.svg", picture.file), svg.as_bytes())?;
                    self.write(&format!("charts/{}.png", picture.file), &png)?;
                    self.summary.charts += 1;
                }
            }
        }
        for page in pages {
            if let Some(notebook) = &page.notebook {
                self.write("review.md", notebook.as_bytes())?;
            }
            self.write(&page.file, page.html.as_bytes())?;
            self.summary.pages += 1;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests;
