//! From a request to a plan.

use std::collections::BTreeMap;

use evenstand_agronomy::row_length_thousandth_acre_m;
use evenstand_settings::{Knob, Planter, Settings};
use evenstand_tables::rows::StripRow;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

use crate::arrangement::{Design, Plot, arrange};
use crate::error::TrialError;
use crate::ground::Ground;
use crate::levels::{Chosen, Limits, around_default, default_setting, gauge, named};
use crate::places::{places, row_units};
use crate::plan::{Counting, FieldSize, Layout, Level, Pass, Plan, PlantedBy, Setting, Strip, Worth};
use crate::precision::{Precision, blocks_for, by_blocks};
use crate::request::{Known, Request};
use crate::strip_spread::{strip_spread, trial_spread};
use crate::visits::visits;
use crate::words::{WorthWords, sentences};

/// Settings and blocks of a trial that nobody asked anything of: enough to see a curve, and for chance to be estimated.
const LEVELS: usize = 5;
const BLOCKS: usize = 4;
/// Streams of random numbers, so that more places do not change the layout.
const ROWS_STREAM: u64 = 1;
const PLACES_STREAM: u64 = 2;

/// Plans a trial.
///
/// # Errors
/// A request that cannot be met, with what can: a planter without a knob, settings outside its limits or outside what digs allow, too
/// few blocks, strips too short for the counts, ground that ends before the trial does.
pub fn plan(request: &Request, known: &Known, ground: &Ground, settings: &Settings) -> Result<Plan, TrialError> {
    check(request)?;
    let mut notes = Vec::new();
    let layout = layout(request)?;
    let chosen = levels(request, known, layout)?;
    notes.extend(chosen.notes);
    let levels = chosen.levels;
    let asked_blocks = known.advised().and_then(|row| row.n_blocks).filter(|blocks| *blocks > 1);
    let blocks = request.blocks.or(asked_blocks.map(|blocks| blocks as usize)).unwrap_or(BLOCKS);
    let per_block = request.per_block.unwrap_or(levels.len());
    let closers = closers(request);
    let design = Design { layout, levels: levels.len(), blocks, per_block, closers: closers.len() };
    let arranged = arrange(&design, request.seed)?;
    notes.extend(arranged.notes);
    let laid = lay(request, ground, &arranged.plots, levels.len(), layout)?;
    let counting = counting(request)?;
    let mut strips = laid.strips;
    let random = &mut ChaCha8Rng::seed_from_u64(request.seed);
    random.set_stream(PLACES_STREAM);
    for strip in &mut strips {
        strip.places = places(strip.counted_m, counting.places, counting.row_length_m, &counting.row_units, random)?;
    }
    let worth = worth(request, known, settings, &design, &arranged.plots, &counting, &levels)?;
    let course = request.response != "emerged_share";
    let visits = visits(&known.expected, course, settings.analysis.on_time_window_h);
    if layout == Layout::StripSplit {
        notes.push("Settings change along the pass: both planters change at the same distance, and the length in which a setting settles is not counted.".into());
    }
    let passes = laid.passes;
    let width_m = passes.iter().map(|pass| pass.left_m + pass.width_m).fold(0.0, f64::max);
    let length_m = passes.iter().map(|pass| pass.span_m.1 - pass.span_m.0).fold(0.0, f64::max);
    Ok(Plan {
        review: settings.name.clone().unwrap_or_default(),
        field_id: request.field_id.clone(),
        season: request.season,
        condition: request.condition.clone(),
        response: request.response.clone(),
        layout,
        seed: request.seed,
        planters: request
            .planters
            .iter()
            .map(|asked| PlantedBy {
                id: asked.planter.id.clone(),
                closer: asked.planter.closer.clone(),
                rows: asked.rows,
                gauge: gauge(&asked.planter).map(str::to_owned),
                default: default_setting(&asked.planter),
            })
            .collect(),
        closers,
        levels,
        blocks,
        passes,
        strips,
        field: FieldSize {
            row_spacing_m: request.row_spacing_m,
            seed_rate_per_m2: request.seed_rate_per_m2,
            headland_m: request.headland_m,
            buffer_m: request.buffer_m,
            passes_per_strip: request.passes_per_strip,
            width_m,
            length_m,
        },
        counting,
        visits,
        worth,
        notes,
    })
}

