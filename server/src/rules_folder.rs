//! An operator's own folder of rule files: local ordinances and the company's limits, read at the start and whenever the system asks for it, and checked whole.

use std::{fs, path::Path, sync::Arc};

use domain::law::{LawFault, Lawbook};

use crate::{book::rule_sets, state::App};

/// What a folder holds: rule files by name and text, in the order of names, other files, and what cannot be read.
#[derive(Debug, Default)]
struct Held {
    files: Vec<(String, String)>,
    others: Vec<String>,
    faults: Vec<LawFault>,
}

fn fault(file: &str, what: String) -> LawFault {
    LawFault { file: file.to_owned(), rule: None, field: "file".to_owned(), what }
}

fn look(folder: &Path) -> Held {
    let mut held = Held::default();
    let named = folder.display().to_string();
    let listed = fs::read_dir(folder).and_then(Iterator::collect::<Result<Vec<_>, _>>);
    let mut paths: Vec<_> = match listed {
        Ok(entries) => entries.into_iter().map(|entry| entry.path()).collect(),
        Err(error) => {
            held.faults.push(fault(&named, format!("the folder cannot be read: {error}")));
            return held;
        }
    };
    paths.sort();
    for path in paths {
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        let rule_file = path.extension().is_some_and(|kind| kind.eq_ignore_ascii_case("toml"));
        if path.is_dir() {
            held.faults.push(fault(&name, "is a folder; rule files lie in the folder itself".to_owned()));
        } else if !rule_file {
            held.others.push(name);
        } else {
            match fs::read_to_string(&path) {
                Ok(text) => held.files.push((name, text)),
                Err(error) => held.faults.push(fault(&name, format!("cannot be read as text: {error}"))),
            }
        }
    }
    if held.files.is_empty() && held.faults.is_empty() {
        held.faults.push(fault(&named, "holds no rule file; their names end in .toml".to_owned()));
    }
    held
}

/// The rule sets that come with the server, with those of a folder beside them. Every fault of every file, or all of it.
pub fn read(folder: &Path) -> Result<Lawbook, Vec<LawFault>> {
    let Held { files, mut faults, .. } = look(folder);
    match Lawbook::with_files(&files) {
        Ok(law) if faults.is_empty() => Ok(law),
        Ok(_) => Err(faults),
        Err(more) => {
            faults.extend(more);
            Err(faults)
        }
    }
}

/// Reads a folder again while the server is at work. A new version of a set that binds a property waits for the owner, as after a
/// start. Where a file has a fault, or the book cannot take it in, everything stays as it was.
pub async fn read_again(app: &App, folder: &Path) {
    let named = folder.display();
    match read(folder) {
        Ok(law) => match rule_sets::offer(app, Arc::new(law)).await {
            Ok(()) => tracing::info!(folder = %named, "the rule files were read again"),
            Err(problem) => {
                tracing::error!(folder = %named, detail = problem.detail, "the rule files cannot be taken in; those of before stay");
            }
        },
        Err(faults) => {
            for fault in faults {
                tracing::error!(folder = %named, %fault, "a rule file has a fault; all those of before stay");
            }
        }
    }
}

/// One line for each set that a folder brings and for each file that was left alone, for whoever checks it.
pub fn summary_lines(folder: &Path, law: &Lawbook) -> Vec<String> {
    let held = look(folder);
    let own: Vec<String> = held.files.into_iter().map(|(_, text)| text).collect();
    let brought = law.rule_sets().iter().filter(|set| own.contains(&set.text));
    let line = |set: &domain::law::RuleSet| {
        let within = set.about.parent.as_ref().map_or_else(String::new, |parent| format!(", within {parent}"));
        let rules = match set.rules.len() {
            1 => "1 rule".to_owned(),
            many => format!("{many} rules"),
        };
        let about = &set.about;
        format!("{}: {}{within}, {rules}, last checked {}", about.code, about.name, about.last_checked)
    };
    let left = held.others.iter().map(|name| format!("{name}: left alone; it is no rule file"));
    brought.map(line).chain(left).collect()
}
