//! Everything that a card says is on paper, in order, and nothing else.

use evenstand_paper::{Evidence, PaperAbout, PaperAnswer, PaperCard, PaperLine, Sheet, cards_pdf};

use crate::reader::{Document, reference, references};
use crate::{about, answer, card, fonts, pdf, read};

/// The words of a document without what is decoration, as one text.
fn said(document: &Document) -> String {
    let runs = (0..document.pages.len()).flat_map(|page| document.words(page));
    let words: Vec<&str> = runs.flat_map(|run| run.text.split(' ')).filter(|word| !word.is_empty()).collect();
    words.join(" ")
}

#[test]
fn lines_of_a_paragraph_can_be_put_together_again() {
    let card = card("north-12", 1);
    let document = read(std::slice::from_ref(&card));
    let together: String = document.words(0).iter().map(|run| run.text.as_str()).collect();
    for line in &card.answers[0].words {
        assert!(together.contains(&line.text), "{together}");
    }
    let word = "Zuckerrübenvollerntemaschine".repeat(20);
    let document = read(&[PaperCard { subtitle: vec![word.clone()], ..PaperCard::default() }]);
    let together: String = document.words(0).iter().map(|run| run.text.as_str()).collect();
    assert_eq!(together, word);
}

#[test]
fn the_words_of_a_card_come_back_in_order() {
    let card = card("north-12", 1);
    let document = read(std::slice::from_ref(&card));
    let said = said(&document);
    let answer = &card.answers[0];
    let mut order: Vec<&str> =
        vec![&card.kind, &card.title, &card.subtitle[0], &card.subtitle[1], card.notice.as_ref().unwrap()];
    order.extend([answer.condition.as_str(), "settled", "start at", "35 psi", "about 200 N on each row"]);
    order.extend(answer.words.iter().map(|line| line.text.as_str()));
    order.extend(["start", "default", "tested from 15 psi", "to 55 psi", "as good as the best: 27 to 42 psi"]);
    order.push("Check by digging");
    order.extend(card.check.iter().map(String::as_str));
    order.push("Before anything is adjusted");
    order.extend(card.cautions.iter().map(String::as_str));
    assert_eq!(said, order.join(" "));
}

#[test]
fn letters_of_other_alphabets_and_signs_come_back_as_they_were() {
    let title = "Müller–Łódź Ωμέγα Жито “½” 3 × 4 ≤ 5 °C · d − (x) \\ ø";
    let said = said(&read(&[PaperCard { title: title.into(), ..PaperCard::default() }]));
    assert_eq!(said, title);
}

#[test]
fn a_letter_that_the_fonts_lack_is_seen_as_a_question_mark() {
    let card = PaperCard { title: "北 field 🌱".into(), kind: "bell\u{7}".into(), ..PaperCard::default() };
    assert_eq!(said(&read(&[card])), "bell? ? field ?");
}

#[test]
fn marks_without_a_look_of_their_own_leave_no_trace() {
    let card = PaperCard { title: "down\u{ad}force\u{200b} \u{feff}35\u{a0}psi".into(), ..PaperCard::default() };
    assert_eq!(said(&read(&[card])), "downforce 35 psi");
}

#[test]
fn a_card_without_a_start_shows_no_label_for_one() {
    let said = said(&read(&[PaperCard { answers: vec![answer("wet", Evidence::Open, None)], ..PaperCard::default() }]));
    assert!(said.starts_with("wet open 5 field-seasons"), "{said}");
    assert!(!said.contains("start at"), "{said}");
}

#[test]
fn a_scale_that_cannot_be_drawn_says_its_words() {
    let mut without = answer("dry", Evidence::Leaning, Some("35 psi"));
    let gauge = without.gauge.as_mut().unwrap();
    (gauge.low, gauge.high) = (f64::NAN, 55.0);
    let long = PaperAnswer {
        gauge: without.gauge.clone().map(|gauge| evenstand_paper::PaperGauge {
            low: 15.0,
            default_label: Some("a default that is told in many words ".repeat(40)),
            ..gauge
        }),
        ..without.clone()
    };
    for answer in [without, long] {
        let labels = answer.gauge.clone().unwrap().default_label.unwrap();
        let said = said(&read(&[PaperCard { answers: vec![answer], ..PaperCard::default() }]));
        assert!(said.contains("tested from 15 psi to 55 psi"), "{said}");
        assert!(said.contains(labels.trim()), "{said}");
    }
}

