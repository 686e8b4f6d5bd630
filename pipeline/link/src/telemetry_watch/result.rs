//! What a finished series comes to: its result row, and where in the file each fault was first seen.

use evenstand_tables::Moment;
use evenstand_tables::rows::TelemetryRow;

use super::SeriesKey;
use super::sample::{FORCE, Limits, PRESSURE, SECOND, Seen};
use super::series::{Series, SeriesEnd};
use super::stuck::{CHANNELS, Channel, SPEED, StuckStretches};

/// Rows from which equal series of two row units are no chance.
const ROWS_TO_TELL: u64 = 20;

/// A finished series: its result row, where in the file each fault was first seen, and how long values were compared.
#[derive(Debug, Clone, Default)]
pub(crate) struct Watched {
    pub row: TelemetryRow,
    pub seen: FirstSeen,
    pub compared: ComparedTime,
}

/// Seconds at working speed with both a set and a measured value.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct ComparedTime {
    pub all_s: f64,
    /// Of these with a set value above 0, which the measured one can be near to.
    pub judged_s: f64,
}

/// Faults of a series with the row of the file in which each was first seen.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct FirstSeen {
    pub first_row: i64,
    pub back: Seen,
    pub back_jumps: u64,
    /// Jumps back onto the first row: the log stands there twice.
    pub restarts: u64,
    pub same_time: Seen,
    pub repeated: Seen,
    pub gaps: Seen,
    pub jumps: Seen,
    /// Whole hours of the first jump by whole hours.
    pub first_hours: i64,
    pub stuck: Seen,
    /// Whether the stuck channel has one value in the whole file.
    pub stuck_in_whole_file: bool,
    pub outside: Seen,
    pub changes: Seen,
    pub never: Seen,
    pub sags: Seen,
    pub start_zeros: Seen,
    /// A hash of times and measured values, where these change and are enough to tell one row unit from another.
    pub fingerprint: Option<u64>,
}

/// Channels of each row unit that have one value in the whole file, for as long as a stuck stretch takes.
pub(crate) fn constant_channels(
    ended: &[(usize, SeriesKey, Series, SeriesEnd)],
    slots: usize,
    limits: &Limits,
) -> Vec<[bool; 3]> {
    let mut constant = vec![[false; 3]; slots];
    for channel in [FORCE, PRESSURE, SPEED] {
        // Value, rows and time of each slot; a value that differs makes it none for good.
        let mut runs: Vec<(Option<f64>, bool, u64, i64)> = vec![(None, true, 0, 0); slots];
        for (slot, _, series, _) in ended {
            let (Some(run), Some(state)) = (runs.get_mut(*slot), series.sensors.channels.get(channel)) else {
                continue;
            };
            if !state.is_logged() {
                continue;
            }
            match state.constant() {
                Some((value, rows)) => {
                    run.1 &= run.0.is_none_or(|first| first == value);
                    run.0 = Some(value);
                    run.2 += rows;
                    let lasted = series.clock.ended.unwrap_or(0).saturating_sub(series.clock.started.unwrap_or(0));
                    run.3 = run.3.saturating_add(lasted);
                }
                None => run.1 = false,
            }
        }
        for (slot, (value, same, rows, lasted)) in runs.into_iter().enumerate() {
            if let Some(flags) = constant.get_mut(slot).and_then(|flags| flags.get_mut(channel)) {
                *flags = value.is_some() && same && rows >= limits.stuck_rows && lasted >= limits.stuck;
            }
        }
    }
    constant
}

