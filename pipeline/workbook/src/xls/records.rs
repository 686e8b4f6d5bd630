//! Records of an XLS stream.

use crate::WorkbookError;

/// A record that goes on where another was full.
const CONTINUE: u16 = 0x003C;

/// A record with the parts that it goes on in.
pub(crate) struct Record<'a> {
    pub kind: u16,
    pub data: &'a [u8],
    pub more: Vec<&'a [u8]>,
}

/// The records of a stream, one after the other. Gives an error, once, where one is cut short.
pub(crate) struct Records<'a> {
    rest: &'a [u8],
    part: &'static str,
}

impl<'a> Records<'a> {
    pub fn of(stream: &'a [u8], part: &'static str) -> Self {
        Self { rest: stream, part }
    }

    fn take(&mut self) -> Option<(u16, &'a [u8])> {
        let (kind, length) = at_u16(self.rest, 0).zip(at_u16(self.rest, 2))?;
        let end = 4 + usize::from(length);
        let data = self.rest.get(4..end)?;
        self.rest = self.rest.get(end..)?;
        Some((kind, data))
    }
}

impl<'a> Iterator for Records<'a> {
    type Item = Result<Record<'a>, WorkbookError>;

    fn next(&mut self) -> Option<Self::Item> {
        // A stream may be filled up with zeros behind its last record.
        if self.rest.iter().take(4).all(|byte| *byte == 0) {
            return None;
        }
        let Some((kind, data)) = self.take() else {
            self.rest = &[];
            return Some(Err(WorkbookError::damaged(self.part, "it ends before its end")));
        };
        let mut more = Vec::new();
        while at_u16(self.rest, 0) == Some(CONTINUE) {
            match self.take() {
                Some((_, data)) => more.push(data),
                None => break,
            }
        }
        Some(Ok(Record { kind, data, more }))
    }
}

pub(crate) fn at_u16(bytes: &[u8], place: usize) -> Option<u16> {
    bytes.get(place..)?.first_chunk().map(|two| u16::from_le_bytes(*two))
}

pub(crate) fn at_u32(bytes: &[u8], place: usize) -> Option<u32> {
    bytes.get(place..)?.first_chunk().map(|four| u32::from_le_bytes(*four))
}

pub(crate) fn at_f64(bytes: &[u8], place: usize) -> Option<f64> {
    bytes.get(place..)?.first_chunk().map(|eight| f64::from_le_bytes(*eight))
}
