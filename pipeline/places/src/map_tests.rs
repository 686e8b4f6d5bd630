//! Points whose place is known.

use std::collections::BTreeMap;

use geo::{Destination, Geodesic, Point};

use crate::outline::outline;
use crate::samples::rectangle;
use crate::{Options, Place, Strip, StripMap};

fn strip(id: &str, season: Option<i64>, polygons: Vec<Vec<Vec<[f64; 2]>>>) -> Strip {
    Strip {
        field_id: Some("f".into()),
        season,
        strip_id: id.into(),
        block: None,
        properties: BTreeMap::new(),
        shape: outline(polygons).unwrap().0,
        feature: 1,
    }
}

fn map_of(strips: Vec<Strip>, buffer_m: f64) -> StripMap {
    StripMap::new(strips, Options { buffer_m }).unwrap()
}

/// Short words for a place.
fn word(place: &Place) -> String {
    let ids = |strips: &[&Strip]| strips.iter().map(|s| s.strip_id.as_str()).collect::<Vec<_>>().join("+");
    match place {
        Place::In { strip, near_border } => {
            format!("in {}{}", strip.strip_id, if *near_border { " border" } else { "" })
        }
        Place::Near(strip) => format!("near {}", strip.strip_id),
        Place::Between(strips) => format!("between {}", ids(strips)),
        Place::Outside => "outside".into(),
    }
}

/// Three strips of 8.3 m side by side, the third one strip further east.
fn three() -> Vec<Strip> {
    [0, 1, 3]
        .iter()
        .zip(["a", "b", "c"])
        .map(|(place, id)| strip(id, Some(2025), vec![vec![rectangle(*place)]]))
        .collect()
}

#[test]
fn a_point_is_in_a_strip_near_one_between_two_or_outside() {
    let map = map_of(three(), 1.0);
    // One degree of longitude at 42.001° N is 82,850 m, so 1e-5 degrees are 0.83 m.
    for (x, expected) in [
        (-93.00003, "outside"),
        (-93.00001, "near a"),
        (-93.0, "in a"),
        (-92.99995, "in a"),
        (-92.99991, "in a border"),
        (-92.9999, "between a+b"),
        (-92.99989, "in b border"),
        (-92.99979, "near b"),
        (-92.99975, "outside"),
        (-92.99971, "near c"),
        (-92.99965, "in c"),
    ] {
        assert_eq!(word(&map.find(x, 42.001, Some(2025), Some("f"))), expected, "{x}");
    }
    // One degree of latitude is 111,080 m there: 1e-5 degrees beyond the end are 1.11 m, 8e-6 are 0.89 m.
    assert_eq!(word(&map.find(-92.99995, 42.003_01, None, None)), "outside");
    assert_eq!(word(&map.find(-92.99995, 42.003_008, None, None)), "near a");
}

#[test]
fn between_two_buffers_the_point_is_near_both() {
    let map = map_of(three(), 5.0);
    assert_eq!(word(&map.find(-92.99975, 42.001, None, None)), "between b+c");
    assert_eq!(word(&map.find(-92.99970, 42.001, None, None)), "in c");
}

#[test]
fn other_seasons_and_fields_are_not_there_and_strips_without_them_always_are() {
    let mut strips =
        vec![strip("old", Some(2024), vec![vec![rectangle(0)]]), strip("new", Some(2025), vec![vec![rectangle(0)]])];
    let at =
        |strips: &[Strip], season, field| word(&map_of(strips.to_vec(), 1.0).find(-92.99995, 42.001, season, field));
    assert_eq!(at(&strips, Some(2024), None), "in old");
    assert_eq!(at(&strips, Some(2025), Some("f")), "in new");
    assert_eq!(at(&strips, None, None), "between old+new");
    assert_eq!(at(&strips, Some(2025), Some("g")), "outside");
    (strips[0].season, strips[1].field_id) = (None, None);
    assert_eq!(at(&strips, Some(2023), None), "in old");
    assert_eq!(at(&strips, Some(2025), Some("g")), "in new");
}

#[test]
fn a_strip_drawn_in_two_features_is_one_strip() {
    let map = map_of(vec![strip("a", None, vec![vec![rectangle(0)]]), strip("a", None, vec![vec![rectangle(1)]])], 1.0);
    assert_eq!(word(&map.find(-92.9999, 42.001, None, None)), "in a");
    assert_eq!(word(&map.find(-92.99989, 42.001, None, None)), "in a");
}

