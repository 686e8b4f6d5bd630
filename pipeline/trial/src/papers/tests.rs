use std::collections::{BTreeMap, BTreeSet};

use super::drawing::{Shape, Text};
use super::*;
use crate::made_up;
use crate::{Layout, Setting};

const LAYOUTS: [Layout; 4] = [Layout::CompleteBlocks, Layout::IncompleteBlocks, Layout::SplitPlot, Layout::StripSplit];

fn line_ground() -> Ground {
    Ground::from_line([-93.5, 42.0], [-93.5, 42.01], Some(400.0)).unwrap()
}

fn made(plan: &Plan) -> BTreeMap<String, String> {
    let papers = papers(plan, &line_ground(), &made_up::settings(), "evenstand trial review --seed 7").unwrap();
    papers.into_iter().map(|paper| (paper.name, String::from_utf8(paper.bytes).unwrap())).collect()
}

fn rows(text: &str) -> Vec<BTreeMap<String, String>> {
    csv::Reader::from_reader(text.as_bytes()).deserialize().map(Result::unwrap).collect()
}

/// Text between tags, with blanks for tags.
fn words_of(page: &str) -> String {
    let mut text = String::new();
    let mut inside = true;
    for letter in page.chars() {
        match letter {
            '<' => inside = false,
            '>' => {
                inside = true;
                text.push(' ');
            }
            letter if inside => text.push(letter),
            _ => {}
        }
    }
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn the_same_plan_gives_the_same_bytes_and_every_paper() {
    for layout in LAYOUTS {
        let plan = made_up::plan(layout, 4, 3);
        let papers = made(&plan);
        assert_eq!(papers, made(&plan));
        for name in ["cab-card.html", "count-sheets.html", "plan.html", "layout.svg", "trial.json"] {
            assert!(!papers[name].is_empty());
        }
        for name in ["strip-North-Forty-2027.geojson", "strip-North-Forty-2027.csv", "field-North-Forty-2027.csv"] {
            assert!(papers.contains_key(name), "{layout:?} {name}");
        }
        let json: serde_json::Value = serde_json::from_str(&papers["trial.json"]).unwrap();
        assert_eq!(json["strips"].as_array().unwrap().len(), plan.strips.len());
    }
}

#[test]
fn ground_that_is_not_on_the_globe_gives_no_outlines() {
    let plan = made_up::plan(Layout::CompleteBlocks, 4, 3);
    let papers = papers(&plan, &Ground::rectangle(400.0), &made_up::settings(), "").unwrap();
    assert!(papers.iter().all(|paper| !paper.name.ends_with("geojson")));
}

#[test]
fn the_cab_card_has_every_pass_in_order_with_what_to_set_as_the_gauge_shows_it() {
    for layout in [Layout::CompleteBlocks, Layout::IncompleteBlocks, Layout::SplitPlot] {
        let plan = made_up::plan(layout, 4, 3);
        let said = words_of(&made(&plan)["cab-card.html"]);
        let mut rest = said.as_str();
        for pass in &plan.passes {
            let direction = if pass.outward { "↑ away" } else { "↓ back" };
            let row = match pass.strips.first().map(|strip| &plan.strips[*strip]) {
                None => format!(" {} {direction} border 30.5 default", pass.number),
                Some(strip) => {
                    let psi = 10.5 + 10.0 * strip.level as f64;
                    format!(" {} {direction} {} block {} {psi} ", pass.number, strip.strip_id, strip.block)
                }
            };
            let place = rest.find(&row).unwrap_or_else(|| panic!("{layout:?}: no \"{row}\" in {rest}"));
            rest = &rest[place + 1..];
        }
        assert!(said.contains("gauge, psi") && said.contains("default: 30.5 psi"));
    }
}

#[test]
fn the_cab_card_tells_when_the_closer_changes_and_which_comes_first() {
    let plan = made_up::plan(Layout::SplitPlot, 3, 4);
    let said = words_of(&made(&plan)["cab-card.html"]);
    // The second half of a block has the closer with which the next block begins: five groups in four blocks.
    assert_eq!(said.matches("Begin with this closer: angled press wheels").count(), 1);
    assert_eq!(said.matches("Stop. Read the cautions, then change to this closer").count(), 4);
}

#[test]
fn segments_are_told_in_the_direction_of_travel_and_in_the_unit_of_each_planters_gauge() {
    let plan = made_up::plan(Layout::StripSplit, 4, 2);
    let card = made(&plan)["cab-card.html"].clone();
    let sections: Vec<String> = card.split("<section>").skip(1).map(words_of).collect();
    assert_eq!(sections.len(), 2);
    for (planter, said) in sections.iter().enumerate() {
        for pass in plan.passes.iter().filter(|pass| pass.planter == planter && !pass.strips.is_empty()) {
            let mut strips: Vec<&crate::Strip> = pass.strips.iter().map(|strip| &plan.strips[*strip]).collect();
            if !pass.outward {
                strips.reverse();
            }
            let mut row = format!(" {} {}", pass.number, if pass.outward { "↑ away" } else { "↓ back" });
            for (order, strip) in strips.iter().enumerate() {
                let metres = if pass.outward { strip.span_m.0 } else { strip.span_m.1 };
                let set = match planter {
                    0 => format!("{}", 10.5 + 10.0 * strip.level as f64),
                    _ => format!("{}", 70 * (strip.level + 1)),
                };
                let from = match order {
                    0 => "from the beginning".to_owned(),
                    _ => format!("from {:.0} ft on", metres / 0.3048),
                };
                row += &format!(" {} block {} {from} {set}", strip.strip_id, strip.block);
            }
            assert!(said.contains(&row), "no \"{row}\" in {said}");
        }
    }
    assert!(sections[0].contains("gauge, psi") && sections[1].contains("gauge, kPa"));
}

#[test]
fn every_page_for_people_at_the_planter_says_the_cautions() {
    let papers = made(&made_up::plan(Layout::StripSplit, 4, 2));
    for (page, times) in [("cab-card.html", 2), ("count-sheets.html", 1)] {
        let said = words_of(&papers[page]);
        for caution in
            ["Engine off, brake set, key out", "Vent air and oil", "Unload springs", "operator’s manual", "local rules"]
        {
            assert_eq!(said.matches(caution).count(), times, "{page}: {caution}");
        }
    }
}

#[test]
fn positions_are_set_by_their_label() {
    let mut plan = made_up::plan(Layout::CompleteBlocks, 3, 2);
    for (level, label) in plan.levels.iter_mut().zip(["1", "3", "third notch from the top"]) {
        level.knobs = vec![Setting::Position(label.into())];
    }
    plan.planters[0].gauge = None;
    plan.planters[0].default = Some(Setting::Position("3".into()));
    let papers = made(&plan);
    let log = rows(&papers["setting_log-North-Forty-2027.csv"]);
    assert!(log.iter().all(|row| !row.contains_key("set_pressure_kpa")));
    let labels: BTreeSet<&str> = log.iter().map(|row| row["closing_position"].as_str()).collect();
    assert_eq!(labels, BTreeSet::from(["1", "3", "third notch from the top"]));
    assert!(words_of(&papers["cab-card.html"]).contains("third notch from the top"));
}

#[test]
fn the_record_sheets_name_every_strip_once_with_its_block_and_what_to_set() {
    for layout in LAYOUTS {
        let plan = made_up::plan(layout, 5, 3);
        let papers = made(&plan);
        let strips = rows(&papers["strip-North-Forty-2027.csv"]);
        let ids: Vec<&str> = strips.iter().map(|row| row["strip_id"].as_str()).collect();
        assert_eq!(ids, plan.strips.iter().map(|strip| strip.strip_id.as_str()).collect::<Vec<_>>());
        let mut logged = BTreeMap::new();
        for (name, text) in papers.iter().filter(|(name, _)| name.starts_with("setting_log-")) {
            for row in rows(text) {
                let set = row
                    .get("set_pressure_psi")
                    .map_or_else(|| format!("{} kPa", row["set_pressure_kpa"]), |psi| format!("{psi} psi"));
                assert!(logged.insert(row["strip_id"].clone(), set).is_none(), "{name} {row:?}");
            }
        }
        assert_eq!(logged.len(), plan.strips.len(), "{layout:?}");
        for (row, strip) in strips.iter().zip(&plan.strips) {
            assert_eq!(row["block"], strip.block.to_string());
            let expected = match strip.planter {
                0 => format!("{} psi", 10.5 + 10.0 * strip.level as f64),
                _ => format!("{} kPa", 70 * (strip.level + 1)),
            };
            assert_eq!(logged[&row["strip_id"]], expected);
            assert!(row["treatment"].ends_with(&expected), "{row:?}");
        }
        let field = rows(&papers["field-North-Forty-2027.csv"]);
        assert_eq!((field.len(), field[0]["planted_at"].as_str(), field[0]["row_spacing_in"].as_str()), (1, "", "30"));
    }
}

#[test]
fn a_closer_that_is_changed_stands_in_the_strip_sheet() {
    let plan = made_up::plan(Layout::SplitPlot, 3, 2);
    let papers = made(&plan);
    for (row, strip) in rows(&papers["strip-North-Forty-2027.csv"]).iter().zip(&plan.strips) {
        assert_eq!(row["closer"], plan.closers[strip.closer]);
    }
    assert!(words_of(&papers["plan.html"]).contains("weigh"), "a calibration holds for one closer");
    let one = made(&made_up::plan(Layout::CompleteBlocks, 3, 2));
    assert!(rows(&one["strip-North-Forty-2027.csv"]).iter().all(|row| row["closer"].is_empty()));
}

#[test]
fn the_count_sheet_has_a_row_a_visit_and_place_in_walking_order() {
    for layout in LAYOUTS {
        let plan = made_up::plan(layout, 4, 2);
        let counts = rows(&made(&plan)["stand_count-North-Forty-2027.csv"]);
        let places: usize = plan.strips.iter().map(|strip| strip.places.len()).sum();
        assert_eq!(counts.len(), places * plan.visits.visits.len(), "{layout:?}");
        assert!(counts.iter().all(|row| row["emerged"].is_empty() && row["counted_at"].is_empty()));
        let keys: BTreeSet<[&String; 3]> =
            counts.iter().map(|row| ["visit_number", "strip_id", "sample_id"].map(|name| &row[name])).collect();
        assert_eq!(keys.len(), counts.len(), "each once");
        // Up one strip and down the next: from one place to the following nobody walks the length of the field.
        let walk: Vec<f64> = counts[..places].iter().map(|row| row["distance_ft"].parse().unwrap()).collect();
        assert!(walk.windows(2).all(|pair| (pair[1] - pair[0]).abs() < 330.0), "{layout:?} {walk:?}");
        assert!(walk.windows(3).any(|three| three[0] > three[1] && three[1] > three[2]), "down too");
    }
}

#[test]
fn the_printed_count_sheet_has_every_place_of_every_visit_and_a_place_to_dig_in_every_strip() {
    let plan = made_up::plan(Layout::CompleteBlocks, 5, 4);
    let page = &made(&plan)["count-sheets.html"];
    let rows = page.matches("<td class=\"box\"></td>").count();
    assert_eq!(rows, 5 * 4 * 4 * 3 + 5 * 4);
    let said = words_of(page);
    for heading in ["Plants up: visit 1 of 3, page 1 of 2", "Plants up: visit 3 of 3, page 2 of 2", "Where to dig"] {
        assert!(said.contains(heading), "{heading}");
    }
}

#[test]
fn outlines_name_every_strip_with_the_number_of_its_corners() {
    let plan = made_up::plan(Layout::StripSplit, 4, 2);
    let text = &made(&plan)["strip-North-Forty-2027.geojson"];
    let read = evenstand_places::read_geojson(text.as_bytes(), &evenstand_places::Reading::default()).unwrap();
    assert!(read.refused.is_empty() && read.notices.is_empty(), "{:?}", read.notices);
    let ids: Vec<&str> = read.strips.iter().map(|strip| strip.strip_id.as_str()).collect();
    assert_eq!(ids, plan.strips.iter().map(|strip| strip.strip_id.as_str()).collect::<Vec<_>>());
    assert_eq!((read.strips[5].block.as_deref(), read.strips[5].season), (Some("1"), Some(2027)));
}

fn texts(plan: &Plan) -> (Vec<Text>, f64, f64) {
    let drawing = map::map(plan, &Units::new(plan, &made_up::settings()));
    let texts = drawing.shapes.iter().filter_map(|shape| match shape {
        Shape::Text(text) => Some(text.clone()),
        _ => None,
    });
    (texts.collect(), drawing.width, drawing.height)
}

#[test]
fn no_text_of_the_map_lies_on_another_or_outside_it() {
    for layout in LAYOUTS {
        for levels in 2..=8 {
            for blocks in 2..=12 {
                let mut plan = made_up::plan(layout, levels, blocks);
                if levels % 3 == 0 {
                    plan.levels[1].knobs[0] = Setting::Position("a position with a name that is long".repeat(2));
                }
                let (texts, width, height) = texts(&plan);
                for (number, text) in texts.iter().enumerate() {
                    let [left, top, right, bottom] = text.bounds();
                    let here = format!("{layout:?} {levels} {blocks}: \"{}\"", text.text);
                    assert!(left >= 0.0 && top >= 0.0 && right <= width && bottom <= height, "{here} is outside");
                    for other in &texts[number + 1..] {
                        let [l, t, r, b] = other.bounds();
                        let apart = right <= l || r <= left || bottom <= t || b <= top;
                        assert!(apart, "{here} lies on \"{}\"", other.text);
                    }
                }
            }
        }
    }
}

#[test]
fn the_map_says_the_setting_of_every_strip_and_its_block() {
    for layout in LAYOUTS {
        let plan = made_up::plan(layout, 4, 3);
        let (texts, ..) = texts(&plan);
        let said: Vec<&str> = texts.iter().map(|text| text.text.as_str()).collect();
        for strip in &plan.strips {
            let set = if strip.planter == 0 {
                format!("{} psi", 10.5 + 10.0 * strip.level as f64)
            } else {
                format!("{} kPa", 70 * (strip.level + 1))
            };
            let label = format!("{}: {set}", strip.strip_id);
            assert_eq!(said.iter().filter(|text| **text == label).count(), 1, "{layout:?} {label}: {said:?}");
        }
        for block in 1..=3 {
            assert_eq!(said.iter().filter(|text| **text == format!("block {block}")).count(), 1, "{layout:?} {said:?}");
        }
    }
}

#[test]
fn a_wide_trial_is_drawn_in_parts_that_end_with_a_block_and_hold_every_pass_once() {
    for layout in LAYOUTS {
        for (levels, blocks) in [(8, 12), (5, 9), (2, 12), (3, 2)] {
            let plan = made_up::plan(layout, levels, blocks);
            let panels = map::panels(&plan, &Units::new(&plan, &made_up::settings()));
            let arrows = |panel: &super::drawing::Drawing| {
                panel.shapes.iter().filter(|shape| matches!(shape, Shape::Arrow { .. })).count()
            };
            // Two arrows stand in the key.
            assert_eq!(panels.iter().map(arrows).sum::<usize>(), plan.passes.len() + 2, "{layout:?} {levels} {blocks}");
            assert!(panels.iter().all(|panel| panel.width < 1100.0), "{layout:?} {levels} {blocks}");
            let said = panels.iter().flat_map(|panel| &panel.shapes).filter_map(|shape| match shape {
                Shape::Text(text) => text.text.strip_prefix("block "),
                _ => None,
            });
            let named: Vec<&str> = said.collect();
            assert!(
                named.iter().collect::<BTreeSet<_>>().len() == named.len(),
                "a block stands in two parts: {named:?}"
            );
        }
    }
}

#[test]
fn no_label_of_a_strip_covers_a_place_to_count_where_there_is_room_beside_it() {
    for layout in LAYOUTS {
        let plan = made_up::plan(layout, 4, 4);
        let drawing = map::map(&plan, &Units::new(&plan, &made_up::settings()));
        let (texts, ..) = texts(&plan);
        for shape in &drawing.shapes {
            let Shape::Dot { at, radius } = shape else { continue };
            for text in &texts {
                let [left, top, right, bottom] = text.bounds();
                let apart =
                    at.0 + radius <= left || at.0 - radius >= right || at.1 + radius <= top || at.1 - radius >= bottom;
                assert!(apart, "{layout:?}: \"{}\" covers a dot", text.text);
            }
        }
    }
}

#[test]
fn a_setting_whose_name_has_no_room_in_its_strip_stands_in_the_key() {
    let mut plan = made_up::plan(Layout::CompleteBlocks, 3, 2);
    let label = "a position of a spring that somebody has described at great length, with its notch and colour";
    plan.levels[1].knobs[0] = Setting::Position(label.into());
    let (texts, ..) = texts(&plan);
    assert_eq!(texts.iter().filter(|text| text.text == "setting 2").count(), 2, "one in each block");
    assert!(texts.iter().any(|text| text.text.starts_with("setting 2: position a position of a spring")));
}

#[test]
fn names_from_outside_are_escaped_on_every_page_and_guarded_in_every_sheet() {
    let mut plan = made_up::plan(Layout::SplitPlot, 3, 2);
    let evil = "=<script>alert('1')</script>\"/../&,\u{1}";
    plan.field_id = evil.into();
    plan.review = evil.into();
    plan.condition = Some(evil.into());
    plan.planters[0].id = evil.into();
    plan.closers[1] = evil.into();
    plan.notes = vec![evil.into()];
    plan.visits.basis = evil.into();
    plan.visits.visits[0].reason = evil.into();
    plan.worth.sentences = vec![evil.into()];
    plan.levels[0].knobs[0] = Setting::Position(evil.into());
    plan.strips[0].strip_id = evil.into();
    plan.strips[0].places[0].sample_id = evil.into();
    let papers = papers(&plan, &line_ground(), &made_up::settings(), evil).unwrap();
    for paper in &papers {
        let letters = |letter: char| letter.is_ascii_alphanumeric() || "-_.".contains(letter);
        assert!(paper.name.chars().all(letters) && paper.name.len() < 80, "{}", paper.name);
        let text = String::from_utf8(paper.bytes.clone()).unwrap();
        if paper.name.ends_with(".html") || paper.name.ends_with(".svg") {
            assert!(!text.contains("<script") && text.contains("&lt;script"), "{}", paper.name);
        }
        if paper.name.ends_with(".csv") {
            for row in csv::Reader::from_reader(text.as_bytes()).records() {
                let row = row.unwrap();
                assert!(row.iter().all(|cell| !cell.starts_with(['=', '+', '-', '@'])), "{}: {row:?}", paper.name);
                assert!(row[0].starts_with("'=<script>"), "{row:?}");
            }
        }
    }
    assert!(papers.iter().any(|paper| paper.name == "setting_log-script-alert-1-script-2027.csv"
        || paper.name.starts_with("setting_log-script-alert-1-script-2027-")));
}

#[test]
fn names_of_files_stay_clean_and_short() {
    let stem = |field: &str| {
        let mut plan = made_up::plan(Layout::CompleteBlocks, 2, 2);
        plan.field_id = field.into();
        file_stem(&plan)
    };
    assert_eq!(stem("../../etc/passwd"), "etc-passwd-2027");
    assert_eq!(stem("Köhlers Acker 3"), "K-hlers-Acker-3-2027");
    assert_eq!(stem("//"), "field-2027");
    assert_eq!(stem(&"x".repeat(200)), format!("{}-2027", "x".repeat(40)));
}

#[test]
fn a_plan_that_points_outside_its_lists_is_refused() {
    let said = |change: fn(&mut Plan)| {
        let mut plan = made_up::plan(Layout::CompleteBlocks, 3, 2);
        change(&mut plan);
        papers(&plan, &line_ground(), &made_up::settings(), "").unwrap_err().to_string()
    };
    assert!(said(|plan| plan.strips[2].level = 9).contains("S03"));
    assert!(said(|plan| plan.levels[0].knobs.clear()).contains("plan it again"));
    assert!(said(|plan| plan.passes[1].strips.push(99)).contains("pass 2"));
}

#[test]
fn the_planners_page_says_what_it_shows_how_to_repeat_it_and_how_it_comes_back() {
    let plan = made_up::plan(Layout::IncompleteBlocks, 4, 5);
    let said = words_of(&made(&plan)["plan.html"]);
    for part in [
        plan.worth.sentences[0].as_str(),
        plan.notes[0].as_str(),
        "5 (this plan) 4.5 points",
        "Seed 7. evenstand trial review --seed 7",
        "stand_count-North-Forty-2027.csv",
        "day 10",
        "tenth of the plants that come up are up on day 7.2",
        "3 (default) 30.5 psi 67 lbf",
    ] {
        assert!(said.contains(part), "no \"{part}\" in {said}");
    }
}
