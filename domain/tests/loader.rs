//! What is wrong with a law file is said with its file, rule and field, and all of it at once.

use domain::law::{EMBEDDED, LawFault, Lawbook};

pub const HEAD: &str = r#"
code = "xx"
name = "Nowhere"
level = "state"
last_checked = 2026-11-20
coverage = "Invented, for tests."
"#;

const RULE: &str = r#"
[[rule]]
id = "xx.nitrogen.application"
kind = "cap_application"
binds = "applicator"
audience = ["professional"]
nutrient = "nitrogen_total"
unit = "lb/ksf"
"#;

const VALUE: &str = r#"
[[rule.value]]
from = 2014-01-01
comparator = "at_most"
value = "0.8"
cite = "Example Code 1-2-3(b)"
href = "https://law.example/1-2-3"
mark = "read"
rows = ["XX-01"]
"#;

pub fn whole() -> String {
    format!("{HEAD}{RULE}{VALUE}")
}

pub fn faults(text: &str) -> Vec<LawFault> {
    Lawbook::from_texts(&[("xx.toml", text)]).err().unwrap_or_default()
}

/// One fault, of that field, that says so.
#[track_caller]
pub fn refuses(text: &str, rule: Option<&str>, field: &str, what: &str) {
    let found = faults(text);
    let fits = |fault: &&LawFault| {
        fault.file == "xx.toml" && fault.rule.as_deref() == rule && fault.field == field && fault.what.contains(what)
    };
    assert!(found.iter().any(|fault| fits(&fault)), "no fault of `{field}` saying {what:?} among {found:#?}");
}

pub const ID: Option<&str> = Some("xx.nitrogen.application");

#[test]
fn the_example_is_read() {
    assert_eq!(faults(&whole()), []);
}

#[test]
fn a_field_that_nobody_asked_for_is_refused_everywhere() {
    refuses(&whole().replace("coverage", "colour = \"green\"\ncoverage"), None, "colour", "does not belong");
    refuses(
        &whole().replace("unit =", "shade = \"dark\"\nunit ="),
        ID,
        "shade",
        "does not belong to kind cap_application",
    );
    refuses(&whole().replace("cite =", "hours = 24\ncite ="), ID, "hours", "does not belong to kind cap_application");
    let scoped = whole().replace("unit =", "when = { colour = true }\nunit =");
    refuses(&scoped, ID, "when", "`colour` does not belong");
}

#[test]
fn an_unknown_kind_is_refused() {
    assert_eq!(faults(&whole().replace("cap_application", "cap_fortnight")).len(), 1, "nothing else is worth saying");
    refuses(
        &whole().replace("cap_application", "cap_fortnight"),
        ID,
        "kind",
        "`cap_fortnight` is not known; write one of cap_application, ",
    );
}

#[test]
fn a_value_without_citation_mark_or_address_is_refused() {
    for (line, field) in [
        ("cite = \"Example Code 1-2-3(b)\"\n", "cite"),
        ("href = \"https://law.example/1-2-3\"\n", "href"),
        ("mark = \"read\"\n", "mark"),
        ("from = 2014-01-01\n", "from"),
        ("comparator = \"at_most\"\n", "comparator"),
        ("value = \"0.8\"\n", "value"),
    ] {
        refuses(&whole().replace(line, ""), ID, field, "is missing");
    }
    // Rows are the reading notes of the built-in files; an operator has none.
    assert_eq!(faults(&whole().replace("rows = [\"XX-01\"]\n", "")), []);
    refuses(&whole().replace("[\"XX-01\"]", "\"XX-01\""), ID, "rows", "sequence");
    refuses(&whole().replace("\"read\"", "\"heard\""), ID, "mark", "`heard` is not known");
    refuses(&whole().replace("\"read\"", "\"own\""), ID, "mark", "belongs to the company");
}

#[test]
fn a_number_that_is_no_decimal_text_is_refused() {
    assert_eq!(faults(&whole().replace("\"0.8\"", "\"0,8\"")).len(), 1, "what is there is not missing as well");
    let by_species = |rate: &str| whole().replace("value = \"0.8\"", &format!("by_species = {{ zoysia = {rate} }}"));
    for (rate, what) in [("\"-1\"", "`zoysia`: write a plain decimal"), ("1", "`zoysia`: needs decimal text in quotes")]
    {
        refuses(&by_species(rate), ID, "by_species", what);
        assert_eq!(faults(&by_species(rate)).len(), 1, "one fault, said once");
    }
    refuses(&whole().replace("\"0.8\"", "0.8"), ID, "value", "decimal text in quotes");
    refuses(&whole().replace("\"0.8\"", "\"0,8\""), ID, "value", "plain decimal");
}

