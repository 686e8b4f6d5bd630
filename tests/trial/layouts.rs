//! Layouts as a person in the field finds them: passes side by side, strips on them, places in them.

use std::collections::BTreeSet;

use evenstand_settings::Settings;
use evenstand_trial::{Ground, Known, Layout, Plan, Request, Setting, plan};

use crate::{PLANTERS, planned, request, two_planters};

fn closers() -> Vec<String> {
    vec!["discs_and_press_wheel".into(), "angled_press_wheels".into()]
}

fn every_layout() -> Vec<Request> {
    let four = Request { levels: Some(4), blocks: Some(4), ..request() };
    vec![
        four.clone(),
        Request { per_block: Some(3), ..four.clone() },
        Request { closers: closers(), ..four.clone() },
        Request { levels: Some(4), blocks: Some(4), ..two_planters() },
        Request { passes_per_strip: 2, border_passes: 2, wheel_rows: vec![4, 9], ..four },
    ]
}

#[test]
fn passes_lie_side_by_side_and_carry_every_strip() {
    for request in every_layout() {
        let plan = planned(&request);
        let mut left = 0.0;
        for (number, pass) in plan.passes.iter().enumerate() {
            assert_eq!(pass.number, number + 1);
            assert!((pass.left_m - left).abs() < 1e-9);
            left += pass.width_m;
            assert_eq!(pass.width_m, f64::from(request.planters[pass.planter].rows) * 0.75);
            for strip in &pass.strips {
                assert_eq!(plan.strips[*strip].planter, pass.planter);
            }
        }
        assert!((plan.field.width_m - left).abs() < 1e-9);
        let border = request.border_passes;
        let inner = &plan.passes[border..plan.passes.len() - border];
        assert!(inner.iter().all(|pass| !pass.strips.is_empty()));
        assert!(
            plan.passes[..border]
                .iter()
                .chain(&plan.passes[plan.passes.len() - border..])
                .all(|pass| pass.strips.is_empty())
        );
        let carried: BTreeSet<usize> = plan.passes.iter().flat_map(|pass| pass.strips.clone()).collect();
        assert_eq!(carried.into_iter().collect::<Vec<_>>(), (0..plan.strips.len()).collect::<Vec<_>>());
        let names: BTreeSet<&str> = plan.strips.iter().map(|strip| strip.strip_id.as_str()).collect();
        assert_eq!(names.len(), plan.strips.len());
    }
}

#[test]
fn neighbouring_passes_go_opposite_ways_and_planters_side_by_side_the_same() {
    let plan = planned(&every_layout()[0]);
    assert!(plan.passes.windows(2).all(|pair| pair[0].outward != pair[1].outward));
    let both = planned(&every_layout()[3]);
    for pair in both.passes[1..both.passes.len() - 1].chunks(2) {
        assert_eq!(pair[0].outward, pair[1].outward);
        assert_ne!(pair[0].planter, pair[1].planter);
    }
}

#[test]
fn the_buffer_lies_where_a_strip_is_entered() {
    for request in every_layout() {
        let plan = planned(&request);
        for strip in &plan.strips {
            let outward = plan.passes[strip.pass].outward;
            let length = strip.counted_m.1 - strip.counted_m.0;
            let first = strip.span_m.0 < 1e-9;
            let last = (strip.span_m.1 - 800.0).abs() < 1e-9;
            let (at_start, at_end) = (strip.counted_m.0 - strip.span_m.0, strip.span_m.1 - strip.counted_m.1);
            let headland = |end: bool| if end { 10.0 } else { 0.0 };
            assert!((at_start - headland(first) - if outward { 20.0 } else { 0.0 }).abs() < 1e-9, "{strip:?}");
            assert!((at_end - headland(last) - if outward { 0.0 } else { 20.0 }).abs() < 1e-9, "{strip:?}");
            assert!(length > 0.0);
            for place in &strip.places {
                assert!(
                    place.at_m >= strip.counted_m.0
                        && place.at_m + plan.counting.row_length_m <= strip.counted_m.1 + 1e-9
                );
                assert!(plan.counting.row_units.contains(&place.row_unit));
                assert!(
                    !plan.counting.border_rows.contains(&place.row_unit)
                        && !plan.counting.wheel_rows.contains(&place.row_unit)
                );
            }
        }
    }
}

