//! Which coordinate systems are longitude and latitude on WGS 84, or near enough.

use crate::PlaceError;
use crate::well_known_text;

/// Radians in a degree, to what files write of it.
const DEGREE: f64 = 0.017_453_292_5;

/// Datums fixed to a continent that have drifted from WGS 84 by a metre or two, by the beginnings of their names in
/// lower case, letters and digits only. Older datums are off by up to some hundred metres and are not among them. From
/// memory.
const NEAR_DATUMS: [&str; 24] = [
    "nad83",
    "northamerican1983",
    "northamericandatum1983",
    "etrs89",
    "etrs1989",
    "europeanterrestrialreferencesystem1989",
    "gda94",
    "gda1994",
    "gda2020",
    "geocentricdatumofaustralia",
    "nzgd2000",
    "newzealandgeodeticdatum2000",
    "sirgas2000",
    "sistemadereferenciageocentricoparalasamericas2000",
    "jgd20",
    "japanesegeodeticdatum20",
    "cgcs2000",
    "china2000",
    "chinageodeticcoordinatesystem2000",
    "itrf",
    "internationalterrestrialreferenceframe",
    "rgf93",
    "rgf1993",
    "reseaugeodesiquefrancais1993",
];

/// Codes of geographic systems on these datums, as the EPSG dataset has them (looked up with pyproj 3.7.2).
const NEAR_CODES: [u32; 12] = [4269, 4258, 4283, 7844, 4167, 4674, 4612, 6668, 4490, 4171, 6318, 4617];

/// Judges a definition in well-known text. Gives a notice where the datum is not quite WGS 84; errors where the system
/// is another.
pub(crate) fn of_definition(text: &str) -> Result<Option<String>, PlaceError> {
    let other = |system: String| Err(PlaceError::OtherSystem { system });
    let Some(node) = well_known_text::read(text) else {
        let start: String = text.trim().chars().take(60).collect();
        return other(format!("a system whose definition cannot be read (`{start}`)"));
    };
    let flat = ["PROJCS", "PROJCRS", "PROJECTEDCRS", "LOCAL_CS", "ENGCRS", "GEOCCS"];
    if let Some(system) = node.find(&flat) {
        return other(format!("the system `{}`", system.name()));
    }
    let Some(system) = node.find(&["GEOGCS", "GEOGCRS", "GEODCRS", "GEODETICCRS", "GEOGRAPHICCRS"]) else {
        return other(format!("the system `{}`", node.name()));
    };
    let unit = system.nodes.iter().find(|node| ["UNIT", "ANGLEUNIT"].contains(&node.keyword.as_str()));
    if let Some(unit) = unit
        && !unit.number().is_some_and(|radians| (radians - DEGREE).abs() < 1e-9)
    {
        return other(format!("the system `{}` with angles in `{}`", system.name(), unit.name()));
    }
    if let Some(meridian) = system.find(&["PRIMEM", "PRIMEMERIDIAN"])
        && meridian.number() != Some(0.0)
    {
        return other(format!("the system `{}` that counts longitude from `{}`", system.name(), meridian.name()));
    }
    let datum = system.find(&["DATUM", "GEODETICDATUM", "TRF", "ENSEMBLE"]).map_or("", |datum| datum.name());
    of_names(&[datum, system.name()], system.name())
}

/// Judges a system by its name, such as `urn:ogc:def:crs:OGC:1.3:CRS84` or `EPSG:26915`; else as [`of_definition`].
pub(crate) fn of_name(name: &str) -> Result<Option<String>, PlaceError> {
    let upper = name.trim().to_ascii_uppercase();
    if upper.ends_with("CRS84") || upper.ends_with("CRS84H") {
        return Ok(None);
    }
    if upper.contains("EPSG") {
        let code = upper.rsplit(|letter: char| !letter.is_ascii_digit()).next().and_then(|digits| digits.parse().ok());
        return of_code(code, name);
    }
    if upper.ends_with("OGC:1.3:CRS83") || upper.ends_with("OGC::CRS83") || upper.ends_with("OGC:CRS83") {
        return Ok(Some(taken_as_wgs_84(name)));
    }
    of_names(&[name], name)
}

/// Judges a code of the EPSG dataset; `name` is what a person is told.
pub(crate) fn of_code(code: Option<u32>, name: &str) -> Result<Option<String>, PlaceError> {
    match code {
        Some(4326 | 4979) => Ok(None),
        Some(code) if NEAR_CODES.contains(&code) => Ok(Some(taken_as_wgs_84(name))),
        _ => Err(PlaceError::OtherSystem { system: format!("the system `{name}`") }),
    }
}

