//! Which topics there are, in the order in which a newcomer reads them, and what each kind of reader begins with.

use std::sync::LazyLock;

use super::markdown::{Topic, read};

/// The address of each topic under `/help/`, and its text. An address stays: problem pages, printed sheets and people know it.
pub const SOURCES: [(&str, &str); 23] = [
    ("first-day", include_str!("../../../help/first-day.md")),
    ("people", include_str!("../../../help/people.md")),
    ("check", include_str!("../../../help/check.md")),
    ("clearance", include_str!("../../../help/clearance.md")),
    ("recording", include_str!("../../../help/recording.md")),
    ("correcting", include_str!("../../../help/correcting.md")),
    ("complete", include_str!("../../../help/complete.md")),
    ("history", include_str!("../../../help/history.md")),
    ("phone", include_str!("../../../help/phone.md")),
    ("weather", include_str!("../../../help/weather.md")),
    ("measuring", include_str!("../../../help/measuring.md")),
    ("soil", include_str!("../../../help/soil.md")),
    ("products", include_str!("../../../help/products.md")),
    ("machines", include_str!("../../../help/machines.md")),
    ("season", include_str!("../../../help/season.md")),
    ("law", include_str!("../../../help/law.md")),
    ("certificates", include_str!("../../../help/certificates.md")),
    ("year", include_str!("../../../help/year.md")),
    ("figures", include_str!("../../../help/figures.md")),
    ("proof", include_str!("../../../help/proof.md")),
    ("server", include_str!("../../../help/server.md")),
    ("operating", include_str!("../../../help/operating.md")),
    ("api", include_str!("../../../help/api.md")),
];

/// Every topic, read once.
pub static HANDBOOK: LazyLock<Vec<Topic>> =
    LazyLock::new(|| SOURCES.iter().map(|(slug, text)| read(slug, text)).collect());

/// Somebody with a question, and the topics that answer most of theirs.
#[derive(Debug)]
pub struct Reader {
    pub who: &'static str,
    pub slugs: &'static [&'static str],
}

impl Reader {
    /// Their topics in order.
    pub fn topics(&self) -> impl Iterator<Item = &'static Topic> {
        self.slugs.iter().filter_map(|slug| HANDBOOK.iter().find(|topic| topic.slug == *slug))
    }
}

