//! Printable cards: the setting log for the cab, and the questions for the spade.

use std::collections::{HashMap, HashSet};

use evenstand_agronomy::{FEEL_BANDS, FEEL_GUIDE, Moisture, MoistureLimits};
use evenstand_settings::{ConditionScheme, Knob, Settings};
use evenstand_tables::showable;
use minijinja::value::Serde;
use minijinja::{AutoEscape, Environment};
use serde::Serialize;

use crate::SheetsError;
use crate::column::name_and_unit;
use crate::known::{Known, KnownStrip};
use crate::units::Units;

/// File name of the card for the cab.
pub(crate) const CAB_CARD: &str = "cab-card.html";
/// File name of the card for the spade.
pub(crate) const DIG_CARD: &str = "dig-card.html";
/// File name of the card that tells moisture by feel.
pub(crate) const FEEL_CARD: &str = "feel-card.html";

pub(crate) const STYLE: &str = include_str!("../templates/card.css");
const CAUTIONS: &str = include_str!("../templates/cautions.html");
const CAB_TEMPLATE: &str = include_str!("../templates/cab-card.html");
const DIG_TEMPLATE: &str = include_str!("../templates/dig-card.html");
const FEEL_TEMPLATE: &str = include_str!("../templates/feel-card.html");

/// Most strips that are printed, about 150 pages.
const MOST_STRIPS: usize = 2000;
/// Empty rows below the strips of a field, and on a card without any.
const SPARE_ROWS: usize = 3;
const EMPTY_ROWS: usize = 14;
/// Most labels of a knob that stand over the column of the setting.
const MOST_LABELS: usize = 8;

#[derive(Serialize)]
struct CabPage<'a> {
    style: &'a str,
    fields: Vec<CabField<'a>>,
    not_printed: usize,
    set_pressure: String,
    actual_pressure: String,
}

#[derive(Serialize, Default)]
struct CabField<'a> {
    field_id: &'a str,
    season: Option<i64>,
    planter_id: &'a str,
    /// What the knob reads in, such as `psi`, or its positions in order.
    knob: String,
    strips: Vec<CabStrip<'a>>,
    empty_rows: usize,
}

#[derive(Serialize)]
struct CabStrip<'a> {
    strip_id: &'a str,
    block: &'a str,
    treatment: &'a str,
}

/// The card for the cab: a page or more a field, strips in planting order; one empty page where no strip is known.
pub(crate) fn cab_card(settings: &Settings, known: &Known, units: &Units) -> Result<String, SheetsError> {
    let (set_pressure, unit) = name_and_unit("setting_log", "set_pressure_kpa", units);
    let (actual_pressure, _) = name_and_unit("setting_log", "actual_pressure_kpa", units);
    let strips: Vec<&KnownStrip> =
        known.strips.iter().filter(|strip| Some(strip.season) == known.season).take(MOST_STRIPS).collect();
    let of_season = known.strips.iter().filter(|strip| Some(strip.season) == known.season).count();
    let mut fields = by_field(&strips);
    let with_strips: HashSet<&str> = fields.iter().map(|field| field.field_id).collect();
    let listed = known.field_seasons.iter().filter(|field| Some(field.season) == known.season);
    let planters: HashMap<&str, &str> =
        listed.clone().filter_map(|field| Some((field.field_id.as_str(), field.planter_id.as_deref()?))).collect();
    let mut without = HashSet::new();
    for field in listed.filter(|field| !with_strips.contains(field.field_id.as_str())).take(MOST_STRIPS) {
        if without.insert(&field.field_id) {
            fields.push(CabField { field_id: &field.field_id, empty_rows: EMPTY_ROWS, ..CabField::default() });
        }
    }
    if fields.is_empty() {
        fields.push(CabField { empty_rows: EMPTY_ROWS, ..CabField::default() });
    }
    for field in &mut fields {
        field.season = known.season;
        field.planter_id = planters.get(field.field_id).copied().unwrap_or_default();
        field.knob = knob(settings, field.planter_id, &unit);
    }
    let page = CabPage {
        style: STYLE,
        fields,
        not_printed: of_season.saturating_sub(strips.len()),
        set_pressure,
        actual_pressure,
    };
    render(CAB_CARD, CAB_TEMPLATE, &page)
}

fn by_field<'a>(strips: &[&'a KnownStrip]) -> Vec<CabField<'a>> {
    let mut fields: Vec<CabField> = Vec::new();
    let mut places: HashMap<&str, usize> = HashMap::new();
    for strip in strips {
        let place = *places.entry(&strip.field_id).or_insert_with(|| {
            fields.push(CabField { field_id: &strip.field_id, empty_rows: SPARE_ROWS, ..CabField::default() });
            fields.len() - 1
        });
        if let Some(field) = fields.get_mut(place) {
            field.strips.push(CabStrip {
                strip_id: &strip.strip_id,
                block: strip.block.as_deref().unwrap_or_default(),
                treatment: strip.treatment.as_deref().unwrap_or_default(),
            });
        }
    }
    fields
}

