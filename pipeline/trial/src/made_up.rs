//! Made-up plans for tests: every layout, with as many settings and blocks as asked for.

use crate::{
    Counting, DetectableWith, FieldSize, Layout, Level, Pass, Place, Plan, PlantedBy, Setting, Strip, Visit, Visits,
    Worth,
};

const LENGTH_M: f64 = 400.0;
const HEADLAND_M: f64 = 20.0;
const BUFFER_M: f64 = 8.0;
const KPA_PER_PSI: f64 = 6.894_757_293_168;

/// Settings that the planters of the plans belong to: steps of half a psi, of 5 kPa, and positions.
pub(crate) fn settings() -> evenstand_settings::Settings {
    evenstand_settings::Settings::parse(
        "[display]\nunits = \"us\"\n\
         [[planter]]\nid = \"north-12\"\n[planter.closing]\nkind = \"pressure\"\nmax_psi = 90\nstep_psi = 0.5\n\
         [[planter]]\nid = \"south-8\"\n[planter.closing]\nkind = \"pressure\"\nmax_kpa = 600\nstep_kpa = 5\n",
    )
    .unwrap()
}

fn planter(id: &str, rows: u32, gauge: &str, kpa: f64) -> PlantedBy {
    PlantedBy {
        id: id.into(),
        closer: "discs_and_press_wheel".into(),
        rows,
        gauge: Some(gauge.into()),
        default: Some(Setting::PressureKpa(kpa)),
    }
}

/// A plan. The settings of the first planter are 10.5, 20.5, 30.5 psi and so on, those of a second 70, 140, 210 kPa.
pub(crate) fn plan(layout: Layout, levels: usize, blocks: usize) -> Plan {
    let mut planters = vec![planter("north-12", 12, "psi", 30.5 * KPA_PER_PSI)];
    if layout == Layout::StripSplit {
        planters.push(planter("south-8", 8, "kpa", 140.0));
    }
    let knobs = |level: usize| {
        let step = level as f64;
        let all = [Setting::PressureKpa((10.5 + 10.0 * step) * KPA_PER_PSI), Setting::PressureKpa(70.0 * (step + 1.0))];
        all.into_iter().take(planters.len()).collect()
    };
    let closers = match layout {
        Layout::SplitPlot => vec!["discs_and_press_wheel".to_owned(), "angled_press_wheels".to_owned()],
        _ => vec!["discs_and_press_wheel".to_owned()],
    };
    let mut made = Plan {
        review: "Winter review".into(),
        field_id: "North Forty".into(),
        season: 2027,
        condition: Some("moist, covered".into()),
        response: "on_time_share".into(),
        layout,
        seed: 7,
        levels: (0..levels)
            .map(|level| Level {
                knobs: knobs(level),
                force_n: Some(100.0 * (level as f64 + 1.0)),
                is_default: level == 2,
            })
            .collect(),
        planters,
        closers,
        blocks,
        passes: Vec::new(),
        strips: Vec::new(),
        field: FieldSize {
            row_spacing_m: 0.762,
            seed_rate_per_m2: Some(8.4),
            headland_m: HEADLAND_M,
            buffer_m: if layout == Layout::StripSplit { BUFFER_M } else { 0.0 },
            passes_per_strip: 1,
            width_m: 0.0,
            length_m: LENGTH_M,
        },
        counting: Counting {
            row_units: vec![3, 6],
            border_rows: vec![1, 12],
            wheel_rows: vec![5, 8],
            places: 4,
            row_length_m: 5.3,
            seeds: Some(33.9),
        },
        visits: visits(),
        worth: worth(blocks),
        notes: vec!["No planting date was given: visits are told as days after planting.".into()],
    };
    border(&mut made);
    for block in 1..=blocks {
        lay_block(&mut made, block);
    }
    border(&mut made);
    made.field.width_m = made.passes.iter().map(|pass| pass.width_m).sum();
    made
}