fn check(request: &Request) -> Result<(), TrialError> {
    let number = |what: &str, value: f64, low: f64| {
        if value.is_finite() && value >= low {
            return Ok(());
        }
        Err(TrialError::request(what, value, if low > 0.0 { "a length above 0" } else { "a length of 0 or more" }))
    };
    number("the distance between rows", request.row_spacing_m, 0.01)?;
    number("the headland", request.headland_m, 0.0)?;
    number("the buffer", request.buffer_m, 0.0)?;
    if let Some(length) = request.row_length_m {
        number("the length of row at a place", length, 0.01)?;
    }
    let whole = |what: &str, found: usize, low: usize, high: usize| {
        if (low..=high).contains(&found) {
            return Ok(());
        }
        Err(TrialError::request(what, found, format!("a number from {low} to {high}")))
    };
    whole("the number of settings", request.levels.unwrap_or(2), 2, 12)?;
    whole("the number of blocks", request.blocks.unwrap_or(2), 2, 40)?;
    whole("the passes a strip", request.passes_per_strip, 1, 12)?;
    whole("the border passes on a side", request.border_passes, 0, 20)?;
    whole("the places a strip", request.places, 1, 60)?;
    whole("the number of planters", request.planters.len(), 1, 2)?;
    for asked in &request.planters {
        whole("the rows of the planter", asked.rows as usize, 1, 128)?;
    }
    let share = |what: &str, value: f64| {
        if value > 0.0 && value < 1.0 {
            return Ok(());
        }
        Err(TrialError::request(what, value, "a number between 0 and 1"))
    };
    share("the level of the test", request.alpha)?;
    share("the power", request.power)
}

fn closers(request: &Request) -> Vec<String> {
    if request.closers.is_empty() { vec![request.planters[0].planter.closer.clone()] } else { request.closers.clone() }
}

fn layout(request: &Request) -> Result<Layout, TrialError> {
    let (two, split, incomplete) =
        (request.planters.len() == 2, request.closers.len() > 1, request.per_block.is_some());
    match (two, split, incomplete) {
        (false, false, false) => Ok(Layout::CompleteBlocks),
        (false, false, true) => Ok(Layout::IncompleteBlocks),
        (false, true, false) => Ok(Layout::SplitPlot),
        (true, false, false) => Ok(Layout::StripSplit),
        _ => Err(TrialError::request(
            "the layout",
            "more than one of: two planters, two closers, fewer strips a block than settings",
            "one of them in a trial",
        )),
    }
}

/// Settings for the first planter, and the nearest force of a second one beside it.
fn levels(request: &Request, known: &Known, layout: Layout) -> Result<Chosen, TrialError> {
    let planter = &request.planters[0].planter;
    let limits = limits(request, known);
    let asked = known.advised().and_then(|row| row.n_levels).filter(|levels| *levels > 1).map(|levels| levels as usize);
    let number = request.levels.or(asked).unwrap_or(LEVELS);
    let mut chosen = match &request.settings {
        Some(settings) => named(planter, &limits, settings)?,
        None => around_default(planter, &limits, number)?,
    };
    if layout == Layout::StripSplit {
        let other = &request.planters[1].planter;
        for level in &mut chosen.levels {
            level.knobs.push(same_force(other, level)?);
        }
    }
    if let (Some(per_block), true) = (request.per_block, layout == Layout::IncompleteBlocks)
        && per_block >= chosen.levels.len()
    {
        return Err(TrialError::request(
            "the strips a block",
            per_block,
            format!(
                "fewer than the {} settings, or no such number: then every block holds every setting",
                chosen.levels.len()
            ),
        ));
    }
    Ok(chosen)
}

