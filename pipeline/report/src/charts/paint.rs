//! Paints a sketch with plotters: as SVG text and as a PNG image.

use std::cell::Cell;

use evenstand_tables::escaped;
use plotters::coord::Shift;
use plotters::prelude::{Circle, DrawingArea, DrawingBackend, IntoDrawingArea, PathElement, Polygon};
use plotters::prelude::{IntoTextStyle, RGBColor, Text};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, IntoFont};
use tiny_skia::{IntSize, Pixmap};

use crate::ReportError;
use crate::charts::canvas::Canvas;
use crate::charts::image;
use crate::charts::sketch::{Anchor, Ink, Point, Shape, Sketch, WIDTH};
use crate::charts::svg::{BASELINE_PER_EM, SIZE_PER_EM, SvgMarks};
use crate::error::NO_FONT;
use crate::font;

/// Backends place everything on whole numbers, so both are given a canvas this many times as large: fine enough that
/// no line shows a step. The SVG scales itself back; the image has fewer pixels than that.
const FINE: f64 = 4.0;
/// Pixels of an image to one of the SVG's own size, along each side.
const PIXELS: f64 = 1.5;

/// How a backend counts the size of a font, and where it puts the baseline of a text anchored at its top.
#[derive(Clone, Copy)]
struct TextMeasure {
    size_per_em: f64,
    baseline_per_em: f64,
}

/// As SVG backends of the drawing library have it.
const SVG_TEXT: TextMeasure = TextMeasure { size_per_em: SIZE_PER_EM, baseline_per_em: BASELINE_PER_EM };
/// Our own canvas takes both as they are.
const CANVAS_TEXT: TextMeasure = TextMeasure { size_per_em: 1.0, baseline_per_em: 0.0 };

/// The sketch as an SVG document, with the alt text as its title. The same sketch gives the same bytes.
pub(crate) fn svg(sketch: &Sketch, alt: &str) -> Result<String, ReportError> {
    let (width, height) = fine_size(sketch);
    // The drawing happens on the fine canvas; people open the file at its own size.
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{WIDTH}\" height=\"{}\" viewBox=\"0 0 {width} {height}\" \
         role=\"img\" aria-label=\"{}\">\n",
        sketch.height,
        escaped(alt),
    );
    {
        let area = SvgMarks::new(&mut svg, (width, height)).into_drawing_area();
        lay_paper(&area)
            .and_then(|()| paint(sketch, &area, SVG_TEXT))
            .map_err(|problem| ReportError::Chart { chart: alt.to_owned(), problem })?;
    }
    spots(sketch, &mut svg);
    svg.push_str("</svg>\n");
    Ok(svg)
}

/// Places to point at, over everything else: a viewer shows the title of the one under the pointer.
fn spots(sketch: &Sketch, svg: &mut String) {
    for shape in &sketch.shapes {
        if let Shape::Spot { centre, radius, says } = shape {
            let (x, y) = fine(centre);
            svg.push_str(&format!(
                "<circle class=\"spot\" cx=\"{x}\" cy=\"{y}\" r=\"{:.0}\" fill=\"none\" pointer-events=\"all\"><title>{}</title></circle>\n",
                radius * FINE,
                escaped(says)
            ));
        }
    }
}

/// The sketch as a PNG image, half as fine again as the SVG's own size.
pub(crate) fn png(sketch: &Sketch, alt: &str) -> Result<Vec<u8>, ReportError> {
    let failed = |problem: String| ReportError::Chart { chart: alt.to_owned(), problem };
    let (width, height) = ((WIDTH * PIXELS) as u32, (sketch.height.max(1.0) * PIXELS) as u32);
    // Every thread draws one chart after another on the same pixels: fresh memory for each would have to be fetched and emptied anew.
    thread_local! {
        static PIXELS_OF_THREAD: Cell<Vec<u8>> = const { Cell::new(Vec::new()) };
    }
    let mut bytes = PIXELS_OF_THREAD.take();
    bytes.clear();
    // Where the canvas ends within the last row of pixels, that row stays as thin as it is; else all of it is paper.
    let whole = f64::from(height) * FINE / PIXELS;
    let paper = whole.fract() == 0.0;
    bytes.resize(4 * width as usize * height as usize, if paper { u8::MAX } else { 0 });
    let mut pixels = IntSize::from_wh(width, height)
        .and_then(|size| Pixmap::from_vec(bytes, size))
        .ok_or_else(|| failed(format!("{width} by {height} pixels")))?;
    {
        let area = Canvas::new(&mut pixels, (FINE / PIXELS) as f32).into_drawing_area();
        if !paper {
            lay_paper(&area).map_err(failed)?;
        }
        paint(sketch, &area, CANVAS_TEXT).map_err(failed)?;
    }
    let file = image::encoded(&pixels).map_err(|error| failed(error.to_string()));
    PIXELS_OF_THREAD.set(pixels.take());
    file
}

