//! How the sources are kept: short files, one direction of dependency, each thing in its one place. Fails, never only prints.

mod arrows;
mod direction;
mod small_trees;

use std::{
    collections::BTreeSet,
    fs,
    path::{Path, PathBuf},
};

use harness::approved::top;

const LONGEST: usize = 400;

/// Files that are longer than the limit, at the length they may have at most. It may only shrink.
const TOO_LONG_STILL: [(&str, usize); 0] = [];

/// What the pure half may depend on: nothing that reads a clock, a file, a socket or a database.
const DOMAIN_MAY_USE: [&str; 12] = [
    "geo",
    "good_lp",
    "jiff",
    "num-bigint",
    "num-rational",
    "serde",
    "serde_json",
    "sha2",
    "thiserror",
    "toml",
    "utoipa",
    "uuid",
];

/// Files outside the store that name sqlx: they hand a connection on or read an error, and hold no SQL.
const MAY_NAME_SQLX: [&str; 34] = [
    "server/base/src/problem.rs",
    "server/base/src/storage_fault.rs",
    "server/src/api/additions.rs",
    "server/src/api/history.rs",
    "server/src/api/history/limits.rs",
    "server/src/api/history/sound.rs",
    "server/src/api/lots.rs",
    "server/src/api/people.rs",
    "server/src/api/product_files.rs",
    "server/src/api/programmes.rs",
    "server/src/api/properties.rs",
    "server/src/api/stock.rs",
    "server/src/api/sightings.rs",
    "server/src/api/visits.rs",
    "server/src/api/visits/moves.rs",
    "server/src/book/credentials.rs",
    "server/src/book/doubts.rs",
    "server/src/book/history.rs",
    "server/src/book/limit_moves.rs",
    "server/src/book/office.rs",
    "server/src/book/particulars.rs",
    "server/src/book/receipts.rs",
    "server/src/book/receipts/against.rs",
    "server/src/book/rule_sets.rs",
    "server/src/book/site.rs",
    "server/src/book/verify.rs",
    "server/src/book/verify/assignments.rs",
    "server/src/book/verify/command.rs",
    "server/src/book/verify/history.rs",
    "server/src/book/verify/holds.rs",
    "server/src/book/verify/rule_sets.rs",
    "server/src/book/verify/things.rs",
    "server/src/book/verify/totals.rs",
    "server/src/serve.rs",
];

/// Nouns of the API that have no file of the same name in `store` or `book`, with where their SQL is.
const NOUNS_ELSEWHERE: [(&str, &str); 6] = [
    ("blends", "a question without effect: domain/src/product/blend.rs"),
    ("checks", "an act without effect: acts/clearance.rs"),
    ("corrections", "acts/correction.rs and store/applications.rs"),
    (
        "metrics",
        "counted in server/base/src/metrics.rs and by the services, read from store/mod.rs and store/weather.rs",
    ),
    ("places", "looked up without SQL: server/base/src/places.rs"),
    ("plans", "worked out anew each time: book/season.rs and store/programmes/lawns.rs"),
];

/// Text of every Rust source under some folders, by its path from the top.
fn sources(folders: &[&str]) -> Vec<(String, String)> {
    fn walk(folder: &Path, found: &mut Vec<PathBuf>) {
        for entry in fs::read_dir(folder).unwrap_or_else(|error| panic!("{}: {error}", folder.display())) {
            let path = entry.unwrap().path();
            if path.is_dir() {
                walk(&path, found);
            } else if path.extension().is_some_and(|kind| kind == "rs") {
                found.push(path);
            }
        }
    }
    let mut found = Vec::new();
    for folder in folders {
        walk(&top().join(folder), &mut found);
    }
    found.sort();
    let named = |path: &PathBuf| path.strip_prefix(top()).unwrap().to_str().unwrap().to_owned();
    found.iter().map(|path| (named(path), fs::read_to_string(path).unwrap())).collect()
}

#[track_caller]
fn none(offenders: &[String], advice: &str) {
    assert!(offenders.is_empty(), "If you are here because of {offenders:#?}: {advice}");
}

#[test]
fn a_file_has_one_reason_to_be_opened() {
    let sources = sources(&["domain", "server", "tests"]);
    assert!(sources.len() > 100, "{} files were looked at", sources.len());
    let mut offenders = Vec::new();
    for (path, text) in &sources {
        let lines = text.lines().count();
        let allowed = TOO_LONG_STILL.iter().find(|(long, _)| long == path).map_or(LONGEST, |(_, length)| *length);
        if lines > allowed {
            offenders.push(format!("{path} has {lines} lines, {allowed} are allowed"));
        }
        if allowed > LONGEST && lines <= LONGEST {
            offenders.push(format!("{path} has {lines} lines and needs no line in TOO_LONG_STILL any more"));
        }
    }
    none(&offenders, "split the file by what it is about; a longer limit is no answer.");
}

/// Names in a section of a manifest.
fn dependencies(manifest: &str, section: &str) -> BTreeSet<String> {
    let text = fs::read_to_string(top().join(manifest)).unwrap();
    let table: toml::Table = text.parse().unwrap();
    table[section].as_table().unwrap().keys().cloned().collect()
}

#[test]
fn the_rules_depend_on_nothing_that_acts() {
    let used = dependencies("domain/Cargo.toml", "dependencies");
    let offenders: Vec<String> = used.into_iter().filter(|name| !DOMAIN_MAY_USE.contains(&name.as_str())).collect();
    none(
        &offenders,
        "domain knows no clock, file, network or database. Put what acts into server and hand in the facts.",
    );
    let served = dependencies("server/Cargo.toml", "dependencies");
    assert!(served.contains("domain") && !served.contains("harness"), "{served:?}");
    for (path, text) in sources(&["domain/src"]) {
        for outside in ["std::fs", "std::net", "std::env", "std::time", "tokio", "async fn", "server::"] {
            assert!(
                !text.contains(outside),
                "If you are here because {path} names {outside}: domain is facts in, decisions out; it belongs into server."
            );
        }
    }
}

