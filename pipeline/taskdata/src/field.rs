//! Farms and fields.

use crate::node::Node;
use crate::notice::Notices;

/// A farm.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Farm {
    /// Id in the set, such as `FRM1`.
    pub id: String,
    /// Name, where it has one.
    pub designator: Option<String>,
}

/// A field.
#[derive(Debug, Clone, PartialEq)]
pub struct Field {
    /// Id in the set, such as `PFD1`.
    pub id: String,
    /// Name, where it has one.
    pub designator: Option<String>,
    /// Id of its farm.
    pub farm: Option<String>,
    /// Area in square metres as written, where it is more than zero.
    pub area_m2: Option<f64>,
    /// Its boundary: outer rings and the holes in them. Empty where none is drawn.
    pub boundary: Vec<Ring>,
}

/// One closed line of a boundary.
#[derive(Debug, Clone, PartialEq)]
pub struct Ring {
    /// Whether it is a hole.
    pub hole: bool,
    /// Longitude and latitude of its corners in degrees (WGS 84), three at least, as they are written: the last may or may
    /// not repeat the first.
    pub points: Vec<[f64; 2]>,
}

const REMEDY: &str = "look at the field's boundary, or give one from another file";

impl Farm {
    pub(crate) fn read(node: &Node) -> Self {
        let (id, designator) = (node.text(b'A').unwrap_or("").to_owned(), node.text(b'B').map(str::to_owned));
        Self { id, designator }
    }
}

impl Field {
    pub(crate) fn read(node: &Node, file: &str, notices: &mut Notices) -> Self {
        // Polygon type 1 is the boundary of the field; other types are zones, water, roads (seen for 1 and 2).
        let boundaries = node.all("PLN").filter(|polygon| polygon.text(b'A') == Some("1"));
        let mut boundary = Vec::new();
        for line in boundaries.flat_map(|polygon| polygon.all("LSG")) {
            // Line type 1 is an outer ring and 2 an inner one (1 seen, 2 memory).
            let hole = match line.text(b'A') {
                Some("1") => false,
                Some("2") => true,
                other => {
                    let message = format!(
                        "a line of a boundary has the type \"{}\", not 1 or 2; it is left out",
                        other.unwrap_or("")
                    );
                    notices.add("boundary_line_unknown", format!("{file}, line {}", line.line), message, REMEDY);
                    continue;
                }
            };
            let all: Vec<&Node> = line.all("PNT").collect();
            let points: Vec<[f64; 2]> = all.iter().filter_map(|point| corner(point)).collect();
            let place = format!("{file}, line {}", line.line);
            if points.len() < all.len() {
                let message =
                    format!("{} of {} corners of a boundary have no usable place", all.len() - points.len(), all.len());
                notices.add("boundary_corners_dropped", place.clone(), message, REMEDY);
            }
            if points.len() < 3 {
                let message = format!("a boundary has {} corners, fewer than three; it is left out", points.len());
                notices.add("boundary_too_short", place, message, REMEDY);
            } else {
                boundary.push(Ring { hole, points });
            }
        }
        Self {
            id: node.text(b'A').unwrap_or("").to_owned(),
            designator: node.text(b'C').map(str::to_owned),
            farm: node.text(b'F').map(str::to_owned),
            area_m2: node.number(b'D').filter(|area: &f64| area.is_finite() && *area > 0.0),
            boundary,
        }
    }
}

fn corner(point: &Node) -> Option<[f64; 2]> {
    let (latitude, longitude): (f64, f64) = (point.number(b'C')?, point.number(b'D')?);
    (latitude.abs() <= 90.0 && longitude.abs() <= 180.0).then_some([longitude, latitude])
}
