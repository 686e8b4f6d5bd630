//! Scale readings of a closing system, and the force by pressure that they tell.

use evenstand_stats::distribution::{f_sf, t_quantile};
use evenstand_stats::{Design, LeastSquares, LinearFit};
use ndarray::Array2;

use crate::planter::Calibration;

/// Below this p value readings do not lie on a straight line.
const BENT: f64 = 0.05;
/// Pressures from which a bend can be seen without repeated readings.
const ENOUGH_FOR_A_BEND: usize = 4;

/// Readings of a scale at one pressure.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// Pressure, kPa.
    pub pressure_kpa: f64,
    /// Force at each reading, N; one or more.
    pub forces_n: Vec<f64>,
}

/// Shape of the force over pressure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CalibrationShape {
    /// One straight line through all readings, by least squares.
    Line,
    /// Straight between the means of neighbouring pressures.
    Pieces,
}

impl CalibrationShape {
    /// `line` or `pieces`.
    pub fn name(self) -> &'static str {
        match self {
            CalibrationShape::Line => "line",
            CalibrationShape::Pieces => "pieces",
        }
    }
}

/// A fitted force, with its uncertainty where the readings tell one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FittedForce {
    /// The force, N.
    pub force_n: f64,
    /// Its standard error, N.
    pub std_error_n: Option<f64>,
    /// Its 95 % interval, N.
    pub interval_n: Option<(f64, f64)>,
}

/// A closing system weighed on a scale.
#[derive(Debug, Clone, PartialEq)]
pub struct Weighed {
    readings: Vec<Reading>,
    shape: CalibrationShape,
    /// p value of the test that the readings lie on a line; `None` where they are too few to tell.
    line_p_value: Option<f64>,
    /// Standard deviation of single readings about what is fitted, N.
    deviation_n: Option<f64>,
    residual_df: f64,
    line: Line,
    calibration: Calibration,
    /// Readings behind each point of pieces.
    point_readings: Vec<f64>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
struct Line {
    intercept: f64,
    slope: f64,
    mean_pressure: f64,
    /// Σ (pressure − mean)² over readings.
    spread: f64,
    count: f64,
}

impl Weighed {
    /// Fits readings: a straight line by least squares, or, where they do not lie on one (p < 0.05), straight pieces between their means.
    ///
    /// The line is tested by lack of fit against the scatter of repeated readings (F on m − 2 and n − m degrees of freedom, m pressures, n
    /// readings; Draper & Smith 1998, Applied Regression Analysis, section 2.1, from memory); without repeats, from four pressures on, by the
    /// t test of a quadratic term. Scatter no larger than rounding tests nothing. Pressures come in any order, and repeated ones are joined. No
    /// force is below zero.
    ///
    /// # Errors
    /// In words, what was expected: fewer than two pressures; numbers that are not finite or below zero; force that does not rise with pressure.
    pub fn fit(readings: Vec<Reading>) -> Result<Self, String> {
        let readings = joined(readings)?;
        let line = Line::through(&readings)?;
        let off_line = squares(&readings, |reading, _| line.at(reading.pressure_kpa)) > rounding(&readings);
        let tested = || lack_of_fit(&readings, &line).or_else(|| bend(&readings));
        let line_p_value = if off_line { tested() } else { None };
        let bent = line_p_value.is_some_and(|p_value| p_value < BENT);
        let shape = if bent { CalibrationShape::Pieces } else { CalibrationShape::Line };
        let (points, point_readings) = match shape {
            CalibrationShape::Line => (line.points(&readings), Vec::new()),
            CalibrationShape::Pieces => rising_means(&readings)
                .into_iter()
                .map(|mean| ((mean.pressure_kpa, mean.force_n), mean.readings))
                .unzip(),
        };
        let calibration =
            Calibration::new(points).map_err(|_| "readings whose force rises with pressure".to_owned())?;
        let count = line.count;
        let (squares, residual_df) = match shape {
            CalibrationShape::Line => (squares(&readings, |reading, _| line.at(reading.pressure_kpa)), count - 2.0),
            CalibrationShape::Pieces => (squares(&readings, |_, mean| mean), count - readings.len() as f64),
        };
        let deviation_n = (residual_df > 0.0).then(|| (squares / residual_df).sqrt());
        Ok(Self { readings, shape, line_p_value, deviation_n, residual_df, line, calibration, point_readings })
    }