#[test]
fn a_unit_or_a_comparator_that_does_not_fit_the_kind_is_refused() {
    refuses(&whole().replace("lb/ksf", "ft"), ID, "unit", "does not fit this kind");
    refuses(&whole().replace("at_most", "at_least"), ID, "comparator", "does not fit this kind");
    refuses(&whole().replace("nitrogen_total", "any_fertilizer"), ID, "nutrient", "only a window");
}

#[test]
fn values_follow_one_another_in_time() {
    let again = VALUE.replace("0.8", "0.7");
    refuses(&format!("{}{again}", whole()), ID, "value", "overlap");
    let earlier = again.replace("2014", "2013");
    refuses(&format!("{}{earlier}", whole()), ID, "value", "write the earliest first");
    let later = again.replace("from = 2014-01-01", "from = 2015-01-01\nstarts = true");
    refuses(&format!("{}{later}", whole()), ID, "starts", "only the first can be the start");
}

#[test]
fn a_repeal_stands_after_what_it_repeals() {
    let repeal = |year: &str| {
        format!(
            "\n[[rule.value]]\nfrom = {year}-01-01\nrepealed = true\ncite = \"Act\"\nhref = \"https://law.example/a\"\nmark = \"read\"\nrows = [\"XX-02\"]\n"
        )
    };
    assert_eq!(faults(&format!("{}{}", whole(), repeal("2020"))), []);
    refuses(&format!("{HEAD}{RULE}{}", repeal("2020")), ID, "value", "begins with a repeal");
    refuses(&format!("{}{}", whole(), repeal("2010")), ID, "value", "write the earliest first");
    refuses(&format!("{}{}{}", whole(), repeal("2020"), repeal("2021")), ID, "value", "repealed again");
    let with_number = repeal("2020").replace("repealed = true", "repealed = true\nvalue = \"0.5\"");
    refuses(&format!("{}{with_number}", whole()), ID, "value", "does not belong to a repeal");
}

#[test]
fn a_window_has_two_ends_and_a_cap() {
    let rule = RULE.replace("cap_application", "window").replace("nutrient = \"nitrogen_total\"\n", "");
    let value = VALUE.replace(
        "comparator = \"at_most\"\nvalue = \"0.8\"\n",
        "first_barred = \"12-16\"\nlast_barred = \"02-29\"\nper = \"application\"\ncaps = { nitrogen_total = \"0\" }\n",
    );
    let window = format!("{HEAD}{rule}{value}");
    assert_eq!(faults(&window), []);
    refuses(&window.replace("last_barred = \"02-29\"\n", ""), ID, "last_barred", "is missing");
    refuses(&window.replace("first_barred = \"12-16\"\n", ""), ID, "first_barred", "is missing");
    refuses(&window.replace("02-29", "02-30"), ID, "last_barred", "a month and a day");
    refuses(&window.replace("12-16", "1-6"), ID, "first_barred", "a month and a day");
    refuses(&window.replace("caps = { nitrogen_total = \"0\" }\n", ""), ID, "caps", "is missing");
    let some = window.replace("nitrogen_total = \"0\"", "any_fertilizer = \"1\"");
    refuses(&some, ID, "caps", "only be capped at zero");
}

#[test]
fn phosphorus_that_no_report_opens_speaks_of_none() {
    let rule = RULE
        .replace("cap_application", "phosphorus_need")
        .replace("nutrient = \"nitrogen_total\"\n", "")
        .replace("lb/ksf", "%");
    let value = |more: &str| {
        VALUE.replace(
            "comparator = \"at_most\"\nvalue = \"0.8\"\n",
            &format!("threshold = \"0\"\nsoil_report = \"never\"\n{more}\n"),
        )
    };
    let text = |more: &str| format!("{HEAD}{rule}{}", value(more));
    assert_eq!(faults(&text("")), []);
    for more in ["categories = [\"low\"]", "report_months = 36", "up_to_recommended = true"] {
        refuses(&text(more), ID, "soil_report", "is \"never\"");
    }
    let without = text("").replace("never", "recommendation");
    refuses(&without, ID, "categories", "is missing");
}

