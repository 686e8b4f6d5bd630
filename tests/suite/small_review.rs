//! A small review with a file of each way to go. It has a name, so that its folder's does not matter.

use crate::support::TestReview;

/// Two field-seasons with six strips each: telemetry of one, a hand-written log of the other, counts of both in a file each.
pub fn small_review() -> TestReview {
    let counts = String::from("field_id,season,strip_id,row_length_m,seeds_sown,counted_at,emerged\n");
    let mut counts = [counts.clone(), counts];
    let mut telemetry = String::from("field_id,season,strip_id,time,speed_m_s,set_pressure_kpa,actual_pressure_kpa\n");
    let mut hand = String::from("field_id,season,strip_id,set_pressure_kpa,speed_m_s\n");
    let mut strips = String::from("field_id,season,strip_id,block\n");
    for (number, field) in ["East", "West"].into_iter().enumerate() {
        for strip in 1..=6 {
            let set = 100 + 60 * (strip % 3);
            strips.push_str(&format!("{field},2025,{strip},{}\n", 1 + strip / 4));
            for (day, up) in [(8, 20), (10, 110), (14, 150)] {
                let emerged = up + 3 * (strip % 3) - (strip / 3) + number as i32;
                counts[number].push_str(&format!("{field},2025,{strip},20,180,2025-05-{day:02}T08:00,{emerged}\n"));
            }
            for second in (0..30).filter(|_| number == 0) {
                telemetry
                    .push_str(&format!("{field},2025,{strip},2025-05-01T09:{strip:02}:{second:02},2.1,{set},{set}\n"));
            }
            if number == 1 {
                hand.push_str(&format!("{field},2025,{strip},{set},2.0\n"));
            }
        }
    }
    let field = "field_id,season,planted_at\nEast,2025,2025-05-01T08:00\nWest,2025,2025-05-01T08:00\n";
    let soil = "field_id,season,taken_at,depth_cm,moisture_feel\nEast,2025,2025-05-01T08:00,5,moist\nWest,2025,2025-05-01T08:00,5,moist\n";
    TestReview::new(&[
        ("field.csv", field),
        ("strip.csv", &strips),
        ("soil_note.csv", soil),
        ("setting_log-east.csv", &telemetry),
        ("setting_log-west.csv", &hand),
        ("stand_count-east.csv", &counts[0]),
        ("stand_count-west.csv", &counts[1]),
        ("evenstand.toml", "name = \"Small review\"\ntimezone = \"America/Chicago\"\n[analysis]\ndraws = 200\n"),
    ])
}
