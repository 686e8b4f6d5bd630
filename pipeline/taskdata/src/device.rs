//! Machines on the bus: their parts, and what each part can report.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use crate::TaskDataError;
use crate::node::Node;
use crate::notice::Notices;
use crate::unit::disagreement;

/// Parts of all machines of a set, and levels of parts in one another, that are read.
const ELEMENTS: usize = 20_000;
const LEVELS: usize = 16;

/// A machine, or a controller on one.
#[derive(Debug, Clone, PartialEq)]
pub struct Device {
    /// Id in the set, such as `DVC-1`.
    pub id: Arc<str>,
    /// Name, where it has one.
    pub designator: Option<Arc<str>>,
    /// Its parts, in the order of the file.
    pub elements: Vec<Element>,
    /// What its parts can report or be set to, in the order of the file.
    pub data: Vec<DeviceData>,
    /// Position of the only data entry with a number; none where there are more.
    only: BTreeMap<u16, Option<usize>>,
}

/// A part of a machine: the machine itself, a boom, a section, a row unit, a connector.
#[derive(Debug, Clone, PartialEq)]
pub struct Element {
    /// Id in the set, such as `DET-86`.
    pub id: Arc<str>,
    /// Number of the part on the bus.
    pub number: Option<u32>,
    /// What kind of part.
    pub kind: ElementKind,
    /// Name, such as "Row 7", where it has one.
    pub designator: Option<Arc<str>>,
    /// Position in [`Device::elements`] of the part it belongs to; none for the machine itself.
    pub parent: Option<usize>,
    /// Names of the parts it belongs to, outermost first; an id where a part has no name.
    pub parents: Arc<[Arc<str>]>,
    /// What it reports or is set to: position in [`Device::data`] by number in the data dictionary.
    pub data: BTreeMap<u16, usize>,
}

/// Kind of a part. The numbers are of the standard (memory); parts seen in real files fit them (4 "Section", 5 "Row", 6
/// "Connector", 7 "GPS").
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum ElementKind {
    /// 1, the machine itself.
    Device,
    /// 2, such as a boom.
    Function,
    /// 3, such as a hopper.
    Bin,
    /// 4.
    Section,
    /// 5, such as a row unit.
    Unit,
    /// 6, where machines are joined.
    Connector,
    /// 7, such as an antenna.
    NavigationReference,
    /// Another number, or none.
    Other,
}

/// A value that a part of a machine can report or be set to, or a fixed property of it.
#[derive(Debug, Clone, PartialEq)]
pub struct DeviceData {
    /// Object number within the machine.
    pub object: u32,
    /// Number in the data dictionary.
    pub ddi: Option<u16>,
    /// Name, where it has one.
    pub designator: Option<Arc<str>>,
    /// How it is shown, where the machine says so.
    pub presentation: Option<Arc<Presentation>>,
    /// The value, where it is a fixed property.
    pub fixed: Option<i32>,
}

/// How a value is shown: (raw + offset) × scale (the form of the offset is from memory; the scale is seen to work).
#[derive(Debug, Clone, PartialEq)]
pub struct Presentation {
    /// Added to the raw value.
    pub offset: i64,
    /// Then multiplied by this; finite and not zero.
    pub scale: f64,
    /// Decimals that are shown.
    pub decimals: Option<u8>,
    /// Unit as the machine writes it, where it does.
    pub unit: Option<Arc<str>>,
}

impl Presentation {
    /// What is shown for a raw value, in [`Presentation::unit`].
    pub fn shown(&self, raw: f64) -> f64 {
        (raw + self.offset as f64) * self.scale
    }
}

impl Device {
    /// The data entry behind a logged value: the one with this dictionary number that the part refers to; else, where the
    /// part refers to none, the only one of the machine with this number.
    pub(crate) fn data_of(&self, element: &Element, ddi: u16) -> Option<&DeviceData> {
        let position = element.data.get(&ddi).copied().or_else(|| self.only.get(&ddi).copied().flatten())?;
        self.data.get(position)
    }

