//! Outlines as they are drawn, judged before they are used.

use geo::algorithm::bool_ops::FillRule;
use geo::kernels::RobustKernel;
use geo::{Area, BooleanOps, Coord, Kernel, LineString, MapCoords, MultiPolygon, Orientation, Polygon, Rect};

use crate::crossings::{Edge, crossings};
use crate::frame::Frame;
use crate::ring::{Ring, lies_in};

/// Corners of one feature; an outline driven around a field with a position a second has a few thousand.
const MOST_CORNERS: usize = 20_000;
/// Outlines and holes of one feature.
const MOST_RINGS: usize = 500;
/// Pairs of edges that are compared before a polygon counts as too tangled.
const MOST_PAIRS: usize = 20_000_000;
/// Crossings of edges before a polygon counts as too tangled: a receiver that stands still draws a scribble.
const MOST_CROSSINGS: usize = 1_000;
/// A shape smaller than this has no area: a hand's breadth squared.
const LEAST_AREA_M2: f64 = 0.01;
/// Share of an area that may depend on how crossing edges are understood.
const UNCLEAR_SHARE: f64 = 0.01;

/// The shape that polygons (outline first, then holes) draw, and notices about it; or why it cannot be used.
///
/// Read as they are: rings in either direction, rings that touch themselves or each other, spikes, repeated corners.
/// Mended with a notice: rings that are not closed, parts without area, and edges that cross where it changes no more
/// than 1 % of the area (an outline driven around a field often crosses itself where it ends). Refused: other
/// crossings, positions that are no longitude and latitude, and shapes across the 180th meridian that are not cut
/// there.
pub(crate) fn outline(polygons: Vec<Vec<Ring>>) -> Result<(MultiPolygon<f64>, Vec<String>), String> {
    within_limits(polygons.iter().flatten())?;
    polygons.iter().flatten().flatten().try_for_each(|position| lies_on_earth(*position))?;
    let mut notices = Vec::new();
    let mut shape = Vec::new();
    for rings in polygons {
        shape.extend(polygon(rings, &mut notices)?);
    }
    if shape.is_empty() {
        return Err("it encloses no area: draw it with at least three corners that are not on one line".into());
    }
    notices.dedup();
    Ok((MultiPolygon::new(shape), notices))
}

/// Errors where rings are too many, or their corners.
pub(crate) fn within_limits<'r>(rings: impl Iterator<Item = &'r Ring>) -> Result<(), String> {
    let (count, corners) = rings.fold((0, 0), |(count, corners), ring| (count + 1, corners + ring.len()));
    if corners > MOST_CORNERS {
        return Err(format!("it has {corners} corners; up to {MOST_CORNERS} are read: draw or export it more simply"));
    }
    if count > MOST_RINGS {
        return Err(format!("it has {count} parts and holes; up to {MOST_RINGS} are read: draw it more simply"));
    }
    Ok(())
}

fn lies_on_earth([longitude, latitude]: [f64; 2]) -> Result<(), String> {
    if !(longitude.is_finite() && latitude.is_finite()) {
        return Err("a position is not a number: draw the corner again".into());
    }
    if longitude.abs() <= 180.0 && latitude.abs() <= 90.0 {
        return Ok(());
    }
    let found = format!(
        "a position is {longitude}, {latitude}, but expected are longitude (-180 to 180), latitude (-90 to 90)"
    );
    Err(if latitude.abs() <= 180.0 && longitude.abs() <= 90.0 {
        format!("{found}; the two look swapped: export with the longitude (x) first")
    } else if longitude.abs() > 1000.0 || latitude.abs() > 1000.0 {
        format!("{found}; this looks like metres or feet: export again in WGS 84 (EPSG:4326)")
    } else {
        format!("{found}; export again in WGS 84 (EPSG:4326)")
    })
}

