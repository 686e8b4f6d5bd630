//! How large strips are, and where they overlap.

use geo::{Area, BooleanOps, BoundingRect, ConvexHull, Coord, Euclidean, Length, LinesIter, MapCoords, MultiPolygon};

use crate::crossings::{Edge, crossings};
use crate::frame::Frame;
use crate::map::StripMap;
use crate::strip::Strip;

/// Directions that are tried for the rectangle around a round shape; with fewer edges it is exact.
const MOST_DIRECTIONS: usize = 360;
/// Pairs of neighbours that are looked at: a trial of thousands of strips has fewer.
const MOST_PAIRS: usize = 100_000;
/// Boxes of neighbours that are looked at.
const MOST_LOOKS: usize = 20_000_000;
/// Pairs of edges that are compared for all of them.
const MOST_EDGE_PAIRS: usize = 200_000_000;
/// Crossings of two borders: two outlines driven along each other cross where the receiver errs.
const MOST_CROSSINGS: usize = 10_000;

/// The size of one feature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Extent<'a> {
    /// The feature.
    pub strip: &'a Strip,
    /// Area in m², holes taken off.
    pub area_m2: f64,
    /// Longer side of the smallest rectangle around it, in metres.
    pub length_m: f64,
    /// Shorter side of that rectangle, in metres.
    pub width_m: f64,
}

/// Two strips that claim the same ground.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Overlap<'a> {
    /// The one that was given earlier.
    pub first: &'a Strip,
    /// The one that was given later.
    pub second: &'a Strip,
    /// Area of both in m².
    pub area_m2: f64,
    /// How wide that is on average, in metres: area over half the length of its border.
    pub width_m: f64,
}

impl StripMap {
    /// Area, length and width of every feature, in the order they were given.
    pub fn describe(&self) -> Vec<Extent<'_>> {
        self.strips().iter().map(extent).collect()
    }

    /// Strips of one season that overlap by more than the buffer would excuse: on average wider than it. Strips that
    /// name no season belong to every one. Work is bounded: no more than 100,000 pairs of neighbours and 200 million
    /// pairs of edges are looked at, and two strips whose borders cross more than 10,000 times are not compared.
    pub fn overlaps(&self) -> Vec<Overlap<'_>> {
        let one_season = |a: &Strip, b: &Strip| a.season.zip(b.season).is_none_or(|(a, b)| a == b);
        let pairs = self.pairs(MOST_PAIRS, MOST_LOOKS, one_season).into_iter();
        let mut work = MOST_EDGE_PAIRS;
        let overlaps = pairs.filter_map(|(first, second)| overlap(first, second, &mut work));
        overlaps.filter(|overlap| overlap.width_m > self.buffer_m()).collect()
    }
}

fn overlap<'a>(first: &'a Strip, second: &'a Strip, work: &mut usize) -> Option<Overlap<'a>> {
    let middle = middle(&first.shape)?;
    let (a, b) = (flat(&first.shape, middle), flat(&second.shape, middle));
    crossings(edges_of(&a).chain(edges_of(&b)).collect(), MOST_CROSSINGS, work)?;
    let both = a.intersection(&b);
    let border_m: f64 = both.lines_iter().map(|line| Euclidean.length(&line)).sum();
    let area_m2 = both.unsigned_area();
    (border_m > 0.0).then(|| Overlap { first, second, area_m2, width_m: area_m2 / (border_m / 2.0) })
}

fn edges_of(shape: &MultiPolygon<f64>) -> impl Iterator<Item = Edge> {
    shape.lines_iter().map(|line| [line.start, line.end])
}

fn extent(strip: &Strip) -> Extent<'_> {
    let flat = middle(&strip.shape).map(|middle| flat(&strip.shape, middle)).unwrap_or(MultiPolygon::new(Vec::new()));
    let (length_m, width_m) = smallest_rectangle(&flat.convex_hull().exterior().0).unwrap_or_default();
    Extent { strip, area_m2: flat.unsigned_area(), length_m, width_m }
}

