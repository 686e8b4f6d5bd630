//! Soil water and residue cover, as conditions use them.

/// Share of cover from which a soil counts as covered: the usual line of conservation tillage, 30 %.
///
/// The line stands in the line-transect guides of Missouri (G1570) and Nebraska. One estimate scatters by 5 to 10 points
/// (Rickman et al. 1996), so a field near the line can fall on either side of it.
pub const CONSERVATION_COVER_SHARE: f64 = 0.30;

/// A share this close to a limit is on it: 30 % need not be 0.3 exactly after conversion.
const ON_THE_LIMIT: f64 = 1e-9;

/// How wet the seed zone was.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Moisture {
    /// Too dry for a ball that holds.
    Dry,
    /// Friable.
    Moist,
    /// Plastic; smears.
    Wet,
}

/// Limits between dry, moist and wet, as water contents of one kind: both gravimetric or both volumetric.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MoistureLimits {
    /// Below this water content, a fraction, the soil is dry.
    pub dry_below: f64,
    /// From this water content on, a fraction, the soil is wet.
    pub wet_from: f64,
}

impl Moisture {
    /// Every class, from dry to wet.
    pub const ALL: [Moisture; 3] = [Moisture::Dry, Moisture::Moist, Moisture::Wet];

    /// `dry`, `moist` or `wet`.
    pub fn name(self) -> &'static str {
        match self {
            Moisture::Dry => "dry",
            Moisture::Moist => "moist",
            Moisture::Wet => "wet",
        }
    }

    /// The class that a text names, whatever its letter case, or `None`.
    pub fn parse(text: &str) -> Option<Moisture> {
        let text = text.trim().to_lowercase();
        Moisture::ALL.into_iter().find(|moisture| moisture.name() == text)
    }

    /// The class of a water content, a fraction of the same kind as the limits.
    ///
    /// A content on a limit belongs above it. `None` where the content is negative or not finite, and where the limits
    /// stand the wrong way round. No limits come with the project: what is wet depends on the soil.
    pub fn from_water(water: f64, limits: MoistureLimits) -> Option<Moisture> {
        let usable = water.is_finite() && water >= 0.0 && limits.dry_below <= limits.wet_from;
        usable.then_some(if water < limits.dry_below - ON_THE_LIMIT {
            Moisture::Dry
        } else if water < limits.wet_from - ON_THE_LIMIT {
            Moisture::Moist
        } else {
            Moisture::Wet
        })
    }
}

/// Whether residue of the crop before covered the soil.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Residue {
    /// Less cover than the limit.
    Bare,
    /// The limit or more.
    Covered,
}

impl Residue {
    /// `bare` or `covered`.
    pub fn name(self) -> &'static str {
        match self {
            Residue::Bare => "bare",
            Residue::Covered => "covered",
        }
    }

    /// The class that a text names, whatever its letter case, or `None`.
    pub fn parse(text: &str) -> Option<Residue> {
        let text = text.trim().to_lowercase();
        [Residue::Bare, Residue::Covered].into_iter().find(|residue| residue.name() == text)
    }

    /// The class of a share of cover, a fraction; `limit` is [`CONSERVATION_COVER_SHARE`] unless a person set another.
    ///
    /// `None` where the share is not between 0 and 1, or the limit is not a number.
    pub fn from_cover(share: f64, limit: f64) -> Option<Residue> {
        if !(0.0..=1.0).contains(&share) || limit.is_nan() {
            return None;
        }
        Some(if share < limit - ON_THE_LIMIT { Residue::Bare } else { Residue::Covered })
    }
}

/// Gravimetric water content, a fraction of the dry mass: `(wet − dry) / dry`, both masses in one unit.
///
/// `None` where the dry mass is not above zero, or more than the wet one, or a mass is not finite.
pub fn gravimetric_water(wet_mass: f64, dry_mass: f64) -> Option<f64> {
    let usable = wet_mass.is_finite() && dry_mass.is_finite() && dry_mass > 0.0 && wet_mass >= dry_mass;
    usable.then(|| (wet_mass - dry_mass) / dry_mass)
}

/// Volumetric water content, a fraction of the volume: gravimetric × bulk density / density of water (1 g/cm³).
///
/// `None` where the bulk density (g/cm³) is not above zero or a number is not finite.
pub fn volumetric_water(gravimetric: f64, bulk_density_g_cm3: f64) -> Option<f64> {
    let usable = gravimetric.is_finite() && bulk_density_g_cm3.is_finite() && bulk_density_g_cm3 > 0.0;
    usable.then_some(gravimetric * bulk_density_g_cm3)
}

#[cfg(test)]
mod tests {
    use super::*;

    const LIMITS: MoistureLimits = MoistureLimits { dry_below: 0.12, wet_from: 0.28 };

    #[test]
    fn a_content_on_a_limit_belongs_above_it() {
        assert_eq!(Moisture::from_water(0.11, LIMITS), Some(Moisture::Dry));
        assert_eq!(Moisture::from_water(0.12, LIMITS), Some(Moisture::Moist));
        assert_eq!(Moisture::from_water(0.12 - 1e-15, LIMITS), Some(Moisture::Moist));
        assert_eq!(Moisture::from_water(0.27, LIMITS), Some(Moisture::Moist));
        assert_eq!(Moisture::from_water(0.28, LIMITS), Some(Moisture::Wet));
    }

    #[test]
    fn impossible_water_and_swapped_limits_give_nothing() {
        assert_eq!(Moisture::from_water(-0.1, LIMITS), None);
        assert_eq!(Moisture::from_water(f64::NAN, LIMITS), None);
        assert_eq!(Moisture::from_water(0.2, MoistureLimits { dry_below: 0.28, wet_from: 0.12 }), None);
        assert_eq!(Moisture::from_water(0.2, MoistureLimits { dry_below: f64::NAN, wet_from: 0.12 }), None);
    }

    #[test]
    fn thirty_percent_cover_is_covered_in_any_unit() {
        let class = |share| Residue::from_cover(share, CONSERVATION_COVER_SHARE);
        assert_eq!(class(0.29), Some(Residue::Bare));
        assert_eq!(class(0.3), Some(Residue::Covered));
        assert_eq!(class(0.1 + 0.2), Some(Residue::Covered));
        assert_eq!(class(3.0 * 0.1 - 1e-16), Some(Residue::Covered));
        assert_eq!(class(0.0), Some(Residue::Bare));
        assert_eq!(class(30.0), None);
        assert_eq!(class(f64::NAN), None);
        assert_eq!(Residue::from_cover(0.5, f64::NAN), None);
    }

    #[test]
    fn names_are_read_back_whatever_their_case() {
        for moisture in Moisture::ALL {
            assert_eq!(Moisture::parse(&format!(" {} ", moisture.name().to_uppercase())), Some(moisture));
        }
        assert_eq!(Moisture::parse("damp"), None);
        assert_eq!(Residue::parse("Bare"), Some(Residue::Bare));
        assert_eq!(Residue::parse("covered"), Some(Residue::Covered));
        assert_eq!(Residue::parse("30"), None);
    }

    #[test]
    fn masses_that_cannot_be_give_no_water() {
        assert_eq!(gravimetric_water(120.0, 100.0), Some(0.2));
        assert_eq!(gravimetric_water(90.0, 100.0), None);
        assert_eq!(gravimetric_water(90.0, 0.0), None);
        assert_eq!(volumetric_water(0.25, 1.5), Some(0.375));
        assert_eq!(volumetric_water(0.2, 0.0), None);
        assert_eq!(volumetric_water(f64::NAN, 1.3), None);
    }
}
