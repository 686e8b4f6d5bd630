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
/// How far from the strips a point may be and still lie among them, in degrees.
const AMONG_DEGREES: f64 = 1.0;
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
    /// In two or more (a border that strips share belongs to both), or in none and within the buffer of two or more; in
    /// the order they were given.
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
    /// Makes a map. Features that agree in field, season and strip draw one strip together. Errors where the buffer is
    /// not within 0 to 100 m.
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

    /// The box around all strips in degrees, by which a caller can tell that its points lie elsewhere (such as with
    /// longitude and latitude swapped); nothing where there are none.
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

    /// Where a point lies: longitude and latitude in degrees on WGS 84. With a season or a field, strips of other
    /// seasons and fields are not there; strips that name none belong to every one.
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

    /// Whether a point lies far from all strips, but would lie among them with longitude and latitude swapped: a log or
    /// the strips then have the two in the wrong order.
    pub fn looks_swapped(&self, lon: f64, lat: f64) -> bool {
        self.bounds().is_some_and(|bounds| {
            let (low, high) = (bounds.min(), bounds.max());
            let among = |x: f64, y: f64| {
                let along =
                    |low: f64, place: f64, high: f64| low - AMONG_DEGREES <= place && place <= high + AMONG_DEGREES;
                along(low.x, x, high.x) && along(low.y, y, high.y)
            };
            !among(lon, lat) && among(lat, lon)
        })
    }

    /// Pairs of features of different strips whose boxes meet and that `counts` takes, the earlier one first, each
    /// once; no more than `most` of them, and of no more than `looks` boxes that are looked at.
    pub(crate) fn pairs(
        &self,
        most: usize,
        looks: usize,
        counts: impl Fn(&Strip, &Strip) -> bool,
    ) -> Vec<(&Strip, &Strip)> {
        let meeting = self.parts.iter().enumerate().flat_map(|(place, part)| {
            let around = AABB::from_corners(part.bounds.low, part.bounds.high);
            let meets = self.tree.locate_in_envelope_intersecting(&around).collect::<Vec<_>>();
            meets.into_iter().map(move |found| (place, part, found.data))
        });
        let mut pairs = std::collections::BTreeSet::new();
        for (place, part, other) in meeting.take(looks) {
            let Some(other) = self.parts.get(other).filter(|_| other > place) else { continue };
            if self.same.get(other.strip) != self.same.get(part.strip) {
                let pair = (part.strip.min(other.strip), part.strip.max(other.strip));
                let strips = self.strips.get(pair.0).zip(self.strips.get(pair.1));
                if strips.is_some_and(|(first, second)| counts(first, second)) {
                    pairs.insert(pair);
                }
            }
            if pairs.len() >= most {
                break;
            }
        }
        pairs.into_iter().filter_map(|(first, second)| self.strips.get(first).zip(self.strips.get(second))).collect()
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
