//! The stops of a season: what is planned at a property in one round is one stop on one day, as far as the rules let it be, and
//! no technician has more on a day than the programme says. Every section's plan stands after each change of a day.

use std::collections::{BTreeMap, HashMap, HashSet};

use domain::{
    ids::{PersonId, ProductId, PropertyId, SectionId},
    programme::{
        PlanProduct, PlannedRound, days,
        stops::{DayBook, DayCapacity, Days, StopAsked, StopPlaced, StopTaken},
    },
    quantity::{Area, ProductMass, ProductRate},
    time::Day,
};
use serde::Serialize;
use utoipa::ToSchema;

use super::{LawnQuestion, NotPlanned, PlannedSection, Season};

/// What goes down on one section of a stop.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct StopLine {
    pub section_id: SectionId,
    #[schema(max_length = 120)]
    pub section_name: String,
    #[schema(max_length = 120)]
    pub round: String,
    pub product_id: ProductId,
    #[schema(max_length = 120)]
    pub product_name: String,
    pub product_lb: ProductMass,
    /// Rounded down.
    pub product_lb_per_1000_sqft: ProductRate,
}

/// One stop at a property on a day.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct PlannedStop {
    pub on: Day,
    /// Who goes; null where the programme names nobody.
    pub person_id: Option<PersonId>,
    #[schema(max_length = 120)]
    pub person_name: Option<String>,
    pub property_id: PropertyId,
    #[schema(max_length = 300)]
    pub address: String,
    #[schema(max_length = 120)]
    pub client_name: String,
    /// Ground of the sections, each once.
    pub area_sqft: Area,
    /// In the order of work: one product after the other, so that a spreader is filled with each once, and each over the sections.
    #[schema(max_items = 200)]
    pub lines: Vec<StopLine>,
}

/// Planned work that found no day.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct StopLeftOut {
    pub property_id: PropertyId,
    #[schema(max_length = 300)]
    pub address: String,
    #[schema(max_length = 120)]
    pub client_name: String,
    #[schema(max_length = 120)]
    pub round: String,
    #[schema(max_items = 200)]
    pub section_ids: Vec<SectionId>,
    #[schema(max_length = 700)]
    pub why: String,
}

/// A planned round of a section: which of the sections, and which of its rounds.
pub(super) type Line = (usize, usize);

/// Work that is to be one stop.
#[derive(Debug, Clone)]
struct Group {
    round: usize,
    lines: Vec<Line>,
    asked: StopAsked,
}

/// Where every line went, by section and round of its plan.
pub(super) type Placed = BTreeMap<Line, Result<StopPlaced, String>>;

/// Sections with the rounds that they would have.
type Arrangement = Vec<(usize, Vec<PlannedRound>)>;

struct Arranged<'s, 'p> {
    season: &'s Season,
    offered: &'p [(ProductId, PlanProduct)],
    answers: &'p mut Vec<Result<PlannedSection, NotPlanned>>,
    questions: HashMap<usize, Option<LawnQuestion<'s>>>,
    groups: Vec<Group>,
    settled: HashSet<Line>,
    /// The last arrangement that was let through: stop, day, and the rounds of each section.
    candidate: Option<(usize, Day, Arrangement)>,
}

