//! Rows that name no strip find it by place, or by time.

use std::collections::BTreeMap;

use evenstand_places::{Cursor, Options, Place, PlaceError, Strip, StripMap};
use evenstand_tables::{Finding, TableSchema};

use crate::row::{RowFault, column_of, text_of};
use crate::value::Value;

/// When a planter was in a strip, in microseconds since 1970 UTC; the end is outside.
#[derive(Debug, Clone, PartialEq)]
pub struct StripTime {
    /// The field.
    pub field_id: String,
    /// Year of planting.
    pub season: i64,
    /// The strip.
    pub strip_id: String,
    /// First moment inside.
    pub started: i64,
    /// First moment after.
    pub ended: i64,
}

/// Where and when the strips of a review were planted.
#[derive(Debug, Default)]
pub struct Whereabouts {
    map: Option<StripMap>,
    /// By field and season, in the order of their start.
    times: BTreeMap<(String, i64), Vec<StripTime>>,
}

impl Whereabouts {
    /// Of strips drawn as polygons and strips with a start and an end. `buffer_m` is the error of positions in metres.
    /// Errors where it is not within 0 to 100 m.
    pub fn new(strips: Vec<Strip>, times: Vec<StripTime>, buffer_m: f64) -> Result<Self, PlaceError> {
        let map = if strips.is_empty() { None } else { Some(StripMap::new(strips, Options { buffer_m })?) };
        let mut by_field: BTreeMap<(String, i64), Vec<StripTime>> = BTreeMap::new();
        for time in times {
            by_field.entry((time.field_id.clone(), time.season)).or_default().push(time);
        }
        for times in by_field.values_mut() {
            times.sort_by(|left, right| (left.started, &left.strip_id).cmp(&(right.started, &right.strip_id)));
        }
        Ok(Self { map, times: by_field })
    }

    /// Strips that overlap by more than the error of positions excuses, as findings.
    pub fn findings(&self) -> Vec<Finding> {
        let overlaps = self.map.iter().flat_map(StripMap::overlaps);
        let backwards = self.times.values().flatten().filter(|time| time.ended <= time.started).map(|time| {
            Finding::warning(
                "strip_ends_before_it_begins",
                "ended_at is not after started_at; no telemetry finds the strip by its time",
            )
            .table("strip")
            .field(&time.field_id, time.season)
            .strip(&time.strip_id)
            .remedy("correct one of the two times")
        });
        let overlapping = overlaps
            .map(|overlap| {
                let (left, right) = (overlap.first, overlap.second);
                let finding = Finding::warning(
                    "strips_overlap",
                    format!(
                        "the outlines of the strips {} and {} lie over each other on {:.0} m²; points there are in two strips and count for neither",
                        left.strip_id, right.strip_id, overlap.area_m2
                    ),
                );
                let finding = match (&left.field_id, left.season) {
                    (Some(field), Some(season)) => finding.field(field, season),
                    _ => finding,
                };
                finding.table("strip").remedy("correct the outlines, or drop one if both draw the same strip")
            });
        backwards.chain(overlapping).collect()
    }

    /// Whether a row that names no strip may find one.
    pub(crate) fn knows_any(&self) -> bool {
        self.map.is_some() || !self.times.is_empty()
    }

    /// Whether a row finds its strip by nothing but itself: by time alone. Where places are known, the rows before tell the field
    /// of one that lies outside.
    pub(crate) fn knows_each_alone(&self) -> bool {
        self.map.is_none()
    }

    /// Field and season of the strips, where all are of one.
    fn only_field(&self) -> Option<(Option<&str>, Option<i64>)> {
        let mut fields =
            self.map.iter().flat_map(StripMap::strips).map(|strip| (strip.field_id.as_deref(), strip.season));
        let first = fields.next()?;
        fields.all(|field| field == first).then_some(first)
    }

    /// Columns that a row may lack because place or time gives them.
    pub(crate) fn gives(&self, schema: &TableSchema, is_fed: &dyn Fn(&str) -> bool) -> Vec<&'static str> {
        let by_place = self.map.is_some() && is_fed("lat") && is_fed("lon");
        let by_time = !self.times.is_empty() && schema.name == "setting_log" && is_fed("time");
        match (by_place, by_time) {
            (true, _) => vec!["strip_id", "field_id", "season"],
            (false, true) => vec!["strip_id"],
            _ => Vec::new(),
        }
    }
}