/// The setting of a second planter that gives the force of a level, on a stop of its knob.
fn same_force(planter: &Planter, level: &Level) -> Result<Setting, TrialError> {
    let refuse = |found: &str| {
        TrialError::request(
            format!("the knob of planter \"{}\"", planter.id),
            found,
            "both planters calibrated in newtons: one setting must mean one force on both",
        )
    };
    let force = level.force_n.ok_or_else(|| refuse("a first planter without a calibration"))?;
    match &planter.knob {
        Some(Knob::Pressure { min_kpa, max_kpa, step_kpa, calibration: Some(line), .. }) => {
            let steps = ((line.pressure_kpa(force) - min_kpa) / step_kpa).round();
            Ok(Setting::PressureKpa((min_kpa + steps * step_kpa).clamp(*min_kpa, *max_kpa)))
        }
        Some(Knob::Positions { positions, .. }) => positions
            .iter()
            .filter_map(|position| Some((position, (position.force_n? - force).abs())))
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .map(|(position, _)| Setting::Position(position.label.clone()))
            .ok_or_else(|| refuse("positions that were not weighed")),
        _ => Err(refuse("no calibration")),
    }
}

/// Limits in the first planter's knob, from its own row of starting settings and from the advised trial.
fn limits(request: &Request, known: &Known) -> Limits {
    let planter = &request.planters[0].planter;
    let row = known.knobs.iter().find(|row| row.planter_id == planter.id && row.primary == Some(true));
    let range = known.advised().and_then(|row| row.low_n.zip(row.high_n)).filter(|(low, high)| low < high);
    match &planter.knob {
        Some(Knob::Pressure { calibration, .. }) => {
            let knob = |force: f64| calibration.as_ref().map_or(force, |line| line.pressure_kpa(force));
            Limits {
                advised: range.map(|(low, high)| (knob(low), knob(high))),
                shut_from: row.and_then(|row| row.dig_low_pressure_kpa),
                firm_from: row.and_then(|row| row.dig_high_pressure_kpa),
            }
        }
        Some(Knob::Positions { positions, .. }) => {
            let place = |label: &Option<String>| {
                let label = label.as_ref()?;
                positions.iter().position(|position| position.label == *label).map(|place| place as f64)
            };
            let nearest = |force: f64| {
                let gap = |place: &usize| positions[*place].force_n.map_or(f64::INFINITY, |own| (own - force).abs());
                (0..positions.len()).min_by(|a, b| gap(a).total_cmp(&gap(b))).unwrap_or(0) as f64
            };
            let weighed = positions.iter().any(|position| position.force_n.is_some());
            Limits {
                advised: range.filter(|_| weighed).map(|(low, high)| (nearest(low), nearest(high))),
                shut_from: row.and_then(|row| place(&row.dig_low_position)),
                firm_from: row.and_then(|row| place(&row.dig_high_position)),
            }
        }
        None => Limits::default(),
    }
}

struct Laid {
    passes: Vec<Pass>,
    strips: Vec<Strip>,
}

/// Puts plots on passes, from the left, with a border on either side.
fn lay(request: &Request, ground: &Ground, plots: &[Plot], levels: usize, layout: Layout) -> Result<Laid, TrialError> {
    let width = |planter: usize| f64::from(request.planters[planter].rows) * request.row_spacing_m;
    let mut columns: BTreeMap<usize, Vec<&Plot>> = BTreeMap::new();
    plots.iter().for_each(|plot| columns.entry(plot.column).or_default().push(plot));
    let mut laid = Laid { passes: Vec::new(), strips: Vec::new() };
    let mut left_m = 0.0;
    let mut next_pass = |laid: &mut Laid, planter: usize, outward: bool, strips: Vec<usize>| {
        let (from, width_m) = (left_m, width(planter));
        let span_m = ground.span_m(from, width_m).ok_or_else(|| {
            TrialError::request(
                "the ground",
                format!("nothing under pass {}, {from:.0} m from the left edge", laid.passes.len() + 1),
                "a wider field, fewer blocks, fewer settings or fewer border passes",
            )
        })?;
        left_m += width_m;
        let number = laid.passes.len() + 1;
        laid.passes.push(Pass { number, planter, outward, left_m: from, width_m, span_m, strips });
        Ok::<_, TrialError>(span_m)
    };
    let outward = |laid: &Laid| laid.passes.len().is_multiple_of(2);
    for _ in 0..request.border_passes {
        let way = outward(&laid);
        next_pass(&mut laid, 0, way, Vec::new())?;
    }
    let digits = plots.len().to_string().len().max(2);
    for (column, plots) in columns {
        let first_pass = laid.passes.len();
        // Planters side by side drive the same way.
        let way = match layout {
            Layout::StripSplit => (column / 2).is_multiple_of(2),
            _ => outward(&laid),
        };
        let first_strip = laid.strips.len();
        let numbers: Vec<usize> = (first_strip..first_strip + plots.len()).collect();
        let planter = plots[0].planter;
        let mut span_m = next_pass(&mut laid, planter, way, numbers.clone())?;
        for _ in 1..request.passes_per_strip {
            let way = outward(&laid);
            let other = next_pass(&mut laid, planter, way, numbers.clone())?;
            span_m = (span_m.0.max(other.0), span_m.1.min(other.1));
        }
        let inner = (span_m.0 + request.headland_m, span_m.1 - request.headland_m);
        let segments = if layout == Layout::StripSplit { levels } else { 1 };
        let part = (inner.1 - inner.0) / segments as f64;
        for plot in plots {
            let from = inner.0 + part * plot.segment as f64;
            let to = from + part;
            let counted_m = if way { (from + request.buffer_m, to) } else { (from, to - request.buffer_m) };
            let outer = |at: f64, end: bool, edge: f64| if end { edge } else { at };
            laid.strips.push(Strip {
                strip_id: format!("S{:0digits$}", laid.strips.len() + 1),
                block: plot.block + 1,
                pass: first_pass,
                planter,
                closer: plot.closer,
                level: plot.level,
                span_m: (outer(from, plot.segment == 0, span_m.0), outer(to, plot.segment + 1 == segments, span_m.1)),
                counted_m,
                places: Vec::new(),
            });
        }
    }
    for _ in 0..request.border_passes {
        let way = outward(&laid);
        next_pass(&mut laid, 0, way, Vec::new())?;
    }
    Ok(laid)
}

