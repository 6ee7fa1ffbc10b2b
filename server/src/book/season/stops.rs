//! The stops of a season: what is planned at a property in one round is one stop on one day, as far as the rules let it be, and
//! no technician has more on a day than the programme says. Every section's plan stands after each change of a day.

use std::{
    collections::{BTreeMap, BTreeSet, HashMap, HashSet},
    sync::atomic::{AtomicBool, Ordering},
};

use domain::{
    ids::{PersonId, ProductId, PropertyId, SectionId},
    programme::{
        PlanProduct, PlannedRound, days,
        stops::{DayBook, DayCapacity, Days, StopAsked, StopPlaced, StopTaken},
    },
    quantity::Area,
    time::Day,
};

use super::{LawnQuestion, NotPlanned, PlannedSection, Season};

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
    /// Why rounds of a section may not go to a day, as long as its other rounds stay where they are.
    refused: HashMap<(usize, Vec<usize>, Day), String>,
    /// Which technician treats which section on a day: two products there are one piece of ground.
    treated: HashSet<(Day, usize, usize)>,
    /// Whether the caller has hung up.
    gone: &'p AtomicBool,
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
        let asked = (section, lines.to_vec(), on);
        if let Some(why) = self.refused.get(&asked) {
            return Err(why.clone());
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
        let (law, gone) = (&self.season.law, self.gone);
        let Some(question) = self.question(section) else { return Err("it is not on record".to_owned()) };
        let stands = |rounds: &[PlannedRound]| question.with(|asked| days::stands(law, asked, rounds));
        let found = make_way(rounds, &windows, on, (&stands, gone));
        if let Err(why) = &found {
            let _ = self.refused.insert(asked, why.clone());
        }
        found
    }
}

/// Whether rounds stand, or why not.
type Stands<'a> = &'a dyn Fn(&[PlannedRound]) -> Result<(), String>;

