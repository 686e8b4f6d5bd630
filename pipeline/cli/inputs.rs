//! The files of `raw/` before they are read: their digests, and how a change while they are read is noticed.
//!
//! A file is gone through twice, once for its digest and once for its rows. Where it is another one by then, rows would be kept under
//! the digest of other bytes, so the run ends instead.

use std::collections::BTreeMap;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use evenstand_bundle::{Bundle, Limits};
use evenstand_ingest::Format;
use evenstand_store::{Input, sha256_of_bytes, sha256_of_file};
use rayon::prelude::*;

use crate::failure::Failure;
use crate::review::RawFiles;
use crate::sources::{Job, Plan};

/// The files of `raw/` as they were when the run began.
pub struct Inputs {
    seen: BTreeMap<PathBuf, Seen>,
    /// Everything that lies in `raw/`, by name.
    pub list: Vec<Input>,
}

struct Seen {
    sha256: String,
    trait_of: Trait,
}

/// What the system says of a file without reading it; another one once somebody wrote to it or put another in its place.
#[derive(PartialEq)]
struct Trait {
    bytes: u64,
    modified: Option<SystemTime>,
    /// Number of the file, and when anything about it last changed: a time of writing can be set back, these cannot.
    #[cfg(unix)]
    number_and_change: (u64, i64, i64),
}

impl Trait {
    fn of(path: &Path) -> io::Result<Self> {
        let about = fs::metadata(path)?;
        #[cfg(unix)]
        use std::os::unix::fs::MetadataExt;
        Ok(Self {
            bytes: about.len(),
            modified: about.modified().ok(),
            #[cfg(unix)]
            number_and_change: (about.ino(), about.ctime(), about.ctime_nsec()),
        })
    }
}

/// Names of everything in `raw/` with where it is; no path for what is never read.
pub fn names(raw: &RawFiles) -> Result<BTreeMap<String, Option<PathBuf>>, Failure> {
    let mut names: BTreeMap<String, Option<PathBuf>> = BTreeMap::new();
    names.extend(raw.files.iter().map(|(name, path)| (name.clone(), Some(path.clone()))));
    names.extend(raw.passed_over.iter().map(|name| (name.clone(), None)));
    for (name, folder) in &raw.task_data {
        for path in files_below(folder)? {
            let inside = path.strip_prefix(folder).unwrap_or(&path).to_string_lossy().replace('\\', "/");
            names.insert(format!("{name}/{inside}"), Some(path));
        }
    }
    Ok(names)
}

impl Inputs {
    /// Takes the digest of every file that a job reads; `names` are those of everything there is.
    pub fn of(names: BTreeMap<String, Option<PathBuf>>, plan: &Plan) -> Result<Self, Failure> {
        let mut paths: Vec<PathBuf> = Vec::new();
        for job in &plan.jobs {
            paths.extend(files_of(job)?);
        }
        paths.sort();
        paths.dedup();
        let look = |path: PathBuf| -> Result<(PathBuf, Seen), Failure> {
            // What the system says comes first: a change between the two is then seen as well.
            let trait_of = Trait::of(&path).map_err(|error| moved(&path, &error.to_string()))?;
            let sha256 = sha256_of_file(&path)?;
            Ok((path, Seen { sha256, trait_of }))
        };
        let seen: BTreeMap<PathBuf, Seen> = paths.into_par_iter().map(look).collect::<Result<_, _>>()?;
        let digest = |path: Option<PathBuf>| path.and_then(|path| Some(seen.get(&path)?.sha256.clone()));
        let list = names.into_iter().map(|(file, path)| Input { file, sha256: digest(path) }).collect();
        Ok(Self { seen, list })
    }

    /// What stands for the file of a job, or for all its files: the SHA-256 of a single one, else that of their digests in order.
    pub fn digest_of(&self, job: &Job) -> Result<String, Failure> {
        let files = files_of(job)?;
        let digest = |path: &PathBuf| {
            let seen = self.seen.get(path).ok_or_else(|| moved(path, "it is new"))?;
            Ok(seen.sha256.as_str())
        };
        let digests = files.iter().map(digest).collect::<Result<Vec<_>, Failure>>()?;
        Ok(match digests.as_slice() {
            [one] if job.format != Format::TaskData => (*one).to_owned(),
            several => sha256_of_bytes(several.join("\n").as_bytes()),
        })
    }

    /// Errors where a file of a job is not the one that its digest was taken of.
    pub fn still_the_same(&self, job: &Job) -> Result<(), Failure> {
        for path in files_of(job)? {
            let seen = self.seen.get(&path).ok_or_else(|| moved(&path, "it is new"))?;
            match Trait::of(&path) {
                Ok(now) if now == seen.trait_of => {}
                Ok(now) if now.bytes != seen.trait_of.bytes => {
                    return Err(moved(&path, &format!("it had {} bytes and has {}", seen.trait_of.bytes, now.bytes)));
                }
                Ok(_) => return Err(moved(&path, "somebody wrote to it")),
                Err(error) => return Err(moved(&path, &error.to_string())),
            }
        }
        Ok(())
    }
}

fn moved(path: &Path, what: &str) -> Failure {
    Failure::new(
        format!("{} changed while it was read: {what}", path.display()),
        "wait until nothing writes to raw/ any more, then run again; what was made before is as it was",
    )
}

/// Every file that a job reads, in a fixed order.
fn files_of(job: &Job) -> Result<Vec<PathBuf>, Failure> {
    if job.format == Format::TaskData {
        return files_below(&job.path);
    }
    let parts = job.parts.iter().map(|(_, path)| path.clone());
    Ok(std::iter::once(job.path.clone()).chain(parts).collect())
}

/// Every file in a folder and the folders in it, by name; links are left out.
fn files_below(folder: &Path) -> Result<Vec<PathBuf>, Failure> {
    let bundle = Bundle::of_folder(folder, Limits::default())
        .map_err(|error| Failure::new(format!("{}: {error}", folder.display()), "check the folder's permissions"))?;
    Ok(bundle.names().iter().map(|name| folder.join(name)).collect())
}