/// Longer and shorter side of the rectangle of the smallest area around a convex outline: one of its sides lies along
/// an edge of the outline (Freeman & Shapira 1975).
fn smallest_rectangle(outline: &[Coord<f64>]) -> Option<(f64, f64)> {
    let stride = outline.len().div_ceil(MOST_DIRECTIONS).max(1);
    let edges = outline.iter().zip(outline.iter().skip(1)).step_by(stride);
    let rectangles = edges.filter_map(|(from, to)| {
        let edge = *to - *from;
        let length = edge.x.hypot(edge.y);
        let reach = |of: &dyn Fn(&Coord<f64>) -> f64| {
            let places = outline.iter().map(of);
            let (low, high) = places.fold((f64::MAX, f64::MIN), |(low, high), place| (low.min(place), high.max(place)));
            (high - low) / length
        };
        let along = reach(&|corner| corner.x * edge.x + corner.y * edge.y);
        let across = reach(&|corner| corner.y * edge.x - corner.x * edge.y);
        (length > 0.0).then_some((along.max(across), along.min(across)))
    });
    rectangles.min_by(|(a, b), (c, d)| (a * b).total_cmp(&(c * d)))
}

/// The middle of the box around a shape. Its longitude may lie beyond 180 where the shape is cut there.
fn middle(shape: &MultiPolygon<f64>) -> Option<Coord<f64>> {
    let first = *shape.0.first()?.exterior().0.first()?;
    let near_first = shape.map_coords(|corner| Coord { x: first.x + turn(corner.x - first.x), y: corner.y });
    near_first.bounding_rect().map(|bounds| bounds.center())
}

/// East and north in metres from the middle.
fn flat(shape: &MultiPolygon<f64>, middle: Coord<f64>) -> MultiPolygon<f64> {
    let frame = Frame::at(middle.y);
    shape.map_coords(|corner| Coord {
        x: turn(corner.x - middle.x) * frame.east_m,
        y: (corner.y - middle.y) * frame.north_m,
    })
}