/// What became of rows that named no strip, for one file.
#[derive(Debug, Default, Clone, PartialEq, Eq)]
pub(crate) struct Tally {
    found: u64,
    near_border: u64,
    outside: u64,
    in_two: u64,
}

/// Finds strips for the rows of one file.
pub(crate) struct Finder<'a> {
    whereabouts: &'a Whereabouts,
    schema: &'static TableSchema,
    /// The column that may be filled in; none in the table of strips itself.
    strip_column: Option<usize>,
    cursor: Option<Cursor<'a>>,
    /// Field and season of the strip found last: a planter that leaves a strip is still in its field.
    last: Option<(Option<&'a str>, Option<i64>)>,
    tally: Tally,
}

impl<'a> Finder<'a> {
    pub fn new(whereabouts: &'a Whereabouts, schema: &'static TableSchema) -> Self {
        let strip_column = column_of(schema, "strip_id").filter(|_| schema.name != "strip");
        let cursor = whereabouts.map.as_ref().map(StripMap::cursor);
        Self { whereabouts, schema, strip_column, cursor, last: whereabouts.only_field(), tally: Tally::default() }
    }

    /// What became of the rows.
    pub fn into_tally(self) -> Tally {
        self.tally
    }

    /// Counts rows that another finder filled in.
    pub fn count(&mut self, tally: &Tally) {
        self.tally.found += tally.found;
        self.tally.near_border += tally.near_border;
        self.tally.outside += tally.outside;
        self.tally.in_two += tally.in_two;
    }

