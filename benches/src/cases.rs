//! The cases.

use crate::inputs::{Columns, Layout, counts, event_records, response_frame};
use crate::usual::{self, Usual};
use evenstand_stats::distribution::{MaximumT, Sides, studentized_range_quantile};
use evenstand_stats::{
    BinomialMixed, DegreesOfFreedom, EventTimes, LinearFit, Lmm, LmmFit, Posterior, PosteriorOptions, ResponseShape,
    Result, ShapeComparison, StatsError, parametric_bootstrap,
};
use ndarray::Array2;

/// Work that gives one number, by which two runs are compared.
pub type Work = Box<dyn FnMut() -> Result<f64>>;

/// Something that is timed.
pub struct Case {
    /// Whole words; a part of it picks the case on the command line.
    pub name: String,
    /// Makes the data, which is not timed.
    pub prepare: Box<dyn Fn() -> Result<Work>>,
    /// What others take for the same work; empty where that was not measured.
    pub usual: Vec<Usual>,
}

impl Case {
    fn new(name: impl Into<String>, usual: Vec<Usual>, prepare: impl Fn() -> Result<Work> + 'static) -> Self {
        Self { name: name.into(), prepare: Box::new(prepare), usual }
    }
}

/// Every case, in the order of the table.
pub fn all() -> Vec<Case> {
    let mut cases = Vec::new();
    cases.extend(mixed_models());
    cases.extend(larger_designs());
    cases.extend(review());
    cases.extend(other_models());
    cases
}

/// The comparison with R: 10, 100 and 1000 fields of 24 strips.
fn mixed_models() -> Vec<Case> {
    let mut cases = Vec::new();
    for fields in [10, 100, 1000] {
        let layout = Layout::of_fields(fields);
        let strips = layout.strips();
        cases.push(Case::new(format!("linear mixed model, {strips} strips"), usual::of("fit", strips), move || {
            let columns = Columns::drawn(&layout, 1);
            Ok(Box::new(move || Ok(Lmm::reml().fit(&columns.design()?)?.criterion())))
        }));
        let name = format!("linear mixed model with Satterthwaite contrasts, {strips} strips");
        cases.push(Case::new(name, usual::of("satterthwaite", strips), move || {
            contrasts(&layout, DegreesOfFreedom::Satterthwaite)
        }));
        let name = format!("linear mixed model with Kenward-Roger contrasts, {strips} strips");
        cases.push(Case::new(name, usual::of("kenward_roger", strips), move || {
            contrasts(&layout, DegreesOfFreedom::KenwardRoger)
        }));
        let name = format!("200 bootstrap refits on two threads, {strips} strips");
        cases.push(Case::new(name, usual::of("refits", strips), move || refits(&layout, 200)));
        let name = format!("binomial mixed model with an effect of each strip, {strips} strips");
        cases.push(Case::new(name, usual::of("binomial", strips), move || {
            let design = counts(&layout, 1)?;
            Ok(Box::new(move || Ok(BinomialMixed::laplace().fit(&design)?.log_likelihood())))
        }));
    }
    cases
}

fn larger_designs() -> Vec<Case> {
    let four_blocks = Layout { blocks: 4, ..Layout::of_fields(1000) };
    let slopes = |fields| Layout { slopes: true, ..Layout::of_fields(fields) };
    [
        ("linear mixed model, 1000 field-seasons of 4 blocks of 8 levels", four_blocks),
        ("linear mixed model, 100000 strips", Layout::of_fields(4167)),
        ("linear mixed model, a million strips", Layout::of_fields(41_667)),
        ("random slopes and curvatures, 2400 strips", slopes(100)),
        ("random slopes and curvatures, 24000 strips", slopes(1000)),
    ]
    .into_iter()
    .map(|(name, layout)| {
        Case::new(name, Vec::new(), move || {
            let columns = Columns::drawn(&layout, 1);
            Ok(Box::new(move || Ok(Lmm::reml().fit(&columns.design()?)?.criterion())))
        })
    })
    .collect()
}