fn fine_size(sketch: &Sketch) -> (u32, u32) {
    ((WIDTH * FINE) as u32, (sketch.height.max(1.0) * FINE) as u32)
}

fn lay_paper<DB: DrawingBackend>(area: &DrawingArea<DB, Shift>) -> Result<(), String> {
    area.fill(&colour(Ink::Paper)).map_err(|error| error.to_string())
}

fn paint<DB: DrawingBackend>(
    sketch: &Sketch,
    area: &DrawingArea<DB, Shift>,
    measure: TextMeasure,
) -> Result<(), String> {
    if !font::register() {
        return Err(NO_FONT.to_owned());
    }
    for shape in &sketch.shapes {
        let drawn = match shape {
            Shape::Spot { .. } => continue,
            Shape::Line { points, ink, width } => {
                let style = colour(*ink).stroke_width((width * FINE).round().max(1.0) as u32);
                area.draw(&PathElement::new(points.iter().map(fine).collect::<Vec<_>>(), style))
            }
            Shape::Area { points, ink } => {
                area.draw(&Polygon::new(points.iter().map(fine).collect::<Vec<_>>(), colour(*ink).filled()))
            }
            Shape::Circle { centre, radius, ink, outline } => {
                let style = match outline {
                    Some(width) => colour(*ink).stroke_width((width * FINE).round().max(1.0) as u32),
                    None => colour(*ink).filled(),
                };
                area.draw(&Circle::new(fine(centre), (radius * FINE).round() as i32, style))
            }
            Shape::Text { place, anchor, size, ink, text } => {
                let em = size * FINE;
                let ink = colour(*ink);
                let horizontal = match anchor {
                    Anchor::Start => HPos::Left,
                    Anchor::Middle => HPos::Center,
                    Anchor::End => HPos::Right,
                };
                let style = (font::FAMILY, em * measure.size_per_em)
                    .into_font()
                    .into_text_style(area)
                    .color(&ink)
                    .pos(Pos::new(horizontal, VPos::Top));
                let top = place.1 * FINE - em * measure.baseline_per_em;
                area.draw(&Text::new(text.as_str(), ((place.0 * FINE).round() as i32, top.round() as i32), style))
            }
        };
        drawn.map_err(|error| error.to_string())?;
    }
    Ok(())
}

fn fine(point: &Point) -> (i32, i32) {
    ((point.0 * FINE).round() as i32, (point.1 * FINE).round() as i32)
}

fn colour(ink: Ink) -> RGBColor {
    let (red, green, blue) = ink.rgb();
    RGBColor(red, green, blue)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sketch() -> Sketch {
        let mut sketch = Sketch::new();
        sketch.height = 60.0;
        sketch.text((10.0, 30.0), Anchor::Start, Ink::Dark, "Tom & <b>Ann</b> \"40\"");
        sketch.circle((100.0, 30.0), 5.0, Ink::Rust, None);
        sketch
    }

    #[test]
    fn names_cannot_break_out_of_an_svg() {
        let svg = svg(&sketch(), "a \"<script>\" & more").expect("the sketch can be painted");
        assert!(svg.contains("Tom &amp; &lt;b&gt;Ann&lt;/b&gt;"));
        assert!(svg.contains("aria-label=\"a &quot;&lt;script&gt;&quot; &amp; more\""));
        assert!(!svg.contains("<b>") && !svg.contains("<script"));
        assert!(svg.starts_with("<svg ") && svg.trim_end().ends_with("</svg>"));
    }

    #[test]
    fn the_same_sketch_gives_the_same_bytes() {
        assert_eq!(svg(&sketch(), "x").expect("svg"), svg(&sketch(), "x").expect("svg"));
        assert_eq!(png(&sketch(), "x").expect("png"), png(&sketch(), "x").expect("png"));
    }

    #[test]
    fn the_image_is_half_as_large_again_as_the_drawing_and_holds_its_ink() {
        let file = png(&sketch(), "x").expect("png");
        let mut decoder = png::Decoder::new(std::io::Cursor::new(file));
        decoder.set_transformations(png::Transformations::EXPAND);
        let mut reader = decoder.read_info().expect("a PNG file");
        assert_eq!((reader.info().width, reader.info().height), (840, 90));
        let mut pixels = vec![0; reader.output_buffer_size().expect("the image fits memory")];
        reader.next_frame(&mut pixels).expect("its pixels");
        let middle_of_the_circle = (45 * 840 + 150) * 3;
        let (red, green, blue) = Ink::Rust.rgb();
        assert_eq!(&pixels[middle_of_the_circle..middle_of_the_circle + 3], &[red, green, blue]);
    }
}
