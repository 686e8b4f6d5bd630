//! From arguments and the review to a request.

use std::fs;

use evenstand_settings::Planter;
use evenstand_trial::{AskedPlanter, Ground, Known, Request, Setting};

use super::args::TrialArgs;
use super::known::{ReviewFacts, Wanted};
use crate::failure::Failure;
use crate::review::Review;
use evenstand_agronomy::quantity::pressure;

/// A request with everything that the arguments left to the review, and what the review knows of it. Notes say what was taken from where.
pub fn request(
    review: &Review,
    facts: &ReviewFacts,
    arguments: &TrialArgs,
) -> Result<(Request, Known, Vec<String>), Failure> {
    let mut notes = Vec::new();
    let field_id = arguments.field.clone().ok_or_else(|| {
        let known: Vec<&str> = facts.field_names().into_iter().take(12).collect();
        missing(
            "the field",
            "--field",
            if known.is_empty() { "any name".into() } else { format!("for example {}", known.join(", ")) },
        )
    })?;
    if !facts.fields.is_empty() && facts.field(&field_id).is_none() {
        notes.push(format!("Field {field_id} is new to this review."));
    }
    let field = facts.field(&field_id);
    let season = arguments
        .season
        .or(facts.next_season())
        .ok_or_else(|| missing("the season", "--season", "the year of planting"))?;
    let planters = planters(review, facts, arguments, &field_id)?;
    let first = &planters[0].planter;
    let closer = first.closer.clone();
    let condition = arguments.condition.clone().or_else(|| facts.condition_of(&field_id).map(str::to_owned));
    let conditions = facts.conditions(&closer);
    if let Some(condition) = &condition
        && !conditions.is_empty()
        && !conditions.contains(condition.as_str())
    {
        notes.push(format!(
            "No strip under this closer was in the condition \"{condition}\" yet; there are {}. What strips differ by is taken from all of them.",
            conditions.iter().copied().collect::<Vec<_>>().join("; ")
        ));
    }
    let response = arguments
        .response
        .clone()
        .or_else(|| review.settings.analysis.primary.clone())
        .or_else(|| facts.primary(condition.as_deref(), &closer).map(str::to_owned))
        .unwrap_or_else(|| "on_time_share".into());
    let row_spacing = arguments
        .row_spacing
        .or(field.and_then(|row| row.row_spacing_m))
        .or(facts.fields.iter().find_map(|row| row.row_spacing_m))
        .ok_or_else(|| missing("the distance between rows", "--row-spacing", "for example 30in or 0.75m"))?;
    let mut request = Request::new(&field_id, season, first.clone(), planters[0].rows, row_spacing);
    request.condition = condition;
    request.response = response;
    request.planters = planters;
    request.closers = arguments.closers.clone();
    request.settings = settings(&request.planters[0].planter, &arguments.settings)?;
    request.levels = arguments.levels;
    request.blocks = arguments.blocks;
    request.per_block = arguments.strips_per_block;
    request.passes_per_strip = arguments.passes;
    request.border_passes = arguments.border_passes;
    request.seed_rate_per_m2 = arguments
        .seed_rate
        .or(field.and_then(|row| row.seed_rate_per_m2))
        .or(facts.fields.iter().find_map(|row| row.seed_rate_per_m2));
    request.headland_m = arguments.headland;
    request.buffer_m = arguments.buffer;
    request.border_rows = arguments.border_rows;
    request.wheel_rows = arguments.wheel_rows.clone();
    request.places = arguments.places;
    request.row_length_m = arguments.place_length;
    request.strip_sd = arguments.strip_sd;
    request.difference = arguments.difference;
    request.alpha = arguments.alpha;
    request.power = arguments.power;
    request.seed = arguments.seed.unwrap_or_else(|| seed_of(review.settings.analysis.seed, &field_id, season));
    let wanted = Wanted {
        field_id: &field_id,
        condition: request.condition.as_deref(),
        closer: &closer,
        planter_id: &request.planters[0].planter.id,
        response: &request.response,
        planting: arguments.planting_date,
    };
    let known = facts.known(review, &wanted);
    Ok((request, known, notes))
}

