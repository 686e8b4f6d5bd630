//! The set as a whole: one TASKDATA.XML and the files it links to.

use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::sync::Arc;

use evenstand_bundle::Bundle;

use crate::TaskDataError;
use crate::device::{Device, Element};
use crate::field::{Farm, Field};
use crate::files::{Files, folder_of, read};
use crate::node::Node;
use crate::notice::{Notice, Notices};
use crate::task::{Log, Task};
use crate::xml::{self, Budget};

/// What task data say of machines, places and work. The logs are read one by one, from the same bundle.
#[derive(Debug, Clone, PartialEq)]
pub struct TaskData {
    /// Where its `TASKDATA.XML` is in the bundle.
    pub file: String,
    /// Version of the format, major and minor, where written.
    pub version: (Option<u8>, Option<u8>),
    /// Machines.
    pub devices: Vec<Device>,
    /// Farms.
    pub farms: Vec<Farm>,
    /// Fields.
    pub fields: Vec<Field>,
    /// Work planned and done.
    pub tasks: Vec<Task>,
    /// Time logs: those that tasks name in the order of the tasks, then those that no task names.
    pub logs: Vec<Log>,
    /// What was noticed.
    pub notices: Vec<Notice>,
    /// Machine and part by the part's id.
    elements: BTreeMap<Arc<str>, (usize, usize)>,
    /// Field by its id.
    field_ids: BTreeMap<String, usize>,
}

/// A log with its task and field, where they are known.
#[derive(Debug, Clone, Copy)]
pub struct LogPlace<'a> {
    /// Position in [`TaskData::logs`], by which the log is read.
    pub position: usize,
    /// The log.
    pub log: &'a Log,
    /// Its task.
    pub task: Option<&'a Task>,
    /// The field of the task.
    pub field: Option<&'a Field>,
}

impl TaskData {
    /// Where task data are in a bundle: the names of its `TASKDATA.XML` files, in whatever case they are written.
    pub fn places(bundle: &Bundle) -> Vec<String> {
        bundle.find("TASKDATA.XML")
    }

    /// Reads the one set of task data of a bundle, without its logs.
    ///
    /// Errors where there is none or more than one, where `TASKDATA.XML` is damaged, where an id is repeated or a file holds too
    /// much. A linked file that is missing or damaged is a notice.
    pub fn open(bundle: &mut Bundle) -> Result<Self, TaskDataError> {
        let mut paths = Self::places(bundle);
        match (paths.pop(), paths.is_empty()) {
            (Some(only), true) => Self::open_at(bundle, &only),
            (Some(last), false) => {
                paths.push(last);
                Err(TaskDataError::SeveralTaskData { paths })
            }
            (None, _) => {
                let example = bundle.names().first().cloned();
                Err(TaskDataError::NoTaskData { files: bundle.names().len(), example })
            }
        }
    }

    /// Reads the set whose `TASKDATA.XML` is `file`, one of [`TaskData::places`]. Errors as [`TaskData::open`].
    pub fn open_at(bundle: &mut Bundle, file: &str) -> Result<Self, TaskDataError> {
        let (files, folder) = (Files::of(bundle), folder_of(file).to_owned());
        let mut set = Set { files: &files, folder: &folder, notices: Notices::default() };
        let (version, documents) = set.documents(bundle, file)?;
        let nodes =
            || documents.iter().flat_map(|(file, root)| root.children.iter().map(move |node| (file.as_str(), node)));
        let of = |name: &'static str| nodes().filter(move |(_, node)| node.name == name);

        let (mut devices, mut parts) = (Vec::new(), 0);
        for (file, node) in of("DVC") {
            devices.push(Device::read(node, file, &mut parts, &mut set.notices)?);
        }
        let farms = of("FRM").map(|(_, node)| Farm::read(node)).collect();
        let fields: Vec<Field> = of("PFD").map(|(file, node)| Field::read(node, file, &mut set.notices)).collect();
        let field_ids: BTreeMap<String, usize> =
            fields.iter().enumerate().map(|(position, field)| (field.id.clone(), position)).collect();
        let (mut tasks, mut logs) = (Vec::new(), Vec::new());
        let mut known = BTreeMap::new();
        for (file, node) in of("TSK") {
            let mut task = Task::read(node, file, &mut set.notices);
            set.check_references(&task, &field_ids, node, file);
            for log in node.all("TLG") {
                task.logs.extend(set.log(log, file, tasks.len(), &mut logs, &mut known));
            }
            tasks.push(task);
        }
        set.add_unnamed_logs(&mut logs, &known);
        if !matches!(version.0, Some(3 | 4)) {
            let found = version.0.map_or("none".to_owned(), |major| major.to_string());
            let message =
                format!("the version of the format is {found}, where 3 or 4 is expected; it is read as these are");
            set.notices.add("version_unknown", file, message, "compare some values with what the terminal shows");
        }
        let mut elements = BTreeMap::new();
        for (at, device) in devices.iter().enumerate() {
            elements.extend(device.elements.iter().enumerate().map(|(part, element)| (element.id.clone(), (at, part))));
        }
        let notices = set.notices.into_list();
        Ok(Self { file: file.to_owned(), version, devices, farms, fields, tasks, logs, notices, elements, field_ids })
    }

