//! The ground a trial lies on: how far each pass reaches, and where its strips lie on the globe.

/// The ground of a trial.
#[derive(Debug, Clone, PartialEq)]
pub struct Ground {
    length_m: f64,
}

impl Ground {
    /// A rectangle of which only the length along the passes is known; nothing can be drawn on the globe.
    pub fn rectangle(length_m: f64) -> Self {
        Self { length_m }
    }

    /// Where a pass begins and ends along the field, from the start line; `None` where it finds no ground.
    ///
    /// `left_m` is the distance from the left edge of the trial to the left edge of the pass.
    pub fn span_m(&self, left_m: f64, width_m: f64) -> Option<(f64, f64)> {
        let _ = (left_m, width_m);
        Some((0.0, self.length_m))
    }
}
