//! Names that mean harm, from the files and settings of a review through to every kind of output.

use std::collections::BTreeSet;
use std::io::{Cursor, Read};

use evenstand_tables::{forbidden_in_xml, is_formula, turns_words};
use quick_xml::Reader;
use quick_xml::events::Event;

use crate::support::{TestReview, files_below};

/// For a spreadsheet, a page, an XML file, an attribute, a reader's eye, a terminal, a path, a template, a table and a narrow column.
const HOSTILE: [&str; 11] = [
    "=cmd|'/c calc'!A0",
    "<script>alert(1)</script>",
    "a]]>b<!--",
    "quote\"'` onload=alert(1) x=\"",
    "\u{202E}13 dlrow\u{2066}",
    "ctl\u{1}\u{8}\u{1b}[31mred\u{7f}\u{fffe}end",
    "../../../etc/passwd",
    "{{ 7 * 7 }}${x}%s%n",
    "pipe|in\\a`table*_#[x](javascript:1)",
    "nul\0name",
    "@SUM(1+1)*wide_x0001_",
];

const ORDINARY: [&str; 11] =
    ["North", "South", "East", "West", "Home", "Mill", "River", "Hill", "Wood", "Lane", "Barn"];

fn cell(text: &str) -> String {
    format!("\"{}\"", text.replace('"', "\"\""))
}

/// TOML keeps no control characters: they are written as escapes.
fn toml_text(text: &str) -> String {
    let letters = text.chars().map(|letter| match letter {
        '"' | '\\' => format!("\\{letter}"),
        letter if letter.is_control() || forbidden_in_xml(letter) => format!("\\u{:04X}", u32::from(letter)),
        letter => letter.to_string(),
    });
    format!("\"{}\"", letters.collect::<String>())
}

/// A trial whose every name is one of these.
fn review(names: &[&str; 11]) -> TestReview {
    let mut field =
        String::from("field_id,season,planted_at,row_spacing_m,seed_rate_per_m2,planter_id,client,farm,hybrid\n");
    let mut log = String::from("field_id,season,strip_id,block,set_force_n,press_position\n");
    let mut count = String::from("field_id,season,strip_id,sample_id,seeds_sown,counted_at,emerged\n");
    let mut strip = String::from("field_id,season,strip_id,treatment,condition\n");
    let mut dig = String::from("field_id,season,strip_id,trench_shut,dig_effort,row_unit\n");
    let mut measure = String::from("field_id,season,strip_id,name,value,unit\n");
    let mut note = String::from("field_id,season,taken_at,moisture_feel,note\n");
    let name = |place: usize| cell(names[place % names.len()]);
    for place in 0..names.len() {
        let id = name(place);
        field +=
            &format!("{id},2025,2025-05-01,0.75,8,{},{},{},{}\n", name(3), name(place + 1), name(place + 2), name(4));
        note += &format!("{id},2025,2025-05-01,moist,{}\n", name(place + 4));
        for block in 0..2 {
            for force in [100, 160, 220] {
                let strip_id = cell(&format!("{}{block}{force}", names[(place + 1) % names.len()]));
                log += &format!("{id},2025,{strip_id},{},{force},{}\n", name(block), name(5));
                strip += &format!("{id},2025,{strip_id},{},{}\n", name(block + 6), name(1));
                dig += &format!("{id},2025,{strip_id},yes,{},{}\n", 1 + block, name(2));
                measure += &format!("{id},2025,{strip_id},{},{},{}\n", name(3), 4 + block, name(4));
                for (day, share) in [(8, 60), (10, 70 + force / 20 - block), (14, 80 + force / 20 - block)] {
                    count += &format!("{id},2025,{strip_id},{},100,2025-05-{day:02},{share}\n", name(5));
                }
            }
        }
    }
    let settings = format!(
        "name = {}\ntimezone = \"UTC\"\n[analysis]\ndraws = 200\n[[planter]]\nid = {}\ncloser = \"other\"\n[planter.closing]\nkind = \"pressure\"\n\
         min_psi = 0\nmax_psi = 60\nstep_psi = 1\ndefault_psi = 30\nforce_n = [[0, 0], [400, 425]]\n",
        toml_text(names[1]),
        toml_text(names[3]),
    );
    TestReview::new(&[
        ("field.csv", &field),
        ("setting_log.csv", &log),
        ("stand_count.csv", &count),
        ("strip.csv", &strip),
        ("dig_check.csv", &dig),
        ("measure.csv", &measure),
        ("soil_note.csv", &note),
        ("evenstand.toml", &settings),
    ])
}