#[test]
fn ids_and_codes_are_used_once_and_belong_to_their_set() {
    refuses(&format!("{}{RULE}{VALUE}", whole()), None, "id", "is used twice");
    refuses(&whole().replace("id = \"xx.", "id = \"yy."), None, "id", "must begin with `xx.`");
    let other = whole().replace("xx.nitrogen.application", "xx.other");
    let found = Lawbook::from_texts(&[("xx.toml", &whole()), ("yy.toml", &other)]).expect_err("one code, two files");
    assert!(found.iter().any(|fault| fault.file == "yy.toml" && fault.field == "code"), "{found:#?}");
}

#[test]
fn a_parent_exists_and_no_parents_run_in_a_circle() {
    let child = |code: &str, parent: &str| {
        whole()
            .replace("code = \"xx\"", &format!("code = \"{code}\"\nparent = \"{parent}\""))
            .replace("id = \"xx.", &format!("id = \"{code}."))
            .replace("\"state\"", "\"county\"")
    };
    let lost = Lawbook::from_texts(&[("aa.toml", &child("aa", "zz"))]).expect_err("no parent");
    assert_eq!(lost.len(), 1, "{lost:#?}");
    assert!(lost[0].field == "parent" && lost[0].what.contains("`zz` is no rule set"), "{lost:#?}");
    let circle = [("aa.toml", child("aa", "bb")), ("bb.toml", child("bb", "cc")), ("cc.toml", child("cc", "aa"))];
    let texts: Vec<(&str, &str)> = circle.iter().map(|(name, text)| (*name, text.as_str())).collect();
    let found = Lawbook::from_texts(&texts).expect_err("a circle");
    assert_eq!(found.len(), 3, "{found:#?}");
    assert!(found.iter().all(|fault| fault.field == "parent" && fault.what.contains("circle")), "{found:#?}");
    // A set that only leads into a circle is not itself in it, and the loader still comes to an end.
    let mut outside = circle.to_vec();
    outside.push(("dd.toml", child("dd", "aa").replace("\"county\"", "\"municipality\"")));
    let texts: Vec<(&str, &str)> = outside.iter().map(|(name, text)| (*name, text.as_str())).collect();
    assert_eq!(Lawbook::from_texts(&texts).expect_err("a circle").len(), 3);
    refuses(&whole().replace("\"state\"", "\"county\""), None, "parent", "is missing");
}

#[test]
fn a_place_lies_in_one_that_can_hold_it() {
    let set = |code: &str, level: &str, parent: &str| {
        let parent = if parent.is_empty() { String::new() } else { format!("\nparent = \"{parent}\"") };
        whole()
            .replace("code = \"xx\"", &format!("code = \"{code}\"{parent}"))
            .replace("id = \"xx.", &format!("id = \"{code}."))
            .replace("\"state\"", &format!("\"{level}\""))
    };
    let state = set("us-aa", "state", "");
    let places = [set("us-aa-bb", "county", "us-aa"), set("us-aa-cc", "municipality", "us-aa")];
    let found = |code: &str, level: &str, parent: &str, state: &str| {
        let text = set(code, level, parent);
        let texts = [("a.toml", state), ("b.toml", &places[0]), ("c.toml", &places[1]), ("d.toml", &text)];
        Lawbook::from_texts(&texts).err().unwrap_or_default()
    };
    for (code, level, parent) in [
        ("us-aa-dd", "county", "us-aa"),
        ("us-aa-dd", "municipality", "us-aa"),
        ("us-aa-dd", "municipality", "us-aa-bb"),
        // The law of a state for a part of it, as for the western basin of Lake Erie in Ohio (OH-01).
        ("us-aa-dd", "state", "us-aa"),
    ] {
        assert_eq!(found(code, level, parent, &state), [], "a {level} in {parent}");
    }
    for (code, level, parent, what) in [
        ("us-dd", "state", "us-aa", "a state lies in no other place"),
        ("us-aa-bb-dd", "state", "us-aa-bb", "a state lies in no other place"),
        ("us-aa-dd", "county", "us-aa-bb", "a county lies in a state"),
        ("us-aa-dd", "county", "us-aa-cc", "a county lies in a state"),
        ("us-aa-dd", "municipality", "us-aa-cc", "a municipality lies in a state or a county"),
    ] {
        let faults = found(code, level, parent, &state);
        assert_eq!(faults.len(), 1, "{faults:#?}");
        assert_eq!((faults[0].file.as_str(), faults[0].field.as_str()), ("d.toml", "parent"));
        assert!(faults[0].what.contains(what), "{faults:#?}");
    }
    // Nothing lies inside a place that says so.
    let whole = state.replace("coverage =", "local_rules = \"absent\"\ncoverage =");
    let faults = found("us-aa-dd", "municipality", "us-aa", &whole);
    assert!(
        faults.len() == 3 && faults.iter().all(|fault| fault.what.contains("no place lies inside it")),
        "{faults:#?}"
    );
}

