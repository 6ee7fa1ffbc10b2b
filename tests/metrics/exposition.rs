//! Reads the text of metrics as strictly as the `OpenMetrics` specification, version 1.0, writes it
//! (<https://prometheus.io/docs/specs/om/open_metrics_spec/>): a family's lines stand together, what describes it comes first, a
//! unit ends the family's name, each kind has its own endings, buckets add up, and the last line is `# EOF`.

use std::collections::{BTreeMap, BTreeSet};

type Labels = BTreeMap<String, String>;

#[derive(Debug, Default)]
struct Family {
    name: String,
    kind: Option<String>,
    unit: Option<String>,
    help: Option<String>,
    samples: Vec<(String, Labels, f64)>,
}

/// A text that was read.
#[derive(Debug)]
pub struct Exposition(Vec<Family>);

impl Exposition {
    #[track_caller]
    pub fn read(text: &str) -> Self {
        let Some(body) = text.strip_suffix("# EOF\n") else {
            panic!("does not end with # EOF and a line's end: {text}")
        };
        assert!(!text.contains('\r') && !body.contains("# EOF"));
        let mut families: Vec<Family> = Vec::new();
        for line in body.lines() {
            if let Some(about) = line.strip_prefix("# ") {
                describe(&mut families, about);
                continue;
            }
            let Some(family) = families.last_mut() else { panic!("{line} stands before every description") };
            family.samples.push(sample(line));
        }
        let mut names = BTreeSet::new();
        for family in &families {
            assert!(names.insert(&family.name), "{} stands in two places", family.name);
            family.check();
        }
        Self(families)
    }

    /// The value of the one sample with this name and these labels.
    pub fn value(&self, name: &str, labels: &[(&str, &str)]) -> Option<f64> {
        let wanted: Labels = labels.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect();
        let samples = self.0.iter().flat_map(|family| &family.samples);
        samples.filter(|sample| sample.0 == name && sample.1 == wanted).map(|sample| sample.2).next()
    }

    /// Kind, unit and help of a family.
    pub fn about(&self, name: &str) -> Option<(&str, Option<&str>, &str)> {
        let family = self.0.iter().find(|family| family.name == name)?;
        Some((family.kind.as_deref()?, family.unit.as_deref(), family.help.as_deref()?))
    }

    pub fn names(&self) -> Vec<&str> {
        self.0.iter().map(|family| family.name.as_str()).collect()
    }

    /// Each value of each label.
    pub fn label_values(&self) -> BTreeSet<&str> {
        let samples = self.0.iter().flat_map(|family| &family.samples);
        samples.flat_map(|sample| sample.1.values()).map(String::as_str).collect()
    }
}

fn is_name(name: &str) -> bool {
    let mut letters = name.chars();
    let first = letters.next().is_some_and(|letter| letter.is_ascii_alphabetic() || letter == '_');
    first && letters.all(|letter| letter.is_ascii_alphanumeric() || letter == '_')
}

fn describe(families: &mut Vec<Family>, about: &str) {
    let words: Vec<&str> = about.splitn(3, ' ').collect();
    let [what, name, said] = words.as_slice() else { panic!("{about}") };
    assert!(is_name(name), "{about}");
    if families.last().is_none_or(|family| family.name != *name) {
        families.push(Family { name: (*name).to_owned(), ..Family::default() });
    }
    let family = families.last_mut().unwrap();
    assert!(family.samples.is_empty(), "{about} stands behind a sample");
    let place = match *what {
        "TYPE" => &mut family.kind,
        "UNIT" => &mut family.unit,
        "HELP" => &mut family.help,
        _ => panic!("{about}"),
    };
    assert!(place.replace((*said).to_owned()).is_none(), "{about} comes twice");
}

