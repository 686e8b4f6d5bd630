//! Rows that name no strip find it by place or time; outlines come as GeoJSON, shapefile or task data's neighbours.

use crate::foreign::{balance, review_of};
use crate::support::read_csv;

/// Two strips side by side, each about 8.3 m wide (0.0001° of longitude at 42° N) and 111 m long; invented.
pub const OUTLINES: &str = r#"{"type":"FeatureCollection","features":[
 {"type":"Feature","properties":{"field_id":"North","season":2025,"strip_id":"1","block":"A"},"geometry":{"type":"Polygon",
  "coordinates":[[[-93.0,42.0],[-92.9999,42.0],[-92.9999,42.001],[-93.0,42.001],[-93.0,42.0]]]}},
 {"type":"Feature","properties":{"field_id":"North","season":2025,"strip_id":"2","block":"A"},"geometry":{"type":"Polygon",
  "coordinates":[[[-92.9999,42.0],[-92.9998,42.0],[-92.9998,42.001],[-92.9999,42.001],[-92.9999,42.0]]]}}]}"#;

#[test]
fn counts_and_telemetry_without_a_strip_find_it_in_the_outlines() {
    let counts = "lat,lon,row_length_m,seeds_sown,emerged\n42.0005,-92.99995,5,40,36\n42.0005,-92.99985,5,40,30\n42.01,-92.99985,5,40,30\n";
    let log = "time,lat,lon,speed_m_s,set_force_n\n2025-04-28T10:00:00Z,42.0005,-92.99995,2,100\n\
               2025-04-28T10:00:01Z,42.0006,-92.99985,2,200\n2025-04-28T10:00:02Z,42.005,-92.99985,2,200\n";
    let review = review_of(
        &[
            ("strip.geojson", OUTLINES.as_bytes()),
            ("stand_count.csv", counts.as_bytes()),
            ("setting_log.csv", log.as_bytes()),
        ],
        "",
    );
    let said = review.run("ingest", &["--json"]);
    assert_eq!(balance(&said.stdout), [8, 7, 1], "{}", said.stderr);
    let strips = |table: &str| -> Vec<String> {
        review
            .kept(table)
            .iter()
            .map(|row| format!("{} {} {}", row["field_id"], row["season"], row["strip_id"]))
            .collect()
    };
    assert_eq!(strips("stand_count"), ["North 2025 1", "North 2025 2"]);
    // The headland's row stays without a strip: it is telemetry, and nothing is lost.
    assert_eq!(strips("setting_log")[..2], ["North 2025 1", "North 2025 2"]);
    assert!(
        said.stderr.contains("stand_count.csv, row 4") && said.stderr.contains("lies in no strip"),
        "{}",
        said.stderr
    );
    let outline = &review.kept("strip")[0]["boundary"];
    assert!(outline.contains("MultiPolygon") && outline.contains("[-92.9999,42.001]"), "{outline}");
    review.run("model", &[]);
    let forces: Vec<(String, String, String)> = read_csv(&review.path().join("results/strips.csv"))
        .iter()
        .map(|row| (row["strip_id"].clone(), row["block"].clone(), row["force_n"].clone()))
        .collect();
    assert_eq!(forces, [("1".into(), "A".into(), "100.0".into()), ("2".into(), "A".into(), "200.0".into())]);
}

#[test]
fn telemetry_without_a_strip_finds_it_by_the_times_of_the_strips() {
    let strips = "field_id,season,strip_id,started_at,ended_at\nA,2025,1,2025-04-28T10:00:00Z,2025-04-28T10:05:00Z\n\
                  A,2025,2,2025-04-28T10:06:00Z,2025-04-28T10:11:00Z\nA,2025,3,2025-04-28T10:10:00Z,2025-04-28T10:15:00Z\n";
    let log = "field_id,time,set_force_n\nA,2025-04-28T10:00:00Z,100\nA,2025-04-28T10:05:30Z,150\nA,2025-04-28T10:07:00Z,200\n\
               A,2025-04-28T10:10:30Z,250\n";
    let review = review_of(&[("strip.csv", strips.as_bytes()), ("setting_log.csv", log.as_bytes())], "");
    let said = review.run("ingest", &["--json"]);
    assert_eq!(balance(&said.stdout), [7, 7, 0], "{}", said.stderr);
    let found: Vec<String> = review.kept("setting_log").iter().map(|row| row["strip_id"].clone()).collect();
    // Between two strips: none; where two strips overlap in time: none, and it is said.
    assert_eq!(found, ["1", "", "2", ""]);
    assert!(said.stderr.contains("lie in two strips"), "{}", said.stderr);
}

#[test]
fn outlines_in_metres_are_refused_with_the_name_of_their_system() {
    let metres = OUTLINES.replace(
        "\"FeatureCollection\",",
        "\"FeatureCollection\",\"crs\":{\"type\":\"name\",\"properties\":{\"name\":\"urn:ogc:def:crs:EPSG::32615\"}},",
    );
    let counts = "field_id,season,strip_id,emerged\nNorth,2025,1,30\n";
    let review = review_of(&[("strip.geojson", metres.as_bytes()), ("stand_count.csv", counts.as_bytes())], "");
    let said = review.run("ingest", &[]);
    assert_eq!(said.status, 1);
    for part in ["strip.geojson", "32615", "WGS 84", "nothing of this file was read"] {
        assert!(said.stderr.contains(part), "{part}: {}", said.stderr);
    }
}

