//! What `datapackage.json` says is enough to repeat a run.

use std::collections::BTreeMap;
use std::fs;

use evenstand_store::sha256_of_bytes;
use serde_json::Value;

use crate::support::{TestReview, evenstand, files_below, read_csv};
use crate::world::{change, made, review, same};

/// Files by their digest alone: what is left of a review once its names and its settings are lost.
fn pile(review: &TestReview) -> BTreeMap<String, Vec<u8>> {
    files_below(review.path()).into_values().map(|bytes| (sha256_of_bytes(&bytes), bytes)).collect()
}

/// Makes the review again from the pile and the account of a run, and runs it.
fn repeated(pile: &BTreeMap<String, Vec<u8>>, run: &Value) -> TestReview {
    let text = |value: &Value| value.as_str().unwrap().to_owned();
    // The commit that the program tells behind it is not among the results: it would change them with every word of the documentation.
    let told = format!("{} {}", text(&run["program"]), text(&run["version"]));
    assert!(evenstand(&["--version"]).stdout.starts_with(&told), "{told}");
    let again = TestReview::new(&[]);
    let put = |name: String, bytes: &[u8]| {
        let path = again.path().join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, bytes).unwrap();
    };
    for input in run["inputs"].as_array().unwrap() {
        // What was not read needs to be there, whatever is in it.
        let bytes = input["sha256"].as_str().map_or(&[][..], |sha256| &pile[sha256]);
        put(format!("raw/{}", text(&input["file"])), bytes);
    }
    if let Some(last) = run.get("last_season") {
        put(text(&last["file"]), &pile[last["sha256"].as_str().unwrap()]);
    }
    let settings = text(&run["settings"]);
    let of_store = run.get("settings_of_store").map_or(settings.clone(), text);
    again.put("evenstand.toml", &of_store);
    assert!(again.run("ingest", &[]).status < 2);
    again.put("evenstand.toml", &settings);
    assert!(again.run("model", &[]).status < 2);
    assert!(again.run("report", &[]).status < 2);
    again
}

fn account(review: &TestReview) -> Value {
    let package: Value =
        serde_json::from_slice(&fs::read(review.path().join("results/datapackage.json")).unwrap()).unwrap();
    package["run"].clone()
}

#[test]
fn a_run_is_repeated_from_what_its_account_says_alone() {
    let reviews = [review(), review()];
    reviews[0].put("notes.txt", "not read");
    let starts = "condition,closer,planter_id,response,primary,evidence,start_n\n\"moist, bare\",any,,emerged_share,true,leaning,150\n";
    fs::create_dir(reviews[1].path().join("last-season")).unwrap();
    reviews[1].put("last-season/starting_points.csv", starts);
    let settings = fs::read_to_string(reviews[1].path().join("evenstand.toml")).unwrap();
    let settings = settings + "[last_season]\nstarting_points = \"last-season/starting_points.csv\"\n";
    reviews[1].put("evenstand.toml", &settings);
    for review in &reviews {
        let pile = pile(review);
        assert!(review.run("run", &[]).status < 2);
        let run = account(review);
        assert!(run["seed"].is_number() && run["draws"].is_number() && run["build"].is_string());
        assert_eq!(run["inputs"].as_array().unwrap().len(), files_below(&review.path().join("raw")).len());
        same(&made(repeated(&pile, &run).path()), &made(review.path()), run["review"].as_str().unwrap());
    }
    assert!(account(&reviews[1]).get("last_season").is_some(), "a review with last season's answers is among them");
    assert!(account(&reviews[0])["inputs"].as_array().unwrap().iter().any(|input| input["sha256"].is_null()));
}

#[test]
fn settings_that_changed_after_the_files_were_read_are_both_told() {
    let review = review();
    review.run("ingest", &[]);
    let settings = fs::read_to_string(review.path().join("evenstand.toml")).unwrap();
    review.put("evenstand.toml", &settings.replace("America/Chicago", "Europe/Berlin").replace("200", "210"));
    let pile = pile(&review);
    review.run("model", &[]);
    review.run("report", &[]);
    let run = account(&review);
    assert_eq!(run["settings_of_store"], settings.as_str());
    same(&made(repeated(&pile, &run).path()), &made(review.path()), "settings changed in between");
}

/// Digests in provenance are those that anybody's tool gives.
#[test]
fn digests_are_those_of_the_files_and_the_report_tells_the_one_of_all() {
    let review = review();
    change(review.path());
    review.run("run", &[]);
    let run = account(&review);
    let mut all = run["settings"].as_str().unwrap().to_owned();
    for input in run["inputs"].as_array().unwrap() {
        let (file, sha256) = (input["file"].as_str().unwrap(), input["sha256"].as_str().unwrap());
        assert_eq!(sha256_of_bytes(&fs::read(review.path().join("raw").join(file)).unwrap()), sha256);
        all.push_str(&format!("\n{file} {sha256}"));
    }
    for row in review.kept("stand_count") {
        let file = review.path().join("raw").join(&row["source_file"]);
        assert_eq!(row["source_sha256"], sha256_of_bytes(&fs::read(file).unwrap()));
    }
    let hash = sha256_of_bytes(all.as_bytes());
    assert_eq!(run["data_hash"], hash.as_str());
    let facts = read_csv(&review.path().join("results/model.csv"));
    assert!(facts.iter().any(|row| row["name"] == "data_hash" && row["text"] == hash));
    let page = fs::read_to_string(review.path().join("report/index.html")).unwrap();
    let last = &page[page.rfind("<h2").unwrap()..];
    let seed = run["seed"].to_string();
    for told in [run["version"].as_str().unwrap(), &hash, "Seed", &seed, "Small review", "draws = 200"] {
        assert!(last.contains(told), "{told} is not in the last section");
    }
}
