//! Cards on paper, read again.

#![allow(clippy::unwrap_used)]

mod pages;
mod reader;
mod words;

use evenstand_paper::{Evidence, Fonts, PaperAbout, PaperAnswer, PaperCard, PaperGauge, PaperLine, Sheet, cards_pdf};

use crate::reader::Document;

fn fonts() -> Fonts<'static> {
    Fonts {
        regular: include_bytes!("../../pipeline/report/fonts/NotoSans-subset.ttf"),
        bold: include_bytes!("../../pipeline/report/fonts/NotoSans-Bold-subset.ttf"),
    }
}

fn about() -> PaperAbout {
    PaperAbout {
        title: "Winter review – cards".into(),
        language: "en".into(),
        footer: "Starting points, not commands: the operator's manual comes first.".into(),
    }
}

fn pdf(cards: &[PaperCard], sheet: Sheet) -> Vec<u8> {
    cards_pdf(cards, sheet, fonts(), &about()).unwrap()
}

fn read(cards: &[PaperCard]) -> Document {
    Document::read(&pdf(cards, Sheet::A4))
}

fn answer(condition: &str, evidence: Evidence, start: Option<&str>) -> PaperAnswer {
    let line = |text: &str, bold| PaperLine { text: text.into(), bold };
    PaperAnswer {
        condition: condition.into(),
        evidence,
        start_label: "start at".into(),
        start: start.map(str::to_owned),
        start_note: start.map(|_| "about 200 N on each row".into()),
        words: vec![
            line("5 field-seasons of trials, 98 strips.", true),
            line(
                "The best lies inside the tested range, and both lighter and heavier are worse. Stay at the default: it is as good as the best, within the tolerance of 2 points.",
                false,
            ),
            line("What would make it firmer: more field-seasons, or more blocks and counted places in each.", false),
        ],
        gauge: Some(PaperGauge {
            low: 15.0,
            high: 55.0,
            as_good: Some((27.0, 42.0)),
            start: Some(35.0),
            default: Some(30.0),
            low_label: "tested from 15 psi".into(),
            high_label: "to 55 psi".into(),
            as_good_label: Some("as good as the best: 27 to 42 psi".into()),
            start_label: Some("start".into()),
            default_label: Some("default".into()),
        }),
    }
}

fn card(title: &str, answers: usize) -> PaperCard {
    let kinds = [
        ("dry, bare", Evidence::Settled, Some("35 psi")),
        ("moist, covered", Evidence::Leaning, Some("40 psi")),
        ("wet, bare", Evidence::Open, None),
    ];
    PaperCard {
        kind: "Planter".into(),
        title: title.into(),
        subtitle: vec![
            "Home farm, seasons 2023 to 2025".into(),
            "Discs and press wheel; set by air pressure, 0 to 60 psi".into(),
        ],
        notice: Some("Invented data: nothing on this card was measured.".into()),
        answers: kinds
            .iter()
            .cycle()
            .take(answers)
            .map(|(condition, evidence, start)| answer(condition, *evidence, *start))
            .collect(),
        check: vec![
            "Is the trench shut down to the seed? If not, go one step heavier and dig again.".into(),
            "Is the soil pressed so hard that it breaks in plates? Go one step lighter.".into(),
        ],
        cautions: vec![
            "Lower the machine or block it, engine off, brake on, key out.".into(),
            "Air vented to zero on the gauge, springs unloaded, hands out of pinch points.".into(),
            "Stay inside the limits of the operator's manual; local rules and licensed advice come first.".into(),
        ],
    }
}

#[test]
fn the_same_cards_give_the_same_bytes() {
    let cards = [card("north-12", 3), card("air-8", 1)];
    assert_eq!(pdf(&cards, Sheet::A4), pdf(&cards, Sheet::A4));
    assert_ne!(pdf(&cards, Sheet::A4), pdf(&cards, Sheet::Letter));
    let text = String::from_utf8_lossy(&pdf(&cards, Sheet::A4)).into_owned();
    assert!(!text.contains("CreationDate") && !text.contains("/ID"), "nothing that a clock or chance decides");
}

#[test]
fn a_broken_font_is_refused_with_what_was_expected() {
    let broken = Fonts { regular: b"no font", ..fonts() };
    let said = cards_pdf(&[], Sheet::A4, broken, &about()).unwrap_err().to_string();
    assert!(said.contains("regular font") && said.contains("TrueType"), "{said}");
    let cut = Fonts { bold: &fonts().bold[..2_000], ..fonts() };
    assert!(cards_pdf(&[card("a", 1)], Sheet::A4, cut, &about()).is_err());
}