impl Arranged<'_, '_> {
    fn question(&mut self, section: usize) -> Option<&LawnQuestion<'_>> {
        let (season, offered) = (self.season, self.offered);
        let ask = || season.lawns.get(section).and_then(|lawn| season.ask(lawn, offered).ok());
        self.questions.entry(section).or_insert_with(ask).as_ref()
    }

    fn rounds(&self, section: usize) -> &[PlannedRound] {
        let plan = self.answers.get(section).and_then(|answer| answer.as_ref().ok());
        plan.map_or(&[], |plan| plan.raw.rounds.as_slice())
    }

    fn window(&mut self, (section, at): Line) -> Option<(Day, Day)> {
        let round = self.rounds(section).get(at)?.clone();
        self.question(section)?.with(|question| days::window(question, &round))
    }

    /// The rounds of a section with some on another day, if they stand; rounds that have no day of their own yet make way.
    fn moved(&mut self, section: usize, lines: &[usize], on: Day) -> Result<Vec<PlannedRound>, String> {
        let mut rounds = self.rounds(section).to_vec();
        if lines.iter().all(|at| rounds.get(*at).is_some_and(|round| round.on == on)) {
            return Ok(rounds);
        }
        for at in lines {
            if let Some(round) = rounds.get_mut(*at) {
                round.on = on;
            }
        }
        let free = |at: &usize| !lines.contains(at) && !self.settled.contains(&(section, *at));
        let free: Vec<usize> = (0..rounds.len()).filter(free).collect();
        let windows: Vec<(usize, (Day, Day))> =
            free.into_iter().filter_map(|at| Some((at, self.window((section, at))?))).collect();
        let season = self.season;
        let Some(question) = self.question(section) else { return Err("it is not on record".to_owned()) };
        let stands = |rounds: &[PlannedRound]| question.with(|asked| days::stands(&season.law, asked, rounds));
        let Err(why) = stands(&rounds) else { return Ok(rounds) };
        for (at, (from, to)) in windows {
            let Some(before) = rounds.get(at).map(|round| round.on) else { continue };
            let mut other = from.max(on);
            while other <= to {
                if let Some(round) = rounds.get_mut(at) {
                    round.on = other;
                }
                if stands(&rounds).is_ok() {
                    return Ok(rounds);
                }
                other = other.plus_days(1);
            }
            if let Some(round) = rounds.get_mut(at) {
                round.on = before;
            }
        }
        Err(why)
    }
}

impl Days for Arranged<'_, '_> {
    fn may(&mut self, stop: usize, on: Day) -> Result<(), String> {
        let Some(group) = self.groups.get(stop) else { return Err("there is no such stop".to_owned()) };
        let mut by_section: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
        for (section, at) in &group.lines {
            by_section.entry(*section).or_default().push(*at);
        }
        let mut arrangement = Vec::new();
        for (section, lines) in by_section {
            arrangement.push((section, self.moved(section, &lines, on)?));
        }
        self.candidate = Some((stop, on, arrangement));
        Ok(())
    }

    fn place(&mut self, stop: usize, on: Day) {
        let Some((_, _, arrangement)) = self.candidate.take().filter(|(of, day, _)| *of == stop && *day == on) else {
            return;
        };
        for (section, rounds) in arrangement {
            if let Some(Ok(planned)) = self.answers.get_mut(section) {
                planned.raw.rounds = rounds;
            }
        }
        let lines = self.groups.get(stop).map(|group| group.lines.clone()).unwrap_or_default();
        self.settled.extend(lines);
    }
}

/// Gives the planned work its days, of one round or of all, and says where each line went. The days of the plans change with it.
pub(super) fn arrange(
    season: &Season,
    offered: &[(ProductId, PlanProduct)],
    answers: &mut Vec<Result<PlannedSection, NotPlanned>>,
    only: Option<&str>,
) -> Placed {
    let mut homes = Homes::default();
    let anybody = [DayCapacity::default()];
    let capacities: Vec<DayCapacity> = season.technicians.iter().map(|one| one.capacity).collect();
    let capacities: &[DayCapacity] = if capacities.is_empty() { &anybody } else { &capacities };
    let mut book = DayBook::new(capacities, &taken(season, &mut homes));
    let mut arranged = Arranged {
        season,
        offered,
        answers,
        questions: HashMap::new(),
        groups: Vec::new(),
        settled: HashSet::new(),
        candidate: None,
    };
    let mut placed = Placed::new();
    let mut waiting = first_groups(&arranged, only);
    // What cannot be one stop is tried as one stop a product, and then section by section.
    for turn in 0..3 {
        let groups: Vec<Group> = waiting.drain(..).flat_map(|lines| whole(&mut arranged, &mut homes, lines)).collect();
        let stops: Vec<StopAsked> = groups.iter().map(|group| group.asked).collect();
        arranged.groups.clone_from(&groups);
        for (group, answer) in groups.into_iter().zip(book.spread(&stops, &mut arranged)) {
            let parts = split(&arranged, &group, turn);
            if answer.is_err() && parts.len() > 1 {
                waiting.extend(parts.into_iter().map(|lines| (group.round, lines)));
                continue;
            }
            placed.extend(group.lines.iter().map(|line| (*line, answer.clone())));
        }
    }
    for planned in arranged.answers.iter_mut().flatten() {
        for (shown, raw) in planned.section.rounds.iter_mut().zip(&planned.raw.rounds) {
            shown.on = raw.on;
        }
    }
    placed
}

