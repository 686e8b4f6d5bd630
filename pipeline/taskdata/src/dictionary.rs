//! Names, units and resolutions of the data dictionary, for the entries that a planter's logs use.
//!
//! Source: the public list of ISO 11783-11, as generated on 28 October 2025 into the open-source library AgIsoStack++; 62 of
//! its 726 entries. None of the 726 names a closing wheel, a press wheel or the furrow.

/// One entry of the dictionary.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Entry {
    /// Number of the entry (DDI).
    pub ddi: u16,
    /// Name as listed.
    pub name: &'static str,
    /// Unit of the resolution, as listed. Empty for states and other numbers without one.
    pub unit: &'static str,
    /// What one raw step is, in `unit`.
    pub resolution: f64,
}

impl Entry {
    /// Factor from the raw value to the unit of the International System that comes with it; `"1"` is a plain fraction or
    /// count. None for states.
    pub fn quantity(&self) -> Option<(f64, &'static str)> {
        // Divisions of whole numbers, so that each factor is the double nearest to its decimal form.
        let (multiply, divide, unit) = match self.unit {
            "N" => (1.0, 1.0, "N"),
            "Pa" => (1.0, 1.0, "Pa"),
            "mm" => (1.0, 1e3, "m"),
            "mm/s" => (1.0, 1e3, "m/s"),
            "/m²" => (1.0, 1.0, "1/m²"),
            "/s" => (1.0, 1.0, "1/s"),
            "#" => (1.0, 1.0, "1"),
            "m²" => (1.0, 1.0, "m²"),
            "s" => (1.0, 1.0, "s"),
            "mK" => (1.0, 1e3, "K"),
            "ppm" => (1.0, 1e6, "1"),
            "mS/m" => (1.0, 1e3, "S/m"),
            _ => return None,
        };
        Some((self.resolution * multiply / divide, unit))
    }
}

/// First number of the range that makers use as they like. Source: the same list ("57344-65534 proprietary range").
pub const PROPRIETARY_FIRST: u16 = 57344;
/// Last number of that range.
pub const PROPRIETARY_LAST: u16 = 65534;
/// Number of data taken from another message on the bus. Source: the same list ("PGN Based Data").
pub const OTHER_MESSAGE: u16 = 57342;
/// Set and actual downforce, as pressure and as force, of whatever part of the machine carries the channel.
pub const DOWNFORCE: [u16; 4] = [365, 366, 426, 427];

/// The entry with this number, where it is one of those known here.
pub fn entry(ddi: u16) -> Option<Entry> {
    let position = ENTRIES.binary_search_by_key(&ddi, |entry| entry.0).ok()?;
    ENTRIES.get(position).map(|&(ddi, name, unit, resolution)| Entry { ddi, name, unit, resolution })
}