/// The ground: an outline, a line, or a rectangle as long as it was said or as the field's strips were.
pub fn ground(facts: &ReviewFacts, arguments: &TrialArgs, field_id: &str) -> Result<Ground, Failure> {
    let line = arguments.line.as_deref().map(line).transpose()?;
    if let Some(path) = &arguments.outline {
        let text = fs::read_to_string(path).map_err(|error| {
            Failure::new(
                format!("{} cannot be read: {error}", path.display()),
                "give the outline of the field as a GeoJSON file",
            )
        })?;
        return Ok(Ground::from_outline(&text, line)?);
    }
    if let Some((a, b)) = line {
        return Ok(Ground::from_line(a, b, arguments.length)?);
    }
    let length = arguments
        .length
        .or_else(|| facts.length_of(field_id))
        .ok_or_else(|| missing("the length of the field along the passes", "--length", "for example 400m or 1320ft"))?;
    Ok(Ground::rectangle(length))
}

/// Two places, each longitude and latitude in degrees, with a blank between them.
fn line(text: &str) -> Result<([f64; 2], [f64; 2]), Failure> {
    let places: Option<Vec<[f64; 2]>> = text
        .split_whitespace()
        .map(|place| {
            let (lon, lat) = place.split_once(',')?;
            Some([lon.parse().ok()?, lat.parse().ok()?])
        })
        .collect();
    match places.as_deref() {
        Some([a, b]) => Ok((*a, *b)),
        _ => Err(Failure::new(
            format!("--line \"{text}\" is not two places"),
            "give longitude,latitude of both with a blank between: --line \"-93.5,42.1 -93.5,42.2\"",
        )),
    }
}

fn missing(what: &str, option: &str, example: impl std::fmt::Display) -> Failure {
    Failure::new(
        format!("{what} is not known"),
        format!("give it with {option}: {example}; or answer questions with --ask"),
    )
}

fn planters(
    review: &Review,
    facts: &ReviewFacts,
    arguments: &TrialArgs,
    field_id: &str,
) -> Result<Vec<AskedPlanter>, Failure> {
    let known: Vec<&str> = review.settings.planters.iter().map(|planter| planter.id.as_str()).collect();
    let ids = if arguments.planter.is_empty() {
        let own =
            facts.field(field_id).and_then(|row| row.planter_id.clone()).filter(|id| known.contains(&id.as_str()));
        let only = (known.len() == 1).then(|| known[0].to_owned());
        vec![own.or(only).ok_or_else(|| {
            let names = if known.is_empty() {
                "evenstand.toml names none yet".to_owned()
            } else {
                format!("one of {}", known.join(", "))
            };
            missing("the planter", "--planter", names)
        })?]
    } else {
        arguments.planter.clone()
    };
    if !arguments.rows.is_empty() && arguments.rows.len() != ids.len() {
        return Err(Failure::new(
            format!("{} numbers of rows for {} planters", arguments.rows.len(), ids.len()),
            "give --rows once for each planter",
        ));
    }
    ids.iter()
        .enumerate()
        .map(|(number, id)| {
            if !known.contains(&id.as_str()) {
                return Err(Failure::new(
                    format!("evenstand.toml has no planter \"{id}\""),
                    format!("name one of {}, or add a [[planter]] block", known.join(", ")),
                ));
            }
            let rows = arguments.rows.get(number).copied().or_else(|| facts.rows_of(id));
            let rows = rows.ok_or_else(|| {
                missing(&format!("the number of rows of planter \"{id}\""), "--rows", "for example 12")
            })?;
            Ok(AskedPlanter { planter: review.settings.planter(id), rows })
        })
        .collect()
}

/// Settings as typed: a pressure with its unit, or the label of a position.
fn settings(planter: &Planter, typed: &[String]) -> Result<Option<Vec<Setting>>, Failure> {
    if typed.is_empty() {
        return Ok(None);
    }
    let gauge = evenstand_trial::gauge(planter);
    let read = |text: &String| match gauge {
        None => Ok(Setting::Position(text.trim().to_owned())),
        Some(unit) => pressure(text)
            .or_else(|| pressure(&format!("{} {unit}", text.trim())))
            .map(Setting::PressureKpa)
            .ok_or_else(|| {
                Failure::new(
                    format!("\"{text}\" is no setting of planter \"{}\"", planter.id),
                    format!("give pressures, for example --settings \"20{unit},30{unit}\""),
                )
            }),
    };
    typed.iter().map(read).collect::<Result<_, _>>().map(Some)
}

/// A seed of its own for every field and season (FNV-1a over their names), so that no two fields share a layout.
fn seed_of(seed: u64, field_id: &str, season: i64) -> u64 {
    let text = format!("{seed}/{field_id}/{season}");
    let hash = text
        .bytes()
        .fold(0xcbf2_9ce4_8422_2325u64, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3));
    // Short enough to be written down.
    hash % 1_000_000
}