#[test]
fn a_thousandth_of_an_acre_is_counted_and_its_seeds_are_known() {
    let plan = planned(&request());
    // 43 560 sq ft / 1000 / 2.4606 ft = 17.70 ft at 75 cm: 5.40 m; 8.2 seeds a square metre.
    assert_eq!(plan.counting.row_length_m, 5.4);
    assert!((plan.counting.seeds.unwrap() - 8.2 * 5.4 * 0.75).abs() < 1e-9);
    assert_eq!(plan.visits.visits.len(), 1, "a final stand alone");
    assert!(planned(&Request { response: "on_time_share".into(), ..request() }).visits.visits.len() > 5);
}

#[test]
fn two_planters_get_the_force_in_their_own_knobs() {
    let plan = planned(&every_layout()[3]);
    assert_eq!(plan.layout, Layout::StripSplit);
    for level in &plan.levels {
        let [Setting::PressureKpa(first), Setting::PressureKpa(second)] = level.knobs[..] else { panic!("{level:?}") };
        // 1 N a kPa on the first, 0.8 on the second, whose knob moves by 1 psi (6.9 kPa).
        assert!((0.8 * second - first).abs() <= 0.8 * 6.894_757 / 2.0 + 1e-9, "{first} {second}");
        let stops = second / 6.894_757_293;
        assert!((stops - stops.round()).abs() < 1e-6);
    }
}

#[test]
fn one_seed_gives_one_plan_and_more_places_leave_the_layout_alone() {
    let order = |plan: &Plan| plan.strips.iter().map(|strip| (strip.block, strip.level)).collect::<Vec<_>>();
    let (first, again) = (planned(&request()), planned(&request()));
    assert_eq!(first, again);
    assert_ne!(order(&first), order(&planned(&Request { seed: 2, ..request() })));
    let more = planned(&Request { places: 6, ..request() });
    assert_eq!(order(&first), order(&more));
    assert!(more.worth.detectable < first.worth.detectable, "more plants, less chance");
}

#[test]
fn what_cannot_be_had_is_refused_with_what_was_found_and_what_can_be() {
    let refused = |request: Request, length: f64, expected: &str| {
        let settings = Settings::parse(PLANTERS).unwrap();
        let message = plan(&request, &Known::default(), &Ground::rectangle(length), &settings).unwrap_err().to_string();
        assert!(message.contains(expected), "{message}");
    };
    let with = request;
    refused(Request { blocks: Some(1), ..with() }, 800.0, "from 2 to 40");
    refused(Request { levels: Some(1), ..with() }, 800.0, "from 2 to 12");
    refused(with(), 40.0, "too short for 3 places");
    refused(Request { buffer_m: f64::NAN, ..with() }, 800.0, "the buffer");
    refused(Request { per_block: Some(9), levels: Some(4), ..with() }, 800.0, "fewer than the 4 settings");
    refused(Request { closers: closers(), per_block: Some(3), ..with() }, 800.0, "one of them in a trial");
    refused(Request { wheel_rows: vec![13], ..with() }, 800.0, "from 1 to 12");
    refused(Request { border_rows: 6, ..with() }, 800.0, "fewer border rows");
    refused(Request { alpha: 1.0, ..with() }, 800.0, "between 0 and 1");
    refused(
        Request { settings: Some(vec![Setting::PressureKpa(450.0), Setting::PressureKpa(200.0)]), ..with() },
        800.0,
        "450 kPa",
    );
    refused(Request { response: "spacing_cv".into(), ..with() }, 800.0, "--strip-sd");
}
