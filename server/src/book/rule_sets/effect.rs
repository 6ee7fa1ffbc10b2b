//! What a new version of a rule set changes for this company: lawns whose limits differ within a year, and planned visits that are
//! answered otherwise. Read beside the writer, in portions of properties.

use std::{
    collections::{BTreeMap, HashMap, HashSet},
    sync::Arc,
};

use domain::{
    actor::{Actor, Role},
    decision::{Decision, Verdict},
    equipment::Equipment,
    ids::{ProductId, PropertyId, SectionId, VisitId},
    law::{Lawbook, LimitDifference, LimitedLawn, RuleSet},
    quantity::ProductMass,
    time::{Day, Instant},
    weather::Weather,
};
use serde::Serialize;
use utoipa::ToSchema;

use crate::{
    acts::{
        Asker, BatchFacts, Provided,
        clearance::{self, ClearanceInput, PlannedLine, Reach},
        fault::ActFault,
    },
    book::rule_sets::versions::{self, does_not_fit},
    field_fault::truncate_chars,
    problem::Problem,
    state::App,
    store::{
        self,
        programmes::lawns::{Lawn, Lawns, VisitLine},
    },
};

/// Days that are looked at.
const DAYS: i32 = 365;
/// Lawn sections that are looked at.
const SECTIONS: i64 = 10_000;
/// Planned visits that are judged, the next first.
const VISITS: usize = 2_000;
/// Entries of each list.
const SHOWN: usize = 200;
/// Properties whose facts are in memory at once.
const PORTION: usize = 100;

/// A lawn section whose limits a new version changes.
#[derive(Debug, Serialize, ToSchema)]
pub struct SectionEffect {
    pub section_id: SectionId,
    #[schema(max_length = 120)]
    pub section_name: String,
    #[schema(max_length = 300)]
    pub address: String,
    /// Limits for feeding it with a product that holds every nutrient, by the equipment that gets no shorter distance.
    #[schema(max_items = 50)]
    pub limits: Vec<LimitDifference>,
}

/// How a planned visit is answered.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct VisitJudgment {
    pub verdict: Verdict,
    /// What stops it, each in a sentence.
    #[schema(max_items = 20)]
    pub stops: Vec<StopWords>,
    #[schema(max_items = 20)]
    pub sections: Vec<LargestAmount>,
}

/// Why a visit is stopped.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
#[serde(transparent)]
#[schema(max_length = 600)]
pub struct StopWords(pub String);

/// The most that may go down on one section.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct LargestAmount {
    pub section_id: SectionId,
    #[schema(max_length = 120)]
    pub section_name: String,
    /// Null when no rule limits it.
    pub largest_lawful_product_lb: Option<ProductMass>,
    /// The rule that sets it.
    #[schema(max_length = 120)]
    pub bound_by: Option<String>,
}

/// A planned visit that a new version answers otherwise.
#[derive(Debug, Serialize, ToSchema)]
pub struct VisitEffect {
    pub visit_id: VisitId,
    #[schema(max_length = 300)]
    pub address: String,
    pub planned_on: Day,
    pub product_id: ProductId,
    #[schema(max_length = 120)]
    pub product_name: String,
    pub before: VisitJudgment,
    pub after: VisitJudgment,
}

impl VisitEffect {
    /// Both answers, that of the version that counts first.
    pub fn answers(&self) -> [&VisitJudgment; 2] {
        [&self.before, &self.after]
    }
}

/// What a new version changes for the lawns and the visits of the next 365 days.
#[derive(Debug, Default, Serialize, ToSchema)]
pub struct RuleSetEffect {
    /// Sections that the rule set binds.
    #[schema(maximum = 10_000)]
    pub sections_judged: usize,
    #[schema(maximum = 10_000)]
    pub sections_changed: usize,
    /// The first 200 of them.
    #[schema(max_items = 200)]
    pub sections: Vec<SectionEffect>,
    /// Open visits there. Each is judged by what is in the records now, without weather and ground, which nobody knows yet.
    #[schema(maximum = 2_000)]
    pub visits_judged: usize,
    #[schema(maximum = 2_000)]
    pub visits_changed: usize,
    /// The first 200 of them.
    #[schema(max_items = 200)]
    pub visits: Vec<VisitEffect>,
    /// Visits that cannot be judged, because a lawn is not measured or a product cannot give what is planned.
    #[schema(maximum = 2_000)]
    pub visits_unclear: usize,
    /// There are more sections or visits than were looked at.
    pub more: bool,
}

/// Both readings of the law, and the day from which on they are compared.
struct Readings {
    before: Arc<Lawbook>,
    after: Lawbook,
    at: Instant,
    today: Day,
}

/// The properties of a portion, with what is known of them.
struct Portion {
    lawns: Vec<Lawn>,
    visits: Vec<Vec<VisitLine>>,
    world: BatchFacts,
}

