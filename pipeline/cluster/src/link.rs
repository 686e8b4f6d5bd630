//! Kept telemetry → the table `strip_totals`.

use std::io::Write;
use std::path::Path;

use datafusion::execution::object_store::ObjectStoreUrl;
use datafusion::object_store::path::Path as StorePath;
use datafusion::object_store::{ObjectStore, ObjectStoreExt};
use datafusion::prelude::SessionContext;
use evenstand_settings::Settings;
use url::Url;

use crate::args::LinkArgs;
use crate::failure::Failure;
use crate::{planters, query, session, store, table, totals};

/// Layout of `store/` that this program reads; `pipeline/store` writes it into the manifest.
const LAYOUT: u64 = 1;

/// Sums the telemetry of a store into a file, here or on a cluster.
pub async fn run(arguments: LinkArgs) -> Result<(), Failure> {
    let settings = settings(arguments.settings.as_deref())?;
    place(&arguments.out)?;
    let url = store::address(&arguments.store)?;
    let context = session::context(arguments.scheduler.as_deref(), usize::from(arguments.parts)).await?;
    let (files, prefix) = files(&context, &url)?;
    check_manifest(files.as_ref(), &prefix, &arguments.store).await?;
    let planters = planters::read(files.as_ref(), &prefix).await?;
    let broken = |error: datafusion::error::DataFusionError| {
        Failure::new(
            format!("the telemetry of {} could not be summed: {error}", arguments.store),
            "check that scheduler and executors reach the store by this name; a damaged store is rebuilt by `evenstand ingest`",
        )
    };
    let frame = query::totals(&context, url.as_str(), &planters, &settings).await.map_err(broken)?;
    let batches = frame.collect().await.map_err(broken)?;
    let totals = totals::put_together(&batches, &planters)?;
    table::write(&arguments.out, &totals, &settings.reckoned_with())?;
    let rows: i64 = totals.values().map(|total| total.sums[0]).sum();
    let _ = writeln!(
        std::io::stdout(),
        "Summed {rows} telemetry rows into {} rows of {}; `evenstand model --strip-totals` takes them.",
        totals.len(),
        arguments.out.display()
    );
    Ok(())
}

fn settings(path: Option<&Path>) -> Result<Settings, Failure> {
    let Some(path) = path else { return settings_of("") };
    let text = std::fs::read_to_string(path).map_err(|error| {
        Failure::new(format!("{} cannot be read: {error}", path.display()), "give the evenstand.toml of the review")
    })?;
    settings_of(&text)
}

fn settings_of(text: &str) -> Result<Settings, Failure> {
    Settings::parse(text)
        .map_err(|error| Failure::new(error.to_string(), "correct the settings file; nothing was written"))
}

/// Errors before the work where its outcome could not be written.
fn place(out: &Path) -> Result<(), Failure> {
    let folder = out.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let problem = if out.is_dir() {
        "is a folder"
    } else if !folder.is_dir() {
        "lies in a folder that is not there"
    } else if out.exists() && out.extension().is_none_or(|extension| extension != "parquet") {
        "is there already and is no Parquet file"
    } else {
        return Ok(());
    };
    Err(Failure::new(format!("{} {problem}", out.display()), "give another file as --out, ending in .parquet"))
}

/// The object store of an address, and the place in it.
fn files(context: &SessionContext, url: &Url) -> Result<(std::sync::Arc<dyn ObjectStore>, StorePath), Failure> {
    let wrong = |problem: &dyn std::fmt::Display| {
        Failure::new(
            format!("{url} cannot be opened: {problem}"),
            "check the address, and for s3:// the environment (AWS_ENDPOINT, AWS_REGION, AWS_ACCESS_KEY_ID, AWS_SECRET_ACCESS_KEY)",
        )
    };
    let root = ObjectStoreUrl::parse(&url[..url::Position::BeforePath]).map_err(|error| wrong(&error))?;
    let files = context.runtime_env().object_store(&root).map_err(|error| wrong(&error))?;
    let prefix = StorePath::from_url_path(url.path()).map_err(|error| wrong(&error))?;
    Ok((files, prefix))
}

/// Errors unless a store of the known layout lies there.
async fn check_manifest(files: &dyn ObjectStore, prefix: &StorePath, given: &str) -> Result<(), Failure> {
    let wrong = |problem: String| {
        Failure::new(
            format!("{given} is no store: manifest.json {problem}"),
            "give the store/ that `evenstand ingest` wrote",
        )
    };
    let found = files.get(&prefix.clone().join("manifest.json")).await;
    let bytes = match found {
        Ok(found) => found.bytes().await.map_err(|error| wrong(format!("cannot be read: {error}")))?,
        Err(error) => return Err(wrong(format!("cannot be read: {error}"))),
    };
    let manifest: serde_json::Value =
        serde_json::from_slice(&bytes).map_err(|error| wrong(format!("is damaged: {error}")))?;
    match manifest["layout"].as_u64() {
        Some(LAYOUT) => Ok(()),
        other => Err(wrong(format!("tells of layout {}, expected {LAYOUT}", other.unwrap_or_default()))),
    }
}
