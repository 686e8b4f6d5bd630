//! One outline with its holes, made ready for many questions.

use geo::{Coord, Polygon};

use crate::frame::Frame;
use crate::ring::{Ray, Side};

/// Edges of a ring that are skipped together where they are far from the point.
const RUN: usize = 32;

/// A box in degrees.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Bounds {
    pub low: [f64; 2],
    pub high: [f64; 2],
}

impl Bounds {
    /// Holds no point.
    pub(crate) const NONE: Self = Self { low: [f64::MAX; 2], high: [f64::MIN; 2] };

    /// The box around corners.
    fn around(corners: &[Coord<f64>]) -> Self {
        corners.iter().fold(Self::NONE, |Self { low: [west, south], high: [east, north] }, corner| Self {
            low: [west.min(corner.x), south.min(corner.y)],
            high: [east.max(corner.x), north.max(corner.y)],
        })
    }

    /// The box wider by a distance on every side, and a hundredth of it.
    fn widened(self, distance_m: f64) -> Self {
        let ([west, south], [east, north]) = (self.low, self.high);
        // A degree of latitude is shortest at the equator, one of longitude at the side nearer to a pole; at the pole
        // the box goes all the way round.
        let margin_y = 1.01 * distance_m / Frame::at(0.0).north_m;
        let frame = Frame::at((south.abs().max(north.abs()) + margin_y).min(90.0));
        let margin_x = if frame.east_m > 1.0 { 1.01 * distance_m / frame.east_m } else { 360.0 };
        Self { low: [west - margin_x, south - margin_y], high: [east + margin_x, north + margin_y] }
    }

    /// Whether a point is in the box; its border belongs to it.
    #[inline]
    pub(crate) fn holds(&self, point: Coord<f64>) -> bool {
        let ([west, south], [east, north]) = (self.low, self.high);
        west <= point.x && point.x <= east && south <= point.y && point.y <= north
    }
}

/// One polygon of a strip.
#[derive(Debug)]
pub(crate) struct Part {
    /// Place of the strip in its map.
    pub strip: usize,
    /// The box around it, wider by the buffer.
    pub bounds: Bounds,
    runs: Vec<Run>,
}

/// Some corners of a ring that follow each other, and the box around them, wider by the buffer.
#[derive(Debug)]
struct Run {
    bounds: Bounds,
    corners: Vec<Coord<f64>>,
}

impl Part {
    /// Makes a polygon ready for points whose distance matters up to the buffer.
    pub(crate) fn new(strip: usize, polygon: &Polygon<f64>, buffer_m: f64) -> Self {
        let mut runs = Vec::new();
        for ring in std::iter::once(polygon.exterior()).chain(polygon.interiors()) {
            let mut rest = ring.0.as_slice();
            while rest.len() > 1 {
                let corners = rest.get(..=RUN).unwrap_or(rest).to_vec();
                runs.push(Run { bounds: Bounds::around(&corners).widened(buffer_m), corners });
                rest = rest.get(RUN..).unwrap_or_default();
            }
        }
        Self { strip, bounds: Bounds::around(&polygon.exterior().0).widened(buffer_m), runs }
    }

    /// Which side of the polygon a point is on, and the square of its distance to the border in m² (infinite where it
    /// is further than the buffer).
    pub(crate) fn measure(&self, point: Coord<f64>, frame: Frame) -> (Side, f64) {
        let (mut ray, mut nearest) = (Ray::default(), f64::INFINITY);
        let metres = |corner: Coord<f64>| Coord {
            x: (corner.x - point.x) * frame.east_m,
            y: (corner.y - point.y) * frame.north_m,
        };
        for Run { bounds, corners } in &self.runs {
            let [first, rest @ ..] = corners.as_slice() else { continue };
            if !bounds.holds(point) {
                if let Some(last) = rest.last()
                    && point.x < bounds.low[0]
                {
                    ray.path_to_the_east(*first, *last, point);
                }
                continue;
            }
            let (mut from, mut from_m) = (*first, metres(*first));
            for to in rest {
                let to_m = metres(*to);
                ray.edge(from, *to, point);
                nearest = nearest.min(origin_to_edge(from_m, to_m));
                (from, from_m) = (*to, to_m);
            }
        }
        (ray.side(), nearest)
    }
}

/// Square of the distance from the origin to the nearest point of an edge.
#[inline]
fn origin_to_edge(from: Coord<f64>, to: Coord<f64>) -> f64 {
    let edge = to - from;
    let length_2 = edge.x * edge.x + edge.y * edge.y;
    let along = -(from.x * edge.x + from.y * edge.y);
    let share = if length_2 > 0.0 { (along / length_2).clamp(0.0, 1.0) } else { 0.0 };
    let (x, y) = (from.x + share * edge.x, from.y + share * edge.y);
    x * x + y * y
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ring::side_of;
    use geo::LineString;

    #[test]
    fn a_ring_of_many_corners_in_runs_gives_what_the_whole_ring_gives() {
        // A star of 500 corners between 0.5 and 1 thousandths of a degree from the middle.
        let ring: Vec<[f64; 2]> = (0..=500)
            .map(|corner| {
                let turn = f64::from(corner % 500) / 500.0 * std::f64::consts::TAU;
                let reach = if corner % 2 == 0 { 1e-3 } else { 5e-4 };
                [10.0 + reach * turn.cos(), 50.0 + reach * turn.sin()]
            })
            .collect();
        let part = Part::new(0, &Polygon::new(ring.iter().copied().collect::<LineString<f64>>(), Vec::new()), 2.0);
        assert_eq!(part.runs.len(), 16);
        let (frame, mut sides) = (Frame::at(50.0), [0; 3]);
        for step in 0..10_000 {
            let point = [10.0 + f64::from(step % 100 - 50) * 2.5e-5, 50.0 + f64::from(step / 100 - 50) * 2.5e-5];
            let (side, nearest_2) = part.measure(point.into(), frame);
            assert_eq!(side, side_of(&ring, point), "{point:?}");
            sides[side as usize] += 1;
            let flat =
                |c: [f64; 2]| Coord { x: (c[0] - point[0]) * frame.east_m, y: (c[1] - point[1]) * frame.north_m };
            let whole = ring.windows(2).map(|e| origin_to_edge(flat(e[0]), flat(e[1]))).fold(f64::INFINITY, f64::min);
            assert!(nearest_2 == whole || whole > 4.0, "{point:?}: {nearest_2} {whole}");
        }
        assert!(sides[0] > 1000 && sides[2] > 1000, "{sides:?}");
        for corner in &ring {
            assert_eq!(part.measure((*corner).into(), frame), (Side::Border, 0.0));
        }
    }
}
