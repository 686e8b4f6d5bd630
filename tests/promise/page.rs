//! Does the committed page of the simulation still belong to the code?

use rayon::prelude::*;

use crate::judge::judge;
use crate::notebook::{HOW_IT_WORKS, first_review};
use crate::scenarios::scenarios;
use crate::truth::Truth;

const PAGE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../notebooks-md/02-does-it-keep-its-promise.md");

/// The first review of every scenario is answered again: the page must have the same answers.
#[test]
fn the_page_has_the_answers_that_the_code_gives() {
    let page = std::fs::read_to_string(PAGE).unwrap();
    assert!(
        page.contains(HOW_IT_WORKS),
        "the page has another text on how the answer is worked out than how_it_works.md"
    );
    assert!(page.contains("--draws 2000 --first-seed 1 "), "the page was made with other arguments");
    let stale: Vec<String> = scenarios()
        .par_iter()
        .flat_map_iter(|world| {
            let truths: Vec<Truth> = world.conditions.iter().map(|condition| Truth::new(world, condition)).collect();
            judge(world, &truths, 1, 2000).into_iter().map(|record| first_review(&world.name, &record).join(" | "))
        })
        .filter(|row| !page.contains(row))
        .collect();
    assert!(
        stale.is_empty(),
        "not on the page: {stale:#?}\nmake it again: cargo run --release --example promise -- --reviews 150 --notebook notebooks-md/02-does-it-keep-its-promise.md"
    );
}
