//! Where a limit of the dig window lies, read from its row: one place for page, chart and alt text.

use evenstand_tables::rows::DigWindowRow;

use crate::words::gauge::Gauge;

/// One limit among the forces dug.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Limit {
    /// In newtons.
    At(f64),
    /// Every force dug is on the right side of it.
    AllRight,
    /// No force dug is.
    NoneRight,
    /// Digs do not tell it.
    Untold,
}

impl Limit {
    /// The lightest force at which the trench is shut often enough.
    pub fn open(row: &DigWindowRow) -> Self {
        Self::of(row.open_limit_n, row.open_limit_lies.as_deref(), "lighter", "heavier")
    }

    /// The heaviest force at which the soil is not too firm too often.
    pub fn firm(row: &DigWindowRow) -> Self {
        Self::of(row.firm_limit_n, row.firm_limit_lies.as_deref(), "heavier", "lighter")
    }

    fn of(limit: Option<f64>, lies: Option<&str>, right: &str, wrong: &str) -> Self {
        match (limit.filter(|limit| limit.is_finite()), lies) {
            (Some(limit), _) => Limit::At(limit),
            (None, Some(side)) if side == right => Limit::AllRight,
            (None, Some(side)) if side == wrong => Limit::NoneRight,
            _ => Limit::Untold,
        }
    }
}

/// The limit of an open trench in words; `interval` stands behind a force. `None` where digs do not tell it.
pub(crate) fn open_words(limit: Limit, gauge: Gauge, interval: &str) -> Option<String> {
    Some(match limit {
        Limit::At(limit) => format!("the trench is shut often enough from {} on{interval}", gauge.text(limit)),
        Limit::AllRight => "the trench is shut often enough at every force dug".to_owned(),
        Limit::NoneRight => "at no force dug is the trench shut often enough".to_owned(),
        Limit::Untold => return None,
    })
}

/// The limit of firm soil in words; `interval` stands behind a force. `None` where digs do not tell it.
pub(crate) fn firm_words(limit: Limit, gauge: Gauge, interval: &str) -> Option<String> {
    Some(match limit {
        Limit::At(limit) => format!("above {} the soil is too firm too often{interval}", gauge.text(limit)),
        Limit::AllRight => "at no force dug is the soil too firm too often".to_owned(),
        Limit::NoneRight => "at every force dug the soil is too firm too often".to_owned(),
        Limit::Untold => return None,
    })
}

/// Both limits in words, joined; `None` where digs tell neither.
pub(crate) fn words(row: &DigWindowRow, gauge: Gauge, intervals: [&str; 2]) -> Option<String> {
    let (open, firm) = (Limit::open(row), Limit::firm(row));
    let told: Vec<String> =
        [open_words(open, gauge, intervals[0]), firm_words(firm, gauge, intervals[1])].into_iter().flatten().collect();
    let untold = match (open, firm) {
        (Limit::Untold, Limit::Untold) => return None,
        (Limit::Untold, _) => "; from where it is shut often enough was not told",
        (_, Limit::Untold) => "; from where the soil is too firm was not told",
        _ => "",
    };
    Some(told.join("; ") + untold)
}