#[test]
fn without_cards_a_page_says_so() {
    let document = read(&[]);
    assert_eq!(document.pages.len(), 1);
    assert!(said(&document).starts_with("There are no cards to print"), "{}", said(&document));
}

#[test]
fn long_words_are_broken_and_nothing_is_lost() {
    let word = "Zuckerrübenvollerntemaschine".repeat(40);
    let card = PaperCard { title: word.clone(), subtitle: vec![word.clone()], ..PaperCard::default() };
    assert_eq!(said(&read(&[card])).replace(' ', ""), word.repeat(2));
}

#[test]
fn words_at_the_foot_stand_on_every_page_or_once_in_full() {
    let cards = [card("a", 1), card("b", 1)];
    let document = read(&cards);
    assert_eq!(document.text().matches("the operator's manual comes first.").count(), 2);
    assert!(document.text().contains("page 1 of 2") && document.text().contains("page 2 of 2"));
    let footer = "very long words ".repeat(200);
    let long = PaperAbout { footer: footer.clone(), ..about() };
    let document = Document::read(&cards_pdf(&cards[..1], Sheet::A4, fonts(), &long).unwrap());
    assert!(said(&document).ends_with(footer.trim()), "{}", said(&document));
}

#[test]
fn the_document_knows_its_title_language_and_structure() {
    let document = read(&[card("north-12", 2)]);
    let catalog = document.catalog();
    assert!(catalog.contains("/Lang (en)") && catalog.contains("/Marked true"), "{catalog}");
    assert!(catalog.contains("/DisplayDocTitle true"), "{catalog}");
    let root = document.object(reference(catalog, "/StructTreeRoot").unwrap());
    let whole = document.object(reference(&root, "/K").unwrap_or_else(|| references(&root, "/K")[0]));
    assert!(whole.contains("/S /Document"), "{whole}");
    let section = document.object(references(&whole, "/K")[0]);
    let kinds: Vec<String> = references(&section, "/K")
        .into_iter()
        .map(|id| document.object(id).split("/S /").nth(1).unwrap().split_whitespace().next().unwrap().to_owned())
        .collect();
    assert_eq!(kinds[..2], ["P", "H1"]);
    // Two conditions, and the headings of what to check and to mind; a picture each.
    assert_eq!(kinds.iter().filter(|kind| *kind == "H2").count(), 4, "{kinds:?}");
    assert_eq!(kinds.iter().filter(|kind| *kind == "Figure").count(), 2, "{kinds:?}");
    let all: String = document.objects.keys().map(|id| document.object(*id)).collect();
    assert_eq!(all.matches("/Alt").count(), 2);
    assert!(all.contains("/FontFile2"), "fonts are embedded");
}

#[test]
fn only_the_letters_in_use_are_embedded() {
    let bytes = pdf(&[PaperCard { title: "a".into(), ..PaperCard::default() }], Sheet::A4);
    let whole = fonts().regular.len() + fonts().bold.len();
    assert!(bytes.len() < whole / 4, "{} of {whole}", bytes.len());
}

#[test]
fn hostile_words_do_not_break_the_document() {
    let hostile = "(((\\)) endstream endobj <</JS (app.alert(1))>> %PDF \r\n\u{0}";
    let card = PaperCard {
        kind: hostile.into(),
        answers: vec![PaperAnswer {
            words: vec![PaperLine { text: hostile.into(), bold: true }],
            ..answer(hostile, Evidence::Settled, Some(hostile))
        }],
        ..PaperCard::default()
    };
    let about = PaperAbout { title: hostile.into(), language: "en".into(), footer: hostile.into() };
    let document = Document::read(&cards_pdf(&[card], Sheet::A4, fonts(), &about).unwrap());
    assert!(said(&document).contains("endstream endobj <</JS (app.alert(1))>> %PDF"), "{}", said(&document));
}