/// In ascending order of numbers.
static ENTRIES: [(u16, &str, &str, f64); 62] = [
    (0x000B, "Setpoint Count Per Area Application Rate", "/m²", 0.001),
    (0x000C, "Actual Count Per Area Application Rate", "/m²", 0.001),
    (0x000D, "Default Count Per Area Application Rate", "/m²", 0.001),
    (0x000E, "Minimum Count Per Area Application Rate", "/m²", 0.001),
    (0x000F, "Maximum Count Per Area Application Rate", "/m²", 0.001),
    (0x0010, "Setpoint Spacing Application Rate", "mm", 1.0),
    (0x0011, "Actual Spacing Application Rate", "mm", 1.0),
    (0x0012, "Default Spacing Application Rate", "mm", 1.0),
    (0x0013, "Minimum Spacing Application Rate", "mm", 1.0),
    (0x0014, "Maximum Spacing Application Rate", "mm", 1.0),
    (0x002E, "Setpoint Count Per Time Application Rate", "/s", 0.001),
    (0x002F, "Actual Count Per Time Application Rate", "/s", 0.001),
    (0x0030, "Default Count Per Time Application Rate", "/s", 0.001),
    (0x0031, "Minimum Count Per Time Application Rate", "/s", 0.001),
    (0x0032, "Maximum Count Per Time Application Rate", "/s", 0.001),
    (0x0038, "Setpoint Seeding Depth", "mm", 1.0),
    (0x0039, "Actual Seeding Depth", "mm", 1.0),
    (0x003A, "Default Seeding Depth", "mm", 1.0),
    (0x003B, "Minimum Seeding Depth", "mm", 1.0),
    (0x003C, "Maximum Seeding Depth", "mm", 1.0),
    (0x0042, "Setpoint Working Width", "mm", 1.0),
    (0x0043, "Actual Working Width", "mm", 1.0),
    (0x0046, "Maximum Working Width", "mm", 1.0),
    (0x0052, "Application Total Count", "#", 1.0),
    (0x0074, "Total Area", "m²", 1.0),
    (0x0075, "Effective Total Distance", "mm", 1.0),
    (0x0077, "Effective Total Time", "s", 1.0),
    (0x0086, "Device Element Offset X", "mm", 1.0),
    (0x0087, "Device Element Offset Y", "mm", 1.0),
    (0x0088, "Device Element Offset Z", "mm", 1.0),
    (0x008D, "Actual Work State", "", 1.0),
    (0x009E, "Prescription Control State", "", 1.0),
    (0x00A0, "Section Control State", "", 1.0),
    (0x00A1, "Actual Condensed Work State (1-16)", "", 1.0),
    (0x00C0, "Ambient temperature", "mK", 1.0),
    (0x016D, "Setpoint Downforce Pressure", "Pa", 1.0),
    (0x016E, "Actual Downforce Pressure", "Pa", 1.0),
    (0x018C, "Setpoint Speed", "mm/s", 1.0),
    (0x018D, "Actual Speed", "mm/s", 1.0),
    (0x018E, "Minimum Speed", "mm/s", 1.0),
    (0x018F, "Maximum Speed", "mm/s", 1.0),
    (0x0190, "Speed Source", "", 1.0),
    (0x019F, "Actual Seed Singulation Percentage", "ppm", 1.0),
    (0x01A0, "Average Seed Singulation Percentage", "ppm", 1.0),
    (0x01A1, "Actual Seed Skip Percentage", "ppm", 1.0),
    (0x01A2, "Average Seed Skip Percentage", "ppm", 1.0),
    (0x01A3, "Actual Seed Multiple Percentage", "ppm", 1.0),
    (0x01A4, "Average Seed Multiple Percentage", "ppm", 1.0),
    (0x01A5, "Actual Seed Spacing Deviation", "mm", 1.0),
    (0x01A6, "Average Seed Spacing Deviation", "mm", 1.0),
    (0x01A7, "Actual Coefficient of Variation of Seed Spacing Percentage", "ppm", 1.0),
    (0x01A8, "Average Coefficient of Variation of Seed Spacing Percentage", "ppm", 1.0),
    (0x01A9, "Setpoint Maximum Allowed Seed Spacing Deviation", "mm", 1.0),
    (0x01AA, "Setpoint Downforce as Force", "N", 1.0),
    (0x01AB, "Actual Downforce as Force", "N", 1.0),
    (0x01D4, "Soil Snow/Frozen Condition", "", 1.0),
    (0x01D5, "Estimated Soil Water Condition", "", 1.0),
    (0x01D6, "Soil Compaction", "", 1.0),
    (0x0243, "Actual Temperature", "mK", 1.0),
    (0x028F, "Electrical Apparent Soil Conductivity", "mS/m", 0.1),
    (0xDFFE, "PGN Based Data", "", 1.0),
    (0xDFFF, "Request Default Process Data", "", 1.0),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn entries_are_in_order_so_that_each_is_found() {
        assert!(ENTRIES.is_sorted_by(|one, next| one.0 < next.0));
        assert!(ENTRIES.iter().all(|one| entry(one.0).is_some_and(|found| found.name == one.1)));
        assert_eq!(entry(1), None);
    }

    #[test]
    fn raw_steps_are_given_in_units_of_the_international_system() {
        let quantity = |ddi| entry(ddi).unwrap().quantity();
        assert_eq!(quantity(427), Some((1.0, "N")));
        assert_eq!(quantity(366), Some((1.0, "Pa")));
        assert_eq!(quantity(397), Some((0.001, "m/s")));
        assert_eq!(quantity(12), Some((0.001, "1/m²")));
        assert_eq!(quantity(415), Some((1e-6, "1")));
        assert_eq!(quantity(655), Some((1e-4, "S/m")));
        assert_eq!(quantity(141), None);
    }

    #[test]
    fn the_table_agrees_with_the_list_it_was_taken_from() {
        let Ok(list) = std::fs::read_to_string("../../../shared/reference/isobus_ddi_subset.csv") else {
            return println!("skipped: ../shared is not there");
        };
        let mut compared = 0;
        for line in list.lines().skip(1) {
            let cells: Vec<&str> = line.split(',').collect();
            let ddi: u16 = cells[0].parse().unwrap();
            let Some(found) = entry(ddi) else {
                assert_eq!(ddi, PROPRIETARY_FIRST, "{line}");
                continue;
            };
            assert_eq!(u16::from_str_radix(cells[1], 16).unwrap(), ddi, "{line}");
            let name = cells[2].replace("Condtion", "Condition");
            assert_eq!((found.name, found.unit), (name.as_str(), cells[3]), "{line}");
            assert_eq!(found.resolution, cells[4].parse::<f64>().unwrap(), "{line}");
            compared += 1;
        }
        assert_eq!(compared, ENTRIES.len());
    }
}
