//! Last season's starting points beside today's: what changed and why, and how those fared who followed them.

mod followed;
mod why;

use evenstand_tables::rows::{FollowedRow, SinceLastRow, StartingPointRow, StripMeasureRow, StripRow};

use crate::response::Measures;
use followed::followed_row;
use why::{Change, change, why};

/// What last season's table `starting_points` says of a condition, closer, planter and response.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct LastStart {
    /// Condition.
    pub condition: String,
    /// Closing device.
    pub closer: String,
    /// Planter, where planters were not pooled.
    pub planter_id: Option<String>,
    /// Response.
    pub response: String,
    /// Whether this response decided; `None` where the table does not say.
    pub primary: Option<bool>,
    /// Evidence at that time.
    pub evidence: String,
    /// Start in newtons.
    pub start_n: Option<f64>,
    /// Default in newtons.
    pub default_n: Option<f64>,
    /// Field-seasons behind it.
    pub n_field_seasons: Option<i64>,
    /// Strips behind it.
    pub n_strips: Option<i64>,
}

impl LastStart {
    fn same_pool(&self, point: &StartingPointRow) -> bool {
        self.condition == point.condition && self.closer == point.closer && self.planter_id == point.planter_id
    }

    fn start(&self) -> Option<f64> {
        self.start_n.filter(|start| start.is_finite() && self.evidence != "open")
    }
}

/// Two result tables.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct YearOnYear {
    /// Table `since_last`.
    pub since_last: Vec<SinceLastRow>,
    /// Table `followed`.
    pub followed: Vec<FollowedRow>,
}

/// Holds today's starting points against last season's. Of each condition, closer and planter the response that decides is compared; one that
/// stands on one side only is new or gone. Empty where `last` is.
pub fn year_on_year(
    now: &[StartingPointRow],
    last: &[LastStart],
    strips: &[StripRow],
    measures: &[StripMeasureRow],
) -> YearOnYear {
    let mut answer = YearOnYear::default();
    if last.is_empty() {
        return answer;
    }
    let measures = Measures::new(measures);
    let deciding: Vec<&StartingPointRow> = now.iter().filter(|point| point.primary == Some(true)).collect();
    for point in &deciding {
        let before = before(last, point);
        answer.since_last.push(since_last_row(point, before));
        if let Some(start_n) = before.and_then(LastStart::start) {
            answer.followed.extend(followed_row(point, start_n, strips, &measures));
        }
    }
    let gone = last.iter().filter(|start| start.primary != Some(false));
    for start in gone.filter(|start| !deciding.iter().any(|point| start.same_pool(point))) {
        // Where the table flags no deciding response, one line a condition is enough.
        let told = |row: &SinceLastRow| {
            (&row.condition, &row.closer, &row.planter_id) == (&start.condition, &start.closer, &start.planter_id)
        };
        if !answer.since_last.iter().any(told) {
            answer.since_last.push(gone_row(start));
        }
    }
    answer
}

/// Last season's row for a starting point: of the same response, else the one that decided then.
fn before<'a>(last: &'a [LastStart], point: &StartingPointRow) -> Option<&'a LastStart> {
    let pool = || last.iter().filter(|start| start.same_pool(point));
    pool().find(|start| start.response == point.response).or_else(|| pool().find(|start| start.primary == Some(true)))
}

fn since_last_row(point: &StartingPointRow, before: Option<&LastStart>) -> SinceLastRow {
    let change = change(point, before);
    let start = point.start_n.filter(|_| point.evidence != "open");
    let last_start = before.and_then(LastStart::start);
    let same_response = before.is_none_or(|before| before.response == point.response);
    SinceLastRow {
        condition: point.condition.clone(),
        closer: point.closer.clone(),
        planter_id: point.planter_id.clone(),
        response: point.response.clone(),
        last_evidence: before.map(|before| before.evidence.clone()),
        evidence: Some(point.evidence.clone()),
        last_start_n: last_start,
        start_n: start,
        last_default_n: before.and_then(|before| before.default_n),
        default_n: point.default_n,
        change: change.name().to_owned(),
        moved_n: start.zip(last_start).map(|(start, last)| start - last),
        last_n_field_seasons: before.and_then(|before| before.n_field_seasons),
        n_field_seasons: point.n_field_seasons,
        last_n_strips: before.and_then(|before| before.n_strips),
        n_strips: point.n_strips,
        last_inside_window: last_start
            .zip(point.window_low_n.zip(point.window_high_n))
            .map(|(start, (low, high))| (low - 1e-9..=high + 1e-9).contains(&start)),
        why: Some(why(point, before, change, same_response)),
    }
}

fn gone_row(start: &LastStart) -> SinceLastRow {
    SinceLastRow {
        condition: start.condition.clone(),
        closer: start.closer.clone(),
        planter_id: start.planter_id.clone(),
        response: start.response.clone(),
        last_evidence: Some(start.evidence.clone()),
        last_start_n: start.start(),
        last_default_n: start.default_n,
        change: Change::Gone.name().to_owned(),
        last_n_field_seasons: start.n_field_seasons,
        last_n_strips: start.n_strips,
        why: Some(
            "No strip of this review lies in it: other records, another condition scheme, or another closer."
                .to_owned(),
        ),
        ..SinceLastRow::default()
    }
}

#[cfg(test)]
mod tests;
