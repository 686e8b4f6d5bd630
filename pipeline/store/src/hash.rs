//! SHA-256 of files and bytes, as lower-case hexadecimal text.

use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

use crate::StoreError;

/// SHA-256 of bytes.
pub fn sha256_of_bytes(bytes: &[u8]) -> String {
    hexadecimal(&Sha256::digest(bytes))
}

/// SHA-256 of a file, read in pieces.
pub fn sha256_of_file(path: &Path) -> Result<String, StoreError> {
    let mut file = File::open(path).map_err(|error| StoreError::file(path, &error))?;
    let mut hasher = Sha256::new();
    let mut buffer = vec![0; 1 << 16];
    loop {
        let length = file.read(&mut buffer).map_err(|error| StoreError::file(path, &error))?;
        if length == 0 {
            return Ok(hexadecimal(&hasher.finalize()));
        }
        hasher.update(&buffer[..length]);
    }
}

/// SHA-256 over the digests of several files, in the order given: what stands for a source of many files.
pub fn sha256_of_files(paths: &[PathBuf]) -> Result<String, StoreError> {
    let digests = paths.iter().map(|path| sha256_of_file(path)).collect::<Result<Vec<_>, _>>()?;
    Ok(sha256_of_bytes(digests.join("\n").as_bytes()))
}

fn hexadecimal(digest: &[u8]) -> String {
    digest.iter().map(|byte| format!("{byte:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_digest_of_abc_is_the_one_of_fips_180_4() {
        // FIPS 180-4, example B.1.
        assert_eq!(sha256_of_bytes(b"abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    }
}
