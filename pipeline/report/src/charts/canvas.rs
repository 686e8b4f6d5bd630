//! A canvas with smooth edges for the drawing library: plotters hands over lines, areas, circles and texts, tiny-skia fills them.

use std::convert::Infallible;

use plotters::style::text_anchor::HPos;
use plotters_backend::{BackendColor, BackendCoord, BackendStyle, BackendTextStyle, DrawingBackend, DrawingErrorKind};
use tiny_skia::{Color, FillRule, Paint, Path, PathBuilder, Pixmap, Rect, Stroke, Transform};

use crate::font;

type Drawn = Result<(), DrawingErrorKind<Infallible>>;

/// Pixels to draw on. Drawing happens in units finer than a pixel, because the drawing library knows whole numbers only.
///
/// A text is placed at its baseline and its size is its em; the canvas has the one typeface of the report.
pub(crate) struct Canvas<'a> {
    pixels: &'a mut Pixmap,
    units_per_pixel: f32,
}

impl<'a> Canvas<'a> {
    /// A canvas over these pixels, each of which is so many units wide and high.
    pub fn new(pixels: &'a mut Pixmap, units_per_pixel: f32) -> Self {
        Self { pixels, units_per_pixel }
    }

    fn transform(&self) -> Transform {
        Transform::from_scale(1.0 / self.units_per_pixel, 1.0 / self.units_per_pixel)
    }

    /// Fills a path; one without extent leaves no mark.
    fn fill(&mut self, path: Option<Path>, colour: BackendColor) {
        if let Some(path) = path {
            let transform = self.transform();
            self.pixels.fill_path(&path, &paint(colour), FillRule::Winding, transform, None);
        }
    }

    /// Fills a box along the axes: far quicker than a path.
    fn fill_box(&mut self, left: f32, top: f32, right: f32, bottom: f32, colour: BackendColor) {
        let [left, top, right, bottom] = [left, top, right, bottom].map(|unit| unit / self.units_per_pixel);
        if let Some(area) = Rect::from_ltrb(left, top, right, bottom) {
            self.pixels.fill_rect(area, &paint(colour), Transform::identity(), None);
        }
    }

    fn stroke(&mut self, path: Option<Path>, style: &impl BackendStyle) {
        if let Some(path) = path {
            let stroke = Stroke { width: style.stroke_width() as f32, ..Stroke::default() };
            let transform = self.transform();
            self.pixels.stroke_path(&path, &paint(style.color()), &stroke, transform, None);
        }
    }
}

fn paint(colour: BackendColor) -> Paint<'static> {
    let mut paint = Paint::default();
    let (red, green, blue) = colour.rgb;
    paint.set_color(Color::from_rgba8(red, green, blue, (colour.alpha * 255.0).round() as u8));
    paint
}

fn through(points: impl IntoIterator<Item = BackendCoord>) -> PathBuilder {
    let mut builder = PathBuilder::new();
    for (x, y) in points {
        match builder.is_empty() {
            true => builder.move_to(x as f32, y as f32),
            false => builder.line_to(x as f32, y as f32),
        }
    }
    builder
}

