//! What needs attention today: found here, said by the pages.

use std::{
    collections::{BTreeMap, BTreeSet, HashMap},
    sync::Arc,
};

use domain::{
    facts::HeldCredential,
    ids::{PersonId, ProductId},
    law::{Lawbook, RuleSetAbout},
    product::{arithmetic::product_at_rate_rounded_down, product_for_target},
    quantity::ProductMass,
    rules::asked_by,
    time::{Day, Instant, zone},
};

use crate::{
    store::{
        attention::{NewestReport, OpenVisit, PlannedDemand, Site},
        credentials::Credential,
        products::{Product, ProductStatus},
        reviews::ReviewItem,
    },
    weather::{
        Service,
        unread::{RECENT, Unread},
    },
    zone::earliest_day,
};

/// Soil reports are told so many days before they end: a sample must be dug, sent and answered. Common practice.
const SOIL_REPORT_DAYS: i32 = 60;
/// Licences and certificates are told so many days before they end: classes and offices take their time. Common practice.
const CREDENTIAL_DAYS: i32 = 90;
/// And so many days after they have ended: by then the person goes without.
const CREDENTIAL_OVER_DAYS: i32 = 365;
/// How many entries of the owner's list wait, by why they are on it.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Waiting {
    pub beyond_the_rules: usize,
    pub refused: usize,
    pub heavy_rain: usize,
    pub measurements: usize,
    pub sightings: usize,
    /// Records whose visit was changed or whose phone's clock was moved.
    pub odd: usize,
    /// Changes of lawns that moved a limit, or are large or unlikely.
    pub changes: usize,
    /// Records that what was told or learned later makes doubtful.
    pub doubtful: usize,
    /// Whatever else is on the list: a kind that is new there must not read as if nothing waited.
    pub others: usize,
}

pub fn waiting<'r>(reviews: impl Iterator<Item = &'r ReviewItem>) -> Waiting {
    reviews.fold(Waiting::default(), |mut waiting, review| {
        match review.why.as_str() {
            "beyond_the_rules" => waiting.beyond_the_rules += 1,
            "refused_attempt" => waiting.refused += 1,
            "heavy_rain_after" => waiting.heavy_rain += 1,
            "measurement_to_confirm" => waiting.measurements += 1,
            "sighting_to_confirm" => waiting.sightings += 1,
            "visit_changed" | "clock_moved" => waiting.odd += 1,
            "limit_loosened" | "large_change" | "unlikely_figure" => waiting.changes += 1,
            "added_beyond_the_rules" | "added_shorter_distance" | "learned_since" => waiting.doubtful += 1,
            _ => waiting.others += 1,
        }
        waiting
    })
}

/// Visits that are late by the clock of each property: planned for a day before today there. Where that clock is not known, which
/// is told of the property itself, they are late once their day is over everywhere.
pub fn late(open: Vec<OpenVisit>, now: Instant) -> Vec<OpenVisit> {
    let there = |visit: &OpenVisit| zone(&visit.time_zone).map(|zone| now.day_in(&zone));
    let today = |visit: &OpenVisit| there(visit).unwrap_or_else(|_| earliest_day(now));
    open.into_iter().filter(|visit| visit.planned_on < today(visit)).collect()
}

/// What is wrong with the stock of a product.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Short {
    /// Less than nothing by the book.
    Negative,
    /// Less than the planned visits want.
    PlannedDemand(ProductMass),
    /// Visits are planned with it, though it is on hold or retired.
    NotInUse,
}

/// Products below zero by the book, those of which less is there than the planned visits want, and those that are planned with
/// and must not be used.
pub fn short<'p>(products: &'p [Product], wanted: &[PlannedDemand]) -> Vec<(&'p Product, Short)> {
    let mut needs: HashMap<ProductId, i64> = HashMap::new();
    for one in wanted {
        let product = products.iter().find(|product| product.id == one.product);
        let (Some(product), Some(area)) = (product, one.area) else { continue };
        let mass = match (one.target_product, one.target) {
            (Some(rate), _) => product_at_rate_rounded_down(rate, area).map(|figure| figure.value),
            (None, Some(target)) => product_for_target(&product.label, area, target),
            (None, None) => continue,
        };
        let mass = mass.map_or(0, ProductMass::raw);
        let need = needs.entry(one.product).or_default();
        *need = need.saturating_add(mass);
    }
    let of = |product: &Product| {
        let (there, need) = (product.balance_lb.raw(), needs.get(&product.id).copied().unwrap_or(0));
        if there < 0 {
            Some(Short::Negative)
        } else if there < need {
            Some(Short::PlannedDemand(ProductMass::from_raw(need)))
        } else if need > 0 && product.status != ProductStatus::Active {
            Some(Short::NotInUse)
        } else {
            None
        }
    };
    products.iter().filter_map(|product| Some((product, of(product)?))).collect()
}

