//! `store/`: kept tables, their sources and the manifest.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use arrow::array::{Int64Array, RecordBatch};
use arrow::datatypes::{DataType, Field, Schema};
use evenstand_tables::{Finding, Group, LongTable, Row, SetAside, Sink, Table, TablesError, schema, schemas};
use serde::{Deserialize, Serialize};

use crate::parquet_file::{TableWriter, read_batches, read_table, write_table};
use crate::{StoreError, check_folder, sha256_of_bytes};

/// Version of the layout of `store/`; a store of another version is rebuilt from raw files.
const LAYOUT: u32 = 1;

/// What `ingest` read from one file.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SourceEntry {
    /// Path below `raw/`, with forward slashes.
    pub file: String,
    /// SHA-256 of the file.
    pub sha256: String,
    /// Raw table it was read as.
    pub kind: String,
    /// Number of the `[[source]]` block of the settings that said how, from 1.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub block: Option<usize>,
    /// Rows read; `rows_kept` and `rows_set_aside` add up to it.
    pub rows_read: u64,
    /// Rows kept.
    pub rows_kept: u64,
    /// Rows set aside.
    pub rows_set_aside: u64,
    /// Those among them that the sheet of a plan had ready and nobody filled in.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub rows_left_blank: u64,
}

fn is_zero(rows: &u64) -> bool {
    *rows == 0
}

/// `store/manifest.json`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Manifest {
    /// Version of the layout.
    pub layout: u32,
    /// SHA-256 that stands for the columns of all kept tables.
    #[serde(default)]
    pub columns: String,
    /// What it was read from.
    #[serde(flatten)]
    pub read_from: ReadFrom,
    /// Files read, in the order of their names.
    pub sources: Vec<SourceEntry>,
}

/// What a store was read from: enough to read it again.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct ReadFrom {
    /// The settings file as it stood.
    #[serde(default)]
    pub settings: String,
    /// Everything that lay in `raw/`, in the order of the names.
    #[serde(default)]
    pub inputs: Vec<Input>,
}

/// One file of `raw/`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Input {
    /// Path below `raw/`, with forward slashes.
    pub file: String,
    /// SHA-256 of the file; `None` where it was not read.
    pub sha256: Option<String>,
}

/// SHA-256 that stands for the names and types of all columns of the tables of a group, whatever is said about them.
pub(crate) fn columns_of(group: Group) -> String {
    let tables = schemas().iter().filter(|table| table.group == group);
    let lines = tables.map(|table| {
        let columns: Vec<String> =
            table.arrow().fields().iter().map(|field| format!("{} {}", field.name(), field.data_type())).collect();
        format!("{}: {}\n", table.name, columns.join(", "))
    });
    sha256_of_bytes(lines.collect::<String>().as_bytes())
}

/// Writes a new store. Rows go to `TABLE/season=YEAR/NAME.parquet`, one file a source file and season; the season
/// itself stands in the folder's name alone, as readers of partitioned Parquet expect.
pub struct KeptWriter {
    root: PathBuf,
    source: Option<String>,
    /// How often each source was begun.
    begun: BTreeMap<String, usize>,
    open: BTreeMap<(String, i64), TableWriter>,
    sources: Vec<SourceEntry>,
    /// Rows set aside that are not written yet, and where they go.
    waiting: Vec<SetAside>,
    set_aside: Option<TableWriter>,
    written: Written,
}

/// What was written of one source.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Written {
    /// Files of kept rows, below the store, with forward slashes.
    pub files: Vec<String>,
    /// Rows set aside; `None` where they were too many to keep at hand.
    pub set_aside: Option<Vec<SetAside>>,
}

/// Rows set aside of one source that are kept at hand.
const SET_ASIDE_AT_HAND: usize = 1 << 13;

/// Rows set aside that are in memory at a time.
const SET_ASIDE_ROWS: usize = 1 << 13;

impl KeptWriter {
    /// Starts a store in an empty folder.
    pub fn new(root: &Path) -> Self {
        Self {
            root: root.to_owned(),
            source: None,
            begun: BTreeMap::new(),
            open: BTreeMap::new(),
            sources: Vec::new(),
            waiting: Vec::new(),
            set_aside: None,
            written: Written::default(),
        }
    }

    /// Says which source file the next rows come from. A file that is read several times, such as one table of a sheet after
    /// the other, gives as many files here: none of them takes the place of another.
    pub fn begin_source(&mut self, file: &str) {
        let times = self.begun.entry(file.to_owned()).or_default();
        *times += 1;
        self.source = Some(if *times == 1 { file.to_owned() } else { format!("{file} {times}") });
        self.written = Written { files: Vec::new(), set_aside: Some(Vec::new()) };
    }

