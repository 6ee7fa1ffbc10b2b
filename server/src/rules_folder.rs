//! An operator's own folder of rule files: local ordinances and the company's limits, read at the start and checked whole.

use std::{fs, path::Path};

use domain::law::{LawFault, Lawbook};

/// Every `*.toml` of a folder by its name and text, in the order of names; or what cannot be read.
fn files(folder: &Path) -> Result<Vec<(String, String)>, Vec<LawFault>> {
    let fault = |file: String, what: String| LawFault { file, rule: None, field: "file".to_owned(), what };
    let listed = fs::read_dir(folder).and_then(Iterator::collect::<Result<Vec<_>, _>>);
    let listed = listed
        .map_err(|error| vec![fault(folder.display().to_string(), format!("the folder cannot be read: {error}"))])?;
    let mut paths: Vec<_> = listed.into_iter().map(|entry| entry.path()).collect();
    paths.retain(|path| path.extension().is_some_and(|kind| kind == "toml"));
    paths.sort();
    let (mut read, mut faults) = (Vec::new(), Vec::new());
    for path in paths {
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        match fs::read_to_string(&path) {
            Ok(text) => read.push((name, text)),
            Err(error) => faults.push(fault(name, format!("cannot be read as text: {error}"))),
        }
    }
    if read.is_empty() && faults.is_empty() {
        let what = "holds no rule file; their names end in .toml".to_owned();
        faults.push(fault(folder.display().to_string(), what));
    }
    if faults.is_empty() { Ok(read) } else { Err(faults) }
}

/// The rule sets that come with the server, with those of a folder beside them. Every fault of every file, or all of it.
pub fn read(folder: &Path) -> Result<Lawbook, Vec<LawFault>> {
    Lawbook::with_files(&files(folder)?)
}

/// One line for each set that a folder brings, for whoever checks it.
pub fn told(folder: &Path, law: &Lawbook) -> Vec<String> {
    let own: Vec<String> = files(folder).unwrap_or_default().into_iter().map(|(_, text)| text).collect();
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
    brought.map(line).collect()
}
