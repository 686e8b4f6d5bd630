//! Writes the files of a report.

use std::error::Error;
use std::io;
use std::panic::resume_unwind;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::{SyncSender, sync_channel};
use std::thread;

use evenstand_book::{BookFacts, BookUnits, ReviewBook};
use evenstand_paper::{Sheet, cards_pdf};
use evenstand_tables::{Group, Table, schema};
use rayon::prelude::*;

use crate::ordered::{grows_with_strips, in_order};
use crate::packed::Held;
use crate::page::{Page, Pages, STYLE};
use crate::results::{Results, TABLES, whole};
use crate::templates::Templates;
use crate::words::paper::{about, paper_cards};
use crate::words::scope::scope;
use crate::words::units::System;
use crate::{ReportError, Summary, font};

/// Files that may wait for being written, so that a review of thousands of fields never holds all of them.
const WAITING: usize = 32;

/// What a source of tables may say.
pub type SourceError = Box<dyn Error + Send + Sync>;

/// The rows of a table, some thousands at a time.
pub type Parts<'a> = Box<dyn Iterator<Item = Result<Table, SourceError>> + 'a>;

/// Where result tables come from: gives one by its name.
pub type Source<'a> = &'a (dyn Fn(&'static str) -> Result<Parts<'a>, SourceError> + Sync);

/// Draws the charts and writes the pages. `results` are what the pages need, `source` gives every table once more for the workbook.
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
/// Files come in no promised order, but the same results give the same bytes of each. Returns how many charts and pages
/// there are. Errors where `source` or `write` does, and asks for no file after that, and where a template or a
/// drawing is at fault; poor or missing data are no error.
pub fn render(
    results: Results,
    source: Source,
    write: &mut dyn FnMut(&str, &[u8]) -> io::Result<()>,
) -> Result<Summary, ReportError> {
    let facts = book_facts(&results);
    let packed = results.packed();
    let templates = &Templates::new()?;
    let (sender, made) = sync_channel(WAITING);
    let maker = Maker { sender, charts: AtomicUsize::new(0), pages: AtomicUsize::new(0) };
    thread::scope(|scope| {
        // The workbook is one long piece of work, the pages are many short ones. All of it is made by the threads of one pool, so that
        // memory that a thread is done with serves what it makes next.
        let makers = scope.spawn(move || {
            let sender = maker.sender.clone();
            let pages = || {
                maker.send("page.css", STYLE.as_bytes().to_vec())?;
                let own = results;
                maker.send("cards.pdf", cards_pdf(&paper_cards(&own), sheet(&own), font::faces(), &about(&own))?)?;
                maker.all_pages(&Pages::new(&own, templates, true))?;
                let other = System::of(&own).other().force_unit();
                maker.all_pages(&Pages::new(&own.shown_in(other), templates, false))?;
                Ok(Summary { charts: maker.charts.into_inner(), pages: maker.pages.into_inner() })
            };
            let book = || send(&sender, "review.xlsx", workbook(facts, &packed, source)?);
            let (book, pages): (Result<(), ReportError>, Result<Summary, ReportError>) = rayon::join(book, pages);
            book.and(pages)
        });
        let written = made.iter().try_for_each(|File { name, bytes }| {
            write(&name, &bytes).map_err(|source| ReportError::Write { file: name, source })
        });
        // Without a reader the makers stop at their next file.
        drop(made);
        let made = makers.join();
        written?;
        made.unwrap_or_else(|panic| resume_unwind(panic))
    })
}

/// What the workbook says of the review, in the units of the review.
fn book_facts(results: &Results) -> BookFacts {
    let scope = scope(results);
    BookFacts {
        title: scope.review,
        invented: scope.invented,
        units: match System::of(results) {
            System::Metric => BookUnits::Metric,
            System::Us => BookUnits::Us,
        },
    }
}

/// Every result table as one workbook. They are read one after another and let go, and of long ones no more rows than a sheet has, for together
/// they are large.
fn workbook(facts: BookFacts, packed: &[(&'static str, Arc<Held>)], source: Source) -> Result<Vec<u8>, ReportError> {
    let strips = in_order(whole(source, "strips")?)?;
    let mut book = ReviewBook::new(facts, Some(&whole(source, "planters")?), Some(&strips))?;
    for name in TABLES {
        match packed.iter().find(|(known, _)| *known == name) {
            Some((_, held)) => add(&mut book, name, held.parts().map(|part| Ok(part?)))?,
            None if grows_with_strips(name) => book.add(&in_order(whole(source, name)?)?)?,
            None => {
                let parts = source(name).map_err(ReportError::Read)?;
                add(&mut book, name, parts.map(|part| part.map_err(ReportError::Read)))?;
            }
        }
    }
    Ok(book.finish()?)
}

/// Adds as many rows of a table as a sheet has, and says how many there are.
fn add(
    book: &mut ReviewBook,
    name: &str,
    parts: impl Iterator<Item = Result<Table, ReportError>>,
) -> Result<(), ReportError> {
    let (mut first, mut rows) = (Vec::new(), 0);
    for part in parts {
        let part = part?;
        if rows < book.rows_looked_at(name) {
            first.push(part.batch().clone());
        }
        rows += part.len();
    }
    Ok(book.add_first(&Table::from_batches(schema(Group::Results, name)?, &first)?, rows)?)
}

/// The paper that goes with the units of the review.
fn sheet(results: &Results) -> Sheet {
    match System::of(results) {
        System::Metric => Sheet::A4,
        System::Us => Sheet::Letter,
    }
}

/// A file on its way to the writer.
struct File {
    name: String,
    bytes: Vec<u8>,
}

fn send(sender: &SyncSender<File>, name: &str, bytes: Vec<u8>) -> Result<(), ReportError> {
    let stopped = |_| ReportError::Write { file: name.to_owned(), source: io::ErrorKind::BrokenPipe.into() };
    sender.send(File { name: name.to_owned(), bytes }).map_err(stopped)
}

/// Makes pages and charts, on as many threads as there are, and counts them.
struct Maker {
    sender: SyncSender<File>,
    charts: AtomicUsize,
    pages: AtomicUsize,
}

impl Maker {
    fn send(&self, name: &str, bytes: Vec<u8>) -> Result<(), ReportError> {
        send(&self.sender, name, bytes)
    }

    /// All pages of one system of units.
    fn all_pages(&self, pages: &Pages) -> Result<(), ReportError> {
        let review = || {
            self.page(pages.index()?, pages.own)?;
            self.page(pages.research()?, pages.own)?;
            pages.growers()?.into_iter().try_for_each(|page| self.page(page, pages.own))
        };
        let fields = || {
            let fields = pages.field_seasons();
            fields.par_iter().try_for_each(|(field, file)| self.page(pages.field(field, file)?, pages.own))
        };
        // The winter review takes most memory next to the workbook: a thread that is done with the one takes up the other.
        let (fields, review) = rayon::join(fields, review);
        review.and(fields)
    }

    /// A page, and in the review's own units its charts as files. Every part is let go as soon as it is handed over.
    fn page(&self, page: Page, with_charts: bool) -> Result<(), ReportError> {
        self.pages.fetch_add(1, Ordering::Relaxed);
        self.send(&page.file, page.html.into_bytes())?;
        if let Some(notebook) = page.notebook {
            self.send("review.md", notebook.into_bytes())?;
        }
        if !with_charts {
            return Ok(());
        }
        page.pictures.into_par_iter().try_for_each(|picture| {
            self.charts.fetch_add(1, Ordering::Relaxed);
            self.send(&format!("charts/{}.svg", picture.file), picture.svg()?.as_bytes().to_vec())?;
            self.send(&format!("charts/{}.png", picture.file), picture.png()?)
        })
    }
}

#[cfg(test)]
mod tests;
