//! A map of a field-season's strips, shaded by how they came up.

use crate::charts::sketch::{Anchor, Ink, Point, Sketch, TEXT, TITLE, WIDTH};
use crate::font;
use crate::words::labels;

/// A strip on the map: rings of its outline, or the line that was driven, or one place; longitude and latitude in degrees.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Ground {
    Rings(Vec<Vec<Point>>),
    Line(Vec<Point>),
}

/// A strip with its class of the response.
#[derive(Debug, Clone)]
pub(crate) struct Plot {
    pub ground: Ground,
    /// Number of its class, from the lowest; `None` where it was not counted.
    pub class: Option<usize>,
    /// What it says when it is pointed at.
    pub says: String,
}

/// Strips of a field-season.
#[derive(Debug, Clone)]
pub(crate) struct StripMap {
    pub title: String,
    pub key_title: String,
    /// Names of the classes, from the lowest.
    pub classes: Vec<String>,
    pub plots: Vec<Plot>,
    /// Metres in one unit of the scale bar, and the unit.
    pub unit: (f64, &'static str),
}

/// Metres in a degree of latitude: a quarter of the meridian of WGS 84, 10 001 966 m, over 90.
const METRES_PER_DEGREE: f64 = 10_001_966.0 / 90.0;
const HIGHEST: f64 = 420.0;
const LEFT: f64 = 12.0;

impl StripMap {
    /// The chart as shapes.
    pub fn sketch(&self) -> Sketch {
        let mut sketch = Sketch::new();
        sketch.text_sized((4.0, 22.0), Anchor::Start, TITLE, Ink::Dark, &font::fitted(&self.title, TITLE, WIDTH - 8.0));
        let top = self.key(&mut sketch) + 18.0;
        let points = || self.plots.iter().flat_map(|plot| plot.ground.points());
        let Some(frame) = Frame::around(points(), top) else {
            sketch.height = top;
            return sketch;
        };
        for plot in &self.plots {
            let shade = plot.class.map(|class| shade(class, self.classes.len()));
            let middle = match &plot.ground {
                Ground::Rings(rings) => {
                    for ring in rings {
                        let ring: Vec<Point> = ring.iter().map(|point| frame.place(*point)).collect();
                        if let Some(shade) = shade {
                            sketch.area(ring.clone(), shade);
                        }
                        sketch.line(ring, Ink::Dark, 1.0);
                    }
                    let outer = rings.first().map(Vec::as_slice).unwrap_or_default();
                    middle(&outer.iter().map(|point| frame.place(*point)).collect::<Vec<_>>())
                }
                Ground::Line(line) => {
                    let line: Vec<Point> = line.iter().map(|point| frame.place(*point)).collect();
                    if let [only] = line.as_slice() {
                        sketch.circle(*only, 7.0, shade.unwrap_or(Ink::Paper), None);
                        sketch.circle(*only, 7.0, Ink::Dark, Some(1.0));
                    } else {
                        sketch.line(line.clone(), Ink::Dark, 8.0);
                        sketch.line(line.clone(), shade.unwrap_or(Ink::Paper), 6.0);
                    }
                    middle(&line)
                }
            };
            if let Some(middle) = middle {
                sketch.spot(middle, 9.0, &plot.says);
            }
        }
        let bottom = frame.bottom() + 20.0;
        self.scale_bar(&mut sketch, &frame, bottom);
        sketch.height = bottom + 34.0;
        sketch
    }

    fn key(&self, sketch: &mut Sketch) -> f64 {
        sketch.text((4.0, 46.0), Anchor::Start, Ink::Muted, &font::fitted(&self.key_title, TEXT, WIDTH - 8.0));
        let (mut x, mut y) = (4.0, 70.0);
        let none = self.plots.iter().any(|plot| plot.class.is_none()).then(|| labels::NOT_COUNTED.to_owned());
        let shades = (0..self.classes.len()).map(|class| shade(class, self.classes.len()));
        for (name, ink) in self.classes.iter().zip(shades).chain(none.iter().map(|name| (name, Ink::Paper))) {
            let width = 26.0 + font::text_width(name, TEXT);
            if x > 4.0 && x + width > WIDTH - 4.0 {
                x = 4.0;
                y += 22.0;
            }
            let corners = vec![(x, y - 13.0), (x + 18.0, y - 13.0), (x + 18.0, y + 1.0), (x, y + 1.0), (x, y - 13.0)];
            sketch.area(corners.clone(), ink);
            sketch.line(corners, Ink::Dark, 1.0);
            sketch.text((x + 24.0, y), Anchor::Start, Ink::Dark, name);
            x += width + 14.0;
        }
        y
    }

    /// A bar of a round length, and an arrow to the north.
    fn scale_bar(&self, sketch: &mut Sketch, frame: &Frame, baseline: f64) {
        let (size, unit) = self.unit;
        let longest = 180.0 / frame.pixels_per_metre / size;
        let power = 10f64.powf(longest.max(1e-9).log10().floor());
        let length = [5.0, 2.0, 1.0].map(|factor| factor * power).into_iter().find(|length| *length <= longest);
        let length = length.unwrap_or(power);
        let pixels = length * size * frame.pixels_per_metre;
        sketch.line(vec![(LEFT, baseline), (LEFT + pixels, baseline)], Ink::Dark, 2.4);
        for end in [LEFT, LEFT + pixels] {
            sketch.line(vec![(end, baseline - 5.0), (end, baseline + 5.0)], Ink::Dark, 1.2);
        }
        let words = crate::words::number::with_unit(
            &crate::words::number::fixed(length, if length < 1.0 { 1 } else { 0 }),
            unit,
        );
        sketch.text((LEFT, baseline + 22.0), Anchor::Start, Ink::Dark, &words);
        let x = WIDTH - 24.0;
        sketch.line(vec![(x, baseline + 8.0), (x, baseline - 12.0)], Ink::Dark, 1.6);
        sketch.area(vec![(x - 5.0, baseline - 8.0), (x + 5.0, baseline - 8.0), (x, baseline - 18.0)], Ink::Dark);
        sketch.text((x, baseline + 24.0), Anchor::Middle, Ink::Dark, "N");
    }
}

impl Ground {
    fn points(&self) -> Box<dyn Iterator<Item = Point> + '_> {
        match self {
            Ground::Rings(rings) => Box::new(rings.iter().flatten().copied()),
            Ground::Line(line) => Box::new(line.iter().copied()),
        }
    }
}

