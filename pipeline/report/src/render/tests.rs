use std::collections::BTreeMap;

use evenstand_tables::Day;
use evenstand_tables::rows::{FieldEffectRow, FollowedRow, OutlineRow, RecordedRow, SinceLastRow, SourceRow, TraceRow};

use super::*;
use crate::font;
use crate::made_up;
use crate::made_up_digs;
use crate::picture::Picture;
use crate::results::in_parts;
use crate::words::response::Response;

fn rendered(results: &Results) -> (BTreeMap<String, Vec<u8>>, Summary) {
    let mut files = BTreeMap::new();
    let tables = results.tables();
    let source = |name: &str| in_parts(&tables[name]);
    let summary = render(results.read_again(), &source, &mut |name, bytes| {
        assert!(files.insert(name.to_owned(), bytes.to_vec()).is_none(), "{name} is written once");
        Ok(())
    })
    .expect("the report can be made");
    (files, summary)
}

/// The pages of the review's own units, by name, without writing a file.
fn pages_of(results: &Results) -> (BTreeMap<String, String>, Vec<Picture>) {
    let results = results.read_again();
    let templates = Templates::new().expect("the templates are whole");
    let pages = Pages::new(&results, &templates, true);
    let mut made = vec![pages.index().expect("an index"), pages.research().expect("tables")];
    made.extend(pages.growers().expect("sheets"));
    made.extend(pages.field_seasons().iter().map(|(field, file)| pages.field(field, file).expect("a page")));
    let (mut texts, mut pictures) = (BTreeMap::new(), Vec::new());
    for page in made {
        pictures.extend(page.pictures);
        assert!(texts.insert(page.file, page.html).is_none(), "each page once");
    }
    (texts, pictures)
}

fn page_of(results: &Results) -> String {
    pages_of(results).0.remove("index.html").expect("the index")
}

/// The pages and the SVG files, without painting the images.
fn texts_of(results: &Results) -> Vec<(String, String)> {
    let (pages, pictures) = pages_of(results);
    let svgs = pictures.iter().map(|picture| (picture.file.clone(), picture.svg().expect("a chart").to_owned()));
    svgs.chain(pages).collect()
}

/// A review with places, telemetry, a calendar, effects by field-season and last season's answers.
fn everything() -> Results {
    let mut results = made_up::review();
    let strips: Vec<_> =
        results.strips.iter().filter(|strip| strip.field_id == "North" && strip.season == 2025).cloned().collect();
    assert!(strips.len() > 3, "the made-up field has strips");
    for (number, strip) in strips.iter().enumerate() {
        let of = |ring: i64, corner: i64, lon: f64, lat: f64| OutlineRow {
            field_id: strip.field_id.clone(),
            season: strip.season,
            strip_id: strip.strip_id.clone(),
            ring,
            corner,
            lat: Some(lat),
            lon: Some(lon),
        };
        let west = number as f64 * 1e-4;
        let corners = [(west, 0.0), (west + 1e-4, 0.0), (west + 1e-4, 3e-3), (west, 3e-3), (west, 0.0)];
        results.outlines.extend((1..).zip(corners).map(|(corner, (lon, lat))| of(1, corner, lon, lat)));
        let traces = (1..=20).map(|piece| TraceRow {
            field_id: strip.field_id.clone(),
            season: strip.season,
            strip_id: strip.strip_id.clone(),
            piece,
            along_m: Some(10.0 * piece as f64),
            set_n: Some(260.0),
            actual_n: Some(250.0 + piece as f64),
            actual_low_n: Some(240.0),
            actual_high_n: Some(275.0),
            rows: Some(10),
            ..TraceRow::default()
        });
        results.traces.edit(|rows| rows.extend(traces));
        results.sources.push(SourceRow {
            field_id: strip.field_id.clone(),
            season: strip.season,
            strip_id: strip.strip_id.clone(),
            what: "stand_count".into(),
            source_file: "stand_count.csv".into(),
            first_row: Some(2),
            last_row: Some(7),
            rows: Some(6),
        });
    }
    for (what, day) in [("planted", 20_204), ("stand_count", 20_212), ("stand_count", 20_216), ("weather", 20_204)] {
        results.recorded.push(RecordedRow {
            field_id: "North".into(),
            season: 2025,
            what: what.into(),
            day: Day(day),
            rows: Some(4),
            strips: None,
        });
    }
    let point = results.starting_points[0].clone();
    for (scope, field_id) in [("field", Some("North")), ("field", Some("East")), ("typical", None), ("new_field", None)]
    {
        results.field_effects.push(FieldEffectRow {
            condition: point.condition.clone(),
            closer: point.closer.clone(),
            planter_id: point.planter_id.clone(),
            response: point.response.clone(),
            scope: scope.into(),
            field_id: field_id.map(str::to_owned),
            season: field_id.map(|_| 2025),
            contrast: "best_default".into(),
            to_n: Some(338.0),
            from_n: Some(260.0),
            difference: Some(0.04),
            low: Some(0.01),
            high: Some(0.07),
            n_strips: Some(8),
            covers: Some(true),
        });
    }
    results.since_last.push(SinceLastRow {
        condition: point.condition.clone(),
        closer: point.closer.clone(),
        response: point.response.clone(),
        last_evidence: Some("leaning".into()),
        evidence: Some("settled".into()),
        last_start_n: Some(300.0),
        start_n: Some(338.0),
        change: "heavier".into(),
        moved_n: Some(38.0),
        why: Some("2 field-seasons more than then.".into()),
        ..SinceLastRow::default()
    });
    results.followed.push(FollowedRow {
        condition: point.condition,
        closer: point.closer,
        response: point.response,
        season: 2025,
        last_start_n: Some(300.0),
        near_n: Some(20.0),
        n_followed: Some(6),
        n_other: Some(10),
        n_fields_both: Some(2),
        compared_within: Some("field".into()),
        difference: Some(0.03),
        low: Some(-0.01),
        high: Some(0.07),
        reading: Some("not_told".into()),
        ..FollowedRow::default()
    });
    results
}

