//! Time logs of ISO 11783-10 task data as rows of a setting log.
//!
//! The data dictionary names no closing system, so nothing is taken by its number alone: the channels of a `[[source]]`
//! block say what is what. Each machine part that a channel fits becomes a row unit; a channel that fits one part alone,
//! such as a pressure of the whole planter, stands in the rows of all of them.

use std::collections::{BTreeMap, BTreeSet};

use evenstand_agronomy::Kind;
use evenstand_bundle::Bundle;
use evenstand_settings::ChannelRule;
use evenstand_tables::{Finding, Group, schema};
use evenstand_taskdata::{Carried, Channel, DEFAULT_GAP, LogReader, Notice, TaskData, TaskDataError};

use crate::IngestError;
use crate::file_report::{FileReport, Source, Surroundings};
use crate::mapped_header::column_of_ours;
use crate::mapping::{Mapping, name_fits};
use crate::record::{OwnedCell, Record, TableReader};
use crate::table_file::read_table;

/// Reads the logs of task data that hold channels of the block; each log is a table of its own.
///
/// Errors where the task data cannot be read as a whole, or the sink fails.
pub fn read_task_data(source: &Source, bundle: &mut Bundle, around: Surroundings) -> Result<FileReport, IngestError> {
    let refused = |problem: String, remedy: &str| IngestError::Format {
        file: source.file.clone(),
        problem,
        remedy: remedy.to_owned(),
    };
    let data = TaskData::open(bundle).map_err(|error| {
        let remedy = match error {
            TaskDataError::SeveralTaskData { .. } => "put each set into a folder or an archive of its own below raw/",
            _ => "copy or export it again",
        };
        refused(error.to_string(), remedy)
    })?;
    if data.logs.is_empty() {
        return Ok(without_logs(source, &data));
    }
    let Some(mapping) = around.mapping.filter(|mapping| mapping.names_channels()) else {
        return Err(refused(
            "these are task data, and nothing says which channel is the closing force or pressure".into(),
            "run `evenstand check`: it lists the channels and proposes a [[source]] block",
        ));
    };
    for rule in &mapping.rule.channel {
        let schema = schema(Group::Raw, source.kind)?;
        column_of_ours(schema, &rule.column, None, &around.settings.default_units, "channel")
            .map_err(|fault| refused(fault.message, &fault.remedy))?;
    }
    let mut report = FileReport::default();
    report.findings.extend(data.notices.iter().map(|notice| finding(source, notice)));
    let mut unmatched: BTreeSet<usize> = (0..mapping.rule.channel.len()).collect();
    for log in data.logs() {
        let mut reader = match data.read_log(bundle, log.position) {
            Ok(reader) => reader,
            Err(error) => {
                let lost = Finding::error("unreadable_file", format!("{error}; nothing of this log was read"));
                let lost = lost.table(source.kind).source(&source.file, None);
                report.findings.push(lost.remedy("copy the log from the terminal again"));
                continue;
            }
        };
        let name = log.log.name.clone();
        let chosen = choose(&name, reader.channels(), &mapping.rule.channel);
        if chosen.is_empty() {
            continue;
        }
        for (rule, channel) in &chosen {
            unmatched.remove(rule);
            let column = &mapping.rule.channel[*rule].column;
            if let Some(hint) = channel.hint().filter(|_| !column.starts_with("row_downforce")) {
                report.findings.push(caution(source, &mapping.rule.channel[*rule], channel, hint));
            }
        }
        let part = Source { file: format!("{}/{name}", source.file), ..source.clone() };
        let field = log.field.map(|field| field.designator.clone().unwrap_or_else(|| field.id.clone()));
        let mut table = TaskLog::new(&mut reader, &mapping.rule.channel, &chosen, field, mapping)
            .map_err(|problem| refused(problem, "correct the [[source]] block of evenstand.toml"))?;
        let around = Surroundings {
            mapping: Some(mapping),
            settings: around.settings,
            whereabouts: around.whereabouts,
            zones: around.zones,
            sink: around.sink,
        };
        let read = read_table(&part, &mut table, around)?;
        report.findings.extend(reader.notices().iter().map(|notice| finding(&part, notice)));
        report.add(read);
    }
    for rule in unmatched {
        report.findings.push(
            Finding::error(
                "channel_not_found",
                format!("no log holds a channel like {}", told(&mapping.rule.channel[rule])),
            )
            .table(source.kind)
            .source(&source.file, None)
            .remedy("run `evenstand check`: it lists the channels of the file as they are called there"),
        );
    }
    report.findings.dedup();
    Ok(report)
}