/// The rounds as they are, or with one of those that have windows on another of its days, so that all stand. Most days are closed
/// to what has its day already, whatever makes way, so that is asked first; and a round is moved only if all would stand
/// without it.
fn make_way(
    mut rounds: Vec<PlannedRound>,
    windows: &[(usize, (Day, Day))],
    on: Day,
    (stands, gone): (Stands<'_>, &AtomicBool),
) -> Result<Vec<PlannedRound>, String> {
    let without = |rounds: &[PlannedRound], left: &dyn Fn(usize) -> bool| -> Vec<PlannedRound> {
        rounds.iter().enumerate().filter(|(at, _)| !left(*at)).map(|(_, round)| round.clone()).collect()
    };
    let Err(why) = stands(&rounds) else { return Ok(rounds) };
    stands(&without(&rounds, &|at| windows.iter().any(|(free, _)| *free == at)))?;
    for (at, (from, to)) in windows {
        if stands(&without(&rounds, &|other| other == *at)).is_err() {
            continue;
        }
        let Some(before) = rounds.get(*at).map(|round| round.on) else { continue };
        let mut other = (*from).max(on);
        while other <= *to && !gone.load(Ordering::Relaxed) {
            if let Some(round) = rounds.get_mut(*at) {
                round.on = other;
            }
            if stands(&rounds).is_ok() {
                return Ok(rounds);
            }
            other = other.plus_days(1);
        }
        if let Some(round) = rounds.get_mut(*at) {
            round.on = before;
        }
    }
    Err(why)
}

impl Days for Arranged<'_, '_> {
    fn may(&mut self, stop: usize, on: Day) -> Result<(), String> {
        if self.gone.load(Ordering::Relaxed) {
            return Err("the plan was broken off".to_owned());
        }
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

    /// Whether whoever goes holds what the law asks for on that day, of everything that goes down at the stop.
    fn goes(&mut self, stop: usize, on: Day, technician: usize) -> Result<(), String> {
        let lines = self.groups.get(stop).map(|group| group.lines.clone()).unwrap_or_default();
        let place = |line: Line| Some((self.season.lawns.get(line.0)?.property_id, product(self, line)));
        let places: BTreeSet<_> = lines.into_iter().filter_map(place).collect();
        self.season.may_go(technician, places, self.offered, on)
    }

    fn ground(&self, stop: usize, on: Day, technician: usize) -> Option<Area> {
        let sections: BTreeSet<usize> = self.groups.get(stop)?.lines.iter().map(|(section, _)| *section).collect();
        let new = sections.into_iter().filter(|section| !self.treated.contains(&(on, technician, *section)));
        Some(Area::from_raw(new.map(|section| area(self.answers, section)).sum()))
    }

    fn place(&mut self, stop: usize, StopPlaced { on, technician }: StopPlaced) {
        let Some((_, _, arrangement)) = self.candidate.take().filter(|(of, day, _)| *of == stop && *day == on) else {
            return;
        };
        let own = self.groups.get(stop).into_iter().flat_map(|group| &group.lines);
        self.treated.extend(own.map(|(section, _)| (on, technician, *section)));
        for (section, rounds) in arrangement {
            self.refused.retain(|(of, ..), _| *of != section);
            if let Some(Ok(planned)) = self.answers.get_mut(section) {
                planned.raw.rounds = rounds;
            }
        }
        let lines = self.groups.get(stop).map(|group| group.lines.clone()).unwrap_or_default();
        self.settled.extend(lines);
    }
}

/// Gives the planned work its days, of one round or of all, and says where each line went; nothing when the caller has gone away
/// meanwhile. The days of the plans change with it.
pub(super) fn arrange(
    season: &Season,
    offered: &[(ProductId, PlanProduct)],
    answers: &mut Vec<Result<PlannedSection, NotPlanned>>,
    only: Option<&str>,
    gone: &AtomicBool,
) -> Option<Placed> {
    let mut homes = Homes::default();
    let anybody = [DayCapacity::default()];
    let capacities: Vec<DayCapacity> = season.technicians.iter().map(|one| one.capacity).collect();
    let capacities: &[DayCapacity] = if capacities.is_empty() { &anybody } else { &capacities };
    let (taken, treated) = taken(season, &mut homes);
    let mut book = DayBook::new(capacities, &taken);
    let mut arranged = Arranged {
        season,
        offered,
        answers,
        questions: HashMap::new(),
        groups: Vec::new(),
        settled: HashSet::new(),
        candidate: None,
        refused: HashMap::new(),
        treated,
        gone,
    };
    let mut placed = Placed::new();
    let mut waiting = first_groups(&arranged, only);
    // What cannot be one stop is tried as one stop a product, and then section by section.
    for turn in 0..3 {
        let mut groups = Vec::new();
        for lines in waiting.drain(..) {
            whole(&mut arranged, &mut homes, lines, (&mut groups, &mut placed));
        }
        let stops: Vec<StopAsked> = groups.iter().map(|group| group.asked).collect();
        arranged.groups.clone_from(&groups);
        for (group, answer) in groups.into_iter().zip(book.spread(&stops, &mut arranged)) {
            let parts = split(&arranged, &group, turn);
            if answer.is_err() && parts.len() > 1 && turn < 2 {
                waiting.extend(parts.into_iter().map(|lines| (group.round, lines)));
                continue;
            }
            placed.extend(group.lines.iter().map(|line| (*line, answer.clone())));
        }
    }
    if gone.load(Ordering::Relaxed) {
        return None;
    }
    test_soil_again(&mut arranged);
    for planned in arranged.answers.iter_mut().flatten() {
        for (shown, raw) in planned.section.rounds.iter_mut().zip(&planned.raw.rounds) {
            shown.on = raw.on;
        }
    }
    Some(placed)
}

/// The day of a new soil test moves with the lime that it follows.
fn test_soil_again(arranged: &mut Arranged<'_, '_>) {
    for section in 0..arranged.answers.len() {
        let Some(Ok(planned)) = arranged.answers.get(section) else { continue };
        let lime = planned.raw.lime.as_ref().filter(|lime| !lime.planned_lb_per_1000_sqft.is_zero());
        if lime.is_none_or(|lime| lime.test_again_on.is_none()) {
            continue;
        }
        let rounds = planned.raw.rounds.clone();
        let day = arranged.question(section).and_then(|asked| asked.with(|asked| days::test_again_on(asked, &rounds)));
        let Some(Ok(planned)) = arranged.answers.get_mut(section) else { continue };
        for lime in [&mut planned.raw.lime, &mut planned.section.lime].into_iter().flatten() {
            lime.test_again_on = day.or(lime.test_again_on);
        }
    }
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

/// What stands on the technicians' days already, and which sections of those to be planned they treat there.
fn taken(season: &Season, homes: &mut Homes) -> (Vec<StopTaken>, HashSet<(Day, usize, usize)>) {
    let of = |person: PersonId| season.technicians.iter().position(|one| one.person_id == person);
    let numbers: HashMap<SectionId, usize> =
        season.lawns.iter().enumerate().map(|(number, lawn)| (lawn.section_id, number)).collect();
    let (mut taken, mut known, mut treated) = (Vec::new(), HashSet::new(), HashSet::new());
    for line in season.visits.iter().filter(|line| line.open) {
        let Some(technician) = of(line.person_id) else { continue };
        let property = homes.number(line.property_id);
        // Two products on one section are one piece of ground on the technician's day.
        let first = known.insert((line.planned_on, technician, line.section_id));
        let area = line.area.filter(|_| first).unwrap_or(Area::ZERO);
        treated.extend(numbers.get(&line.section_id).map(|section| (line.planned_on, technician, *section)));
        taken.push(StopTaken { on: line.planned_on, technician, property, area });
    }
    (taken, treated)
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

/// Lines as one stop, or, where their days have none in common, as one a product, and then as one a line. A line without a day of
/// its own is told among what found none.
fn whole(
    arranged: &mut Arranged<'_, '_>,
    homes: &mut Homes,
    (round, lines): (usize, Vec<Line>),
    (groups, placed): (&mut Vec<Group>, &mut Placed),
) {
    if let Some(group) = group(arranged, homes, round, lines.clone()) {
        groups.push(group);
        return;
    }
    let mut parts: BTreeMap<usize, Vec<Line>> = BTreeMap::new();
    for line in lines {
        parts.entry(product(arranged, line)).or_default().push(line);
    }
    for lines in parts.into_values() {
        if let Some(group) = group(arranged, homes, round, lines.clone()) {
            groups.push(group);
            continue;
        }
        for line in lines {
            match group(arranged, homes, round, vec![line]) {
                Some(group) => groups.push(group),
                None => {
                    let _ = placed.insert(line, Err("no day of its round is left for it".to_owned()));
                }
            }
        }
    }
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

pub(super) fn area(answers: &[Result<PlannedSection, NotPlanned>], section: usize) -> i64 {
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
