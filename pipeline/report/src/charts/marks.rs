//! Marks that tell blocks apart by shape first and ink second, and dashes that tell lines apart.

use crate::charts::sketch::{Ink, Point, Sketch};

const SHAPES: usize = 8;
const INKS: [Ink; 3] = [Ink::Dark, Ink::Rust, Ink::Teal];
const RADIUS: f64 = 5.0;

/// Draws the mark of the block with this number. After eight shapes the shapes come again in another ink.
pub(crate) fn mark(sketch: &mut Sketch, centre: Point, number: usize) {
    let ink = INKS[(number + number / SHAPES) % INKS.len()];
    let (x, y) = centre;
    let r = RADIUS;
    let closed = |points: &[Point]| -> Vec<Point> {
        let mut points: Vec<Point> = points.iter().map(|(dx, dy)| (x + dx, y + dy)).collect();
        points.push(points[0]);
        points
    };
    let upright = [(0.0, -1.15 * r), (1.05 * r, 0.75 * r), (-1.05 * r, 0.75 * r)];
    let turned = upright.map(|(dx, dy)| (dx, -dy));
    let diamond = [(0.0, -1.25 * r), (1.1 * r, 0.0), (0.0, 1.25 * r), (-1.1 * r, 0.0)];
    let square = [(-0.9 * r, -0.9 * r), (0.9 * r, -0.9 * r), (0.9 * r, 0.9 * r), (-0.9 * r, 0.9 * r)];
    let stroke = |sketch: &mut Sketch, from: Point, to: Point| {
        sketch.line(vec![(x + from.0, y + from.1), (x + to.0, y + to.1)], ink, 2.0);
    };
    match number % SHAPES {
        0 => sketch.circle(centre, r, ink, None),
        1 => outlined(sketch, closed(&square), ink),
        2 => sketch.area(closed(&upright), ink),
        3 => outlined(sketch, closed(&diamond), ink),
        4 => {
            stroke(sketch, (-r, -r), (r, r));
            stroke(sketch, (-r, r), (r, -r));
        }
        5 => {
            stroke(sketch, (-1.2 * r, 0.0), (1.2 * r, 0.0));
            stroke(sketch, (0.0, -1.2 * r), (0.0, 1.2 * r));
        }
        6 => outlined(sketch, closed(&turned), ink),
        _ => sketch.area(closed(&square), ink),
    }
}

fn outlined(sketch: &mut Sketch, points: Vec<Point>, ink: Ink) {
    sketch.area(points.clone(), Ink::Paper);
    sketch.line(points, ink, 1.7);
}

/// How a line looks: ink, dash pattern and width.
pub(crate) struct LineLook {
    pub ink: Ink,
    pub dash: &'static [f64],
    pub width: f64,
}

/// The look of the line with this number. Ink and dash change together, so that grey print still tells lines apart.
pub(crate) fn line_look(number: usize) -> LineLook {
    const DASHES: [&[f64]; 6] =
        [&[], &[9.0, 4.0], &[2.5, 3.5], &[12.0, 3.5, 2.5, 3.5], &[16.0, 5.0], &[6.0, 3.0, 2.0, 3.0, 2.0, 3.0]];
    const LINE_INKS: [Ink; 6] = [Ink::Dark, Ink::Rust, Ink::Teal, Ink::Dark, Ink::Teal, Ink::Rust];
    LineLook { ink: LINE_INKS[number % LINE_INKS.len()], dash: DASHES[number % DASHES.len()], width: 2.2 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn neighbouring_blocks_and_lines_differ_in_more_than_ink() {
        // What is drawn without its ink, but with paper told from ink: an outline is not a filled shape.
        let drawn = |number: usize| {
            let mut sketch = Sketch::new();
            mark(&mut sketch, (0.0, 0.0), number);
            format!("{:?}", sketch.shapes).replace("Rust", "Dark").replace("Teal", "Dark")
        };
        for first in 0..SHAPES {
            for second in 0..first {
                assert_ne!(drawn(first), drawn(second), "blocks {first} and {second}");
            }
        }
        for first in 0..6 {
            for second in 0..first {
                assert_ne!(line_look(first).dash, line_look(second).dash);
            }
        }
    }
}
