//! Runs the notebooks: what they show is made again and compared with the page, and so are the reports they make.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use crate::notebook_page::run_page;
use crate::support::{files_below, matches_snapshot, root};

/// What is kept of every review that a notebook runs: the table of settings, and the review as a page of Markdown.
const KEPT: [&str; 2] = ["results/settings.csv", "report/review.md"];

/// The one page of HTML that is kept of a report: the one that the reader of the notebook would print. Charts stand inside it.
fn page_of(notebook: &str) -> &'static str {
    match notebook {
        "03-next-years-default" => "report/growers/eight-row.html",
        _ => "report/index.html",
    }
}

#[test]
fn notebooks_and_their_reports_are_up_to_date() {
    let mut pages: Vec<_> =
        fs::read_dir(root().join("notebooks-md")).unwrap().map(|entry| entry.unwrap().path()).collect();
    pages.retain(|path| path.extension().is_some_and(|ending| ending == "md"));
    pages.sort();
    assert!(!pages.is_empty());
    let mut made = BTreeMap::new();
    for page in pages {
        let name = page.file_stem().unwrap().to_str().unwrap().to_owned();
        let work = tempfile::tempdir().unwrap();
        copy(&root().join("sample-data"), &work.path().join("sample-data"));
        let text = fs::read_to_string(&page).unwrap();
        matches_snapshot(&page, run_page(&text, work.path()).as_bytes());
        for (file, bytes) in files_below(work.path()) {
            let in_review = file.splitn(3, '/').nth(2).unwrap_or_default();
            if KEPT.contains(&in_review) || page_of(&name) == in_review {
                let short = file.rsplit('/').next().unwrap().to_owned();
                made.insert(format!("{name}/{short}"), bytes);
            }
        }
    }
    for (file, bytes) in &made {
        matches_snapshot(&root().join("reports").join(file), bytes);
    }
    let mut committed = files_below(&root().join("reports"));
    committed.remove("README.md");
    assert_eq!(
        committed.keys().collect::<Vec<_>>(),
        made.keys().collect::<Vec<_>>(),
        "a file in reports/ that no notebook makes"
    );
}

fn copy(from: &Path, to: &Path) {
    for (name, bytes) in files_below(from) {
        let in_output = ["/store/", "/results/", "/report/", "/plan/"].iter().any(|folder| name.contains(folder));
        if !in_output {
            let target = to.join(name);
            fs::create_dir_all(target.parent().unwrap()).unwrap();
            fs::write(target, bytes).unwrap();
        }
    }
}
