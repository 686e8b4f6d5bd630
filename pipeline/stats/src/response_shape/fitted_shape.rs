//! One shape fitted to a frame.

use super::frame::ResponseFrame;
use super::joint::{self, Joint};
use super::lack_of_fit::lack_of_fit;
use super::optimum::{QuadraticOptimum, QuadraticRows};
use super::profile_set::{ProfileSet, Yardstick, joint_points, profile_set};
use super::shape::ResponseShape;
use super::spline_basis::SplineBasis;
use super::spline_curve::SplineCurve;
use crate::checks::check_finite;
use crate::design::Design;
use crate::error::{Result, StatsError};
use crate::inference::{Contrast, JointTest, LinearFit};
use crate::interval::Interval;
use crate::lmm::{Lmm, LmmFit};
use crate::note::Note;
use crate::random_term::RandomTerm;

/// Name of the spline's random term.
const SPLINE: &str = "spline";

/// Segments of the spline; see [`SplineBasis::new`].
const SEGMENTS: usize = 10;

/// A shape with its fits by maximum likelihood (to compare shapes) and restricted maximum likelihood (to report).
///
/// Without random terms both are least squares, with sigma² over n and over n - p.
#[derive(Debug, Clone)]
pub struct FittedShape {
    shape: ResponseShape,
    joint: Option<Joint>,
    design: Design,
    maximum_likelihood: LmmFit,
    restricted: LmmFit,
    /// The model with the derivative by the joint as one more column; `None` without a joint, or where that column says nothing new.
    tangent: Option<(Design, LmmFit)>,
    spline: Option<SplineCurve>,
    lack_of_fit: Option<JointTest>,
    frame: ResponseFrame,
    notes: Vec<Note>,
}

impl FittedShape {
    /// Fits `shape` to `frame`; a plateau's joint is searched in every gap between values of x.
    ///
    /// # Errors
    /// [`StatsError::ShapeNotEstimable`] with too few values of x or columns that already explain the shape;
    /// otherwise as [`Lmm::fit`].
    pub fn fit(frame: &ResponseFrame, shape: ResponseShape) -> Result<Self> {
        let refuse = |reason: String| StatsError::ShapeNotEstimable { shape: shape.name(), reason };
        let (found, needed) = (frame.levels().len(), shape.levels_needed());
        if found < needed {
            return Err(refuse(format!("x has {found} different values, it needs at least {needed}")));
        }
        let joint = match shape.side() {
            Some(side) => Some(joint::search(frame, shape, side)?),
            None => None,
        };
        let at = joint.as_ref().map(|joint| joint.estimate);
        let columns = shape.columns(frame, at);
        let basis = match shape {
            ResponseShape::Spline => {
                Some(SplineBasis::new(Interval { low: frame.range().0, high: frame.range().1 }, SEGMENTS)?)
            }
            _ => None,
        };
        let design = match &basis {
            Some(basis) => frame.design_with_term(&columns, RandomTerm::smooth(SPLINE, basis.columns(frame.x())?))?,
            None => frame.design(&columns)?,
        };
        if let Some((name, _)) = columns.iter().find(|(name, _)| design.aliased().contains(name)) {
            return Err(refuse(format!("its {name} is already explained by the other columns")));
        }
        let maximum_likelihood = Lmm::maximum_likelihood().fit(&design)?;
        let restricted = Lmm::reml().fit(&design)?;
        let mut notes = restricted.notes().to_vec();
        let mut tangent = None;
        if let Some(joint) = &joint {
            notes.extend(joint.note(shape));
            tangent = with_tangent(frame, shape, joint.estimate, columns)?;
            if tangent.is_none() {
                notes.push(Note::new(
                    "joint-held-fixed",
                    format!(
                        "standard errors of the {} curve hold its joint fixed, so they are too short",
                        shape.name()
                    ),
                ));
            }
        }
        let spline = match basis {
            Some(basis) => Some(SplineCurve::new(&design, &restricted, basis)?),
            None => None,
        };
        let lack_of_fit = lack_of_fit(frame, shape, at)?;
        Ok(Self {
            shape,
            joint,
            design,
            maximum_likelihood,
            restricted,
            tangent,
            spline,
            lack_of_fit,
            frame: frame.clone(),
            notes,
        })
    }