/// Soil reports that end soon or have ended, with the last day on which the rule of the place that takes them for the
/// shortest time does so.
pub fn ending<'r>(law: &Lawbook, reports: &'r [NewestReport], today: Day) -> Vec<(&'r NewestReport, Day)> {
    let ends = |report: &NewestReport| {
        let taken = law.report_taken(&report.rule_sets, today, report.sampled_on);
        taken.iter().filter_map(|rule| rule.until).min()
    };
    let soon = |(_, ends): &(&NewestReport, Day)| ends.days_since(today) <= SOIL_REPORT_DAYS;
    reports.iter().filter_map(|report| Some((report, ends(report)?))).filter(soon).collect()
}

/// Licences and certificates that end soon or have ended within the year, and that no further one of the same person, name and
/// jurisdiction outlasts: a licence for pesticides is no renewal of a certificate for fertilizer.
pub fn running_out(held: &[Credential], today: Day) -> Vec<(&Credential, Day)> {
    let what = |one: &Credential| (one.person_id, one.rule_set.clone(), one.name.to_lowercase());
    let same = |one: &Credential, other: &Credential| what(one) == what(other);
    let outlasted = |one: &Credential, until: Day| {
        held.iter().any(|other| same(one, other) && other.valid_until.is_none_or(|later| later > until))
    };
    let soon = |until: Day| (-CREDENTIAL_OVER_DAYS..=CREDENTIAL_DAYS).contains(&until.days_since(today));
    held.iter()
        .filter_map(|one| Some((one, one.valid_until?)))
        .filter(|(one, until)| soon(*until) && !outlasted(one, *until))
        .collect()
}

/// How many of these people hold nothing that a place of the company's asks of whoever works there for hire, by the place's name.
pub fn uncertified<'l>(
    law: &'l Lawbook,
    sites: &[Site],
    people: &[PersonId],
    (held, today): (&[Credential], Day),
) -> BTreeMap<(&'l str, bool), usize> {
    let places: BTreeSet<&Vec<String>> = sites.iter().map(|site| &site.rule_sets).collect();
    let of = |person: PersonId| {
        held.iter().filter(move |one| one.person_id == person).map(|one| HeldCredential {
            code: one.code.clone(),
            rule_set: one.rule_set.as_ref().map(|set| set.0.clone()),
            valid_from: one.valid_from,
            valid_until: one.valid_until,
        })
    };
    let mut counts = BTreeMap::new();
    for person in people {
        let own: Vec<HeldCredential> = of(*person).collect();
        let asked = places.iter().flat_map(|codes| asked_by(law, codes, &own, today));
        for lacking in asked.map(|(about, stops)| (about.name.as_str(), stops)).collect::<BTreeSet<_>>() {
            *counts.entry(lacking).or_default() += 1;
        }
    }
    counts
}

/// What weather services said within the last day that could not be read, or was not of the place it was asked for.
pub fn unreadable(services: &[Arc<dyn Service>], now: Instant) -> Vec<(&'static str, Unread)> {
    let of = |service: &Arc<dyn Service>| {
        let name = service.name();
        service.unread().into_iter().map(move |unread| (name, unread)).collect::<Vec<_>>()
    };
    let recent = |(_, unread): &(_, Unread)| now.since(unread.last_at).abs() <= RECENT;
    services.iter().flat_map(of).filter(recent).collect()
}

/// Codes of rule sets that are confirmed for properties and have no file here, each with how many properties it binds.
pub fn gone_rule_sets<'s>(law: &Lawbook, sites: &'s [Site]) -> BTreeMap<&'s str, usize> {
    let mut gone = BTreeMap::new();
    for code in sites.iter().flat_map(|site| &site.rule_sets).filter(|code| law.rule_set(code).is_none()) {
        *gone.entry(code.as_str()).or_default() += 1;
    }
    gone
}

/// Rule sets that bind one of the properties and were read more than so many months ago. Legislatures and councils sit every year.
pub fn old_rule_sets<'l>(law: &'l Lawbook, sites: &[Site], today: Day, months: u16) -> Vec<&'l RuleSetAbout> {
    let named: BTreeSet<&Vec<String>> =
        sites.iter().map(|site| &site.rule_sets).filter(|codes| !codes.is_empty()).collect();
    let used: BTreeSet<String> = named.into_iter().flat_map(|codes| law.over(codes)).map(|set| set.code).collect();
    used.iter()
        .filter_map(|code| law.rule_set(code))
        .map(|set| &set.about)
        .filter(|about| about.needs_new_look(today, months))
        .collect()
}
