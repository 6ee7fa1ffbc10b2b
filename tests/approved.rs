//! Committed files that show what the server is: a change of the server shows as a change of the file.

use std::{fs, path::PathBuf};

/// The top folder of the repository.
pub fn top() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).parent().expect("this crate has a folder above it").to_owned()
}

/// Compares a committed file with what the server says now; with `UPDATE=1` in the environment writes it instead.
#[expect(clippy::disallowed_methods, reason = "a test may be asked to rewrite what it compares with")]
#[track_caller]
pub fn compare(file: &str, now: &str, advice: &str) {
    let path = top().join(file);
    if std::env::var_os("UPDATE").is_some() {
        fs::write(&path, now).unwrap_or_else(|error| panic!("{file}: {error}"));
        return;
    }
    let committed = fs::read_to_string(&path).unwrap_or_default();
    let differs = committed.lines().zip(now.lines()).position(|(before, after)| before != after);
    let line = differs.unwrap_or_else(|| committed.lines().count().min(now.lines().count()));
    assert!(
        committed == now,
        "If you are here because {file} differs from line {}: {advice}\ncommitted: {:?}\nnow:       {:?}\n\
         `UPDATE=1 cargo test --workspace` rewrites it; read the difference before you commit it.",
        line + 1,
        committed.lines().nth(line),
        now.lines().nth(line),
    );
}