fn review() -> Vec<Case> {
    let layout = Layout::of_review();
    let strips = layout.strips();
    vec![
        Case::new(format!("posterior of a review, 2000 draws in 5000 steps, {strips} strips"), Vec::new(), move || {
            let design = Columns::drawn(&layout, 1).design()?;
            Ok(Box::new(move || {
                let posterior = Posterior::sample(&design, &PosteriorOptions::new(vec![2.0; 4], 1))?;
                Ok(posterior.sigma.iter().sum())
            }))
        }),
        Case::new(
            format!("1000 bootstrap refits of a review on two threads, {strips} strips"),
            Vec::new(),
            move || refits(&layout, 1000),
        ),
        Case::new("comparison of eight response shapes, 336 strips", Vec::new(), || {
            let frame = response_frame(77)?;
            Ok(Box::new(move || Ok(ShapeComparison::new(&frame, &ResponseShape::ALL)?.weights()[0])))
        }),
    ]
}

fn other_models() -> Vec<Case> {
    vec![
        Case::new("1000 interval-censored records of eight looks", Vec::new(), || {
            let records = event_records(1000, 99)?;
            Ok(Box::new(move || {
                records.iter().map(|data| Ok(EventTimes::log_logistic().fit(data)?.coefficients()[0])).sum()
            }))
        }),
        Case::new("Tukey constants of 2 to 20 means", Vec::new(), || {
            Ok(Box::new(|| Ok((2..=20).map(|means| studentized_range_quantile(0.95, means, 24.0)).sum())))
        }),
        Case::new("Dunnett constants of 1 to 19 settings, equal replication", Vec::new(), || {
            Ok(Box::new(|| {
                let constant = |size| Ok(MaximumT::equicorrelated(size, 0.5, Sides::Two)?.quantile(0.95, 24.0).value);
                (1..=19).map(constant).sum()
            }))
        }),
        Case::new("constant of 15 comparisons with a general correlation", Vec::new(), || {
            // Neighbours in time correlate more: no structure that makes the integral one-dimensional.
            let correlation = Array2::from_shape_fn((15, 15), |(i, j)| 0.7_f64.powi((i as i32 - j as i32).abs()));
            Ok(Box::new(move || Ok(MaximumT::new(&correlation, Sides::Two)?.quantile(0.95, 24.0).value)))
        }),
    ]
}

/// Design, fit, and a contrast for every coefficient.
fn contrasts(layout: &Layout, degrees_of_freedom: DegreesOfFreedom) -> Result<Work> {
    let columns = Columns::drawn(layout, 1);
    Ok(Box::new(move || {
        let fit = Lmm::reml().with_degrees_of_freedom(degrees_of_freedom).fit(&columns.design()?)?;
        let size = fit.coefficients().len();
        (0..size)
            .map(|at| {
                let row: Vec<f64> = (0..size).map(|j| f64::from(u8::from(j == at))).collect();
                Ok(fit.contrast(&row)?.df)
            })
            .sum()
    }))
}

/// Responses drawn from a fit and fitted again, on two threads whatever the machine has.
fn refits(layout: &Layout, replicates: usize) -> Result<Work> {
    let design = Columns::drawn(layout, 1).design()?;
    let fit = Lmm::reml().fit(&design)?;
    let threads = rayon::ThreadPoolBuilder::new()
        .num_threads(2)
        .build()
        .map_err(|_| StatsError::Numerical { step: "the start of two threads" })?;
    let statistic = |fit: &LmmFit| [fit.coefficients(), fit.theta()].concat();
    Ok(Box::new(move || {
        let bootstrap = threads.install(|| parametric_bootstrap(&design, &fit, replicates, 1, statistic))?;
        bootstrap.std_error(0)
    }))
}
