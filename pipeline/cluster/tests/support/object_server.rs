//! A folder served as a bucket of an S3-compatible object store, as far as reading goes: list, head, get with a range.
//!
//! Signatures are not checked.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};

/// Serves `folder` as every bucket, until the test ends; gives the address.
pub fn serve(folder: &Path) -> String {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = format!("http://{}", listener.local_addr().unwrap());
    let folder = folder.to_owned();
    std::thread::spawn(move || {
        for stream in listener.incoming().flatten() {
            let folder = folder.clone();
            std::thread::spawn(move || answer(stream, &folder));
        }
    });
    address
}

/// Answers one request and closes.
fn answer(mut stream: TcpStream, folder: &Path) -> Option<()> {
    let mut lines = BufReader::new(stream.try_clone().ok()?).lines().map_while(Result::ok);
    let request = lines.next()?;
    let headers: BTreeMap<String, String> = lines
        .take_while(|line| !line.is_empty())
        .filter_map(|line| line.split_once(": ").map(|(name, value)| (name.to_lowercase(), value.to_owned())))
        .collect();
    let mut words = request.split(' ');
    let (method, target) = (words.next()?, words.next()?);
    let (path, query) = target.split_once('?').unwrap_or((target, ""));
    let key = decoded(path.trim_start_matches('/').split_once('/').map_or("", |(_bucket, key)| key));
    if query.contains("list-type=2") {
        let body = list(folder, query);
        return respond(&mut stream, "200 OK", &[("Content-Type", "application/xml")], body.as_bytes(), true);
    }
    let Ok(bytes) = fs::read(folder.join(&key)) else {
        return respond(&mut stream, "404 Not Found", &[], b"", method != "HEAD");
    };
    let whole = bytes.len();
    let (first, end) = match headers.get("range").and_then(|range| range.strip_prefix("bytes=")?.split_once('-')) {
        Some(("", last)) => (whole - last.parse::<usize>().ok()?.min(whole), whole),
        Some((first, "")) => (first.parse().ok()?, whole),
        Some((first, last)) => (first.parse().ok()?, (last.parse::<usize>().ok()? + 1).min(whole)),
        None => (0, whole),
    };
    let range = format!("bytes {first}-{}/{whole}", end.saturating_sub(1));
    let mut headers_back =
        vec![("Last-Modified", "Thu, 01 Jan 2026 00:00:00 GMT"), ("ETag", "\"1\""), ("Accept-Ranges", "bytes")];
    let status = if headers.contains_key("range") {
        headers_back.push(("Content-Range", &range));
        "206 Partial Content"
    } else {
        "200 OK"
    };
    respond(&mut stream, status, &headers_back, &bytes[first..end], method != "HEAD")
}

fn respond(stream: &mut TcpStream, status: &str, headers: &[(&str, &str)], body: &[u8], with_body: bool) -> Option<()> {
    let mut head = format!("HTTP/1.1 {status}\r\nContent-Length: {}\r\nConnection: close\r\n", body.len());
    for (name, value) in headers {
        head.push_str(&format!("{name}: {value}\r\n"));
    }
    stream.write_all((head + "\r\n").as_bytes()).ok()?;
    if with_body { stream.write_all(body).ok() } else { Some(()) }
}

/// Keys with a prefix; with a delimiter, what lies below a further slash is named once.
fn list(folder: &Path, query: &str) -> String {
    let value = |name: &str| query.split('&').find_map(|pair| pair.strip_prefix(name)?.strip_prefix('=').map(decoded));
    let prefix = value("prefix").unwrap_or_default();
    let (mut objects, mut folders) = (String::new(), BTreeSet::new());
    for (key, size) in files(folder, folder) {
        let Some(rest) = key.strip_prefix(&prefix) else { continue };
        match rest.split_once('/') {
            Some((below, _)) if value("delimiter").is_some() => {
                folders.insert(format!("{prefix}{below}/"));
            }
            _ => objects.push_str(&format!(
                "<Contents><Key>{key}</Key><LastModified>2026-01-01T00:00:00.000Z</LastModified><ETag>\"1\"</ETag><Size>{size}</Size></Contents>"
            )),
        }
    }
    let folders: String =
        folders.iter().map(|name| format!("<CommonPrefixes><Prefix>{name}</Prefix></CommonPrefixes>")).collect();
    format!(
        "<?xml version=\"1.0\"?><ListBucketResult><IsTruncated>false</IsTruncated>{objects}{folders}</ListBucketResult>"
    )
}

/// Files below a folder, by key, with their sizes.
fn files(root: &Path, folder: &Path) -> BTreeMap<String, u64> {
    let mut found = BTreeMap::new();
    for entry in fs::read_dir(folder).unwrap().flatten() {
        let path: PathBuf = entry.path();
        if path.is_dir() {
            found.extend(files(root, &path));
        } else {
            let key = path.strip_prefix(root).unwrap().to_str().unwrap().to_owned();
            found.insert(key, entry.metadata().unwrap().len());
        }
    }
    found
}

/// A text without its `%` signs.
fn decoded(text: &str) -> String {
    let bytes = text.as_bytes();
    let (mut plain, mut at) = (Vec::new(), 0);
    while at < bytes.len() {
        let hex = text.get(at + 1..at + 3).filter(|_| bytes[at] == b'%');
        match hex.and_then(|hex| u8::from_str_radix(hex, 16).ok()) {
            Some(byte) => {
                plain.push(byte);
                at += 3;
            }
            None => {
                plain.push(bytes[at]);
                at += 1;
            }
        }
    }
    String::from_utf8(plain).unwrap()
}
