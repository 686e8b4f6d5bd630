//! Where edges cross each other.

use geo::kernels::RobustKernel;
use geo::{Coord, Kernel, Orientation};

/// A straight line between two corners.
pub(crate) type Edge = [Coord<f64>; 2];

/// Crossings among edges.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Crossings {
    /// The middle of an edge that is crossed, in the coordinates of the edges.
    pub first: Option<Coord<f64>>,
    /// How many pairs of edges cross.
    pub count: usize,
}

/// Counts the pairs of edges that cross between their ends, or run over each other in one direction (which draws an
/// area twice). Edges that meet at a corner, or run back over each other, do not cross.
///
/// `work` is how many pairs may still be looked at. Gives nothing where that, or `most` crossings, does not suffice:
/// what resolves crossings takes memory for each, and a small file can have millions.
pub(crate) fn crossings(mut edges: Vec<Edge>, most: usize, work: &mut usize) -> Option<Crossings> {
    type Axis = fn(&Coord<f64>) -> f64;
    let extent = |of: Axis| {
        let ends = edges.iter().flatten().map(of);
        let (low, high) = ends.fold((f64::MAX, f64::MIN), |(low, high), end| (low.min(end), high.max(end)));
        high - low
    };
    let (x, y): (Axis, Axis) = (|corner| corner.x, |corner| corner.y);
    // Sorted along the longer side, few edges stand beside each other.
    let (along, across) = if extent(x) >= extent(y) { (x, y) } else { (y, x) };
    let span = |[a, b]: &Edge, of: Axis| (of(a).min(of(b)), of(a).max(of(b)));
    edges.sort_by(|a, b| span(a, along).0.total_cmp(&span(b, along).0));
    let mut found = Crossings::default();
    for (place, edge) in edges.iter().enumerate() {
        let (end, (low, high)) = (span(edge, along).1, span(edge, across));
        for other in edges.iter().skip(place + 1).take_while(|other| span(other, along).0 <= end) {
            *work = work.checked_sub(1)?;
            let (other_low, other_high) = span(other, across);
            if other_low <= high && low <= other_high && cross(*edge, *other) {
                let [a, b] = *other;
                found.first.get_or_insert((a + b) / 2.0);
                found.count += 1;
                if found.count > most {
                    return None;
                }
            }
        }
    }
    Some(found)
}

fn cross([a, b]: Edge, [c, d]: Edge) -> bool {
    let side = |from, to, point| RobustKernel::orient2d(from, to, point);
    let (of_c, of_d) = (side(a, b, c), side(a, b, d));
    if of_c == Orientation::Collinear && of_d == Orientation::Collinear {
        let (edge, other) = (b - a, d - c);
        let place = |point: Coord<f64>| (point.x - a.x) * edge.x + (point.y - a.y) * edge.y;
        let (start, end, length) = (place(c), place(d), place(b));
        let same_direction = edge.x * other.x + edge.y * other.y > 0.0;
        return same_direction && start < length && end > 0.0;
    }
    let (of_a, of_b) = (side(c, d, a), side(c, d, b));
    let none_on_a_line = [of_a, of_b, of_c, of_d].iter().all(|of| *of != Orientation::Collinear);
    none_on_a_line && of_a != of_b && of_c != of_d
}

#[cfg(test)]
mod tests {
    use super::*;

    fn edge(numbers: [f64; 4]) -> Edge {
        let [a, b, c, d] = numbers;
        [Coord { x: a, y: b }, Coord { x: c, y: d }]
    }

    #[test]
    fn edges_cross_between_their_ends_or_run_over_each_other_in_one_direction() {
        let diagonal = edge([0.0, 0.0, 2.0, 2.0]);
        for (other, count) in [
            ([0.0, 2.0, 2.0, 0.0], 1),
            ([0.0, 2.0, 1.0, 1.0], 0),
            ([0.0, 0.0, 2.0, 0.0], 0),
            ([1.0, 1.0, 3.0, 3.0], 1),
            ([3.0, 3.0, 1.0, 1.0], 0),
            ([2.0, 2.0, 3.0, 3.0], 0),
            ([5.0, 0.0, 0.0, 5.5], 0),
            ([0.0, 1.0, 2.0, 3.0], 0),
        ] {
            let found = crossings(vec![diagonal, edge(other)], 10, &mut 100).unwrap();
            assert_eq!(found.count, count, "{other:?}");
        }
    }

    #[test]
    fn a_tangle_is_given_up_before_it_takes_long() {
        let comb: Vec<Edge> =
            (0..2_000).map(|tooth| edge([f64::from(tooth), 0.0, f64::from(tooth), 2_000.0])).collect();
        let turned = comb.iter().map(|[a, b]| [Coord { x: a.y, y: a.x + 0.5 }, Coord { x: b.y, y: b.x + 0.5 }]);
        let all: Vec<Edge> = comb.iter().copied().chain(turned).collect();
        assert_eq!(crossings(all.clone(), 1_000, &mut usize::MAX.clone()), None);
        let mut work = 10_000;
        assert_eq!(crossings(all, usize::MAX, &mut work), None);
        assert_eq!(work, 0);
    }
}