#[test]
fn a_hole_is_outside_its_border_belongs_to_the_strip_and_an_island_in_it_is_inside() {
    let square = |low: f64, high: f64| vec![[low, low], [high, low], [high, high], [low, high], [low, low]];
    let map =
        map_of(vec![strip("a", None, vec![vec![square(0.0, 0.9), square(0.2, 0.7)], vec![square(0.4, 0.5)]])], 1.0);
    for (x, expected) in
        [(0.1, "in a"), (0.2, "in a"), (0.3, "outside"), (0.4, "in a"), (0.45, "in a"), (0.6, "outside")]
    {
        assert_eq!(word(&map.find(x, 0.45, None, None)), expected, "{x}");
    }
    assert_eq!(word(&map.find(0.200005, 0.45, None, None)), "near a");
}

#[test]
fn the_polygon_with_a_hole_of_rfc_7946_appendix_a_3_holds_the_same_points_in_either_direction() {
    // The direction of rings (section 3.1.6) is not relied on.
    let outer = vec![[100.0, 0.0], [101.0, 0.0], [101.0, 1.0], [100.0, 1.0], [100.0, 0.0]];
    let hole = vec![[100.8, 0.8], [100.8, 0.2], [100.2, 0.2], [100.2, 0.8], [100.8, 0.8]];
    let reversed = |ring: &[[f64; 2]]| ring.iter().rev().copied().collect::<Vec<_>>();
    for rings in [
        vec![outer.clone(), hole.clone()],
        vec![reversed(&outer), hole.clone()],
        vec![outer.clone(), reversed(&hole)],
        vec![reversed(&outer), reversed(&hole)],
    ] {
        let map = map_of(vec![strip("a", None, vec![rings])], 1.0);
        for (x, y, expected) in
            [(100.1, 0.5, "in a"), (100.5, 0.5, "outside"), (100.9, 0.9, "in a"), (99.9, 0.5, "outside")]
        {
            assert_eq!(word(&map.find(x, y, None, None)), expected, "{x} {y}");
        }
    }
}

#[test]
fn points_whose_longitude_and_latitude_are_swapped_are_told_from_points_elsewhere() {
    let map = map_of(three(), 1.0);
    assert!(map.looks_swapped(42.001, -93.0));
    assert!(!map.looks_swapped(-93.0, 42.001) && !map.looks_swapped(10.0, 50.0));
    assert!(!map_of(Vec::new(), 1.0).looks_swapped(42.0, -93.0));
}

#[test]
fn the_buffer_is_true_to_a_millimetre_at_every_latitude() {
    for latitude in [0.0, 45.0, 65.0, -45.0, 85.0] {
        let square = vec![
            [10.0, latitude - 0.001],
            [10.001, latitude - 0.001],
            [10.001, latitude],
            [10.0, latitude],
            [10.0, latitude - 0.001],
        ];
        for buffer_m in [0.5, 1.0, 30.0] {
            let map = map_of(vec![strip("a", None, vec![vec![square.clone()]])], buffer_m);
            // From the north-western corner to the north-west: the corner is the nearest point.
            for bearing in [270.0, 300.0, 315.0, 350.0] {
                for (distance, expected) in [(buffer_m - 1e-3, "near a"), (buffer_m + 1e-3, "outside")] {
                    let point = Geodesic.destination(Point::new(10.0, latitude), bearing, distance);
                    let found = word(&map.find(point.x(), point.y(), None, None));
                    assert_eq!(found, expected, "{latitude} {buffer_m} {bearing} {distance}");
                }
            }
        }
    }
}

#[test]
fn a_strip_cut_at_the_antimeridian_is_whole_there() {
    // RFC 7946, section 3.1.9: a shape across the antimeridian is cut in two.
    let part = |west: f64, east: f64| vec![vec![[west, 40.0], [east, 40.0], [east, 50.0], [west, 50.0], [west, 40.0]]];
    let map = map_of(
        vec![
            strip("a", None, vec![part(170.0, 180.0), part(-180.0, -170.0)]),
            strip("b", None, vec![part(150.0, 160.0)]),
        ],
        1.0,
    );
    for x in [175.0, 180.0, -180.0, -175.0, 179.5, -179.5] {
        assert_eq!(word(&map.find(x, 45.0, None, None)), "in a", "{x}");
        assert_eq!(word(&map.cursor().find(x, 45.0, None, None)), "in a", "{x}");
    }
    let east = map_of(vec![strip("e", None, vec![part(179.9, 180.0)])], 1.0);
    assert_eq!(word(&east.find(-179.999_995, 45.0, None, None)), "near e");
    assert_eq!(word(&east.find(-179.999_9, 45.0, None, None)), "outside");
}