/// Numbers of properties.
#[derive(Default)]
struct Homes(HashMap<PropertyId, usize>);

impl Homes {
    fn number(&mut self, property: PropertyId) -> usize {
        let next = self.0.len();
        *self.0.entry(property).or_insert(next)
    }
}

/// What stands on the technicians' days already.
fn taken(season: &Season, homes: &mut Homes) -> Vec<StopTaken> {
    let of = |person: PersonId| season.technicians.iter().position(|one| one.person_id == person);
    let mut taken = Vec::new();
    for line in season.visits.iter().filter(|line| line.open) {
        let Some(technician) = of(line.person_id) else { continue };
        let property = homes.number(line.property_id);
        taken.push(StopTaken { on: line.planned_on, technician, property, area: line.area.unwrap_or(Area::ZERO) });
    }
    taken
}

/// What each property has in each round.
fn first_groups(arranged: &Arranged<'_, '_>, only: Option<&str>) -> Vec<(usize, Vec<Line>)> {
    let mut groups: BTreeMap<(usize, usize), Vec<Line>> = BTreeMap::new();
    let mut order: HashMap<PropertyId, usize> = HashMap::new();
    for (section, (lawn, answer)) in arranged.season.lawns.iter().zip(arranged.answers.iter()).enumerate() {
        let Ok(planned) = answer else { continue };
        let next = order.len();
        let home = *order.entry(lawn.property_id).or_insert(next);
        for (at, shown) in planned.section.rounds.iter().enumerate() {
            let round = arranged.season.programme.rounds.iter().position(|round| round.name == shown.round);
            let Some(round) = round.filter(|_| only.is_none_or(|only| only == shown.round)) else { continue };
            groups.entry((round, home)).or_default().push((section, at));
        }
    }
    groups.into_iter().map(|((round, _), lines)| (round, lines)).collect()
}

/// Lines as one stop, or, where their days have none in common, a product each.
fn whole(arranged: &mut Arranged<'_, '_>, homes: &mut Homes, (round, lines): (usize, Vec<Line>)) -> Vec<Group> {
    if let Some(group) = group(arranged, homes, round, lines.clone()) {
        return vec![group];
    }
    let mut parts: BTreeMap<usize, Vec<Line>> = BTreeMap::new();
    for line in lines {
        parts.entry(product(arranged, line)).or_default().push(line);
    }
    parts.into_values().filter_map(|lines| group(arranged, homes, round, lines)).collect()
}

fn product(arranged: &Arranged<'_, '_>, (section, at): Line) -> usize {
    arranged.rounds(section).get(at).map_or(0, |round| round.product)
}

fn group(arranged: &mut Arranged<'_, '_>, homes: &mut Homes, round: usize, lines: Vec<Line>) -> Option<Group> {
    let (mut from, mut to): (Option<Day>, Option<Day>) = (None, None);
    for line in &lines {
        let (_, last) = arranged.window(*line)?;
        // Before the day that the plan found, the rules or the year's limit stood against it.
        let first = arranged.rounds(line.0).get(line.1)?.on;
        from = Some(from.map_or(first, |day| day.max(first)));
        to = Some(to.map_or(last, |day| day.min(last)));
    }
    let (from, to) = from.zip(to).filter(|(from, to)| from <= to)?;
    let sections: HashSet<usize> = lines.iter().map(|(section, _)| *section).collect();
    let area = sections.iter().map(|section| area(arranged.answers, *section)).sum();
    let lawn = lines.first().and_then(|(section, _)| arranged.season.lawns.get(*section))?;
    let asked = StopAsked { property: homes.number(lawn.property_id), from, to, area: Area::from_raw(area) };
    Some(Group { round, lines, asked })
}