#[test]
fn a_field_page_shows_its_map_its_passes_and_the_files_behind_each_strip() {
    let (pages, pictures) = pages_of(&everything());
    let page = pages["fields/north-2025.html"].replace('\u{a0}', " ");
    for words in
        ["Where the strips lie", "Set against actual along the pass", "stand_count.csv rows 2 to 7", "class=\"spot\""]
    {
        assert!(page.contains(words), "{words}");
    }
    let says = page.split("<title>strip ").nth(1).and_then(|rest| rest.split("</title>").next());
    assert!(says.is_some_and(|says| says.contains("From stand_count.csv rows 2 to 7")), "{says:?}");
    for picture in pictures {
        crate::charts::sketch::assert_no_text_meets(&picture.sketch, &picture.file);
    }
}

#[test]
fn what_changed_since_last_season_is_said_and_followers_are_no_trial() {
    let page = page_of(&everything()).replace('\u{a0}', " ");
    for words in [
        "300 N, leaning",
        "heavier by 38 N",
        "This is not a trial: who followed a start chose to",
        "6 of 16 counted strips stood within 20 N of 300 N.",
        "better or worse cannot be told.",
    ] {
        assert!(page.contains(words), "{words}");
    }
    assert!(!page_of(&made_up::review()).contains("Since last season"), "no last season, no section");
}

#[test]
fn every_link_between_pages_leads_somewhere_in_both_systems() {
    let (files, _) = rendered(&everything());
    for (name, bytes) in files.iter().filter(|(name, _)| name.ends_with(".html")) {
        let page = String::from_utf8(bytes.clone()).expect("text").replace("&#x2f;", "/");
        let folder = name.rsplit_once('/').map_or("", |(folder, _)| folder);
        for link in page.split("href=\"").skip(1).filter_map(|rest| rest.split('"').next()) {
            let Some((file, _)) = link.split_once('#').or(Some((link, ""))).filter(|(file, _)| !file.is_empty()) else {
                continue;
            };
            let mut parts: Vec<&str> = folder.split('/').filter(|part| !part.is_empty()).collect();
            for part in file.split('/') {
                if part == ".." {
                    assert!(parts.pop().is_some(), "{name} leads out of the report: {link}");
                } else {
                    parts.push(part);
                }
            }
            assert!(files.contains_key(&parts.join("/")), "{name} leads nowhere: {link}");
        }
    }
}

/// The part of the page between the heading of a planter's card and the end of that card.
fn card_of<'a>(page: &'a str, planter: &str) -> &'a str {
    let from = page.find(&format!("<h2>{planter}</h2>")).expect("the planter has a card");
    let length = page[from..].find("</article>").expect("the card ends");
    &page[from..from + length]
}

