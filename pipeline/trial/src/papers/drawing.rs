//! A drawing in black, white and grey, as SVG.

use evenstand_tables::escaped;

/// Width of a letter as a part of its height, on the wide side.
const LETTER: f64 = 0.62;

/// Where a text is held.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Hold {
    Start,
    Middle,
    End,
}

/// What an area is filled with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Fill {
    None,
    White,
    Grey,
    Hatched,
}

#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Shape {
    Area {
        left: f64,
        top: f64,
        width: f64,
        height: f64,
        fill: Fill,
        line: f64,
    },
    Line {
        from: (f64, f64),
        to: (f64, f64),
        width: f64,
    },
    Dot {
        at: (f64, f64),
        radius: f64,
    },
    /// A triangle that points up or down.
    Arrow {
        at: (f64, f64),
        up: bool,
    },
    Text(Text),
}

/// A text; `at` is on its base line. A standing one reads from the bottom to the top.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Text {
    pub at: (f64, f64),
    pub size: f64,
    pub hold: Hold,
    pub standing: bool,
    pub text: String,
}

impl Text {
    /// The box around it: left, top, right, bottom.
    #[cfg(test)]
    pub fn bounds(&self) -> [f64; 4] {
        let (length, (x, y)) = (width(&self.text, self.size), self.at);
        let before = match self.hold {
            Hold::Start => 0.0,
            Hold::Middle => length / 2.0,
            Hold::End => length,
        };
        let (over, under) = (self.size * 0.75, self.size * 0.22);
        if self.standing {
            [x - over, y + before - length, x + under, y + before]
        } else {
            [x - before, y - over, x - before + length, y + under]
        }
    }
}

impl Shape {
    /// Moved down.
    pub fn lower(&mut self, by: f64) {
        match self {
            Shape::Area { top, .. } => *top += by,
            Shape::Line { from, to, .. } => {
                from.1 += by;
                to.1 += by;
            }
            Shape::Dot { at, .. } | Shape::Arrow { at, .. } => at.1 += by,
            Shape::Text(text) => text.at.1 += by,
        }
    }
}

/// How long a text is at most, in the unit of its size.
pub(crate) fn width(text: &str, size: f64) -> f64 {
    // A letter of a wide script takes as much room as two.
    let letters: f64 = text.chars().map(|letter| if u32::from(letter) >= 0x1100 { 2.0 } else { 1.0 }).sum();
    letters * size * LETTER
}

/// The text, cut with an ellipsis where it is longer than this.
pub(crate) fn cut(text: &str, size: f64, room: f64) -> String {
    if width(text, size) <= room {
        return text.to_owned();
    }
    let mut short = String::new();
    for letter in text.chars() {
        if width(&format!("{short}{letter}…"), size) > room {
            break;
        }
        short.push(letter);
    }
    short.trim_end().to_owned() + "…"
}

/// The drawing.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Drawing {
    pub width: f64,
    pub height: f64,
    /// Number among the drawings of a page, so that they do not share the name of their hatching.
    pub number: usize,
    /// What it shows, for those who do not see it.
    pub title: String,
    pub shapes: Vec<Shape>,
}

impl Drawing {
    /// The drawing as the text of an SVG file.
    pub fn svg(&self) -> String {
        let title = escaped(&self.title);
        let (width, height, number) = (short(self.width), short(self.height), self.number);
        let mut svg = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" width=\"{width}\" height=\"{height}\" role=\"img\" \
             font-family=\"Noto Sans, Liberation Sans, Arial, sans-serif\">\n<title>{title}</title>\n\
             <defs><pattern id=\"hatch{number}\" width=\"5\" height=\"5\" patternUnits=\"userSpaceOnUse\" patternTransform=\"rotate(45)\">\
             <rect width=\"5\" height=\"5\" fill=\"#fff\"/><line x1=\"0\" y1=\"0\" x2=\"0\" y2=\"5\" stroke=\"#000\" stroke-width=\"1\"/>\
             </pattern></defs>\n<rect width=\"{width}\" height=\"{height}\" fill=\"#fff\"/>\n"
        );
        for shape in &self.shapes {
            svg.push_str(&element(shape, number));
            svg.push('\n');
        }
        svg.push_str("</svg>\n");
        svg
    }
}

fn element(shape: &Shape, number: usize) -> String {
    match shape {
        Shape::Area { left, top, width, height, fill, line } => {
            let fill = match fill {
                Fill::None => "none".to_owned(),
                Fill::White => "#fff".to_owned(),
                Fill::Grey => "#e2e2e2".to_owned(),
                Fill::Hatched => format!("url(#hatch{number})"),
            };
            let (left, top, width, height) = (short(*left), short(*top), short(*width), short(*height));
            let stroke =
                if *line > 0.0 { format!(" stroke=\"#000\" stroke-width=\"{}\"", short(*line)) } else { String::new() };
            format!("<rect x=\"{left}\" y=\"{top}\" width=\"{width}\" height=\"{height}\" fill=\"{fill}\"{stroke}/>")
        }
        Shape::Line { from, to, width } => format!(
            "<line x1=\"{}\" y1=\"{}\" x2=\"{}\" y2=\"{}\" stroke=\"#000\" stroke-width=\"{}\"/>",
            short(from.0),
            short(from.1),
            short(to.0),
            short(to.1),
            short(*width)
        ),
        Shape::Dot { at, radius } => {
            format!("<circle cx=\"{}\" cy=\"{}\" r=\"{}\"/>", short(at.0), short(at.1), short(*radius))
        }
        Shape::Arrow { at: (x, y), up } => {
            let (tip, foot) = if *up { (y - 7.0, y + 5.0) } else { (y + 7.0, y - 5.0) };
            format!(
                "<path d=\"M{} {} L{} {} L{} {} Z\"/>",
                short(*x),
                short(tip),
                short(x + 5.0),
                short(foot),
                short(x - 5.0),
                short(foot)
            )
        }
        Shape::Text(text) => {
            let (x, y) = (short(text.at.0), short(text.at.1));
            let anchor = match text.hold {
                Hold::Start => "start",
                Hold::Middle => "middle",
                Hold::End => "end",
            };
            let turned = if text.standing { format!(" transform=\"rotate(-90 {x} {y})\"") } else { String::new() };
            // A white rim keeps it readable on hatching and dots.
            format!(
                "<text x=\"{x}\" y=\"{y}\" font-size=\"{}\" text-anchor=\"{anchor}\"{turned} stroke=\"#fff\" stroke-width=\"3\" \
                 stroke-linejoin=\"round\" paint-order=\"stroke\">{}</text>",
                short(text.size),
                escaped(&text.text)
            )
        }
    }
}

/// Tenths are enough.
fn short(value: f64) -> String {
    super::units::number(value, 1)
}
