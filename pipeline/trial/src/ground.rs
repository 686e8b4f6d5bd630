//! The ground a trial lies on: how far each pass reaches, and where its strips lie on the globe.

use std::f64::consts::PI;

use evenstand_places::read_geojson_area;
use geo::line_measures::{Bearing, Destination, Distance};
use geo::{Contains, Coord, Geodesic, LineString, MapCoords, MultiPolygon, Point};

use crate::TrialError;

/// How far a pass may reach over an outline, and an outline into a pass: less than a receiver errs, and more than an edge that is
/// straight in degrees bends beside one that is straight on the ground (13 mm in 800 m at 45° of latitude).
const TOLERANCE_M: f64 = 0.05;
/// An A-B line shorter than this gives no direction.
const SHORTEST_LINE_M: f64 = 1.0;

/// The ground of a trial.
///
/// Places on it are told as metres along the passes from the start line on, and metres from the left edge of the trial to
/// the right, looking along the first pass.
#[derive(Debug, Clone, PartialEq)]
pub struct Ground {
    /// Length where no outline says it.
    length_m: Option<f64>,
    globe: Option<Globe>,
    /// Outline of the field: x is metres from the left edge, y metres from the start line.
    outline: Option<MultiPolygon<f64>>,
}

/// Where the ground lies on the globe: the corner at the left end of the start line, and the direction of the first pass.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Globe {
    corner: Point<f64>,
    /// Degrees from north, clockwise.
    heading: f64,
}

impl Globe {
    /// The place on the globe: distance and direction from the corner are those on the ellipsoid, so lengths err by
    /// (d / R)² / 6 of themselves d away from it, 4 µm in 1 km.
    fn place(self, right_m: f64, along_m: f64) -> Point<f64> {
        let bearing = self.heading + right_m.atan2(along_m) * (180.0 / PI);
        Geodesic.destination(self.corner, bearing.rem_euclid(360.0), right_m.hypot(along_m))
    }

    /// The other way round: x is metres to the right, y metres along.
    fn metres(self, place: Point<f64>) -> Coord<f64> {
        let distance = Geodesic.distance(self.corner, place);
        if distance == 0.0 {
            return Coord { x: 0.0, y: 0.0 };
        }
        let (sine, cosine) = ((Geodesic.bearing(self.corner, place) - self.heading) * (PI / 180.0)).sin_cos();
        Coord { x: distance * sine, y: distance * cosine }
    }
}

impl Ground {
    /// A rectangle of which only the length along the passes is known; nothing can be drawn on the globe.
    pub fn rectangle(length_m: f64) -> Self {
        Self { length_m: Some(length_m), globe: None, outline: None }
    }

    /// Ground beside an A-B line, longitude and latitude in degrees on WGS 84. The left edge of the first pass starts at A
    /// and runs towards B; passes follow to its right, looking from A to B. (For passes to the left, give B as A: the start
    /// line is then at the other end.) The length is that of the line where none is given.
    ///
    /// Errors where a point is not on the globe, A and B are less than a metre apart, or the length is not above zero.
    pub fn from_line(a: [f64; 2], b: [f64; 2], length_m: Option<f64>) -> Result<Self, TrialError> {
        let (globe, line_m) = along_line(a, b)?;
        let length_m = length_m.unwrap_or(line_m);
        if !(length_m.is_finite() && length_m > 0.0) {
            return Err(TrialError::request("length of the passes", format!("{length_m} m"), "a length above zero"));
        }
        Ok(Self { length_m: Some(length_m), globe: Some(globe), outline: None })
    }

