//! The law by which a year was told when it ended, where other versions of its rule sets count now: what the statement of that year
//! shows otherwise is said, and what it shows the same is shown with the day of reading of that time.

use std::{
    collections::{BTreeMap, BTreeSet, HashMap},
    sync::Arc,
};

use domain::{
    law::{
        Lawbook,
        nutrient::Nutrient,
        year::{PartialCap, YearCap},
    },
    time::Day,
};
use jiff::tz::TimeZone;

use crate::{
    book::rule_sets::versions,
    problem::Problem,
    state::App,
    store::{
        self,
        rule_sets::{PastLaw, RuleSetUse},
        statements::{SectionPart, Span},
    },
};

/// What counted when a span ended and has been followed by other versions since.
#[derive(Debug)]
pub struct LawThen {
    /// Nothing where a version of that time cannot be read any more, or does not fit the others.
    law: Option<Arc<Lawbook>>,
    /// The day from which on the version of now counts, by the codes of the rule sets of which it is another one.
    changed: BTreeMap<String, Day>,
}

impl LawThen {
    /// Of a span that is over; nothing where every version that counts now counted when it ended. Rule sets that the book met later are
    /// known since by their first version.
    pub async fn of(app: &App, law: &Arc<Lawbook>, span: Span, zone: &TimeZone) -> Result<Option<Self>, Problem> {
        let in_force = app.store.law();
        if in_force.changed_at().is_none_or(|at| at.day_in(zone) <= span.to) {
            return Ok(None);
        }
        let mut uses: BTreeMap<String, Vec<RuleSetUse>> = BTreeMap::new();
        for one in store::rule_sets::of_changed(app.store.reader()).await? {
            uses.entry(one.code.clone()).or_default().push(one);
        }
        let (mut hashes, mut changed) = (BTreeMap::new(), BTreeMap::new());
        for (code, uses) in uses {
            let by_then = uses.iter().rev().find(|one| one.since.day_in(zone) <= span.to).or_else(|| uses.first());
            let Some((then, now)) = by_then.zip(uses.last()) else { continue };
            if then.hash != now.hash {
                changed.insert(code.clone(), now.since.day_in(zone));
                hashes.insert(code, then.hash.clone());
            }
        }
        if changed.is_empty() {
            return Ok(None);
        }
        let known = in_force.past(&hashes, law);
        let law = if known.is_some() { known } else { worked_out(app, law, hashes).await? };
        Ok(Some(Self { law, changed }))
    }

    /// The day of reading of a rule set that is shown: that of the version that counted, unless something here is told by the newer one.
    pub(super) fn last_checked(&self, code: &str, told: &BTreeSet<String>) -> Option<Day> {
        let law = self.law.as_ref().filter(|_| self.changed.contains_key(code) && !told.contains(code))?;
        law.rule_set(code).map(|set| set.about.last_checked)
    }
}

/// The law of now with the versions of then.
async fn worked_out(
    app: &App,
    law: &Arc<Lawbook>,
    hashes: BTreeMap<String, String>,
) -> Result<Option<Arc<Lawbook>>, Problem> {
    let wanted: Vec<&str> = hashes.values().map(String::as_str).collect();
    let kept: HashMap<String, String> = store::rule_sets::texts(app.store.reader(), &wanted).await?;
    let text = |(code, hash): (&String, &String)| Some((code.clone(), kept.get(hash)?.clone()));
    let texts: versions::Texts = hashes.iter().filter_map(text).collect();
    if texts.len() < hashes.len() {
        return Ok(None);
    }
    // Every file is read again, which no thread that answers should be held up by.
    let beside = Arc::clone(law);
    let mixed = tokio::task::spawn_blocking(move || versions::mixed(&beside, &texts).ok()).await;
    let Some(past) = mixed.map_err(|error| Problem::fault(&error))?.map(Arc::new) else { return Ok(None) };
    app.store.law().remember(PastLaw { hashes, beside: Arc::clone(law), law: Arc::clone(&past) });
    Ok(Some(past))
}

