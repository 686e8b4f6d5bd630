//! The questions that are asked with the spade, in order, and what the trade tries first for each answer.
//!
//! All of it is common practice, no source: what a practitioner asks behind the planter, and which part is turned first. An answer points to a
//! part; it is no verdict on it, and a change is followed by another dig.

/// A part that can be adjusted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Adjustment {
    /// Closing downforce.
    ClosingForce,
    /// Spring or load of the press wheel behind.
    PressWheel,
    /// Stop that limits how deep the closing discs run.
    DepthStop,
    /// Ground speed.
    Speed,
}

impl Adjustment {
    /// `closing_force`, `press_wheel`, `depth_stop` or `speed`.
    pub fn name(self) -> &'static str {
        match self {
            Adjustment::ClosingForce => "closing_force",
            Adjustment::PressWheel => "press_wheel",
            Adjustment::DepthStop => "depth_stop",
            Adjustment::Speed => "speed",
        }
    }
}

/// One answer to a question.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DigAnswer {
    /// The answer, as tables write it.
    pub answer: &'static str,
    /// Whether it is the one that is hoped for.
    pub wanted: bool,
    /// What is tried first, and what after it; empty where nothing needs it.
    pub adjust: &'static [Adjustment],
    /// The same in words.
    pub advice: &'static str,
}

/// One question.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DigQuestion {
    /// Column of a dig check that holds the answer.
    pub column: &'static str,
    /// The question in words.
    pub question: &'static str,
    /// Its answers.
    pub answers: &'static [DigAnswer],
}

const fn good(answer: &'static str, advice: &'static str) -> DigAnswer {
    DigAnswer { answer, wanted: true, adjust: &[], advice }
}

const fn bad(answer: &'static str, adjust: &'static [Adjustment], advice: &'static str) -> DigAnswer {
    DigAnswer { answer, wanted: false, adjust, advice }
}

use Adjustment::{ClosingForce, DepthStop, PressWheel, Speed};

/// The questions in the order in which they are asked: from what is seen standing to what is felt at the seed, and last beside the row.
pub const DIG_QUESTIONS: [DigQuestion; 7] = [
    DigQuestion {
        column: "trench_shut",
        question: "Is the trench shut?",
        answers: &[
            good("yes", "Go on to the seed."),
            bad(
                "partly",
                &[ClosingForce, Speed],
                "A little more closing force; where it changes along the row, drive slower.",
            ),
            bad("no", &[ClosingForce], "More closing force, a step at a time, and dig again after each."),
        ],
    },
    DigQuestion {
        column: "light_at_seed",
        question: "Does light reach the seed?",
        answers: &[
            good("no", "Nothing to do."),
            bad("yes", &[ClosingForce], "More closing force, a step at a time, and dig again after each."),
        ],
    },
    DigQuestion {
        column: "air_gap",
        question: "Is there air around the seed?",
        answers: &[
            good("no", "Nothing to do."),
            bad(
                "yes",
                &[ClosingForce, PressWheel],
                "More closing force; where the top is shut already, more press wheel.",
            ),
        ],
    },
    DigQuestion {
        column: "firm_all_round",
        question: "Is the soil firm all round the seed?",
        answers: &[
            good("yes", "Nothing to do."),
            bad("no", &[PressWheel, ClosingForce], "More press wheel first; then a little more closing force."),
        ],
    },
    DigQuestion {
        column: "press_mark",
        question: "Has the press wheel left its mark?",
        answers: &[
            good("yes", "Nothing to do."),
            bad(
                "no",
                &[PressWheel, Speed],
                "The wheel does not carry: more press wheel; where it bounces, drive slower.",
            ),
        ],
    },
    DigQuestion {
        column: "dig_effort",
        question: "How much effort does it take to dig the seed out?",
        answers: &[
            bad("1", &[ClosingForce], "It falls open: a little more closing force."),
            good("2", "Nothing to do."),
            good("3", "Nothing to do."),
            bad(
                "4",
                &[ClosingForce, PressWheel],
                "Pressed hard: less closing force; then less press wheel. Wet ground may want to wait.",
            ),
            bad(
                "5",
                &[ClosingForce, PressWheel],
                "Pressed very hard: less closing force; then less press wheel. Wet ground may want to wait.",
            ),
        ],
    },
    DigQuestion {
        column: "soil_thrown",
        question: "Do the discs throw soil or residue?",
        answers: &[
            good("no", "Leave the depth stop where it is."),
            bad(
                "yes",
                &[DepthStop, Speed],
                "Only here: set the depth stop so that the discs run shallower; if they still throw, drive slower.",
            ),
        ],
    },
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_order_is_that_of_the_practitioner() {
        let columns: Vec<&str> = DIG_QUESTIONS.iter().map(|question| question.column).collect();
        assert_eq!(
            columns,
            ["trench_shut", "light_at_seed", "air_gap", "firm_all_round", "press_mark", "dig_effort", "soil_thrown"]
        );
    }

    #[test]
    fn every_question_has_a_wanted_answer_and_what_is_not_wanted_points_somewhere() {
        for question in &DIG_QUESTIONS {
            assert!(question.answers.iter().any(|answer| answer.wanted), "{}", question.column);
            for answer in question.answers {
                assert_eq!(answer.wanted, answer.adjust.is_empty(), "{} {}", question.column, answer.answer);
            }
        }
    }

    #[test]
    fn the_depth_stop_is_turned_only_where_soil_is_thrown() {
        for question in &DIG_QUESTIONS {
            for answer in question.answers {
                let stop = answer.adjust.contains(&Adjustment::DepthStop);
                assert_eq!(stop, (question.column, answer.answer) == ("soil_thrown", "yes"), "{}", question.column);
            }
        }
    }

    #[test]
    fn every_part_is_tried_for_some_answer() {
        let all = || DIG_QUESTIONS.iter().flat_map(|question| question.answers).flat_map(|answer| answer.adjust);
        for part in [Adjustment::ClosingForce, Adjustment::PressWheel, Adjustment::DepthStop, Adjustment::Speed] {
            assert!(all().any(|tried| *tried == part), "{}", part.name());
        }
    }
}
