//! A frame with axes, and the curve with its band that is drawn into it.

use crate::charts::axis::Axis;
use crate::charts::marks::LineLook;
use crate::charts::sketch::{Anchor, Ink, Point, Sketch, TEXT, WIDTH};
use crate::font;
use crate::words::response::{Response, Scale};

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
        ticks_below(sketch, &self.x, |value| self.across(value), foot, (f64::NEG_INFINITY, f64::INFINITY));
        sketch.text(((self.left + self.right) / 2.0, foot + 42.0), Anchor::Middle, Ink::Muted, x_title);
        sketch.text((4.0, self.top - 15.0), Anchor::Start, Ink::Muted, y_title);
    }

    /// The frame of a small panel among others: its title above, labels of the upright axis where it is the first of its row, labels across
    /// where nothing stands below it. Labels stay within half a `gap` of the panel, so that neighbours never meet.
    pub fn small_frame(&self, sketch: &mut Sketch, title: &str, place: Place, gap: f64) {
        let title = font::fitted(title, TEXT, self.right - self.left);
        sketch.text((self.left, self.top - 8.0), Anchor::Start, Ink::Dark, &title);
        for (value, label) in &self.y.ticks {
            let height = self.up(*value);
            sketch.line(vec![(self.left, height), (self.right, height)], Ink::Hair, 0.8);
            if place.first_of_row {
                sketch.text((self.left - 8.0, height + 0.36 * TEXT), Anchor::End, Ink::Dark, label);
            }
        }
        sketch.line(vec![(self.left, self.bottom), (self.right, self.bottom)], Ink::Dark, 1.2);
        if place.lowest {
            let room = gap / 2.0 - 2.0;
            let bounds = (self.left - room, self.right + room);
            ticks_below(sketch, &self.x, |value| self.across(value), self.bottom, bounds);
        } else {
            for (value, _) in &self.x.ticks {
                let across = self.across(*value);
                sketch.line(vec![(across, self.bottom), (across, self.bottom + 5.0)], Ink::Dark, 1.2);
            }
        }
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

/// Where a small panel stands among the others.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Place {
    pub first_of_row: bool,
    pub lowest: bool,
}

/// Small panels in rows of two under a head: where each stands, and where the last row ends.
pub(crate) struct Grid {
    pub left: f64,
    pub top: f64,
    pub height: f64,
    /// Room between the columns.
    pub gap: f64,
    /// Room of a panel's title.
    pub head: f64,
}

impl Grid {
    const COLUMNS: usize = 2;
    const RIGHT: f64 = WIDTH - 22.0;

    /// The panels of so many, on the same axes.
    pub fn panels(&self, count: usize, x: &Axis, y: &Axis) -> Vec<(Panel, Place)> {
        let columns = Self::COLUMNS as f64;
        let width = (Self::RIGHT - self.left - self.gap * (columns - 1.0)) / columns;
        (0..count)
            .map(|number| {
                let (row, column) = (number / Self::COLUMNS, number % Self::COLUMNS);
                let top = self.top + self.head + row as f64 * (self.height + self.head + 14.0);
                let left = self.left + column as f64 * (width + self.gap);
                let bottom = top + self.height;
                let panel = Panel { left, right: left + width, top, bottom, x: x.clone(), y: y.clone() };
                (panel, Place { first_of_row: column == 0, lowest: number + Self::COLUMNS >= count })
            })
            .collect()
    }

    /// The title of the axis across below the last row; gives the height of the sketch.
    pub fn finish(&self, sketch: &mut Sketch, panels: &[(Panel, Place)], x_title: &str) -> f64 {
        let bottom = panels.last().map_or(self.top, |(panel, _)| panel.bottom);
        sketch.text(((self.left + Self::RIGHT) / 2.0, bottom + 44.0), Anchor::Middle, Ink::Muted, x_title);
        bottom + 54.0
    }
}

/// Ticks of an axis across with their labels below, inside `bounds`. A label that would touch the one before is left out; its tick stays.
pub(crate) fn ticks_below(
    sketch: &mut Sketch,
    axis: &Axis,
    across: impl Fn(f64) -> f64,
    foot: f64,
    bounds: (f64, f64),
) {
    let mut free_from = f64::NEG_INFINITY;
    for (value, label) in &axis.ticks {
        let place = across(*value);
        sketch.line(vec![(place, foot), (place, foot + 5.0)], Ink::Dark, 1.2);
        let half = font::text_width(label, TEXT) / 2.0;
        let middle = place.max(bounds.0 + half).min(bounds.1 - half);
        if middle - half >= free_from {
            sketch.text((middle, foot + 21.0), Anchor::Middle, Ink::Dark, label);
            free_from = middle + half + 6.0;
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