    /// Ground inside the outline of a field, as the text of a GeoJSON file with one polygon. Passes run along the A-B line
    /// if there is one, as in [`Ground::from_line`] but as far as the outline lets them; otherwise along the longest edge of
    /// the outline, with the field to their right, from the first corner of the field on.
    ///
    /// Errors where the text draws no area, and where the line has no part of the field before it and to its right.
    pub fn from_outline(geojson: &str, line: Option<([f64; 2], [f64; 2])>) -> Result<Self, TrialError> {
        let field = read_geojson_area(geojson).map_err(|problem| {
            TrialError::request("outline of the field", problem, "one polygon in longitude and latitude (WGS 84)")
        })?;
        let globe = match line {
            Some((a, b)) => along_line(a, b)?.0,
            None => along_longest_edge(&field)?,
        };
        let flat = |globe: Globe| field.map_coords(|corner| globe.metres(Point(corner)));
        let globe = match line {
            Some(_) => globe,
            // The corner moves so that the whole field lies before the start line and to the right of the left edge.
            None => {
                let shape = flat(globe);
                let corners = || shape.iter().flat_map(|part| part.exterior().coords());
                let left = corners().map(|corner| corner.x).fold(f64::INFINITY, f64::min);
                let near = corners().map(|corner| corner.y).fold(f64::INFINITY, f64::min);
                let corner = globe.place(left, near);
                // The direction is that of the edge, which lies as far ahead of the new corner as of the old one.
                let ahead = globe.place(left, near + 1000.0);
                Globe { corner, heading: Geodesic.bearing(corner, ahead) }
            }
        };
        let outline = flat(globe);
        let reaches = |of: fn(&Coord<f64>) -> f64| {
            outline.iter().flat_map(|part| part.exterior().coords()).map(of).fold(f64::NEG_INFINITY, f64::max)
        };
        let (right, far) = (reaches(|corner| corner.x), reaches(|corner| corner.y));
        if right <= TOLERANCE_M || far <= TOLERANCE_M {
            return Err(TrialError::request(
                "A-B line",
                if right <= TOLERANCE_M { "the whole field to the left of it" } else { "the whole field behind A" },
                "a line with the field before A and to the right of the line, looking from A to B; swap A and B, or draw it along \
                 another edge",
            ));
        }
        Ok(Self { length_m: None, globe: Some(globe), outline: Some(outline) })
    }

    /// Whether strips can be drawn on the globe.
    pub fn is_on_globe(&self) -> bool {
        self.globe.is_some()
    }

    /// From the left edge of the trial to where the ground ends at the right, in metres; `None` where nothing says it.
    pub fn width_m(&self) -> Option<f64> {
        let outline = self.outline.as_ref()?;
        Some(outline.iter().flat_map(|part| part.exterior().coords()).map(|corner| corner.x).fold(0.0, f64::max))
    }

    /// Where a pass begins and ends along the field, from the start line; `None` where it finds no ground.
    ///
    /// `left_m` is the distance from the left edge of the trial to the left edge of the pass. Where there is an outline this
    /// is the longest stretch on which the whole width lies inside it, holes taken off; 5 cm over the edge are allowed.
    pub fn span_m(&self, left_m: f64, width_m: f64) -> Option<(f64, f64)> {
        let Some(outline) = &self.outline else { return Some((0.0, self.length_m?)) };
        let band = (left_m + TOLERANCE_M, left_m + width_m - TOLERANCE_M);
        if band.0 >= band.1 || !band.0.is_finite() || !band.1.is_finite() {
            return None;
        }
        let rings = outline.iter().flat_map(|part| std::iter::once(part.exterior()).chain(part.interiors()));
        let mut edges: Vec<(f64, f64)> = rings.flat_map(|ring| crossings(ring, band)).collect();
        edges.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
        let middle = (band.0 + band.1) / 2.0;
        let mut longest: Option<(f64, f64)> = None;
        let mut free_from: f64 = 0.0;
        for (from, to) in edges {
            let is_longer = longest.is_none_or(|(low, high)| from - free_from > high - low);
            let inside = || outline.contains(&Point::new(middle, (free_from + from) / 2.0));
            if from > free_from && is_longer && inside() {
                longest = Some((free_from, from));
            }
            free_from = free_from.max(to);
        }
        longest
    }

