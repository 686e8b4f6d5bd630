//! What to test next: the trial that is advised with its reason, and the trials that were considered beside it.

use evenstand_tables::rows::{NextTrialRow, StartingPointRow};
use serde::Serialize;

use crate::results::Results;
use crate::words::gauge::Gauge;
use crate::words::number;
use crate::words::response::Response;
use crate::words::why::WordTable;

/// What to test next in one condition.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct NextTrial {
    /// What to lay out, in one line.
    pub advice: String,
    pub says: Vec<String>,
    pub considered: Option<WordTable>,
}

/// The trials for the deciding response of one condition and closer; nothing where none were considered.
pub(crate) fn next_trial(
    results: &Results,
    point: &StartingPointRow,
    response: &Response,
    gauge: Gauge,
) -> Option<NextTrial> {
    let rows: Vec<&NextTrialRow> = results
        .next_trials
        .iter()
        .filter(|row| row.condition == point.condition && row.closer == point.closer)
        .filter(|row| row.planter_id == point.planter_id && row.response == point.response)
        .collect();
    let advised = rows.iter().find(|row| row.advised == Some(true))?;
    let mut says: Vec<String> = Vec::new();
    says.extend(own_reason(advised, point));
    says.extend(surer(advised));
    says.extend(still_leaning(advised, point));
    Some(NextTrial { advice: advice(advised, gauge), says, considered: considered(&rows, response) })
}

fn advice(row: &NextTrialRow, gauge: Gauge) -> String {
    let [levels, blocks, fields] =
        [row.n_levels, row.n_blocks, row.n_fields].map(|count| usize::try_from(count.unwrap_or(0)).unwrap_or(0));
    if levels == 0 || blocks == 0 || fields == 0 {
        return "No trial is advised.".to_owned();
    }
    let settings = match settings(row, levels, gauge) {
        Some(settings) => format!("{levels} settings side by side: {settings}"),
        None => format!("{levels} settings side by side, around the usual one"),
    };
    let blocks = number::count(blocks, "block", "blocks");
    let strips = row.strips.map_or_else(String::new, |strips| format!(": {strips} strips in all"));
    let place =
        if fields == 1 { format!("{blocks} in one field") } else { format!("{blocks} in each of {fields} fields") };
    format!("{settings}; every setting once in each block, {place}{strips}.")
}

/// The settings of a trial, evenly spread from its lightest to its heaviest.
fn settings(row: &NextTrialRow, levels: usize, gauge: Gauge) -> Option<String> {
    let (low, high) = row.low_n.zip(row.high_n).filter(|(low, high)| low.is_finite() && high.is_finite())?;
    let step = (high - low) / (levels.max(2) - 1) as f64;
    let mut numbers: Vec<String> = (0..levels).map(|level| gauge.number(low + step * level as f64)).collect();
    let last = numbers.pop()?;
    let list = if numbers.is_empty() { last } else { format!("{} and {last}", numbers.join(", ")) };
    Some(number::with_unit(&list, gauge.unit.symbol()))
}

/// The reason of the row, without the words that stand above it already as the reason of the answer.
fn own_reason(row: &NextTrialRow, point: &StartingPointRow) -> Option<String> {
    let reason = row.reason.as_deref()?.trim();
    let rest = reason.strip_prefix(point.reason.trim()).unwrap_or(reason).trim();
    if !rest.is_empty() {
        return Some(rest.to_owned());
    }
    Some("What is missing, as said above, comes first.".to_owned())
}

fn surer(row: &NextTrialRow) -> Option<String> {
    let now = row.prob_near_best_now.filter(|share| (0.0..=1.0).contains(share))?;
    let after = row.prob_near_best_after.filter(|share| (0.0..=1.0).contains(share))?;
    let setting = if row.step_half_width.is_some() { "setting tried so far" } else { "setting" };
    (row.n_fields.is_some_and(|fields| fields > 0)).then(|| {
        format!(
            "Then the best start would be as good as the best {setting} in {} of fields not yet seen, on average over the \
             outcomes of the trial; the best start now in {}.",
            number::percent(after),
            number::percent(now)
        )
    })
}

/// No trial for the choice of a start is one thing, a settled answer another.
fn still_leaning(row: &NextTrialRow, point: &StartingPointRow) -> Option<String> {
    (row.n_fields == Some(0) && point.evidence == "leaning").then(|| {
        "This is judged for a typical field. It does not make the answer settled: that asks in how many fields the start \
         is as good as the best, and only trials in more fields show it."
            .to_owned()
    })
}