fn lay_block(plan: &mut Plan, block: usize) {
    let levels = plan.levels.len();
    let turned = |position: usize| (position + block * 3) % levels;
    match plan.layout {
        Layout::CompleteBlocks => (0..levels).for_each(|position| whole(plan, block, 0, turned(position))),
        Layout::IncompleteBlocks => {
            (0..levels.max(2) - 1).for_each(|position| whole(plan, block, 0, turned(position)));
        }
        Layout::SplitPlot => {
            for half in 0..2 {
                (0..levels).for_each(|position| whole(plan, block, (half + block) % 2, turned(position)));
            }
        }
        Layout::StripSplit => {
            for planter in 0..2 {
                let pass = pass(plan, planter);
                let piece = LENGTH_M / levels as f64;
                for position in 0..levels {
                    let span = (piece * position as f64, piece * (position as f64 + 1.0));
                    strip(plan, (block, pass, 0, turned(position)), span);
                }
            }
        }
    }
}

fn border(plan: &mut Plan) {
    pass(plan, 0);
}

fn whole(plan: &mut Plan, block: usize, closer: usize, level: usize) {
    let pass = pass(plan, 0);
    strip(plan, (block, pass, closer, level), (0.0, LENGTH_M));
}

fn pass(plan: &mut Plan, planter: usize) -> usize {
    let left_m = plan.passes.last().map_or(0.0, |pass| pass.left_m + pass.width_m);
    let position = plan.passes.len();
    plan.passes.push(Pass {
        number: position + 1,
        planter,
        outward: position.is_multiple_of(2),
        left_m,
        width_m: f64::from(plan.planters[planter].rows) * plan.field.row_spacing_m,
        span_m: (0.0, LENGTH_M),
        strips: Vec::new(),
    });
    position
}

fn strip(plan: &mut Plan, (block, pass, closer, level): (usize, usize, usize, usize), span_m: (f64, f64)) {
    let position = plan.strips.len();
    let outward = plan.passes[pass].outward;
    let settles = if plan.layout == Layout::StripSplit { BUFFER_M } else { 0.0 };
    let (before, after) = if outward { (settles, 0.0) } else { (0.0, settles) };
    let counted_m = (
        if span_m.0 == 0.0 { HEADLAND_M } else { span_m.0 + before },
        if span_m.1 == LENGTH_M { LENGTH_M - HEADLAND_M } else { span_m.1 - after },
    );
    let step = (counted_m.1 - counted_m.0) / 4.0;
    let places = (0_u8..4).map(|place| Place {
        sample_id: char::from(b'a' + place).to_string(),
        row_unit: plan.counting.row_units[usize::from(place) % 2],
        at_m: counted_m.0 + step * (f64::from(place) + 0.4),
    });
    let made = Strip {
        strip_id: format!("S{:02}", position + 1),
        block,
        pass,
        planter: plan.passes[pass].planter,
        closer,
        level,
        span_m,
        counted_m,
        places: places.collect(),
    };
    plan.strips.push(made);
    plan.passes[pass].strips.push(position);
}

fn visits() -> Visits {
    let visit = |day: u32, reason: &str| Visit { day, date: None, reason: reason.into() };
    Visits {
        visits: vec![
            visit(7, "About a tenth of the plants should be up."),
            visit(10, "Two days later, most should be up: this tells on time from late."),
            visit(21, "The final stand."),
        ],
        basis: "from the fields of last season".into(),
        first_tenth_day: 7.2,
        nine_tenths_day: 10.9,
    }
}

fn worth(blocks: usize) -> Worth {
    Worth {
        strip_sd: 0.031,
        strip_sd_from: "between strips of last season's trials".into(),
        alpha: 0.05,
        power: 0.8,
        detectable: 0.05,
        by_blocks: [3, 4, blocks, 12]
            .map(|blocks| DetectableWith { blocks, difference: 0.1 / (blocks as f64).sqrt() })
            .to_vec(),
        sentences: vec![
            "With this plan a difference of 5 points in plants up on time is found 80 times in 100.".into(),
        ],
    }
}
