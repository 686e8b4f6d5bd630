//! Header of a time log: what each of its records holds.

use crate::TaskDataError;
use crate::node::Node;
use crate::notice::Notices;
use crate::xml::{self, Budget};

/// What the records of a log hold, from its XML file.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Header {
    /// Parts of the position in the order of the record.
    pub position: [Slot; 9],
    pub channels: Vec<HeaderChannel>,
}

/// Whether a part of the position is in each record. Present and empty: in each record. Present with a value: the same
/// throughout, and not in the record. Missing: not logged (seen).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Slot {
    Logged,
    Constant(f64),
    Missing,
}

/// One channel, as the header names it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct HeaderChannel {
    pub ddi: Option<u16>,
    pub constant: Option<i32>,
    pub element: String,
    pub message: Option<(u32, u8, u8)>,
}

/// Letters of the position and bytes of each in a record (seen): north, east, up, status, PDOP, HDOP, satellites, time, date.
pub(crate) const POSITION: [(u8, usize); 9] =
    [(b'A', 4), (b'B', 4), (b'C', 4), (b'D', 1), (b'E', 2), (b'F', 2), (b'G', 1), (b'H', 4), (b'I', 2)];

/// A record names a channel in one byte, so there can be no more.
const CHANNELS: usize = 256;

impl Header {
    pub fn read(bytes: &[u8], file: &str, notices: &mut Notices) -> Result<Self, TaskDataError> {
        let root = xml::read(bytes, file, "TIM", &mut Budget::default(), notices)?.root;
        if root.raw(b'A') != Some("") {
            let found = root.raw(b'A').map_or("is missing".to_owned(), |value| format!("is \"{value}\""));
            let problem = format!(
                "the start time (attribute A of TIM) {found}, where an empty one is expected, which means that each record \
                 has its own time; the log cannot be read: export it again"
            );
            return Err(TaskDataError::Xml { file: file.to_owned(), line: root.line, problem });
        }
        let mut positions = root.all("PTN");
        let position = positions.next();
        if let Some(second) = positions.next() {
            let message = "the header describes the position twice; the first counts".to_owned();
            notices.add(
                "position_twice",
                format!("{file}, line {}", second.line),
                message,
                "compare with the terminal",
            );
        }
        let channels: Vec<&Node> = root.all("DLV").collect();
        if channels.len() > CHANNELS {
            let message = format!("the header names {} channels; a record can tell 256 apart", channels.len());
            notices.add("too_many_channels", file, message, "compare with the terminal");
        }
        let channels = channels.into_iter().take(CHANNELS).map(|node| channel(node, file, notices)).collect();
        Ok(Self { position: POSITION.map(|(letter, _)| slot(position, letter)), channels })
    }
}

fn slot(position: Option<&Node>, letter: u8) -> Slot {
    match position.and_then(|node| node.raw(letter)) {
        None => Slot::Missing,
        Some("") => Slot::Logged,
        Some(value) => value.parse().ok().filter(|value: &f64| value.is_finite()).map_or(Slot::Missing, Slot::Constant),
    }
}

fn channel(node: &Node, file: &str, notices: &mut Notices) -> HeaderChannel {
    let place = || format!("{file}, line {}", node.line);
    let ddi = node.text(b'A').and_then(|hex| u16::from_str_radix(hex, 16).ok());
    if ddi.is_none() {
        let message = format!(
            "the channel's number is \"{}\", where four hexadecimal digits are expected",
            node.raw(b'A').unwrap_or("")
        );
        notices.add("channel_number_unreadable", place(), message, "say what the channel is, or leave it out");
    }
    let constant = node.text(b'B').map(str::parse);
    if let Some(Err(_)) = constant {
        let message = format!(
            "the channel's fixed value is \"{}\", where a whole number is expected",
            node.raw(b'B').unwrap_or("")
        );
        notices.add("constant_unreadable", place(), message, "the channel has only what the records log");
    }
    let message =
        node.number(b'D').zip(node.number(b'E')).zip(node.number(b'F')).map(|((pgn, start), stop)| (pgn, start, stop));
    let element = node.text(b'C').unwrap_or("").to_owned();
    HeaderChannel { ddi, constant: constant.and_then(Result::ok), element, message }
}
