//! Which strip a point lies in.

use geo::{Coord, Rect};
use rstar::primitives::{GeomWithData, Rectangle};
use rstar::{AABB, RTree};

use crate::PlaceError;
use crate::frame::Frame;
use crate::part::{Bounds, Part};
use crate::ring::Side;
use crate::strip::Strip;

/// Largest error of positions that a map is made for, in metres.
const WIDEST_BUFFER_M: f64 = 100.0;
/// Longitudes from here on are also looked for on the other side of the antimeridian.
const FAR_LONGITUDE: f64 = 179.0;

/// How points are matched to strips.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Options {
    /// How far off a position may be, in metres, 0 to 100.
    pub buffer_m: f64,
}

impl Default for Options {
    /// 1 m: what a receiver with satellite corrections keeps within.
    fn default() -> Self {
        Self { buffer_m: 1.0 }
    }
}

/// Where a point lies.
#[derive(Debug, Clone, PartialEq)]
pub enum Place<'a> {
    /// In exactly one strip; its border belongs to it.
    In {
        /// The strip.
        strip: &'a Strip,
        /// Whether another strip is within the buffer, so that the position's error could have hidden the truth.
        near_border: bool,
    },
    /// In none, and within the buffer of exactly one.
    Near(&'a Strip),
    /// In two or more (a border that strips share belongs to both), or in none and within the buffer of two or more; in the
    /// order they were given.
    Between(Vec<&'a Strip>),
    /// Further than the buffer from every strip, or no position at all.
    Outside,
}

/// Strips by place.
#[derive(Debug)]
pub struct StripMap {
    strips: Vec<Strip>,
    /// Features that draw the same strip have the same number.
    same: Vec<usize>,
    parts: Vec<Part>,
    tree: RTree<GeomWithData<Rectangle<[f64; 2]>, usize>>,
    buffer_m: f64,
}

/// Which strips may be found.
#[derive(Clone, Copy)]
struct Wanted<'q> {
    season: Option<i64>,
    field_id: Option<&'q str>,
}

impl Wanted<'_> {
    fn takes(self, strip: &Strip) -> bool {
        let season = self.season.zip(strip.season).is_none_or(|(wanted, has)| wanted == has);
        season && self.field_id.zip(strip.field_id.as_deref()).is_none_or(|(wanted, has)| wanted == has)
    }
}

impl StripMap {
    /// Makes a map. Features that agree in field, season and strip draw one strip together. Errors where the buffer is not within 0 to 100 m.
    pub fn new(strips: Vec<Strip>, options: Options) -> Result<Self, PlaceError> {
        let buffer_m = options.buffer_m;
        if !(0.0..=WIDEST_BUFFER_M).contains(&buffer_m) {
            return Err(PlaceError::Buffer { found: buffer_m, limit: WIDEST_BUFFER_M });
        }
        let mut first = std::collections::BTreeMap::new();
        let same = strips
            .iter()
            .enumerate()
            .map(|(place, strip)| *first.entry((&strip.field_id, strip.season, &strip.strip_id)).or_insert(place));
        let same = same.collect();
        let mut parts = Vec::new();
        for (place, strip) in strips.iter().enumerate() {
            parts.extend(strip.shape.iter().map(|polygon| Part::new(place, polygon, buffer_m)));
        }
        let boxes = parts.iter().map(|part| Rectangle::from_corners(part.bounds.low, part.bounds.high)).enumerate();
        let boxes = boxes.map(|(place, around)| GeomWithData::new(around, place));
        let tree = RTree::bulk_load(boxes.collect());
        Ok(Self { strips, same, parts, tree, buffer_m })
    }

    /// The strips in the order they were given.
    pub fn strips(&self) -> &[Strip] {
        &self.strips
    }

    /// The buffer in metres.
    pub fn buffer_m(&self) -> f64 {
        self.buffer_m
    }

    /// The box around all strips in degrees, by which a caller can tell that its points lie elsewhere (such as with longitude
    /// and latitude swapped); nothing where there are none.
    pub fn bounds(&self) -> Option<Rect<f64>> {
        let corners = self.strips.iter().flat_map(|strip| &strip.shape).flat_map(|polygon| &polygon.exterior().0);
        corners.fold(None, |bounds: Option<Rect<f64>>, corner| {
            let (low, high) = bounds.map_or((*corner, *corner), |bounds| (bounds.min(), bounds.max()));
            Some(Rect::new(
                Coord { x: low.x.min(corner.x), y: low.y.min(corner.y) },
                Coord { x: high.x.max(corner.x), y: high.y.max(corner.y) },
            ))
        })
    }

