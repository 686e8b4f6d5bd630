//! Which side of a ring a point is on.

use geo::kernels::RobustKernel;
use geo::{Coord, Kernel, Orientation};

use crate::outline::within_limits;

/// A closed line of positions, longitude and latitude in degrees.
pub(crate) type Ring = Vec<[f64; 2]>;

/// Places of a ring that are tried before it counts as lying on another.
const MOST_PROBES: usize = 16;

/// Where a point lies. Edges and corners are the border, and the border belongs to the shape.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Side {
    Inside,
    Border,
    Outside,
}

/// Counts the edges that a ray from a point towards the east crosses; whichever way round rings go, an odd count is
/// inside.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Ray {
    odd: bool,
    border: bool,
}

impl Ray {
    /// Takes an edge. Exact: near an edge the side is decided by robust arithmetic (Shewchuk 1997).
    #[inline]
    pub(crate) fn edge(&mut self, from: Coord<f64>, to: Coord<f64>, point: Coord<f64>) {
        let (low, high) = if from.y <= to.y { (from, to) } else { (to, from) };
        if point.y < low.y || point.y > high.y || point.x > from.x.max(to.x) {
            return;
        }
        // Half open, so that a corner on the ray is counted once.
        let crosses = low.y <= point.y && point.y < high.y;
        if point.x < from.x.min(to.x) {
            self.odd ^= crosses;
            return;
        }
        match RobustKernel::orient2d(low, high, point) {
            Orientation::Collinear => self.border = true,
            Orientation::CounterClockwise => self.odd ^= crosses,
            Orientation::Clockwise => {}
        }
    }

    /// Takes edges that follow each other and all lie further east than the point: crossed an odd number of times where
    /// their two ends are on different sides of the ray.
    #[inline]
    pub(crate) fn path_to_the_east(&mut self, from: Coord<f64>, to: Coord<f64>, point: Coord<f64>) {
        self.odd ^= (from.y <= point.y) != (to.y <= point.y);
    }

    /// What the edges so far say.
    #[inline]
    pub(crate) fn side(self) -> Side {
        match self {
            Self { border: true, .. } => Side::Border,
            Self { odd: true, .. } => Side::Inside,
            _ => Side::Outside,
        }
    }
}

/// Where a point lies to one ring.
pub(crate) fn side_of(ring: &[[f64; 2]], point: [f64; 2]) -> Side {
    let mut ray = Ray::default();
    for (from, to) in ring.iter().zip(ring.iter().skip(1)) {
        ray.edge((*from).into(), (*to).into(), point.into());
    }
    ray.side()
}

/// Whether `inner` lies in `outer`, for rings that do not cross: told by its first corner or middle of an edge that is
/// off the border.
pub(crate) fn lies_in(inner: &[[f64; 2]], outer: &[[f64; 2]]) -> bool {
    let middle = |a: &[f64; 2], b: &[f64; 2]| [(a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0];
    let probes = inner.iter().zip(inner.iter().skip(1)).flat_map(|(a, b)| [*a, middle(a, b)]);
    let side = probes.take(MOST_PROBES).map(|point| side_of(outer, point)).find(|side| *side != Side::Border);
    side == Some(Side::Inside)
}

/// Sorts loose rings into polygons, the outline first and its holes after it: a ring inside an odd number of others is
/// a hole of the innermost of them. The direction of a ring is not relied on. Errors with the reason where there are
/// too many.
pub(crate) fn nested(rings: Vec<Ring>) -> Result<Vec<Vec<Ring>>, String> {
    within_limits(rings.iter())?;
    let around: Vec<Vec<usize>> = (0..rings.len())
        .map(|inner| {
            let encloses = |outer: &usize| {
                *outer != inner && matches!((rings.get(inner), rings.get(*outer)), (Some(a), Some(b)) if lies_in(a, b))
            };
            (0..rings.len()).filter(encloses).collect()
        })
        .collect();
    let depth = |ring: usize| around.get(ring).map_or(0, Vec::len);
    let mut polygons: Vec<(usize, Vec<Ring>)> = Vec::new();
    let mut holes = Vec::new();
    for (place, ring) in rings.into_iter().enumerate() {
        if depth(place).is_multiple_of(2) { polygons.push((place, vec![ring])) } else { holes.push((place, ring)) }
    }
    for (place, ring) in holes {
        let parent = around.get(place).into_iter().flatten().find(|outer| depth(**outer) + 1 == depth(place));
        match polygons.iter_mut().find(|(outline, _)| Some(outline) == parent) {
            Some((_, polygon)) => polygon.push(ring),
            None => {
                return Err(
                    "its rings do not lie in one another: draw outline and holes so that they do not cross".into()
                );
            }
        }
    }
    Ok(polygons.into_iter().map(|(_, polygon)| polygon).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn square(low: f64, high: f64) -> Ring {
        vec![[low, low], [high, low], [high, high], [low, high], [low, low]]
    }

    #[test]
    fn corners_and_edges_are_the_border_and_a_ray_through_a_corner_counts_it_once() {
        let diamond = vec![[0.0, -1.0], [1.0, 0.0], [0.0, 1.0], [-1.0, 0.0], [0.0, -1.0]];
        for (point, side) in [
            ([0.0, 0.0], Side::Inside),
            ([-2.0, 0.0], Side::Outside),
            ([2.0, 0.0], Side::Outside),
            ([-2.0, 1.0], Side::Outside),
            ([-2.0, -1.0], Side::Outside),
            ([1.0, 0.0], Side::Border),
            ([0.5, 0.5], Side::Border),
            ([0.5, 0.5 + 1e-15], Side::Outside),
        ] {
            assert_eq!(side_of(&diamond, point), side, "{point:?}");
            let reversed: Ring = diamond.iter().rev().copied().collect();
            assert_eq!(side_of(&reversed, point), side, "{point:?}, the other way round");
        }
        for (point, side) in [([0.0, 1.0], Side::Border), ([-1.0, 0.0], Side::Outside), ([-1.0, 1.0], Side::Outside)] {
            assert_eq!(side_of(&square(0.0, 1.0), point), side, "{point:?}");
        }
    }

    #[test]
    fn loose_rings_become_outlines_with_their_holes_whatever_their_order_and_direction() {
        let mut island = square(3.0, 4.0);
        island.reverse();
        let rings = vec![square(2.0, 5.0), square(0.0, 9.0), island.clone(), square(20.0, 21.0)];
        let polygons = nested(rings).unwrap();
        assert_eq!(polygons, [vec![square(0.0, 9.0), square(2.0, 5.0)], vec![island], vec![square(20.0, 21.0)]]);
    }

    #[test]
    fn a_ring_that_touches_another_from_inside_is_its_hole() {
        let polygons = nested(vec![square(0.0, 2.0), square(0.0, 1.0)]).unwrap();
        assert_eq!(polygons.len(), 1, "touches along two edges: {polygons:?}");
        assert!(nested(vec![square(0.0, 1.0); 501]).is_err());
    }
}