/// `name{label="value"} 1.5`, without a time or an exemplar, which this server does not write.
fn sample(line: &str) -> (String, Labels, f64) {
    let end = line.find(['{', ' ']).unwrap_or_else(|| panic!("{line}"));
    let (name, mut rest) = line.split_at(end);
    assert!(is_name(name), "{line}");
    let mut labels = Labels::new();
    if let Some(inner) = rest.strip_prefix('{') {
        rest = inner;
        loop {
            let (label, after) = rest.split_once("=\"").unwrap_or_else(|| panic!("{line}"));
            assert!(is_name(label), "{line}");
            let (value, after) = quoted(after);
            assert!(labels.insert(label.to_owned(), value).is_none(), "{line} has a label twice");
            if let Some(after) = after.strip_prefix('}') {
                rest = after;
                break;
            }
            rest = after.strip_prefix(',').unwrap_or_else(|| panic!("{line}"));
        }
    }
    let value = rest.strip_prefix(' ').unwrap_or_else(|| panic!("{line}"));
    assert!(!value.contains(' '), "{line}");
    (name.to_owned(), labels, value.parse().unwrap_or_else(|_| panic!("{line}")))
}

/// A value up to its closing quotation mark, and what follows.
fn quoted(text: &str) -> (String, &str) {
    let (mut value, mut letters) = (String::new(), text.char_indices());
    while let Some((at, letter)) = letters.next() {
        match letter {
            '"' => return (value, &text[at + 1..]),
            '\\' => value.push(match letters.next() {
                Some((_, 'n')) => '\n',
                Some((_, letter @ ('"' | '\\'))) => letter,
                other => panic!("{other:?} behind a backslash"),
            }),
            _ => value.push(letter),
        }
    }
    panic!("{text} has no end");
}

impl Family {
    fn check(&self) {
        let name = &self.name;
        let help = self.help.as_deref().unwrap_or_default();
        assert!(help.ends_with('.') && !help.ends_with(".."), "{name}: {help:?}");
        if let Some(unit) = &self.unit {
            assert!(name.ends_with(&format!("_{unit}")), "{name} has the unit {unit}");
        }
        let endings: &[&str] = match self.kind.as_deref() {
            Some("gauge") => &[""],
            Some("counter") => &["_total"],
            Some("info") => &["_info"],
            Some("histogram") => &["_bucket", "_count", "_sum"],
            other => panic!("{name} is {other:?}"),
        };
        let mut seen = BTreeSet::new();
        for (sample, labels, value) in &self.samples {
            let ending = sample.strip_prefix(name.as_str()).unwrap_or_else(|| panic!("{sample} stands in {name}"));
            assert!(endings.contains(&ending), "{sample} stands in {name}");
            assert!(seen.insert((sample, labels)), "{sample} {labels:?} comes twice");
            assert!(value.is_finite() && (*value >= 0.0 || endings == [""]), "{sample} {value}");
            assert!(endings != ["_info"] || value.to_bits() == 1.0_f64.to_bits(), "{sample} {value}");
            assert_eq!(labels.contains_key("le"), ending == "_bucket", "{sample} {labels:?}");
        }
        if endings.len() == 3 {
            self.check_buckets();
        }
    }

    /// Buckets rise from bound to bound, and the last, without a bound, is the count.
    fn check_buckets(&self) {
        let of =
            |ending: &str| self.samples.iter().filter(move |sample| sample.0.ends_with(ending)).collect::<Vec<_>>();
        let mut series: BTreeMap<Labels, Vec<(f64, f64)>> = BTreeMap::new();
        for (_, labels, value) in of("_bucket") {
            let mut labels = labels.clone();
            let bound = labels.remove("le").unwrap();
            series.entry(labels).or_default().push((bound.parse().unwrap(), *value));
        }
        assert_eq!((series.len(), series.len()), (of("_count").len(), of("_sum").len()), "{}", self.name);
        for (labels, buckets) in series {
            assert!(
                buckets.windows(2).all(|two| two[0].0 < two[1].0 && two[0].1 <= two[1].1),
                "{}: {buckets:?}",
                self.name
            );
            let count = of("_count").into_iter().find(|sample| sample.1 == labels).unwrap().2;
            assert_eq!(buckets.last(), Some(&(f64::INFINITY, count)), "{}", self.name);
        }
    }
}
