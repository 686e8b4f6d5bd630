//! Strips drawn as polygons, and which strip a point lies in.
//!
//! Three files carry such polygons: GeoJSON ([`read_geojson`]), a shapefile in its folder or `.zip`
//! ([`read_shapefile`]) and GeoPackage ([`read_geopackage`]). All give a [`StripFile`]: the strips, every feature that
//! could not be used with the reason and its text, and what a person should know about the rest. [`StripMap`] then
//! finds the strip of a point.
//!
//! Coordinates are longitude and latitude in degrees on WGS 84 (RFC 7946, section 4). Other systems are refused by
//! name, not converted.
//!
//! GeoPackage is an SQLite database. Measured with the release profile of this workspace on two cores, SQLite and its
//! binding take 28 seconds of one core to compile and add 1.4 MB to a program; nothing need be installed.

#![cfg_attr(test, allow(clippy::unwrap_used))]

mod crossings;
mod crs;
mod dbf;
mod encoding;
mod error;
mod frame;
mod geojson_file;
mod geopackage;
mod map;
mod measure;
mod outline;
mod part;
mod properties;
mod ring;
mod shapefile_bundle;
mod shp;
mod strip;
mod well_known_binary;
mod well_known_text;

#[cfg(test)]
mod map_tests;
#[cfg(test)]
mod mutation_tests;
#[cfg(test)]
mod samples;

pub use error::PlaceError;
pub use geojson_file::{read_geojson, read_geojson_area};
pub use geopackage::{read_geopackage, read_geopackage_bytes};
pub use map::{Cursor, Options, Place, StripMap};
pub use measure::{Extent, Overlap};
pub use shapefile_bundle::read_shapefile;
pub use strip::{PlaceFormat, Reading, Refused, Strip, StripFile};
