//! Reads what a rule set says about itself.

use sha2::{Digest, Sha256};
use toml::Table;

use super::{
    about::{Authorization, CoverageGap, Level, Outside, Preemption, RuleSetAbout},
    convert,
    fields::Fields,
    read_source::source,
    scope::Scope,
};
use crate::ids::RuleSetCode;

pub(super) fn about(text: &str, fields: &mut Fields<'_>) -> Option<RuleSetAbout> {
    let code = fields.required_text("code", 60, "how the set is called");
    let name = fields.required_text("name", 120, "what people call the place");
    let level = fields.required_word("level", "\"state\", \"county\", \"municipality\" or \"company\"");
    let parent = fields.text("parent", 60).map(str::to_owned);
    let coverage = fields.required_text("coverage", 600, "what the set covers, and what it does not");
    let last_checked = fields.day("last_checked", "the day somebody last compared it with the law");
    let preempts_local = fields.table("preempts_local").and_then(|table| preemption(table, level, fields));
    let local_rules = fields.word("local_rules").unwrap_or_default();
    let local_decides = fields.text("local_decides", 300).map(str::to_owned);
    let enacted_on = fields.optional_day("enacted_on");
    let stands_by = fields.table("stands_by").and_then(|table| authorization(table, level, fields));
    let public_work_is_for_hire = fields.flag("public_work_is_for_hire").unwrap_or(false);
    let outside = fields.tables("outside").into_iter().filter_map(|table| outside(table, level, fields)).collect();
    let holes = fields.tables("hole").into_iter().filter_map(|table| coverage_gap(table, fields)).collect();
    match (level, &parent) {
        (Some(Level::County | Level::Municipality), None) => {
            fields.fault("parent", "is missing: a place lies in another");
        }
        (Some(Level::Company), Some(_)) => fields.fault("parent", "does not belong to the company's set"),
        _ => {}
    }
    if level == Some(Level::Company) && preempts_local.is_some() {
        fields.fault("preempts_local", "does not belong to the company's set, which may only be stricter than law");
    }
    if code.is_some_and(|code| !is_code(code)) {
        fields.fault("code", "must be small letters, digits and hyphens, such as us-pa-town");
    }
    Some(RuleSetAbout {
        code: code?.to_owned(),
        name: name?.to_owned(),
        level: level?,
        parent,
        preempts_local,
        local_rules,
        local_decides,
        enacted_on,
        stands_by,
        public_work_is_for_hire,
        outside,
        holes,
        coverage: coverage?.to_owned(),
        last_checked: last_checked?,
        hash: hexadecimal(&Sha256::digest(text.as_bytes())),
    })
}

fn is_code(code: &str) -> bool {
    code.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-')
}

fn hexadecimal(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    bytes.iter().fold(String::with_capacity(bytes.len() * 2), |mut text, byte| {
        // Writing to a string cannot fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}

fn preemption(table: &Table, level: Option<Level>, fields: &mut Fields<'_>) -> Option<Preemption> {
    let mut inner = Fields::new(table, "", None);
    let words = inner.required_text("words", 300, "what it says, in a sentence").map(str::to_owned);
    let reach = inner.word("reach").unwrap_or_default();
    let older_than = inner.optional_day("older_than");
    let older_reach = inner.word("older_reach").unwrap_or_default();
    let except: Vec<RuleSetCode> = inner.words("except").unwrap_or_default();
    if inner.has("older_reach") && older_than.is_none() {
        inner.fault("older_than", "is missing: `older_reach` speaks of rules older than a day");
    }
    let source = source(level, &mut inner);
    fields.take_faults("preempts_local", inner.finish("pre-emption"));
    let source = source?;
    Some(Preemption {
        words: words?,
        citation: source.citation,
        href: source.href,
        mark: source.mark,
        rows: source.rows,
        reach,
        older_than,
        older_reach,
        except,
    })
}

fn authorization(table: &Table, level: Option<Level>, fields: &mut Fields<'_>) -> Option<Authorization> {
    let mut inner = Fields::new(table, "", None);
    let words = inner.required_text("words", 300, "what lets the rules stand, in a sentence").map(str::to_owned);
    let source = source(level, &mut inner);
    fields.take_faults("stands_by", inner.finish("what lets the rules stand"));
    let source = source?;
    Some(Authorization { words: words?, citation: source.citation, href: source.href, mark: source.mark })
}

fn outside(table: &Table, level: Option<Level>, fields: &mut Fields<'_>) -> Option<Outside> {
    let mut inner = Fields::new(table, "", None);
    let kinds = inner.required_words("kinds", "the kinds of ground that are outside");
    let rules = inner.words("rules").unwrap_or_default();
    let from = inner.day("from", "the first day on which they are known to be outside");
    let credential = inner.text("credential", 60).map(str::to_owned);
    let with_plan = inner.flag("with_plan").unwrap_or(false);
    let condition = inner.text("condition", 200).map(str::to_owned);
    let source = source(level, &mut inner);
    fields.take_faults("outside", inner.finish("what is outside"));
    let source = source?;
    Some(Outside {
        kinds: kinds?,
        rules,
        from: from?,
        credential,
        with_plan,
        condition,
        citation: source.citation,
        href: source.href,
        mark: source.mark,
        rows: source.rows,
    })
}

fn coverage_gap(table: &Table, fields: &mut Fields<'_>) -> Option<CoverageGap> {
    let mut inner = Fields::new(table, "", None);
    let words = inner.required_text("words", 300, "what is missing, in a sentence").map(str::to_owned);
    let rows: Option<Vec<String>> = inner.required_words("rows", "the rows of the reading notes");
    let when = inner.table("when").map_or_else(Scope::default, |table| convert::scope(table, "when", &mut inner));
    let asks_care = inner.flag("asks_care").unwrap_or(false);
    let about_labels = inner.flag("about_labels").unwrap_or(false);
    let outside_kinds = inner.words("outside_kinds").unwrap_or_default();
    fields.take_faults("hole", inner.finish("a hole"));
    Some(CoverageGap { words: words?, rows: rows?, asks_care, about_labels, outside_kinds, when })
}