/// A difference of longitudes the shorter way round.
fn turn(difference: f64) -> f64 {
    if difference.abs() > 180.0 { difference - 360.0_f64.copysign(difference) } else { difference }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::map::Options;
    use crate::outline::outline;
    use crate::samples::rectangle;
    use geo::MinimumRotatedRect;
    use std::collections::BTreeMap;

    fn strip(id: &str, season: i64, polygons: Vec<Vec<Vec<[f64; 2]>>>) -> Strip {
        let (shape, _) = outline(polygons).unwrap();
        let properties = BTreeMap::new();
        Strip { field_id: None, season: Some(season), strip_id: id.into(), block: None, properties, shape, feature: 1 }
    }

    fn map(strips: Vec<Strip>) -> StripMap {
        StripMap::new(strips, Options::default()).unwrap()
    }

    /// Rectangles of 400 m towards N 30° E and 9 m across, from 10° E at latitudes 0, 45 and 65: corners by geodesics
    /// from the first (pyproj 3.7.2, `Geod(ellps="WGS84").fwd`). `polygon_area_perimeter` gives them 3600.00, 3600.00
    /// and 3600.00 m².
    const SLANTED: [[[f64; 2]; 4]; 3] = [
        [
            [10.0, 0.0],
            [10.001796630570018, 0.0031328277655833037],
            [10.001866647317218, 0.0030921311391148964],
            [10.000070016747099, -4.069662646725692e-5],
        ],
        [
            [10.0, 45.0],
            [10.002536700993911, 45.003117082655834],
            [10.00263555906192, 45.003076590166565],
            [10.000098852707723, 44.99995950748854],
        ],
        [
            [10.0, 65.0],
            [10.004239978406455, 65.00310696268872],
            [10.004405214962576, 65.00306660119502],
            [10.000165217363719, 64.99995963848937],
        ],
    ];

    #[test]
    fn area_length_and_width_agree_with_the_ellipsoid() {
        for corners in SLANTED {
            let map = map(vec![strip("a", 2025, vec![vec![corners.to_vec()]])]);
            let [extent] = map.describe()[..] else { panic!("one feature") };
            assert!((extent.area_m2 - 3600.0).abs() < 0.1, "{extent:?}");
            assert!((extent.length_m - 400.0).abs() < 0.02, "{extent:?}");
            assert!((extent.width_m - 9.0).abs() < 0.02, "{extent:?}");
        }
        // The same functions of pyproj: 2760.6877 m², 333.2199 m long, 8.2849 m wide in the middle.
        let map = map(vec![strip("a", 2025, vec![vec![rectangle(0)]])]);
        let [extent] = map.describe()[..] else { panic!("one feature") };
        assert!((extent.area_m2 - 2760.6877).abs() < 0.01, "{extent:?}");
        assert!((extent.length_m - 333.2199).abs() < 0.001, "{extent:?}");
        assert!((extent.width_m - 8.2849).abs() < 0.001, "{extent:?}");
    }

    #[test]
    fn the_smallest_rectangle_is_the_one_that_another_implementation_finds() {
        for corners in SLANTED.iter().map(|corners| corners.to_vec()).chain([rectangle(0)]) {
            let strip = strip("a", 2025, vec![vec![corners]]);
            let flat = flat(&strip.shape, middle(&strip.shape).unwrap());
            let sides: Vec<f64> =
                flat.minimum_rotated_rect().unwrap().exterior().lines().map(|s| Euclidean.length(&s)).collect();
            let extent = extent(&strip);
            assert!((extent.length_m - sides[0].max(sides[1])).abs() < 1e-6, "{extent:?} {sides:?}");
            assert!((extent.width_m - sides[0].min(sides[1])).abs() < 1e-6, "{extent:?} {sides:?}");
        }
        let circle: Vec<Coord<f64>> = (0..=5_000)
            .map(|corner| {
                let turn = f64::from(corner % 5_000) / 5_000.0 * std::f64::consts::TAU;
                Coord { x: 100.0 * turn.cos(), y: 100.0 * turn.sin() }
            })
            .collect();
        let (length, width) = smallest_rectangle(&circle).unwrap();
        assert!((length - 200.0).abs() < 1e-3 && (width - 200.0).abs() < 1e-3, "{length} {width}");
        assert_eq!(smallest_rectangle(&[]), None);
    }

    #[test]
    fn a_strip_cut_at_the_antimeridian_is_measured_as_one() {
        let part =
            |west: f64, east: f64| vec![vec![[west, 0.0], [east, 0.0], [east, 0.001], [west, 0.001], [west, 0.0]]];
        let map = map(vec![strip("a", 2025, vec![part(179.999, 180.0), part(-180.0, -179.999)])]);
        let [extent] = map.describe()[..] else { panic!("one feature") };
        // 0.002° of the equator and 0.001° of the meridian: 222.639 m by 110.574 m.
        assert!((extent.length_m - 222.639).abs() < 0.001 && (extent.width_m - 110.574).abs() < 0.001, "{extent:?}");
        assert!((extent.area_m2 - 222.639 * 110.574).abs() < 1.0, "{extent:?}");
    }

    #[test]
    fn strips_of_one_season_that_overlap_by_more_than_the_buffer_are_told() {
        let shifted = |share: f64| rectangle(0).iter().map(|[x, y]| [x + (1.0 - share) * 1e-4, *y]).collect::<Vec<_>>();
        let told = |share: f64, season| {
            map(vec![strip("a", 2025, vec![vec![rectangle(0)]]), strip("b", season, vec![vec![shifted(share)]])])
                .overlaps()
                .iter()
                .map(|overlap| {
                    (overlap.first.strip_id.clone(), overlap.second.strip_id.clone(), overlap.area_m2, overlap.width_m)
                })
                .collect::<Vec<_>>()
        };
        assert_eq!(told(0.0, 2025), []);
        assert_eq!(told(0.1, 2025), [], "0.83 m is within the buffer of 1 m");
        let half = told(0.5, 2025);
        assert_eq!((half.len(), half[0].0.as_str(), half[0].1.as_str()), (1, "a", "b"));
        // Half of 2760.69 m²; 4.142 m wide, over half a border of 337.362 m.
        assert!((half[0].2 - 1380.34).abs() < 0.05 && (half[0].3 - 1380.34 / 337.362).abs() < 0.001, "{half:?}");
        assert_eq!(told(0.5, 2024), []);
    }
}
