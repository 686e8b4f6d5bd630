//! Shapes in `.shp` files (Shapefile Technical Description, July 1998).
//!
//! Read here and not by a library, because the first shape that a library cannot read would end the file. Lengths that
//! the file states are never used to set memory aside: points are taken while there are bytes.

use crate::PlaceError;
use crate::ring::Ring;
use crate::strip::MOST_FEATURES;

const FORMAT: &str = "a .shp file";
const HEADER: usize = 100;
const FILE_CODE: i32 = 9994;

/// Rings of one shape, or why it has none.
pub(crate) type Shape = Result<Vec<Ring>, String>;

/// The shapes in the order of the file. Where the file ends within a shape, that shape is the last one, and is refused.
pub(crate) fn read_shapes(bytes: &[u8]) -> Result<Vec<Shape>, PlaceError> {
    let header =
        bytes.get(..HEADER).ok_or_else(|| PlaceError::damaged(FORMAT, "it ends within its header; export it again"))?;
    if i32_at(header, 0, i32::from_be_bytes) != Some(FILE_CODE) {
        return Err(PlaceError::damaged(FORMAT, "its first bytes are not those of a .shp file; export it again"));
    }
    let mut shapes = Vec::new();
    let mut place = HEADER;
    while place < bytes.len() {
        if shapes.len() >= MOST_FEATURES {
            return Err(PlaceError::TooMany { what: "shapes", limit: MOST_FEATURES });
        }
        // Record number and content length in words of two bytes; the numbers only count up.
        let words = i32_at(bytes, place.saturating_add(4), i32::from_be_bytes);
        let length = words.and_then(|words| usize::try_from(words).ok()).and_then(|words| words.checked_mul(2));
        let content = length.and_then(|length| bytes.get(place + 8..)?.get(..length));
        let Some(content) = content else {
            shapes.push(Err("the .shp ends within this shape: copy or export the files again".into()));
            break;
        };
        shapes.push(rings_of(content));
        place += 8 + content.len();
    }
    Ok(shapes)
}

fn rings_of(content: &[u8]) -> Shape {
    let damaged = || "its shape is damaged: copy or export the files again".to_owned();
    let kind = i32_at(content, 0, i32::from_le_bytes).ok_or_else(damaged)?;
    match kind {
        // Polygon, and with heights or measures, which follow the points and are not needed.
        5 | 15 | 25 => {}
        0 => return Err("it has no shape; draw the strip".into()),
        1 | 11 | 21 | 8 | 18 | 28 => {
            return Err("it is a point, but a strip is an area: draw its outline as a polygon".into());
        }
        3 | 13 | 23 => return Err("it is a line, but a strip is an area: draw its outline as a polygon".into()),
        other => return Err(format!("its shape is of kind {other}, but a strip is a polygon (kind 5, 15 or 25)")),
    }
    let count_at = |place: usize| {
        i32_at(content, place, i32::from_le_bytes).and_then(|count| usize::try_from(count).ok()).ok_or_else(damaged)
    };
    let (parts, points) = (count_at(36)?, count_at(40)?);
    let starts_bytes = parts.checked_mul(4).and_then(|length| content.get(44..)?.get(..length)).ok_or_else(damaged)?;
    let after = content.get(44 + starts_bytes.len()..).ok_or_else(damaged)?;
    let points_bytes = points.checked_mul(16).and_then(|length| after.get(..length)).ok_or_else(damaged)?;
    let (starts, _) = starts_bytes.as_chunks::<4>();
    let starts: Option<Vec<usize>> =
        starts.iter().map(|start| usize::try_from(i32::from_le_bytes(*start)).ok()).collect();
    let starts = starts.ok_or_else(damaged)?;
    let ends = starts.iter().skip(1).copied().chain([points]);
    let mut rings = Vec::new();
    for (start, end) in starts.iter().copied().zip(ends) {
        let ring = start.checked_mul(16).zip(end.checked_mul(16)).and_then(|(start, end)| points_bytes.get(start..end));
        let (positions, _) = ring.ok_or_else(damaged)?.as_chunks::<8>();
        let (positions, _) = positions.as_chunks::<2>();
        let mut ring: Ring = positions.iter().map(|[x, y]| [f64::from_le_bytes(*x), f64::from_le_bytes(*y)]).collect();
        // The format asks for closed rings, and nesting needs them.
        if let Some(first) = ring.first().copied()
            && ring.last() != Some(&first)
        {
            ring.push(first);
        }
        rings.push(ring);
    }
    Ok(rings)
}

fn i32_at(bytes: &[u8], place: usize, read: fn([u8; 4]) -> i32) -> Option<i32> {
    bytes.get(place..)?.first_chunk().copied().map(read)
}