#[test]
fn a_table_of_strips_and_their_outlines_make_one_strip() {
    let table = "field_id,season,strip_id,block,treatment\nNorth,2025,1,A,light\nNorth,2025,2,B,heavy\n";
    let counts = "field_id,season,strip_id,seeds_sown,emerged\nNorth,2025,1,40,36\nNorth,2025,2,40,30\n";
    let review = review_of(
        &[
            ("strip.geojson", OUTLINES.as_bytes()),
            ("strip.csv", table.as_bytes()),
            ("stand_count.csv", counts.as_bytes()),
        ],
        "",
    );
    let said = review.run("ingest", &[]);
    assert_eq!(said.status, 0, "{}", said.stderr);
    let said = review.run("model", &[]);
    // Strip 1 agrees in both; of strip 2 the block does not, which is said and does not stop anything.
    let repeated: Vec<String> = read_csv(&review.path().join("results/findings.csv"))
        .iter()
        .filter(|row| row["code"] == "repeated_strip")
        .map(|row| format!("{} {}", row["strip_id"], row["message"]))
        .collect();
    assert_eq!(repeated.len(), 1, "{repeated:?} {}", said.stderr);
    assert!(repeated[0].starts_with("2 ") && repeated[0].contains("(block)"), "{repeated:?}");
}

#[test]
fn a_file_whose_only_outline_is_refused_says_that_and_nothing_else() {
    let swapped = OUTLINES.replace("[-9", "[-99.0,-9").replace("\"type\":\"Polygon\"", "\"type\":\"Point\"");
    let counts = "field_id,season,strip_id,emerged\nNorth,2025,1,30\n";
    let review = review_of(&[("strip.geojson", swapped.as_bytes()), ("stand_count.csv", counts.as_bytes())], "");
    let said = review.run("ingest", &["--json"]);
    assert_eq!(balance(&said.stdout), [3, 1, 2], "{}", said.stderr);
    assert!(said.stderr.contains("strip set aside") && !said.stderr.contains("no rows"), "{}", said.stderr);
}

#[test]
fn rows_so_near_another_strip_that_positions_may_err_are_counted_in_a_note() {
    // Half a metre from the border between both strips.
    let counts = "lat,lon,row_length_m,seeds_sown,emerged\n42.0005,-92.99995,5,40,36\n42.0005,-92.999906,5,40,30\n";
    let noted = |settings: &str| -> Vec<String> {
        let files = [("strip.geojson", OUTLINES.as_bytes()), ("stand_count.csv", counts.as_bytes())];
        let review = review_of(&files, settings);
        let said = review.run("ingest", &["--json"]);
        assert_eq!(balance(&said.stdout), [4, 4, 0], "{}", said.stderr);
        let found: Vec<String> = review.kept("stand_count").iter().map(|row| row["strip_id"].clone()).collect();
        assert_eq!(found, ["1", "1"]);
        review.run("model", &[]);
        let of_borders = review.result("findings").into_iter().filter(|row| row["code"] == "near_border");
        of_borders.map(|row| format!("{} {}: {}", row["severity"], row["source_file"], row["message"])).collect()
    };
    // Positions err by a metre unless the settings say otherwise.
    let told = noted("");
    assert!(
        told.len() == 1 && told[0].starts_with("note stand_count.csv: 1 of 2 rows lie so near another strip"),
        "{told:?}"
    );
    assert_eq!(noted("[place]\nbuffer_m = 0.1\n"), [""; 0]);
}

#[test]
fn a_strip_that_ends_before_it_begins_is_named() {
    let strips = "field_id,season,strip_id,started_at,ended_at\nA,2025,1,2025-04-28T10:05:00Z,2025-04-28T10:00:00Z\n\
                  A,2025,2,2025-04-28T10:06:00Z,2025-04-28T10:11:00Z\n";
    let log = "field_id,time,set_force_n\nA,2025-04-28T10:02:00Z,100\nA,2025-04-28T10:07:00Z,200\n";
    let review = review_of(&[("strip.csv", strips.as_bytes()), ("setting_log.csv", log.as_bytes())], "");
    let said = review.run("ingest", &[]);
    for part in ["ended_at is not after started_at", "correct one of the two times"] {
        assert!(said.stderr.contains(part), "{part}: {}", said.stderr);
    }
    let found: Vec<String> = review.kept("setting_log").iter().map(|row| row["strip_id"].clone()).collect();
    assert_eq!(found, ["", "2"]);
}

#[test]
fn names_and_constants_of_outlines_come_from_a_source_block() {
    let plots = OUTLINES
        .replace("\"strip_id\"", "\"plot\"")
        .replace("\"field_id\":\"North\",", "")
        .replace("\"season\":2025,", "");
    let block = |kind: &str| {
        format!(
            "[[source]]\nfile = \"plots.geojson\"\nkind = \"{kind}\"\nconstants = {{ field_id = \"South\", season = 2024 }}\n\
             columns = {{ strip_id = \"plot\" }}\n"
        )
    };
    let counts = "lat,lon,row_length_m,seeds_sown,emerged\n42.0005,-92.99985,5,40,36\n";
    let files = [("plots.geojson", plots.as_bytes()), ("stand_count.csv", counts.as_bytes())];
    let review = review_of(&files, &block("strip"));
    let said = review.run("ingest", &["--json"]);
    assert_eq!(balance(&said.stdout), [3, 3, 0], "{}", said.stderr);
    let count = &review.kept("stand_count")[0];
    assert_eq!([&count["field_id"], &count["season"], &count["strip_id"]], ["South", "2024", "2"]);
    // Outlines are strips and nothing else.
    let said = review_of(&files, &block("stand_count")).run("ingest", &[]);
    for part in ["plots.geojson", "can only give strips, not stand_count", "kind = \"strip\""] {
        assert!(said.stderr.contains(part), "{part}: {}", said.stderr);
    }
}