/// Light to dark: the darker, the higher.
pub(crate) fn shade(class: usize, classes: usize) -> Ink {
    let step = if classes < 2 { 2 } else { class * 4 / (classes - 1) };
    [Ink::Shade0, Ink::Shade1, Ink::Shade2, Ink::Shade3, Ink::Shade4][step.min(4)]
}

/// Where degrees lie on the chart: a plane that touches the earth in the middle of the field.
struct Frame {
    west: f64,
    north: f64,
    height: f64,
    top: f64,
    metres_per_degree_east: f64,
    pixels_per_metre: f64,
}

impl Frame {
    fn around(points: impl Iterator<Item = Point>, top: f64) -> Option<Self> {
        let (mut west, mut east, mut south, mut north) = (f64::MAX, f64::MIN, f64::MAX, f64::MIN);
        let mut any = false;
        for (lon, lat) in points.filter(|(lon, lat)| lon.is_finite() && lat.is_finite()) {
            (west, east, south, north) = (west.min(lon), east.max(lon), south.min(lat), north.max(lat));
            any = true;
        }
        if !any {
            return None;
        }
        let metres_per_degree_east = METRES_PER_DEGREE * ((south + north) / 2.0).to_radians().cos().max(1e-3);
        // A place alone still has ground around it.
        let wide = ((east - west) * metres_per_degree_east).max(10.0);
        let high = ((north - south) * METRES_PER_DEGREE).max(4.0);
        let pixels_per_metre = ((WIDTH - 2.0 * LEFT) / wide).min(HIGHEST / high);
        Some(Self { west, north, height: high * pixels_per_metre, top, metres_per_degree_east, pixels_per_metre })
    }

    fn place(&self, (lon, lat): Point) -> Point {
        (
            LEFT + (lon - self.west) * self.metres_per_degree_east * self.pixels_per_metre,
            self.top + (self.north - lat) * METRES_PER_DEGREE * self.pixels_per_metre,
        )
    }

    fn bottom(&self) -> f64 {
        self.top + self.height
    }
}

fn middle(points: &[Point]) -> Option<Point> {
    let count = points.len() as f64;
    let sum = points.iter().fold((0.0, 0.0), |sum, point| (sum.0 + point.0, sum.1 + point.1));
    (count > 0.0).then(|| (sum.0 / count, sum.1 / count))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::charts::sketch::assert_no_text_meets;

    fn map(plots: Vec<Plot>) -> StripMap {
        StripMap {
            title: "North, 2025".to_owned(),
            key_title: "Plants up on time".to_owned(),
            classes: ["50 to 60 %", "60 to 70 %", "70 to 80 %"].map(str::to_owned).to_vec(),
            plots,
            unit: (1.0, "m"),
        }
    }

    fn plot(ground: Ground, class: Option<usize>) -> Plot {
        Plot { ground, class, says: "strip 1".to_owned() }
    }

    #[test]
    fn a_map_keeps_the_shape_of_the_ground() {
        // 0.001° of latitude are 111.13 m; at 60° north 0.001° of longitude are half that.
        let frame = Frame::around([(10.0, 60.0), (10.001, 60.001)].into_iter(), 0.0).expect("points");
        let (x, y) = frame.place((10.001, 60.0));
        let (wide, high) = (x - LEFT, y);
        assert!((wide / high - 0.5).abs() < 1e-3, "{wide} by {high}");
        assert!((high / frame.pixels_per_metre - 111.132_955).abs() < 1e-3);
    }

    #[test]
    fn outlines_lines_and_single_places_are_drawn_and_texts_stay_apart() {
        let ring = vec![(10.0, 50.0), (10.001, 50.0), (10.001, 50.002), (10.0, 50.0)];
        let plots = vec![
            plot(Ground::Rings(vec![ring]), Some(0)),
            plot(Ground::Line(vec![(10.002, 50.0), (10.002, 50.002)]), Some(2)),
            plot(Ground::Line(vec![(10.003, 50.0)]), None),
        ];
        let sketch = map(plots).sketch();
        assert_no_text_meets(&sketch, "three grounds");
        assert!(sketch.height > 200.0);
        assert_no_text_meets(&map(Vec::new()).sketch(), "nothing");
        let one = map(vec![plot(Ground::Line(vec![(10.0, 50.0)]), Some(1))]).sketch();
        assert_no_text_meets(&one, "one place");
        let bad = map(vec![plot(Ground::Line(vec![(f64::NAN, 50.0)]), Some(1))]).sketch();
        assert!(bad.height.is_finite());
    }

    #[test]
    fn shades_grow_darker() {
        let light = |ink: Ink| {
            let (red, green, blue) = ink.rgb();
            u32::from(red) + u32::from(green) + u32::from(blue)
        };
        for classes in 2..=5 {
            for class in 1..classes {
                assert!(light(shade(class, classes)) < light(shade(class - 1, classes)));
            }
        }
    }
}
