//! The check list for the spade, and how often each answer was given.

use evenstand_tables::rows::DigChecklistRow;
use serde::Serialize;

use crate::results::Results;
use crate::words::answer::plain_words;
use crate::words::dig_stand;
use crate::words::number::{self, NO_BREAK_SPACE};
use crate::words::why::WordTable;

/// The section.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct DigList {
    pub questions: Vec<Question>,
    /// Answers that are not hoped for, by condition; `None` where nothing was dug.
    pub given: Option<WordTable>,
    /// Digs against the stand, in sentences.
    pub stand: Vec<String>,
}

/// One question of the list.
#[derive(Debug, Clone, Serialize, PartialEq)]
pub(crate) struct Question {
    pub question: String,
    /// The answer that is hoped for.
    pub wanted: String,
    pub otherwise: Vec<Otherwise>,
}

/// What is done where the answer is another.
#[derive(Debug, Clone, Serialize, PartialEq)]
pub(crate) struct Otherwise {
    pub answer: String,
    /// "Closing force, then speed".
    pub adjust: String,
    pub advice: String,
}

/// The list; `None` where the table has none.
pub(crate) fn dig_list(results: &Results) -> Option<DigList> {
    let mut questions: Vec<Question> = Vec::new();
    for row in results.dig_checklist.iter().filter(|row| row.condition.is_none()) {
        if questions.last().is_none_or(|last| last.question != row.question) {
            questions.push(Question { question: row.question.clone(), wanted: String::new(), otherwise: Vec::new() });
        }
        let Some(question) = questions.last_mut() else { continue };
        if row.wanted == Some(true) {
            let joint = if question.wanted.is_empty() { "" } else { " or " };
            question.wanted.push_str(&format!("{joint}{}", row.answer));
        } else {
            question.otherwise.push(Otherwise {
                answer: row.answer.clone(),
                adjust: adjust(row),
                advice: row.advice.clone().unwrap_or_default(),
            });
        }
    }
    (!questions.is_empty()).then(|| DigList {
        questions,
        given: given(results),
        stand: results.dig_stand.iter().filter_map(|row| dig_stand::sentence(row, results)).collect(),
    })
}

fn adjust(row: &DigChecklistRow) -> String {
    let parts: Vec<String> =
        [&row.adjust_first, &row.adjust_next].into_iter().flatten().map(|part| plain_words(part)).collect();
    crate::words::response::capitalised(&parts.join(", then "))
}

/// How often answers that are not hoped for were given: a row a question, a column a condition.
fn given(results: &Results) -> Option<WordTable> {
    let rows = || results.dig_checklist.iter().filter(|row| row.wanted == Some(false));
    let several = |word: fn(&DigChecklistRow) -> Option<&String>| {
        let mut words: Vec<&String> = rows().filter_map(word).collect();
        words.sort();
        words.dedup();
        words.len() > 1
    };
    let several_closers = several(|row| row.closer.as_ref());
    let name = |row: &DigChecklistRow| {
        let mut name = row.condition.clone()?;
        if let Some(closer) = row.closer.as_ref().filter(|_| several_closers) {
            name.push_str(&format!(" · {}", plain_words(closer)));
        }
        if let Some(planter) = &row.planter_id {
            name.push_str(&format!(" · planter {planter}"));
        }
        Some(name)
    };
    let mut columns: Vec<String> = Vec::new();
    let mut asked: Vec<(&str, &str)> = Vec::new();
    for row in rows() {
        let Some(column) = name(row) else { continue };
        if !columns.contains(&column) {
            columns.push(column);
        }
        if !asked.contains(&(&row.question, &row.answer)) {
            asked.push((&row.question, &row.answer));
        }
    }
    if columns.is_empty() {
        return None;
    }
    let cell = |(question, answer): (&str, &str), column: &String| {
        let mut found = rows().filter(|row| row.question == question && row.answer == answer);
        found.find(|row| name(row).as_ref() == Some(column)).map_or_else(
            || "–".to_owned(),
            |row| {
                let share = row.share.map(number::percent).unwrap_or_default();
                format!("{share}{NO_BREAK_SPACE}of{NO_BREAK_SPACE}{}", row.n_digs.unwrap_or(0))
            },
        )
    };
    let mut head = vec!["Question".to_owned(), "Answer".to_owned()];
    head.extend(columns.iter().cloned());
    let table = asked.iter().map(|asked| {
        let mut cells = vec![asked.0.to_owned(), asked.1.to_owned()];
        cells.extend(columns.iter().map(|column| cell(*asked, column)));
        cells
    });
    Some(WordTable {
        caption: "What was found that is not hoped for, in how many of the places asked".to_owned(),
        rows: table.collect(),
        head,
        rest: Some("Every answer is in results/dig_checklist.csv, every place in results/digs.csv.".to_owned()),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::made_up;

    #[test]
    fn questions_stand_in_order_with_what_is_tried_first() {
        let list = dig_list(&made_up::review()).expect("the made-up review has a list");
        let shut = &list.questions[0];
        assert_eq!((shut.question.as_str(), shut.wanted.as_str()), ("Is the trench shut?", "yes"));
        assert_eq!(shut.otherwise[0].adjust, "Closing force, then speed");
        assert_eq!(list.questions[1].wanted, "2 or 3");
        let given = list.given.expect("places were dug");
        assert_eq!(given.head[2], "dry, covered");
        assert_eq!(given.rows[0][2], "15 % of 60".replace(' ', &NO_BREAK_SPACE.to_string()));
    }

    #[test]
    fn without_rows_there_is_no_section() {
        assert!(dig_list(&Results::default()).is_none());
    }
}
