//! Time logs, record by record.

use evenstand_bundle::Bundle;
use jiff::civil::DateTime;

use crate::channel::Channel;
use crate::fault::Faults;
use crate::files::read;
use crate::header::{Header, Slot};
use crate::notice::{Notice, Notices};
use crate::record::{self, Bytes, Record};
use crate::{TaskData, TaskDataError};

/// Reads a log from its bytes, one record after the other, in no further memory.
#[derive(Debug)]
pub struct LogReader {
    file: String,
    bytes: Vec<u8>,
    at: usize,
    position: [Slot; 9],
    channels: Vec<Channel>,
    record: Record,
    last: Option<DateTime>,
    faults: Faults,
    header_notices: Vec<Notice>,
}

impl TaskData {
    /// Reads the header of a log and makes ready for its records. `log` is a position in [`TaskData::logs`].
    ///
    /// The bundle counts what is read from it each time: to read all logs more than twice, give it larger limits or open it
    /// anew.
    ///
    /// Errors where the log or one of its files is not there, or the header cannot be read.
    pub fn read_log(&self, bundle: &mut Bundle, log: usize) -> Result<LogReader, TaskDataError> {
        let found = self.logs.get(log).ok_or(TaskDataError::NoSuchLog { log, logs: self.logs.len() })?;
        let missing = |ending| TaskDataError::LogIncomplete { log: found.name.clone(), ending };
        let header_file = found.header_file.as_deref().ok_or_else(|| missing("XML"))?;
        let file = found.records_file.clone().ok_or_else(|| missing("BIN"))?;
        let mut notices = Notices::default();
        let header = Header::read(&read(bundle, header_file)?, header_file, &mut notices)?;
        let bytes = read(bundle, &file)?;
        let channels: Vec<Channel> = (0..=u8::MAX)
            .zip(&header.channels)
            .map(|(position, channel)| Channel::new(self, log, position, channel))
            .collect();
        for channel in channels.iter().filter(|channel| channel.element_kind.is_none()) {
            let message =
                format!("channel {} names the part \"{}\", which no machine has", channel.position, channel.element_id);
            notices.add(
                "part_missing",
                header_file,
                message,
                "copy all files from the terminal, or say what the channel is",
            );
        }
        Ok(LogReader {
            file,
            bytes,
            at: 0,
            position: header.position,
            channels,
            record: Record::default(),
            last: None,
            faults: Faults::default(),
            header_notices: notices.into_list(),
        })
    }
}

impl LogReader {
    /// The channels of the log by position, without what the records hold of them.
    pub fn channels(&self) -> &[Channel] {
        &self.channels
    }

    /// The next record; none at the end of the file, also where it ends inside a record.
    ///
    /// Values of channels that the header does not name are left out of the record and counted.
    pub fn next_record(&mut self) -> Option<&Record> {
        let mut bytes = Bytes { bytes: &self.bytes, at: self.at };
        let left = self.bytes.len().saturating_sub(self.at);
        if left == 0 {
            return None;
        }
        self.record.number = self.record.number.saturating_add(1);
        let number = self.record.number;
        let Some(place) = record::read(&mut bytes, &self.position, &mut self.record) else {
            self.faults.cut_short(number, left);
            self.at = self.bytes.len();
            return None;
        };
        self.at = bytes.at;
        let (all, known) = (self.record.changes.len(), self.channels.len());
        self.record.changes.retain(|change| usize::from(change.position) < known);
        self.faults.unknown_values(number, all - self.record.changes.len());
        self.faults.place(number, place, self.record.status);
        self.faults.time(number, self.last, self.record.local);
        self.last = self.record.local.or(self.last);
        Some(&self.record)
    }

    /// What was noticed in the header, and in the records so far: all of it after the last record.
    pub fn notices(&self) -> Vec<Notice> {
        let mut notices = self.header_notices.clone();
        notices.extend(self.faults.notices(&self.file));
        notices
    }
}
