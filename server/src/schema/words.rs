//! What was found in a value, in words a person can act on.

use serde_json::Value;

use super::{
    FieldFault,
    check::{Finding, Kind},
    escape,
    model::Type,
};

/// Tells one finding. A choice between "nothing" and a type is told as a fault of the type.
pub(super) fn tell(finding: &Finding<'_>, faults: &mut Vec<FieldFault>) {
    let at = &finding.at;
    let mut push = |pointer: String, code: &str, detail: String| faults.push(FieldFault::at(pointer, code, detail));
    match &finding.kind {
        Kind::NoChoice { branches, is_null } => {
            let choices: Vec<&[Finding<'_>]> =
                branches.iter().filter(|branch| !branch.iter().any(Finding::wants_null)).map(Vec::as_slice).collect();
            match Choice::of(&choices, at) {
                _ if *is_null => push(at.clone(), "invalid", NO_SHAPE.to_owned()),
                Choice::Branch(branch) => branch.iter().for_each(|inner| tell(inner, faults)),
                Choice::NoTag(name) => push(format!("{at}/{}", escape(name)), "missing", "is required".to_owned()),
                Choice::UnknownTag(pointer, words) => {
                    push(pointer.to_owned(), "unknown_value", format!("must be one of: {}", words.join(", ")));
                }
                Choice::None => push(at.clone(), "invalid", NO_SHAPE.to_owned()),
            }
        }
        Kind::Missing(name) => push(format!("{at}/{}", escape(name)), "missing", "is required".to_owned()),
        Kind::UnknownMember(name) => {
            let detail = "is not a field of this document; check its spelling";
            push(format!("{at}/{}", escape(name)), "unknown_field", detail.to_owned());
        }
        _ => {
            let (code, detail) = about(finding);
            push(at.clone(), code, detail);
        }
    }
}

const NO_SHAPE: &str = "does not have a shape that is known here";

/// The code and the words of what is wrong with one value.
fn about(finding: &Finding<'_>) -> (&'static str, String) {
    let schema = finding.schema;
    let example = schema.examples.first().or(schema.example.as_ref());
    let example = example.map(|value| format!(", such as {value}")).unwrap_or_default();
    match &finding.kind {
        Kind::Shape => {
            let sentence = schema.description.as_deref();
            let sentence = sentence.unwrap_or("Begin with a visible character, and leave control characters out.");
            ("wrong_format", format!("is not written as it must be{example}. {sentence}"))
        }
        Kind::Type { is_number } => {
            let wanted = schema.types.first().copied().map(type_words).unwrap_or_default();
            let hint = if wanted == "text" && *is_number {
                "; write the number as text, so that no digit is lost"
            } else {
                ""
            };
            ("wrong_type", format!("must be {wanted}{example}{hint}"))
        }
        Kind::UnknownWord => ("unknown_value", format!("must be one of: {}", words_of(&schema.words))),
        Kind::TooLong(limit) => ("wrong_length", format!("must have at most {}", counted(*limit, "character"))),
        Kind::TooShort(limit) => ("wrong_length", format!("must have at least {}", counted(*limit, "character"))),
        Kind::TooLarge(limit) => ("out_of_range", format!("must be at most {limit}")),
        Kind::TooSmall(limit) => ("out_of_range", format!("must be at least {limit}")),
        Kind::TooMany(limit) => ("wrong_count", format!("must have at most {}", counted(*limit, "entry"))),
        Kind::TooFew(limit) => ("wrong_count", format!("must have at least {}", counted(*limit, "entry"))),
        Kind::Missing(_) | Kind::UnknownMember(_) | Kind::NoChoice { .. } | Kind::ManyChoices => {
            ("invalid", "does not fit".to_owned())
        }
    }
}

/// Which of several shapes somebody meant.
enum Choice<'f> {
    /// The one whose tag was written; without tags the one that is told most about.
    Branch(&'f [Finding<'f>]),
    /// Every shape needs this tag, and there is none.
    NoTag(&'f str),
    /// A tag that no shape has: where it stands, and the tags that there are.
    UnknownTag(&'f str, Vec<&'f str>),
    None,
}

impl<'f> Choice<'f> {
    fn of(branches: &[&'f [Finding<'f>]], at: &str) -> Self {
        let meant: Vec<_> = branches.iter().filter(|branch| other_tag(branch, at).is_none()).collect();
        let Some((first, others)) = branches.split_first() else { return Self::None };
        if meant.is_empty() {
            let tags: Vec<_> = branches.iter().filter_map(|branch| other_tag(branch, at)).collect();
            let pointer = tags.first().map(|(pointer, _)| *pointer).unwrap_or_default();
            return Self::UnknownTag(pointer, tags.into_iter().map(|(_, word)| word).collect());
        }
        let missing =
            |branch: &[Finding<'_>], wanted: &str| branch.iter().any(|finding| missing_at(finding, at) == Some(wanted));
        let in_all = |name: &&str| others.iter().all(|branch| missing(branch, name));
        let common = first.iter().filter_map(|finding| missing_at(finding, at)).find(in_all);
        match common {
            Some(name) if !others.is_empty() => Self::NoTag(name),
            _ => meant.into_iter().max_by_key(|branch| branch.len()).map_or(Self::None, |branch| Self::Branch(branch)),
        }
    }
}

/// The tag that a shape wants and did not find: where it stands, and its word.
fn other_tag<'f>(branch: &'f [Finding<'f>], at: &str) -> Option<(&'f str, &'f str)> {
    branch.iter().find_map(|finding| {
        let Kind::UnknownWord = finding.kind else { return None };
        let member = finding.at.strip_prefix(at)?.strip_prefix('/')?;
        match finding.schema.words.as_slice() {
            [word] if !member.contains('/') => Some((finding.at.as_str(), word.as_str()?)),
            _ => None,
        }
    })
}

/// The name of a member that is missing right here.
fn missing_at<'f>(finding: &'f Finding<'f>, at: &str) -> Option<&'f str> {
    match finding.kind {
        Kind::Missing(name) if finding.at == at => Some(name),
        _ => None,
    }
}

/// The words of an enumeration, as a person reads them.
fn words_of(options: &[Value]) -> String {
    let word = |option: &Value| option.as_str().map_or_else(|| option.to_string(), str::to_owned);
    options.iter().filter(|option| !option.is_null()).map(word).collect::<Vec<_>>().join(", ")
}

pub(super) fn counted(count: u64, what: &str) -> String {
    match (count, what.strip_suffix('y')) {
        (1, _) => format!("1 {what}"),
        (_, Some(stem)) => format!("{count} {stem}ies"),
        _ => format!("{count} {what}s"),
    }
}

fn type_words(kind: Type) -> &'static str {
    match kind {
        Type::String => "text",
        Type::Integer => "a whole number",
        Type::Number => "a number",
        Type::Boolean => "true or false",
        Type::Array => "a list",
        Type::Null | Type::Object => "an object",
    }
}