    /// Name of the current source's files, without ending.
    pub fn name_of_source(&self) -> String {
        sha256_of_bytes(self.source.as_deref().unwrap_or_default().as_bytes())[..16].to_owned()
    }

    /// Takes what was written of the current source in the `old` store, in place of rows. The files are the same ones where the disk can have a file
    /// under two names; nothing ever writes into a file of a store.
    pub fn take_over(&mut self, old: &Path, written: &Written) -> Result<(), StoreError> {
        for name in &written.files {
            let (from, to) = (old.join(name), self.root.join(name));
            if let Some(folder) = to.parent() {
                fs::create_dir_all(folder).map_err(|error| StoreError::file(folder, &error))?;
            }
            let linked = fs::hard_link(&from, &to).or_else(|_| fs::copy(&from, &to).map(drop));
            linked.map_err(|error| StoreError::file(&from, &error))?;
        }
        self.written.files.extend(written.files.iter().cloned());
        for row in written.set_aside.iter().flatten() {
            self.put_aside(row.clone())?;
        }
        Ok(())
    }

    /// Closes the files of the current source and notes what was read from it. Returns what was written.
    pub fn end_source(&mut self, entry: SourceEntry) -> Result<Written, StoreError> {
        for (_, writer) in std::mem::take(&mut self.open) {
            writer.close()?;
        }
        self.sources.push(entry);
        Ok(std::mem::take(&mut self.written))
    }

    /// Writes findings and the manifest.
    pub fn finish(mut self, findings: &[Finding], read_from: ReadFrom) -> Result<Manifest, StoreError> {
        self.write_set_aside()?;
        if let Some(writer) = self.set_aside.take() {
            writer.close()?;
        }
        self.write_whole("findings", &kept_table(findings, "findings")?)?;
        let mut sources = self.sources;
        sources.sort_by(|a, b| a.file.cmp(&b.file));
        let manifest = Manifest { layout: LAYOUT, columns: columns_of(Group::Kept), read_from, sources };
        let path = self.root.join("manifest.json");
        let text = serde_json::to_string_pretty(&manifest).map_err(|error| StoreError::damaged(&path, error))?;
        fs::write(&path, text + "\n").map_err(|error| StoreError::file(&path, &error))?;
        Ok(manifest)
    }

    fn put_aside(&mut self, row: SetAside) -> Result<(), StoreError> {
        let at_hand = self.written.set_aside.take().filter(|rows| rows.len() < SET_ASIDE_AT_HAND);
        self.written.set_aside = at_hand.map(|mut rows| {
            rows.push(row.clone());
            rows
        });
        self.waiting.push(row);
        if self.waiting.len() < SET_ASIDE_ROWS { Ok(()) } else { self.write_set_aside() }
    }

    /// Writes the rows set aside that are waiting; an empty table where there are none at all.
    fn write_set_aside(&mut self) -> Result<(), StoreError> {
        let batch = kept_table(&std::mem::take(&mut self.waiting), "set_aside")?.batch().clone();
        let writer = match &mut self.set_aside {
            Some(open) => open,
            None => {
                let folder = self.root.join("set_aside");
                fs::create_dir_all(&folder).map_err(|error| StoreError::file(&folder, &error))?;
                self.set_aside.insert(TableWriter::create(&folder.join("set_aside.parquet"), batch.schema())?)
            }
        };
        writer.write(&batch)
    }

    fn write_whole(&self, name: &str, table: &Table) -> Result<(), StoreError> {
        let folder = self.root.join(name);
        fs::create_dir_all(&folder).map_err(|error| StoreError::file(&folder, &error))?;
        write_table(&folder.join(format!("{name}.parquet")), table)
    }

    fn write(&mut self, table: &str, season: i64, batch: &RecordBatch) -> Result<(), StoreError> {
        let columns: Vec<usize> =
            (0..batch.num_columns()).filter(|index| batch.schema().field(*index).name() != "season").collect();
        let batch = batch.project(&columns).map_err(TablesError::from)?;
        let key = (table.to_owned(), season);
        if !self.open.contains_key(&key) {
            let folder = format!("{table}/season={season}");
            let name = format!("{folder}/{}.parquet", self.name_of_source());
            let (folder, path) = (self.root.join(folder), self.root.join(&name));
            fs::create_dir_all(&folder).map_err(|error| StoreError::file(&folder, &error))?;
            self.written.files.push(name);
            self.open.insert(key.clone(), TableWriter::create(&path, batch.schema())?);
        }
        match self.open.get_mut(&key) {
            Some(writer) => writer.write(&batch),
            None => Ok(()),
        }
    }
}

