//! Soil water as an instrument manual works it out.

use evenstand_agronomy::{gravimetric_water, volumetric_water};

use crate::shared::near;

#[test]
fn a_weighed_core_gives_its_water() {
    // Instrument manual: 94 g wet, 78 g dry, 60 cm³ give 0.205 by mass and a bulk density of 1.3 g/cm³; by volume that is
    // 16 cm³ of water in 60.
    let gravimetric = gravimetric_water(94.0, 78.0);
    near("by mass", gravimetric, 0.205, 5e-4);
    let volumetric = gravimetric.and_then(|water| volumetric_water(water, 78.0 / 60.0));
    near("by volume", volumetric, 16.0 / 60.0, 1e-15);
}
