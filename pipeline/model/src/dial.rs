//! A planter's knob as a scale beside force: which steps there are, and which force each gives.

use evenstand_settings::{Calibration, Knob, Planter};

use crate::dig_window::Allowed;

/// The knob of a planter whose force axis is in newtons, or, where not `calibrated`, in its own pressure (nominal newtons are kilopascals).
pub(crate) struct Dial<'a> {
    planter: &'a Planter,
    calibrated: bool,
}

/// One step of a knob.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Step {
    /// Force it gives, on the axis.
    pub force_n: f64,
    pub pressure_kpa: Option<f64>,
    pub position: Option<String>,
    /// Whether it is an end of the knob; `None` where the knob is not known.
    pub at_limit: Option<bool>,
}

/// A range of forces on a knob, rounded inwards to its steps; empty where no step lies in it.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct KnobRange {
    pub pressures_kpa: Option<(f64, f64)>,
    pub positions: Option<(String, String)>,
}

/// Steps of a knob that are looked at one by one.
const MOST_STEPS: f64 = 10_000.0;

impl<'a> Dial<'a> {
    pub fn new(planter: &'a Planter, calibrated: bool) -> Self {
        Self { planter, calibrated }
    }

    fn calibration<'b>(&self, calibration: &'b Option<Calibration>) -> Option<&'b Calibration> {
        calibration.as_ref().filter(|_| self.calibrated)
    }

    /// Pressure that gives a force.
    fn pressure_kpa(&self, calibration: &Option<Calibration>, force_n: f64) -> f64 {
        self.calibration(calibration).map_or(force_n, |line| line.pressure_kpa(force_n))
    }

    fn force_n(&self, calibration: &Option<Calibration>, pressure_kpa: f64) -> f64 {
        self.calibration(calibration).map_or(pressure_kpa, |line| line.force_n(pressure_kpa))
    }

    /// The step nearest to a force among those whose force is `wanted`; a planter without a known knob has every force.
    pub fn nearest(&self, force_n: f64, wanted: impl Fn(f64) -> bool) -> Option<Step> {
        match &self.planter.knob {
            Some(Knob::Pressure { min_kpa, max_kpa, step_kpa, calibration, .. }) => {
                let exact = self.pressure_kpa(calibration, force_n);
                let steps = (exact - min_kpa) / step_kpa;
                let on_knob =
                    [steps.floor(), steps.ceil()].map(|steps| (min_kpa + steps * step_kpa).clamp(*min_kpa, *max_kpa));
                let nearest = on_knob
                    .into_iter()
                    .filter(|pressure| wanted(self.force_n(calibration, *pressure)))
                    .min_by(|a, b| (a - exact).abs().total_cmp(&(b - exact).abs()))?;
                Some(self.at_pressure(nearest))
            }
            Some(Knob::Positions { positions, .. }) => {
                let (position, _) = positions
                    .iter()
                    .filter_map(|position| Some((position, position.force_n?)))
                    .filter(|(_, force)| wanted(*force))
                    .min_by(|a, b| (a.1 - force_n).abs().total_cmp(&(b.1 - force_n).abs()))?;
                self.at_position(&position.label)
            }
            None => Some(Step { force_n, pressure_kpa: None, position: None, at_limit: None }),
        }
    }

    /// The step of least `distance`; of equal ones the nearest to a force. A planter without a known knob has every force.
    fn least(&self, force_n: f64, distance: impl Fn(f64) -> f64) -> Option<Step> {
        let steps: Vec<Step> = match &self.planter.knob {
            Some(Knob::Pressure { min_kpa, max_kpa, step_kpa, .. }) => {
                let count = ((max_kpa - min_kpa) / step_kpa + 1e-9).floor().min(MOST_STEPS) as usize;
                (0..=count).map(|step| self.at_pressure(min_kpa + step as f64 * step_kpa)).collect()
            }
            Some(Knob::Positions { positions, .. }) => positions
                .iter()
                .filter(|position| position.force_n.is_some())
                .filter_map(|position| self.at_position(&position.label))
                .collect(),
            None => return self.nearest(force_n, |_| true),
        };
        steps.into_iter().min_by(|a, b| {
            let away = |step: &Step| (step.force_n - force_n).abs();
            distance(a.force_n).total_cmp(&distance(b.force_n)).then(away(a).total_cmp(&away(b)))
        })
    }

    /// The step of a start: the nearest to a force that was `tried` and that digging allows; where no step is both and the dig window only leans, the
    /// one tried that misses it least.
    pub fn in_window(&self, force_n: f64, allowed: &Allowed, tried: impl Fn(f64) -> bool) -> Option<Step> {
        self.nearest(force_n, |force| tried(force) && allowed.allows(force)).or_else(|| {
            let outside = |force: f64| if tried(force) { allowed.outside_n(force) } else { f64::INFINITY };
            let least = || self.least(force_n, outside).filter(|step| tried(step.force_n));
            if allowed.settled || !allowed.is_bounded() { None } else { least() }
        })
    }

    /// A force between the steps, inside the limits of the knob; positions have none.
    pub fn between_steps(&self, force_n: f64) -> Option<Step> {
        match &self.planter.knob {
            Some(Knob::Pressure { min_kpa, max_kpa, calibration, .. }) => {
                Some(self.at_pressure(self.pressure_kpa(calibration, force_n).clamp(*min_kpa, *max_kpa)))
            }
            _ => None,
        }
    }

    fn at_pressure(&self, pressure_kpa: f64) -> Step {
        let Some(Knob::Pressure { min_kpa, max_kpa, calibration, .. }) = &self.planter.knob else {
            return Step { force_n: pressure_kpa, pressure_kpa: Some(pressure_kpa), position: None, at_limit: None };
        };
        Step {
            force_n: self.force_n(calibration, pressure_kpa),
            pressure_kpa: Some(pressure_kpa),
            position: None,
            at_limit: Some(pressure_kpa <= min_kpa + 1e-9 || pressure_kpa >= max_kpa - 1e-9),
        }
    }

    fn at_position(&self, label: &str) -> Option<Step> {
        let Some(Knob::Positions { positions, .. }) = &self.planter.knob else { return None };
        let position = positions.iter().find(|position| position.label == label)?;
        let ends = [positions.first(), positions.last()];
        Some(Step {
            force_n: position.force_n.unwrap_or(f64::NAN),
            pressure_kpa: None,
            position: Some(label.to_owned()),
            at_limit: Some(ends.iter().flatten().any(|end| end.label == label)),
        })
    }

    /// The default that the planter names, as a step.
    pub fn named_default(&self) -> Option<Step> {
        match &self.planter.knob {
            Some(Knob::Pressure { default_kpa, .. }) => default_kpa.map(|pressure| self.at_pressure(pressure)),
            Some(Knob::Positions { default, .. }) => default.as_deref().and_then(|label| self.at_position(label)),
            None => None,
        }
    }

    /// The setting that gives a force as exactly as the knob can: any pressure, the nearest position.
    pub fn at_force(&self, force_n: f64) -> Option<Step> {
        match &self.planter.knob {
            Some(Knob::Pressure { calibration, .. }) => Some(self.at_pressure(self.pressure_kpa(calibration, force_n))),
            Some(Knob::Positions { .. }) => self.nearest(force_n, |_| true),
            None => None,
        }
    }

    /// A range of forces, rounded inwards, so that what is said of the range holds for every step shown.
    pub fn range_inside(&self, (low, high): (f64, f64)) -> KnobRange {
        match &self.planter.knob {
            Some(Knob::Pressure { min_kpa, max_kpa, step_kpa, calibration, .. }) => {
                let pressure = |force: f64| self.pressure_kpa(calibration, force).clamp(*min_kpa, *max_kpa);
                let low = min_kpa + ((pressure(low) - min_kpa) / step_kpa - 1e-9).ceil() * step_kpa;
                let high = min_kpa + ((pressure(high) - min_kpa) / step_kpa + 1e-9).floor() * step_kpa;
                KnobRange { pressures_kpa: (low <= high + 1e-9).then_some((low, high)), positions: None }
            }
            Some(Knob::Positions { positions, .. }) => {
                let mut inside = positions.iter().filter(|position| {
                    position.force_n.is_some_and(|force| force >= low - 1e-9 && force <= high + 1e-9)
                });
                let first = inside.next();
                let last = inside.next_back().or(first);
                KnobRange {
                    pressures_kpa: None,
                    positions: first.zip(last).map(|(first, last)| (first.label.clone(), last.label.clone())),
                }
            }
            None => KnobRange::default(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::by_hand::planter;
    use evenstand_settings::Settings;

    #[test]
    fn the_nearest_step_is_one_whose_force_is_wanted() {
        let planter = planter("kind = \"pressure\"\nmax_kpa = 400\nstep_kpa = 50\nforce_n = [[0, 0], [400, 800]]");
        let dial = Dial::new(&planter, true);
        let pressure =
            |force: f64, from: f64| dial.nearest(force, |force| force >= from).and_then(|step| step.pressure_kpa);
        assert_eq!(pressure(310.0, 0.0), Some(150.0));
        assert_eq!(pressure(310.0, 310.0), Some(200.0));
        assert_eq!(pressure(310.0, 900.0), None);
        assert_eq!(dial.range_inside((310.0, 690.0)).pressures_kpa, Some((200.0, 300.0)));
        assert_eq!(dial.range_inside((310.0, 390.0)).pressures_kpa, None);
        assert_eq!(dial.between_steps(310.0).unwrap().pressure_kpa, Some(155.0));
    }

    #[test]
    fn the_step_least_outside_a_range_is_found_whichever_side_it_lies_on() {
        let outside = |force: f64| (force.clamp(230.0, 265.0) - force).abs();
        let springs = planter(
            "kind = \"positions\"\npositions = [{ label = \"3\", force_n = 220 }, { label = \"4\", force_n = 293 }]",
        );
        assert_eq!(Dial::new(&springs, true).least(264.0, outside).unwrap().position.as_deref(), Some("3"));
        let air = planter("kind = \"pressure\"\nmax_kpa = 400\nstep_kpa = 100\nforce_n = [[0, 0], [400, 400]]");
        assert_eq!(Dial::new(&air, true).least(265.0, outside).unwrap().pressure_kpa, Some(200.0));
    }

    /// Steps of 40 kPa from 50 to 210, two newtons a kilopascal.
    fn air() -> Planter {
        planter(
            "kind = \"pressure\"\nmin_kpa = 50\nmax_kpa = 210\nstep_kpa = 40\ndefault_kpa = 130\nforce_n = [[0, 0], [400, 800]]",
        )
    }

    #[test]
    fn steps_count_from_the_lightest_pressure_of_the_knob() {
        let planter = air();
        let dial = Dial::new(&planter, true);
        let nearest = |force: f64| dial.nearest(force, |_| true).map(|step| (step.pressure_kpa, step.at_limit));
        assert_eq!(nearest(238.0), Some((Some(130.0), Some(false))));
        assert_eq!(nearest(222.0), Some((Some(130.0), Some(false))));
        assert_eq!(nearest(218.0), Some((Some(90.0), Some(false))));
        assert_eq!(nearest(10.0), Some((Some(50.0), Some(true))));
        assert_eq!(nearest(900.0), Some((Some(210.0), Some(true))));
        assert_eq!(dial.nearest(238.0, |_| true).unwrap().force_n, 260.0);
        assert_eq!(dial.range_inside((178.0, 345.0)).pressures_kpa, Some((90.0, 170.0)));
        assert_eq!(dial.range_inside((180.0, 340.0)).pressures_kpa, Some((90.0, 170.0)));
        assert_eq!(dial.range_inside((0.0, 900.0)).pressures_kpa, Some((50.0, 210.0)));
        assert_eq!(dial.between_steps(10.0).unwrap().pressure_kpa, Some(50.0));
        assert_eq!(dial.at_force(10.0).unwrap().pressure_kpa, Some(5.0));
        let default = dial.named_default().unwrap();
        assert_eq!((default.pressure_kpa, default.force_n, default.at_limit), (Some(130.0), 260.0, Some(false)));
        // Without its calibration the axis is the pressure itself.
        let nominal = Dial::new(&planter, false);
        assert_eq!(nominal.nearest(120.0, |_| true).unwrap().force_n, 130.0);
    }

    #[test]
    fn every_step_of_the_knob_is_looked_at_for_the_one_that_misses_least() {
        let planter = air();
        let dial = Dial::new(&planter, true);
        let least = |wanted: f64| dial.least(0.0, |force| (force - wanted).abs()).unwrap().pressure_kpa;
        assert_eq!([100.0, 330.0, 420.0].map(least), [Some(50.0), Some(170.0), Some(210.0)]);
        // Of steps that miss alike the nearest to the force asked for.
        assert_eq!(dial.least(400.0, |_| 0.0).unwrap().pressure_kpa, Some(210.0));
        assert_eq!(dial.least(0.0, |_| 0.0).unwrap().pressure_kpa, Some(50.0));
    }

    #[test]
    fn a_dig_window_that_only_leans_may_be_missed_by_a_step_that_was_tried() {
        let planter = air();
        let dial = Dial::new(&planter, true);
        let step = |settled: bool, heaviest_tried: f64| {
            let allowed = Allowed { low: Some(265.0), high: Some(290.0), settled, none: false };
            dial.in_window(280.0, &allowed, |force| force <= heaviest_tried).and_then(|step| step.pressure_kpa)
        };
        assert_eq!(step(true, 500.0), None);
        assert_eq!(step(false, 500.0), Some(130.0));
        assert_eq!(step(false, 200.0), Some(90.0));
        assert_eq!(step(false, 50.0), None);
        assert_eq!(dial.in_window(280.0, &Allowed::default(), |_| false), None);
    }

    #[test]
    fn positions_have_no_steps_between() {
        let planter = planter(
            "kind = \"positions\"\npositions = [{ label = \"1\", force_n = 100 }, { label = \"2\", force_n = 200 }, { label = \"3\", force_n = 300 }]",
        );
        let dial = Dial::new(&planter, true);
        let step = dial.nearest(180.0, |force| force > 200.0).unwrap();
        assert_eq!((step.position.as_deref(), step.force_n, step.at_limit), (Some("3"), 300.0, Some(true)));
        assert_eq!(dial.between_steps(180.0), None);
        assert_eq!(dial.range_inside((150.0, 250.0)).positions, Some(("2".into(), "2".into())));
        assert_eq!(dial.at_force(210.0).unwrap().position.as_deref(), Some("2"));
        assert_eq!(dial.nearest(110.0, |_| true).unwrap().at_limit, Some(true));
        assert_eq!(dial.nearest(190.0, |_| true).unwrap().at_limit, Some(false));
        assert_eq!(dial.range_inside((100.0, 200.0)).positions, Some(("1".into(), "2".into())));
        assert_eq!(dial.range_inside((210.0, 290.0)).positions, None);
        assert_eq!(dial.named_default(), None);
    }

    #[test]
    fn a_planter_whose_knob_is_not_known_has_every_force() {
        let unknown = Settings::parse("").unwrap().planter("x");
        let dial = Dial::new(&unknown, true);
        let every = Step { force_n: 217.0, pressure_kpa: None, position: None, at_limit: None };
        assert_eq!(dial.nearest(217.0, |_| false), Some(every.clone()));
        assert_eq!(dial.least(217.0, |_| 0.0), Some(every));
        assert_eq!((dial.between_steps(217.0), dial.at_force(217.0), dial.named_default()), (None, None, None));
        assert_eq!(dial.range_inside((100.0, 200.0)), KnobRange::default());
    }
}