/// With EVENSTAND_REPORT_OUT set, the made-up report is written there to be looked at in a browser.
#[test]
fn a_review_gives_a_page_and_two_files_a_chart() {
    let (files, summary) = rendered(&made_up::review());
    assert_eq!(summary.charts, 4 + 6 + 1, "four conditions with a curve, six field-seasons, conditions side by side");
    assert_eq!(summary.pages, 2 * (1 + 1 + 6 + 3), "index, tables, field-seasons and sheets in both systems");
    assert_eq!(files.len(), 2 * summary.charts + summary.pages + 4);
    for name in [
        "charts/field-north-2025.svg",
        "charts/condition-dry-covered-on-time-share.png",
        "us/fields/north-2025.html",
        "review.md",
        "review.xlsx",
        "cards.pdf",
    ] {
        assert!(files.contains_key(name), "{name} in {:?}", files.keys());
    }
    if let Some(folder) = std::env::var_os("EVENSTAND_REPORT_OUT") {
        for (name, bytes) in &files {
            let path = std::path::Path::new(&folder).join(name);
            std::fs::create_dir_all(path.parent().expect("the file stands in a folder")).expect("a folder");
            std::fs::write(path, bytes).expect("a file");
        }
    }
}

#[test]
fn many_conditions_are_set_closer_to_fit_one_sheet() {
    let mut results = made_up::review();
    let row = results.settings[0].clone();
    for number in 0..6 {
        let mut row = row.clone();
        row.condition = format!("condition {number}");
        results.settings.push(row);
    }
    let page = page_of(&results);
    assert!(page.contains("<article class=\"card packed\" "), "ten conditions");
    assert!(page.contains("<article class=\"card \" "), "one condition");
    if let Some(folder) = std::env::var_os("EVENSTAND_REPORT_OUT") {
        std::fs::write(std::path::Path::new(&folder).join("many.html"), page).expect("a file");
    }
}

#[test]
fn every_answer_of_digging_has_its_words_and_none_says_more_than_was_dug() {
    let results = made_up_digs::every_answer();
    let page = page_of(&results).replace('\u{a0}', " ");
    if let Some(folder) = std::env::var_os("EVENSTAND_REPORT_OUT") {
        std::fs::write(std::path::Path::new(&folder).join("digs.html"), &page).expect("a file");
    }
    for (condition, said, unsaid) in [
        ("one limit", "from where the soil is too firm was not told", "dug: shut, not too firm"),
        ("no window", "No force dug does both.", "dug: shut"),
        ("all right", "shut often enough at every force dug; at no force dug is the soil too firm", "open below"),
        ("never shut", "at no force dug is the trench shut often enough", "dug: shut"),
        ("pressure alone · planter unweighed-6", "from 16 psi on", " N "),
        ("positions · planter spring-8", "<td data-head=\"Setting\">position 2</td>", "<figure>"),
    ] {
        let section = section_of(&page, condition);
        assert!(section.contains(said), "{condition}: {said}\n{section}");
        assert!(!section.contains(unsaid), "{condition}: {unsaid}\n{section}");
        assert!(!section.contains("What shape does it have?"), "{condition}: no stand, no shape");
    }
    let card = card_of(&page, "air-12");
    assert!(card.contains("From digging alone: no stand counts stand behind it."), "{card}");
    assert!(card_of(&page, "unweighed-6").contains("Digging allows 16 to 31 psi."));
}

#[test]
fn the_same_results_give_the_same_bytes() {
    let results = made_up::review();
    assert_eq!(texts_of(&results), texts_of(&results));
}

#[test]
fn the_page_opens_with_the_answer_and_needs_no_other_file() {
    let page = page_of(&made_up::review());
    let places: Vec<usize> = [
        "<h2>air-12</h2>",
        "id=\"why\"",
        "id=\"digging\"",
        "id=\"fields\"",
        "id=\"planters\"",
        "id=\"set-actual\"",
        "id=\"conditions\"",
        "id=\"aside\"",
        "id=\"method\"",
        "id=\"limits\"",
        "id=\"cautions\"",
    ]
    .iter()
    .map(|mark| page.find(mark).expect("the section is there"))
    .collect();
    assert!(places.is_sorted(), "{places:?}");
    for outside in ["http://", "https://", "src=\"", "<script ", "<link", "@import", "fetch("] {
        let found = page.replace("http://www.w3.org/2000/svg", "");
        assert!(!found.contains(outside), "the page reaches outside: {outside}");
    }
    assert!(page.contains("Invented data."));
    let (nav, _) = page.split_once("</nav>").expect("there is a nav");
    for link in nav.split("href=\"#").skip(1) {
        let (id, _) = link.split_once('"').expect("a link ends");
        assert!(page.contains(&format!("id=\"{id}\"")), "{id}");
    }
    let bare = page_of(&Results::default());
    for id in ["digging", "planters", "set-actual", "conditions"] {
        assert!(!bare.contains(&format!("id=\"{id}\"")) && !bare.contains(&format!("#{id}\"")), "{id} without rows");
    }
}

