//! What moves a limit, or might: told apart from a change that is none, and put on the owner's list with what stood before.

use domain::{
    dated::{Facts, History},
    ids::{PropertyId, RecordId, SectionId},
    land::Species,
    law::{Lawbook, LimitedLawn, PhosphorusFound},
    quantity::{Area, Distance, SoilPh},
    soil::SoilCategory,
    time::Day,
};
use serde_json::Value;
use sqlx::SqliteConnection;
use uuid::Uuid;

use crate::{
    book::{
        history::{person, value_of},
        site,
    },
    problem::Problem,
    store::{
        self,
        journal::{self, JournalContext},
        limit_moves::{LimitMove, Limited, MovedBy},
        sections::Section,
        soil_reports::SoilReport,
    },
};

/// A change by this or more is looked at, whichever way it goes. *Common practice.*
const LARGE: Area = Area::from_raw(2_000 * 100);
/// A quarter.
const LARGE_PART: i64 = 4;
/// Hardly any lawn section is smaller or larger: 100 sq ft, five acres. *Common practice.*
const SMALLEST: Area = Area::from_raw(100 * 100);
const LARGEST: Area = Area::from_raw(5 * 43_560 * 100);
/// Hardly any soil under turf is more acid or more alkaline. *Common practice.*
const LIKELY_PH: [i64; 2] = [400, 900];

/// A change that is to be looked at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Moved {
    pub what: Limited,
    pub why: MovedBy,
    pub since: Option<Day>,
    pub was: String,
    pub becomes: String,
}

/// Of which lawn, by what, and why.
#[derive(Debug, Clone)]
pub struct Place {
    pub subject: Uuid,
    pub property: PropertyId,
    pub section: Option<SectionId>,
    pub reason: Option<String>,
}

impl Place {
    /// On a section, by what was written of it.
    pub fn on(section: &Section, subject: Uuid, reason: Option<String>) -> Self {
        Self { subject, property: section.property_id, section: Some(section.id), reason }
    }
}

/// Writes a change down, with its line in the journal. It stands on the owner's list from then on.
pub async fn note(
    connection: &mut SqliteConnection,
    id: RecordId,
    moved: Moved,
    place: Place,
    deed: JournalContext,
) -> Result<(), Problem> {
    let moved = LimitMove {
        id,
        what: moved.what,
        why: moved.why,
        subject_id: RecordId::from_uuid(place.subject),
        property_id: place.property,
        section_id: place.section,
        person_id: person(deed)?,
        moved_at: deed.at,
        since: moved.since,
        was: moved.was,
        becomes: moved.becomes,
        reason: place.reason,
    };
    store::limit_moves::insert(&mut *connection, &moved).await?;
    let deed = JournalContext { act: "limit.moved", subject: id.uuid(), ..deed };
    Ok(journal::append(connection, deed, &serde_json::to_string(&moved)?).await?)
}

/// The areas by which product is reckoned on each of some days: asked before something is written of them, and after.
pub async fn areas(
    connection: &mut SqliteConnection,
    section: SectionId,
    days: &[Day],
) -> Result<Vec<(Day, Option<Area>)>, Problem> {
    let mut areas = Vec::new();
    for day in days {
        areas.push((*day, store::measurements::area_on(&mut *connection, section, *day).await?));
    }
    Ok(areas)
}

/// What became of the areas of some days: of one that waits for the office nothing, and of one on another's lawn that an older one counts.
pub fn of_areas(before: &[(Day, Option<Area>)], after: &[(Day, Option<Area>)]) -> Option<Moved> {
    before.iter().zip(after).find_map(|((day, before), (_, after))| of_area(*before, (*after)?, *day))
}

/// What an area does that is reckoned on instead of another.
fn of_area(before: Option<Area>, after: Area, on: Day) -> Option<Moved> {
    if before == Some(after) {
        return None;
    }
    let by = before.map_or(0, |before| after.raw().abs_diff(before.raw()));
    let is_large = before.is_some_and(|before| {
        by >= LARGE.raw().unsigned_abs() || by.saturating_mul(LARGE_PART.unsigned_abs()) >= before.raw().unsigned_abs()
    });
    let why = if !(SMALLEST..=LARGEST).contains(&after) {
        MovedBy::UnlikelyFigure
    } else if is_large {
        MovedBy::LargeChange
    } else if before.is_some_and(|before| after > before) {
        MovedBy::LimitLoosened
    } else {
        return None;
    };
    let shown = |area: Area| format!("{area} sq ft");
    let was = before.map_or_else(|| "not measured".to_owned(), shown);
    Some(Moved { what: Limited::Area, why, since: Some(on), was, becomes: shown(after) })
}