    /// Fills in strip, field and season of a row that names no strip. Errors where its table cannot do without one and its
    /// place or time is in none or in two.
    pub fn fill<'r>(&mut self, values: &mut [Value<'r>]) -> Result<(), RowFault>
    where
        'a: 'r,
    {
        let schema = self.schema;
        let Some(strip_column) = self.strip_column.filter(|column| values[*column] == Value::Missing) else {
            return Ok(());
        };
        let found = match self.by_place(schema, values) {
            Some(found) => found,
            None => match self.by_time(schema, values) {
                Some(found) => found,
                None => return Ok(()),
            },
        };
        let fault = match found {
            Found::Strip { strip_id, field_id, season, near_border } => {
                self.tally.found += 1;
                self.tally.near_border += u64::from(near_border);
                values[strip_column] = Value::Text(strip_id);
                if field_id.is_some() || season.is_some() {
                    self.last = Some((field_id, season));
                }
                fill_field(schema, values, field_id, season);
                return Ok(());
            }
            Found::InTwo(names) => {
                self.tally.in_two += 1;
                ("in_two_strips", format!("its place or time lies in two strips ({names})"))
            }
            Found::Outside => {
                self.tally.outside += 1;
                ("outside_strips", "its place or time lies in no strip".to_owned())
            }
        };
        if schema.columns[strip_column].required() {
            return Err(RowFault {
                code: fault.0,
                message: format!("the row names no strip, and {}", fault.1),
                remedy: "write its strip_id, or correct its lat and lon, or the outlines of the strips".into(),
            });
        }
        if let Some((field_id, season)) = self.last {
            fill_field(schema, values, field_id, season);
        }
        Ok(())
    }

    fn by_place(&mut self, schema: &TableSchema, values: &[Value]) -> Option<Found<'a>> {
        let number = |name: &str| match values[column_of(schema, name)?] {
            Value::Number(number) => Some(number),
            _ => None,
        };
        let (lat, lon) = (number("lat")?, number("lon")?);
        let season = match values[column_of(schema, "season")?] {
            Value::Integer(season) => Some(season),
            _ => None,
        };
        let field = Some(text_of(values, schema, "field_id")).filter(|field| !field.is_empty());
        Some(match self.cursor.as_mut()?.find(lon, lat, season, field) {
            Place::In { strip, near_border } => Found::of(strip, near_border),
            Place::Near(strip) => Found::of(strip, true),
            Place::Between(strips) => {
                Found::InTwo(strips.iter().map(|strip| strip.strip_id.as_str()).collect::<Vec<_>>().join(", "))
            }
            Place::Outside => Found::Outside,
        })
    }

    fn by_time(&self, schema: &TableSchema, values: &[Value]) -> Option<Found<'a>> {
        let Value::Moment { microseconds, .. } = values[column_of(schema, "time")?] else { return None };
        let Value::Integer(season) = values[column_of(schema, "season")?] else { return None };
        let times = self.whereabouts.times.get(&(text_of(values, schema, "field_id").to_owned(), season))?;
        let begun = times.partition_point(|time| time.started <= microseconds);
        let mut inside = times[..begun].iter().filter(|time| microseconds < time.ended);
        Some(match (inside.next(), inside.next()) {
            (None, _) => Found::Outside,
            (Some(time), None) => {
                Found::Strip { strip_id: &time.strip_id, field_id: None, season: None, near_border: false }
            }
            (Some(one), Some(other)) => Found::InTwo(format!("{}, {}", one.strip_id, other.strip_id)),
        })
    }

    /// What a person should know about rows that named no strip. Rows outside are set aside where a strip is needed.
    pub fn findings(&self, kind: &str) -> Vec<Finding> {
        let all = self.tally.found + self.tally.outside + self.tally.in_two;
        let mut findings = Vec::new();
        if self.tally.outside > 0 && all > 0 {
            let text =
                format!("{} of {all} rows that name no strip lie in none by their place or time", self.tally.outside);
            let finding = if self.tally.found == 0 {
                Finding::warning("outside_strips", format!("{text}: not one was found")).remedy(
                    "check that latitude and longitude are not swapped, and that strips and rows are of one field",
                )
            } else {
                Finding::note("outside_strips", text).remedy("nothing need be done where these are headlands or turns")
            };
            findings.push(finding);
        }
        if self.tally.in_two > 0 {
            findings.push(
                Finding::warning(
                    "in_two_strips",
                    format!("{} of {all} rows lie in two strips and count for neither", self.tally.in_two),
                )
                .remedy("correct the outlines or times of the strips"),
            );
        }
        if self.tally.near_border > 0 {
            findings.push(
                Finding::note(
                    "near_border",
                    format!("{} of {all} rows lie so near another strip, or just outside their own, that the error of positions could have hidden the truth", self.tally.near_border),
                )
                .remedy("nothing need be done where these are few; [place] buffer_m in evenstand.toml is the error of positions"),
            );
        }
        findings.into_iter().map(|finding| finding.table(kind)).collect()
    }
}

/// Fills in field and season where the row lacks them.
fn fill_field<'r>(schema: &TableSchema, values: &mut [Value<'r>], field_id: Option<&'r str>, season: Option<i64>) {
    let mut fill = |name: &str, value: Option<Value<'r>>| {
        if let (Some(index), Some(value)) = (column_of(schema, name), value)
            && values[index] == Value::Missing
        {
            values[index] = value;
        }
    };
    fill("field_id", field_id.map(Value::Text));
    fill("season", season.map(Value::Integer));
}

enum Found<'a> {
    Strip { strip_id: &'a str, field_id: Option<&'a str>, season: Option<i64>, near_border: bool },
    InTwo(String),
    Outside,
}

impl<'a> Found<'a> {
    fn of(strip: &'a Strip, near_border: bool) -> Self {
        Found::Strip {
            strip_id: &strip.strip_id,
            field_id: strip.field_id.as_deref(),
            season: strip.season,
            near_border,
        }
    }
}

/// When the planter was in a strip, where its row says both.
pub(crate) fn strip_time(schema: &TableSchema, values: &[Value]) -> Option<StripTime> {
    let moment = |name: &str| match values[column_of(schema, name)?] {
        Value::Moment { microseconds, .. } => Some(microseconds),
        _ => None,
    };
    let Value::Integer(season) = values[column_of(schema, "season")?] else { return None };
    let (started, ended) = (moment("started_at")?, moment("ended_at")?);
    let text = |name: &str| text_of(values, schema, name).to_owned();
    Some(StripTime { field_id: text("field_id"), season, strip_id: text("strip_id"), started, ended })
}
