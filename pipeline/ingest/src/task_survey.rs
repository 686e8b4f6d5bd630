//! What task data hold, for the person who must say which channel is the closing force or pressure.

use std::collections::{BTreeMap, BTreeSet};

use evenstand_bundle::Bundle;
use evenstand_taskdata::{Channel, Survey, TaskData};

use crate::IngestError;

/// What task data hold, in words, and a `[[source]]` block to fill in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TaskSurvey {
    /// One line a log and one a kind of channel.
    pub lines: Vec<String>,
    /// A block for `evenstand.toml` in which the channels are questions.
    pub block: String,
}

/// Lists the logs and channels of task data. Channels of the same name on several machine parts, such as the rows of a
/// planter, are told together. Errors where the task data cannot be read.
pub fn survey_task_data(file: &str, bundle: &mut Bundle) -> Result<TaskSurvey, IngestError> {
    let refused = |problem: String| IngestError::Format {
        file: file.to_owned(),
        problem,
        remedy: "copy or export the task data again".into(),
    };
    let data = TaskData::open(bundle).map_err(|error| refused(error.to_string()))?;
    let survey = data.survey(bundle).map_err(|error| refused(error.to_string()))?;
    let mut lines =
        vec![format!("{file}: task data with {} logs and {} channels", survey.logs.len(), survey.channels.len())];
    lines.extend(survey.logs.iter().map(|extent| {
        let place = data.logs().find(|place| place.position == extent.log);
        let name = place.map_or("", |place| place.log.name.as_str());
        let field = place.and_then(|place| place.field).and_then(|field| field.designator.clone());
        let time = |time: Option<jiff::civil::DateTime>| time.map_or("no time".to_owned(), |time| time.to_string());
        format!(
            "  log {name}: {} records from {} to {}, {} with a position{}",
            extent.records,
            time(extent.earliest),
            time(extent.latest),
            extent.located,
            field.map(|field| format!(", field \"{field}\"")).unwrap_or_default()
        )
    }));
    let groups = groups(&survey);
    let (telling, still): (Vec<_>, Vec<_>) = groups.values().partition(|channels| may_matter(channels));
    lines.extend(telling.into_iter().map(|channels| told(channels)));
    if !still.is_empty() {
        let names: Vec<&str> = still.iter().filter_map(|channels| channels.first()?.designator.as_deref()).collect();
        lines.push(format!("  and {} kinds of channel that never change: {}", still.len(), names.join(", ")));
    }
    let season = survey.logs.iter().filter_map(|extent| extent.earliest).map(|time| time.year()).min();
    Ok(TaskSurvey { lines, block: block(file, season) })
}

/// Channels that are the same quantity under the same name, on whatever part.
fn groups(survey: &Survey) -> BTreeMap<(Option<u16>, String), Vec<&Channel>> {
    let mut groups: BTreeMap<(Option<u16>, String), Vec<&Channel>> = BTreeMap::new();
    for channel in survey.channels.iter().filter(|channel| channel.seen.count > 0 || channel.constant.is_some()) {
        let name = channel.designator.as_deref().unwrap_or_default().to_owned();
        groups.entry((channel.ddi, name)).or_default().push(channel);
    }
    groups
}

/// Whether a closing force or pressure could be among these channels: they change, or measure a force or pressure by their
/// unit or number.
fn may_matter(channels: &&Vec<&Channel>) -> bool {
    const UNITS: [&str; 12] = ["n", "kn", "lb", "lbs", "lbf", "kg", "kgs", "kgf", "psi", "kpa", "bar", "mpa"];
    channels.iter().any(|channel| {
        let unit = channel.unit().unwrap_or_default().to_ascii_lowercase();
        channel.seen.minimum != channel.seen.maximum
            || UNITS.contains(&unit.as_str())
            || matches!(channel.quantity(), Some((_, "N" | "Pa")))
    })
}

fn told(channels: &[&Channel]) -> String {
    let Some(first) = channels.first() else { return String::new() };
    let parts: Vec<String> =
        distinct(channels.iter().map(|channel| channel.element.as_deref().unwrap_or(&channel.element_id).to_owned()));
    let parts = match parts.as_slice() {
        [only] => format!("\"{only}\""),
        [first, .., last] => format!("{} parts, \"{first}\" to \"{last}\"", parts.len()),
        [] => "no part".to_owned(),
    };
    let shown = |raw: Option<i32>, channel: &Channel| raw.or(channel.constant).map(|raw| channel.value(raw));
    let fold = |pick: fn(f64, f64) -> f64, of: &dyn Fn(&Channel) -> Option<f64>| {
        channels.iter().filter_map(|channel| of(channel)).reduce(pick)
    };
    let low = fold(f64::min, &|channel| shown(channel.seen.minimum, channel));
    let high = fold(f64::max, &|channel| shown(channel.seen.maximum, channel));
    let values: u64 = channels.iter().map(|channel| channel.seen.count).sum();
    let range = match (low, high) {
        (Some(low), Some(high)) => format!(", {} to {}", tidy(low), tidy(high)),
        _ => String::new(),
    };
    format!(
        "  ddi {} data \"{}\"{} on {parts}: {values} values{range}{}{}",
        first.ddi.map_or("none".to_owned(), |ddi| format!("{ddi:04X}")),
        first.designator.as_deref().unwrap_or_default(),
        first.name().map(|name| format!(" ({name})")).unwrap_or_default(),
        first.unit().map(|unit| format!(" {unit}")).unwrap_or_default(),
        first.hint().map(|hint| format!("; {hint}")).unwrap_or_default(),
    )
}

/// Names without repeats, "Row 9" before "Row 10".
fn distinct(names: impl Iterator<Item = String>) -> Vec<String> {
    let sorted: BTreeSet<(usize, String)> = names.map(|name| (name.len(), name)).collect();
    sorted.into_iter().map(|(_, name)| name).collect()
}

/// A number without digits that nobody needs.
fn tidy(number: f64) -> String {
    let rounded = format!("{number:.3}");
    rounded.trim_end_matches('0').trim_end_matches('.').to_owned()
}

fn block(file: &str, season: Option<i16>) -> String {
    let file = toml::Value::String(file.to_owned());
    let season = season.map_or("# constants.season = 2025     # ?  the year of planting".to_owned(), |season| {
        format!("constants.season = {season}     # ?  from the times of the logs")
    });
    format!(
        "[[source]]\nfile = {file}\nkind = \"setting_log\"\n{season}\n\
         # timezone = \"America/Chicago\"     # ?  the zone of the machine's clock, where the logs carry no universal time\n\
         # ?  Which channel is the closing force or pressure, the data dictionary cannot say: it has no entry for a closing\n\
         # ?  system. Take ddi, data and element from the list above; * stands for any letters. One block a column.\n\
         # [[source.channel]]\n# column = \"actual_pressure_kpa\"\n# data = \"…\"\n# element = \"…\"\n\
         # [[source.channel]]\n# column = \"speed_m_s\"\n# ddi = \"018D\"\n"
    )
}