    /// Where a point lies: longitude and latitude in degrees on WGS 84. With a season or a field, strips of other seasons
    /// and fields are not there; strips that name none belong to every one.
    pub fn find(&self, lon: f64, lat: f64, season: Option<i64>, field_id: Option<&str>) -> Place<'_> {
        let mut hits = Hits::default();
        for longitude in sides(lon, lat) {
            let point = Coord { x: longitude, y: lat };
            let here = self.tree.locate_all_at_point(&[longitude, lat]).filter_map(|found| self.parts.get(found.data));
            self.look(here, point, Wanted { season, field_id }, &mut hits);
        }
        self.place(hits)
    }

    /// Finds many points that follow each other, such as those of a planter's log, faster than [`StripMap::find`].
    pub fn cursor(&self) -> Cursor<'_> {
        Cursor { map: self, bounds: Bounds::NONE, around: Vec::new() }
    }

    /// Measures a point against parts and notes which strips it is in or near.
    fn look<'p>(&self, parts: impl Iterator<Item = &'p Part>, point: Coord<f64>, wanted: Wanted, hits: &mut Hits) {
        let mut frame = None;
        for part in parts {
            let Some(strip) = self.strips.get(part.strip) else { continue };
            if !wanted.takes(strip) {
                continue;
            }
            let frame = *frame.get_or_insert_with(|| Frame::at(point.y));
            let (side, distance_2) = part.measure(point, frame);
            let same = self.same.get(part.strip).copied().unwrap_or(part.strip);
            if side != Side::Outside {
                hits.inside.add(part.strip, same);
            } else if distance_2 <= self.buffer_m * self.buffer_m {
                hits.near.add(part.strip, same);
            }
        }
    }

    fn place(&self, mut hits: Hits) -> Place<'_> {
        let strip = |hit: &Hit| self.strips.get(hit.strip);
        let listed = |list: &mut List| {
            list.rest.extend(list.first.take());
            list.rest.sort_unstable_by_key(|hit| hit.strip);
            Place::Between(list.rest.iter().filter_map(strip).collect())
        };
        match (hits.inside.first, hits.near.first) {
            (Some(inside), _) if hits.inside.rest.is_empty() => {
                let near_border = hits.near.iter().any(|near| near.same != inside.same);
                strip(&inside).map_or(Place::Outside, |strip| Place::In { strip, near_border })
            }
            (Some(_), _) => listed(&mut hits.inside),
            (None, Some(near)) if hits.near.rest.is_empty() => strip(&near).map_or(Place::Outside, Place::Near),
            (None, Some(_)) => listed(&mut hits.near),
            (None, None) => Place::Outside,
        }
    }

    /// Pairs of features whose boxes meet, the earlier one first, each once; no more than `most` of them.
    pub(crate) fn pairs(&self, most: usize) -> Vec<(usize, usize)> {
        let mut pairs = std::collections::BTreeSet::new();
        'all: for (place, part) in self.parts.iter().enumerate() {
            let around = AABB::from_corners(part.bounds.low, part.bounds.high);
            for found in self.tree.locate_in_envelope_intersecting(&around) {
                let other = self.parts.get(found.data).filter(|_| found.data > place);
                if let Some(other) = other.filter(|other| self.same.get(other.strip) != self.same.get(part.strip)) {
                    pairs.insert((part.strip.min(other.strip), part.strip.max(other.strip)));
                }
                if pairs.len() >= most {
                    break 'all;
                }
            }
        }
        pairs.into_iter().collect()
    }
}

/// A place in a [`StripMap`] that remembers the strips around the last point.
#[derive(Debug, Clone)]
pub struct Cursor<'a> {
    map: &'a StripMap,
    bounds: Bounds,
    /// Every part whose box meets these bounds.
    around: Vec<usize>,
}

impl<'a> Cursor<'a> {
    /// What [`StripMap::find`] gives.
    pub fn find(&mut self, lon: f64, lat: f64, season: Option<i64>, field_id: Option<&str>) -> Place<'a> {
        let map = self.map;
        if !(lon.abs() < FAR_LONGITUDE && lat.abs() <= 90.0) {
            return map.find(lon, lat, season, field_id);
        }
        let point = Coord { x: lon, y: lat };
        if !self.bounds.holds(point) {
            let Some(part) = map.tree.locate_at_point(&[lon, lat]).and_then(|found| map.parts.get(found.data)) else {
                return Place::Outside;
            };
            self.bounds = part.bounds;
            let meets =
                map.tree.locate_in_envelope_intersecting(&AABB::from_corners(part.bounds.low, part.bounds.high));
            self.around.clear();
            self.around.extend(meets.map(|found| found.data));
        }
        let mut hits = Hits::default();
        let parts = self.around.iter().filter_map(|part| map.parts.get(*part));
        let here = parts.filter(|part| part.bounds.holds(point));
        map.look(here, point, Wanted { season, field_id }, &mut hits);
        map.place(hits)
    }
}