#[test]
fn a_copy_of_a_built_in_file_is_one_fault() {
    let (_, maryland) = EMBEDDED.iter().find(|(name, _)| *name == "us-md.toml").expect("Maryland");
    let (_, company) = EMBEDDED.iter().find(|(name, _)| *name == "company.toml").expect("the company");
    for (name, text, what) in [
        ("us-md.toml", maryland, "this set is built in and cannot be replaced"),
        ("ours.toml", maryland, "this set is built in and cannot be replaced"),
        ("ours.toml", company, "the company's set is read from company.toml alone"),
    ] {
        let faults = Lawbook::with_files(&[(name.to_owned(), (*text).to_owned())]).expect_err("a copy");
        assert_eq!(faults.len(), 1, "{faults:#?}");
        assert_eq!((faults[0].file.as_str(), faults[0].field.as_str(), faults[0].what.as_str()), (name, "code", what));
    }
    assert!(Lawbook::with_files(&[("company.toml".to_owned(), (*company).to_owned())]).is_ok());
    // Every built-in file is called like its set.
    let book = Lawbook::embedded().expect("the embedded law");
    let codes: Vec<String> = book.rule_sets().iter().map(|set| format!("{}.toml", set.about.code)).collect();
    assert!(EMBEDDED.iter().all(|(name, _)| codes.iter().any(|code| code == name)));
}

#[test]
fn all_faults_of_all_files_come_at_once() {
    let first = whole().replace("cite = \"Example Code 1-2-3(b)\"\n", "").replace("lb/ksf", "ft");
    let second = whole().replace("xx", "yy").replace("cap_application", "cap_fortnight");
    let found = Lawbook::from_texts(&[("xx.toml", &first), ("yy.toml", &second)]).expect_err("three faults");
    let places: Vec<(&str, &str)> = found.iter().map(|fault| (fault.file.as_str(), fault.field.as_str())).collect();
    for place in [("xx.toml", "cite"), ("xx.toml", "unit"), ("yy.toml", "kind")] {
        assert!(places.contains(&place), "{place:?} is not among {places:?}");
    }
    let shown = found[0].to_string();
    assert!(shown.starts_with("xx.toml, rule xx.nitrogen.application, field `unit`:"), "{shown}");
}

#[test]
fn a_bar_on_local_rules_and_what_stands_beside_it_are_read_whole() {
    let bar = |more: &str| {
        whole().replace(
            "\n[[rule]]",
            &format!("\n[preempts_local]\nwords = \"No town may.\"\ncite = \"Code 9\"\nhref = \"https://law.example/9\"\nmark = \"read\"\n{more}\n[[rule]]"),
        )
    };
    assert_eq!(faults(&bar("")), []);
    assert_eq!(faults(&bar("reach = \"phosphorus\"\nolder_than = 2010-07-06\nolder_reach = \"phosphorus\"\n")), []);
    refuses(
        &bar("reach = \"some\"\n"),
        None,
        "preempts_local",
        "`reach` `some` is not known; write one of all, phosphorus",
    );
    refuses(&bar("older_reach = \"all\"\n"), None, "preempts_local", "`older_than` is missing");
    refuses(&bar("except = [\"yy\"]\n"), None, "preempts_local", "`yy` is no rule set");
    refuses(&bar("").replace("cite = \"Code 9\"\n", ""), None, "preempts_local", "`cite` is missing");
}