    /// The readings, pressures rising.
    pub fn readings(&self) -> &[Reading] {
        &self.readings
    }

    /// Whether a line or pieces are used.
    pub fn shape(&self) -> CalibrationShape {
        self.shape
    }

    /// p value of the test that the readings lie on a line.
    pub fn line_p_value(&self) -> Option<f64> {
        self.line_p_value
    }

    /// Standard deviation of single readings about what is used, N.
    pub fn deviation_n(&self) -> Option<f64> {
        self.deviation_n
    }

    /// Force by pressure.
    pub fn calibration(&self) -> &Calibration {
        &self.calibration
    }

    /// Lightest and heaviest pressure weighed, kPa.
    pub fn weighed_range_kpa(&self) -> (f64, f64) {
        (self.readings[0].pressure_kpa, self.readings[self.readings.len() - 1].pressure_kpa)
    }

    /// Whether pieces take neighbouring pressures together because the force fell from one to the next.
    pub fn pooled(&self) -> bool {
        self.shape == CalibrationShape::Pieces && self.point_readings.len() < self.readings.len()
    }

    /// The force at a pressure, with the error that scatter of readings gives it; a bend between two pressures of pieces is not in it. Standard
    /// error of the line: s √(1/n + (x − x̄)² / Σ(x − x̄)²); of pieces, a share w of the way from a mean of n₀ readings to one of n₁:
    /// s √((1 − w)² / n₀ + w² / n₁). Intervals by t.
    pub fn at(&self, pressure_kpa: f64) -> FittedForce {
        let force_n = self.calibration.force_n(pressure_kpa);
        let share = match self.shape {
            CalibrationShape::Line => {
                let line = &self.line;
                (1.0 / line.count + (pressure_kpa - line.mean_pressure).powi(2) / line.spread).sqrt()
            }
            CalibrationShape::Pieces => {
                let (piece, along) = self.calibration.piece(pressure_kpa);
                let (before, after) = (self.point_readings[piece], self.point_readings[piece + 1]);
                ((1.0 - along).powi(2) / before + along.powi(2) / after).sqrt()
            }
        };
        let std_error_n = self.deviation_n.map(|deviation| deviation * share);
        let interval_n = std_error_n.map(|error| {
            let half = t_quantile(0.975, self.residual_df) * error;
            ((force_n - half).max(0.0), force_n + half)
        });
        FittedForce { force_n, std_error_n, interval_n }
    }
}

/// Mean and standard deviation of readings; no deviation of a single one.
pub fn mean_and_deviation(forces_n: &[f64]) -> (f64, Option<f64>) {
    let count = forces_n.len() as f64;
    let mean = forces_n.iter().sum::<f64>() / count;
    let squares: f64 = forces_n.iter().map(|force| (force - mean).powi(2)).sum();
    (mean, (count > 1.0).then(|| (squares / (count - 1.0)).sqrt()))
}

fn joined(readings: Vec<Reading>) -> Result<Vec<Reading>, String> {
    let numbers = || readings.iter().flat_map(|reading| reading.forces_n.iter().chain([&reading.pressure_kpa]));
    if numbers().any(|number| !number.is_finite() || *number < 0.0) {
        return Err("pressures and forces of 0 or more".into());
    }
    let mut sorted = readings;
    sorted.sort_by(|a, b| a.pressure_kpa.total_cmp(&b.pressure_kpa));
    let mut joined: Vec<Reading> = Vec::new();
    for reading in sorted {
        match joined.last_mut().filter(|last| last.pressure_kpa == reading.pressure_kpa) {
            Some(last) => last.forces_n.extend(reading.forces_n),
            None => joined.push(reading),
        }
    }
    if joined.len() < 2 || joined.iter().any(|reading| reading.forces_n.is_empty()) {
        return Err("readings at two or more pressures".into());
    }
    Ok(joined)
}

/// Σ of squares of single readings about a fitted value, which is told the reading and its mean.
fn squares(readings: &[Reading], fitted: impl Fn(&Reading, f64) -> f64) -> f64 {
    let of = |reading: &Reading| {
        let fitted = fitted(reading, mean_and_deviation(&reading.forces_n).0);
        reading.forces_n.iter().map(|force| (force - fitted).powi(2)).sum::<f64>()
    };
    readings.iter().map(of).sum()
}

/// Squares that rounding alone leaves.
fn rounding(readings: &[Reading]) -> f64 {
    1e-20 * squares(readings, |_, _| 0.0)
}

impl Line {
    fn through(readings: &[Reading]) -> Result<Self, String> {
        let pairs =
            || readings.iter().flat_map(|reading| reading.forces_n.iter().map(|force| (reading.pressure_kpa, *force)));
        let count = pairs().count() as f64;
        let mean_pressure = pairs().map(|pair| pair.0).sum::<f64>() / count;
        let mean_force = pairs().map(|pair| pair.1).sum::<f64>() / count;
        let spread: f64 = pairs().map(|pair| (pair.0 - mean_pressure).powi(2)).sum();
        let product: f64 = pairs().map(|pair| (pair.0 - mean_pressure) * (pair.1 - mean_force)).sum();
        let slope = product / spread;
        if slope.is_nan() || slope <= 0.0 {
            return Err("readings whose force rises with pressure".into());
        }
        Ok(Self { intercept: mean_force - slope * mean_pressure, slope, mean_pressure, spread, count })
    }

