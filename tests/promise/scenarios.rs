//! The list of worlds that are tried.

use crate::world::{Condition, Curve, Delivery, Layout, Noise, World, logit_of};

/// Noise beside large effects.
const LARGE: Noise = Noise { field: 0.35, block: 0.15, strip: 0.25, dispersion: 1.0 };
/// Logit of the typical field at the best, beside large effects: 80 in 100 on time.
const LEVEL: f64 = 1.386;
/// Default forces: about right for most, and one level too light.
const MIDDLE_N: f64 = 190.0;
const LIGHT_N: f64 = 135.0;

const TRIAL: Layout = Layout::Trial { blocks: 4, missing: 0.0 };
const EXACT: Delivery = Delivery { factor: 1.0, strip_sd_n: 0.0 };

/// A condition with large effects.
pub fn large(curve: Curve, field_seasons: usize) -> Condition {
    Condition { name: "moist", part: "", curve, level: LEVEL, own_best: 0.0, noise: LARGE, field_seasons }
}

/// A condition of the size that trials of closing force suggest: best share, best force, half-width within which two points are
/// lost; fields differ by 3 points, strips by 1.5, blocks by about 1, counts by 1.3 times the binomial variance.
fn modest(name: &'static str, best: f64, best_n: f64, half_width_n: f64, field_seasons: usize) -> Condition {
    let point = 0.01 / (best * (1.0 - best));
    let width = half_width_n / crate::world::HALF_RANGE_N;
    let curvature = (logit_of(best) - logit_of(best - 0.02)) / (width * width);
    Condition {
        name,
        part: "",
        curve: Curve::parabola(crate::world::scaled(best_n), curvature),
        level: logit_of(best),
        own_best: 0.0,
        noise: Noise { field: 3.0 * point, block: point, strip: 1.5 * point, dispersion: 1.3 },
        field_seasons,
    }
}

fn moist(field_seasons: usize) -> Condition {
    modest("moist", 0.94, 160.0, 110.0, field_seasons)
}

fn wet(field_seasons: usize) -> Condition {
    modest("wet", 0.89, 100.0, 60.0, field_seasons)
}

fn dry(field_seasons: usize) -> Condition {
    modest("dry", 0.92, 220.0, 90.0, field_seasons)
}

/// A review of trials in four blocks, each setting once in a block, at exactly the force that was set.
pub fn world(name: &str, default_n: f64, conditions: Vec<Condition>) -> World {
    World { name: name.to_owned(), conditions, layout: TRIAL, delivery: EXACT, default_n }
}

/// The same world with 1, 2, … field-seasons.
fn series(name: &str, default_n: f64, sizes: &[usize], condition: impl Fn(usize) -> Condition) -> Vec<World> {
    sizes
        .iter()
        .map(|size| {
            let plural = if *size == 1 { "" } else { "s" };
            world(&format!("{name}, {size} field-season{plural}"), default_n, vec![condition(*size)])
        })
        .collect()
}

fn logs(name: &str, default_n: f64, curve: Curve, correlation: f64) -> World {
    World {
        layout: Layout::Logs { seasons: 4, correlation },
        ..world(&format!("logs, {name}, correlation {correlation}"), default_n, vec![large(curve, 20)])
    }
}