/// Polygons that one outline with its holes draws: none where it has no area, several where crossing edges were
/// resolved.
fn polygon(rings: Vec<Ring>, notices: &mut Vec<String>) -> Result<Vec<Polygon<f64>>, String> {
    let mut clean: Vec<Ring> = Vec::new();
    for (place, ring) in rings.into_iter().enumerate() {
        match (closed(ring, notices), place) {
            (Some(ring), _) => clean.push(ring),
            (None, 0) => {
                notices.push("a part without area is left out".into());
                return Ok(Vec::new());
            }
            (None, _) => notices.push("a hole without area is left out".into()),
        }
    }
    let Some((outer, holes)) = clean.split_first() else { return Ok(Vec::new()) };
    let (west, east) = outer.iter().fold((f64::MAX, f64::MIN), |(low, high), [x, _]| (low.min(*x), high.max(*x)));
    if east - west > 180.0 {
        return Err("it reaches across longitude 180: cut it there into two parts (RFC 7946, section 3.1.9)".into());
    }
    let drawn = || {
        let line = |ring: &Ring| ring.iter().copied().collect::<LineString<f64>>();
        Polygon::new(line(outer), holes.iter().map(line).collect())
    };
    let crossings = crossings(edges_of(&clean), MOST_CROSSINGS, &mut MOST_PAIRS.clone())
        .ok_or("its outline is too tangled to make out: draw or export it more simply")?;
    if let Some(Coord { x: longitude, y: latitude }) = crossings.first {
        let (mended, unclear_m2) = even_odd(&drawn());
        let area_m2: f64 = mended.iter().map(area_m2).sum();
        if !unclear_m2.is_finite() || unclear_m2 > UNCLEAR_SHARE * area_m2 {
            return Err(format!(
                "its edges cross near {longitude:.6}, {latitude:.6}, and what is inside is not clear: \
                 put the corners in order around the strip and export it again"
            ));
        }
        notices
            .push(format!("its edges cross near {longitude:.6}, {latitude:.6}; {unclear_m2:.1} m² of it are unclear"));
        return Ok(mended);
    }
    if let Some(place) = holes.iter().position(|hole| !lies_in(hole, outer)) {
        return Err(format!(
            "its ring {} lies outside its first, but further rings of a polygon are holes: draw it as a part of its own",
            place + 2
        ));
    }
    let drawn = drawn();
    if area_m2(&drawn) < LEAST_AREA_M2 {
        notices.push("a part without area is left out".into());
        return Ok(Vec::new());
    }
    Ok(vec![drawn])
}

/// The ring closed and without repeated corners; nothing where its corners lie on one line.
fn closed(mut ring: Ring, notices: &mut Vec<String>) -> Option<Ring> {
    ring.dedup();
    let first = *ring.first()?;
    if ring.last() != Some(&first) {
        notices.push("a ring ended before its first corner and was closed".into());
        ring.push(first);
    }
    let second = *ring.get(1)?;
    let bends = |corner: &[f64; 2]| {
        RobustKernel::orient2d(first.into(), second.into(), (*corner).into()) != Orientation::Collinear
    };
    ring.iter().any(bends).then_some(ring)
}

fn edges_of(rings: &[Ring]) -> Vec<Edge> {
    let ring_edges = |ring: &Ring| -> Vec<Edge> {
        ring.iter().zip(ring.iter().skip(1)).map(|(from, to)| [(*from).into(), (*to).into()]).collect()
    };
    rings.iter().flat_map(ring_edges).collect()
}

/// What lies inside an odd number of times, and the area in m² by which that differs from outline less holes.
fn even_odd(polygon: &Polygon<f64>) -> (Vec<Polygon<f64>>, f64) {
    let Some(middle) = polygon.exterior().0.first().copied() else { return (Vec::new(), f64::NAN) };
    let frame = Frame::at(middle.y);
    let flat =
        polygon.map_coords(|c| Coord { x: (c.x - middle.x) * frame.east_m, y: (c.y - middle.y) * frame.north_m });
    let Some(around) = geo::BoundingRect::bounding_rect(&flat) else { return (Vec::new(), f64::NAN) };
    let margin = Coord { x: 1.0, y: 1.0 };
    let around = Rect::new(around.min() - margin, around.max() + margin).to_polygon();
    let inside = flat.intersection_with_fill_rule(&around, FillRule::EvenOdd);
    let ring_area = |ring: &LineString<f64>| Polygon::new(ring.clone(), Vec::new()).unsigned_area();
    let stated = ring_area(flat.exterior()) - flat.interiors().iter().map(ring_area).sum::<f64>();
    let unclear = (inside.unsigned_area() - stated).abs();
    let back = |c: Coord<f64>| Coord { x: c.x / frame.east_m + middle.x, y: c.y / frame.north_m + middle.y };
    (inside.map_coords(back).into_iter().collect(), unclear)
}

