//! Plans as a caller of the crate gets them, held against simulation and against tables worked out elsewhere.

#![allow(clippy::unwrap_used)]

mod layouts;
mod power;

use evenstand_settings::{Planter, Settings};
use evenstand_trial::{AskedPlanter, Ground, Known, Plan, Request, plan};

/// Two planters with air, calibrated alike but for their knobs.
const PLANTERS: &str = r#"
[[planter]]
id = "first"
closer = "discs_and_press_wheel"
[planter.closing]
kind = "pressure"
min_kpa = 0
max_kpa = 400
step_kpa = 10
default_kpa = 200
force_n = [[0, 0], [400, 400]]

[[planter]]
id = "second"
closer = "discs_and_press_wheel"
[planter.closing]
kind = "pressure"
min_psi = 0
max_psi = 60
step_psi = 1
force_n = [[0, 0], [400, 320]]
"#;

fn planter(id: &str) -> Planter {
    Settings::parse(PLANTERS).unwrap().planter(id)
}

/// A request for the first planter with 12 rows.
fn request() -> Request {
    Request {
        seed_rate_per_m2: Some(8.2),
        response: "emerged_share".into(),
        ..Request::new("north", 2027, planter("first"), 12, 0.75)
    }
}

/// The same with the second planter beside it.
fn two_planters() -> Request {
    let second = AskedPlanter { planter: planter("second"), rows: 8 };
    let first = request();
    Request { planters: vec![first.planters[0].clone(), second], ..first }
}

fn planned(request: &Request) -> Plan {
    plan(request, &Known::default(), &Ground::rectangle(800.0), &Settings::parse(PLANTERS).unwrap()).unwrap()
}