pub(crate) fn kept_table<R: Row>(rows: &[R], name: &str) -> Result<Table, StoreError> {
    Ok(Table::from_batches(schema(Group::Kept, name)?, &[R::to_table(rows)?.batch().clone()])?)
}

impl Sink for KeptWriter {
    fn rows(&mut self, table: &str, season: i64, batch: RecordBatch) -> Result<(), TablesError> {
        self.write(table, season, &batch).map_err(|error| TablesError::Sink(error.to_string()))
    }

    fn set_aside(&mut self, row: SetAside) -> Result<(), TablesError> {
        self.put_aside(row).map_err(|error| TablesError::Sink(error.to_string()))
    }
}

/// Parquet files of one table and season.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SeasonFiles {
    /// Year of planting.
    pub season: i64,
    /// The files, in the order of their names.
    pub files: Vec<PathBuf>,
}

/// Reads a store.
pub struct KeptStore {
    root: PathBuf,
    manifest: Manifest,
    /// The files it was made with, where they were checked; others in its folders are not read.
    listed: Option<BTreeSet<PathBuf>>,
}

impl KeptStore {
    /// Opens a store after holding every file against the digest it was made with. Errors as [`check_folder`], and as [`KeptStore::open`].
    pub fn open_checked(root: &Path) -> Result<Self, StoreError> {
        let checked = check_folder(root)?;
        let listed = checked.names.iter().map(|name| root.join(name)).collect();
        Ok(Self { listed: Some(listed), ..Self::open(root)? })
    }

    /// Opens a store. Errors where there is none or it is of another version.
    pub fn open(root: &Path) -> Result<Self, StoreError> {
        let path = root.join("manifest.json");
        let text = fs::read_to_string(&path).map_err(|error| StoreError::file(&path, &error))?;
        let manifest: Manifest = serde_json::from_str(&text).map_err(|error| StoreError::damaged(&path, error))?;
        if manifest.layout != LAYOUT {
            let other = if manifest.layout > LAYOUT { "a newer" } else { "an older" };
            return Err(StoreError::damaged(
                &path,
                format!("{other} version of evenstand made it: layout {}, expected {LAYOUT}", manifest.layout),
            ));
        }
        if manifest.columns != columns_of(Group::Kept) {
            return Err(StoreError::damaged(
                &path,
                "another version of evenstand made it: its tables have other columns",
            ));
        }
        Ok(Self { root: root.to_owned(), manifest, listed: None })
    }

    /// What was read, file by file.
    pub fn manifest(&self) -> &Manifest {
        &self.manifest
    }

    /// Parquet files of a kept table by season, in a fixed order.
    pub fn season_files(&self, table: &str) -> Result<Vec<SeasonFiles>, StoreError> {
        let folder = self.root.join(table);
        let mut seasons = Vec::new();
        for (name, path) in entries(&folder)? {
            if let Some(season) = name.strip_prefix("season=").and_then(|year| year.parse().ok()) {
                let ours = |path: &PathBuf| self.listed.as_ref().is_none_or(|listed| listed.contains(path));
                seasons.push(SeasonFiles { season, files: entries(&path)?.into_values().filter(ours).collect() });
            }
        }
        Ok(seasons)
    }

    /// All rows of a kept table, by season and source file.
    pub fn read<R: Row>(&self) -> Result<Vec<R>, StoreError> {
        let mut rows = Vec::new();
        self.each_file::<R>(|table| {
            rows.extend(R::from_table(&table)?);
            Ok(())
        })?;
        Ok(rows)
    }

    /// The same, kept as columns: of a network, rows of a long table take several times the room as structs.
    pub fn read_long<R: Row>(&self) -> Result<LongTable<R>, StoreError> {
        let mut rows = LongTable::default();
        self.each_file::<R>(|table| Ok(rows.push(&table)?))?;
        Ok(rows)
    }

    /// Hands over the rows of each file of a kept table, by season and source file.
    fn each_file<R: Row>(&self, mut take: impl FnMut(Table) -> Result<(), StoreError>) -> Result<(), StoreError> {
        let table_schema = schema(Group::Kept, R::TABLE)?;
        for season in self.season_files(R::TABLE)? {
            for file in &season.files {
                let batches: Vec<RecordBatch> = read_batches(file)?
                    .iter()
                    .map(|batch| with_season(batch, season.season))
                    .collect::<Result<_, TablesError>>()?;
                take(Table::from_batches(table_schema, &batches)?)?;
            }
        }
        Ok(())
    }

    /// Rows of `set_aside` or `findings`.
    pub fn read_whole<R: Row>(&self) -> Result<Vec<R>, StoreError> {
        let path = self.root.join(R::TABLE).join(format!("{}.parquet", R::TABLE));
        Ok(R::from_table(&read_table(&path, schema(Group::Kept, R::TABLE)?)?)?)
    }
}

