//! Task data of ISO 11783-10: what terminals write of machines, fields and work, and the time logs beside it.
//!
//! [`TaskData::open`] reads the set from a folder or archive. [`TaskData::survey`] lists every channel of every log with all
//! that tells a person what it is: machine part, names, units, and what values it had. [`TaskData::read_log`] streams a log's
//! records, and [`Carried`] holds values between their changes. The dictionary has no entry for a closing system, so which
//! channel is the closing force or pressure is a person's word; [`Channel::hint`] says what speaks against a guess.
//!
//! ```no_run
//! use evenstand_bundle::{Bundle, Limits};
//! use evenstand_taskdata::{Carried, DEFAULT_GAP, TaskData};
//!
//! let mut bundle = Bundle::of_zip("TASKDATA.zip".as_ref(), Limits::default())?;
//! let data = TaskData::open(&mut bundle)?;
//! for channel in data.survey(&mut bundle)?.channels {
//!     println!("{} | {} | {:?}", channel.path(), channel.designator.as_deref().unwrap_or("?"), channel.seen.mean());
//! }
//! let mut log = data.read_log(&mut bundle, 0)?;
//! let mut values = Carried::new(log.channels(), DEFAULT_GAP);
//! while let Some(record) = log.next_record() {
//!     values.update(record);
//!     println!("{:?} {:?}", record.local, values.shown(0));
//! }
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! Facts of the format marked (seen) come from readers and files that are open; those marked (memory) were not checked against
//! the standard. What is odd and did not stop the reading is a [`Notice`]; what did is a [`TaskDataError`].

#![cfg_attr(test, allow(clippy::unwrap_used))]

mod carried;
mod channel;
mod device;
pub mod dictionary;
mod error;
mod fault;
mod field;
mod files;
mod header;
mod log;
mod node;
mod notice;
mod open;
mod record;
mod survey;
mod task;
#[cfg(test)]
mod tests;
mod text;
mod unit;
mod xml;

pub use carried::{Carried, DEFAULT_GAP};
pub use channel::{Channel, Seen};
pub use device::{Device, DeviceData, Element, ElementKind, Presentation};
pub use error::TaskDataError;
pub use field::{Farm, Field, Ring};
pub use log::LogReader;
pub use notice::Notice;
pub use open::{LogPlace, TaskData};
pub use record::{Change, Record};
pub use survey::{Bounds, LogExtent, Survey};
pub use task::{Log, Moment, Status, Task, TaskTime};