    fn at(&self, pressure_kpa: f64) -> f64 {
        self.intercept + self.slope * pressure_kpa
    }

    /// Two points of the line: the lightest and heaviest pressure weighed, or where it leaves zero.
    fn points(&self, readings: &[Reading]) -> Vec<(f64, f64)> {
        let zero = -self.intercept / self.slope;
        let (first, last) = (readings[0].pressure_kpa.max(zero), readings[readings.len() - 1].pressure_kpa);
        vec![(first, self.at(first).max(0.0)), (last, self.at(last))]
    }
}

/// A point of pieces: the mean of the readings at one pressure, or at neighbouring ones that were pooled.
#[derive(Debug, Clone, Copy, PartialEq)]
struct PointMean {
    pressure_kpa: f64,
    force_n: f64,
    readings: f64,
}

/// Means by pressure; neighbours that fall are pooled, pressure and force, until all rise.
fn rising_means(readings: &[Reading]) -> Vec<PointMean> {
    let mut means: Vec<PointMean> = Vec::new();
    for reading in readings {
        let (force_n, _) = mean_and_deviation(&reading.forces_n);
        let count = reading.forces_n.len() as f64;
        means.push(PointMean { pressure_kpa: reading.pressure_kpa, force_n, readings: count });
        while let [.., before, last] = means.as_slice()
            && last.force_n <= before.force_n
        {
            let readings = before.readings + last.readings;
            let mean = |a: f64, b: f64| (a * before.readings + b * last.readings) / readings;
            let pooled = PointMean {
                pressure_kpa: mean(before.pressure_kpa, last.pressure_kpa),
                force_n: mean(before.force_n, last.force_n),
                readings,
            };
            means.truncate(means.len() - 2);
            means.push(pooled);
        }
    }
    means
}

/// p value of lack of fit against repeated readings; `None` where there are none, or only two pressures.
fn lack_of_fit(readings: &[Reading], line: &Line) -> Option<f64> {
    let pressures = readings.len() as f64;
    let (lack_df, pure_df) = (pressures - 2.0, line.count - pressures);
    if lack_df < 1.0 || pure_df < 1.0 {
        return None;
    }
    let pure = squares(readings, |_, mean| mean);
    // Readings that repeat exactly show no scatter to test against.
    if pure <= rounding(readings) {
        return None;
    }
    let all = squares(readings, |reading, _| line.at(reading.pressure_kpa));
    let f = ((all - pure).max(0.0) / lack_df) / (pure / pure_df);
    Some(f_sf(f, lack_df, pure_df))
}

/// p value of a quadratic term in the means.
fn bend(readings: &[Reading]) -> Option<f64> {
    if readings.len() < ENOUGH_FOR_A_BEND {
        return None;
    }
    let pairs: Vec<(f64, f64)> =
        readings.iter().map(|reading| (reading.pressure_kpa, mean_and_deviation(&reading.forces_n).0)).collect();
    let last = readings[readings.len() - 1].pressure_kpa;
    let columns = Array2::from_shape_fn((pairs.len(), 3), |(row, power)| (pairs[row].0 / last).powi(power as i32));
    let names = ["one", "pressure", "pressure squared"].map(str::to_owned).to_vec();
    let forces = pairs.iter().map(|pair| pair.1).collect();
    let design = Design::new(forces, columns, names, Vec::new(), None).ok()?;
    let fit = LeastSquares.fit(&design).ok()?;
    let left: f64 = fit.residuals().iter().map(|residual| residual * residual).sum();
    if left <= rounding(readings) {
        // A parabola leaves nothing, and a line did: there is no scatter, and the bend is plain.
        return Some(0.0);
    }
    let test = fit.contrast(&[0.0, 0.0, 1.0]).ok()?;
    Some(test.p_value()).filter(|p_value| p_value.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;

    const LBF: f64 = 4.448_221_615_260_5;
    const PSI: f64 = 6.894_757_293_168;

    fn readings(pairs: &[(f64, &[f64])]) -> Vec<Reading> {
        pairs
            .iter()
            .map(|(pressure_kpa, forces)| Reading { pressure_kpa: *pressure_kpa, forces_n: forces.to_vec() })
            .collect()
    }

    /// Common practice, no source: 0 to 75 psi of air giving 0 to 150 lbf is 2 lbf a psi, so 35 psi is 70 lbf, 311.4 N.
    #[test]
    fn two_pounds_of_force_a_psi_from_readings_and_from_pairs() {
        let weighed = Weighed::fit(readings(&[(0.0, &[0.0]), (75.0 * PSI, &[150.0 * LBF])])).unwrap();
        assert!((weighed.at(35.0 * PSI).force_n - 70.0 * LBF).abs() < 1e-9);
        assert!((weighed.at(35.0 * PSI).force_n - 311.4).abs() < 0.05);
        assert_eq!(weighed.at(35.0 * PSI).std_error_n, None, "two readings leave nothing to tell an error from");
        let pairs = Calibration::new(vec![(0.0, 0.0), (75.0 * PSI, 150.0 * LBF)]).unwrap();
        assert!((pairs.force_n(35.0 * PSI) - 311.4).abs() < 0.05);
    }

    /// Draper and Smith's way of testing lack of fit, on numbers worked out by hand. Readings 2, 4 at 1; 5, 5 at 2; 9, 11 at 3: the line is
    /// 3.5 x − 1, squares about it 7, about the means 4, so F = (3 / 1) / (4 / 3) = 2.25 on 1 and 3 degrees of freedom.
    #[test]
    fn a_line_is_tested_by_lack_of_fit_against_repeats() {
        let weighed = Weighed::fit(readings(&[(1.0, &[2.0, 4.0]), (2.0, &[5.0, 5.0]), (3.0, &[9.0, 11.0])])).unwrap();
        assert_eq!(weighed.shape(), CalibrationShape::Line);
        assert!((weighed.at(2.0).force_n - 6.0).abs() < 1e-12);
        assert!((weighed.line_p_value().unwrap() - f_sf(2.25, 1.0, 3.0)).abs() < 1e-12);
        // s² = 7 / 4; at the mean pressure the error is s / √6.
        let fitted = weighed.at(2.0);
        let error = (7.0_f64 / 4.0).sqrt() / 6.0_f64.sqrt();
        assert!((fitted.std_error_n.unwrap() - error).abs() < 1e-12);
        let half = fitted.interval_n.unwrap().1 - 6.0;
        // 2.776 is the 97.5 % point of t on 4 degrees of freedom.
        assert!((half - 2.776_445_105_197_793 * error).abs() < 1e-9);
    }

    #[test]
    fn readings_off_the_line_are_joined_by_pieces_and_neighbours_that_fall_are_pooled() {
        let bent = Weighed::fit(readings(&[
            (0.0, &[0.0, 1.0]),
            (100.0, &[20.0, 21.0]),
            (200.0, &[60.0, 61.0]),
            (300.0, &[149.0, 151.0]),
        ]))
        .unwrap();
        assert_eq!(bent.shape(), CalibrationShape::Pieces);
        assert_eq!(bent.at(100.0).force_n, 20.5);
        assert_eq!(bent.at(150.0).force_n, 40.5);
        assert!(!bent.pooled());
        // Pure scatter: (0.5 + 0.5 + 0.5 + 2) / 4.
        let deviation = (3.5_f64 / 4.0).sqrt();
        assert!((bent.at(100.0).std_error_n.unwrap() - deviation / 2.0_f64.sqrt()).abs() < 1e-12);
        // Half way between two means of two readings: √(¼ / 2 + ¼ / 2) = ½.
        assert!((bent.at(150.0).std_error_n.unwrap() - deviation / 2.0).abs() < 1e-12);
        assert!(bent.at(400.0).std_error_n > bent.at(300.0).std_error_n, "drawn on beyond what was weighed");
        let pooled =
            rising_means(&readings(&[(0.0, &[0.0]), (100.0, &[50.0, 50.0]), (200.0, &[44.0]), (300.0, &[90.0])]));
        let point = |pressure_kpa, force_n, readings| PointMean { pressure_kpa, force_n, readings };
        assert_eq!(pooled, [point(0.0, 0.0, 1.0), point(400.0 / 3.0, 48.0, 3.0), point(300.0, 90.0, 1.0)]);
    }

    #[test]
    fn a_bend_is_seen_without_repeats_from_four_pressures_on() {
        let curve: Vec<(f64, [f64; 1])> = (0..6)
            .map(|step| (f64::from(step) * 50.0, [f64::from(step * step) * 12.0 + f64::from(step % 2)]))
            .collect();
        let pairs: Vec<(f64, &[f64])> = curve.iter().map(|(pressure, force)| (*pressure, &force[..])).collect();
        assert_eq!(Weighed::fit(readings(&pairs)).unwrap().shape(), CalibrationShape::Pieces);
        let few = Weighed::fit(readings(&pairs[..3])).unwrap();
        assert_eq!((few.shape(), few.line_p_value()), (CalibrationShape::Line, None));
    }

    /// Twelve readings in psi and lbf, worked out apart with numpy and scipy: polyfit, sums of squares, stats.f.sf(1.438881, 2, 8).
    #[test]
    fn twelve_readings_give_the_line_error_and_p_value_worked_out_elsewhere() {
        let weighed = Weighed::fit(readings(&[
            (75.0, &[153.0, 150.0, 149.0]),
            (20.0, &[41.0, 39.0, 40.0]),
            (40.0, &[81.0, 83.0, 82.0]),
            (60.0, &[119.0, 122.0, 121.0]),
        ]))
        .unwrap();
        let at = weighed.at(35.0);
        assert!((at.force_n - 70.773_333_333_333).abs() < 1e-9);
        assert!((at.std_error_n.unwrap() - 0.531_809_945_546).abs() < 1e-9);
        assert!((weighed.deviation_n().unwrap() - 1.535_203_076_094).abs() < 1e-9);
        assert!((weighed.line_p_value().unwrap() - 0.292_551_076_316).abs() < 1e-9);
        assert_eq!((weighed.shape(), weighed.weighed_range_kpa()), (CalibrationShape::Line, (20.0, 75.0)));
    }

    /// One of the readings at 60 fell below those at 50: taken together, and the whole range weighed is still known.
    #[test]
    fn neighbours_pooled_in_pieces_are_told_and_keep_the_range_weighed() {
        let weighed = Weighed::fit(readings(&[
            (0.0, &[0.0, 1.0]),
            (25.0, &[80.0, 81.0]),
            (50.0, &[102.0, 103.0]),
            (60.0, &[100.0, 101.0]),
        ]))
        .unwrap();
        assert_eq!((weighed.shape(), weighed.pooled()), (CalibrationShape::Pieces, true));
        assert_eq!(weighed.calibration().points().last(), Some(&(55.0, 101.5)));
        assert_eq!(weighed.weighed_range_kpa(), (0.0, 60.0));
        // s² = 4 × 0.5 / 4; four readings stand behind the pooled mean.
        assert!((weighed.at(55.0).std_error_n.unwrap() - 0.5_f64.sqrt() / 2.0).abs() < 1e-12);
    }

    /// A scale that reads whole pounds tells the same three times over; what is left in the sums then is rounding, and no bend.
    #[test]
    fn rounding_is_no_bend() {
        for step in [7.3, 20.0, 33.1, 100.0 / 3.0] {
            for slope in [0.29, 0.7, 1.29, 2.0 * LBF / PSI] {
                for repeats in [1, 3] {
                    let exact: Vec<Reading> = (0..6)
                        .map(|at| {
                            let pressure_kpa = f64::from(at) * step;
                            Reading { pressure_kpa, forces_n: vec![3.7 + slope * pressure_kpa; repeats] }
                        })
                        .collect();
                    let weighed = Weighed::fit(exact).unwrap();
                    let told = (weighed.shape(), weighed.line_p_value());
                    assert_eq!(told, (CalibrationShape::Line, None), "{step} {slope} {repeats}");
                }
            }
        }
    }

    /// Squares have no scatter about a parabola: nothing is left to test against, yet nobody would call them a line.
    #[test]
    fn a_bend_without_any_scatter_is_a_bend() {
        for repeats in [1, 3] {
            let squares: Vec<Reading> = (0..6)
                .map(|at| {
                    let pressure_kpa = f64::from(at) * 50.0;
                    Reading { pressure_kpa, forces_n: vec![pressure_kpa * pressure_kpa * 0.005; repeats] }
                })
                .collect();
            assert_eq!(Weighed::fit(squares).unwrap().shape(), CalibrationShape::Pieces, "{repeats}");
        }
    }

    #[test]
    fn a_linkage_with_slack_has_no_force_below_its_zero() {
        let slack = Weighed::fit(readings(&[(50.0, &[0.0]), (200.0, &[120.0]), (400.0, &[330.0])])).unwrap();
        assert!(slack.calibration().points()[0].1 >= 0.0);
        assert_eq!(slack.at(0.0).force_n, 0.0);
    }

    #[test]
    fn readings_that_tell_no_line_are_refused_with_what_was_expected() {
        let refused = |pairs: &[(f64, &[f64])]| Weighed::fit(readings(pairs)).unwrap_err();
        assert!(refused(&[(100.0, &[50.0, 52.0])]).contains("two or more pressures"));
        assert!(refused(&[(100.0, &[50.0]), (100.0, &[52.0])]).contains("two or more pressures"));
        assert!(refused(&[(100.0, &[]), (200.0, &[52.0])]).contains("two or more pressures"));
        assert!(refused(&[(100.0, &[80.0]), (200.0, &[52.0])]).contains("rises"));
        assert!(refused(&[(100.0, &[f64::NAN]), (200.0, &[52.0])]).contains("0 or more"));
        assert!(refused(&[(-1.0, &[5.0]), (200.0, &[52.0])]).contains("0 or more"));
    }
}
