//! What one soil note says of the condition.

use evenstand_agronomy::{Moisture, MoistureLimits, Residue, TextureClass, share_of_plastic_limit};
use evenstand_settings::ConditionScheme;
use evenstand_tables::rows::SoilRow;

/// Moisture of a note, by the first of these that it gives: the class as it was felt; the share of available water as it was felt; water by mass against the
/// plastic limit of the same soil; water by mass, then by volume, against limits of the settings.
///
/// What was felt goes first because it already takes the soil into account. A plastic limit is of this soil; limits of plain water contents are of soils
/// in general, and come last.
pub(crate) fn moisture(note: &SoilRow, scheme: &ConditionScheme) -> Option<String> {
    let class = |water: f64, limits: [f64; 2]| {
        Moisture::from_water(water, MoistureLimits { dry_below: limits[0], wet_from: limits[1] })
    };
    let group = texture_group(note).and_then(|group| scheme.texture.get(&group)).copied().unwrap_or_default();
    let gravimetric = group.moisture_gravimetric.unwrap_or(scheme.moisture_gravimetric);
    let volumetric = group.moisture_volumetric.unwrap_or(scheme.moisture_volumetric);
    let moisture = note
        .moisture_feel
        .as_deref()
        .and_then(Moisture::parse)
        .or_else(|| class(note.available_water_frac?, scheme.available_water))
        .or_else(|| {
            let share = share_of_plastic_limit(note.water_gravimetric_frac?, note.plastic_limit_frac?)?;
            class(share, scheme.moisture_plastic)
        })
        .or_else(|| class(note.water_gravimetric_frac?, gravimetric))
        .or_else(|| class(note.water_volumetric_frac?, volumetric))?;
    Some(moisture.name().to_owned())
}

/// Residue of a note: bare or covered.
pub(crate) fn residue(note: &SoilRow, scheme: &ConditionScheme) -> Option<String> {
    Residue::from_cover(note.residue_cover_frac?, scheme.residue_limit).map(|residue| residue.name().to_owned())
}

/// Texture group of a note: from its texture class, else from sand, silt and clay.
pub(crate) fn texture_group(note: &SoilRow) -> Option<String> {
    let class = note.texture.as_deref().and_then(TextureClass::parse).or_else(|| {
        TextureClass::from_percent(note.sand_frac? * 100.0, note.silt_frac? * 100.0, note.clay_frac? * 100.0).ok()
    })?;
    Some(class.group().name().to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;
    use evenstand_settings::TextureLimits;

    /// A note that tells everything, so that what is left out shows what comes next.
    fn full() -> SoilRow {
        SoilRow {
            moisture_feel: Some("wet".into()),
            available_water_frac: Some(0.2),
            water_gravimetric_frac: Some(0.18),
            plastic_limit_frac: Some(0.20),
            water_volumetric_frac: Some(0.33),
            ..SoilRow::default()
        }
    }

    fn class(note: &SoilRow) -> Option<String> {
        moisture(note, &ConditionScheme::default())
    }

    #[test]
    fn feel_goes_before_available_water_before_the_plastic_limit_before_plain_limits() {
        let mut note = full();
        assert_eq!(class(&note).as_deref(), Some("wet"));
        note.moisture_feel = None;
        assert_eq!(class(&note).as_deref(), Some("dry"), "20 % of the available water");
        note.available_water_frac = None;
        assert_eq!(class(&note).as_deref(), Some("moist"), "90 % of the plastic limit");
        note.plastic_limit_frac = Some(0.17);
        assert_eq!(class(&note).as_deref(), Some("wet"), "106 % of the plastic limit");
        note.plastic_limit_frac = Some(0.26);
        assert_eq!(class(&note).as_deref(), Some("dry"), "69 % of the plastic limit");
        note.plastic_limit_frac = None;
        assert_eq!(class(&note).as_deref(), Some("moist"), "18 % by mass");
        note.water_gravimetric_frac = None;
        assert_eq!(class(&note).as_deref(), Some("wet"), "33 % by volume");
        note.water_volumetric_frac = None;
        assert_eq!(class(&note), None);
    }

    #[test]
    fn bands_of_the_feel_guide_end_at_a_quarter_and_three_quarters() {
        let felt = |share| class(&SoilRow { available_water_frac: Some(share), ..SoilRow::default() }).unwrap();
        assert_eq!([0.0, 0.24, 0.25, 0.5, 0.74].map(felt), ["dry", "dry", "moist", "moist", "moist"]);
        assert_eq!([0.75, 1.0, 1.2].map(felt), ["wet"; 3]);
    }

    #[test]
    fn a_plastic_limit_of_zero_is_passed_over() {
        let sand = SoilRow { water_gravimetric_frac: Some(0.11), plastic_limit_frac: Some(0.0), ..SoilRow::default() };
        assert_eq!(class(&sand).as_deref(), Some("dry"), "many sands have none");
    }

    #[test]
    fn water_is_judged_by_the_limits_of_its_texture_group_where_these_are_set() {
        let scheme = ConditionScheme {
            texture: [(
                "coarse".to_owned(),
                TextureLimits { moisture_gravimetric: Some([0.05, 0.10]), moisture_volumetric: None },
            )]
            .into(),
            ..ConditionScheme::default()
        };
        let class = |texture: Option<&str>, water: f64| {
            let note =
                SoilRow { texture: texture.map(Into::into), water_gravimetric_frac: Some(water), ..SoilRow::default() };
            moisture(&note, &scheme).unwrap()
        };
        assert_eq!(class(Some("loamy sand"), 0.11), "wet");
        assert_eq!(class(Some("silt loam"), 0.11), "dry");
        assert_eq!(class(None, 0.11), "dry");
    }
}