/// All worlds, in the order of the report.
pub fn scenarios() -> Vec<World> {
    let inside = Curve::parabola(0.1, 1.0);
    let off_centre = Curve::parabola(0.5, 0.7);
    let skewed = Curve::Hump { best: 0.2, left: 0.4, right: 2.0 };
    let mirrored = Curve::Hump { best: -0.2, left: 2.0, right: 0.4 };
    let varying = |own_best: f64| move |size| Condition { own_best, ..large(inside, size) };
    let mut all = Vec::new();
    all.extend(series("inside", LIGHT_N, &[1, 2, 3, 5, 10], |size| large(inside, size)));
    all.extend(series("inside, modest, moist", MIDDLE_N, &[3, 5, 10], moist));
    all.extend(series("inside, modest, wet", MIDDLE_N, &[3, 5, 10], wet));
    all.extend(series("inside, modest, dry", LIGHT_N, &[3, 5, 10], dry));
    all.extend(series("off centre", LIGHT_N, &[3, 5], |size| large(off_centre, size)));
    all.extend(series("at the edge", MIDDLE_N, &[3, 5], |size| large(Curve::parabola(1.0, 0.5), size)));
    all.extend(series("beyond the edge", MIDDLE_N, &[3, 5], |size| large(Curve::parabola(1.5, 0.25), size)));
    all.extend(series("rising throughout", LIGHT_N, &[3, 5], |size| large(Curve::Line { slope: 0.5 }, size)));
    all.extend(series("plateau", LIGHT_N, &[3, 5], |size| large(Curve::Plateau { slope: 1.0, knee: -0.2 }, size)));
    all.extend(series("flat", MIDDLE_N, &[1, 3, 5, 10], |size| large(Curve::Flat, size)));
    all.extend(series("flat, modest", LIGHT_N, &[5], |size| Condition { curve: Curve::Flat, ..moist(size) }));
    all.extend(series("skewed, steep when heavy", LIGHT_N, &[3, 5, 10], |size| large(skewed, size)));
    all.extend(series("skewed, steep when light", LIGHT_N, &[3, 5, 10], |size| large(mirrored, size)));
    all.extend(series("two humps", MIDDLE_N, &[5], |size| large(Curve::TwoHumps { dip: 0.4 }, size)));
    all.extend(series("fields vary by 0.15", LIGHT_N, &[3, 5, 10], varying(0.15)));
    all.extend(series("fields vary by 0.3", LIGHT_N, &[3, 5, 10], varying(0.3)));
    for own_best in [0.15, 0.3] {
        let tent = move |size| Condition { own_best, ..large(Curve::Tent { best: 0.1, slope: 0.8 }, size) };
        all.extend(series(&format!("sharp top, fields vary by {own_best}"), LIGHT_N, &[5], tent));
    }
    all.push(world(
        "four conditions, large",
        MIDDLE_N,
        [("dry", 0.7), ("moist", 0.2), ("wet", -0.3), ("wet, covered", -0.7)]
            .map(|(name, best)| Condition { name, ..large(Curve::parabola(best, 1.0), 3) })
            .to_vec(),
    ));
    let flat = Condition { name: "moist, bare", curve: Curve::Flat, ..moist(3) };
    let apart = |condition: Condition| Condition { part: condition.name, ..condition };
    all.push(world("four conditions, modest", MIDDLE_N, [dry(3), moist(3), wet(3), flat].map(apart).to_vec()));
    all.push(world(
        "a condition seen once",
        MIDDLE_N,
        [
            ("dry", 0.7, 1, "once"),
            ("moist", 0.2, 4, "others"),
            ("wet", -0.3, 4, "others"),
            ("wet, covered", -0.7, 4, "others"),
        ]
        .map(|(name, best, size, part)| Condition { name, part, ..large(Curve::parabola(best, 1.0), size) })
        .to_vec(),
    ));
    for correlation in [0.5, 0.9] {
        all.push(logs("inside", LIGHT_N, inside, correlation));
        all.push(logs("flat", MIDDLE_N, Curve::Flat, correlation));
    }
    for few in series("two blocks", LIGHT_N, &[3, 5], |size| large(inside, size)) {
        all.push(World { layout: Layout::Trial { blocks: 2, missing: 0.0 }, ..few });
    }
    let five = |name: &str| world(&format!("{name}, 5 field-seasons"), LIGHT_N, vec![large(inside, 5)]);
    all.push(World { layout: Layout::Trial { blocks: 4, missing: 0.2 }, ..five("missing strips") });
    all.push(World { delivery: Delivery { factor: 1.0, strip_sd_n: 20.0 }, ..five("force varies by 20 N") });
    all.push(World { delivery: Delivery { factor: 1.1, strip_sd_n: 0.0 }, ..five("calibration off by 10 %") });
    let noisy = |name: &str, noise: Noise| {
        world(&format!("{name}, 5 field-seasons"), LIGHT_N, vec![Condition { noise, ..large(inside, 5) }])
    };
    all.push(noisy("counts vary 4 times chance", Noise { dispersion: 4.0, ..LARGE }));
    all.push(noisy("strips vary by 0.6", Noise { strip: 0.6, ..LARGE }));
    all
}