/// What is told of other versions, and the rule sets of which something is.
pub(super) fn told(
    law: &Lawbook,
    then: &LawThen,
    sections: &[SectionPart],
    span: Span,
) -> (Vec<String>, BTreeSet<String>) {
    let (mut caps, mut codes) = (Vec::new(), BTreeSet::new());
    for part in sections {
        let over = law.over(&part.rule_sets).into_iter().map(|used| used.code);
        let changed: Vec<String> = over.filter(|code| then.changed.contains_key(code)).collect();
        for (code, nutrient, now, before) in differing(law, then, part, span.as_of) {
            // What is the same itself may be let in or kept out by another version around it.
            let by = changed.iter().find(|one| **one == code).or_else(|| changed.first());
            let Some((by, set)) = by.zip(law.rule_set(&code)) else { continue };
            let Some(day) = then.changed.get(by) else { continue };
            let words = |cap: Option<YearCap>| cap.map_or_else(|| "none".to_owned(), |cap| in_words(&cap));
            let (now, before) = (words(now), words(before));
            if now != before {
                caps.push(format!(
                    "Corrected on {day}: {}, {}: yearly cap on {} of {}: {now} (before the correction: {before}).",
                    part.address,
                    part.name,
                    nutrient.label(),
                    set.about.name
                ));
            }
            codes.insert(by.clone());
        }
    }
    if then.law.is_none() {
        let here = sections.iter().flat_map(|part| law.over(&part.rule_sets)).map(|used| used.code);
        codes.extend(here.filter(|code| then.changed.contains_key(code)));
    }
    let sets = codes.iter().filter_map(|code| {
        let (set, day) = (law.rule_set(code)?, then.changed.get(code)?);
        let read_then = then.law.as_ref().and_then(|law| law.rule_set(code)).map(|set| set.about.last_checked);
        let before = read_then.map_or_else(
            || "the one that counted before cannot be read any more, so what it says otherwise is not shown".to_owned(),
            |read| format!("before the correction: the one read on {read}"),
        );
        Some(format!(
            "Corrected on {day}: {}: its caps are told by the version read on {} ({before}).",
            set.about.name, set.about.last_checked
        ))
    });
    (sets.chain(caps).collect(), codes)
}

/// A cap as its reader compares it.
fn in_words(cap: &YearCap) -> String {
    let limit = cap.limit_lb_per_1000_sqft;
    let limit = if cap.limit_allowed { format!("{limit}") } else { format!("less than {limit}") };
    let only_for = cap.only_for.as_ref().map_or_else(String::new, |what| format!(", for {what} only"));
    let advice = if cap.advice { ", as advice" } else { "" };
    format!("{limit} lb per 1,000 sq ft{only_for}{advice}")
}

/// Code, nutrient, and a cap of a section by the law of now and by that of then, where they are not one and the same.
type Differing = (String, Nutrient, Option<YearCap>, Option<YearCap>);

fn differing(law: &Lawbook, then: &LawThen, part: &SectionPart, on: Day) -> Vec<Differing> {
    let Some(former) = &then.law else { return Vec::new() };
    let caps = |law: &Lawbook| law.year_caps(&part.rule_sets, part.species, part.bound, on);
    let (now, mut before) = (caps(law), caps(former));
    let mut found: Vec<Differing> = Vec::new();
    for cap in now {
        let at = before.iter().position(|one| one.rule == cap.rule);
        let was = at.map(|at| before.remove(at));
        if was.as_ref() != Some(&cap) {
            found.push((cap.rule_set.clone(), cap.nutrient, Some(cap), was));
        }
    }
    found.extend(before.into_iter().map(|was| (was.rule_set.clone(), was.nutrient, None, Some(was))));
    let some = |law: &Lawbook| law.year_caps_on_some(&part.rule_sets, part.bound, on);
    let (now, before) = (some(law), some(former));
    let only = |one: &[PartialCap], other: &[PartialCap]| {
        one.iter().filter(|cap| !other.contains(cap)).cloned().collect::<Vec<_>>()
    };
    for cap in [only(&now, &before), only(&before, &now)].concat() {
        let code = cap.rule.split('.').next().unwrap_or_default().to_owned();
        found.push((code, cap.nutrient, None, None));
    }
    found
}
