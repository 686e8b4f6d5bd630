//! The check list of the spade: the questions in order, what the trade tries first for each answer, and how often each answer was given.

use evenstand_agronomy::{Adjustment, DIG_QUESTIONS, DigAnswer, DigQuestion};
use evenstand_tables::rows::{DigChecklistRow, DigStripRow};

use crate::dig_window::DugGroup;

/// The general list first, then one for every group that was dug.
pub(crate) fn dig_checklist(groups: &[DugGroup]) -> Vec<DigChecklistRow> {
    let general = questions().map(|(step, question, answer)| row(step, question, answer));
    let of_groups = groups
        .iter()
        .flat_map(|group| questions().filter_map(|(step, question, answer)| counted(group, step, question, answer)));
    general.chain(of_groups).collect()
}

fn questions() -> impl Iterator<Item = (usize, &'static DigQuestion, &'static DigAnswer)> {
    DIG_QUESTIONS
        .iter()
        .enumerate()
        .flat_map(|(number, question)| question.answers.iter().map(move |answer| (number + 1, question, answer)))
}

fn row(step: usize, question: &DigQuestion, answer: &DigAnswer) -> DigChecklistRow {
    let adjust = |place: usize| answer.adjust.get(place).copied().map(Adjustment::name).map(str::to_owned);
    DigChecklistRow {
        step: step as i64,
        question: question.question.to_owned(),
        answer: answer.answer.to_owned(),
        wanted: Some(answer.wanted),
        adjust_first: adjust(0),
        adjust_next: adjust(1),
        advice: Some(answer.advice.to_owned()),
        ..DigChecklistRow::default()
    }
}

/// How often an answer was given in a group; `None` where nobody answered the question there.
fn counted(group: &DugGroup, step: usize, question: &DigQuestion, answer: &DigAnswer) -> Option<DigChecklistRow> {
    let given: Vec<String> = group.digs.iter().filter_map(|dig| answer_of(dig, question.column)).collect();
    if given.is_empty() {
        return None;
    }
    let same = given.iter().filter(|own| *own == answer.answer).count();
    Some(DigChecklistRow {
        condition: Some(group.key.condition.clone()),
        closer: Some(group.key.closer.clone()),
        planter_id: group.key.planter(),
        n_digs: Some(given.len() as i64),
        n_answers: Some(same as i64),
        share: Some(same as f64 / given.len() as f64),
        ..row(step, question, answer)
    })
}

/// What a dig answers to the question of a column, as the check list writes it.
fn answer_of(dig: &DigStripRow, column: &str) -> Option<String> {
    let yes_no = |answer: Option<bool>| answer.map(|yes| if yes { "yes" } else { "no" }.to_owned());
    match column {
        "trench_shut" => dig.trench_shut.clone(),
        "light_at_seed" => yes_no(dig.light_at_seed),
        "air_gap" => yes_no(dig.air_gap),
        "firm_all_round" => yes_no(dig.firm_all_round),
        "press_mark" => yes_no(dig.press_mark),
        "dig_effort" => dig.dig_effort.map(|grade| grade.to_string()),
        "soil_thrown" => yes_no(dig.soil_thrown),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dig_window::placed;
    use crate::group_answer::Members;

    fn dig(trench: &str, effort: Option<i64>, thrown: Option<bool>) -> DigStripRow {
        DigStripRow {
            field_id: "A".into(),
            season: 2025,
            condition: "wet".into(),
            trench_shut: Some(trench.into()),
            dig_effort: effort,
            soil_thrown: thrown,
            ..DigStripRow::default()
        }
    }

    #[test]
    fn every_question_can_be_answered_by_a_dig() {
        let dig = DigStripRow {
            light_at_seed: Some(false),
            air_gap: Some(true),
            firm_all_round: Some(true),
            press_mark: Some(false),
            ..dig("partly", Some(3), Some(false))
        };
        for question in &DIG_QUESTIONS {
            let given = answer_of(&dig, question.column).unwrap();
            assert!(question.answers.iter().any(|answer| answer.answer == given), "{} {given}", question.column);
        }
    }

    #[test]
    fn the_general_list_is_there_without_any_dig_and_counts_stand_beside_a_condition() {
        let general = dig_checklist(&[]);
        assert!(!general.is_empty() && general.iter().all(|row| row.condition.is_none() && row.n_digs.is_none()));
        assert!(general.windows(2).all(|pair| pair[0].step <= pair[1].step));
        let digs = [dig("yes", Some(4), None), dig("no", None, None), dig("yes", Some(2), None)];
        let rows = dig_checklist(&placed(&digs, &Members::new()));
        let counts = |question: &str, answer: &str| {
            let mut rows = rows.iter().filter(|row| row.condition.as_deref() == Some("wet"));
            rows.find(|row| row.question.contains(question) && row.answer == answer)
                .map(|row| (row.n_answers, row.n_digs))
        };
        assert_eq!(counts("trench shut", "yes"), Some((Some(2), Some(3))));
        assert_eq!(counts("effort", "4"), Some((Some(1), Some(2))));
        assert_eq!(counts("throw", "yes"), None, "nobody looked");
    }
}