    /// Each time log with its task and field.
    pub fn logs(&self) -> impl Iterator<Item = LogPlace<'_>> {
        self.logs.iter().enumerate().map(|(position, log)| {
            let task = log.task.and_then(|task| self.tasks.get(task));
            let field = task.and_then(|task| self.field(task.field.as_deref()?));
            LogPlace { position, log, task, field }
        })
    }

    /// The field with this id.
    pub fn field(&self, id: &str) -> Option<&Field> {
        self.fields.get(*self.field_ids.get(id)?)
    }

    /// The machine part with this id, and its machine.
    pub fn element(&self, id: &str) -> Option<(&Device, &Element)> {
        let (device, element) = self.elements.get(id)?;
        let device = self.devices.get(*device)?;
        Some((device, device.elements.get(*element)?))
    }
}

/// What is at hand while a set is read.
struct Set<'a> {
    files: &'a Files,
    folder: &'a str,
    notices: Notices,
}

type Version = (Option<u8>, Option<u8>);

impl Set<'_> {
    /// The first file and all that it links to, each once.
    fn documents(&mut self, bundle: &mut Bundle, file: &str) -> Result<(Version, Vec<(String, Node)>), TaskDataError> {
        let mut budget = Budget::default();
        let (mut version, mut documents) = ((None, None), Vec::new());
        let (mut queue, mut seen) = (VecDeque::from([file.to_owned()]), BTreeSet::from([file.to_owned()]));
        while let Some(file) = queue.pop_front() {
            // The first file is read or the set is refused, so all that come later are linked.
            let linked = !documents.is_empty();
            let expected = if linked { "XFC" } else { "ISO11783_TaskData" };
            let bytes = read(bundle, &file)?;
            let document = match xml::read(&bytes, &file, expected, &mut budget, &mut self.notices) {
                Ok(document) => document,
                // One damaged file of many does not take the logs along; they are found by their own names if need be.
                Err(error) if linked && error.is_damage() => {
                    let message = format!("it cannot be read, and what it holds is missing: {error}");
                    self.notices.add("linked_file_unreadable", file, message, "copy it from the terminal again");
                    continue;
                }
                Err(error) => return Err(error),
            };
            if !linked {
                version = document.version;
            }
            for link in document.root.all("XFR") {
                let Some(stem) = link.text(b'A') else { continue };
                match self.files.find(self.folder, stem, "XML") {
                    Some(linked) if seen.insert(linked.clone()) => queue.push_back(linked),
                    Some(_) => {}
                    None => {
                        let message = format!("the linked file {stem}.XML is not there; what it holds is missing");
                        let place = format!("{file}, line {}", link.line);
                        self.notices.add("linked_file_missing", place, message, "copy all files from the terminal");
                    }
                }
            }
            documents.push((file, document.root));
        }
        Ok((version, documents))
    }

    fn check_references(&mut self, task: &Task, fields: &BTreeMap<String, usize>, node: &Node, file: &str) {
        let place = format!("{file}, line {}", node.line);
        if let Some(id) = task.field.as_deref().filter(|id| !fields.contains_key(*id)) {
            let message = format!("the task {} names the field {id}, which is not in the data", task.id);
            self.notices.add("field_missing", place.clone(), message, "say which field it was");
        }
        for grid in node.all("GRD").filter_map(|grid| grid.text(b'G')) {
            if self.files.find(self.folder, grid, "BIN").is_none() {
                let message = format!(
                    "the task {} has the prescription grid {grid}, but there is no {grid}.BIN; logs are read without it",
                    task.id
                );
                let remedy = "copy the grid from the terminal or the planning program if the prescription matters";
                self.notices.add("grid_missing", place.clone(), message, remedy);
            }
        }
    }

    /// Position of the log that `node` names, which is added where it is new.
    fn log(
        &mut self,
        node: &Node,
        file: &str,
        task: usize,
        logs: &mut Vec<Log>,
        known: &mut BTreeMap<String, usize>,
    ) -> Option<usize> {
        let name = node.text(b'A')?.to_owned();
        let place = format!("{file}, line {}", node.line);
        if let Some(position) = known.get(&name.to_lowercase()) {
            let message = format!("the log {name} is named more than once; it counts once, for the first task");
            self.notices.add("log_named_twice", place, message, "say which task it belongs to");
            return Some(*position);
        }
        let [header_file, records_file] = ["XML", "BIN"].map(|ending| self.files.find(self.folder, &name, ending));
        for (found, ending) in [(&header_file, "XML"), (&records_file, "BIN")] {
            if found.is_none() {
                let message = format!("the log {name} has no file {name}.{ending}; it cannot be read");
                self.notices.add("log_file_missing", place.clone(), message, "copy all TLG files from the terminal");
            }
        }
        known.insert(name.to_lowercase(), logs.len());
        logs.push(Log { name, task: Some(task), header_file, records_file });
        Some(logs.len() - 1)
    }

    /// Adds the logs that lie in the folder and that no task names: they were recorded all the same.
    fn add_unnamed_logs(&mut self, logs: &mut Vec<Log>, known: &BTreeMap<String, usize>) {
        for (name, file) in self.files.logs(self.folder) {
            if let Some(log) = known.get(&name.to_lowercase()).and_then(|position| logs.get(*position)) {
                // Two names that differ by case alone: one of them is the log that the task names.
                if log.records_file.as_ref() != Some(&file) {
                    let message =
                        format!("the file has the name of the log {} in other letters; it is not read", log.name);
                    self.notices.add("log_name_repeated", file, message, "rename one of the two, or keep only one");
                }
                continue;
            }
            let message = format!("no task names the log {name}; it is read without a task and a field");
            self.notices.add("log_without_task", file.as_str(), message, "say which field it was");
            let header_file = self.files.find(self.folder, &name, "XML");
            logs.push(Log { name, task: None, header_file, records_file: Some(file) });
        }
    }
}