/// Compares what counts with what would count with a new version of one set, for every property that the set binds.
pub async fn of(app: &App, new: &RuleSet, today: Day) -> Result<RuleSetEffect, Problem> {
    let (before, code) = (app.law(), new.about.code.as_str());
    let after = versions::mixed(&before, &BTreeMap::from([(code.to_owned(), new.text.clone())]));
    let after = after.map_err(|faults| does_not_fit(&faults))?;
    let mut readings = Readings { before, after, at: app.clock.now(), today };
    let pool = app.store.reader();
    let binds = |law: &Lawbook, codes: &[String]| law.over(codes).iter().any(|used| used.code == code);
    let sites = store::attention::sites(pool).await?.into_iter();
    let bound =
        sites.filter(|site| binds(&readings.before, &site.rule_sets) || binds(&readings.after, &site.rule_sets));
    let bound: HashSet<PropertyId> = bound.map(|site| site.id).collect();
    let mut lawns = store::programmes::lawns::lawns(pool, Lawns::All, SECTIONS + 1).await?;
    let most = usize::try_from(SECTIONS).unwrap_or(usize::MAX);
    let mut effect = RuleSetEffect { more: lawns.len() > most, ..RuleSetEffect::default() };
    lawns.truncate(most);
    lawns.retain(|lawn| bound.contains(&lawn.property_id));
    effect.sections_judged = lawns.len();
    let mut by_property: BTreeMap<PropertyId, (Vec<Lawn>, Vec<Vec<VisitLine>>)> = BTreeMap::new();
    for lawn in lawns {
        by_property.entry(lawn.property_id).or_default().0.push(lawn);
    }
    let mut lines = store::programmes::lawns::visit_lines(pool, today).await?;
    // Before any are cut off: the next visits of other properties must not take the places of these.
    lines.retain(|line| by_property.contains_key(&line.property_id));
    for visit in open_visits(lines, today, &mut effect.more) {
        if let Some((_, visits)) = visit.first().and_then(|line| by_property.get_mut(&line.property_id)) {
            visits.push(visit);
        }
    }
    let mut properties = by_property.into_iter();
    let mut seen = HashMap::new();
    loop {
        let portion: Vec<_> = properties.by_ref().take(PORTION).collect();
        if portion.is_empty() {
            break;
        }
        let portion = load(app, portion, readings.at).await?;
        // Away from the threads that answer: a portion may hold thousands of decisions.
        let judged = tokio::task::spawn_blocking(move || {
            let done = judge(&readings, &portion, &mut seen, &mut effect);
            done.map(|()| (readings, seen, effect))
        });
        (readings, seen, effect) = judged.await.map_err(|error| Problem::fault(&error))??;
    }
    effect.visits.sort_by_key(|visit| visit.planned_on);
    effect.visits.truncate(SHOWN);
    Ok(effect)
}

/// The open lines of each visit of the next year, the next visits first.
fn open_visits(lines: Vec<VisitLine>, today: Day, more: &mut bool) -> Vec<Vec<VisitLine>> {
    let last = today.plus_days(DAYS);
    let mut visits: BTreeMap<(Day, VisitId), Vec<VisitLine>> = BTreeMap::new();
    for line in lines.into_iter().filter(|line| line.open && line.planned_on <= last) {
        visits.entry((line.planned_on, line.visit_id)).or_default().push(line);
    }
    *more |= visits.len() > VISITS;
    visits.into_values().take(VISITS).collect()
}

/// A property with its lawns and its planned visits.
type OfProperty = (PropertyId, (Vec<Lawn>, Vec<Vec<VisitLine>>));

async fn load(app: &App, portion: Vec<OfProperty>, at: Instant) -> Result<Portion, Problem> {
    let properties: Vec<_> = portion.iter().map(|(id, _)| *id).collect();
    let (lawns, visits): (Vec<_>, Vec<_>) = portion.into_iter().map(|(_, of_it)| of_it).unzip();
    let (lawns, visits) = (lawns.concat(), visits.concat());
    let sections: Vec<_> = lawns.iter().map(|lawn| lawn.section_id).collect();
    let lines = || visits.iter().flatten();
    let products: Vec<_> = lines().map(|line| line.product_id).collect();
    let people: Vec<_> = lines().map(|line| line.person_id).collect();
    let mut connection = app.store.reader().acquire().await?;
    let world =
        store::world::load_lawns(&mut connection, &sections, &properties, &products, &people, at.millis()).await?;
    Ok(Portion { lawns, visits, world })
}

/// Lawns that were compared before: many are under the same rule sets with the same turf.
type Compared = HashMap<LimitedLawn, Vec<LimitDifference>>;

