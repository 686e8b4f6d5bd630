//! Where strips lay beside each other: from their places, else from the time they were planted, else from their names.

use evenstand_tables::rows::StripRow;

/// What the order of strips was read from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum OrderSource {
    Places,
    Times,
    Names,
}

impl OrderSource {
    /// How to say it after "order of strips read from".
    pub fn words(self) -> &'static str {
        match self {
            OrderSource::Places => "their places",
            OrderSource::Times => "the times they were planted",
            OrderSource::Names => "their names, which are numbered through",
        }
    }
}

/// Positions of strips, to be compared inside blocks; in metres where they come from places.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct StripOrder {
    pub source: OrderSource,
    pub positions: Vec<f64>,
}

/// Strips nearer than this are not told apart by their places.
const SAME_PLACE_M: f64 = 0.5;
/// Length of a degree of latitude, in metres.
const DEGREE_M: f64 = 111_320.0;

/// The order of `strips`, all from one field-season; `blocks` number the block of each. `neighbours` are all strips of the
/// field-season, whose names must be numbered through before names count as an order. `None` where the order is not known.
pub(crate) fn strip_order(strips: &[&StripRow], blocks: &[usize], neighbours: &[&StripRow]) -> Option<StripOrder> {
    let found = |source: OrderSource, positions: Option<Vec<f64>>, gap: f64| {
        positions
            .filter(|positions| told_apart(positions, blocks, gap))
            .map(|positions| StripOrder { source, positions })
    };
    found(OrderSource::Places, across(strips, blocks), SAME_PLACE_M)
        .or_else(|| {
            let hours = strips.iter().map(|strip| Some(strip.started_at?.hours_since(strips[0].started_at?)));
            found(OrderSource::Times, hours.collect(), 0.0)
        })
        .or_else(|| found(OrderSource::Names, numbered(strips, neighbours), 0.0))
}

/// Whether all positions differ by more than `gap` inside every block.
fn told_apart(positions: &[f64], blocks: &[usize], gap: f64) -> bool {
    (0..positions.len()).all(|a| (0..a).all(|b| blocks[a] != blocks[b] || (positions[a] - positions[b]).abs() > gap))
}

/// Position of each strip's middle along the direction in which strips of one block lie apart: the first principal axis of
/// their places about the middle of their block. It points east, or north where it has no east.
fn across(strips: &[&StripRow], blocks: &[usize]) -> Option<Vec<f64>> {
    let places: Option<Vec<(f64, f64)>> = strips.iter().map(|strip| Some((strip.lon?, strip.lat?))).collect();
    let places = places?;
    let (lon, lat) = *places.first()?;
    let metres: Vec<(f64, f64)> = places
        .iter()
        .map(|(own_lon, own_lat)| ((own_lon - lon) * DEGREE_M * lat.to_radians().cos(), (own_lat - lat) * DEGREE_M))
        .collect();
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for (row, (x, y)) in metres.iter().enumerate() {
        let own = || metres.iter().zip(blocks).filter(|(_, block)| **block == blocks[row]).map(|(place, _)| place);
        let size = own().count() as f64;
        let (dx, dy) =
            (x - own().map(|place| place.0).sum::<f64>() / size, y - own().map(|place| place.1).sum::<f64>() / size);
        (xx, xy, yy) = (xx + dx * dx, xy + dx * dy, yy + dy * dy);
    }
    // Between −90° and 90°, so the direction has no west.
    let angle = 0.5 * (2.0 * xy).atan2(xx - yy);
    Some(metres.iter().map(|(x, y)| x * angle.cos() + y * angle.sin()).collect())
}

/// Numbers in the names of strips, where the names of all strips of the field-season are one word with the numbers of an
/// unbroken run. Anything else (a block's or a setting's number in the name) is no order.
fn numbered(strips: &[&StripRow], neighbours: &[&StripRow]) -> Option<Vec<f64>> {
    let parts = |strip: &StripRow| {
        let digits = strip.strip_id.trim_start_matches(|letter: char| !letter.is_ascii_digit());
        let word = strip.strip_id.len() - digits.len();
        Some((strip.strip_id[..word].to_owned(), digits.parse::<u32>().ok()?))
    };
    let all: Option<Vec<(String, u32)>> = neighbours.iter().map(|strip| parts(strip)).collect();
    let mut all = all?;
    all.sort();
    let run = all.windows(2).all(|pair| pair[0].0 == pair[1].0 && pair[0].1 + 1 == pair[1].1);
    if !run {
        return None;
    }
    strips.iter().map(|strip| Some(f64::from(parts(strip)?.1))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use evenstand_tables::Moment;

    fn strip(name: &str) -> StripRow {
        StripRow { strip_id: name.into(), ..StripRow::default() }
    }

    fn ordered(strips: &[StripRow], blocks: &[usize]) -> Option<StripOrder> {
        let all: Vec<&StripRow> = strips.iter().collect();
        strip_order(&all, blocks, &all)
    }

    #[test]
    fn names_are_an_order_only_where_they_are_numbered_through() {
        let named =
            |names: &[&str]| ordered(&names.iter().map(|name| strip(name)).collect::<Vec<_>>(), &vec![0; names.len()]);
        assert_eq!(named(&["S2", "S10", "S9", "S8", "S1", "S3", "S4", "S5", "S6", "S7"]).unwrap().positions[1], 10.0);
        assert_eq!(named(&["I-1", "I-2", "II-1", "II-2"]), None);
        assert_eq!(named(&["0-80", "0-135"]), None);
        assert_eq!(named(&["1", "3"]), None);
        assert_eq!(named(&["north", "south"]), None);
        assert_eq!(named(&["1", "1"]), None);
    }

    #[test]
    fn places_go_before_times_and_tell_the_direction_across_the_strips_not_along_the_blocks() {
        // Two blocks, one 300 m north of the other; strips 12 m apart going east, planted from the east.
        let strips: Vec<StripRow> = (0..8)
            .map(|number| StripRow {
                lat: Some(47.0 + f64::from(number / 4) * 300.0 / DEGREE_M),
                lon: Some(9.0 + f64::from(number % 4) * 12.0 / (DEGREE_M * 47.0_f64.to_radians().cos())),
                started_at: Some(Moment(-3_600_000_000 * i64::from(number))),
                ..strip(&number.to_string())
            })
            .collect();
        let blocks = [0, 0, 0, 0, 1, 1, 1, 1];
        let found = ordered(&strips, &blocks).unwrap();
        assert_eq!(found.source, OrderSource::Places);
        for number in 1..4 {
            assert!((found.positions[number] - found.positions[number - 1] - 12.0).abs() < 0.1);
            assert!((found.positions[number + 4] - found.positions[number]).abs() < 0.5);
        }
        let one_place: Vec<StripRow> =
            strips.iter().map(|strip| StripRow { lat: Some(47.0), lon: Some(9.0), ..strip.clone() }).collect();
        let found = ordered(&one_place, &blocks).unwrap();
        assert_eq!((found.source, found.positions[3]), (OrderSource::Times, -3.0));
    }
}