#[test]
fn a_settled_start_reads_in_the_planters_own_knob() {
    let page = page_of(&made_up::review());
    let card = card_of(&page, "air-12");
    for words in [
        "<p class=\"knob\">260\u{a0}kPa</p>",
        "338\u{a0}N closing downforce",
        "<span>settled</span>",
        "Go heavier: this planter’s default is 200\u{a0}kPa. As good from 210\u{a0}to\u{a0}320\u{a0}kPa.",
        "Expect about 4\u{a0}points more plants on time than at 200\u{a0}kPa (90\u{a0}% interval: 1\u{a0}to\u{a0}7).",
        "Better than the default more than 9 times in 10.",
        "Right in about 8 of 10 fields not yet seen (within 2\u{a0}points of the best setting).",
        "Stay at this planter’s default, 200\u{a0}kPa.",
    ] {
        assert!(card.contains(words), "{words}\n{card}");
    }
    assert!(card_of(&page, "spring-8").contains("<p class=\"knob\">position 3</p>"));
    assert!(card_of(&page, "spring-8").contains("As good from positions 3\u{a0}to\u{a0}4."));
}

#[test]
fn an_open_answer_says_what_is_missing_and_gives_no_number() {
    let mut results = made_up::review();
    results.settings.retain(|row| row.planter_id == "air-12" && row.condition == "wet, covered");
    // Even where a table carries a start by mistake.
    results.settings[0].start_pressure_kpa = Some(310.0);
    let page = page_of(&results);
    let card = card_of(&page, "air-12");
    assert!(card.contains("no starting point yet"));
    assert!(card.contains("What is missing: Two field-seasons were tried here"));
    assert!(!card.contains("310") && !card.contains("of 10 fields"), "{card}");
}

#[test]
fn logs_are_worded_as_a_pattern_to_be_tested() {
    let page = page_of(&made_up::review());
    let card = card_of(&page, "unweighed-6");
    assert!(card.contains("A pattern to be tested, not a finding"), "{card}");
    assert!(card.contains("If the pattern holds: right in about 6 of 10 fields"), "{card}");
    assert!(card.contains("If the pattern holds, expect about 4\u{a0}points"), "{card}");
}

#[test]
fn an_unweighed_planter_shows_no_force_anywhere() {
    let mut results = made_up::review();
    results.settings.retain(|row| row.planter_id == "unweighed-6");
    results.starting_points.retain(|row| row.planter_id.as_deref() == Some("unweighed-6"));
    results.planters.retain(|row| row.planter_id == "unweighed-6");
    results.settings[0].start_force_n = Some(276.0);
    for curve in &mut results.curves {
        curve.planter_id = Some("unweighed-6".to_owned());
    }
    results.curves.retain(|row| row.condition == "dry, covered");
    results.adjusted.edit(Vec::clear);
    results.dig_window.clear();
    results.field_seasons.retain(|row| row.field_id == "North");
    results.strips.retain(|row| row.field_id == "North");
    for field in &mut results.field_seasons {
        field.planter_id = Some("unweighed-6".to_owned());
    }
    for strip in &mut results.strips {
        strip.planter_id = Some("unweighed-6".to_owned());
        strip.force_source = Some("nominal".to_owned());
        strip.set_pressure_kpa = strip.force_n;
    }
    let texts = texts_of(&results);
    assert_eq!(texts.len(), 3 + 3 + 2, "three charts; one sheet and two field-seasons; the review and its tables");
    for (name, text) in &texts {
        let text = text.split_once("<main>").map_or(text.as_str(), |(_, main)| main);
        assert!(!text.contains("\u{a0}N") && !text.contains("(N)"), "{name} shows a force");
        let has_an_axis = text.contains("<svg") && !name.starts_with("growers/");
        assert!(!has_an_axis || text.contains("(psi)"), "{name}");
    }
    let page = page_of(&results);
    assert!(page.contains("<p class=\"knob\">40\u{a0}psi</p>") && page.contains("no force is given"));
}

