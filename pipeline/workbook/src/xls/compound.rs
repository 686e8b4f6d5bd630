//! Compound files: the streams in an XLS ([MS-CFB]).

use super::records::{at_u16, at_u32};
use crate::WorkbookError;

const END_OF_CHAIN: u32 = 0xFFFF_FFFE;
/// Numbers from here on are no sectors.
const RESERVED: u32 = 0xFFFF_FFFA;
const SMALL_SECTOR: usize = 64;
const DIRECTORY_ENTRY: usize = 128;

pub(crate) struct Compound {
    bytes: Vec<u8>,
    sector: usize,
    next: Vec<u32>,
    small_next: Vec<u32>,
    small: Vec<u8>,
    entries: Vec<Entry>,
    /// Streams shorter than this are in small sectors.
    cutoff: u64,
}

struct Entry {
    name: String,
    start: u32,
    length: u64,
}

impl Compound {
    /// Reads the tables of sectors and the directory. Errors where they are broken.
    pub fn open(bytes: Vec<u8>) -> Result<Self, WorkbookError> {
        let header = |place| at_u32(&bytes, place).ok_or_else(|| damaged("its head is cut short"));
        let sector = match at_u16(&bytes, 30) {
            Some(9) => 512,
            Some(12) => 4096,
            _ => return Err(damaged("its head is broken")),
        };
        let (directory, cutoff, small_table) = (header(48)?, header(56)?, header(60)?);
        // Sectors that say what follows each sector: 109 in the head, more in a chain of their own.
        let mut tables: Vec<u32> = (0..109).map_while(|place| at_u32(&bytes, 76 + 4 * place)).collect();
        let sectors = bytes.len() / sector;
        let mut more = header(68)?;
        for _ in 0..sectors {
            let Some(part) = sector_at(&bytes, sector, more).filter(|_| more < RESERVED) else { break };
            let mut listed = numbers(part);
            more = listed.pop().unwrap_or(END_OF_CHAIN);
            tables.extend(listed);
            if tables.len() > sectors {
                break;
            }
        }
        let mut compound = Self {
            sector,
            next: Vec::new(),
            small_next: Vec::new(),
            small: Vec::new(),
            entries: Vec::new(),
            cutoff: u64::from(cutoff),
            bytes,
        };
        // A sound file has no more tables than sectors; a broken one may name the same table over and over.
        for table in tables.into_iter().filter(|table| *table < RESERVED).take(sectors / (sector / 4) + 2) {
            let part = sector_at(&compound.bytes, sector, table).ok_or_else(|| damaged("it is cut short"))?;
            compound.next.extend(numbers(part));
        }
        let directory = compound.chain(directory, u64::MAX)?;
        compound.entries = directory.chunks_exact(DIRECTORY_ENTRY).filter_map(Entry::read).collect();
        compound.small_next = numbers(&compound.chain(small_table, u64::MAX).unwrap_or_default());
        let root =
            directory.get(..DIRECTORY_ENTRY).and_then(Entry::read).ok_or_else(|| damaged("it has no directory"))?;
        compound.small = compound.chain(root.start, root.length).unwrap_or_default();
        Ok(compound)
    }

    /// Names of the streams and folders.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.entries.iter().map(|entry| entry.name.as_str())
    }

    /// A stream by name, whatever its case; `None` where there is none.
    pub fn stream(&self, name: &str) -> Option<Result<Vec<u8>, WorkbookError>> {
        let entry = self.entries.iter().find(|entry| entry.name.eq_ignore_ascii_case(name))?;
        if entry.length >= self.cutoff {
            return Some(self.chain(entry.start, entry.length));
        }
        let mut bytes = Vec::new();
        let mut at = entry.start;
        for _ in 0..=self.small.len() / SMALL_SECTOR {
            let start = usize::try_from(at).unwrap_or(usize::MAX).saturating_mul(SMALL_SECTOR);
            let Some(part) = self.small.get(start..start.saturating_add(SMALL_SECTOR)) else { break };
            bytes.extend_from_slice(part);
            at = self.small_next.get(at as usize).copied().unwrap_or(END_OF_CHAIN);
        }
        Some(cut(bytes, entry.length))
    }

    /// Sectors that follow one another from `start`, up to `length` bytes. Errors where they end sooner.
    fn chain(&self, start: u32, length: u64) -> Result<Vec<u8>, WorkbookError> {
        let mut bytes = Vec::new();
        let mut at = start;
        // A chain can be no longer than the file, so one that bites its tail ends here.
        for _ in 0..=self.bytes.len() / self.sector {
            if at >= RESERVED || bytes.len() as u64 >= length {
                break;
            }
            let part = sector_at(&self.bytes, self.sector, at).ok_or_else(|| damaged("it is cut short"))?;
            bytes.extend_from_slice(part);
            at = self.next.get(at as usize).copied().unwrap_or(END_OF_CHAIN);
        }
        if length == u64::MAX { Ok(bytes) } else { cut(bytes, length) }
    }
}

impl Entry {
    fn read(bytes: &[u8]) -> Option<Self> {
        let units: Vec<u16> =
            (0..32).map_while(|place| at_u16(bytes, 2 * place)).take_while(|unit| *unit != 0).collect();
        // The upper half of the length is not set by all writers; no stream here is longer than 4 GB.
        let (start, length) = at_u32(bytes, 116).zip(at_u32(bytes, 120))?;
        Some(Self { name: String::from_utf16_lossy(&units), start, length: u64::from(length) })
    }
}

/// A sector; the last one of a file may be shorter than the others.
fn sector_at(bytes: &[u8], sector: usize, number: u32) -> Option<&[u8]> {
    let start = usize::try_from(number).ok()?.checked_add(1)?.checked_mul(sector)?;
    let part = bytes.get(start..bytes.len().min(start.saturating_add(sector)))?;
    (!part.is_empty()).then_some(part)
}

fn numbers(bytes: &[u8]) -> Vec<u32> {
    bytes.as_chunks::<4>().0.iter().map(|four| u32::from_le_bytes(*four)).collect()
}

fn cut(mut bytes: Vec<u8>, length: u64) -> Result<Vec<u8>, WorkbookError> {
    if (bytes.len() as u64) < length {
        return Err(damaged("it is cut short"));
    }
    bytes.truncate(usize::try_from(length).unwrap_or(usize::MAX));
    Ok(bytes)
}

fn damaged(problem: &str) -> WorkbookError {
    WorkbookError::damaged("compound file", problem)
}
