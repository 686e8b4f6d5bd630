//! Invented truths: what force does, how fields differ, how the strips were laid out.
//!
//! Force is scaled to u = (force − 190 N) / 110 N, −1 to 1 over the tested range; responses are on the logit of the share
//! that came up on time. Nothing here was measured: sizes are chosen to fit what trials of closing force report.

/// Settings of every trial, in newtons.
pub const FORCES: [f64; 5] = [80.0, 135.0, 190.0, 245.0, 300.0];
/// Force at u = 0, and force per unit of u.
pub const CENTRE_N: f64 = 190.0;
pub const HALF_RANGE_N: f64 = 110.0;
/// Loss of on-time share that still counts as none.
pub const TOLERANCE: f64 = 0.02;

/// Scaled force.
pub fn scaled(force_n: f64) -> f64 {
    (force_n - CENTRE_N) / HALF_RANGE_N
}

/// Share from its logit.
pub fn share_of(logit: f64) -> f64 {
    1.0 / (1.0 + (-logit).exp())
}

/// Logit of a share.
pub fn logit_of(share: f64) -> f64 {
    (share / (1.0 - share)).ln()
}

/// What force does to the logit, against its value at the best.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Curve {
    /// Nothing.
    Flat,
    /// Falls by `left` u² below `best` and by `right` u² above it.
    Hump { best: f64, left: f64, right: f64 },
    /// Rises by `slope` per unit of u throughout.
    Line { slope: f64 },
    /// Rises by `slope` per unit of u up to `knee`, then stays level.
    Plateau { slope: f64, knee: f64 },
    /// Falls by `slope` per unit of u to both sides of `best`: a sharp top.
    Tent { best: f64, slope: f64 },
    /// Humps near u = −0.6 and u = 0.6 with a dip of `dip` between them, the heavier one better by about 0.3.
    TwoHumps { dip: f64 },
}

impl Curve {
    /// A parabola.
    pub const fn parabola(best: f64, curvature: f64) -> Self {
        Curve::Hump { best, left: curvature, right: curvature }
    }

    /// Logit at a scaled force.
    pub fn logit(self, u: f64) -> f64 {
        match self {
            Curve::Flat => 0.0,
            Curve::Hump { best, left, right } => -(u - best).powi(2) * if u < best { left } else { right },
            Curve::Line { slope } => slope * u,
            Curve::Plateau { slope, knee } => -slope * (knee - u).max(0.0),
            Curve::Tent { best, slope } => -slope * (u - best).abs(),
            Curve::TwoHumps { dip } => 0.25 * u - dip * ((u / 0.6).powi(2) - 1.0).powi(2),
        }
    }
}

/// Standard deviations on the logit between field-seasons, blocks of one and strips of one; and by how much more than chance
/// counts vary, as a factor of the binomial variance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Noise {
    pub field: f64,
    pub block: f64,
    pub strip: f64,
    pub dispersion: f64,
}

/// One kind of ground, and what force does there.
#[derive(Debug, Clone, PartialEq)]
pub struct Condition {
    pub name: &'static str,
    /// Row of the result it is counted in, where conditions of a review are judged apart.
    pub part: &'static str,
    pub curve: Curve,
    /// Logit of the typical field where the curve is 0.
    pub level: f64,
    /// Standard deviation between fields of where their curve lies, in u.
    pub own_best: f64,
    pub noise: Noise,
    /// Field-seasons of the review in this condition.
    pub field_seasons: usize,
}

impl Condition {
    /// Share on time in a field whose level differs by `level` and whose curve lies `own` heavier, at the force that truly works.
    pub fn share(&self, force_n: f64, level: f64, own: f64) -> f64 {
        share_of(self.level + level + self.curve.logit(scaled(force_n) - own))
    }

    /// Whether force does anything.
    pub fn has_effect(&self) -> bool {
        self.curve != Curve::Flat
    }
}

/// How settings came to the strips.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Layout {
    /// Every setting once in each block; a strip is missing with a chance.
    Trial { blocks: usize, missing: f64 },
    /// One setting a field-season, over `seasons` seasons of each field. Ground is harder in some field-seasons, by a standard
    /// normal number: the stand is worse there by the noise's field SD, and the setting heavier, with this correlation.
    Logs { seasons: usize, correlation: f64 },
}

/// How the force that works differs from the one that was set.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Delivery {
    /// Working force of one newton set: not 1 where the calibration is off.
    pub factor: f64,
    /// Standard deviation between strips, in newtons; it is measured.
    pub strip_sd_n: f64,
}

/// A kind of review with its truth.
#[derive(Debug, Clone, PartialEq)]
pub struct World {
    pub name: String,
    pub conditions: Vec<Condition>,
    pub layout: Layout,
    pub delivery: Delivery,
    /// The default of the review, in newtons.
    pub default_n: f64,
}

impl World {
    /// Whether settings varied only between field-seasons.
    pub fn is_logs(&self) -> bool {
        matches!(self.layout, Layout::Logs { .. })
    }

    /// Expected share of a strip set to a force, over what is delivered: the truth is judged at the set force. Gauss-Hermite
    /// quadrature of three points.
    pub fn share(&self, condition: &Condition, set_n: f64, level: f64, own: f64) -> f64 {
        let mean_n = self.delivery.factor * set_n;
        let step_n = 3.0_f64.sqrt() * self.delivery.strip_sd_n;
        let at = |force_n: f64| condition.share(force_n, level, own);
        if step_n == 0.0 { at(mean_n) } else { (at(mean_n - step_n) + 4.0 * at(mean_n) + at(mean_n + step_n)) / 6.0 }
    }
}