#[test]
fn names_are_escaped_wherever_they_stand() {
    let evil = "<img src=x onerror=alert(1)> & \"Co\"";
    let mut results = made_up::review();
    results.model[0].text = Some(evil.to_owned());
    results.planters[0].planter_id = evil.to_owned();
    for row in &mut results.settings {
        row.condition = evil.to_owned();
        row.reason = Some(evil.to_owned());
        if row.planter_id == "air-12" {
            row.planter_id = evil.to_owned();
        }
    }
    for row in &mut results.starting_points {
        row.condition = evil.to_owned();
        row.reason = evil.to_owned();
    }
    for row in &mut results.curves {
        row.condition = evil.to_owned();
    }
    for field in &mut results.field_seasons {
        field.field_id = evil.to_owned();
        field.client = Some(evil.to_owned());
        field.hybrid = Some(evil.to_owned());
    }
    for strip in &mut results.strips {
        strip.field_id = evil.to_owned();
        strip.block = Some(evil.to_owned());
    }
    results.course_means.edit(|courses| {
        for course in courses {
            course.field_id = evil.to_owned();
            course.label = Some(evil.to_owned());
        }
    });
    results.findings[0].message = evil.to_owned();
    results.set_aside[0].raw = Some(evil.to_owned());
    let mut seen = 0;
    for (name, text) in texts_of(&results) {
        assert!(!text.contains("<img"), "{name}");
        assert!(!text.contains("\"Co\""), "{name} lets a quote through");
        seen += text.matches("&lt;img src=x").count();
        assert!(name.chars().all(|letter| letter.is_ascii_alphanumeric() || "-/.".contains(letter)), "{name}");
    }
    assert!(seen > 20, "the name is shown, escaped: {seen}");
}

#[test]
fn an_empty_review_still_makes_a_page_that_says_so() {
    let (files, summary) = rendered(&Results::default());
    assert_eq!(summary.charts, 0);
    let page = String::from_utf8(files["index.html"].clone()).expect("text");
    for words in ["nothing could be compared yet", "No field-season was read", "No row was set aside", "Cautions"] {
        assert!(page.contains(words), "{words}");
    }
    assert!(!page.contains("Invented data."));
}

#[test]
fn a_planter_that_is_not_described_is_answered_in_force() {
    let mut results = made_up::review();
    results.planters.clear();
    results.settings.clear();
    results.starting_points.retain(|row| row.planter_id.is_none());
    let page = page_of(&results);
    let card = card_of(&page, "Planter not described");
    assert!(card.contains("<p class=\"knob\">338\u{a0}N</p>"), "{card}");
    assert!(card.contains("Go heavier: this planter’s default is 260\u{a0}N."), "{card}");
}

#[test]
fn every_chart_says_its_finding_and_has_its_numbers_beside_it() {
    let (pages, _) = pages_of(&everything());
    for (name, page) in &pages {
        let charts = page.matches("<figure").count();
        assert_eq!(page.matches("role=\"img\" aria-label=\"").count(), charts, "{name}");
        assert!(!page.contains("aria-label=\"\""), "{name}");
        let numbers =
            ["The chart in numbers", "The field-seasons in numbers", "The calendar in numbers", "Strip by strip"];
        assert!(charts == 0 || numbers.iter().any(|words| page.contains(words)), "{name} has charts and no numbers");
    }
    let page = &pages["index.html"];
    assert_eq!(page.matches("<figure").count(), 4 + 1 + 1 + 1, "conditions, side by side, a forest, a calendar");
    for (words, count) in
        [("The chart in numbers", 4), ("The field-seasons in numbers", 1), ("The calendar in numbers", 1)]
    {
        assert_eq!(page.matches(words).count(), count, "{words}");
    }
    assert!(page.contains(
        "The pooled curve runs from 73\u{a0}% at 130\u{a0}N up to 78\u{a0}% at 338\u{a0}N and ends at 66\u{a0}% at 650\u{a0}N."
    ));
}

/// The section of a condition under "Why".
fn section_of<'a>(page: &'a str, condition: &str) -> &'a str {
    let from = page.find(&format!("<h3>{condition} <span")).expect("the condition has a section");
    let length = page[from..].find("</section>").expect("the section ends");
    &page[from..from + length]
}