#[test]
fn what_is_no_position_is_outside_and_what_is_no_buffer_is_an_error() {
    let map = map_of(three(), 1.0);
    for (x, y) in [(f64::NAN, 42.0), (-93.0, f64::INFINITY), (267.0, 42.0), (-93.0, 91.0)] {
        assert_eq!(map.find(x, y, None, None), Place::Outside);
        assert_eq!(map.cursor().find(x, y, None, None), Place::Outside);
    }
    for buffer_m in [-1.0, 101.0, f64::NAN] {
        assert!(StripMap::new(Vec::new(), Options { buffer_m }).is_err());
    }
    assert_eq!(StripMap::new(Vec::new(), Options::default()).unwrap().bounds(), None);
    let bounds = map.bounds().unwrap();
    assert_eq!((bounds.min().x, bounds.max().y), (-93.0, 42.003));
}

/// Points around strips in an order that jumps, from a multiplicative congruence (Lehmer 1951; Park & Miller 1988).
fn scattered(count: usize) -> impl Iterator<Item = (f64, f64)> {
    let mut state = 42_u64;
    let mut share = move || {
        state = state * 48_271 % 2_147_483_647;
        state as f64 / 2_147_483_647.0
    };
    (0..count).map(move |_| (-93.0005 + 0.002 * share(), 41.999 + 0.005 * share()))
}

#[test]
fn the_cursor_and_a_walk_over_all_strips_find_the_same() {
    let slanted =
        |place: u32| -> Vec<[f64; 2]> { rectangle(place).iter().map(|[x, y]| [x + (y - 42.0) * 0.1, *y]).collect() };
    let strips: Vec<Strip> = (0..12).map(|place| strip(&place.to_string(), None, vec![vec![slanted(place)]])).collect();
    let map = map_of(strips.clone(), 2.0);
    let alone: Vec<StripMap> = strips.into_iter().map(|strip| map_of(vec![strip], 2.0)).collect();
    let mut cursor = map.cursor();
    let mut seen = BTreeMap::new();
    for (x, y) in scattered(20_000) {
        let found = map.find(x, y, None, None);
        assert_eq!(cursor.find(x, y, None, None), found);
        let (mut inside, mut near) = (Vec::new(), Vec::new());
        for one in &alone {
            match one.find(x, y, None, None) {
                Place::In { strip, .. } => inside.push(strip),
                Place::Near(strip) => near.push(strip),
                _ => {}
            }
        }
        let expected = match (inside.as_slice(), near.as_slice()) {
            ([strip], near) => Place::In { strip, near_border: !near.is_empty() },
            ([], [strip]) => Place::Near(strip),
            ([], []) => Place::Outside,
            ([], _) => Place::Between(near),
            _ => Place::Between(inside),
        };
        assert_eq!(found, expected, "{x} {y}");
        *seen.entry(word(&found).split(' ').next().unwrap().to_owned()).or_insert(0) += 1;
    }
    assert!(seen["in"] > 1000 && seen["near"] > 10 && seen["outside"] > 1000, "{seen:?}");
}

/// Ten million points along 200 strips side by side, in the order a planter drives; every one must be in a strip.
fn drive(map: &StripMap, what: &str) {
    let points = || {
        (0..10_000_000_u32).map(|point| {
            let (pass, along) = (point / 50_000, f64::from(point % 50_000) / 50_000.0);
            (-93.0 + (f64::from(pass) + 0.5) * 1e-4, 42.000_01 + along * 0.002_98)
        })
    };
    let begin = std::time::Instant::now();
    let inside = points().filter(|(x, y)| matches!(map.find(*x, *y, Some(2025), Some("f")), Place::In { .. })).count();
    println!("{what}: find {:?}", begin.elapsed());
    let (begin, mut cursor) = (std::time::Instant::now(), map.cursor());
    let followed =
        points().filter(|(x, y)| matches!(cursor.find(*x, *y, Some(2025), Some("f")), Place::In { .. })).count();
    println!("{what}: cursor {:?}", begin.elapsed());
    assert_eq!((inside, followed), (10_000_000, 10_000_000));
}

/// `cargo test --release -p evenstand-places -- --ignored --nocapture ten_million`
#[test]
#[ignore = "a measurement"]
fn ten_million_finds_among_200_strips_take_a_few_seconds() {
    let of = |ring: &dyn Fn(u32) -> Vec<[f64; 2]>| {
        map_of((0..200).map(|place| strip(&place.to_string(), Some(2025), vec![vec![ring(place)]])).collect(), 1.0)
    };
    drive(&of(&rectangle), "four corners");
    // Outlines as they are driven, a corner every third of a metre.
    let driven = |place: u32| {
        let corners = rectangle(place);
        let sides = corners.iter().zip(corners.iter().skip(1));
        sides
            .flat_map(|([a, b], [c, d])| {
                (0..500).map(move |step| {
                    let share = f64::from(step) / 500.0;
                    [a + share * (c - a), b + share * (d - b)]
                })
            })
            .collect()
    };
    drive(&of(&driven), "2000 corners");
}
