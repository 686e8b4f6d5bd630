//! Damaged files: thousands of them through every reader and everything that takes what a reader gives.

use evenstand_bundle::{Bundle, Limits};

use crate::samples::{GEOPACKAGE, Shapefile, WGS_84, geopackage, zipped};
use crate::{Options, PlaceError, Reading, StripFile, StripMap};
use crate::{read_geojson, read_geopackage_bytes, read_shapefile};

const GEOJSON: &str = r#"{"type":"FeatureCollection","crs":{"type":"name","properties":{"name":"EPSG:4326"}},"features":[
{"type":"Feature","properties":{"strip_id":"a","season":2025,"block":1},"geometry":{"type":"Polygon","coordinates":
[[[-93.0,42.0],[-92.9,42.0],[-92.9,42.1],[-93.0,42.1],[-93.0,42.0]],[[-92.98,42.02],[-92.92,42.02],[-92.92,42.08],[-92.98,42.02]]]}},
{"type":"Feature","properties":{"strip_id":"b"},"geometry":{"type":"MultiPolygon","coordinates":
[[[[-92.9,42.0],[-92.8,42.0],[-92.8,42.1],[-92.9,42.1],[-92.9,42.0]]],[[[-92.7,42.0],[-92.6,42.0],[-92.65,42.1],[-92.7,42.0]]]]}}]}"#;

/// Numbers without pattern, always the same (Park & Miller 1988).
struct Numbers(u64);

impl Numbers {
    fn below(&mut self, limit: usize) -> usize {
        self.0 = self.0 * 48_271 % 2_147_483_647;
        (self.0 as usize) % limit.max(1)
    }

    /// Changes, cuts, doubles or inserts a few bytes.
    fn damage(&mut self, bytes: &[u8]) -> Vec<u8> {
        let mut bytes = bytes.to_vec();
        for _ in 0..=self.below(4) {
            let (place, length) = (self.below(bytes.len()), 1 + self.below(8));
            let end = (place + length).min(bytes.len());
            match self.below(6) {
                0 => bytes.truncate(place),
                1 => drop(bytes.drain(place..end)),
                2 => bytes.splice(place..place, bytes[place..end].to_vec()).for_each(drop),
                3 => bytes[place..end].fill([0, 0x7F, 0x80, 0xFF][self.below(4)]),
                4 => bytes[place..end].iter_mut().for_each(|byte| *byte ^= 1 << (place % 8)),
                _ => bytes[place..end].iter_mut().for_each(|byte| *byte = b"0123456789-.,[]{}\"e"[place % 19]),
            }
            if bytes.is_empty() {
                break;
            }
        }
        bytes
    }
}

/// Uses what was read as a caller would. Every feature is there once, in order.
fn used(read: Result<StripFile, PlaceError>) -> bool {
    let file = match read {
        Ok(file) => file,
        Err(error) => {
            assert!(error.to_string().len() > 20, "{error}");
            return false;
        }
    };
    let mut features: Vec<usize> = file.strips.iter().map(|strip| strip.feature).collect();
    features.extend(file.refused.iter().map(|refused| refused.feature));
    features.sort_unstable();
    assert!(features.iter().copied().eq(1..=features.len()), "{features:?}");
    let corners: Vec<_> =
        file.strips.iter().flat_map(|s| &s.shape).flat_map(|p| p.exterior().0.clone()).take(50).collect();
    let map = StripMap::new(file.strips, Options::default()).unwrap();
    for corner in corners {
        let found = map.find(corner.x, corner.y, None, None);
        assert_ne!(found, crate::Place::Outside, "a corner belongs to its strip");
        assert_eq!(map.cursor().find(corner.x, corner.y, None, None), found);
    }
    assert!(map.describe().iter().all(|extent| extent.area_m2.is_finite() && extent.length_m >= extent.width_m));
    assert!(map.overlaps().iter().all(|overlap| overlap.area_m2.is_finite()));
    true
}

/// The most memory that this program has held, in MiB, where the system tells.
fn peak_mib() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    line.split_whitespace().nth(1)?.parse::<u64>().ok().map(|kib| kib / 1024)
}

#[test]
fn four_thousand_damaged_files_are_read_or_refused_without_a_panic_and_in_little_memory() {
    let mut numbers = Numbers(20_250_501);
    let reading = Reading::default();
    let (made, database) = (Shapefile::with_hole(), geopackage(GEOPACKAGE));
    let shapefile = |shp: &[u8], dbf: &[u8], prj: &[u8]| {
        let zip = zipped(&[("a.shp", shp), ("a.dbf", dbf), ("a.prj", prj), ("a.cpg", b"UTF-8")]);
        used(read_shapefile(&mut Bundle::of_bytes(zip, Limits::default()).unwrap(), &reading))
    };
    let mut read = [0; 6];
    for _ in 0..800 {
        read[0] += usize::from(used(read_geojson(&numbers.damage(GEOJSON.as_bytes()), &reading)));
        read[1] += usize::from(shapefile(&numbers.damage(&made.shp), &made.dbf, WGS_84.as_bytes()));
        read[2] += usize::from(shapefile(&made.shp, &numbers.damage(&made.dbf), WGS_84.as_bytes()));
        read[3] += usize::from(shapefile(&made.shp, &made.dbf, &numbers.damage(WGS_84.as_bytes())));
        read[4] += usize::from(used(read_geopackage_bytes(numbers.damage(&database), &reading)));
        let zip = numbers.damage(&zipped(&[("a.shp", &made.shp), ("a.dbf", &made.dbf)]));
        if let Ok(mut bundle) = Bundle::of_bytes(zip, Limits::default()) {
            read[5] += usize::from(used(read_shapefile(&mut bundle, &reading)));
        }
    }
    // Some of each kind still hold something, so the damage reaches past the first check.
    assert!(read.iter().all(|read| *read > 20), "{read:?}");
    assert!(peak_mib().is_none_or(|peak| peak < 600), "{:?} MiB", peak_mib());
}