    /// Corners of a piece of a pass on the globe, longitude and latitude in degrees on WGS 84: a closed ring, counter-clockwise
    /// (RFC 7946, section 3.1.6). `None` where the ground is not on the globe, or the piece lies across longitude 180.
    pub fn outline(&self, left_m: f64, width_m: f64, span_m: (f64, f64)) -> Option<Vec<[f64; 2]>> {
        let globe = self.globe?;
        let (right_m, (near, far)) = (left_m + width_m, span_m);
        let corners = [(left_m, near), (right_m, near), (right_m, far), (left_m, far), (left_m, near)];
        let ring: Vec<[f64; 2]> = corners
            .into_iter()
            .map(|(right, along)| {
                let place = globe.place(right, along);
                [place.x(), place.y()]
            })
            .collect();
        let (west, east) = ring.iter().fold((f64::MAX, f64::MIN), |(low, high), [x, _]| (low.min(*x), high.max(*x)));
        (east - west < 180.0).then_some(ring)
    }
}

/// Where the edges of a ring lie inside a band, as stretches along it.
fn crossings(ring: &LineString<f64>, band: (f64, f64)) -> Vec<(f64, f64)> {
    let within = |line: geo::Line<f64>| {
        let (from, to) = (line.start, line.end);
        let run = to.x - from.x;
        let share = |x: f64| if run == 0.0 { 0.0 } else { ((x - from.x) / run).clamp(0.0, 1.0) };
        let (low, high) = (from.x.min(to.x), from.x.max(to.x));
        if high <= band.0 || low >= band.1 {
            return None;
        }
        let along = |share: f64| from.y + share * (to.y - from.y);
        let ends =
            if run == 0.0 { (from.y, to.y) } else { (along(share(band.0.max(low))), along(share(band.1.min(high)))) };
        Some((ends.0.min(ends.1), ends.0.max(ends.1)))
    };
    ring.lines().filter_map(within).collect()
}

/// The corner and heading of an A-B line, and its length.
fn along_line(a: [f64; 2], b: [f64; 2]) -> Result<(Globe, f64), TrialError> {
    for (name, [longitude, latitude]) in [("A", a), ("B", b)] {
        if !(longitude.abs() <= 180.0 && latitude.abs() < 90.0) {
            let swapped = if latitude.abs() <= 180.0 && longitude.abs() < 90.0 { "; the two look swapped" } else { "" };
            return Err(TrialError::request(
                format!("point {name} of the A-B line"),
                format!("{longitude}, {latitude}"),
                format!("longitude (-180 to 180), then latitude (-90 to 90), in degrees on WGS 84{swapped}"),
            ));
        }
    }
    let (corner, end) = (Point::from(a), Point::from(b));
    let length = Geodesic.distance(corner, end);
    if length < SHORTEST_LINE_M {
        return Err(TrialError::request("A-B line", format!("{length:.2} m from A to B"), "a metre or more"));
    }
    Ok((Globe { corner, heading: Geodesic.bearing(corner, end) }, length))
}