/// What is said of task data that hold plans, fields and machines at most.
fn without_logs(source: &Source, data: &TaskData) -> FileReport {
    let mut report = FileReport::default();
    report.findings.extend(data.notices.iter().map(|notice| finding(source, notice)));
    report.findings.push(
        Finding::error(
            "no_log",
            format!(
                "these task data hold no log of work done (no TLG; tasks: {}, fields: {}, machines: {}); nothing of this \
                 file was read",
                data.tasks.len(),
                data.fields.len(),
                data.devices.len()
            ),
        )
        .table(source.kind)
        .source(&source.file, None)
        .remedy("copy them from the terminal again after the work; remove them from raw/ if they are only a plan"),
    );
    report
}

/// Channels of a log that rules ask for, with the position of the rule.
fn choose(log: &str, channels: &[Channel], rules: &[ChannelRule]) -> Vec<(usize, Channel)> {
    let fits = |pattern: &Option<String>, names: &[&str]| {
        pattern.as_ref().is_none_or(|pattern| names.iter().any(|name| name_fits(pattern, name)))
    };
    let mut chosen = Vec::new();
    for (place, rule) in rules.iter().enumerate() {
        for channel in channels {
            let path = channel.path();
            let element = [channel.element.as_deref().unwrap_or_default(), &channel.element_id, &path];
            let ddi = channel.ddi.map(|ddi| format!("{ddi:04X}")).unwrap_or_default();
            if fits(&rule.log, &[log])
                && fits(&rule.element, &element)
                && fits(&rule.data, &[channel.designator.as_deref().unwrap_or_default()])
                && fits(&rule.ddi, &[&ddi])
            {
                chosen.push((place, channel.clone()));
            }
        }
    }
    chosen
}

/// A log as a table: one row a record and row unit, values held until they change.
struct TaskLog<'a> {
    reader: &'a mut LogReader,
    carried: Carried,
    /// What each channel becomes: column of the table, and how its value is told in the column's unit.
    columns: Vec<(usize, Telling)>,
    /// Names of the columns, in their order behind time and place.
    names: Vec<String>,
    field: Option<String>,
    /// Row units, and the channels of each.
    units: Vec<(Option<String>, Vec<usize>)>,
    header: bool,
    /// Rows of the current record.
    waiting: std::vec::IntoIter<Vec<OwnedCell>>,
    current: Vec<OwnedCell>,
    number: i64,
}