fn judge(
    readings: &Readings,
    portion: &Portion,
    seen: &mut Compared,
    effect: &mut RuleSetEffect,
) -> Result<(), ActFault> {
    let world = &portion.world;
    for lawn in &portion.lawns {
        let rows = world.properties.get(&lawn.property_id).zip(world.sections.get(&lawn.section_id));
        let Some((property, section)) = rows else { continue };
        let place = property.on(readings.today);
        let limited = LimitedLawn {
            rule_sets: place.rule_sets.clone(),
            audience: place.worked_by,
            kind: place.kind,
            species: section.on(readings.today).species,
        };
        let compare = |limited: &LimitedLawn| {
            let mut limits = limited.differences(&readings.before, &readings.after, readings.today, DAYS);
            limits.truncate(50);
            limits
        };
        let limits = seen.entry(limited).or_insert_with_key(compare);
        if limits.is_empty() {
            continue;
        }
        effect.sections_changed += 1;
        if effect.sections.len() < SHOWN {
            effect.sections.push(SectionEffect {
                section_id: lawn.section_id,
                section_name: lawn.section_name.clone(),
                address: lawn.address.clone(),
                limits: limits.clone(),
            });
        }
    }
    for visit in &portion.visits {
        let Some(line) = visit.first() else { continue };
        let Some((before, after)) = both(readings, visit, world)? else {
            effect.visits_unclear += 1;
            continue;
        };
        effect.visits_judged += 1;
        if before == after {
            continue;
        }
        effect.visits_changed += 1;
        let address = world.properties.get(&line.property_id).map(|row| row.on(readings.today).address.clone());
        // All of them: which are the next is known only once every property has been looked at.
        effect.visits.push(VisitEffect {
            visit_id: line.visit_id,
            address: address.unwrap_or_default(),
            planned_on: line.planned_on,
            product_id: line.product_id,
            product_name: world.product(line.product_id)?.name.clone(),
            before,
            after,
        });
    }
    Ok(())
}

/// What both readings answer to a visit; nothing where it cannot be asked about.
fn both(
    readings: &Readings,
    visit: &[VisitLine],
    world: &BatchFacts,
) -> Result<Option<(VisitJudgment, VisitJudgment)>, ActFault> {
    let Some((line, input)) = visit.first().and_then(|line| Some((line, asked(visit)?))) else { return Ok(None) };
    let Some(property) = world.properties.get(&line.property_id) else { return Ok(None) };
    let Ok(plan) = clearance::plan(&input, Reach::AnyDay, readings.at, property, world) else { return Ok(None) };
    // Whoever the visit was given to is asked for, as when the office asks: the visit may still be given to somebody else.
    let actor = Actor { person: line.person_id, role: Role::Office, device: None };
    let asker = Asker { actor, at: readings.at, services: &Provided::default() };
    let answer =
        |law: &Lawbook| clearance::decide(asker, &input, &plan, world, law).map(|decision| answered(&decision));
    Ok(Some((answer(&readings.before)?, answer(&readings.after)?)))
}

/// A visit as a check asks about it. Where it states no amount, a pound is asked about: the largest lawful amount is the same.
fn asked(visit: &[VisitLine]) -> Option<ClearanceInput> {
    let line = visit.first()?;
    let planned = |line: &VisitLine| {
        let of_product = line.target_product.zip(line.area);
        let rate = |(rate, area)| domain::product::arithmetic::product_at_rate_rounded_down(rate, area);
        let product_lb = match (line.target, of_product) {
            (Some(_), _) => None,
            (None, Some(given)) => rate(given).map(|figure| figure.value),
            (None, None) => Some(ProductMass::from_raw(1_000_000)),
        };
        PlannedLine {
            section_id: line.section_id,
            treated_area_sqft: None,
            parts: Vec::new(),
            product_lb,
            target_nitrogen_lb_per_1000_sqft: line.target,
        }
    };
    Some(ClearanceInput {
        property_id: line.property_id,
        product_id: line.product_id,
        planned_on: line.planned_on,
        purpose: line.purpose,
        equipment: Equipment::RotarySpreader,
        ground: None,
        weather: Weather::default(),
        supervisor_id: None,
        nobody_supervised: false,
        lines: visit.iter().map(planned).collect(),
    })
}

fn answered(decision: &Decision) -> VisitJudgment {
    let stops = decision.findings.iter().filter(|finding| finding.verdict == Verdict::Stop);
    let sections = decision.sections.iter().map(|section| LargestAmount {
        section_id: section.section_id,
        section_name: section.section_name.clone(),
        largest_lawful_product_lb: section.largest_lawful_product_lb,
        bound_by: section.bound_by.clone(),
    });
    VisitJudgment {
        verdict: decision.verdict,
        stops: stops.take(20).map(|finding| StopWords(truncate_chars(finding.message.clone(), 600))).collect(),
        sections: sections.collect(),
    }
}