/// Along the longest edge of the outlines, so that the inside lies to the right.
fn along_longest_edge(field: &MultiPolygon<f64>) -> Result<Globe, TrialError> {
    let mut longest: Option<(f64, Globe)> = None;
    for part in field {
        let ring = part.exterior();
        // Twice the area with its sign (the formula of Gauss): above zero where the corners run counter-clockwise.
        let first = ring.0.first().copied().unwrap_or_default();
        let doubled: f64 = ring
            .lines()
            .map(|line| (line.start - first).x * (line.end - first).y - (line.end - first).x * (line.start - first).y)
            .sum();
        for edge in ring.lines() {
            let (from, to) = if doubled > 0.0 { (edge.end, edge.start) } else { (edge.start, edge.end) };
            let (from, to) = (Point(from), Point(to));
            let length = Geodesic.distance(from, to);
            if longest.as_ref().is_none_or(|(longest, _)| length > *longest) {
                longest = Some((length, Globe { corner: from, heading: Geodesic.bearing(from, to) }));
            }
        }
    }
    longest.map(|(_, globe)| globe).ok_or_else(|| {
        TrialError::request("outline of the field", "no edge", "one polygon in longitude and latitude (WGS 84)")
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const A: [f64; 2] = [-93.5, 42.0];

    fn globe(heading: f64) -> Globe {
        Globe { corner: Point::from(A), heading }
    }

    /// A field from corners in metres to the right of, and along, a heading at A.
    fn field(heading: f64, rings: &[&[[f64; 2]]]) -> String {
        let ring = |ring: &&[[f64; 2]]| {
            let corners: Vec<String> = ring
                .iter()
                .chain(ring.first())
                .map(|[right, along]| {
                    let place = globe(heading).place(*right, *along);
                    format!("[{},{}]", place.x(), place.y())
                })
                .collect();
            format!("[{}]", corners.join(","))
        };
        let rings: Vec<String> = rings.iter().map(ring).collect();
        format!(r#"{{"type":"Polygon","coordinates":[{}]}}"#, rings.join(","))
    }

    fn line(heading: f64) -> Option<([f64; 2], [f64; 2])> {
        let end = globe(heading).place(0.0, 400.0);
        Some((A, [end.x(), end.y()]))
    }

    fn near(found: Option<(f64, f64)>, expected: (f64, f64)) {
        let (from, to) = found.unwrap();
        assert!((from - expected.0).abs() < 0.02 && (to - expected.1).abs() < 0.02, "{from} {to}, not {expected:?}");
    }

    #[test]
    fn sides_of_outlines_are_as_long_as_the_geodesic_says_and_corners_run_counter_clockwise() {
        for latitude in [0.0, 42.0, -36.0, 65.0] {
            for heading in [0.0, 37.0, 90.0, 181.0, 305.0] {
                let start = Point::new(12.0, latitude);
                let end = Geodesic.destination(start, heading, 800.0);
                let ground = Ground::from_line([12.0, latitude], [end.x(), end.y()], None).unwrap();
                let (from, to) = ground.span_m(600.0, 9.144).unwrap();
                assert!((from, (to - 800.0).abs() < 1e-6) == (0.0, true), "{from} {to}");
                let ring = ground.outline(600.0, 9.144, (20.0, 780.0)).unwrap();
                assert_eq!((ring.len(), ring[0]), (5, ring[4]));
                let length = |from: usize, to: usize| Geodesic.distance(Point::from(ring[from]), Point::from(ring[to]));
                for (from, to, expected) in
                    [(0, 1, 9.144), (1, 2, 760.0), (2, 3, 9.144), (3, 0, 760.0), (0, 2, 760_f64.hypot(9.144))]
                {
                    let off = (length(from, to) - expected).abs();
                    assert!(off < 1e-5 * expected, "{latitude} {heading}: {off} m in {expected} m");
                }
                let area: f64 = (0..4)
                    .map(|i| {
                        (ring[i][0] - 12.0) * (ring[i + 1][1] - latitude)
                            - (ring[i + 1][0] - 12.0) * (ring[i][1] - latitude)
                    })
                    .sum();
                assert!(area > 0.0, "{latitude} {heading}");
            }
        }
    }

    #[test]
    fn passes_of_an_l_shaped_field_reach_as_far_as_their_whole_width_does() {
        let l: &[[f64; 2]] = &[[0.0, 0.0], [100.0, 0.0], [100.0, 200.0], [50.0, 200.0], [50.0, 400.0], [0.0, 400.0]];
        for heading in [0.0, 63.0, 200.0] {
            // Without a line the longest edge is the left one.
            for line in [line(heading), None] {
                let ground = Ground::from_outline(&field(heading, &[l]), line).unwrap();
                near(ground.span_m(0.0, 10.0), (0.0, 400.0));
                near(ground.span_m(40.0, 10.0), (0.0, 400.0));
                near(ground.span_m(45.0, 10.0), (0.0, 200.0));
                near(ground.span_m(90.0, 10.0), (0.0, 200.0));
                assert_eq!(ground.span_m(95.0, 10.0), None, "over the edge");
                assert_eq!(ground.span_m(120.0, 10.0), None, "outside");
                assert!((ground.width_m().unwrap() - 100.0).abs() < 0.02);
            }
        }
    }

    #[test]
    fn a_slanted_end_cuts_a_pass_where_its_shorter_side_ends() {
        let slanted: &[[f64; 2]] = &[[0.0, 0.0], [100.0, 50.0], [100.0, 300.0], [0.0, 300.0]];
        let ground = Ground::from_outline(&field(10.0, &[slanted]), line(10.0)).unwrap();
        // The edge rises by half a metre a metre; 5 cm of the width are let off.
        near(ground.span_m(20.0, 10.0), (14.975, 300.0));
    }

    #[test]
    fn a_hole_leaves_the_longer_of_the_two_stretches() {
        let around: &[[f64; 2]] = &[[0.0, 0.0], [100.0, 0.0], [100.0, 400.0], [0.0, 400.0]];
        let hole: &[[f64; 2]] = &[[22.0, 100.0], [22.0, 130.0], [38.0, 130.0], [38.0, 100.0]];
        let ground = Ground::from_outline(&field(63.0, &[around, hole]), line(63.0)).unwrap();
        near(ground.span_m(10.0, 10.0), (0.0, 400.0));
        near(ground.span_m(20.0, 10.0), (130.0, 400.0));
        near(ground.span_m(24.0, 10.0), (130.0, 400.0));
        near(ground.span_m(38.0, 10.0), (0.0, 400.0));
    }

    #[test]
    fn a_line_in_the_field_starts_the_passes_there_and_one_outside_is_refused() {
        let square: &[[f64; 2]] = &[[-50.0, -50.0], [50.0, -50.0], [50.0, 350.0], [-50.0, 350.0]];
        let ground = Ground::from_outline(&field(0.0, &[square]), line(0.0)).unwrap();
        near(ground.span_m(0.0, 10.0), (0.0, 350.0));
        let behind = globe(0.0).place(60.0, 0.0);
        let ahead = globe(0.0).place(60.0, 300.0);
        let said = |a: Point<f64>, b: Point<f64>| {
            Ground::from_outline(&field(0.0, &[square]), Some((a.into(), b.into()))).unwrap_err().to_string()
        };
        assert!(said(behind, ahead).contains("left of it"), "{}", said(behind, ahead));
        let far = globe(0.0).place(0.0, 360.0);
        let farther = globe(0.0).place(0.0, 460.0);
        assert!(said(far, farther).contains("behind A"), "{}", said(far, farther));
    }

    #[test]
    fn what_is_no_line_and_what_is_no_outline_is_told_so() {
        let said = |a: [f64; 2], b: [f64; 2]| Ground::from_line(a, b, None).unwrap_err().to_string();
        assert!(said([42.0, -93.5], [42.0, -93.6]).contains("swapped"));
        assert!(said([f64::NAN, 1.0], A).contains("NaN"));
        assert!(said(A, A).contains("0.00 m"));
        assert!(Ground::from_line(A, [-93.5, 42.01], Some(0.0)).unwrap_err().to_string().contains("above zero"));
        let text = Ground::from_outline("{}", None).unwrap_err().to_string();
        assert!(text.contains("outline of the field") && text.contains("one polygon"), "{text}");
    }

    #[test]
    fn a_rectangle_has_a_length_and_no_place_on_the_globe() {
        let ground = Ground::rectangle(300.0);
        assert_eq!((ground.span_m(12.0, 9.0), ground.outline(0.0, 9.0, (0.0, 300.0))), (Some((0.0, 300.0)), None));
        assert_eq!((ground.is_on_globe(), ground.width_m()), (false, None));
    }
}
