//! Where the kept tables lie: a folder that all machines reach, or an object store.

use std::collections::HashMap;
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use datafusion::common::{DataFusionError, Result};
use datafusion::execution::object_store::ObjectStoreRegistry;
use datafusion::object_store::ObjectStore;
use datafusion::object_store::aws::AmazonS3Builder;
use datafusion::object_store::local::LocalFileSystem;
use datafusion::object_store::throttle::{ThrottleConfig, ThrottledStore};
use url::Url;

use crate::failure::Failure;

/// Makes object stores by address, each once: `file://` and `s3://` with keys from the environment.
#[derive(Debug)]
pub struct Stores {
    wait: Duration,
    made: Mutex<HashMap<String, Arc<dyn ObjectStore>>>,
}

impl Stores {
    /// Stores that wait so long before each read.
    pub fn new(wait: Duration) -> Self {
        Self { wait, made: Mutex::default() }
    }

    fn make(&self, url: &Url) -> Result<Arc<dyn ObjectStore>> {
        let store: Arc<dyn ObjectStore> = match url.scheme() {
            "file" => Arc::new(LocalFileSystem::new()),
            "s3" => {
                let bucket = url.host_str().unwrap_or_default();
                Arc::new(AmazonS3Builder::from_env().with_bucket_name(bucket).build()?)
            }
            other => {
                return Err(DataFusionError::Configuration(format!("{other}:// is not a kind of store that is known")));
            }
        };
        if self.wait.is_zero() {
            return Ok(store);
        }
        let config = ThrottleConfig { wait_get_per_call: self.wait, ..ThrottleConfig::default() };
        Ok(Arc::new(ThrottledStore::new(store, config)))
    }
}

impl ObjectStoreRegistry for Stores {
    fn register_store(&self, url: &Url, store: Arc<dyn ObjectStore>) -> Option<Arc<dyn ObjectStore>> {
        self.made.lock().unwrap_or_else(PoisonError::into_inner).insert(key(url), store)
    }

    fn get_store(&self, url: &Url) -> Result<Arc<dyn ObjectStore>> {
        let mut made = self.made.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(store) = made.get(&key(url)) {
            return Ok(store.clone());
        }
        let store = self.make(url)?;
        made.insert(key(url), store.clone());
        Ok(store)
    }
}

fn key(url: &Url) -> String {
    format!("{}://{}", url.scheme(), url.authority())
}

/// Address of a store as people give it: a folder, `file://…` or `s3://bucket/folder`. It ends in a slash.
pub fn address(given: &str) -> std::result::Result<Url, Failure> {
    let kinds = "give a folder, or s3://bucket/folder";
    let url = if given.contains("://") {
        let whole = if given.ends_with('/') { given.to_owned() } else { format!("{given}/") };
        Url::parse(&whole)
            .map_err(|error| Failure::new(format!("{given} is not the address of a store: {error}"), kinds))?
    } else {
        let not_there =
            |error| Failure::new(format!("{given} cannot be opened: {error}"), "give the store/ of a review");
        let folder = Path::new(given).canonicalize().map_err(not_there)?;
        Url::from_directory_path(&folder)
            .map_err(|()| Failure::new(format!("{given} is not a folder that has an address"), kinds))?
    };
    match url.scheme() {
        "file" | "s3" => Ok(url),
        other => Err(Failure::new(format!("{other}:// is not a kind of store that is known"), kinds)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn folders_and_object_stores_have_addresses_and_others_are_named() {
        let base = tempfile::tempdir().unwrap();
        assert_eq!(address(base.path().to_str().unwrap()).unwrap().scheme(), "file");
        assert_eq!(address("s3://reviews/network/store").unwrap().as_str(), "s3://reviews/network/store/");
        assert!(address("ftp://reviews/store").unwrap_err().message().contains("ftp://"));
        assert!(address("no/such/folder").unwrap_err().message().contains("no/such/folder"));
    }
}
