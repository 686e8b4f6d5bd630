//! What is in the logs: all that a person must see to say which channel is which.

use std::collections::BTreeMap;

use evenstand_bundle::Bundle;
use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::Offset;

use crate::channel::Channel;
use crate::notice::{Notice, Notices};
use crate::{TaskData, TaskDataError};

/// Channels and extent of logs.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Survey {
    /// Each log that could be read.
    pub logs: Vec<LogExtent>,
    /// Channels of all these logs, log by log in the order of positions.
    pub channels: Vec<Channel>,
    /// What was noticed in the logs, those that could not be read among it.
    pub notices: Vec<Notice>,
}

/// How much a log holds, when and where.
#[derive(Debug, Clone, PartialEq)]
pub struct LogExtent {
    /// Position in [`TaskData::logs`].
    pub log: usize,
    /// Whole records.
    pub records: u64,
    /// Earliest time by the machine's clock.
    pub earliest: Option<DateTime>,
    /// Latest time by the machine's clock.
    pub latest: Option<DateTime>,
    /// Records with a usable position.
    pub located: u64,
    /// Extent of these positions.
    pub bounds: Option<Bounds>,
    /// Least and greatest seconds by which the machine's clock was ahead of universal time, where that is logged. Far from
    /// whole quarters of an hour, or far from each other, the clock was wrong.
    pub ahead_of_utc: Option<(i64, i64)>,
}

/// Extent in degrees. A log across the 180th meridian has the whole globe as its extent.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounds {
    /// Least latitude.
    pub south: f64,
    /// Greatest latitude.
    pub north: f64,
    /// Least longitude.
    pub west: f64,
    /// Greatest longitude.
    pub east: f64,
}

/// Parts with equal values that are named one by one.
const EQUAL_SHOWN: usize = 8;

/// Channels of all logs together that [`TaskData::survey`] gives: two thousand full logs.
const CHANNELS: usize = 500_000;

impl TaskData {
    /// Reads all logs once, for their channels and extents. A log that cannot be read is a notice and does not hide the others.
    ///
    /// Errors where there are more than 500,000 channels: then ask log by log with [`TaskData::survey_log`].
    pub fn survey(&self, bundle: &mut Bundle) -> Result<Survey, TaskDataError> {
        let (mut survey, mut notices) = (Survey::default(), Notices::default());
        for (position, log) in self.logs.iter().enumerate() {
            match self.survey_log(bundle, position) {
                Ok((extent, channels, found)) => {
                    survey.logs.push(extent);
                    survey.channels.extend(channels);
                    found.into_iter().for_each(|notice| notices.push(notice));
                }
                Err(error) => {
                    let remedy = "copy the log from the terminal again; the other logs are read";
                    notices.add("log_unreadable", log.name.as_str(), error.to_string(), remedy);
                }
            }
            if survey.channels.len() > CHANNELS {
                let what = "channels in all logs together";
                return Err(TaskDataError::TooMuch { file: self.file.clone(), what, limit: CHANNELS });
            }
        }
        self.note_equal_series(&survey.channels, &mut notices);
        survey.notices = notices.into_list();
        Ok(survey)
    }

    /// Reads one log once: how much it holds, its channels with what was seen of each, and what was noticed.
    ///
    /// Errors as [`TaskData::read_log`].
    pub fn survey_log(
        &self,
        bundle: &mut Bundle,
        log: usize,
    ) -> Result<(LogExtent, Vec<Channel>, Vec<Notice>), TaskDataError> {
        let mut reader = self.read_log(bundle, log)?;
        let mut channels = reader.channels().to_vec();
        let mut extent =
            LogExtent { log, records: 0, earliest: None, latest: None, located: 0, bounds: None, ahead_of_utc: None };
        while let Some(record) = reader.next_record() {
            extent.records += 1;
            for change in &record.changes {
                if let Some(channel) = channels.get_mut(usize::from(change.position)) {
                    channel.seen.add(record.local, change.raw);
                }
            }
            if let Some(local) = record.local {
                extent.earliest = Some(extent.earliest.map_or(local, |earliest| earliest.min(local)));
                extent.latest = Some(extent.latest.map_or(local, |latest| latest.max(local)));
            }
            if let Some(ahead) = record.local.zip(record.utc).and_then(|(local, utc)| ahead_of_utc(local, utc)) {
                extent.ahead_of_utc = Some(
                    extent.ahead_of_utc.map_or((ahead, ahead), |(least, most)| (least.min(ahead), most.max(ahead))),
                );
            }
            if let Some((latitude, longitude)) = record.latitude.zip(record.longitude) {
                extent.located += 1;
                let bounds = extent.bounds.get_or_insert(Bounds {
                    south: latitude,
                    north: latitude,
                    west: longitude,
                    east: longitude,
                });
                bounds.south = bounds.south.min(latitude);
                bounds.north = bounds.north.max(latitude);
                bounds.west = bounds.west.min(longitude);
                bounds.east = bounds.east.max(longitude);
            }
        }
        Ok((extent, channels, reader.notices()))
    }

    /// Says which channels of one number have the same values at the same times.
    fn note_equal_series(&self, channels: &[Channel], notices: &mut Notices) {
        let mut groups: BTreeMap<(Option<u16>, u64), Vec<&Channel>> = BTreeMap::new();
        for channel in channels.iter().filter(|channel| channel.same_series(channel)) {
            groups.entry((channel.ddi, channel.seen.series)).or_default().push(channel);
        }
        let mut groups: Vec<Vec<&Channel>> = groups.into_values().filter(|group| group.len() > 1).collect();
        groups.sort_by_key(|group| group.first().map(|first| (first.log, first.position)));
        for group in groups {
            let Some(first) = group.first() else { continue };
            let log = self.logs.get(first.log).map_or("", |log| log.name.as_str());
            let name = first.designator.as_deref().or(first.name()).unwrap_or("a value without a name");
            let mut parts: Vec<String> = group.iter().take(EQUAL_SHOWN).map(|channel| channel.path()).collect();
            if group.len() > EQUAL_SHOWN {
                parts.push(format!("and {} more", group.len() - EQUAL_SHOWN));
            }
            let message = format!("\"{name}\" has the same values at the same times in: {}", parts.join("; "));
            let remedy = "take them as one reading unless you know that each part has its own sensor";
            notices.add("equal_series", format!("{log}, channel {}", first.position), message, remedy);
        }
    }
}

/// Whole seconds by which a civil time is ahead of universal time.
fn ahead_of_utc(local: DateTime, utc: Timestamp) -> Option<i64> {
    let as_if_utc = Offset::UTC.to_timestamp(local).ok()?;
    Some(as_if_utc.duration_since(utc).as_millis().div_euclid(1000) as i64)
}