#[test]
fn a_duty_that_is_told_is_read_whole() {
    let told = |kind: &str, value: &str| {
        let rule =
            RULE.replace("cap_application", kind).replace("nutrient = \"nitrogen_total\"\nunit = \"lb/ksf\"\n", "");
        let value = VALUE.replace("comparator = \"at_most\"\nvalue = \"0.8\"\n", value);
        format!("{HEAD}{rule}{value}")
    };
    assert_eq!(faults(&told("retention", "years = 3\ncounts_from = \"application\"\n")), []);
    refuses(&told("retention", "years = 3\n"), ID, "counts_from", "is missing");
    refuses(&told("retention", "years = 0\ncounts_from = \"application\"\n"), ID, "years", "whole number");
    refuses(&told("record_fields", "fields = [\"shoe_size\"]\n"), ID, "fields", "shoe_size");
    refuses(&told("record_deadline", ""), ID, "hours", "during_the_work");
    refuses(&told("record_deadline", "hours = 24\nduring_the_work = true\n"), ID, "hours", "during_the_work");
    refuses(&told("report", "words = \"report\"\n"), ID, "due", "is missing");
    refuses(&told("report", "words = \"report\"\ndue = \"13-01\"\n"), ID, "due", "a month and a day");
    refuses(&told("notice", "words = \"Say it.\"\n"), ID, "words", "full stop");
    refuses(&told("plan", "words = \"A plan\"\narea_sqft = \"100\"\n"), ID, "area_sqft", "area_comparator");
    refuses(&told("notice", "words = \"Say it\"\nyears = 3\n"), ID, "years", "does not belong to kind notice");
}

#[test]
fn an_interval_a_count_and_rain_say_what_they_need() {
    let of = |kind: &str, head: &str, value: &str| {
        let rule = RULE.replace("cap_application", kind).replace("unit = \"lb/ksf\"\n", head);
        let rule = if kind == "rain" { rule.replace("nutrient = \"nitrogen_total\"\n", "") } else { rule };
        format!("{HEAD}{rule}{}", VALUE.replace("comparator = \"at_most\"\nvalue = \"0.8\"\n", value))
    };
    assert_eq!(faults(&of("interval", "", "days = 42\n")), []);
    refuses(&of("interval", "", ""), ID, "days", "is missing");
    refuses(&of("interval", "unit = \"ft\"\n", "days = 42\n"), ID, "unit", "does not belong");
    refuses(&of("count_year", "", "calendar_year = true\n"), ID, "most", "is missing");
    let inches = "unit = \"in\"\n";
    assert_eq!(faults(&of("rain", inches, "occurring = true\n")), []);
    assert_eq!(faults(&of("rain", inches, "heavy_without_number = true\nhours = 24\n")), []);
    refuses(&of("rain", inches, ""), ID, "hours", "is missing");
    refuses(
        &of("rain", inches, "heavy_without_number = true\nhours = 24\nvalue = \"2\"\n"),
        ID,
        "heavy_without_number",
        "no number",
    );
    let both = whole().replace("value = \"0.8\"", "value = \"0.8\"\nby_species = { bahia = \"1\" }");
    refuses(&both, ID, "value", "not several");
    refuses(
        &whole().replace("value = \"0.8\"", "by_waterfront = { waterfront = \"1\" }"),
        ID,
        "by_waterfront",
        "`elsewhere` is missing",
    );
    refuses(
        &whole().replace("value = \"0.8\"", "by_species = { moss = \"1\" }"),
        ID,
        "by_species",
        "`moss` is no species",
    );
}

#[test]
fn a_code_is_plain_and_the_companys_level_is_its_own() {
    refuses(&whole().replace("\"xx\"", "\"XX town\""), None, "code", "small letters");
    let company = whole().replace("level = \"state\"", "level = \"company\"");
    refuses(&company, None, "level", "for the set `company`");
    refuses(
        &company.replace("coverage", "parent = \"xx\"\ncoverage"),
        None,
        "parent",
        "does not belong to the company",
    );
}

#[test]
fn a_set_without_rules_is_refused() {
    refuses(HEAD, None, "rule", "is missing");
    // An empty file of the company would silently take its built-in limits away.
    let company = HEAD.replace("\"xx\"", "\"company\"").replace("\"state\"", "\"company\"");
    let faults = Lawbook::with_files(&[("company.toml".to_owned(), company)]).expect_err("no rules");
    assert_eq!((faults.len(), faults[0].field.as_str()), (1, "rule"), "{faults:#?}");
}