#[test]
fn sql_has_one_home() {
    let mut offenders = Vec::new();
    for (path, text) in sources(&["server", "domain/src"]) {
        if path.starts_with("server/base/src/store/") {
            continue;
        }
        for statement in
            ["SELECT ", "INSERT ", "UPDATE ", "DELETE FROM", "PRAGMA ", "VACUUM", "query!", "query_as!", "sqlx::query"]
        {
            if text.contains(statement) {
                offenders.push(format!("{path}: {statement}"));
            }
        }
        if text.contains("sqlx") != MAY_NAME_SQLX.contains(&path.as_str()) {
            offenders.push(format!("{path}: names sqlx or is listed in MAY_NAME_SQLX, and not both"));
        }
    }
    none(&offenders, "SQL belongs into server/base/src/store, in the file of its noun.");
}

#[test]
fn clock_and_environment_have_one_home_each() {
    let homes = [
        ("Timestamp::now", "server/base/src/clock.rs"),
        ("SystemTime", "server/base/src/clock.rs"),
        ("Zoned::now", "server/base/src/clock.rs"),
        ("Uuid::now_v7", "server/base/src/clock.rs"),
        ("Uuid::new_v4", "server/base/src/clock.rs"),
        ("env::var", "server/src/config.rs"),
        ("env::args", "server/src/config.rs"),
    ];
    let mut offenders = Vec::new();
    for (path, text) in sources(&["server/base/src", "server/src", "domain/src"]) {
        for (word, home) in homes {
            if text.contains(word) && path != home {
                offenders.push(format!("{path} says {word}, which belongs into {home}"));
            }
        }
    }
    none(&offenders, "take the time and ids from `app.clock` and `app.ids`, and settings from config.rs.");
}

#[test]
fn nothing_is_left_half_done() {
    // Put together here, so that this file does not find itself.
    let banned = [["to", "do!"], ["unimple", "mented!"], ["db", "g!"], ["FIX", "ME"], ["XX", "X"], ["#[al", "low"]]
        .map(|p| p.concat());
    let mut offenders = Vec::new();
    for (path, text) in sources(&["domain", "server", "tests"]) {
        for (number, line) in text.lines().enumerate() {
            for word in banned.iter().filter(|word| line.contains(word.as_str())) {
                offenders.push(format!("{path}:{} says {word}", number + 1));
            }
        }
    }
    none(&offenders, "finish it, or describe it: in server/help if users meet it, else in DEVELOPERS.md.");
}

/// A transaction that is begun by hand on a pooled connection stays open when its caller hangs up. Two places may say the words:
/// the reader's transaction, which is ended however its caller left it, and the writer, whose connection nobody else has.
#[test]
fn no_transaction_is_begun_or_ended_by_hand() {
    let words = ["BEGIN", "SAVEPOINT", "COMMIT", "ROLLBACK", "RELEASE", "END TRANSACTION"];
    let homes = [("server/base/src/store/readers.rs", 2), ("server/base/src/store/writer.rs", 3)];
    let mut offenders = Vec::new();
    for (path, text) in sources(&["server"]) {
        let quoted = |line: &&str| words.iter().any(|word| line.contains(&format!("\"{word}")));
        let said = text.lines().filter(quoted).count();
        let allowed = homes.iter().find(|(home, _)| *home == path).map_or(0, |(_, times)| *times);
        if said != allowed {
            offenders.push(format!("{path} says it {said} times, {allowed} are known"));
        }
    }
    for entry in fs::read_dir(top().join("server/base/src/store")).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|kind| kind == "sql") {
            let text = fs::read_to_string(&path).unwrap().to_uppercase();
            let begun =
                words.iter().find(|word| text.split(|c: char| !c.is_ascii_alphabetic()).any(|own| own == **word));
            offenders.extend(begun.map(|word| format!("{} says {word}", path.display())));
        }
    }
    none(&offenders, "read in a `ReadTransaction` and write by `Store::write`: both end when they are dropped.");
}

#[test]
fn a_noun_has_the_same_name_on_every_floor() {
    let text = fs::read_to_string(top().join("server/src/api/mod.rs")).unwrap();
    let nouns: Vec<&str> =
        text.lines().filter_map(|line| line.strip_prefix("pub(crate) mod ")?.strip_suffix(';')).collect();
    assert!(nouns.len() > 15, "{nouns:?}");
    let there = |floor: &str, noun: &str| top().join(format!("server/{floor}/{noun}.rs")).exists();
    let mut offenders = Vec::new();
    for noun in &nouns {
        let elsewhere = NOUNS_ELSEWHERE.iter().any(|(name, _)| name == noun);
        if (there("base/src/store", noun) || there("src/book", noun)) == elsewhere {
            offenders.push((*noun).to_owned());
        }
    }
    none(&offenders, "give its SQL a file of the same name in store, or say in NOUNS_ELSEWHERE where it is.");
    for (noun, _) in NOUNS_ELSEWHERE {
        assert!(nouns.contains(&noun), "{noun} is in NOUNS_ELSEWHERE and is no noun of the API any more");
    }
}

#[test]
fn every_route_is_in_the_api_document() {
    let mut offenders = Vec::new();
    for (path, text) in sources(&["server/src/api"]) {
        if text.contains(".route(") {
            offenders.push(path);
        }
    }
    none(&offenders, "register API routes with `routes!`, so that the document and the coverage tests know them.");
}
