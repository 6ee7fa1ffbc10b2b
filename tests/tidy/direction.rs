//! One direction inside of a crate: no circle between its files, or modules on floors that name only what lies below them.

use std::{
    collections::{BTreeMap, BTreeSet, VecDeque},
    fs,
};

use harness::approved::top;

use super::{
    arrows::{Arrow, arrows},
    none, sources,
};

const FLOORS: &str = "tests/floors.toml";

/// The shortest way round that leads from a file back to itself, arrow by arrow; of equally short ones the first.
fn circle(arrows: &[Arrow]) -> Option<Vec<&Arrow>> {
    let mut from: BTreeMap<&str, Vec<&Arrow>> = BTreeMap::new();
    for arrow in arrows {
        from.entry(&arrow.from).or_default().push(arrow);
    }
    let rounds = from.keys().filter_map(|start| way_back(start, &from));
    rounds.min_by_key(Vec::len)
}

fn way_back<'a>(start: &str, from: &BTreeMap<&str, Vec<&'a Arrow>>) -> Option<Vec<&'a Arrow>> {
    let mut came_by: BTreeMap<&str, &Arrow> = BTreeMap::new();
    let mut next = VecDeque::from([start]);
    while let Some(file) = next.pop_front() {
        for arrow in from.get(file).into_iter().flatten().copied() {
            if came_by.contains_key(arrow.to.as_str()) {
                continue;
            }
            came_by.insert(&arrow.to, arrow);
            if arrow.to == start {
                let mut way = vec![arrow];
                while way.last()?.from != start {
                    way.push(came_by.get(way.last()?.from.as_str())?);
                }
                way.reverse();
                return Some(way);
            }
            next.push_back(&arrow.to);
        }
    }
    None
}

/// The module on a crate's first level that a file belongs to. The root is named like the crate.
fn module(file: &str) -> &str {
    let first = file.split('/').next().unwrap_or(file).trim_end_matches(".rs");
    if first == "lib" { "crate" } else { first }
}

/// What does not fit the floors, the lowest first: arrows up, modules without a floor, floors without a module.
fn against_floors(floors: &[String], files: &[String], arrows: &[Arrow]) -> Vec<String> {
    let there: BTreeSet<&str> = files.iter().map(|file| module(file)).filter(|name| *name != "crate").collect();
    let mut offenders = Vec::new();
    for (at, floor) in floors.iter().enumerate() {
        if floors.iter().take(at).any(|earlier| earlier == floor) || !there.contains(floor.as_str()) {
            offenders.push(format!("{FLOORS} lists {floor}, which stands there already or is no module"));
        }
    }
    let height = |name: &str| {
        // The root gathers everything, so it stands above all.
        if name == "crate" { Some(floors.len()) } else { floors.iter().position(|floor| floor == name) }
    };
    offenders.extend(there.iter().filter(|name| height(name).is_none()).map(|name| format!("{name} has no floor")));
    for arrow in arrows {
        let (from, to) = (module(&arrow.from), module(&arrow.to));
        if let (Some(low), Some(high)) = (height(from), height(to))
            && low < high
        {
            offenders.push(format!("{}:{} of {from} names {}, up in {to}", arrow.from, arrow.line, arrow.symbol));
        }
    }
    offenders
}

/// What does not fit the rule of a crate.
pub(super) fn against(floors: Option<&[String]>, sources: &[(String, String)], arrows: &[Arrow]) -> Vec<String> {
    match floors {
        Some(floors) => {
            let files: Vec<String> = sources.iter().map(|(path, _)| path.clone()).collect();
            against_floors(floors, &files, arrows)
        }
        None => circle(arrows).into_iter().flatten().map(named).collect(),
    }
}

fn named(arrow: &Arrow) -> String {
    format!("{}:{} names {} in {}", arrow.from, arrow.line, arrow.symbol, arrow.to)
}

#[test]
fn dependencies_inside_of_a_crate_have_one_direction() {
    let text = fs::read_to_string(top().join(FLOORS)).unwrap();
    let crates: toml::Table = text.parse().unwrap();
    assert!(crates.contains_key("domain"), "{FLOORS} does not name domain");
    for (name, about) in &crates {
        let folder = about["sources"].as_str().unwrap();
        let within = |(path, text): (String, String)| {
            (path.strip_prefix(folder).unwrap().trim_start_matches('/').to_owned(), text)
        };
        let sources: Vec<(String, String)> = sources(&[folder]).into_iter().map(within).collect();
        let arrows = arrows(&sources);
        assert!(arrows.len() > sources.len(), "{name}: {} files name next to nothing", sources.len());
        let floors = about.get("floors").map(|floors| {
            let floors = floors.as_array().unwrap().iter();
            floors.map(|floor| floor.as_str().unwrap().to_owned()).collect::<Vec<_>>()
        });
        let advice = match &floors {
            Some(_) => "let the lower module take what it needs as a parameter, or move what both use below both.",
            None => "these arrows lead in a circle. Move what is shared into a file of its own that names neither.",
        };
        none(&against(floors.as_deref(), &sources, &arrows), advice);
    }
}
