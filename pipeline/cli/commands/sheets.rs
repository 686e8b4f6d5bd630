//! Blank record sheets for the strips and planters of a review.

use std::fs;

use evenstand_sheets::{KnownField, KnownStrip, Options, UnitSystem, record_sheets};
use evenstand_store::{KeptStore, replace_folder};
use evenstand_tables::rows::{FieldRow, StripSheetRow};

use crate::args::UnitChoice;
use crate::failure::Failure;
use crate::review::Review;
use crate::voice::Voice;

/// Writes the sheets into plan/sheets/; strips and fields are those of the store, where there is one.
pub fn sheets(review: &Review, units: Option<UnitChoice>, voice: &mut Voice) -> Result<bool, Failure> {
    let (strips, fields) = known(review)?;
    let system = units.map(|units| match units {
        UnitChoice::Metric => UnitSystem::Metric,
        UnitChoice::Us => UnitSystem::Us,
    });
    let options = Options { system, ..Options::default() };
    let made = record_sheets(&review.settings, &strips, &fields, &options)
        .map_err(|error| Failure::new(error.to_string(), "correct the settings file; nothing was written"))?;
    let folder = review.plan.join("sheets");
    // A sheet that was filled in where it lies must not be lost to a new blank one.
    let changed = made.files.iter().find(|sheet| {
        let path = folder.join(&sheet.name);
        path.exists() && fs::read(&path).is_ok_and(|bytes| bytes != sheet.bytes)
    });
    if let Some(sheet) = changed {
        return Err(Failure::new(
            format!(
                "{} is there already and is not the blank sheet that would be written",
                folder.join(&sheet.name).display()
            ),
            "move the folder away (what is filled in belongs into raw/), then run again; nothing was changed",
        ));
    }
    if let Err(error) = fs::create_dir_all(&review.plan) {
        return Err(Failure::new(
            format!("{} cannot be made: {error}", review.plan.display()),
            "give another folder with --out",
        ));
    }
    replace_folder(&folder, |staging| -> Result<(), Failure> {
        for sheet in &made.files {
            fs::write(staging.join(&sheet.name), &sheet.bytes).map_err(|error| {
                Failure::new(
                    format!("{} cannot be written: {error}", sheet.name),
                    "free some space, or give another folder",
                )
            })?;
        }
        Ok(())
    })?;
    voice.fact("sheets", made.files.len());
    voice.fact("strips", strips.len());
    voice.say(&format!(
        "Wrote {} files to {} for {} strips and {} fields. Print cab-card.html, dig-card.html, feel-card.html and weigh-card.html; put what you filled in into raw/.",
        made.files.len(),
        folder.display(),
        strips.len(),
        fields.len()
    ));
    Ok(false)
}

/// Strips and fields of the store; none where nothing was read yet.
fn known(review: &Review) -> Result<(Vec<KnownStrip>, Vec<KnownField>), Failure> {
    if !review.store.join("manifest.json").exists() {
        return Ok((Vec::new(), Vec::new()));
    }
    let store = KeptStore::open_checked(&review.store)?;
    let strips = store.read::<StripSheetRow>()?.into_iter().map(|row| KnownStrip {
        field_id: row.field_id,
        season: row.season,
        strip_id: row.strip_id,
        block: row.block,
        treatment: row.treatment,
    });
    let fields = store.read::<FieldRow>()?.into_iter().map(|row| KnownField {
        field_id: row.field_id,
        season: row.season,
        planter_id: row.planter_id,
    });
    Ok((strips.collect(), fields.collect()))
}