/// The trials that bring the most for their number of strips, and the advised one.
fn considered(rows: &[&NextTrialRow], response: &Response) -> Option<WordTable> {
    if rows.len() < 2 {
        return None;
    }
    let beyond = rows.iter().any(|row| row.step_half_width.is_some());
    let levels = rows.iter().find(|row| row.advised == Some(true)).and_then(|row| row.n_levels);
    // Steps of another length are another question.
    let alike: Vec<&NextTrialRow> = rows.iter().copied().filter(|row| !beyond || row.n_levels == levels).collect();
    let mut ordered = alike.clone();
    // What a trial is for: to tell a step beyond what was tried, or else to lose less.
    let after = |row: &NextTrialRow| {
        let left = if beyond { row.step_half_width } else { row.expected_loss_after };
        left.filter(|left| left.is_finite()).unwrap_or(f64::INFINITY)
    };
    ordered.sort_by(|a, b| a.strips.cmp(&b.strips).then(after(a).total_cmp(&after(b))));
    let mut least = f64::INFINITY;
    ordered.retain(|row| {
        let better = after(row) < least;
        least = least.min(after(row));
        better || row.advised == Some(true)
    });
    let left = alike.len() - ordered.len();
    let count = |value: Option<i64>| value.map_or_else(|| "–".to_owned(), number::grouped);
    let cells = ordered.iter().map(|row| {
        let amount = |value: Option<f64>| {
            let value = value.filter(|value| value.is_finite());
            value.map_or_else(|| "–".to_owned(), |value| response.fine_difference(value, row.monte_carlo_error))
        };
        let mut cells = vec![
            if row.advised == Some(true) { "advised" } else { "considered" }.to_owned(),
            count(row.n_levels),
            count(row.n_blocks),
            count(row.n_fields),
            count(row.strips),
            amount(row.expected_loss_now),
            amount(row.expected_loss_after),
            row.prob_near_best_after.map_or_else(|| "–".to_owned(), number::percent),
        ];
        cells.extend(beyond.then(|| amount(row.step_half_width)));
        cells
    });
    let mut head = vec!["Trial", "Settings", "Blocks", "Fields", "Strips", "Loss now", "Loss after", "Right after"];
    head.extend(beyond.then_some("Beyond, to within"));
    Some(WordTable {
        caption: "Trials considered".to_owned(),
        head: head.into_iter().map(str::to_owned).collect(),
        rows: cells.collect(),
        rest: Some(format!(
            "Blocks: in each field. Loss: what the start falls short of the best setting by, on average over what is \
             still possible. Right after: of fields not yet seen, the share in which the start would then be as good as \
             the best. {}{}All are in results/next_trials.csv.",
            if beyond {
                "Both among the settings tried. Beyond, to within: how exactly the setting that nobody has tried would be \
                 told from the next one (90 % limits); trials with as many settings as the advised one. "
            } else {
                ""
            },
            if left > 0 {
                let more = number::count(left, "trial", "trials");
                let bring = if left == 1 { "brings" } else { "bring" };
                let tell = if left == 1 { "tells" } else { "tell" };
                if beyond {
                    format!("{more} more {tell} that less exactly for as many strips. ")
                } else {
                    format!("{more} more {bring} less for as many strips. ")
                }
            } else {
                String::new()
            }
        )),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::gauge::Unit;
    use crate::words::number::NO_BREAK_SPACE;
    use crate::{made_up, made_up_decision};

    fn made(condition: &str, evidence: &str, edit: impl Fn(&mut Vec<NextTrialRow>)) -> Option<NextTrial> {
        let point = made_up::point(condition, "on_time_share", evidence);
        let mut rows = made_up_decision::next_trials(&point);
        edit(&mut rows);
        let results = Results { next_trials: rows, ..Results::default() };
        let response = Response::of("on_time_share", &results);
        next_trial(&results, &point, &response, Gauge::plain(Unit::Newton))
    }

    fn plain(text: &str) -> String {
        text.replace(NO_BREAK_SPACE, " ")
    }

    #[test]
    fn the_advised_trial_names_its_settings_in_the_unit_of_the_review() {
        let trial = made("dry, bare", "leaning", |_| {}).unwrap();
        assert_eq!(
            plain(&trial.advice),
            "3 settings side by side: 150, 275 and 400 N; every setting once in each block, 3 blocks in each of 2 \
             fields: 18 strips in all."
        );
        assert!(trial.says[0].starts_with("Trials in 2 fields with 3 settings"), "{:?}", trial.says);
        assert!(plain(&trial.says[1]).contains("as the best setting in 79 % of fields"), "{:?}", trial.says);
        assert!(plain(&trial.says[1]).contains("now in 62 %"), "{:?}", trial.says);
    }

    #[test]
    fn the_table_keeps_the_best_for_their_strips_and_the_advised_one() {
        let table = made("dry, bare", "leaning", |_| {}).unwrap().considered.unwrap();
        let strips: Vec<&str> = table.rows.iter().map(|row| row[4].as_str()).collect();
        assert_eq!(strips, ["6", "18", "24"], "the trial of 12 strips that leaves more than that of 6 is not shown");
        assert_eq!(table.rows.iter().filter(|row| row[0] == "advised").count(), 1);
        assert_eq!(plain(&table.rows[1][6]), "0.39 points");
        assert!(table.rest.unwrap().contains("1 trial more brings less"));
        let kept = made("dry, bare", "leaning", |rows| {
            rows.iter_mut().for_each(|row| row.advised = Some(row.strips == Some(12)));
        });
        assert_eq!(kept.unwrap().considered.unwrap().rows.len(), 4, "the advised one is always shown");
    }

    #[test]
    fn a_trial_beyond_what_was_tried_says_how_exactly_it_tells_the_step() {
        let trial = made("dry, bare", "leaning", |rows| {
            rows.iter_mut().for_each(|row| row.step_half_width = Some(0.12 / row.strips.unwrap() as f64));
        });
        let trial = trial.unwrap();
        assert!(trial.says[1].contains("as good as the best setting tried so far in"), "{:?}", trial.says);
        let table = trial.considered.unwrap();
        assert_eq!(table.head.last().unwrap(), "Beyond, to within");
        let told: Vec<String> = table.rows.iter().map(|row| plain(row.last().unwrap())).collect();
        assert_eq!(told, ["2.00 points", "1.00 points", "0.67 points", "0.50 points"]);
        assert!(table.rest.unwrap().contains("Both among the settings tried."));
        let inside = made("dry, bare", "leaning", |_| {}).unwrap().considered.unwrap();
        assert!(inside.head.len() == 8 && inside.rows.iter().all(|row| row.len() == 8));
        assert!(!inside.rest.unwrap().contains("Beyond"));
    }

    #[test]
    fn no_trial_is_said_and_has_no_table() {
        let trial = made("dry, covered", "settled", |_| {}).unwrap();
        assert_eq!(trial.advice, "No trial is advised.");
        assert!(trial.says[0].starts_with("No trial is needed for the choice"), "{:?}", trial.says);
        assert!(trial.considered.is_none() && trial.says.len() == 1);
    }

    #[test]
    fn no_trial_beside_an_answer_that_is_not_settled_says_what_it_is_about() {
        let no_trial = |rows: &mut Vec<NextTrialRow>| {
            rows.truncate(1);
            rows[0].n_fields = Some(0);
            rows[0].advised = Some(true);
            rows[0].reason = Some("No trial is needed for the choice.".to_owned());
        };
        let trial = made("dry, bare", "leaning", no_trial).unwrap();
        assert_eq!(trial.advice, "No trial is advised.");
        assert!(trial.says[1].contains("does not make the answer settled"), "{:?}", trial.says);
    }

    #[test]
    fn the_plain_trial_of_an_open_answer_does_not_repeat_what_is_missing() {
        let trial = made("wet, covered", "open", |_| {}).unwrap();
        assert!(
            plain(&trial.advice).starts_with("5 settings side by side: 90, 135, 180, 225 and 270 N"),
            "{}",
            trial.advice
        );
        assert_eq!(trial.says.len(), 1);
        assert!(trial.says[0].starts_with("What a trial would bring cannot be worked out yet"), "{:?}", trial.says);
        let bare = made("wet, covered", "open", |rows| {
            rows[0].reason = Some(made_up::point("wet, covered", "on_time_share", "open").reason);
            rows[0].n_fields = Some(0);
            (rows[0].low_n, rows[0].high_n) = (None, None);
        });
        assert_eq!(bare.unwrap().says, ["What is missing, as said above, comes first."]);
    }

    #[test]
    fn numbers_that_are_missing_or_not_finite_leave_a_dash() {
        let trial = made("dry, bare", "leaning", |rows| {
            for row in rows {
                row.expected_loss_after = Some(f64::NAN);
                row.prob_near_best_after = Some(f64::NAN);
                row.monte_carlo_error = None;
                row.low_n = Some(f64::INFINITY);
            }
        })
        .unwrap();
        assert!(trial.advice.starts_with("3 settings side by side, around the usual one"), "{}", trial.advice);
        let text = format!("{:?}{:?}", trial.says, trial.considered);
        assert!(!text.contains("NaN") && !text.contains("inf"), "{text}");
        assert!(made("dry, bare", "leaning", |rows| rows.clear()).is_none());
    }
}