/// Everything that a review writes: the run, blank sheets, a trial of next season.
fn written(review: &TestReview, field: &str) -> Vec<(String, Vec<u8>)> {
    let said = review.run("run", &[]);
    assert!(said.status < 2, "{}", said.stderr);
    let sheets = review.run("sheets", &[]);
    assert_eq!(sheets.status, 0, "{}", sheets.stderr);
    let trial =
        review.run("trial", &["--field", field, "--length", "400m", "--rows", "12", "--settings", "20psi,28psi,36psi"]);
    assert!(trial.status < 2, "{}", trial.stderr);
    for said in [said, sheets, trial] {
        for text in [said.stdout, said.stderr] {
            let odd: Vec<char> = text.chars().filter(|letter| letter.is_control() && *letter != '\n').collect();
            assert!(odd.is_empty() && !text.contains(turns_words), "{odd:?} in {text}");
        }
    }
    let files = files_below(review.path()).into_iter();
    files.filter(|(name, _)| ["report/", "results/", "plan/"].iter().any(|folder| name.starts_with(folder))).collect()
}

/// Errors of an XML reader, or of a letter that XML 1.0 has no way to hold.
fn xml_fault(bytes: &[u8]) -> Option<String> {
    let text = match std::str::from_utf8(bytes) {
        Ok(text) => text,
        Err(error) => return Some(error.to_string()),
    };
    if let Some(letter) = text.chars().find(|letter| forbidden_in_xml(*letter)) {
        return Some(format!("{letter:?}"));
    }
    let mut reader = Reader::from_str(text);
    loop {
        match reader.read_event() {
            Ok(Event::Eof) => return None,
            Ok(Event::Start(tag) | Event::Empty(tag)) => {
                if let Some(Err(error)) = tag.attributes().find(Result::is_err) {
                    return Some(format!("{error} in {tag:?}"));
                }
            }
            Ok(_) => {}
            Err(error) => return Some(format!("{error} at {}", reader.buffer_position())),
        }
    }
}

/// Tags of an HTML page with the names of their attributes; what stands in styles and scripts is passed over.
fn tags(page: &str) -> BTreeSet<String> {
    let mut found = BTreeSet::new();
    let mut rest = page;
    while let Some(open) = rest.find('<') {
        rest = &rest[open + 1..];
        let (mut quote, mut words) = (None, String::new());
        let mut end = rest.len();
        for (place, letter) in rest.char_indices() {
            match (quote, letter) {
                (None, '>') => {
                    end = place;
                    break;
                }
                (None, '"' | '\'') => quote = Some(letter),
                (Some(open), letter) if letter == open => quote = None,
                (None, letter) => words.push(letter),
                (Some(_), _) => {}
            }
        }
        let tag = words.split([' ', '\n', '\t']).map(|word| word.trim_end_matches('=')).filter(|word| !word.is_empty());
        let tag: Vec<&str> = tag.collect();
        found.insert(tag.join(" "));
        rest = &rest[end.min(rest.len())..];
        for raw in ["style", "script"] {
            if tag.first() == Some(&raw)
                && let Some(close) = rest.find(&format!("</{raw}"))
            {
                rest = &rest[close..];
            }
        }
    }
    found
}

/// Markdown without its fenced text. A fence ends with a line of as many backticks as it began with.
fn without_code(page: &str) -> String {
    let (mut text, mut open): (String, Option<String>) = (String::new(), None);
    for line in page.lines() {
        match &open {
            Some(fence) if line == fence => open = None,
            Some(_) => {}
            None if line.starts_with("```") => open = Some("`".repeat(line.len() - line.trim_start_matches('`').len())),
            None => text.extend([line, "\n"]),
        }
    }
    assert_eq!(open, None, "a fence that does not end");
    text
}