/// What stands over the column of the setting. A planter that is not named is taken for the only one that there is.
fn knob(settings: &Settings, planter_id: &str, unit: &str) -> String {
    let named = settings.planters.iter().find(|planter| planter.id == planter_id);
    let only = settings.planters.first().filter(|_| planter_id.is_empty() && settings.planters.len() == 1);
    match named.or(only).and_then(|planter| planter.knob.as_ref()) {
        Some(Knob::Positions { positions, .. }) => {
            let labels: Vec<&str> = positions.iter().map(|position| position.label.as_str()).collect();
            match labels.as_slice() {
                [first, .., last] if labels.len() > MOST_LABELS => format!("position: {first} … {last}"),
                _ => format!("position: {}", labels.join(", ")),
            }
        }
        Some(Knob::Pressure { .. }) => unit.to_owned(),
        None => format!("{unit} or position"),
    }
}

#[derive(Serialize)]
struct DigPage<'a> {
    style: &'a str,
    /// Digs beside each other on a page.
    digs: usize,
    depth: String,
    depth_unit: String,
    efforts: [(u8, &'static str); 5],
}

/// The card for the spade: four digs a page, questions in the order in which they are asked.
pub(crate) fn dig_card(units: &Units) -> Result<String, SheetsError> {
    let (depth, depth_unit) = name_and_unit("dig_check", "seed_depth_m", units);
    // The ends are those of the schema, and from 4 on a row counts as forced open; the words between are ours.
    let efforts = [
        (1, "falls open"),
        (2, "a light touch opens it"),
        (3, "firm fingers open it"),
        (4, "has to be forced open"),
        (5, "needs a tool"),
    ];
    render(DIG_CARD, DIG_TEMPLATE, &DigPage { style: STYLE, digs: 4, depth, depth_unit, efforts })
}

#[derive(Serialize)]
struct FeelPage<'a> {
    style: &'a str,
    bands: Vec<FeelBand>,
    soils: Vec<FeelSoil>,
}

#[derive(Serialize)]
struct FeelBand {
    /// "25-50 %".
    share: String,
    /// What the review calls such soil.
    class: String,
}

#[derive(Serialize)]
struct FeelSoil {
    group: &'static str,
    soils: &'static str,
    feel: Vec<&'static str>,
}

/// The card that tells moisture by feel, with the classes that the limits of the settings make of it.
pub(crate) fn feel_card(settings: &Settings) -> Result<String, SheetsError> {
    let bands = FEEL_BANDS.into_iter().map(|band| FeelBand {
        share: if band.0 < band.1 {
            format!("{:.0} to {:.0} %", band.0 * 100.0, band.1 * 100.0)
        } else {
            format!("{:.0} %: full", band.0 * 100.0)
        },
        class: moisture_of(band, &settings.condition),
    });
    let soils = FEEL_GUIDE.into_iter().map(|row| FeelSoil {
        group: row.group,
        soils: row.soils,
        feel: row.feel.into_iter().map(|feel| feel.unwrap_or("–")).collect(),
    });
    render(FEEL_CARD, FEEL_TEMPLATE, &FeelPage { style: STYLE, bands: bands.collect(), soils: soils.collect() })
}

/// The class of a band of available water; both where a limit lies inside it.
fn moisture_of((from, to): (f64, f64), scheme: &ConditionScheme) -> String {
    let [dry_below, wet_from] = scheme.available_water;
    let class = |share: f64| Moisture::from_water(share, MoistureLimits { dry_below, wet_from }).map(Moisture::name);
    // A share on a limit belongs above it, so a band ends just below its upper border.
    let inside = if from < to { to - 1e-6 } else { to };
    match (class(from), class(inside)) {
        (Some(first), Some(last)) if first != last => format!("{first} to {last}"),
        (first, _) => first.unwrap_or_default().to_owned(),
    }
}

pub(crate) fn render(file: &'static str, template: &str, page: &impl Serialize) -> Result<String, SheetsError> {
    let fault = |source: minijinja::Error| SheetsError::Page { file, source: Box::new(source) };
    let mut environment = Environment::new();
    environment.set_auto_escape_callback(|_| AutoEscape::Html);
    environment.add_template("cautions.html", CAUTIONS).map_err(fault)?;
    environment.add_template(file, template).map_err(fault)?;
    let page = environment.get_template(file).and_then(|template| template.render(Serde(page))).map_err(fault)?;
    Ok(showable(page) + "\n")
}