    pub(crate) fn read(
        node: &Node,
        file: &str,
        parts: &mut usize,
        notices: &mut Notices,
    ) -> Result<Self, TaskDataError> {
        let id: Arc<str> = node.text(b'A').unwrap_or("").into();
        let presentations: BTreeMap<u32, Arc<Presentation>> =
            node.all("DVP").filter_map(|child| presentation(child, file, notices)).collect();
        let mut data = Vec::new();
        for child in &node.children {
            let Some(object) = child.number(b'A') else { continue };
            let ddi = child.text(b'B').and_then(|hex| u16::from_str_radix(hex, 16).ok());
            let shown = |letter| child.number(letter).and_then(|object: u32| presentations.get(&object).cloned());
            let (designator, presentation, fixed) = match child.name {
                "DPD" => (child.text(b'E'), shown(b'F'), None),
                "DPT" => (child.text(b'D'), shown(b'E'), child.number(b'C')),
                _ => continue,
            };
            data.push(DeviceData { object, ddi, designator: designator.map(Arc::from), presentation, fixed });
        }
        for entry in &data {
            if let Some(message) =
                entry.ddi.zip(entry.presentation.as_deref()).and_then(|(ddi, p)| disagreement(ddi, p))
            {
                let name = entry.designator.as_deref().unwrap_or("a value without a name");
                let place = format!("{file}, device {id}, object {}", entry.object);
                let remedy = "find out which of the two the machine means before you use this channel";
                notices.add("presentation_disagrees", place, format!("\"{name}\": {message}"), remedy);
            }
        }
        let mut only = BTreeMap::new();
        for (position, ddi) in data.iter().enumerate().filter_map(|(position, entry)| Some((position, entry.ddi?))) {
            only.entry(ddi).and_modify(|only| *only = None).or_insert(Some(position));
        }
        let elements = elements(node, file, &data, parts)?;
        Ok(Self { id, designator: node.text(b'B').map(Arc::from), elements, data, only })
    }
}

fn presentation(node: &Node, file: &str, notices: &mut Notices) -> Option<(u32, Arc<Presentation>)> {
    let object = node.number(b'A')?;
    let scale = node.number(b'C').filter(|scale: &f64| scale.is_finite() && *scale != 0.0);
    let Some(scale) = scale else {
        let message =
            format!("the scale of object {object} is \"{}\", which is no factor", node.raw(b'C').unwrap_or(""));
        let place = format!("{file}, line {}", node.line);
        notices.add("presentation_unusable", place, message, "values are given raw; ask the maker of the machine");
        return None;
    };
    let offset = node.number::<f64>(b'B').filter(|offset| offset.abs() <= 1e15).map_or(0, |offset| offset as i64);
    let (decimals, unit) = (node.number(b'D'), node.text(b'E').map(Arc::from));
    Some((object, Arc::new(Presentation { offset, scale, decimals, unit })))
}

fn elements(node: &Node, file: &str, data: &[DeviceData], parts: &mut usize) -> Result<Vec<Element>, TaskDataError> {
    let nodes: Vec<&Node> = node.all("DET").collect();
    *parts = parts.saturating_add(nodes.len());
    if *parts > ELEMENTS {
        return Err(TaskDataError::TooMuch { file: file.to_owned(), what: "device elements", limit: ELEMENTS });
    }
    let objects: BTreeMap<u32, usize> =
        nodes.iter().enumerate().rev().filter_map(|(position, node)| Some((node.number(b'B')?, position))).collect();
    // Parent 0 is the machine, which is no part of its own list.
    let parents: Vec<Option<usize>> =
        nodes.iter().map(|node| node.number::<u32>(b'F').and_then(|object| objects.get(&object).copied())).collect();
    let names: Vec<Arc<str>> =
        nodes.iter().map(|node| node.text(b'D').or(node.text(b'A')).unwrap_or("?").into()).collect();
    let path = |position: usize| -> Arc<[Arc<str>]> {
        // Parts that are each other's parents would lead round for ever: each is passed once.
        let (mut path, mut passed, mut at) = (Vec::new(), BTreeSet::from([position]), position);
        while let Some(parent) = parents.get(at).copied().flatten().filter(|parent| passed.insert(*parent)) {
            path.extend(names.get(parent).cloned());
            at = parent;
            if path.len() >= LEVELS {
                break;
            }
        }
        path.reverse();
        path.into()
    };
    let by_object: BTreeMap<u32, usize> =
        data.iter().enumerate().rev().map(|(position, entry)| (entry.object, position)).collect();
    let data_of = |node: &Node| -> BTreeMap<u16, usize> {
        let referred = || node.all("DOR").filter_map(|child| by_object.get(&child.number(b'A')?).copied());
        let entry = |position: usize| Some((data.get(position)?, position));
        let mut found = BTreeMap::new();
        // A logged value is data before it is a fixed property of the same number.
        for fixed in [false, true] {
            for (entry, position) in referred().filter_map(entry).filter(|(entry, _)| entry.fixed.is_some() == fixed) {
                if let Some(ddi) = entry.ddi {
                    found.entry(ddi).or_insert(position);
                }
            }
        }
        found
    };
    let element = |(position, node): (usize, &&Node)| Element {
        id: node.text(b'A').unwrap_or("").into(),
        number: node.number(b'E'),
        kind: match node.text(b'C') {
            Some("1") => ElementKind::Device,
            Some("2") => ElementKind::Function,
            Some("3") => ElementKind::Bin,
            Some("4") => ElementKind::Section,
            Some("5") => ElementKind::Unit,
            Some("6") => ElementKind::Connector,
            Some("7") => ElementKind::NavigationReference,
            _ => ElementKind::Other,
        },
        designator: node.text(b'D').map(Arc::from),
        parent: parents.get(position).copied().flatten(),
        parents: path(position),
        data: data_of(node),
    };
    Ok(nodes.iter().enumerate().map(element).collect())
}
