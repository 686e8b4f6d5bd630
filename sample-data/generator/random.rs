//! Chance: one seed, and a stream of its own for every field-season and purpose.
//!
//! With separate streams, a field-season that is added or a table that is changed leaves the other draws as they were.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;

/// The seed of the whole review.
pub const SEED: u64 = 20_260_115;

/// What a stream of random numbers is for.
#[derive(Clone, Copy)]
pub enum Purpose {
    /// Order of settings within blocks.
    Layout,
    /// Field, block and strip effects and the plants.
    Emergence,
    /// Telemetry noise.
    Telemetry,
    /// Soil notes.
    Soil,
    /// Dig checks.
    Digs,
    /// Spacing, leaf stages and yield.
    Plants,
    /// Weather.
    Weather,
}

/// The stream for a purpose and a field-season, by its position in the scenario.
pub fn stream(purpose: Purpose, index: usize) -> ChaCha8Rng {
    let mut generator = ChaCha8Rng::seed_from_u64(SEED);
    generator.set_stream(index as u64 * 16 + purpose as u64);
    generator
}