    /// The shape.
    pub fn shape(&self) -> ResponseShape {
        self.shape
    }

    /// The joint of a plateau.
    pub fn joint(&self) -> Option<&Joint> {
        self.joint.as_ref()
    }

    /// The design, joint held at its estimate. Columns: constant, the other columns, then those of the shape.
    pub fn design(&self) -> &Design {
        &self.design
    }

    /// The fit by maximum likelihood, joint held at its estimate.
    pub fn maximum_likelihood(&self) -> &LmmFit {
        &self.maximum_likelihood
    }

    /// The fit by restricted maximum likelihood, joint held at its estimate.
    pub fn restricted(&self) -> &LmmFit {
        &self.restricted
    }

    /// Number of parameters k: coefficients, joint, one standard deviation per random term, sigma.
    pub fn n_parameters(&self) -> usize {
        self.maximum_likelihood.n_parameters() + usize::from(self.joint.is_some())
    }

    /// Akaike's criterion for small samples with all constants, `-2 log L + 2 k + 2 k (k + 1) / (n - k - 1)` by maximum likelihood
    /// (Hurvich & Tsai 1989); infinite when n ≤ k + 1.
    pub fn aicc(&self) -> f64 {
        let (k, n) = (self.n_parameters() as f64, self.frame.n_observations() as f64);
        if n <= k + 1.0 {
            return f64::INFINITY;
        }
        self.maximum_likelihood.criterion() + 2.0 * k + 2.0 * k * (k + 1.0) / (n - k - 1.0)
    }

    /// F test against level means; `None` when no level is left over, and for a spline, which bends until it fits.
    pub fn lack_of_fit(&self) -> Option<&JointTest> {
        self.lack_of_fit.as_ref()
    }

    /// Standard deviation of the spline's effects and its effective number of parameters, those of other terms included; `None` for
    /// another shape.
    pub fn spline_roughness(&self) -> Option<(f64, f64)> {
        let spline = self.spline.as_ref()?;
        let component = self.restricted.variance_components().iter().find(|part| part.term == SPLINE)?;
        Some((component.standard_deviation, spline.effective_parameters()))
    }

    /// Fitted response at `x` with the other columns at their means over the rows. Standard errors of a plateau count its joint in
    /// by linearising the curve at the estimate; those of a spline count its smoothing bias in (Nychka 1988), with the rows less
    /// the effective parameters as degrees of freedom.
    ///
    /// # Errors
    /// An x that is not finite (for a spline: outside the range of the data), other columns that leave the level of the curve open.
    pub fn curve(&self, x: f64) -> Result<Contrast> {
        let reference = self.frame.reference();
        self.ask(&reference, x, None)
    }

    /// Fitted response at `x` less the one at `reference`; for plateaus as in [`FittedShape::curve`].
    ///
    /// # Errors
    /// An x or reference that is not finite.
    pub fn difference(&self, x: f64, reference: f64) -> Result<Contrast> {
        let nothing = vec![0.0; self.frame.reference().len()];
        self.ask(&nothing, x, Some(reference))
    }

    fn ask(&self, others: &[f64], x: f64, reference: Option<f64>) -> Result<Contrast> {
        check_finite("x", &[x, reference.unwrap_or(0.0)])?;
        let joint = self.joint.as_ref().map(|joint| joint.estimate);
        let less = |values: &dyn Fn(f64) -> Vec<f64>| -> Vec<f64> {
            match reference {
                None => values(x),
                Some(reference) => values(x).iter().zip(values(reference)).map(|(a, b)| a - b).collect(),
            }
        };
        let mut row = others.to_vec();
        row.extend(less(&|x| self.shape.values(x, self.frame.centre(), joint)));
        if let Some(spline) = &self.spline {
            let row = self.design.estimable_row(&row)?;
            return spline.ask(&self.restricted, &row, x, reference);
        }
        let plain = self.restricted.contrast(&self.design.estimable_row(&row)?)?;
        let (Some((design, fit)), Some(joint)) = (&self.tangent, joint) else { return Ok(plain) };
        row.extend(less(&|x| self.shape.tangent(x, joint).into_iter().collect()));
        // The column is the derivative for a unit slope: its coefficient stands for slope times shift of the joint.
        let spread = fit.contrast(&design.estimable_row(&row)?)?;
        Ok(Contrast { estimate: plain.estimate, ..spread })
    }