fn area(answers: &[Result<PlannedSection, NotPlanned>], section: usize) -> i64 {
    answers.get(section).and_then(|answer| answer.as_ref().ok()).map_or(0, |plan| plan.section.area_sqft.raw())
}

/// A stop in smaller ones: by product first, then by section.
fn split(arranged: &Arranged<'_, '_>, group: &Group, turn: usize) -> Vec<Vec<Line>> {
    let mut parts: BTreeMap<(usize, usize), Vec<Line>> = BTreeMap::new();
    for line in &group.lines {
        let section = if turn == 0 { 0 } else { line.0 };
        parts.entry((product(arranged, *line), section)).or_default().push(*line);
    }
    let parts: Vec<Vec<Line>> = parts.into_values().collect();
    // One product on several sections goes on to the sections at once.
    if parts.len() == 1 && turn == 0 { split(arranged, group, 1) } else { parts }
}

/// The stops, day by day and technician by technician, and what found no day.
pub(super) fn stops(
    season: &Season,
    answers: &[Result<PlannedSection, NotPlanned>],
    placed: &Placed,
) -> (Vec<PlannedStop>, Vec<StopLeftOut>) {
    let mut found: BTreeMap<(Day, usize, usize), Vec<Line>> = BTreeMap::new();
    let mut lost: BTreeMap<(usize, String, String), Vec<SectionId>> = BTreeMap::new();
    let home = |section: usize| {
        let property = season.lawns.get(section).map(|lawn| lawn.property_id);
        season.lawns.iter().position(|lawn| Some(lawn.property_id) == property).unwrap_or(section)
    };
    for ((section, at), answer) in placed {
        let Some(Ok(planned)) = answers.get(*section) else { continue };
        let Some(shown) = planned.section.rounds.get(*at) else { continue };
        match answer {
            Ok(there) => {
                found.entry((there.on, there.technician, home(*section))).or_default().push((*section, *at));
            }
            Err(why) => {
                let key = (home(*section), shown.round.clone(), crate::field_fault::truncate_chars(why.clone(), 700));
                let sections = lost.entry(key).or_default();
                if !sections.contains(&planned.section.section_id) {
                    sections.push(planned.section.section_id);
                }
            }
        }
    }
    let stop = |((on, technician, home), mut lines): ((Day, usize, usize), Vec<Line>)| {
        let lawn = season.lawns.get(home)?;
        let technician = season.technicians.get(technician);
        let planned = |section: usize| answers.get(section).and_then(|answer| answer.as_ref().ok());
        lines.sort_by_key(|(section, at)| {
            (planned(*section).and_then(|plan| plan.raw.rounds.get(*at)).map(|round| round.product), *section)
        });
        let sections: HashSet<usize> = lines.iter().map(|(section, _)| *section).collect();
        let line = |(section, at): &Line| {
            let plan = planned(*section)?;
            let shown = plan.section.rounds.get(*at)?;
            Some(StopLine {
                section_id: plan.section.section_id,
                section_name: plan.section.section_name.clone(),
                round: shown.round.clone(),
                product_id: shown.product_id,
                product_name: shown.product_name.clone(),
                product_lb: shown.product_lb,
                product_lb_per_1000_sqft: shown.product_lb_per_1000_sqft,
            })
        };
        Some(PlannedStop {
            on,
            person_id: technician.map(|one| one.person_id),
            person_name: technician.map(|one| one.name.clone()),
            property_id: lawn.property_id,
            address: lawn.address.clone(),
            client_name: lawn.client_name.clone(),
            area_sqft: Area::from_raw(sections.iter().map(|section| area(answers, *section)).sum()),
            lines: lines.iter().filter_map(line).collect(),
        })
    };
    let left = |((home, round, why), section_ids): ((usize, String, String), Vec<SectionId>)| {
        let lawn = season.lawns.get(home)?;
        let (address, client_name) = (lawn.address.clone(), lawn.client_name.clone());
        Some(StopLeftOut { property_id: lawn.property_id, address, client_name, round, section_ids, why })
    };
    (found.into_iter().filter_map(stop).collect(), lost.into_iter().filter_map(left).collect())
}