/// Area in m² in the frame at the first corner.
fn area_m2(polygon: &Polygon<f64>) -> f64 {
    let Some(middle) = polygon.exterior().0.first().copied() else { return 0.0 };
    let frame = Frame::at(middle.y);
    let flat =
        polygon.map_coords(|c| Coord { x: (c.x - middle.x) * frame.east_m, y: (c.y - middle.y) * frame.north_m });
    flat.unsigned_area()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Corners in metres east and north of 93° W, 42° N, roughly.
    fn ring(metres: &[[f64; 2]]) -> Ring {
        metres.iter().map(|[x, y]| [x / 82_000.0 - 93.0, y / 111_000.0 + 42.0]).collect()
    }

    fn read(metres: &[[f64; 2]]) -> Result<(MultiPolygon<f64>, Vec<String>), String> {
        outline(vec![vec![ring(metres)]])
    }

    const RECTANGLE: [[f64; 2]; 5] = [[0.0, 0.0], [9.0, 0.0], [9.0, 300.0], [0.0, 300.0], [0.0, 0.0]];

    #[test]
    fn a_plain_rectangle_is_kept_corner_by_corner() {
        let (shape, notices) = read(&RECTANGLE).unwrap();
        let corners: Ring = shape.0[0].exterior().coords().map(|c| [c.x, c.y]).collect();
        assert_eq!(corners, ring(&RECTANGLE));
        assert!(notices.is_empty(), "{notices:?}");
    }

    #[test]
    fn an_open_ring_is_closed_with_a_notice() {
        let (shape, notices) = read(&RECTANGLE[..4]).unwrap();
        assert_eq!(shape.0[0].exterior().0.len(), 5);
        assert!(notices[0].contains("closed"), "{notices:?}");
    }

    #[test]
    fn corners_in_the_wrong_order_are_refused() {
        let problem = read(&[[0.0, 0.0], [9.0, 300.0], [9.0, 0.0], [0.0, 300.0], [0.0, 0.0]]).unwrap_err();
        assert!(problem.contains("its edges cross near -92.99"), "{problem}");
        assert!(problem.contains("in order"), "{problem}");
    }

    #[test]
    fn a_ring_driven_twice_is_refused() {
        let twice: Vec<[f64; 2]> = RECTANGLE.iter().chain(&RECTANGLE[1..]).copied().collect();
        assert!(read(&twice).unwrap_err().contains("cross"));
    }

    #[test]
    fn a_small_loop_where_a_driven_outline_ends_is_read_with_a_notice() {
        let loop_at_end =
            [[0.0, 0.0], [9.0, 0.0], [9.0, 300.0], [0.0, 300.0], [0.0, 1.0], [1.0, -1.0], [1.0, 0.5], [0.0, 0.0]];
        let (shape, notices) = read(&loop_at_end).unwrap();
        let area: f64 = shape.iter().map(area_m2).sum();
        let plain = area_m2(&read(&RECTANGLE).unwrap().0.0[0]);
        assert!((area - plain).abs() < 2.0, "{area} {plain}");
        assert!(notices[0].contains("unclear"), "{notices:?}");
    }

    #[test]
    fn spikes_repeated_corners_and_touching_corners_change_nothing() {
        let spike =
            [[0.0, 0.0], [9.0, 0.0], [9.0, 0.0], [9.0, 300.0], [9.0, 350.0], [9.0, 300.0], [0.0, 300.0], [0.0, 0.0]];
        assert!(read(&spike).unwrap().1.is_empty());
        let hourglass = [[0.0, 0.0], [9.0, 0.0], [4.0, 100.0], [9.0, 200.0], [0.0, 200.0], [4.0, 100.0], [0.0, 0.0]];
        let (shape, notices) = read(&hourglass).unwrap();
        assert!(notices.is_empty() && shape.0.len() == 1, "{notices:?}");
    }

    #[test]
    fn what_has_no_area_is_refused_and_left_out_beside_what_has() {
        for flat in [
            &[[0.0, 0.0], [9.0, 0.0], [0.0, 0.0]][..],
            &[[0.0, 0.0]],
            &[],
            &[[0.0, 0.0], [0.0, 1.0], [0.0, 2.0], [0.0, 0.0]],
        ] {
            assert!(read(flat).unwrap_err().contains("no area"), "{flat:?}");
        }
        let there_and_back = [[0.0, 0.0], [9.0, 0.0], [9.0, 9.0], [9.0, 0.0], [0.0, 0.0]];
        assert!(read(&there_and_back).unwrap_err().contains("no area"));
        let (shape, notices) = outline(vec![vec![ring(&RECTANGLE)], vec![ring(&there_and_back)]]).unwrap();
        assert_eq!((shape.0.len(), notices.len()), (1, 1));
    }

    #[test]
    fn positions_that_are_no_longitude_and_latitude_are_told_apart() {
        let at = |x: f64, y: f64| outline(vec![vec![vec![[x, y]; 4]]]).unwrap_err();
        assert!(at(42.0, -93.5).contains("swapped"), "{}", at(42.0, -93.5));
        assert!(at(448_262.0, 4_649_776.0).contains("metres"));
        assert!(at(266.5, 42.0).contains("266.5, 42"));
        assert!(at(f64::NAN, 42.0).contains("not a number"));
    }

    #[test]
    fn a_shape_across_the_antimeridian_must_be_cut_there() {
        let across = vec![[179.999, 60.0], [-179.999, 60.0], [-179.999, 60.1], [179.999, 60.1], [179.999, 60.0]];
        assert!(outline(vec![vec![across]]).unwrap_err().contains("3.1.9"));
    }

    #[test]
    fn more_corners_or_parts_than_a_strip_has_are_refused() {
        let many = vec![[1.0, 1.0]; MOST_CORNERS + 1];
        assert!(outline(vec![vec![many]]).unwrap_err().contains("20001 corners"));
        assert!(outline(vec![vec![ring(&RECTANGLE)]; MOST_RINGS + 1]).unwrap_err().contains("501 parts"));
    }

    #[test]
    fn a_hole_outside_its_outline_is_refused() {
        let outside = [[20.0, 0.0], [29.0, 0.0], [29.0, 30.0], [20.0, 0.0]];
        let problem = outline(vec![vec![ring(&RECTANGLE), ring(&outside)]]).unwrap_err();
        assert!(problem.contains("ring 2"), "{problem}");
    }
}