impl DrawingBackend for Canvas<'_> {
    type ErrorType = Infallible;

    fn get_size(&self) -> (u32, u32) {
        let units = |pixels: u32| (pixels as f32 * self.units_per_pixel) as u32;
        (units(self.pixels.width()), units(self.pixels.height()))
    }

    fn ensure_prepared(&mut self) -> Drawn {
        Ok(())
    }

    fn present(&mut self) -> Drawn {
        Ok(())
    }

    fn draw_pixel(&mut self, (x, y): BackendCoord, colour: BackendColor) -> Drawn {
        self.draw_rect((x, y), (x + 1, y + 1), &colour, true)
    }

    fn draw_line<S: BackendStyle>(&mut self, from: BackendCoord, to: BackendCoord, style: &S) -> Drawn {
        self.draw_path([from, to], style)
    }

    fn draw_rect<S: BackendStyle>(
        &mut self,
        (left, top): BackendCoord,
        (right, bottom): BackendCoord,
        style: &S,
        fill: bool,
    ) -> Drawn {
        if !fill {
            return self.draw_path([(left, top), (right, top), (right, bottom), (left, bottom), (left, top)], style);
        }
        self.fill_box(left as f32, top as f32, right as f32, bottom as f32, style.color());
        Ok(())
    }

    fn draw_path<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(&mut self, path: I, style: &S) -> Drawn {
        let points: Vec<BackendCoord> = path.into_iter().collect();
        let (first, last) = (points.first().copied(), points.last().copied());
        let closed = first == last;
        if !points.windows(2).all(|pair| pair[0].0 == pair[1].0 || pair[0].1 == pair[1].1) {
            self.stroke(through(points).finish(), style);
            return Ok(());
        }
        // Along the axes every piece is a box, which reaches into the corners it shares with its neighbours.
        let half = style.stroke_width() as f32 / 2.0;
        for pair in points.windows(2) {
            let reach =
                |end: BackendCoord| if !closed && (Some(end) == first || Some(end) == last) { 0.0 } else { half };
            let (low, high) = (pair[0].min(pair[1]), pair[0].max(pair[1]));
            let (left, top, right, bottom) = (low.0 as f32, low.1 as f32, high.0 as f32, high.1 as f32);
            match low.1 == high.1 {
                true => self.fill_box(left - reach(low), top - half, right + reach(high), bottom + half, style.color()),
                false => {
                    self.fill_box(left - half, top - reach(low), right + half, bottom + reach(high), style.color())
                }
            }
        }
        Ok(())
    }

    fn draw_circle<S: BackendStyle>(&mut self, centre: BackendCoord, radius: u32, style: &S, fill: bool) -> Drawn {
        let path = PathBuilder::from_circle(centre.0 as f32, centre.1 as f32, radius as f32);
        match fill {
            true => self.fill(path, style.color()),
            false => self.stroke(path, style),
        }
        Ok(())
    }

    fn fill_polygon<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(&mut self, corners: I, style: &S) -> Drawn {
        let corners: Vec<BackendCoord> = corners.into_iter().collect();
        match corners[..] {
            [(left, top), (right, above), (across, bottom), (below, under)]
                if left == below && top == above && right == across && bottom == under =>
            {
                self.draw_rect((left.min(right), top.min(bottom)), (left.max(right), top.max(bottom)), style, true)?;
            }
            _ => {
                let mut path = through(corners);
                path.close();
                self.fill(path.finish(), style.color());
            }
        }
        Ok(())
    }

    fn draw_text<S: BackendTextStyle>(&mut self, text: &str, style: &S, (x, y): BackendCoord) -> Drawn {
        let em = style.size();
        let shift = match style.anchor().h_pos {
            HPos::Left => 0.0,
            HPos::Center => font::text_width(text, em) / 2.0,
            HPos::Right => font::text_width(text, em),
        };
        let place = [f64::from(x) - shift, f64::from(y)].map(|unit| unit as f32 / self.units_per_pixel);
        let (width, height) = (self.pixels.width(), self.pixels.height());
        let (red, green, blue) = style.color().rgb;
        let bytes = self.pixels.data_mut();
        font::each_pixel(text, em / f64::from(self.units_per_pixel), place.into(), |x, y, share| {
            let (Ok(x), Ok(y)) = (u32::try_from(x), u32::try_from(y)) else { return };
            if x < width && y < height {
                let pixel = &mut bytes[4 * (y * width + x) as usize..][..4];
                let blend =
                    |under: u8, ink: u8| (f32::from(under) + (f32::from(ink) - f32::from(under)) * share + 0.5) as u8;
                for (under, ink) in pixel.iter_mut().zip([red, green, blue]) {
                    *under = blend(*under, ink);
                }
                pixel[3] = u8::MAX;
            }
        });
        Ok(())
    }
}