/// How a channel's value becomes a number in the unit of its column.
#[derive(Clone, Copy)]
enum Telling {
    /// By the dictionary, in a unit of the International System; divided by this, in the kept unit; then in this unit.
    Dictionary { kept_per: f64, kind: Option<(Kind, &'static str)> },
    /// As the machine shows it.
    Shown,
}

impl<'a> TaskLog<'a> {
    fn new(
        reader: &'a mut LogReader,
        rules: &[ChannelRule],
        chosen: &[(usize, Channel)],
        field: Option<String>,
        mapping: &Mapping,
    ) -> Result<Self, String> {
        let mut names: Vec<String> = Vec::new();
        let mut columns = Vec::new();
        let mut by_unit: BTreeMap<Option<String>, Vec<usize>> = BTreeMap::new();
        for (place, (rule, channel)) in chosen.iter().enumerate() {
            let name = &rules[*rule].column;
            let column = names.iter().position(|known| known == name).unwrap_or_else(|| {
                names.push(name.clone());
                names.len() - 1
            });
            columns.push((column, telling(name, channel)?));
            let alone = chosen.iter().filter(|(other, _)| other == rule).count() == 1;
            let unit = (!alone).then(|| channel.element.as_deref().unwrap_or(&channel.element_id).to_owned());
            by_unit.entry(unit).or_default().push(place);
        }
        let common = by_unit.remove(&None).unwrap_or_default();
        let mut units: Vec<(Option<String>, Vec<usize>)> =
            by_unit.into_iter().map(|(unit, own)| (unit, common.iter().copied().chain(own).collect())).collect();
        if units.is_empty() {
            units.push((None, common));
        }
        let channels: Vec<Channel> = chosen.iter().map(|(_, channel)| channel.clone()).collect();
        let field = field.filter(|_| !mapping.rule.constants.contains_key("field_id"));
        Ok(Self {
            carried: Carried::new(&channels, DEFAULT_GAP),
            reader,
            columns,
            names,
            field,
            units,
            header: true,
            waiting: Vec::new().into_iter(),
            current: Vec::new(),
            number: 0,
        })
    }

    fn header(&self) -> Vec<OwnedCell> {
        let fixed = ["time", "lat", "lon", "row_unit", "field_id"].map(str::to_owned);
        fixed.iter().chain(&self.names).map(|name| OwnedCell::Text(name.clone())).collect()
    }
}

impl TableReader for TaskLog<'_> {
    fn next(&mut self) -> Result<Option<(i64, &dyn Record)>, IngestError> {
        if std::mem::take(&mut self.header) {
            self.current = self.header();
            return Ok(Some((0, &self.current)));
        }
        loop {
            if let Some(row) = self.waiting.next() {
                self.current = row;
                return Ok(Some((self.number, &self.current)));
            }
            let Some(record) = self.reader.next_record() else { return Ok(None) };
            self.carried.update(record);
            self.number = record.number as i64;
            let number = |value: Option<f64>| value.map_or(OwnedCell::Empty, OwnedCell::Number);
            let time = match (record.utc, record.local) {
                (Some(utc), _) => OwnedCell::Instant(utc.as_microsecond()),
                (None, Some(local)) => OwnedCell::Moment(local),
                (None, None) => OwnedCell::Text("no readable time".into()),
            };
            let field = self.field.clone().map_or(OwnedCell::Empty, OwnedCell::Text);
            let mut rows = Vec::new();
            for (unit, channels) in &self.units {
                let mut values = vec![OwnedCell::Empty; self.names.len()];
                for place in channels {
                    let (column, telling) = self.columns[*place];
                    if let Some(value) = tell(&self.carried, *place, telling) {
                        values[column] = OwnedCell::Number(value);
                    }
                }
                if values.iter().all(|value| *value == OwnedCell::Empty) {
                    continue;
                }
                let unit = unit.clone().map_or(OwnedCell::Empty, OwnedCell::Text);
                let fixed = [time.clone(), number(record.latitude), number(record.longitude), unit, field.clone()];
                rows.push(fixed.into_iter().chain(values).collect());
            }
            self.waiting = rows.into_iter();
        }
    }
}

/// How a channel is told in the unit that a column's name ends in. Errors where the two do not measure the same.
fn telling(column: &str, channel: &Channel) -> Result<Telling, String> {
    let unit = Kind::ALL.into_iter().find_map(|kind| Some((kind, kind.split_column(column)?.suffix)));
    let Some((_, si)) = channel.quantity() else { return Ok(Telling::Shown) };
    let (wanted, kept_per) = match si {
        "N" => (Some(Kind::Force), 1.0),
        "Pa" => (Some(Kind::Pressure), 1000.0),
        "m" => (Some(Kind::Length), 1.0),
        "m/s" => (Some(Kind::Speed), 1.0),
        _ => (None, 1.0),
    };
    match (unit, wanted) {
        (Some((kind, suffix)), Some(wanted)) if kind == wanted => {
            Ok(Telling::Dictionary { kept_per, kind: Some((kind, suffix)) })
        }
        (Some((kind, _)), Some(wanted)) => Err(format!(
            "the channel \"{}\" of {} measures {} by the dictionary, and {column} wants {}",
            channel.designator.as_deref().unwrap_or("without a name"),
            channel.path(),
            wanted.name(),
            kind.name()
        )),
        _ => Ok(Telling::Dictionary { kept_per, kind: None }),
    }
}

fn tell(carried: &Carried, place: usize, telling: Telling) -> Option<f64> {
    match telling {
        Telling::Shown => carried.shown(place),
        Telling::Dictionary { kept_per, kind } => {
            let kept = carried.quantity(place)? / kept_per;
            match kind {
                Some((kind, suffix)) => kind.from_kept(suffix, kept),
                None => Some(kept),
            }
        }
    }
}

fn told(rule: &ChannelRule) -> String {
    let parts = [("element", &rule.element), ("data", &rule.data), ("ddi", &rule.ddi), ("log", &rule.log)];
    let asked: Vec<String> =
        parts.iter().filter_map(|(key, value)| Some(format!("{key} = \"{}\"", value.as_ref()?))).collect();
    format!("{} ({})", rule.column, asked.join(", "))
}

/// What a person should remember who takes a channel for the closing system's.
fn caution(source: &Source, rule: &ChannelRule, channel: &Channel, hint: &str) -> Finding {
    let (name, path) = (channel.designator.as_deref().unwrap_or("without a name"), channel.parents.join(" > "));
    Finding::note(
        "channel_taken_as_said",
        format!(
            "the channel \"{name}\" under {path} is taken as {}, as the [[source]] block says: {hint}",
            rule.column
        ),
    )
    .table(source.kind)
    .source(&source.file, None)
    .remedy("nothing need be done if the block is right; row unit or gauge wheel downforce goes to row_downforce")
}

fn finding(source: &Source, notice: &Notice) -> Finding {
    let times = if notice.count > 1 { format!(" ({} times)", notice.count) } else { String::new() };
    Finding::note(notice.code, format!("{}: {}{times}", notice.place, notice.message))
        .table(source.kind)
        .source(&source.file, None)
        .remedy(notice.remedy)
}
