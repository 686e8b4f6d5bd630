//! Values between their changes.

use std::time::Duration;

use jiff::civil::DateTime;

use crate::channel::Channel;
use crate::record::Record;

/// Longest time without a record over which a value is held, unless another is asked for.
pub const DEFAULT_GAP: Duration = Duration::from_secs(60);

/// Current values of chosen channels of one log.
///
/// A log has a value when it changes. So a value holds from the record that has it until the next change, however long that
/// takes while records go on. It is missing before the first change: nothing is known then, and zero would be a claim. It is
/// missing again after more than the gap without any record, or when the clock runs back by more than the gap: the machine
/// was off, and nobody knows what it did. A fixed value of the header holds throughout, until a record says otherwise.
#[derive(Debug, Clone)]
pub struct Carried {
    channels: Vec<Channel>,
    /// Current raw value by position in the log.
    raw: Vec<Option<i32>>,
    gap: Duration,
    last: Option<DateTime>,
}

impl Carried {
    /// Follows these channels, which are of one log. A gap in the records longer than `gap` ends all values that are not
    /// fixed; see [`DEFAULT_GAP`].
    pub fn new(channels: &[Channel], gap: Duration) -> Self {
        Self { channels: channels.to_vec(), raw: constants(channels), gap, last: None }
    }

    /// Takes the next record. One whose time cannot be read ends nothing.
    pub fn update(&mut self, record: &Record) {
        if let Some(now) = record.local {
            let gap = self.last.map(|last| now.duration_since(last).unsigned_abs());
            if gap.is_some_and(|gap| gap > self.gap) {
                self.raw = constants(&self.channels);
            }
            self.last = Some(now);
        }
        for change in &record.changes {
            if let Some(value) = self.raw.get_mut(usize::from(change.position)) {
                *value = Some(change.raw);
            }
        }
    }

    /// Raw value of the channel at this place in the list that was given; none where it is missing.
    pub fn raw(&self, place: usize) -> Option<i32> {
        let position = self.channels.get(place)?.position;
        self.raw.get(usize::from(position)).copied().flatten()
    }

    /// The value as the machine shows it, in the channel's unit; none where it is missing.
    pub fn shown(&self, place: usize) -> Option<f64> {
        Some(self.channels.get(place)?.value(self.raw(place)?))
    }

    /// The value in the unit of [`Channel::quantity`]; none where it is missing, or the dictionary has no unit for it.
    pub fn quantity(&self, place: usize) -> Option<f64> {
        let (scale, _) = self.channels.get(place)?.quantity()?;
        Some(f64::from(self.raw(place)?) * scale)
    }
}

fn constants(channels: &[Channel]) -> Vec<Option<i32>> {
    let mut raw = vec![None; usize::from(u8::MAX) + 1];
    for channel in channels {
        if let Some(value) = raw.get_mut(usize::from(channel.position)) {
            *value = channel.constant;
        }
    }
    raw
}
