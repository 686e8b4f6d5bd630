//! How soil feels at a share of its available water, by texture group.
//!
//! After the guide to estimating soil moisture by feel and appearance of the Natural Resources Conservation Service (NRCS), in our own words; what
//! soil is like when it is full is after a table of the University of Minnesota Extension. Two cells could not be read in our copy
//! and are left open.

/// Bands of available water, as fractions: from, up to. The last is soil that holds all it can.
pub const FEEL_BANDS: [(f64, f64); 5] = [(0.0, 0.25), (0.25, 0.5), (0.5, 0.75), (0.75, 1.0), (1.0, 1.0)];

/// How the soils of one texture group feel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FeelRow {
    /// Name of the group in the guide, which has one more than [`crate::TextureGroup`]: its two coarse ones are one there.
    pub group: &'static str,
    /// Soils that belong to it.
    pub soils: &'static str,
    /// What a squeezed handful does in each of [`FEEL_BANDS`]; `None` where our source was not readable.
    pub feel: [Option<&'static str>; 5],
}

/// The guide, from coarse to fine.
pub const FEEL_GUIDE: [FeelRow; 4] = [
    FeelRow {
        group: "coarse",
        soils: "fine sand, loamy fine sand",
        feel: [
            Some("runs apart when touched; single grains cling to the fingers"),
            Some("ball hardly holds and keeps finger marks; a thin coat of grains on the fingers"),
            Some("weak ball, darker; leaves a wet stain on the hand; makes no ribbon"),
            None,
            Some("squeezing leaves a wet outline on the hand"),
        ],
    },
    FeelRow {
        group: "moderately coarse",
        soils: "sandy loam, fine sandy loam",
        feel: [
            Some("ball hardly holds; grains come off at a touch"),
            Some("weak ball with finger marks, darker; hand stays dry"),
            Some("ball with finger marks; faint stain; does not smear smooth"),
            None,
            Some("very dark; wet outline on the hand; a short ribbon"),
        ],
    },
    FeelRow {
        group: "medium",
        soils: "sandy clay loam, loam, silt loam",
        feel: [
            Some("crumbs come off by themselves; clods fall to pieces; no stain"),
            Some("weak ball, rough outside; few crumbs come off; no stain"),
            Some("ball that gives way, darker; faint stain; a weak ribbon"),
            Some("ball with clear finger marks; soil coats the fingers; ribbons"),
            Some("soft ball; water shines on it for a moment; fingers well coated"),
        ],
    },
    FeelRow {
        group: "fine",
        soils: "clay loam, silty clay loam, clay",
        feel: [
            Some("crumbs part easily; clods are hard to crush"),
            Some("weak ball; few crumbs come off; clods go flat under the thumb"),
            Some("smooth ball with finger marks; faint stain; ribbons"),
            Some("ball; soil coats the fingers in patches; ribbons easily"),
            Some("soft ball; free water; thick coat, slippery and sticky"),
        ],
    },
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bands_follow_each_other_and_only_the_two_unread_cells_are_open() {
        assert!(FEEL_BANDS.windows(2).all(|pair| pair[0].1 == pair[1].0));
        let open: Vec<(&str, usize)> = FEEL_GUIDE
            .iter()
            .flat_map(|row| (0..5).filter(|band| row.feel[*band].is_none()).map(|band| (row.group, band)))
            .collect();
        assert_eq!(open, [("coarse", 3), ("moderately coarse", 3)]);
    }
}