#[test]
fn a_condition_asks_first_what_can_be_seen_and_last_what_to_test_next() {
    let page = page_of(&made_up::review());
    let section = section_of(&page, "dry, bare");
    let places: Vec<usize> = [
        "<h4>Can any difference be seen?</h4>",
        "<h4>What can still be the best?</h4>",
        "<h4>How sure is the start?</h4>",
        "<h4>What shape does it have?</h4>",
        "<h4>What stands behind it?</h4>",
        "<h4>What to test next</h4>",
        "<p class=\"lay\">3 settings side by side: 150, 275 and 400\u{a0}N;",
        "<details><summary>The trials considered</summary>",
    ]
    .iter()
    .map(|mark| section.find(mark).unwrap_or_else(|| panic!("{mark}\n{section}")))
    .collect();
    assert!(places.is_sorted(), "{places:?}");
    assert_eq!(page.matches("<summary>The trials considered</summary>").count(), 1);
}

#[test]
fn an_open_condition_says_what_is_missing_and_the_plain_trial_and_claims_no_equality() {
    let page = page_of(&made_up::review());
    let section = section_of(&page, "wet, covered");
    for words in [
        "<p class=\"lead\">What is missing: Two field-seasons were tried here",
        "No setting could be told from another.",
        "Differences above 9\u{a0}points are excluded (90\u{a0}%)",
        "5 settings side by side: 90, 135, 180, 225 and 270\u{a0}N",
        "What a trial would bring cannot be worked out yet",
    ] {
        assert!(section.contains(words), "{words}\n{section}");
    }
    assert_eq!(section.matches("Two field-seasons were tried here").count(), 1, "not said twice");
    assert!(!section.contains("What can still be the best?"), "no set, no question");
    assert!(!page.contains("No difference"), "what was not seen is not called none");
}

#[test]
fn every_letter_of_page_and_charts_is_in_the_font() {
    let results = made_up::review();
    for (name, text) in texts_of(&results) {
        let missing: Vec<char> = text.chars().filter(|letter| !font::has_glyphs(&letter.to_string())).collect();
        assert!(missing.is_empty(), "{name} uses {missing:?}");
    }
    let strips = evenstand_tables::schema(evenstand_tables::Group::Results, "strips").expect("the schema is there");
    for column in &strips.columns {
        let response = Response::of(&column.name, &results);
        for words in [response.axis_title(), response.value(0.5, None), response.gain(9.0, Some(1.0))] {
            assert!(font::has_glyphs(&words), "{words}");
        }
    }
}

#[test]
fn forces_are_shown_in_the_units_of_the_review() {
    let mut results = made_up::review();
    for row in &mut results.model {
        if row.name == "force_unit" {
            row.text = Some("lbf".to_owned());
        }
    }
    let page = page_of(&results);
    assert!(card_of(&page, "air-12").contains("76\u{a0}lbf closing downforce"), "338 N are 76.0 lbf");
    assert!(page.contains("Closing downforce (lbf)") && !page.contains("(N)"));
}

#[test]
fn a_check_that_failed_is_named() {
    let page = page_of(&made_up::review());
    assert!(page.contains("spread between blocks: two blocks of East, 2024 lie far from the rest"));
    assert!(page.contains("1 other check passed."));
}

#[test]
fn a_writer_that_fails_is_reported_with_the_file() {
    let mut asked = Vec::new();
    let write = &mut |name: &str, _: &[u8]| {
        asked.push(name.to_owned());
        Err(std::io::Error::other("disk full"))
    };
    let tables = made_up::review().tables();
    let source = |name: &str| in_parts(&tables[name]);
    let failure = render(made_up::review(), &source, write).expect_err("the writer fails").to_string();
    assert_eq!(asked.len(), 1, "nothing is written after a failure");
    assert!(failure.starts_with(&asked[0]) && failure.contains("disk full"), "{failure}");
}

#[test]
fn numbers_that_are_not_finite_do_not_stop_a_report() {
    let mut results = made_up::review();
    for row in &mut results.curves {
        row.low = Some(f64::NAN);
    }
    for row in &mut results.strips {
        row.on_time_share = Some(f64::INFINITY);
    }
    results.settings[0].gain_low = Some(f64::NAN);
    results.settings[0].prob_near_best = Some(f64::NAN);
    results.starting_points[0].start_n = Some(f64::NAN);
    let page = page_of(&results);
    assert!(!page.contains("NaN") && !page.contains(">inf"));
}
