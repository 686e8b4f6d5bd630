//! A chart as a list of shapes, before it is painted: one drawing gives the SVG and the bitmap, and a test can ask
//! where every text lies.

#[cfg(test)]
use crate::font;

/// Size of chart text in pixels to the em. Charts are 560 pixels wide, so that text stays legible on a phone.
pub(crate) const TEXT: f64 = 15.0;
/// Size of a chart's title.
pub(crate) const TITLE: f64 = 17.0;
/// Width of every chart.
pub(crate) const WIDTH: f64 = 560.0;

/// The inks of the report. They differ in lightness as well as in hue; shape or dash differs wherever ink does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Ink {
    /// Nearly black: text, axes, first curve.
    Dark,
    /// Burnt orange: second voice.
    Rust,
    /// Blue-green: third voice.
    Teal,
    /// Grey for what stands back.
    Muted,
    /// Hair lines.
    Hair,
    /// Fill of a band around a curve.
    Band,
    /// Paper.
    Paper,
    /// Five shades of one hue from light to dark, for maps.
    Shade0,
    Shade1,
    Shade2,
    Shade3,
    Shade4,
}

impl Ink {
    /// Every ink, paper first.
    pub const ALL: [Ink; 12] = [
        Ink::Paper,
        Ink::Dark,
        Ink::Rust,
        Ink::Teal,
        Ink::Muted,
        Ink::Hair,
        Ink::Band,
        Ink::Shade0,
        Ink::Shade1,
        Ink::Shade2,
        Ink::Shade3,
        Ink::Shade4,
    ];

    /// Red, green and blue.
    pub fn rgb(self) -> (u8, u8, u8) {
        match self {
            Ink::Dark => (28, 40, 46),
            Ink::Rust => (168, 66, 22),
            Ink::Teal => (38, 122, 128),
            Ink::Muted => (92, 102, 106),
            Ink::Hair => (205, 205, 198),
            Ink::Band => (230, 226, 215),
            Ink::Paper => (255, 255, 255),
            Ink::Shade0 => (240, 237, 226),
            Ink::Shade1 => (199, 211, 199),
            Ink::Shade2 => (140, 178, 175),
            Ink::Shade3 => (71, 130, 138),
            Ink::Shade4 => (19, 68, 82),
        }
    }
}

/// A place on the sketch: pixels from the left and from the top.
pub(crate) type Point = (f64, f64);

/// Which end or middle of a text stands at its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Anchor {
    Start,
    Middle,
    End,
}

/// One shape.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Shape {
    /// A line through points.
    Line { points: Vec<Point>, ink: Ink, width: f64 },
    /// A filled area.
    Area { points: Vec<Point>, ink: Ink },
    /// A circle, filled or as an outline of the given width.
    Circle { centre: Point, radius: f64, ink: Ink, outline: Option<f64> },
    /// A text on its baseline.
    Text { place: Point, anchor: Anchor, size: f64, ink: Ink, text: String },
    /// A place that tells what stands behind it when it is pointed at. It has no ink; an image shows nothing of it.
    Spot { centre: Point, radius: f64, says: String },
}

/// A text's box: left, top, right, bottom.
#[cfg(test)]
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct TextBox {
    pub left: f64,
    pub top: f64,
    pub right: f64,
    pub bottom: f64,
}

#[cfg(test)]
impl TextBox {
    /// Whether two boxes share any room.
    pub fn meets(&self, other: &TextBox) -> bool {
        self.left < other.right && other.left < self.right && self.top < other.bottom && other.top < self.bottom
    }
}

/// A chart before it is painted.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Sketch {
    pub height: f64,
    pub shapes: Vec<Shape>,
}

impl Sketch {
    /// An empty sketch, of a height that is set when it is known.
    pub fn new() -> Self {
        Self { height: 0.0, shapes: Vec::new() }
    }

    pub fn line(&mut self, points: Vec<Point>, ink: Ink, width: f64) {
        if points.len() > 1 {
            self.shapes.push(Shape::Line { points, ink, width });
        }
    }

    pub fn area(&mut self, points: Vec<Point>, ink: Ink) {
        if points.len() > 2 {
            self.shapes.push(Shape::Area { points, ink });
        }
    }

    /// A line cut into dashes: lengths drawn and left out in turn. An empty pattern is a solid line.
    pub fn dashed(&mut self, points: &[Point], pattern: &[f64], ink: Ink, width: f64) {
        if pattern.is_empty() {
            self.line(points.to_vec(), ink, width);
            return;
        }
        let mut index = 0;
        let mut left = pattern[0];
        let mut dash: Vec<Point> = Vec::new();
        for pair in points.windows(2) {
            let (mut from, to) = (pair[0], pair[1]);
            if index % 2 == 0 && dash.is_empty() {
                dash.push(from);
            }
            loop {
                let (dx, dy) = (to.0 - from.0, to.1 - from.1);
                let length = dx.hypot(dy);
                if length <= left {
                    left -= length;
                    if index % 2 == 0 {
                        dash.push(to);
                    }
                    break;
                }
                let cut = (from.0 + dx * left / length, from.1 + dy * left / length);
                if index % 2 == 0 {
                    dash.push(cut);
                    self.line(std::mem::take(&mut dash), ink, width);
                } else {
                    dash = vec![cut];
                }
                index += 1;
                left = pattern[index % pattern.len()];
                from = cut;
            }
        }
        self.line(dash, ink, width);
    }