pub const READERS: [Reader; 4] = [
    Reader {
        who: "I work on lawns",
        slugs: &["check", "recording", "phone", "weather", "machines", "measuring", "products"],
    },
    Reader {
        who: "I work in the office",
        slugs: &[
            "first-day",
            "people",
            "correcting",
            "complete",
            "history",
            "measuring",
            "soil",
            "products",
            "season",
            "law",
            "certificates",
            "year",
        ],
    },
    Reader {
        who: "I own the company",
        slugs: &["first-day", "people", "law", "year", "recording", "complete", "proof", "season"],
    },
    Reader { who: "I run the server", slugs: &["operating", "server", "first-day", "proof", "law", "weather", "api"] },
];

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use clap::CommandFactory;

    use super::*;
    use crate::{config::Cli, pages::help::markdown::raw_html, problem::KINDS};

    fn topic(slug: &str) -> &'static Topic {
        HANDBOOK.iter().find(|topic| topic.slug == slug).unwrap_or_else(|| panic!("no help topic {slug}"))
    }

    #[test]
    fn every_topic_is_listed_once_and_read_by_somebody() {
        let files = std::fs::read_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/help")).unwrap();
        let files: BTreeSet<String> =
            files.map(|file| file.unwrap().file_name().to_string_lossy().trim_end_matches(".md").to_owned()).collect();
        let listed: BTreeSet<String> = SOURCES.iter().map(|(slug, _)| (*slug).to_owned()).collect();
        assert_eq!(files, listed, "a file under server/help needs a line in SOURCES");
        assert_eq!(listed.len(), SOURCES.len());
        for slug in &listed {
            let by_name = READERS.iter().filter(|reader| reader.slugs.contains(&slug.as_str())).count();
            assert!(by_name > 0 || ["clearance", "figures"].contains(&slug.as_str()), "nobody is sent to {slug}");
        }
        for reader in &READERS {
            assert_eq!(reader.topics().count(), reader.slugs.len(), "{}", reader.who);
        }
    }

    #[test]
    fn a_topic_has_a_title_a_summary_and_sections_with_addresses() {
        for topic in HANDBOOK.iter() {
            assert!(!topic.title.is_empty() && !topic.summary.is_empty(), "{}", topic.slug);
            assert!((2..=16).contains(&topic.sections.len()), "{} has {} sections", topic.slug, topic.sections.len());
            let ids: BTreeSet<&str> = topic.sections.iter().map(|section| section.id.as_str()).collect();
            assert_eq!(ids.len(), topic.sections.len(), "two headings of {} have one address", topic.slug);
            assert!(!ids.contains("rule-sets"), "{}: the list of rule sets has this address", topic.slug);
        }
    }

    #[test]
    fn no_topic_brings_markup_of_its_own() {
        for (slug, text) in &SOURCES {
            assert_eq!(raw_html(text), Vec::<String>::new(), "{slug}");
        }
        assert_eq!(raw_html("<b>bold</b>\n\n<div>\nblock\n</div>\n").len(), 5);
    }

    #[test]
    fn every_problem_is_sent_to_a_section_that_is_there() {
        for about in &KINDS {
            let (slug, id) = about.help.split_once('#').unwrap_or((about.help, ""));
            let found = topic(slug).sections.iter().any(|section| section.id == id);
            assert!(found || id.is_empty(), "{}: /help/{} is not there", about.slug, about.help);
        }
    }

    /// What stands in code, in a line of its own or within a sentence, and calls this program.
    fn command_lines(text: &str) -> Vec<String> {
        let fenced = text.lines().map(str::trim).map(|line| line.trim_start_matches("$ "));
        let quoted = text.split('`').skip(1).step_by(2);
        let joined = text.replace("\\\n", " ");
        let whole = joined.lines().map(str::trim).filter(|line| line.contains(" \\") || line.starts_with("swardbook "));
        let called = |line: &str| {
            let program = line.split_whitespace().next().unwrap_or_default();
            // A setting of another program may end in the folder of this one.
            let is_own = !program.contains('=') && program.rsplit('/').next() == Some("swardbook");
            (is_own || line.starts_with("cargo run")) && line.split_whitespace().count() > 1
        };
        fenced.chain(quoted).chain(whole).filter(|line| called(line)).map(str::to_owned).collect()
    }

    /// Each option of the command line that a document shows, held against the definition.
    fn hold(document: &str, text: &str) -> usize {
        let cli = Cli::command();
        let mut held = 0;
        for line in command_lines(text) {
            let mut words = line.split_whitespace().skip_while(|word| {
                !cli.get_subcommands().any(|command| command.get_name() == word.trim_end_matches([',', '.', ';']))
            });
            let Some(name) = words.next() else {
                let own = line.split_whitespace().nth(1).unwrap_or_default();
                assert!(own.starts_with("--") || line.starts_with("cargo run"), "{document}: `{line}`");
                continue;
            };
            let command = cli.find_subcommand(name).unwrap();
            for option in words.filter_map(|word| word.strip_prefix("--")) {
                let option = option.trim_end_matches(|c: char| !c.is_ascii_alphanumeric());
                let known = command.get_arguments().any(|known| known.get_long() == Some(option)) || option == "help";
                assert!(known, "{document}: `{line}`: {name} has no --{option}");
            }
            held += 1;
        }
        held
    }

    #[test]
    fn every_command_line_that_is_shown_exists() {
        let mut held: usize = SOURCES.iter().map(|(slug, text)| hold(slug, text)).sum();
        for document in ["README.md", "DEVELOPERS.md"] {
            let path = format!("{}/../{document}", env!("CARGO_MANIFEST_DIR"));
            held += hold(document, &std::fs::read_to_string(path).unwrap());
        }
        assert!(held > 15, "only {held} command lines were looked at");
    }

    #[test]
    fn every_setting_of_the_server_is_explained() {
        let (_, text) = SOURCES.iter().find(|(slug, _)| *slug == "server").unwrap();
        let cli = Cli::command();
        for command in cli.get_subcommands() {
            assert!(
                text.contains(&format!("`swardbook {}", command.get_name())),
                "{} is not named",
                command.get_name()
            );
            for setting in command.get_arguments().filter(|one| !one.is_hide_set()) {
                let Some(long) = setting.get_long() else { continue };
                assert!(text.contains(&format!("`--{long}")), "{}: --{long} is not explained", command.get_name());
                if let Some(name) = setting.get_env().and_then(std::ffi::OsStr::to_str) {
                    assert!(text.contains(&format!("`{name}`")), "{name} is not named");
                }
            }
        }
    }
}
