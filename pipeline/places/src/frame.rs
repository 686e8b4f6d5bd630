//! Metres around a place.

use std::f64::consts::PI;

/// Semi-major axis of WGS 84 in metres (NGA.STND.0036, version 1.0.0, table 3.1).
const SEMI_MAJOR_M: f64 = 6_378_137.0;
/// Reciprocal flattening of WGS 84 (same table).
const RECIPROCAL_FLATTENING: f64 = 298.257_223_563;

/// A flat frame, east and north in metres, that touches the ellipsoid at one latitude.
///
/// It is linear in longitude and latitude, so edges that are straight in degrees (RFC 7946, section 3.1.1) stay
/// straight. A degree of latitude is M π/180 and one of longitude N cos φ π/180, with the radii of curvature in the
/// meridian, M = a (1 − e²) / (1 − e² sin² φ)^(3/2), and in the prime vertical, N = a / (1 − e² sin² φ)^(1/2): see any
/// text on geodesy. Up to 100 m from the place it errs by less than a millimetre up to 65 degrees of latitude; the
/// tests hold it against the geodesic.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Frame {
    /// Metres a degree of longitude.
    pub east_m: f64,
    /// Metres a degree of latitude.
    pub north_m: f64,
}

impl Frame {
    /// The frame at a latitude in degrees.
    pub(crate) fn at(latitude: f64) -> Self {
        let flattening = 1.0 / RECIPROCAL_FLATTENING;
        let eccentricity_2 = flattening * (2.0 - flattening);
        let (sine, cosine) = (latitude * (PI / 180.0)).sin_cos();
        let shape = 1.0 - eccentricity_2 * sine * sine;
        let prime_vertical = SEMI_MAJOR_M / shape.sqrt();
        let meridian = prime_vertical * (1.0 - eccentricity_2) / shape;
        Self { east_m: prime_vertical * cosine.max(0.0) * (PI / 180.0), north_m: meridian * (PI / 180.0) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::{Distance, Geodesic, Point, line_measures::Destination};

    #[test]
    fn a_degree_is_as_long_as_the_ellipsoid_says() {
        // Longest and shortest degree of latitude: π/180 · a²/b at the poles, π/180 · a (1 − e²) at the equator, worked
        // out by hand from a = 6378137 and 1/f = 298.257223563.
        assert!((Frame::at(0.0).north_m - 110_574.275_8).abs() < 1e-3);
        assert!((Frame::at(90.0).north_m - 111_693.979_9).abs() < 1e-3);
        assert!((Frame::at(0.0).east_m - 111_319.490_8).abs() < 1e-3);
    }

    #[test]
    fn distances_up_to_100_m_agree_with_the_geodesic_to_a_millimetre() {
        let mut worst: f64 = 0.0;
        for latitude in [0.0, 45.0, 65.0, -45.0] {
            let (place, frame) = (Point::new(-93.5, latitude), Frame::at(latitude));
            for direction in 0..72 {
                for distance in [0.5, 1.0, 10.0, 100.0] {
                    let there = Geodesic.destination(place, f64::from(direction) * 5.0, distance);
                    let east = (there.x() - place.x()) * frame.east_m;
                    let north = (there.y() - place.y()) * frame.north_m;
                    worst = worst.max((east.hypot(north) - Geodesic.distance(place, there)).abs());
                }
            }
        }
        assert!(worst < 1e-3, "off by {worst} m");
    }
}