/// Judges the name of a datum, or of a geographic system where the datum has none that is known.
fn of_names(names: &[&str], system: &str) -> Result<Option<String>, PlaceError> {
    for name in names {
        let plain: String = name.chars().filter(char::is_ascii_alphanumeric).collect::<String>().to_ascii_lowercase();
        let plain = plain.strip_prefix("gcs").unwrap_or(&plain);
        let datum = plain.strip_prefix('d').unwrap_or(plain);
        if ["wgs84", "wgs1984", "worldgeodeticsystem1984"].iter().any(|wgs| datum == *wgs || plain == *wgs)
            || datum.starts_with("worldgeodeticsystem1984")
            || datum.starts_with("unknownbasedonwgs84")
        {
            return Ok(None);
        }
        if NEAR_DATUMS.iter().any(|near| datum.starts_with(near)) {
            return Ok(Some(taken_as_wgs_84(system)));
        }
    }
    Err(PlaceError::OtherSystem { system: format!("the system `{system}`") })
}

fn taken_as_wgs_84(system: &str) -> String {
    format!("the coordinates are in `{system}` and are taken as WGS 84, which is off by a metre or two")
}

/// What a person is told where a file does not name its system.
pub(crate) fn unnamed() -> String {
    "the file does not name its coordinate system; its coordinates are taken as longitude and latitude on WGS 84".into()
}

#[cfg(test)]
mod tests {
    use super::*;

    const WGS_84: &str = r#"GEOGCS["GCS_WGS_1984",DATUM["D_WGS_1984",SPHEROID["WGS_1984",6378137.0,298.257223563]],PRIMEM["Greenwich",0.0],UNIT["Degree",0.0174532925199433]]"#;
    /// As written by PROJ 9 for EPSG:4326 (WKT2:2019, shortened).
    const WGS_84_ENSEMBLE: &str = r#"GEOGCRS["WGS 84",ENSEMBLE["World Geodetic System 1984 ensemble",MEMBER["World Geodetic System 1984 (Transit)"],ELLIPSOID["WGS 84",6378137,298.257223563,LENGTHUNIT["metre",1]],ENSEMBLEACCURACY[2.0]],PRIMEM["Greenwich",0,ANGLEUNIT["degree",0.0174532925199433]],CS[ellipsoidal,2],AXIS["geodetic latitude (Lat)",north,ORDER[1],ANGLEUNIT["degree",0.0174532925199433]],AXIS["geodetic longitude (Lon)",east,ORDER[2],ANGLEUNIT["degree",0.0174532925199433]],ID["EPSG",4326]]"#;
    const UTM: &str = r#"PROJCS["NAD83 / UTM zone 15N",GEOGCS["NAD83",DATUM["North_American_Datum_1983",SPHEROID["GRS 1980",6378137,298.257222101]],PRIMEM["Greenwich",0],UNIT["degree",0.0174532925199433]],PROJECTION["Transverse_Mercator"],UNIT["metre",1]]"#;

    #[test]
    fn wgs_84_is_taken_without_a_word() {
        for text in [WGS_84, WGS_84_ENSEMBLE] {
            assert_eq!(of_definition(text).unwrap(), None, "{text}");
        }
        for name in [
            "urn:ogc:def:crs:OGC:1.3:CRS84",
            "EPSG:4326",
            "urn:ogc:def:crs:EPSG::4326",
            "WGS 84",
            "http://www.opengis.net/def/crs/OGC/1.3/CRS84",
        ] {
            assert_eq!(of_name(name).unwrap(), None, "{name}");
        }
    }

    #[test]
    fn a_projected_system_is_refused_by_name() {
        let problem = of_definition(UTM).unwrap_err().to_string();
        assert!(problem.contains("`NAD83 / UTM zone 15N`") && problem.contains("EPSG:4326"), "{problem}");
        assert!(of_name("urn:ogc:def:crs:EPSG::26915").is_err());
        assert!(of_name("WGS 84 / UTM zone 15N").is_err());
    }

    #[test]
    fn a_near_datum_is_taken_with_a_notice_and_a_far_one_refused() {
        let with_datum = |datum: &str| WGS_84.replace("D_WGS_1984", datum).replace("GCS_WGS_1984", datum);
        for near in ["D_North_American_1983", "North_American_Datum_1983", "D_ETRS_1989", "NAD83(2011)"] {
            let notice = of_definition(&with_datum(near)).unwrap().unwrap();
            assert!(notice.contains(near) && notice.contains("metre or two"), "{notice}");
        }
        for far in ["D_North_American_1927", "D_European_1950", "OSGB_1936", ""] {
            assert!(of_definition(&with_datum(far)).is_err(), "{far}");
        }
        assert!(of_name("EPSG:4269").unwrap().is_some());
        assert!(of_name("EPSG:4267").is_err());
    }

    #[test]
    fn other_angles_and_meridians_are_refused() {
        assert!(of_definition(&WGS_84.replace("0.0174532925199433", "0.0157079632679489")).is_err());
        let paris = WGS_84.replace("[\"Greenwich\",0.0]", "[\"Paris\",2.33722917]");
        assert!(of_definition(&paris).unwrap_err().to_string().contains("Paris"));
        assert!(of_definition("who knows").unwrap_err().to_string().contains("who knows"));
    }
}
