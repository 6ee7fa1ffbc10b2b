//! The law by which a year was told when it ended, where other versions of its rule sets count now: what the statement of that year
//! shows otherwise is said, and what it shows the same is shown with the day of reading of that time.

use std::{
    collections::{BTreeMap, BTreeSet, HashMap},
    sync::Arc,
};

use domain::{
    land::Species,
    law::{
        Bound, Lawbook, RuleSetAbout,
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
    /// The day from which on the version of now counts, by the codes of the rule sets of which it is another one; nothing for one whose
    /// file is gone, so that no version counts.
    changed: BTreeMap<String, Option<Day>>,
}

/// Ground whose caps are told: where it is, and what binds there.
#[derive(Debug)]
pub struct Ground<'a> {
    pub place: String,
    pub rule_sets: &'a [String],
    pub species: Option<Species>,
    pub bound: Bound,
}

impl<'a> From<&'a SectionPart> for Ground<'a> {
    fn from(part: &'a SectionPart) -> Self {
        let place = format!("{}, {}", part.address, part.name);
        Self { place, rule_sets: &part.rule_sets, species: part.species, bound: part.bound }
    }
}

impl LawThen {
    /// Of a span that is over; nothing where every version that counts now counted when it ended. Rule sets that the book met later are
    /// known since by their first version.
    pub async fn of(app: &App, law: &Arc<Lawbook>, span: Span, zone: &TimeZone) -> Result<Option<Self>, Problem> {
        let in_force = app.store.law();
        let gone = in_force.gone(app.store.reader(), law).await?;
        if gone.is_empty() && in_force.changed_at().is_none_or(|at| at.day_in(zone) <= span.to) {
            return Ok(None);
        }
        let mut uses: BTreeMap<String, Vec<RuleSetUse>> = BTreeMap::new();
        for one in store::rule_sets::of_changed(app.store.reader(), &gone).await? {
            uses.entry(one.code.clone()).or_default().push(one);
        }
        let (mut hashes, mut changed) = (BTreeMap::new(), BTreeMap::new());
        for (code, uses) in uses {
            let by_then = uses.iter().rev().find(|one| one.since.day_in(zone) <= span.to).or_else(|| uses.first());
            let Some((then, now)) = by_then.zip(uses.last()) else { continue };
            let is_gone = law.rule_set(&code).is_none();
            if is_gone || then.hash != now.hash {
                changed.insert(code.clone(), (!is_gone).then(|| now.since.day_in(zone)));
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

    /// The law that counted then; nothing where it cannot be read any more.
    pub fn law(&self) -> Option<&Lawbook> {
        self.law.as_deref()
    }

    /// Every rule set that stands over some ground by the law of now or of then.
    fn over(&self, law: &Lawbook, ground: &Ground<'_>) -> impl Iterator<Item = String> {
        let laws = [Some(law), self.law.as_deref()].into_iter().flatten();
        let mut codes: Vec<String> = laws.flat_map(|law| law.over(ground.rule_sets)).map(|used| used.code).collect();
        codes.extend(ground.rule_sets.iter().cloned());
        let mut seen = BTreeSet::new();
        codes.into_iter().filter(move |code| seen.insert(code.clone()))
    }

    fn name_of(&self, law: &Lawbook, code: &str) -> Option<String> {
        let name = |law: &Lawbook| law.rule_set(code).map(|set| set.about.name.clone());
        name(law).or_else(|| name(self.law.as_ref()?))
    }

    /// A rule set that is gone, as it was read last.
    pub(super) fn gone(&self, code: &str) -> Option<&RuleSetAbout> {
        let is_gone = self.changed.get(code).is_some_and(Option::is_none);
        self.law.as_ref().filter(|_| is_gone)?.rule_set(code).map(|set| &set.about)
    }

    /// A rule set that is shown, by the version that counted, unless something here is told by the newer one.
    pub(super) fn about(&self, code: &str, told: &BTreeSet<String>) -> Option<&RuleSetAbout> {
        let law = self.law.as_ref().filter(|_| self.changed.contains_key(code) && !told.contains(code))?;
        law.rule_set(code).map(|set| &set.about)
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

/// What is told of other versions than those that counted when a span ended.
#[derive(Debug, Default)]
pub struct Told {
    /// A sentence for each rule set of which something is told by another version.
    pub sets: Vec<String>,
    /// A sentence for each cap that is another one.
    pub caps: Vec<String>,
    /// The codes of those rule sets.
    pub codes: BTreeSet<String>,
}

/// What is told of other versions: of the caps of some ground, and of what its records lack, of which the rule sets are given that ask
/// otherwise now.
pub fn told(law: &Lawbook, then: &LawThen, (grounds, otherwise): (&[Ground<'_>], &BTreeSet<String>), on: Day) -> Told {
    let (mut caps, mut codes) = (Vec::new(), BTreeSet::new());
    for ground in grounds {
        let changed: Vec<String> = then.over(law, ground).filter(|code| then.changed.contains_key(code)).collect();
        if then.law.is_none() {
            codes.extend(changed.iter().cloned());
        }
        for (code, nutrient, now, before) in differing(law, then, ground, on) {
            // What is the same itself may be let in or kept out by another version around it.
            let by = changed.iter().find(|one| **one == code).or_else(|| changed.first());
            let Some((by, name)) = by.zip(then.name_of(law, &code)) else { continue };
            let words = |cap: Option<YearCap>| cap.map_or_else(|| "none".to_owned(), |cap| in_words(&cap));
            let (now, before) = (words(now), words(before));
            let cap = format!("{}: yearly cap on {} of {name}: {now}", ground.place, nutrient.label());
            match then.changed.get(by) {
                _ if now == before => {}
                Some(Some(day)) => caps.push(format!("Corrected on {day}: {cap} (before the correction: {before}).")),
                _ => caps.push(format!("{cap} is shown (while its file was here: {before}).")),
            }
            codes.insert(by.clone());
        }
    }
    let by_caps = codes.clone();
    codes.extend(otherwise.iter().filter(|code| then.changed.contains_key(*code)).cloned());
    let sets = codes.iter().filter_map(|code| {
        let (set, day) = (law.rule_set(code)?, then.changed.get(code).copied().flatten()?);
        let read_then = then.law.as_ref().and_then(|law| law.rule_set(code)).map(|set| set.about.last_checked);
        let before = read_then.map_or_else(
            || "the one that counted before cannot be read any more, so what it says otherwise is not shown".to_owned(),
            |read| format!("before the correction: the one read on {read}"),
        );
        let (name, read) = (&set.about.name, set.about.last_checked);
        let say =
            |what: &str| format!("Corrected on {day}: {name}: {what} told by the version read on {read} ({before}).");
        let caps = by_caps.contains(code).then(|| say("its caps are"));
        Some(caps.into_iter().chain(otherwise.contains(code).then(|| say("what records lack is"))))
    });
    let sets = sets.flatten();
    Told { sets: sets.collect(), caps, codes }
}

/// Rule sets that bind some ground, confirmed for it or standing over what is, and of which this server has no file, so that nothing of
/// them is shown.
pub fn missing(law: &Lawbook, then: Option<&LawThen>, grounds: &[Ground<'_>]) -> Vec<String> {
    let over = |ground: &Ground<'_>| match then {
        Some(then) => then.over(law, ground).collect(),
        None => ground.rule_sets.to_vec(),
    };
    let mut codes: BTreeSet<String> = grounds.iter().flat_map(over).collect();
    codes.retain(|code| law.rule_set(code).is_none());
    let told = codes.iter().map(|code| {
        let known = then.and_then(|then| then.gone(code));
        let (name, read) = known.map_or_else(
            || (code.as_str(), String::new()),
            |about| (about.name.as_str(), format!(" It was read last on {}.", about.last_checked)),
        );
        format!(
            "{name}: this rule set binds ground that is named here, and this server does not have its file any more. Neither its \
             caps nor what it asks of records is shown.{read}"
        )
    });
    told.collect()
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

fn differing(law: &Lawbook, then: &LawThen, part: &Ground<'_>, on: Day) -> Vec<Differing> {
    let Some(former) = &then.law else { return Vec::new() };
    let caps = |law: &Lawbook| law.year_caps(part.rule_sets, part.species, part.bound, on);
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
    let some = |law: &Lawbook| law.year_caps_on_some(part.rule_sets, part.bound, on);
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
