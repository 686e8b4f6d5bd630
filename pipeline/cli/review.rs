//! The folders of a review.

use std::collections::BTreeMap;
use std::fs::{self, File, TryLockError};
use std::path::{Path, PathBuf};

use evenstand_settings::Settings;
use evenstand_store::{tidy, tidy_all_in};
use evenstand_tables::{Group, schemas};

use crate::args::Common;
use crate::failure::Failure;

/// Where everything of a review is.
pub struct Review {
    /// The folder as it was given.
    pub folder: PathBuf,
    /// Files as people have them.
    pub raw: PathBuf,
    /// The folder that output goes below.
    pub out: PathBuf,
    /// Kept tables.
    pub store: PathBuf,
    /// Result tables.
    pub results: PathBuf,
    /// The report.
    pub report: PathBuf,
    /// Plans and blank sheets.
    pub plan: PathBuf,
    /// Choices of the review.
    pub settings: Settings,
    /// The settings file as it stands; empty where there is none.
    pub settings_text: String,
    /// Whether everything is done anew.
    pub afresh: bool,
    /// Holds the output folder for this run alone, as long as the review is open.
    _lock: Option<File>,
    /// Whether the output folder could not be held, because folders cannot be locked there.
    pub unlocked: bool,
}

/// What lies in raw/.
#[derive(Default)]
pub struct RawFiles {
    /// Files by name (forward slashes); hidden ones are left out.
    pub files: BTreeMap<String, PathBuf>,
    /// Folders of task data by name: each is one source, whatever files are in it.
    pub task_data: BTreeMap<String, PathBuf>,
    /// Names of links and other things that are not plain files or folders; they are not read.
    pub passed_over: Vec<String>,
}

impl Review {
    /// Finds the folders, reads the settings, and takes the output folder for this run alone.
    pub fn open(common: &Common) -> Result<Self, Failure> {
        let review = Self::look(common)?;
        let out = &review.out;
        let standing = out.ancestors().find(|folder| folder.exists()).map(Path::canonicalize);
        if let (Some(Ok(standing)), Ok(raw)) = (standing, review.raw.canonicalize())
            && standing.starts_with(&raw)
        {
            return Err(Failure::new(
                format!("{} lies in raw/, which is never written to", out.display()),
                "give another folder with --out",
            ));
        }
        if let Err(error) = fs::create_dir_all(out) {
            return Err(Failure::new(
                format!("{} cannot be made: {error}", out.display()),
                "give another folder with --out",
            ));
        }
        let lock = lock(out)?;
        // What a killed run left is cleared away under the lock: nobody else is at work on it.
        [&review.store, &review.results, &review.report].into_iter().try_for_each(|folder| tidy(folder))?;
        tidy_all_in(&review.plan)?;
        Ok(Self { unlocked: lock.is_none(), _lock: lock, ..review })
    }

    /// Finds the folders and reads the settings; makes and takes nothing.
    pub fn look(common: &Common) -> Result<Self, Failure> {
        let folder = common.review.clone();
        if !folder.is_dir() {
            return Err(Failure::new(
                format!("{} is not a folder", folder.display()),
                "give the review folder, the one that has raw/ in it",
            ));
        }
        let out = common.out.clone().unwrap_or_else(|| folder.clone());
        let path = folder.join("evenstand.toml");
        let settings_text = if path.exists() {
            fs::read_to_string(&path).map_err(|error| {
                Failure::new(format!("{} cannot be read: {error}", path.display()), "save it as a UTF-8 text file")
            })?
        } else {
            String::new()
        };
        let settings = Settings::parse(&settings_text)
            .map_err(|error| Failure::new(error.to_string(), "correct the settings file; nothing was written"))?;
        Ok(Self {
            raw: folder.join("raw"),
            store: out.join("store"),
            results: out.join("results"),
            report: out.join("report"),
            plan: out.join("plan"),
            out,
            folder,
            settings,
            settings_text,
            afresh: common.afresh,
            _lock: None,
            unlocked: false,
        })
    }

    /// What lies in `raw/`.
    pub fn raw_files(&self) -> Result<RawFiles, Failure> {
        if !self.raw.is_dir() {
            return Err(Failure::new(
                format!("{} has no folder raw/", self.folder.display()),
                "make a folder raw in it and put your files there, for example stand_count.csv and setting_log.csv",
            ));
        }
        let mut found = RawFiles::default();
        collect(&self.raw, "", &mut found).map_err(|error| {
            Failure::new(format!("{} cannot be read: {error}", self.raw.display()), "check the folder's permissions")
        })?;
        if found.files.is_empty() && found.task_data.is_empty() && found.passed_over.is_empty() {
            return Err(Failure::new(
                format!("{} is empty", self.raw.display()),
                format!("put your files there, named after what they are: {}", kinds().join(", ")),
            ));
        }
        found.passed_over.sort();
        Ok(found)
    }
}

/// Names of the raw tables as files are called.
pub fn kinds() -> Vec<String> {
    schemas().iter().filter(|table| table.group == Group::Raw).map(|table| format!("{}.csv", table.name)).collect()
}

/// Locks a folder until the file is dropped; `None` where folders cannot be locked.
fn lock(folder: &Path) -> Result<Option<File>, Failure> {
    let Ok(handle) = File::open(folder) else { return Ok(None) };
    match handle.try_lock() {
        Ok(()) => Ok(Some(handle)),
        Err(TryLockError::WouldBlock) => Err(Failure::new(
            format!("another run is at work in {}", folder.display()),
            "wait until it is done, then run again, or give another folder with --out; nothing was changed",
        )),
        Err(TryLockError::Error(_)) => Ok(None),
    }
}

fn collect(folder: &Path, prefix: &str, found: &mut RawFiles) -> std::io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        let name = entry.file_name().to_string_lossy().into_owned();
        if name.starts_with('.') || name.starts_with("~$") {
            continue;
        }
        // Links are not followed: a review stays inside its folder. They are named in a finding.
        let kind = entry.file_type()?;
        if kind.is_dir() && holds_task_data(&entry.path())? {
            found.task_data.insert(format!("{prefix}{name}"), entry.path());
        } else if kind.is_dir() {
            collect(&entry.path(), &format!("{prefix}{name}/"), found)?;
        } else if kind.is_file() {
            found.files.insert(format!("{prefix}{name}"), entry.path());
        } else {
            found.passed_over.push(format!("{prefix}{name}"));
        }
    }
    Ok(())
}

fn holds_task_data(folder: &Path) -> std::io::Result<bool> {
    for entry in fs::read_dir(folder)? {
        if entry?.file_name().eq_ignore_ascii_case("TASKDATA.XML") {
            return Ok(true);
        }
    }
    Ok(false)
}
