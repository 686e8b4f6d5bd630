//! The sheets for growers as cards on paper.

use evenstand_paper::{PaperAbout, PaperAnswer, PaperCard, PaperLine};

use crate::results::Results;
use crate::words::answer::{Answer, Evidence};
use crate::words::growers::{Grower, growers};
use crate::words::labels;
use crate::words::scope::scope;

/// A card a planter and farm, in the order of the sheets.
pub(crate) fn paper_cards(results: &Results) -> Vec<PaperCard> {
    let invented = scope(results).invented;
    growers(results).into_iter().map(|grower| card(grower, invented)).collect()
}

/// What the document says of itself.
pub(crate) fn about(results: &Results) -> PaperAbout {
    let review = scope(results).review;
    PaperAbout { title: format!("{review}: where to start"), language: "en".to_owned(), footer: review }
}

fn card(grower: Grower, invented: bool) -> PaperCard {
    let closer = grower.card.closer.as_deref().map(crate::words::response::capitalised);
    let mut subtitle: Vec<String> = grower.farm.into_iter().collect();
    subtitle.push(match closer {
        Some(closer) => format!("{closer} · {}", grower.card.knob),
        None => grower.card.knob.clone(),
    });
    if grower.card.uncalibrated {
        subtitle.push("Not calibrated: its closing wheels were not weighed, so no force is given.".to_owned());
    }
    subtitle.extend(grower.says);
    PaperCard {
        kind: "Planter".to_owned(),
        title: grower.planter,
        subtitle,
        notice: invented.then(|| labels::INVENTED.to_owned()),
        answers: grower.card.answers.into_iter().map(answer).collect(),
        check: labels::CHECK_BY_DIGGING.map(str::to_owned).to_vec(),
        cautions: vec![labels::NOT_A_COMMAND.to_owned()],
    }
}

fn answer(answer: Answer) -> PaperAnswer {
    let bold = |text: String| PaperLine { text, bold: true };
    let plain = |text: String| PaperLine { text, bold: false };
    let mut words = Vec::new();
    if answer.start.is_none() {
        words.push(bold(crate::words::response::capitalised(labels::NO_START) + "."));
    }
    if let Some(advice) = answer.advice_words {
        words.push(bold(match answer.window {
            Some(window) => format!("{advice} {window}"),
            None => advice,
        }));
    }
    words.extend([answer.gain, answer.chance, answer.digging, answer.basis_words].into_iter().flatten().map(plain));
    if let Some(reason) = answer.reason {
        words.push(plain(if answer.start.is_some() { reason } else { format!("What is missing: {reason}") }));
    }
    words.extend(answer.notes.into_iter().map(plain));
    PaperAnswer {
        condition: answer.condition,
        evidence: match answer.evidence {
            Evidence::Settled => evenstand_paper::Evidence::Settled,
            Evidence::Leaning => evenstand_paper::Evidence::Leaning,
            Evidence::Open => evenstand_paper::Evidence::Open,
        },
        start_label: "start at".to_owned(),
        start: answer.start,
        start_note: answer.start_force.map(|force| format!("{force} closing downforce")),
        words,
        ..PaperAnswer::default()
    }
}
