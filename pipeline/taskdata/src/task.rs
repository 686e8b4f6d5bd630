//! Tasks, their times and their logs.

use jiff::civil::DateTime;
use jiff::fmt::temporal::Pieces;

use crate::node::Node;
use crate::notice::Notices;

/// A piece of work.
#[derive(Debug, Clone, PartialEq)]
pub struct Task {
    /// Id in the set, such as `TSK1`.
    pub id: String,
    /// Name, where it has one.
    pub designator: Option<String>,
    /// Id of its farm.
    pub farm: Option<String>,
    /// Id of its field.
    pub field: Option<String>,
    /// How far it has come.
    pub status: Option<Status>,
    /// Times written with the task, in the order of the file.
    pub times: Vec<TaskTime>,
    /// Positions of its logs in [`crate::TaskData::logs`].
    pub logs: Vec<usize>,
}

/// How far a task has come. 1 and 4 are seen in real files; the other numbers are from memory.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Status {
    /// 1.
    Planned,
    /// 2.
    Running,
    /// 3.
    Paused,
    /// 4.
    Completed,
    /// 5.
    Template,
    /// 6.
    Cancelled,
}

/// A span of time that a task was worked on.
#[derive(Debug, Clone, PartialEq)]
pub struct TaskTime {
    /// Begin.
    pub start: Option<Moment>,
    /// End.
    pub stop: Option<Moment>,
    /// Kind by number: 4 is effective time (memory).
    pub kind: Option<u8>,
}

/// A time as written: civil time, and its offset where it names one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Moment {
    /// What a clock beside the machine's showed.
    pub local: DateTime,
    /// Seconds east of universal time, where written (`Z` is 0).
    pub offset_seconds: Option<i32>,
}

/// A time log: what a machine reported, record by record.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Log {
    /// Name, such as `TLG00001`.
    pub name: String,
    /// Position of its task in [`crate::TaskData::tasks`]; none where no task names it.
    pub task: Option<usize>,
    /// Its XML file in the bundle, where it is there.
    pub header_file: Option<String>,
    /// Its binary file in the bundle, where it is there.
    pub records_file: Option<String>,
}

impl Task {
    pub(crate) fn read(node: &Node, file: &str, notices: &mut Notices) -> Self {
        let text = |letter| node.text(letter).map(str::to_owned);
        let status = match node.text(b'G') {
            Some("1") => Some(Status::Planned),
            Some("2") => Some(Status::Running),
            Some("3") => Some(Status::Paused),
            Some("4") => Some(Status::Completed),
            Some("5") => Some(Status::Template),
            Some("6") => Some(Status::Cancelled),
            _ => None,
        };
        let times = node.all("TIM").map(|time| task_time(time, file, notices)).collect();
        let id = node.text(b'A').unwrap_or("").to_owned();
        Self { id, designator: text(b'B'), farm: text(b'D'), field: text(b'E'), status, times, logs: Vec::new() }
    }
}

fn task_time(node: &Node, file: &str, notices: &mut Notices) -> TaskTime {
    let place = format!("{file}, line {}", node.line);
    let mut read = |letter| {
        let text = node.text(letter)?;
        let moment = moment(text);
        if moment.is_none() {
            let message = format!("\"{text}\" is not a date and time like 2025-05-06T12:00:00");
            notices.add(
                "task_time_unreadable",
                place.clone(),
                message,
                "times of the log's records are used in its place",
            );
        }
        moment
    };
    let (start, stop) = (read(b'A'), read(b'B'));
    if let (Some(start), Some(stop)) = (start, stop)
        && stop.local < start.local
        && start.offset_seconds == stop.offset_seconds
    {
        let message = format!("a task ends at {} before it begins at {}", stop.local, start.local);
        let remedy = "the terminal may have mixed two time zones; times of the log's records are used in its place";
        notices.add("task_time_backwards", place, message, remedy);
    }
    TaskTime { start, stop, kind: node.number(b'D') }
}

fn moment(text: &str) -> Option<Moment> {
    let pieces = Pieces::parse(text).ok()?;
    let offset_seconds = pieces.to_numeric_offset().map(jiff::tz::Offset::seconds);
    Some(Moment { local: DateTime::from_parts(pieces.date(), pieces.time()?), offset_seconds })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_time_is_read_with_and_without_its_offset_and_a_date_alone_is_none() {
        let offset = |text| moment(text).map(|moment| (moment.local.to_string(), moment.offset_seconds));
        let local = "2025-05-06T12:00:00".to_owned();
        assert_eq!(offset("2025-05-06T12:00:00"), Some((local.clone(), None)));
        assert_eq!(offset("2025-05-06T12:00:00Z"), Some((local.clone(), Some(0))));
        assert_eq!(offset("2025-05-06T12:00:00.000+05:30"), Some((local, Some(19_800))));
        assert_eq!(offset("2025-05-06"), None);
        assert_eq!(offset("2025-02-30T12:00:00"), None);
    }
}