fn counting(request: &Request) -> Result<Counting, TrialError> {
    // Planters side by side have the rows that both have.
    let rows = request.planters.iter().map(|asked| asked.rows).min().unwrap_or(0);
    let random = &mut ChaCha8Rng::seed_from_u64(request.seed);
    random.set_stream(ROWS_STREAM);
    let units = row_units(rows, request.border_rows, &request.wheel_rows, request.places, random)?;
    let thousandth = row_length_thousandth_acre_m(request.row_spacing_m).unwrap_or(5.0);
    let row_length_m = request.row_length_m.unwrap_or((thousandth * 100.0).round() / 100.0);
    let border = request.border_rows.min(rows);
    Ok(Counting {
        row_units: units,
        border_rows: (1..=border).chain(rows - border + 1..=rows).collect(),
        wheel_rows: request.wheel_rows.clone(),
        places: request.places,
        row_length_m,
        seeds: request.seed_rate_per_m2.map(|rate| rate * row_length_m * request.row_spacing_m),
    })
}

fn worth(
    request: &Request,
    known: &Known,
    settings: &Settings,
    design: &Design,
    plots: &[Plot],
    counting: &Counting,
    levels: &[Level],
) -> Result<Worth, TrialError> {
    let strips: Vec<&StripRow> = known.strips.iter().collect();
    let seeds = counting.seeds.map(|seeds| seeds * counting.places as f64);
    let spread = trial_spread(strip_spread(&strips, &request.response), &request.response, seeds, request.strip_sd)?;
    let precision = match design.layout {
        Layout::IncompleteBlocks => Precision::of_plots(plots, design.levels, design.blocks)?,
        _ => Precision::balanced(design),
    };
    let (power, alpha) = (request.power, request.alpha);
    let detectable = precision.detectable(spread.sd, power, alpha)?;
    let difference = request.difference.or_else(|| settings.tolerance.of(&request.response));
    let needed = difference
        .map(|difference| blocks_for(&precision, design, difference, spread.sd, power, alpha))
        .transpose()?
        .flatten();
    let by_blocks = by_blocks(&precision, design, spread.sd, power, alpha)?;
    let words = WorthWords {
        response: &request.response,
        design,
        detectable,
        difference,
        needed,
        alpha,
        power,
        levels: levels.len(),
        next_trials: &known.next_trials,
    };
    Ok(Worth {
        strip_sd: spread.sd,
        strip_sd_from: spread.from,
        alpha,
        power,
        detectable,
        by_blocks,
        sentences: sentences(&words),
    })
}