/// The result row of a series, and where its faults were first seen.
pub(crate) fn watched(key: SeriesKey, season: i64, series: Series, end: SeriesEnd, constant: [bool; 3]) -> Watched {
    let Series { clock, follow, passes, first_row, .. } = &series;
    let seconds = |microseconds: i64| microseconds as f64 / SECOND as f64;
    let whole = |count: u64| Some(i64::try_from(count).unwrap_or(i64::MAX));
    let logged = |channel: usize| series.sensors.channels.get(channel).is_some_and(Channel::is_logged);
    let lasted = clock.ended.unwrap_or(0).saturating_sub(clock.started.unwrap_or(0));
    // The channel with the largest share, of equal ones the first. A speed that stands still is told only where nothing
    // else does: a planter may well keep its speed, and a stuck force or pressure is what spoils an answer.
    let mut worst: Option<(usize, StuckStretches, bool)> = None;
    for channel in [FORCE, PRESSURE, SPEED] {
        let whole_file = constant.get(channel).copied().unwrap_or(false) && logged(channel);
        let stretches = if whole_file {
            let stretches = Seen { times: 1, first_row: *first_row };
            Some(StuckStretches { share: 1.0, stretches, longest: lasted })
        } else {
            end.stuck.get(channel).copied().flatten()
        };
        if let Some(stretches) = stretches
            && worst.as_ref().is_none_or(|(_, other, _)| channel != SPEED && other.share < stretches.share)
        {
            worst = Some((channel, stretches, whole_file));
        }
    }
    let at_speed = passes.rows_at_speed;
    let moves = [FORCE, PRESSURE].into_iter().any(|channel| {
        series.sensors.channels.get(channel).is_some_and(|state| state.is_logged() && state.constant().is_none())
    });
    let compared = |kind: usize| if kind == FORCE { "force" } else { "pressure" };
    let row = TelemetryRow {
        source_file: key.source_file,
        field_id: key.field_id,
        season,
        strip_id: key.strip_id,
        planter_id: key.planter_id,
        row_unit: key.row_unit,
        first_row: Some(*first_row),
        rows: whole(passes.rows),
        rows_at_speed: whole(at_speed),
        started_at: clock.started.map(Moment),
        ended_at: clock.ended.map(Moment),
        step_s: (clock.usual > 0).then(|| seconds(clock.usual)),
        rows_back: whole(clock.back.times),
        rows_same_time: whole(clock.same_time.times),
        rows_repeated: whole(clock.repeated.times),
        gaps: whole(clock.gaps.times),
        longest_gap_s: (clock.gaps.times > 0).then(|| seconds(clock.longest_gap)),
        clock_jumps: whole(clock.jumps.times),
        hour_jumps: whole(clock.hour_jumps),
        stuck_channel: worst.and_then(|(channel, ..)| CHANNELS.get(channel)).map(|name| (*name).to_owned()),
        stuck_share: worst.map(|(_, stretches, _)| stretches.share),
        longest_stuck_s: worst.map(|(_, stretches, _)| seconds(stretches.longest)),
        compared: end.followed.map(|followed| compared(followed.kind).to_owned()),
        outside_share: end.followed.and_then(|followed| followed.outside_share),
        mean_set: end.followed.map(|followed| followed.mean_set),
        mean_difference: end.followed.map(|followed| followed.mean_difference),
        changes: end.followed.and_then(|_| whole(follow.changes.times)),
        lag_s: follow.lags.median().map(|lag| lag / SECOND as f64),
        never_arrived: end.followed.and_then(|_| whole(follow.never.times)),
        sags: end.followed.and_then(|_| whole(follow.sags.times)),
        sag_s: end.followed.map(|_| seconds(follow.sagged)),
        start_zero_rows: whole(passes.start_zeros.times),
        start_zero_share: (at_speed > 0).then(|| passes.start_zeros.times as f64 / at_speed as f64),
        turns: whole(passes.turns),
        turn_rows: whole(passes.turn_rows),
        turn_s: Some(seconds(passes.turned)),
    };
    let seen = FirstSeen {
        first_row: *first_row,
        back: clock.back,
        back_jumps: clock.back_jumps,
        restarts: clock.restarts,
        same_time: clock.same_time,
        repeated: clock.repeated,
        gaps: clock.gaps,
        jumps: clock.jumps,
        first_hours: clock.first_hours,
        stuck: worst.map(|(_, stretches, _)| stretches.stretches).unwrap_or_default(),
        stuck_in_whole_file: worst.is_some_and(|(_, _, whole_file)| whole_file),
        outside: end.followed.map(|followed| followed.outside).unwrap_or_default(),
        changes: follow.changes,
        never: follow.never,
        sags: follow.sags,
        start_zeros: passes.start_zeros,
        fingerprint: (moves && passes.rows >= ROWS_TO_TELL).then_some(series.fingerprint),
    };
    let compared = end.followed.map_or_else(ComparedTime::default, |followed| ComparedTime {
        all_s: seconds(followed.compared),
        judged_s: seconds(followed.judged),
    });
    Watched { row, seen, compared }
}