fn with_season(batch: &RecordBatch, season: i64) -> Result<RecordBatch, TablesError> {
    let mut fields: Vec<Arc<Field>> = batch.schema().fields().iter().cloned().collect();
    let mut columns = batch.columns().to_vec();
    fields.push(Arc::new(Field::new("season", DataType::Int64, false)));
    columns.push(Arc::new(Int64Array::from(vec![season; batch.num_rows()])));
    Ok(RecordBatch::try_new(Arc::new(Schema::new(fields)), columns)?)
}

/// Names and paths in a folder, sorted; empty where there is no folder.
fn entries(folder: &Path) -> Result<BTreeMap<String, PathBuf>, StoreError> {
    if !folder.exists() {
        return Ok(BTreeMap::new());
    }
    fs::read_dir(folder)
        .and_then(|list| {
            list.map(|entry| entry.map(|entry| (entry.file_name().to_string_lossy().into_owned(), entry.path())))
                .collect()
        })
        .map_err(|error| StoreError::file(folder, &error))
}

#[cfg(test)]
mod tests {
    use super::*;
    use evenstand_tables::rows::MeasureRow;

    fn measure(season: i64, value: f64) -> MeasureRow {
        MeasureRow {
            field_id: "A".into(),
            season,
            strip_id: "1".into(),
            sample_id: None,
            name: "yield".into(),
            value,
            unit: Some("t/ha".into()),
            better: Some("higher".into()),
            lat: None,
            lon: None,
            source_file: "measure.csv".into(),
            source_row: 2,
            source_sha256: "00".into(),
        }
    }

    #[test]
    fn rows_come_back_by_season_with_the_season_from_the_folder() {
        let base = tempfile::tempdir().unwrap();
        let mut writer = KeptWriter::new(base.path());
        writer.begin_source("measure.csv");
        for row in [measure(2025, 1.5), measure(2024, 2.5)] {
            let batch = MeasureRow::to_table(std::slice::from_ref(&row)).unwrap().batch().clone();
            writer.rows("measure", row.season, batch).unwrap();
        }
        writer
            .end_source(SourceEntry {
                file: "measure.csv".into(),
                sha256: "00".into(),
                kind: "measure".into(),
                block: None,
                rows_read: 2,
                rows_kept: 2,
                rows_set_aside: 0,
                rows_left_blank: 0,
            })
            .unwrap();
        writer.finish(&[Finding::note("x", "y")], ReadFrom::default()).unwrap();
        let store = KeptStore::open(base.path()).unwrap();
        assert_eq!(store.read::<MeasureRow>().unwrap(), vec![measure(2024, 2.5), measure(2025, 1.5)]);
        assert_eq!(store.read_whole::<Finding>().unwrap(), vec![Finding::note("x", "y")]);
        assert_eq!(store.manifest().sources[0].rows_kept, 2);
    }

    #[test]
    fn a_file_that_is_read_twice_keeps_the_rows_of_both_times() {
        let base = tempfile::tempdir().unwrap();
        let mut writer = KeptWriter::new(base.path());
        for value in [1.5, 2.5] {
            writer.begin_source("book.xlsx measure");
            let batch = MeasureRow::to_table(&[measure(2025, value)]).unwrap().batch().clone();
            writer.rows("measure", 2025, batch).unwrap();
            writer
                .end_source(SourceEntry {
                    file: "book.xlsx".into(),
                    sha256: "00".into(),
                    kind: "measure".into(),
                    block: None,
                    rows_read: 1,
                    rows_kept: 1,
                    rows_set_aside: 0,
                    rows_left_blank: 0,
                })
                .unwrap();
        }
        writer.finish(&[], ReadFrom::default()).unwrap();
        let store = KeptStore::open(base.path()).unwrap();
        let mut values: Vec<f64> = store.read::<MeasureRow>().unwrap().iter().map(|row| row.value).collect();
        values.sort_by(f64::total_cmp);
        assert_eq!(values, [1.5, 2.5]);
    }

    #[test]
    fn a_truncated_file_is_named_as_damaged() {
        let base = tempfile::tempdir().unwrap();
        let writer = KeptWriter::new(base.path());
        writer.finish(&[], ReadFrom::default()).unwrap();
        let path = base.path().join("findings/findings.parquet");
        let bytes = fs::read(&path).unwrap();
        fs::write(&path, &bytes[..bytes.len() / 2]).unwrap();
        let message = KeptStore::open(base.path()).unwrap().read_whole::<Finding>().unwrap_err().to_string();
        assert!(message.contains("findings.parquet") && message.contains("ingest"), "{message}");
    }
}
