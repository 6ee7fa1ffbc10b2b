//! From the text of a law file to a rule set.

use toml::Table;

use super::{
    about::Level,
    convert::{self, Head},
    fault::LawFault,
    fields::Fields,
    kind::RuleKind,
    model::{Rule, RuleSet, Value},
    nutrient::Nutrient,
    read_about::about,
    read_source::source,
    scope::Scope,
};

/// Reads one file. A rule that has a fault is left out of the set; the fault stops the start anyway.
pub(super) fn rule_set(file: &str, text: &str, faults: &mut Vec<LawFault>) -> Option<RuleSet> {
    let table: Table = match text.parse() {
        Ok(table) => table,
        Err(fault) => {
            let what = format!("is not TOML: {fault}");
            faults.push(LawFault { file: file.to_owned(), rule: None, field: "the text".to_owned(), what });
            return None;
        }
    };
    let mut fields = Fields::new(&table, file, None);
    let about = about(text, &mut fields);
    let rules = fields.tables("rule");
    if rules.is_empty() && about.is_some() {
        fields.fault("rule", "is missing: a set without rules would clear everything");
    }
    let level = about.as_ref().map(|about| about.level);
    let mut found = Vec::new();
    let mut of_rules = Vec::new();
    for table in rules {
        found.extend(rule(file, table, level, &mut of_rules));
    }
    faults.append(&mut fields.finish("a rule set"));
    faults.append(&mut of_rules);
    Some(RuleSet { about: about?, text: text.to_owned(), rules: found })
}

fn rule(file: &str, table: &Table, level: Option<Level>, faults: &mut Vec<LawFault>) -> Option<Rule> {
    let id = table.get("id").and_then(toml::Value::as_str);
    let mut fields = Fields::new(table, file, id);
    let written =
        fields.required_text("id", 100, "a name that is never used again for another rule").map(str::to_owned);
    let kind: Option<RuleKind> = fields.required_word("kind", "the kind of duty");
    let binds = fields.required_word("binds", "\"applicator\", \"label\" or \"seller\"");
    let audience = fields.required_words("audience", "\"professional\", \"own_ground\", \"household\" or several");
    let advice = fields.flag("advice").unwrap_or(false);
    let scope = fields.table("when").map_or_else(Scope::default, |table| convert::scope(table, "when", &mut fields));
    let unless_credential = fields.text("unless_credential", 60).map(str::to_owned);
    let only_kinds = fields.words("only_kinds").unwrap_or_default();
    let head = head(kind, &mut fields);
    let values = fields.tables("value");
    if values.is_empty() {
        fields.fault("value", "is missing: a rule has at least one dated value");
    }
    let mut found = Vec::new();
    let mut of_values = Vec::new();
    for table in &values {
        found.extend(value(table, file, id, kind, &head, level, &mut of_values));
    }
    if found.len() == values.len() {
        order_of_values(&found, &mut fields);
    }
    // Which fields belong to a kind that nobody knows cannot be said; the kind's own fault is the one to mend first.
    faults.append(&mut if kind.is_some() { fields.finish(&of_kind(kind)) } else { fields.faults });
    faults.append(&mut of_values);
    Some(Rule {
        id: written?,
        kind: kind?,
        binds: binds?,
        audience: audience?,
        advice,
        scope,
        unless_credential,
        only_kinds,
        values: found,
    })
}

/// How a fault calls the kind a field does not belong to.
fn of_kind(kind: Option<RuleKind>) -> String {
    let name = kind.and_then(|kind| toml::Value::try_from(kind).ok());
    name.as_ref().and_then(toml::Value::as_str).map_or_else(|| "a rule".to_owned(), |name| format!("kind {name}"))
}

fn head(kind: Option<RuleKind>, fields: &mut Fields<'_>) -> Head {
    let Some(kind) = kind else { return Head::default() };
    let mut head = Head::default();
    if let Some(fitting) = kind.unit() {
        let unit = fields.required_text("unit", 10, fitting);
        if unit.is_some_and(|unit| unit != fitting) {
            fields.fault("unit", format!("does not fit this kind, whose numbers are in {fitting}"));
        }
    }
    if kind.has_nutrient() {
        head.nutrient = fields.required_word("nutrient", "what the rule counts");
        let by_mass = matches!(
            kind,
            RuleKind::CapApplication | RuleKind::CapYear | RuleKind::Release | RuleKind::SoilReportBefore
        );
        if by_mass && head.nutrient == Some(Nutrient::AnyFertilizer) {
            fields.fault("nutrient", "any fertilizer has no mass of its own; only a window may bar it");
        }
        if kind == RuleKind::Release && head.nutrient.is_some_and(|nutrient| nutrient != Nutrient::NitrogenTotal) {
            fields.fault("nutrient", "a label states the release of all nitrogen, of nothing else");
        }
    }
    if kind.has_nutrients() {
        head.nutrients = fields.words("nutrients").unwrap_or_default();
    }
    head
}

fn value(
    table: &Table,
    file: &str,
    id: Option<&str>,
    kind: Option<RuleKind>,
    head: &Head,
    level: Option<Level>,
    faults: &mut Vec<LawFault>,
) -> Option<Value> {
    let mut fields = Fields::new(table, file, id);
    let from = fields.day("from", "the first day in force");
    let starts = fields.flag("starts").unwrap_or(false);
    let repealed = fields.flag("repealed").unwrap_or(false);
    let source = source(level, &mut fields);
    // A value of a kind that nobody knows cannot be read; the kind's own fault says so.
    let Some(kind) = kind else {
        faults.append(&mut fields.faults);
        return None;
    };
    let duty = if repealed { None } else { convert::duty(kind, head, &mut fields) };
    let of = if repealed { "a repeal".to_owned() } else { format!("{} or its values", of_kind(Some(kind))) };
    faults.append(&mut fields.finish(&of));
    (repealed || duty.is_some()).then_some(Value { from: from?, starts, duty, source: source? })
}

/// Values follow one another in time, the first of them is no repeal, and only it can be the start of the duty.
fn order_of_values(values: &[Value], fields: &mut Fields<'_>) {
    if values.first().is_some_and(|first| first.duty.is_none()) {
        fields.fault("value", "begins with a repeal: what was repealed must stand before it");
    }
    for (earlier, later) in values.iter().zip(values.iter().skip(1)) {
        if later.from == earlier.from {
            fields.fault("value", format!("has two values from {}: they overlap", later.from));
        }
        if later.from < earlier.from {
            let what = format!("{} stands after {}: write the earliest first", later.from, earlier.from);
            fields.fault("value", what);
        }
        if later.duty.is_none() && earlier.duty.is_none() {
            fields.fault("value", format!("is repealed again on {} without a value between", later.from));
        }
        if later.starts {
            fields
                .fault("starts", format!("stands on the value of {}, but only the first can be the start", later.from));
        }
    }
}