/// The longitudes at which a point is looked for: none where it is no position, two near the antimeridian.
fn sides(lon: f64, lat: f64) -> impl Iterator<Item = f64> {
    let real = lon.abs() <= 180.0 && lat.abs() <= 90.0;
    let far = real && lon.abs() >= FAR_LONGITUDE;
    real.then_some(lon).into_iter().chain(far.then(|| lon - 360.0_f64.copysign(lon)))
}

/// A feature that was hit, and the first feature of its strip.
#[derive(Debug, Clone, Copy)]
struct Hit {
    strip: usize,
    same: usize,
}

#[derive(Default)]
struct Hits {
    inside: List,
    near: List,
}

/// Strips, each once, by its earliest feature. The first stands apart, so that the usual answer sets no memory aside.
#[derive(Default)]
struct List {
    first: Option<Hit>,
    rest: Vec<Hit>,
}

impl List {
    fn iter(&self) -> impl Iterator<Item = &Hit> {
        self.first.iter().chain(&self.rest)
    }

    fn add(&mut self, strip: usize, same: usize) {
        let Some(first) = &mut self.first else {
            self.first = Some(Hit { strip, same });
            return;
        };
        match std::iter::once(first).chain(&mut self.rest).find(|hit| hit.same == same) {
            Some(hit) => hit.strip = hit.strip.min(strip),
            None => self.rest.push(Hit { strip, same }),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::outline::outline;
    use crate::samples::rectangle;
    use geo::{Destination, Geodesic, Point};
    use std::collections::BTreeMap;

    fn strip(id: &str, season: Option<i64>, polygons: Vec<Vec<Vec<[f64; 2]>>>) -> Strip {
        Strip {
            field_id: Some("f".into()),
            season,
            strip_id: id.into(),
            block: None,
            properties: BTreeMap::new(),
            shape: outline(polygons).unwrap().0,
            feature: 1,
        }
    }

    fn map(strips: Vec<Strip>, buffer_m: f64) -> StripMap {
        StripMap::new(strips, Options { buffer_m }).unwrap()
    }

    /// Short words for a place.
    fn word(place: &Place) -> String {
        let ids = |strips: &[&Strip]| strips.iter().map(|s| s.strip_id.as_str()).collect::<Vec<_>>().join("+");
        match place {
            Place::In { strip, near_border } => {
                format!("in {}{}", strip.strip_id, if *near_border { " border" } else { "" })
            }
            Place::Near(strip) => format!("near {}", strip.strip_id),
            Place::Between(strips) => format!("between {}", ids(strips)),
            Place::Outside => "outside".into(),
        }
    }

    /// Three strips of 8.3 m side by side, the third one strip further east.
    fn three() -> Vec<Strip> {
        [0, 1, 3]
            .iter()
            .zip(["a", "b", "c"])
            .map(|(place, id)| strip(id, Some(2025), vec![vec![rectangle(*place)]]))
            .collect()
    }

    #[test]
    fn a_point_is_in_a_strip_near_one_between_two_or_outside() {
        let map = map(three(), 1.0);
        // One degree of longitude at 42.001° N is 82,850 m, so 1e-5 degrees are 0.83 m.
        for (x, expected) in [
            (-93.00003, "outside"),
            (-93.00001, "near a"),
            (-93.0, "in a"),
            (-92.99995, "in a"),
            (-92.99991, "in a border"),
            (-92.9999, "between a+b"),
            (-92.99989, "in b border"),
            (-92.99979, "near b"),
            (-92.99975, "outside"),
            (-92.99971, "near c"),
            (-92.99965, "in c"),
        ] {
            assert_eq!(word(&map.find(x, 42.001, Some(2025), Some("f"))), expected, "{x}");
        }
        // One degree of latitude is 111,080 m there: 1e-5 degrees beyond the end are 1.11 m, 8e-6 are 0.89 m.
        assert_eq!(word(&map.find(-92.99995, 42.003_01, None, None)), "outside");
        assert_eq!(word(&map.find(-92.99995, 42.003_008, None, None)), "near a");
    }

    #[test]
    fn between_two_buffers_the_point_is_near_both() {
        let map = map(three(), 5.0);
        assert_eq!(word(&map.find(-92.99975, 42.001, None, None)), "between b+c");
        assert_eq!(word(&map.find(-92.99970, 42.001, None, None)), "in c");
    }

    #[test]
    fn other_seasons_and_fields_are_not_there_and_strips_without_them_always_are() {
        let mut strips = vec![
            strip("old", Some(2024), vec![vec![rectangle(0)]]),
            strip("new", Some(2025), vec![vec![rectangle(0)]]),
        ];
        let at =
            |strips: &[Strip], season, field| word(&map(strips.to_vec(), 1.0).find(-92.99995, 42.001, season, field));
        assert_eq!(at(&strips, Some(2024), None), "in old");
        assert_eq!(at(&strips, Some(2025), Some("f")), "in new");
        assert_eq!(at(&strips, None, None), "between old+new");
        assert_eq!(at(&strips, Some(2025), Some("g")), "outside");
        (strips[0].season, strips[1].field_id) = (None, None);
        assert_eq!(at(&strips, Some(2023), None), "in old");
        assert_eq!(at(&strips, Some(2025), Some("g")), "in new");
    }

    #[test]
    fn a_strip_drawn_in_two_features_is_one_strip() {
        let map =
            map(vec![strip("a", None, vec![vec![rectangle(0)]]), strip("a", None, vec![vec![rectangle(1)]])], 1.0);
        assert_eq!(word(&map.find(-92.9999, 42.001, None, None)), "in a");
        assert_eq!(word(&map.find(-92.99989, 42.001, None, None)), "in a");
    }

    #[test]
    fn a_hole_is_outside_its_border_belongs_to_the_strip_and_an_island_in_it_is_inside() {
        let square = |low: f64, high: f64| vec![[low, low], [high, low], [high, high], [low, high], [low, low]];
        let map =
            map(vec![strip("a", None, vec![vec![square(0.0, 0.9), square(0.2, 0.7)], vec![square(0.4, 0.5)]])], 1.0);
        for (x, expected) in
            [(0.1, "in a"), (0.2, "in a"), (0.3, "outside"), (0.4, "in a"), (0.45, "in a"), (0.6, "outside")]
        {
            assert_eq!(word(&map.find(x, 0.45, None, None)), expected, "{x}");
        }
        assert_eq!(word(&map.find(0.200005, 0.45, None, None)), "near a");
    }

    #[test]
    fn the_buffer_is_true_to_a_millimetre_at_every_latitude() {
        for latitude in [0.0, 45.0, 65.0, -45.0, 85.0] {
            let square = vec![
                [10.0, latitude - 0.001],
                [10.001, latitude - 0.001],
                [10.001, latitude],
                [10.0, latitude],
                [10.0, latitude - 0.001],
            ];
            for buffer_m in [0.5, 1.0, 30.0] {
                let map = map(vec![strip("a", None, vec![vec![square.clone()]])], buffer_m);
                // From the north-western corner to the north-west: the corner is the nearest point.
                for bearing in [270.0, 300.0, 315.0, 350.0] {
                    for (distance, expected) in [(buffer_m - 1e-3, "near a"), (buffer_m + 1e-3, "outside")] {
                        let point = Geodesic.destination(Point::new(10.0, latitude), bearing, distance);
                        let found = word(&map.find(point.x(), point.y(), None, None));
                        assert_eq!(found, expected, "{latitude} {buffer_m} {bearing} {distance}");
                    }
                }
            }
        }
    }

    #[test]
    fn a_strip_cut_at_the_antimeridian_is_whole_there() {
        // RFC 7946, section 3.1.9: a shape across the antimeridian is cut in two.
        let part =
            |west: f64, east: f64| vec![vec![[west, 40.0], [east, 40.0], [east, 50.0], [west, 50.0], [west, 40.0]]];
        let map = map(
            vec![
                strip("a", None, vec![part(170.0, 180.0), part(-180.0, -170.0)]),
                strip("b", None, vec![part(150.0, 160.0)]),
            ],
            1.0,
        );
        for x in [175.0, 180.0, -180.0, -175.0, 179.5, -179.5] {
            assert_eq!(word(&map.find(x, 45.0, None, None)), "in a", "{x}");
            assert_eq!(word(&map.cursor().find(x, 45.0, None, None)), "in a", "{x}");
        }
        let east = self::map(vec![strip("e", None, vec![part(179.9, 180.0)])], 1.0);
        assert_eq!(word(&east.find(-179.999_995, 45.0, None, None)), "near e");
        assert_eq!(word(&east.find(-179.999_9, 45.0, None, None)), "outside");
    }

    #[test]
    fn what_is_no_position_is_outside_and_what_is_no_buffer_is_an_error() {
        let map = map(three(), 1.0);
        for (x, y) in [(f64::NAN, 42.0), (-93.0, f64::INFINITY), (267.0, 42.0), (-93.0, 91.0)] {
            assert_eq!(map.find(x, y, None, None), Place::Outside);
            assert_eq!(map.cursor().find(x, y, None, None), Place::Outside);
        }
        for buffer_m in [-1.0, 101.0, f64::NAN] {
            assert!(StripMap::new(Vec::new(), Options { buffer_m }).is_err());
        }
        assert_eq!(StripMap::new(Vec::new(), Options::default()).unwrap().bounds(), None);
        let bounds = map.bounds().unwrap();
        assert_eq!((bounds.min().x, bounds.max().y), (-93.0, 42.003));
    }

    /// Points around strips in an order that jumps, from a multiplicative congruence (Lehmer 1951; Park & Miller 1988).
    fn scattered(count: usize) -> impl Iterator<Item = (f64, f64)> {
        let mut state = 42_u64;
        let mut share = move || {
            state = state * 48_271 % 2_147_483_647;
            state as f64 / 2_147_483_647.0
        };
        (0..count).map(move |_| (-93.0005 + 0.002 * share(), 41.999 + 0.005 * share()))
    }

    #[test]
    fn the_cursor_and_a_walk_over_all_strips_find_the_same() {
        let slanted = |place: u32| -> Vec<[f64; 2]> {
            rectangle(place).iter().map(|[x, y]| [x + (y - 42.0) * 0.1, *y]).collect()
        };
        let strips: Vec<Strip> =
            (0..12).map(|place| strip(&place.to_string(), None, vec![vec![slanted(place)]])).collect();
        let map = map(strips.clone(), 2.0);
        let alone: Vec<StripMap> = strips.into_iter().map(|strip| self::map(vec![strip], 2.0)).collect();
        let mut cursor = map.cursor();
        let mut seen = BTreeMap::new();
        for (x, y) in scattered(20_000) {
            let found = map.find(x, y, None, None);
            assert_eq!(cursor.find(x, y, None, None), found);
            let (mut inside, mut near) = (Vec::new(), Vec::new());
            for one in &alone {
                match one.find(x, y, None, None) {
                    Place::In { strip, .. } => inside.push(strip),
                    Place::Near(strip) => near.push(strip),
                    _ => {}
                }
            }
            let expected = match (inside.as_slice(), near.as_slice()) {
                ([strip], near) => Place::In { strip, near_border: !near.is_empty() },
                ([], [strip]) => Place::Near(strip),
                ([], []) => Place::Outside,
                ([], _) => Place::Between(near),
                _ => Place::Between(inside),
            };
            assert_eq!(found, expected, "{x} {y}");
            *seen.entry(word(&found).split(' ').next().unwrap().to_owned()).or_insert(0) += 1;
        }
        assert!(seen["in"] > 1000 && seen["near"] > 10 && seen["outside"] > 1000, "{seen:?}");
    }

    /// `cargo test --release -p evenstand-places -- --ignored --nocapture ten_million`
    #[test]
    #[ignore = "a measurement"]
    fn ten_million_finds_among_200_strips_take_a_few_seconds() {
        let strips =
            (0..200).map(|place| strip(&place.to_string(), Some(2025), vec![vec![rectangle(place)]])).collect();
        let map = map(strips, 1.0);
        let begin = std::time::Instant::now();
        let mut inside = 0;
        for point in 0..10_000_000_u32 {
            let (pass, along) = (point / 50_000, f64::from(point % 50_000) / 50_000.0);
            let x = -93.0 + (f64::from(pass) + 0.5) * 1e-4;
            inside += usize::from(matches!(map.find(x, 42.0 + along * 0.003, Some(2025), Some("f")), Place::In { .. }));
        }
        println!("find: {inside} inside, {:?}", begin.elapsed());
        let (begin, mut cursor, mut followed) = (std::time::Instant::now(), map.cursor(), 0);
        for point in 0..10_000_000_u32 {
            let (pass, along) = (point / 50_000, f64::from(point % 50_000) / 50_000.0);
            let x = -93.0 + (f64::from(pass) + 0.5) * 1e-4;
            followed +=
                usize::from(matches!(cursor.find(x, 42.0 + along * 0.003, Some(2025), Some("f")), Place::In { .. }));
        }
        println!("cursor: {followed} inside, {:?}", begin.elapsed());
        assert_eq!((inside, followed), (10_000_000, 10_000_000));
    }
}
