//! What closing force does in each condition: the truth that the review is drawn from.
//!
//! The numbers are invented, shaped to fit published strip and plot work: an interior best only in some soils, effects of
//! a few points, and ground where force does nothing.

/// Hours after the strip's own T10 in which a plant counts as on time.
const ON_TIME_WINDOW_H: f64 = 48.0;
/// Shape of the Weibull distribution of emergence time after the first emergence: a tail of late plants.
pub const WEIBULL_SHAPE: f64 = 1.3;
/// Growth of the spread, as a share, at one half-width from the best force.
pub const SPREAD_GROWTH: f64 = 0.25;
/// Loss of final emergence at one half-width from the best force, as a share of the seeds.
pub const EMERGENCE_LOSS: f64 = 0.02;
/// Degree-days Fahrenheit a day in the typical field.
pub const TYPICAL_HEAT: f64 = 13.5;
/// Expected on-time share within this of the best counts as near the best.
const NEAR_BEST: f64 = 0.02;

/// A condition, as soil moisture and residue at planting make it.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Condition {
    /// Moist soil, residue on 30 % of the ground or more.
    MoistCovered,
    /// Dry soil, less residue.
    DryBare,
    /// Wet soil, residue on 30 % of the ground or more.
    WetCovered,
    /// Moist sandy soil with little residue, where closing force does nothing.
    MoistBare,
}

/// How emergence answers to force in a condition.
pub struct Truth {
    /// Force with the best emergence, N.
    pub best_force_n: f64,
    /// Distance from the best at which final emergence is two points lower, N; none where force does nothing.
    pub half_width_n: Option<f64>,
    /// Final emergence at the best, share of the seeds.
    pub final_share: f64,
    /// T90 − T10 at the best, degree-days Fahrenheit.
    pub spread_heat: f64,
    /// Force at which half of the places dug are open, N.
    pub open_limit_n: f64,
    /// Force at which half of the places dug are too firm, N.
    pub firm_limit_n: f64,
}

impl Condition {
    /// All of them, in the order of the truth table.
    pub const ALL: [Self; 4] = [Self::MoistCovered, Self::DryBare, Self::WetCovered, Self::MoistBare];

    /// The label, as moisture and residue give it.
    pub fn label(self) -> &'static str {
        match self {
            Self::MoistCovered => "moist, covered",
            Self::DryBare => "dry, bare",
            Self::WetCovered => "wet, covered",
            Self::MoistBare => "moist, bare",
        }
    }

    /// Moisture by feel.
    pub fn moisture(self) -> &'static str {
        match self {
            Self::MoistCovered | Self::MoistBare => "moist",
            Self::DryBare => "dry",
            Self::WetCovered => "wet",
        }
    }

    /// Whether residue covers the ground.
    pub fn covered(self) -> bool {
        matches!(self, Self::MoistCovered | Self::WetCovered)
    }

    /// How emergence answers to force here.
    pub fn truth(self) -> Truth {
        match self {
            Self::MoistCovered => Truth {
                best_force_n: 160.0,
                half_width_n: Some(110.0),
                final_share: 0.94,
                spread_heat: 40.0,
                open_limit_n: 75.0,
                firm_limit_n: 265.0,
            },
            Self::DryBare => Truth {
                best_force_n: 220.0,
                half_width_n: Some(90.0),
                final_share: 0.92,
                spread_heat: 55.0,
                open_limit_n: 135.0,
                firm_limit_n: 315.0,
            },
            Self::WetCovered => Truth {
                best_force_n: 100.0,
                half_width_n: Some(60.0),
                final_share: 0.89,
                spread_heat: 70.0,
                open_limit_n: 45.0,
                firm_limit_n: 165.0,
            },
            Self::MoistBare => Truth {
                best_force_n: 190.0,
                half_width_n: None,
                final_share: 0.93,
                spread_heat: 42.0,
                open_limit_n: 60.0,
                firm_limit_n: 310.0,
            },
        }
    }
}

/// The forces that are as good as the best one between two ends.
pub struct NearBest {
    /// Lightest of them, N.
    pub low_n: f64,
    /// Heaviest of them, N.
    pub high_n: f64,
    /// Expected share at the best.
    pub share: f64,
}

impl Truth {
    /// The forces from `low_n` to `high_n` whose expected share, such as that on time, is within two points of the best there, to a
    /// tenth of a newton.
    pub fn near_best(&self, low_n: f64, high_n: f64, expected: impl Fn(&Self, f64) -> f64) -> NearBest {
        // Steps of a tenth of a newton, between the ends exactly.
        let steps = ((high_n - low_n) * 10.0).ceil();
        let forces: Vec<f64> =
            (0..=steps as usize).map(|step| low_n + (high_n - low_n) * step as f64 / steps).collect();
        let share = forces.iter().map(|&force| expected(self, force)).fold(f64::NEG_INFINITY, f64::max);
        let near: Vec<f64> = forces.into_iter().filter(|&force| expected(self, force) >= share - NEAR_BEST).collect();
        NearBest {
            low_n: near.first().copied().unwrap_or(low_n),
            high_n: near.last().copied().unwrap_or(high_n),
            share,
        }
    }

    /// Squared distance from a best force, in half-widths; nil where force does nothing.
    pub fn squared_distance(&self, force_n: f64, best_force_n: f64) -> f64 {
        self.half_width_n.map_or(0.0, |half_width| ((force_n - best_force_n) / half_width).powi(2))
    }

    /// Expected final emergence in the typical field, share of the seeds.
    pub fn expected_final(&self, force_n: f64) -> f64 {
        self.final_share - EMERGENCE_LOSS * self.squared_distance(force_n, self.best_force_n)
    }

    /// Expected T90 − T10 in the typical field, hours.
    pub fn expected_spread_h(&self, force_n: f64) -> f64 {
        let growth = 1.0 + SPREAD_GROWTH * self.squared_distance(force_n, self.best_force_n);
        self.spread_heat / TYPICAL_HEAT * 24.0 * growth
    }

    /// Expected on-time share in the typical field: with endlessly many seeds, watched without a break until the last
    /// plant is up, `p F(T10 + 48 h)`, where `p` is final emergence and `F` the Weibull distribution of the emerged.
    pub fn expected_on_time(&self, force_n: f64) -> f64 {
        let scale_h = self.expected_spread_h(force_n) / weibull_width();
        let reached = weibull_quantile(0.1) + ON_TIME_WINDOW_H / scale_h;
        self.expected_final(force_n) * -(-reached.powf(WEIBULL_SHAPE)).exp_m1()
    }
}

/// Quantile of the Weibull distribution with scale one.
pub fn weibull_quantile(probability: f64) -> f64 {
    (-(-probability).ln_1p()).powf(WEIBULL_SHAPE.recip())
}

/// T90 − T10 of the Weibull distribution with scale one.
pub fn weibull_width() -> f64 {
    weibull_quantile(0.9) - weibull_quantile(0.1)
}