/// The soil reports that counted on each of some days: asked before something is written of them, and after.
pub async fn soil_reports(
    connection: &mut SqliteConnection,
    section: SectionId,
    days: &[Day],
) -> Result<Vec<Option<SoilReport>>, Problem> {
    let mut reports = Vec::new();
    for day in days {
        reports.push(store::limit_moves::soil_report_on(&mut *connection, section, *day).await?);
    }
    Ok(reports)
}

/// What became of the soil reports of some days, by the law of one.
pub fn of_soil_reports(
    lawn: &LimitedLawn,
    law: &Lawbook,
    today: Day,
    [before, after]: [&[Option<SoilReport>]; 2],
) -> Option<Moved> {
    before.iter().zip(after).find_map(|(before, after)| {
        let after = after.as_ref()?;
        let is_other = before.as_ref().is_none_or(|before| before.id != after.id);
        is_other.then(|| of_soil_report(lawn, law, (today, before.as_ref(), after))).flatten()
    })
}

/// What a soil report does that counts instead of another, or is the first.
fn of_soil_report(
    lawn: &LimitedLawn,
    law: &Lawbook,
    (today, before, after): (Day, Option<&SoilReport>, &SoilReport),
) -> Option<Moved> {
    let found = |report: &SoilReport| PhosphorusFound {
        category: report.phosphorus,
        recommended: report.phosphate_recommended_lb_per_1000_sqft,
    };
    let unlikely = |ph: SoilPh| !(LIKELY_PH[0]..=LIKELY_PH[1]).contains(&ph.raw());
    let why = if after.ph.is_some_and(unlikely) {
        MovedBy::UnlikelyFigure
    } else if lawn.gets_more_phosphorus(law, today, before.map(found), found(after)) {
        MovedBy::LimitLoosened
    } else {
        return None;
    };
    let shown = |report: &SoilReport| {
        let phosphorus = report.phosphorus.map_or("phosphorus not rated", SoilCategory::label);
        let recommended = report.phosphate_recommended_lb_per_1000_sqft;
        let recommended = recommended.map_or_else(String::new, |rate| format!(", P2O5 {rate} lb per 1,000 sq ft"));
        let ph = report.ph.map_or_else(String::new, |ph| format!(", pH {ph}"));
        format!("{phosphorus}{recommended}{ph}, dug on {}", report.sampled_on)
    };
    let was = before.map_or_else(|| "no soil report".to_owned(), shown);
    Some(Moved { what: Limited::SoilReport, why, since: Some(after.sampled_on), was, becomes: shown(after) })
}

/// The lawn as the choice of rules depends on it, on a day.
pub async fn limited_lawn(
    connection: &mut SqliteConnection,
    property: PropertyId,
    species: Option<Species>,
    on: Day,
) -> Result<Option<LimitedLawn>, Problem> {
    let places = site::places(connection, property).await?;
    Ok(places.map(|places| {
        let place = places.on(on);
        LimitedLawn { rule_sets: place.rule_sets.clone(), audience: place.worked_by, kind: place.kind, species }
    }))
}

/// What a change of a section's facts moves: each limit once, on the first day on which it is looser.
pub async fn of_section(
    connection: &mut SqliteConnection,
    law: &Lawbook,
    property: PropertyId,
    [before, after]: [&History; 2],
    today: Day,
) -> Result<Vec<Moved>, Problem> {
    let mut found: Vec<Moved> = Vec::new();
    for (since, was, becomes) in states(before, after) {
        if is_water_looser(&was, &becomes) && !found.iter().any(|known| known.what == Limited::Water) {
            found.push(moved(Limited::Water, since, [water(&was), water(&becomes)]));
        }
        let (old, new) = (species(&was), species(&becomes));
        if old != new && !found.iter().any(|known| known.what == Limited::Species) {
            let on = since.unwrap_or(today);
            let Some(lawn) = limited_lawn(&mut *connection, property, new, on).await? else { continue };
            let known = LimitedLawn { species: old, ..lawn.clone() };
            if lawn.is_capped_higher_than(&known, law, on) {
                let words = |species: Option<Species>| species.map_or("not known", Species::label).to_owned();
                found.push(moved(Limited::Species, since, [words(old), words(new)]));
            }
        }
    }
    Ok(found)
}

