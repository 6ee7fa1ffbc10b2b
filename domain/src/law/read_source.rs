//! Reads where a value stands written.

use super::{about::Level, fields::Fields, mark::Mark, model::Source};

pub(super) fn source(level: Option<Level>, fields: &mut Fields<'_>) -> Option<Source> {
    let citation = fields.required_text("cite", 400, "where it stands written").map(str::to_owned);
    let href = fields.text("href", 600).map(str::to_owned);
    let mark: Option<Mark> = fields.required_word("mark", "\"read\", \"read_2\", \"memory\" or \"own\"");
    // The built-in files name the rows they come from; an operator has no such notes.
    let rows: Vec<String> = fields.word("rows").unwrap_or_default();
    let company = level == Some(Level::Company);
    if href.as_deref().is_some_and(|href| !is_web_address(href)) {
        fields.fault("href", "must be a web address such as https://law.example/12-3, of a plain host");
    }
    if !company && href.is_none() && !fields.has("href") {
        fields.fault("href", "is missing: where the text was read");
    }
    if mark.is_some_and(|mark| (mark == Mark::Own) != company) {
        fields.fault("mark", "\"own\" belongs to the company's set, and to nothing else");
    }
    Some(Source { citation: citation?, href, mark: mark?, rows })
}

/// Whether people can follow a link to where it says: `http` or `https`, a named host with no name or password before it, and
/// nothing that a page would have to escape.
fn is_web_address(href: &str) -> bool {
    let Some(rest) = href.strip_prefix("https://").or_else(|| href.strip_prefix("http://")) else { return false };
    let authority = rest.split(['/', '?', '#']).next().unwrap_or_default();
    let (host, port) = authority.split_once(':').map_or((authority, None), |(host, port)| (host, Some(port)));
    let plain = |label: &str| {
        !label.is_empty() && label.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-') && !label.starts_with('-')
    };
    // A host may end with the dot of the root.
    let labels = host.strip_suffix('.').unwrap_or(host);
    let named = labels.contains('.') && labels.split('.').all(plain);
    let port = port.is_none_or(|port| port.parse::<u16>().is_ok_and(|number| number > 0));
    named && port && href.bytes().all(|b| b.is_ascii_graphic() && !b"\"<>\\^`{|}".contains(&b))
}
