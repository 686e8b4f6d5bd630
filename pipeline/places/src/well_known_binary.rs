//! Geometries in GeoPackage (OGC 12-128r18, clause 2.1.3): a header, then well-known binary (ISO 19125-1; OGC 06-103r4,
//! clause 8).

use crate::ring::Ring;

/// A geometry of a feature.
pub(crate) struct Geometry {
    /// Number of its coordinate system in the GeoPackage.
    pub srs_id: i32,
    /// Polygons, each an outline and its holes.
    pub polygons: Vec<Vec<Ring>>,
}

/// Bytes from the front, and nothing past their end.
struct Bytes<'a> {
    left: &'a [u8],
    little: bool,
}

impl Bytes<'_> {
    fn take<const N: usize>(&mut self) -> Result<[u8; N], String> {
        let (taken, left) = self.left.split_first_chunk::<N>().ok_or("its geometry ends too early; export it again")?;
        self.left = left;
        Ok(*taken)
    }

    fn order(&mut self) -> Result<(), String> {
        let [order] = self.take()?;
        self.little = order == 1;
        if order > 1 {
            Err(format!("its geometry has byte order {order}, but expected is 0 or 1; export it again"))
        } else {
            Ok(())
        }
    }

    fn whole(&mut self) -> Result<u32, String> {
        let bytes = self.take()?;
        Ok(if self.little { u32::from_le_bytes(bytes) } else { u32::from_be_bytes(bytes) })
    }

    fn number(&mut self) -> Result<f64, String> {
        let bytes = self.take()?;
        Ok(if self.little { f64::from_le_bytes(bytes) } else { f64::from_be_bytes(bytes) })
    }
}

/// Reads a geometry. Errors with the reason where it is no polygon.
pub(crate) fn read(blob: &[u8]) -> Result<Geometry, String> {
    let mut bytes = Bytes { left: blob, little: true };
    let [g, p, _version, flags] = bytes.take()?;
    if [g, p] != *b"GP" {
        return Err("its geometry does not begin with GP; export it again".into());
    }
    bytes.little = flags & 1 == 1;
    let srs_id = bytes.whole()?.cast_signed();
    if flags & 0b10_0000 != 0 {
        return Err("its geometry is of an extended kind: export it as Polygon or MultiPolygon".into());
    }
    let envelope = match (flags >> 1) & 0b111 {
        0 => 0,
        1 => 4,
        2 | 3 => 6,
        4 => 8,
        other => {
            return Err(format!(
                "its geometry has an envelope of kind {other}, but expected is 0 to 4; export it again"
            ));
        }
    };
    for _ in 0..envelope {
        bytes.number()?;
    }
    let mut polygons = Vec::new();
    bytes.order()?;
    match kind_of(bytes.whole()?) {
        (3, numbers) => polygons.push(polygon(&mut bytes, numbers)?),
        (6, _) => {
            for _ in 0..bytes.whole()? {
                bytes.order()?;
                match kind_of(bytes.whole()?) {
                    (3, numbers) => polygons.push(polygon(&mut bytes, numbers)?),
                    (other, _) => return Err(format!("its MultiPolygon has a part of kind {other}; export it again")),
                }
            }
        }
        (1 | 4, _) => return Err("it is a point, but a strip is an area: draw its outline as a polygon".into()),
        (2 | 5, _) => return Err("it is a line, but a strip is an area: draw its outline as a polygon".into()),
        (other, _) => return Err(format!("its geometry is of kind {other}: export it as Polygon or MultiPolygon")),
    }
    Ok(Geometry { srs_id, polygons })
}

/// The kind without heights and measures, and how many numbers a position has.
fn kind_of(code: u32) -> (u32, u32) {
    let numbers = match code / 1000 {
        0 => 2,
        3 => 4,
        _ => 3,
    };
    if code < 4000 { (code % 1000, numbers) } else { (code, numbers) }
}

fn polygon(bytes: &mut Bytes, numbers: u32) -> Result<Vec<Ring>, String> {
    let mut rings = Vec::new();
    for _ in 0..bytes.whole()? {
        let mut ring = Ring::new();
        for _ in 0..bytes.whole()? {
            ring.push([bytes.number()?, bytes.number()?]);
            for _ in 2..numbers {
                bytes.number()?;
            }
        }
        rings.push(ring);
    }
    Ok(rings)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::samples::{geometry_blob, rectangle};

    #[test]
    fn a_polygon_is_read_in_either_order_of_bytes_behind_any_envelope() {
        for (little, envelope) in [(true, 0), (false, 1), (true, 2), (false, 4)] {
            let geometry = read(&geometry_blob(&[vec![rectangle(0)]], little, envelope)).unwrap();
            assert_eq!((geometry.srs_id, geometry.polygons), (4326, vec![vec![rectangle(0)]]), "{little} {envelope}");
        }
        let two = [vec![rectangle(0)], vec![rectangle(2), rectangle(4)]];
        assert_eq!(read(&geometry_blob(&two, true, 1)).unwrap().polygons, two);
    }

    #[test]
    fn heights_are_passed_over() {
        // Header without envelope, little-endian PolygonZ (1003), one ring of one position 1, 2, 3.
        let mut blob = b"GP\0\x01\xE6\x10\0\0\x01\xEB\x03\0\0\x01\0\0\0\x01\0\0\0".to_vec();
        [1.0_f64, 2.0, 3.0].iter().for_each(|number| blob.extend(number.to_le_bytes()));
        assert_eq!(read(&blob).unwrap().polygons, [[[[1.0, 2.0]]]]);
    }

    #[test]
    fn what_is_cut_short_or_states_too_much_is_refused() {
        let blob = geometry_blob(&[vec![rectangle(0)]], true, 1);
        for length in 0..blob.len() {
            assert!(read(&blob[..length]).is_err(), "{length}");
        }
        let mut blob = geometry_blob(&[vec![rectangle(0)]], true, 0);
        blob[17..21].copy_from_slice(&u32::MAX.to_le_bytes());
        assert!(read(&blob).err().unwrap().contains("too early"));
        blob[9] = 1;
        assert!(read(&blob).err().unwrap().contains("point"));
    }
}