    /// Slanted hatching inside a box, with its outline.
    pub fn hatched(&mut self, left: f64, top: f64, right: f64, bottom: f64, ink: Ink) {
        let height = bottom - top;
        let mut start = left - height;
        while start < right {
            // The stroke runs up to the right from (start, bottom); cut it to the box.
            let enter = start.max(left);
            let leave = (start + height).min(right);
            if leave > enter {
                self.line(vec![(enter, bottom - (enter - start)), (leave, bottom - (leave - start))], ink, 1.0);
            }
            start += 6.0;
        }
        self.line(vec![(left, top), (right, top), (right, bottom), (left, bottom), (left, top)], ink, 1.2);
    }

    /// A place that tells what stands behind it.
    pub fn spot(&mut self, centre: Point, radius: f64, says: &str) {
        if !says.is_empty() {
            self.shapes.push(Shape::Spot { centre, radius, says: says.to_owned() });
        }
    }

    pub fn circle(&mut self, centre: Point, radius: f64, ink: Ink, outline: Option<f64>) {
        self.shapes.push(Shape::Circle { centre, radius, ink, outline });
    }

    /// A text at its baseline. Control characters, which no file of marks may hold, become spaces.
    pub fn text(&mut self, place: Point, anchor: Anchor, ink: Ink, text: &str) {
        self.text_sized(place, anchor, TEXT, ink, text);
    }

    pub fn text_sized(&mut self, place: Point, anchor: Anchor, size: f64, ink: Ink, text: &str) {
        let text: String = text.chars().map(|letter| if letter.is_control() { ' ' } else { letter }).collect();
        if !text.trim().is_empty() {
            self.shapes.push(Shape::Text { place, anchor, size, ink, text });
        }
    }

    /// The boxes of all texts, with the texts.
    #[cfg(test)]
    pub fn text_boxes(&self) -> Vec<(String, TextBox)> {
        self.shapes
            .iter()
            .filter_map(|shape| match shape {
                Shape::Text { place, anchor, size, text, .. } => {
                    Some((text.clone(), text_box(*place, *anchor, *size, text)))
                }
                _ => None,
            })
            .collect()
    }
}

/// Where a text lies.
#[cfg(test)]
fn text_box(place: Point, anchor: Anchor, size: f64, text: &str) -> TextBox {
    let width = font::text_width(text, size);
    let left = match anchor {
        Anchor::Start => place.0,
        Anchor::Middle => place.0 - width / 2.0,
        Anchor::End => place.0 - width,
    };
    // Capital height and descender of the font, near enough to tell whether two lines touch.
    TextBox { left, top: place.1 - 0.75 * size, right: left + width, bottom: place.1 + 0.22 * size }
}

/// Every text lies inside the chart and on no other.
#[cfg(test)]
pub(crate) fn assert_no_text_meets(sketch: &Sketch, what: &str) {
    let boxes = sketch.text_boxes();
    for (index, (text, place)) in boxes.iter().enumerate() {
        assert!(place.left >= -0.5 && place.right <= WIDTH + 0.5, "{what}: {text} leaves the chart: {place:?}");
        assert!(place.bottom <= sketch.height, "{what}: {text} is cut");
        for (other, other_place) in &boxes[index + 1..] {
            assert!(!place.meets(other_place), "{what}: {text} lies on {other}");
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drawn_length(sketch: &Sketch) -> f64 {
        sketch
            .shapes
            .iter()
            .map(|shape| match shape {
                Shape::Line { points, .. } => {
                    points.windows(2).map(|pair| (pair[1].0 - pair[0].0).hypot(pair[1].1 - pair[0].1)).sum()
                }
                _ => 0.0,
            })
            .sum()
    }

    #[test]
    fn dashes_carry_on_round_corners_and_draw_their_share() {
        let mut sketch = Sketch::new();
        // 100 long with a corner; dashes of 6 and gaps of 4 draw six tenths of it.
        sketch.dashed(&[(0.0, 0.0), (55.0, 0.0), (55.0, 45.0)], &[6.0, 4.0], Ink::Dark, 1.0);
        assert!((drawn_length(&sketch) - 60.0).abs() < 1e-9, "{}", drawn_length(&sketch));
        assert!(sketch.shapes.iter().any(|shape| matches!(shape, Shape::Line { points, .. } if points.len() == 3)));
    }

    #[test]
    fn hatching_stays_inside_its_box() {
        let mut sketch = Sketch::new();
        sketch.hatched(10.0, 20.0, 13.0, 40.0, Ink::Dark);
        sketch.hatched(50.0, 20.0, 150.0, 32.0, Ink::Dark);
        for shape in &sketch.shapes {
            let Shape::Line { points, .. } = shape else { panic!("only lines") };
            for &(x, y) in points {
                assert!((10.0..=150.0).contains(&x) && (20.0..=40.0).contains(&y), "{x}, {y}");
            }
        }
    }

    #[test]
    fn control_characters_do_not_reach_a_chart() {
        let mut sketch = Sketch::new();
        sketch.text((0.0, 10.0), Anchor::Start, Ink::Dark, "a\u{1}b");
        sketch.text((0.0, 10.0), Anchor::Start, Ink::Dark, "\n");
        assert_eq!(sketch.text_boxes().len(), 1);
        assert_eq!(sketch.text_boxes()[0].0, "a b");
    }
}
