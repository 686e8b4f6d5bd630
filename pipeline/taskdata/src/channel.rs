//! A channel of a log: one value of one machine part.

use std::sync::Arc;

use jiff::civil::DateTime;

use crate::device::{ElementKind, Presentation};
use crate::header::HeaderChannel;
use crate::{TaskData, dictionary};

/// One channel of a time log, with all that tells a person what it is. Two logs may give the same position to different
/// channels, and a planter with many rows needs several logs: the machine part and the dictionary number say what is the same.
#[derive(Debug, Clone, PartialEq)]
pub struct Channel {
    /// Position of its log in [`TaskData::logs`].
    pub log: usize,
    /// Its position in the log, by which records name it.
    pub position: u8,
    /// Id of the machine part, such as `DET-86`; empty where the header names none.
    pub element_id: Arc<str>,
    /// Name of the machine part, such as "Row 7".
    pub element: Option<Arc<str>>,
    /// Kind of the machine part; none where its id is not in the data.
    pub element_kind: Option<ElementKind>,
    /// Names of the parts that the part belongs to, outermost first.
    pub parents: Arc<[Arc<str>]>,
    /// Id of the machine.
    pub device_id: Option<Arc<str>>,
    /// Name of the machine.
    pub device: Option<Arc<str>>,
    /// Number in the data dictionary; none where the header's is unreadable.
    pub ddi: Option<u16>,
    /// Name that the machine gives the channel.
    pub designator: Option<Arc<str>>,
    /// How the machine shows it.
    pub presentation: Option<Arc<Presentation>>,
    /// Its raw value throughout, where the header gives one.
    pub constant: Option<i32>,
    /// The message on the bus it is taken from, where it is: number (PGN), first and last bit.
    pub message: Option<(u32, u8, u8)>,
    /// What the records hold of it. Empty until the log was surveyed.
    pub seen: Seen,
}

/// Raw values of a channel over all records of its log.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Seen {
    /// How many were logged. A value is logged when it changes, not in every record.
    pub count: u64,
    /// The first.
    pub first: Option<i32>,
    /// The last.
    pub last: Option<i32>,
    /// The smallest.
    pub minimum: Option<i32>,
    /// The largest.
    pub maximum: Option<i32>,
    sum: i64,
    /// Number that stands for all values and their times; see [`Seen::add`].
    pub(crate) series: u64,
}

impl Seen {
    /// Mean of the logged values, each once however long it held; none where none was logged.
    pub fn mean(&self) -> Option<f64> {
        (self.count > 0).then(|| self.sum as f64 / self.count as f64)
    }

    /// Takes the next value, and its time where it has one.
    pub(crate) fn add(&mut self, local: Option<DateTime>, raw: i32) {
        let moment = local.map_or(0, |local| {
            let time = local.time();
            let seconds = i64::from(time.hour()) * 3600 + i64::from(time.minute()) * 60 + i64::from(time.second());
            i64::from(local.day()) << 48 | seconds << 16 | i64::from(time.millisecond())
        });
        // Multiply and mix, after the FNV-1a hash: equal series give equal numbers, and others hardly ever.
        for word in [moment.cast_unsigned(), u64::from(raw.cast_unsigned())] {
            self.series = (self.series ^ word).wrapping_mul(0x0000_0100_0000_01B3).rotate_left(29);
        }

        self.count = self.count.saturating_add(1);
        self.first = self.first.or(Some(raw));
        self.last = Some(raw);
        self.minimum = Some(self.minimum.map_or(raw, |least| least.min(raw)));
        self.maximum = Some(self.maximum.map_or(raw, |most| most.max(raw)));
        self.sum = self.sum.saturating_add(i64::from(raw));
    }
}

impl Channel {
    pub(crate) fn new(data: &TaskData, log: usize, position: u8, header: &HeaderChannel) -> Self {
        let found = data.element(&header.element);
        let (device, element) = (found.map(|found| found.0), found.map(|found| found.1));
        let entry = found.zip(header.ddi).and_then(|((device, element), ddi)| device.data_of(element, ddi));
        Self {
            log,
            position,
            element_id: element.map_or_else(|| header.element.as_str().into(), |element| element.id.clone()),
            element: element.and_then(|element| element.designator.clone()),
            element_kind: element.map(|element| element.kind),
            parents: element.map_or_else(|| Arc::from([]), |element| element.parents.clone()),
            device_id: device.map(|device| device.id.clone()),
            device: device.and_then(|device| device.designator.clone()),
            ddi: header.ddi,
            designator: entry.and_then(|entry| entry.designator.clone()),
            presentation: entry.and_then(|entry| entry.presentation.clone()),
            constant: header.constant,
            message: header.message,
            seen: Seen::default(),
        }
    }

    /// What the machine shows for a raw value, in [`Channel::unit`]: (raw + offset) × scale; the raw value itself where the
    /// machine gives no presentation.
    pub fn value(&self, raw: i32) -> f64 {
        self.shown(f64::from(raw))
    }

    /// The same for a raw number that need not be whole, such as a mean.
    pub fn shown(&self, raw: f64) -> f64 {
        self.presentation.as_ref().map_or(raw, |presentation| presentation.shown(raw))
    }

    /// Unit of [`Channel::value`] as the machine writes it.
    pub fn unit(&self) -> Option<&str> {
        self.presentation.as_ref()?.unit.as_deref()
    }

    /// Factor from the raw value to a unit of the International System, and that unit, by the dictionary alone, whatever the
    /// machine shows. None where the entry is not known here or has no unit.
    pub fn quantity(&self) -> Option<(f64, &'static str)> {
        dictionary::entry(self.ddi?)?.quantity()
    }

    /// Name in the dictionary, where the entry is known here.
    pub fn name(&self) -> Option<&'static str> {
        Some(dictionary::entry(self.ddi?)?.name)
    }

    /// The part and those it belongs to, outermost first, as in "Planter > Row 7".
    pub fn path(&self) -> String {
        let own = self.element.as_ref().unwrap_or(&self.element_id);
        self.parents.iter().chain([own]).map(|name| &**name).collect::<Vec<_>>().join(" > ")
    }

    /// Whether both channels have the same values at the same times, ten of them at least. Rows that do so may share one
    /// sensor and are then one reading, not two. Read off a check sum: that others look the same is very unlikely.
    pub fn same_series(&self, other: &Self) -> bool {
        self.seen.count >= 10 && self.seen == other.seen
    }

    /// Whether both are the same value of the same machine part in one set of task data, in whichever logs and positions.
    pub fn same_source(&self, other: &Self) -> bool {
        !self.element_id.is_empty() && (&self.element_id, self.ddi) == (&other.element_id, other.ddi)
    }

    /// What a person must know before taking this channel for the closing system's force or pressure. The dictionary has no
    /// entry for a closing system, so no channel is one by its number.
    pub fn hint(&self) -> Option<&'static str> {
        match self.ddi? {
            ddi if dictionary::DOWNFORCE.contains(&ddi) => Some(
                "downforce of the row unit or gauge wheel by the dictionary: not the closing force unless you know it is",
            ),
            dictionary::PROPRIETARY_FIRST..=dictionary::PROPRIETARY_LAST => {
                Some("a number that makers use as they like: only the machine's own name and unit say what it is")
            }
            dictionary::OTHER_MESSAGE => {
                Some("bits of another message on the bus: the dictionary does not say what it is")
            }
            _ => None,
        }
    }
}