fn parts_of(archive: &[u8]) -> Vec<(String, Vec<u8>)> {
    let mut archive = zip::ZipArchive::new(Cursor::new(archive)).unwrap();
    (0..archive.len())
        .map(|place| {
            let mut part = archive.by_index(place).unwrap();
            let mut bytes = Vec::new();
            part.read_to_end(&mut bytes).unwrap();
            (part.name().unwrap().to_string(), bytes)
        })
        .collect()
}

#[test]
fn hostile_names_are_text_in_every_output_and_nothing_else() {
    let (plain, hostile) = (review(&ORDINARY), review(&HOSTILE));
    let (plain, files) = (written(&plain, ORDINARY[6]), written(&hostile, HOSTILE[6]));
    let usual: BTreeSet<String> = plain
        .iter()
        .filter(|(name, _)| name.ends_with(".html"))
        .flat_map(|(_, bytes)| tags(std::str::from_utf8(bytes).unwrap()))
        .collect();
    let mut seen = BTreeSet::new();
    for (name, bytes) in &files {
        let safe = |letter: char| letter.is_ascii_alphanumeric() || "-_./".contains(letter);
        assert!(name.chars().all(safe) && !name.contains(".."), "{name}");
        let ending = name.rsplit('.').next().unwrap_or_default().to_owned();
        match ending.as_str() {
            "html" => {
                let page = std::str::from_utf8(bytes).unwrap();
                let odd: Vec<char> = page.chars().filter(|l| forbidden_in_xml(*l) || turns_words(*l)).collect();
                assert!(odd.is_empty(), "{name} holds {odd:?}");
                let strange: Vec<String> = tags(page).into_iter().filter(|tag| !usual.contains(tag)).collect();
                assert!(strange.is_empty(), "{name} has tags that ordinary names do not bring: {strange:?}");
            }
            "svg" => assert_eq!(xml_fault(bytes), None, "{name}"),
            "xlsx" => {
                for (part, bytes) in parts_of(bytes) {
                    if part.ends_with(".xml") || part.ends_with(".rels") {
                        assert_eq!(xml_fault(&bytes), None, "{name}, {part}");
                        assert!(!String::from_utf8_lossy(&bytes).contains("<f>=cmd"), "{name}, {part}: a formula");
                    }
                }
            }
            "csv" => {
                let mut reader =
                    csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(bytes.as_slice());
                for row in reader.records() {
                    let row = row.unwrap();
                    let run: Vec<&str> = row.iter().filter(|cell| is_formula(cell)).collect();
                    assert!(run.is_empty(), "{name}: a spreadsheet would run {run:?}");
                }
            }
            "md" => {
                // A mark behind a backslash is a letter, and fenced text, such as the settings, is shown as it is.
                let text = without_code(std::str::from_utf8(bytes).unwrap()).replace("\\<", "").replace("\\]", "");
                assert!(!text.contains("<script") && !text.contains("](javascript"), "{name}");
                assert!(!text.chars().any(|l| forbidden_in_xml(l) || turns_words(l)), "{name}");
            }
            "pdf" => assert!(bytes.starts_with(b"%PDF") && !bytes.windows(11).any(|w| w == b"/JavaScript"), "{name}"),
            "json" => {
                drop(serde_json::from_slice::<serde_json::Value>(bytes).unwrap_or_else(|e| panic!("{name}: {e}")))
            }
            _ => {}
        }
        seen.insert(ending);
    }
    for ending in ["html", "svg", "xlsx", "csv", "md", "pdf", "json"] {
        assert!(seen.contains(ending), "nothing was written as .{ending}: {seen:?}");
    }
}

#[test]
fn a_field_whose_name_leads_out_of_the_plan_stays_in_it() {
    let review = review(&HOSTILE);
    review.run("run", &[]);
    let outside = review.path().parent().unwrap().join("outside");
    let was_there = outside.exists();
    let before = files_below(review.path());
    for field in ["../../outside", "/etc/passwd", "..", "a/../../b", "C:\\x", ""] {
        review.run("trial", &["--field", field, "--length", "400m", "--rows", "12", "--settings", "20psi,28psi"]);
    }
    let made = files_below(review.path());
    assert!(made.keys().filter(|name| !before.contains_key(*name)).all(|name| name.starts_with("plan/")));
    assert_eq!(outside.exists(), was_there);
}
