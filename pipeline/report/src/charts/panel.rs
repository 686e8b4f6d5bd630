//! A frame with axes, and the curve with its band that is drawn into it.

use crate::charts::axis::Axis;
use crate::charts::marks::LineLook;
use crate::charts::sketch::{Anchor, Ink, Point, Sketch, TEXT};
use crate::font;
use crate::response::{Response, Scale};

/// A point of a curve, in the units of the axes. Low and high are the ends of its interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct CurvePoint {
    pub x: f64,
    pub estimate: f64,
    pub low: Option<f64>,
    pub high: Option<f64>,
}

impl CurvePoint {
    /// All heights the point takes up.
    pub fn heights(&self) -> impl Iterator<Item = f64> + use<> {
        [Some(self.estimate), self.low, self.high].into_iter().flatten()
    }
}

/// A frame with two axes.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Panel {
    pub left: f64,
    pub right: f64,
    pub top: f64,
    pub bottom: f64,
    pub x: Axis,
    pub y: Axis,
}

impl Panel {
    /// Room needed left of a frame by the labels of its upright axis.
    pub fn margin(y: &Axis) -> f64 {
        y.ticks.iter().map(|(_, label)| font::text_width(label, TEXT)).fold(0.0, f64::max) + 18.0
    }

    /// Pixels from the left of a value across.
    pub fn across(&self, x: f64) -> f64 {
        self.left + (x - self.x.low) / (self.x.high - self.x.low) * (self.right - self.left)
    }

    /// Pixels from the top of a value up. What lies outside is held at the edge.
    pub fn up(&self, y: f64) -> f64 {
        let y = y.clamp(self.y.low, self.y.high);
        self.bottom - (y - self.y.low) / (self.y.high - self.y.low) * (self.bottom - self.top)
    }

    pub fn place(&self, x: f64, y: f64) -> Point {
        (self.across(x), self.up(y))
    }

    /// Grid, ticks and titles. `lane` is room kept between the frame and the labels of the axis across.
    pub fn frame(&self, sketch: &mut Sketch, x_title: &str, y_title: &str, lane: f64) {
        for (value, label) in &self.y.ticks {
            let height = self.up(*value);
            sketch.line(vec![(self.left, height), (self.right, height)], Ink::Hair, 0.8);
            sketch.text((self.left - 8.0, height + 0.36 * TEXT), Anchor::End, Ink::Dark, label);
        }
        let foot = self.bottom + lane;
        sketch.line(vec![(self.left, foot), (self.right, foot)], Ink::Dark, 1.2);
        let mut free_from = f64::NEG_INFINITY;
        for (value, label) in &self.x.ticks {
            let place = self.across(*value);
            sketch.line(vec![(place, foot), (place, foot + 5.0)], Ink::Dark, 1.2);
            let half = font::text_width(label, TEXT) / 2.0;
            // A label that would touch the one before is left out; its tick stays.
            if place - half >= free_from {
                sketch.text((place, foot + 21.0), Anchor::Middle, Ink::Dark, label);
                free_from = place + half + 6.0;
            }
        }
        sketch.text(((self.left + self.right) / 2.0, foot + 42.0), Anchor::Middle, Ink::Muted, x_title);
        sketch.text((4.0, self.top - 15.0), Anchor::Start, Ink::Muted, y_title);
    }

    /// The band of a curve, filled lightly with its edges drawn, so that it survives a poor print.
    pub fn band(&self, sketch: &mut Sketch, points: &[CurvePoint]) {
        let both = || points.iter().filter_map(|point| Some((point.x, point.low?, point.high?)));
        let lower: Vec<Point> = both().map(|(x, low, _)| self.place(x, low)).collect();
        let upper: Vec<Point> = both().map(|(x, _, high)| self.place(x, high)).collect();
        let outline: Vec<Point> = lower.iter().copied().chain(upper.iter().rev().copied()).collect();
        if lower.len() > 1 {
            sketch.area(outline, Ink::Band);
        }
        sketch.line(lower, Ink::Muted, 0.8);
        sketch.line(upper, Ink::Muted, 0.8);
    }

    /// The curve itself. A curve of one point is a short stroke.
    pub fn curve(&self, sketch: &mut Sketch, points: &[CurvePoint], look: &LineLook) {
        let line: Vec<Point> = points.iter().map(|point| self.place(point.x, point.estimate)).collect();
        if let [only] = line.as_slice() {
            sketch.line(vec![(only.0 - 8.0, only.1), (only.0 + 8.0, only.1)], look.ink, look.width);
        } else {
            sketch.dashed(&line, look.dash, look.ink, look.width);
        }
    }
}

/// The upright axis of a response: shares stay inside 0 to 100 %, times do not go below zero, and a small difference
/// does not fill the chart.
pub(crate) fn response_axis(response: &Response, values: impl Iterator<Item = f64>, wanted: usize) -> Axis {
    let values: Vec<f64> = values.collect();
    let (limits, least) = match &response.scale {
        Scale::Share => ((0.0, 100.0), 10.0),
        Scale::Hours | Scale::DegreeDays => ((0.0, f64::INFINITY), 12.0),
        Scale::Plain { .. } => {
            let largest = values.iter().filter(|value| value.is_finite()).fold(0.0_f64, |a, b| a.max(b.abs()));
            let positive = values.iter().all(|value| value.is_nan() || *value >= 0.0);
            (
                if positive { (0.0, f64::INFINITY) } else { (f64::NEG_INFINITY, f64::INFINITY) },
                (0.1 * largest).max(1e-3),
            )
        }
    };
    Axis::round(values.into_iter(), limits, least, wanted)
}
