//! Sizes of paper and of letters, and cards that run on.

use evenstand_paper::{PaperCard, Sheet};

use crate::reader::Document;
use crate::{card, pdf, read};

/// Sizes of running text on the first page, smallest first.
fn running_size(document: &Document) -> f32 {
    document.words(0).iter().find(|run| run.text == "Planter").unwrap().size
}

#[test]
fn pages_have_the_size_of_their_paper() {
    for (sheet, width, height) in [(Sheet::A4, 595.28, 841.89), (Sheet::Letter, 612.0, 792.0)] {
        let document = Document::read(&pdf(&[card("a", 2)], sheet));
        let corner = &document.pages[0].media_box;
        assert!((corner[2] - width).abs() < 0.01 && (corner[3] - height).abs() < 0.01, "{corner:?}");
    }
}

#[test]
fn a_card_takes_one_page_in_smaller_letters_before_it_takes_two() {
    assert_eq!(running_size(&read(&[card("a", 1)])), 10.0);
    let mut sizes = Vec::new();
    for answers in 1..=8 {
        let document = read(&[card("a", answers)]);
        if document.pages.len() == 1 {
            sizes.push(running_size(&document));
        }
    }
    assert!(sizes.len() >= 5, "five answers fit on a page: {sizes:?}");
    assert!(sizes.is_sorted_by(|one, next| one >= next), "{sizes:?}");
    assert!(sizes[sizes.len() - 1] < 10.0 && sizes.iter().all(|size| *size >= 7.5), "{sizes:?}");
}

#[test]
fn a_card_that_fits_on_no_page_runs_on_with_its_title() {
    let document = read(&[card("north-12", 20), card("air-8", 1)]);
    let count = document.pages.len();
    assert!(count > 2, "{count}");
    for page in &document.pages[1..count - 1] {
        assert_eq!(page.runs[0].text, "north-12 (continued)");
    }
    assert_eq!(document.words(count - 1)[1].text, "air-8");
    assert_eq!(document.text().matches("start at").count(), 15, "14 of 20 answers and one have a start");
}

#[test]
fn a_title_as_long_as_a_page_stands_once_in_full_and_short_where_it_goes_on() {
    let title = "a planter with a name ".repeat(400);
    let document = read(&[PaperCard { title: title.clone(), ..card("", 12) }]);
    let repeated = document.pages[1].runs.iter().take_while(|run| run.part.is_none()).collect::<Vec<_>>();
    assert_eq!(repeated.len(), 2);
    assert!(repeated[1].text.ends_with("… (continued)"), "{repeated:?}");
    let all: String = document
        .pages
        .iter()
        .flat_map(|page| &page.runs)
        .filter(|run| run.part.is_some())
        .map(|run| run.text.clone())
        .collect();
    assert!(all.contains(title.trim()), "nothing is cut");
}
