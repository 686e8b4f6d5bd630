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

    /// The class of a water content, a fraction of the same kind as the limits: of the dry mass, of the volume, of the available water, or of the
    /// water at the plastic limit ([`share_of_plastic_limit`]).
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

/// Whether the seed zone was warm.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum SoilWarmth {
    /// Colder than the limit.
    Cool,
    /// At the limit or warmer.
    Warm,
}

impl SoilWarmth {
    /// `cool` or `warm`.
    pub fn name(self) -> &'static str {
        match self {
            SoilWarmth::Cool => "cool",
            SoilWarmth::Warm => "warm",
        }
    }

    /// The class of a soil temperature; both in degrees Celsius. A temperature on the limit is warm. `None` where one is not finite.
    pub fn from_temperature(temperature_c: f64, limit_c: f64) -> Option<SoilWarmth> {
        let usable = temperature_c.is_finite() && limit_c.is_finite();
        usable.then_some(if temperature_c < limit_c - ON_THE_LIMIT { SoilWarmth::Cool } else { SoilWarmth::Warm })
    }
}

/// Whether it rained on the closed trench soon after planting.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum RainAfter {
    /// Less than the limit.
    Dry,
    /// The limit or more.
    Rain,
}

impl RainAfter {
    /// `dry after` or `rain after`.
    pub fn name(self) -> &'static str {
        match self {
            RainAfter::Dry => "dry after",
            RainAfter::Rain => "rain after",
        }
    }

    /// The class of a sum of rain; both in millimetres. `None` where the sum is negative or one is not finite.
    pub fn from_sum(rain_mm: f64, limit_mm: f64) -> Option<RainAfter> {
        let usable = rain_mm.is_finite() && rain_mm >= 0.0 && limit_mm.is_finite();
        usable.then_some(if rain_mm < limit_mm - ON_THE_LIMIT { RainAfter::Dry } else { RainAfter::Rain })
    }
}

/// Water by mass as a share of the water at the plastic limit, both fractions of the dry mass: 1 where soil just rolls to a thread.
///
/// Above it soil is plastic, smears and compacts; tilled best it is at about 0.9 of it (0.77 in a sandy loam: Dexter & Bird 2001, Soil Tillage Res. 57:203).
/// `None` where the water is negative, the limit not above zero, or one is not finite.
pub fn share_of_plastic_limit(gravimetric: f64, plastic_limit: f64) -> Option<f64> {
    let usable = gravimetric.is_finite() && gravimetric >= 0.0 && plastic_limit.is_finite() && plastic_limit > 0.0;
    usable.then(|| gravimetric / plastic_limit)
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
    fn water_is_held_against_the_plastic_limit_of_its_own_soil() {
        // 18 % water is wet in a soil that is plastic from 17 % on, and moist in one from 24 % on; a soil without one tells nothing.
        let class = |water, plastic_limit| {
            Moisture::from_water(
                share_of_plastic_limit(water, plastic_limit)?,
                MoistureLimits { dry_below: 0.7, wet_from: 1.0 },
            )
        };
        assert_eq!(class(0.18, 0.17), Some(Moisture::Wet));
        assert_eq!(class(0.18, 0.18), Some(Moisture::Wet));
        assert_eq!(class(0.18, 0.24), Some(Moisture::Moist));
        assert_eq!(class(0.16, 0.24), Some(Moisture::Dry));
        assert_eq!(class(0.7 * 0.24, 0.24), Some(Moisture::Moist));
        assert_eq!(share_of_plastic_limit(0.18, 0.0), None);
        assert_eq!(share_of_plastic_limit(-0.1, 0.2), None);
        assert_eq!(share_of_plastic_limit(f64::NAN, 0.2), None);
    }

    #[test]
    fn a_temperature_or_a_sum_of_rain_on_its_limit_is_warm_or_rain() {
        let warmth = |temperature| SoilWarmth::from_temperature(temperature, 10.0).map(SoilWarmth::name);
        assert_eq!(
            [warmth(9.9), warmth(10.0), warmth((50.0 - 32.0) / 1.8)],
            [Some("cool"), Some("warm"), Some("warm")]
        );
        assert_eq!((warmth(-3.0), warmth(f64::NAN)), (Some("cool"), None));
        let rain = |sum| RainAfter::from_sum(sum, 10.0).map(RainAfter::name);
        assert_eq!([rain(0.0), rain(9.9), rain(10.0)], [Some("dry after"), Some("dry after"), Some("rain after")]);
        assert_eq!((rain(-1.0), rain(f64::INFINITY)), (None, None));
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