/// What decides which rules hold over a property.
const OF_THE_RULES: [&str; 4] = ["rule_sets", "kind", "worked_by", "nutrient_plan_on"];

/// Whether a record that nothing stopped may be stopped by a change of a property's facts: other rules hold, or it was another client's,
/// whose service may have ended.
pub fn may_stop(before: &History, after: &History) -> bool {
    let whose = |facts: &Facts| facts.get("client_id").cloned();
    of_property(before, after).is_some()
        || states(before, after).iter().any(|(_, was, becomes)| whose(was) != whose(becomes))
}

/// Whether the same may come of a change of a client's facts: the service ends on another day.
pub fn may_stop_of_client(before: &History, after: &History) -> bool {
    let ends = |facts: &Facts| facts.get("cancelled_on").cloned();
    states(before, after).iter().any(|(_, was, becomes)| ends(was) != ends(becomes))
}

/// What a change of a property's facts moves: which rules hold is looked at whichever way it goes.
pub fn of_property(before: &History, after: &History) -> Option<Moved> {
    let told = |facts: &Facts, name: &str| value_of(name, facts.get(name).unwrap_or(&Value::Null));
    states(before, after).into_iter().find_map(|(since, was, becomes)| {
        // What an entry of an older book does not name is what it was brought over as.
        let differs = |name: &&str| match (was.get(*name), becomes.get(*name)) {
            (None, Some(new)) => super::history::unnamed(name).as_ref() != Some(new),
            (old, new) => old != new,
        };
        let names: Vec<&str> = OF_THE_RULES.into_iter().filter(|name| differs(name)).collect();
        let all = |facts: &Facts| {
            let parts = names.iter().map(|name| format!("{}: {}", super::history::label(name), told(facts, name)));
            parts.collect::<Vec<_>>().join("; ")
        };
        (!names.is_empty()).then(|| moved(Limited::Rules, since, [all(&was), all(&becomes)]))
    })
}

fn moved(what: Limited, since: Option<Day>, [was, becomes]: [String; 2]) -> Moved {
    Moved { what, why: MovedBy::LimitLoosened, since, was, becomes }
}

/// Each day on which one of two histories says something new, with what stood then by the one and by the other. The first has no day.
fn states(before: &History, after: &History) -> Vec<(Option<Day>, Facts, Facts)> {
    let mut days = [before.days(), after.days()].concat();
    days.sort_unstable();
    days.dedup();
    let first = |history: &History| match days.first() {
        Some(day) => history.on(day.plus_days(-1)),
        None => history.present(),
    };
    let mut states = vec![(None, first(before), first(after))];
    states.extend(days.iter().map(|day| (Some(*day), before.on(*day), after.on(*day))));
    states
}

fn text<'f>(facts: &'f Facts, name: &str) -> Option<&'f str> {
    facts.get(name).and_then(Value::as_str)
}

fn species(facts: &Facts) -> Option<Species> {
    facts.get("species").and_then(|species| serde_json::from_value(species.clone()).ok())
}

/// The distance to keep, in hundredths of a foot; nobody having looked is the strictest, and no water the loosest.
fn water_room(facts: &Facts) -> i64 {
    match text(facts, "water") {
        Some("none") => i64::MAX,
        Some("near") => distance(facts, "water_distance_ft").unwrap_or(0),
        _ => -1,
    }
}

fn distance(facts: &Facts, name: &str) -> Option<i64> {
    let distance: Distance = serde_json::from_value(facts.get(name)?.clone()).ok()?;
    Some(distance.raw())
}

fn is_water_looser(was: &Facts, becomes: &Facts) -> bool {
    let strip = |facts: &Facts| distance(facts, "natural_strip_ft").unwrap_or(0);
    let both_near = [was, becomes].iter().all(|facts| text(facts, "water") == Some("near"));
    water_room(becomes) > water_room(was) || both_near && strip(becomes) > strip(was)
}

fn water(facts: &Facts) -> String {
    let strip = text(facts, "natural_strip_ft").map(|feet| format!(", natural strip {feet} ft")).unwrap_or_default();
    match (text(facts, "water"), text(facts, "water_distance_ft")) {
        (Some("none"), _) => "no water near it".to_owned(),
        (Some("near"), Some(feet)) => format!("water {feet} ft away{strip}"),
        _ => format!("water not known{strip}"),
    }
}