    /// Values of the joint that the data do not exclude: the profile likelihood over the joint from the lowest x to half a range beyond
    /// the highest (mirrored for a plateau to the left), the rest of the model fitted again at every value.
    ///
    /// # Errors
    /// A shape without a joint, a confidence outside (0, 1), otherwise as [`Lmm::fit`].
    pub fn joint_set(&self, confidence: f64) -> Result<ProfileSet> {
        let (Some(joint), Some(side)) = (&self.joint, self.shape.side()) else {
            return Err(StatsError::ShapeNotEstimable {
                shape: self.shape.name(),
                reason: "it has no joint to give a set for".into(),
            });
        };
        let frame = &self.frame;
        let rows = frame.n_observations() as f64;
        let residual = rows - self.maximum_likelihood.coefficients().len() as f64 - 1.0;
        let df = if frame.has_random_terms() {
            let width = self.restricted.coefficients().len();
            let mut row = vec![0.0; width];
            row[width - 1] = 1.0;
            self.restricted.contrast(&row)?.df
        } else {
            residual
        };
        let yardstick = Yardstick {
            lowest: joint.deviance,
            rows,
            residual_df: (!frame.has_random_terms()).then_some(residual),
            df,
        };
        let points = joint_points(frame, joint.estimate, side);
        profile_set(|c| joint::deviance_at_joint(frame, self.shape, c), &points, &yardstick, confidence)
    }

    /// Where the fit keeps its quadratic; `None` for another shape.
    pub fn quadratic_rows(&self) -> Option<QuadraticRows> {
        let width = self.restricted.coefficients().len();
        let unit = |at: usize| (0..width).map(|j| f64::from(u8::from(j == at))).collect();
        (self.shape == ResponseShape::Quadratic).then(|| QuadraticRows {
            slope: unit(width - 2),
            curvature: unit(width - 1),
            centre: self.frame.centre(),
        })
    }

    /// The x at which the fitted quadratic has slope `gradient`, from the restricted fit with Satterthwaite's degrees of freedom.
    ///
    /// For Kenward and Roger's, fit [`FittedShape::design`] with them and give that fit and [`FittedShape::quadratic_rows`] to
    /// [`QuadraticOptimum::new`].
    ///
    /// # Errors
    /// Another shape than the quadratic, a gradient that is not finite.
    pub fn optimum(&self, gradient: f64) -> Result<QuadraticOptimum> {
        let rows = self.quadratic_rows().ok_or_else(|| StatsError::ShapeNotEstimable {
            shape: self.shape.name(),
            reason: "only a quadratic has one x with a given slope".into(),
        })?;
        QuadraticOptimum::new(&self.restricted, &rows, gradient)
    }

    /// Remarks, those of the restricted fit included.
    pub fn notes(&self) -> &[Note] {
        &self.notes
    }
}

/// The model with the derivative by the joint added; `None` where that column adds nothing or leaves no residual degrees of freedom.
fn with_tangent(
    frame: &ResponseFrame,
    shape: ResponseShape,
    joint: f64,
    mut columns: Vec<(String, Vec<f64>)>,
) -> Result<Option<(Design, LmmFit)>> {
    let Some(tangent) = shape.tangent_column(frame, joint) else { return Ok(None) };
    let name = tangent.0.clone();
    columns.push(tangent);
    let design = match frame.design(&columns) {
        Ok(design) => design,
        Err(StatsError::TooFewRows { .. }) => return Ok(None),
        Err(error) => return Err(error),
    };
    if design.aliased().contains(&name) {
        return Ok(None);
    }
    match Lmm::reml().fit(&design) {
        Ok(fit) => Ok(Some((design, fit))),
        Err(StatsError::PerfectFit) => Ok(None),
        Err(error) => Err(error),
    }
}
