//! The company's year: every section against its cap, and the reports that the law wants for it.

use std::{
    collections::{BTreeSet, HashMap, HashSet},
    sync::Arc,
};

use crate::{
    acts::ground::parts_of,
    book::statement::{self, Ground, LawThen},
    problem::Problem,
    state::App,
    store::{
        self,
        company_year::{Load, TreatedGround, YearSum},
        statements::Span,
    },
};
use domain::{
    application::Audience,
    ids::{ClientId, PropertyId, SectionId},
    land::{PropertyKind, Species},
    law::{
        Lawbook, Level, ReportDue,
        year::{PartialCap, YearCap},
    },
    parts::{Piece, pieces},
    quantity::{Area, NutrientRate, NutrientRoom, RateSum},
    statement::caps::{CapRooms, DAYS_BEFORE, ToldYear},
    time::Day,
};
use jiff::tz::TimeZone;

/// One section in the company's year.
#[derive(Debug)]
pub struct SectionSum {
    pub client_id: ClientId,
    pub client_name: String,
    pub address: String,
    pub property_id: PropertyId,
    pub section_id: SectionId,
    pub section_name: String,
    /// The tightest cap on nitrogen.
    pub cap: Option<Arc<YearCap>>,
    pub nitrogen_lb_per_1000_sqft: NutrientRate,
    pub quick_nitrogen_lb_per_1000_sqft: NutrientRate,
    pub phosphate_lb_per_1000_sqft: NutrientRate,
    pub potash_lb_per_1000_sqft: NutrientRate,
    /// By the calendar year.
    pub remaining_nitrogen_lb_per_1000_sqft: Option<NutrientRoom>,
    /// Every yearly cap that binds here, on phosphate as well, held against the calendar year and against 365 days.
    pub caps: Vec<CapRooms>,
    /// Targets of the visits that are still to be made this year, added up.
    pub planned_nitrogen_lb_per_1000_sqft: NutrientRate,
    /// The day of the first planned visit with which the section runs past its cap, in the calendar year or in 365 days.
    pub runs_past_on: Option<Day>,
    /// Yearly caps that count only some of what lies here, so that nothing is held against them.
    pub not_added_up: Vec<PartialCap>,
}

impl SectionSum {
    /// The tightest cap on nitrogen, in both years.
    pub fn of_nitrogen(&self) -> Option<&CapRooms> {
        let cap = self.cap.as_ref()?;
        self.caps.iter().find(|rooms| rooms.cap == *cap)
    }
}

/// What a cap hangs on: rule sets, turf, who works there, and kind and plan of the ground.
type Asked = (Vec<String>, Option<Species>, Audience, Option<(Option<PropertyKind>, Option<Day>)>);

/// The tightest cap, all that everything counts against, and those that count some of it.
type Caps = (Option<Arc<YearCap>>, Vec<Arc<YearCap>>, Vec<PartialCap>);

/// Every section's year against its cap.
pub fn company_year(law: &Lawbook, year: ToldYear, sums: Vec<YearSum>) -> Vec<SectionSum> {
    let mut known: HashMap<Asked, Caps> = HashMap::new();
    let section = |sum: YearSum| {
        let rates = rates(&sum.loads);
        let kind_and_plan = sum.bound.site.map(|site| (site.kind, site.plan_on));
        let key = (sum.rule_sets.clone(), sum.species, sum.bound.audience, kind_and_plan);
        let (cap, caps, not_added_up) = known.entry(key).or_insert_with_key(|(codes, species, ..)| {
            let tightest = law.tightest_year_cap(codes, *species, sum.bound, year.as_of);
            let all = law.year_caps(codes, *species, sum.bound, year.as_of).into_iter().map(Arc::new);
            (tightest.map(Arc::new), all.collect(), law.year_caps_on_some(codes, sum.bound, year.as_of))
        });
        let (cap, not_added_up) = (cap.clone(), not_added_up.clone());
        let caps = sum.dated.rooms(caps.iter().cloned(), year);
        let room = |limit| rates.iter().map(|[nitrogen, ..]| nitrogen.room_rounded_down(limit)).min();
        let room = cap.as_ref().and_then(|cap| room(cap.limit_lb_per_1000_sqft));
        let highest = |of: usize| rates.iter().filter_map(|all| all.get(of)).map(RateSum::rounded_up).max();
        let [nitrogen, quick, phosphate, potash] = [0, 1, 2, 3].map(|of| highest(of).unwrap_or(NutrientRate::ZERO));
        SectionSum {
            client_id: sum.client_id,
            property_id: sum.property_id,
            section_id: sum.section_id,
            nitrogen_lb_per_1000_sqft: nitrogen,
            quick_nitrogen_lb_per_1000_sqft: quick,
            phosphate_lb_per_1000_sqft: phosphate,
            potash_lb_per_1000_sqft: potash,
            remaining_nitrogen_lb_per_1000_sqft: room,
            planned_nitrogen_lb_per_1000_sqft: NutrientRate::from_raw(
                sum.planned.iter().map(|(_, target)| target).sum(),
            ),
            runs_past_on: cap.as_ref().zip(room).and_then(|(cap, room)| runs_past_on(&sum, cap, room)),
            caps,
            not_added_up,
            cap,
            client_name: sum.client_name,
            address: sum.address,
            section_name: sum.section_name,
        }
    };
    sums.into_iter().map(section).collect()
}

/// Rule sets, turf, who works there, and the kind of ground where that is known.
type BoundAlike<'a> = (&'a [String], Option<Species>, Audience, Option<Option<PropertyKind>>);

/// What a reader of the year must know beside its figures, each a sentence.
pub async fn notes(
    app: &App,
    law: &Arc<Lawbook>,
    sums: &[YearSum],
    (span, zone): (Span, &TimeZone),
) -> Result<Vec<String>, Problem> {
    let law_then = LawThen::of(app, law, span, zone).await?;
    let mut notes = told_of_law(law, law_then.as_ref(), sums, span.as_of);
    let (now, over) = (app.clock.now(), span.to.plus_days(1).starts_at(zone));
    if now.day_in(zone) < span.from {
        notes.push(format!("The year {} has not begun.", span.from.year()));
    } else if now >= over {
        let later = store::company_year::told_later(app.store.reader(), span, over).await?;
        notes.extend(told_later(sums, &later));
        let added = store::company_year::added_later(app.store.reader(), over).await?;
        notes.extend(added_later(sums, &added, span.to));
    }
    Ok(notes)
}

/// Places named in one sentence.
const NAMED: usize = 8;

/// That something about some places came into the book only when the year was over. What it changes stands on their statements.
fn told_later(sums: &[YearSum], properties: &HashSet<PropertyId>) -> Option<String> {
    let of = sums.iter().filter(|sum| properties.contains(&sum.property_id)).map(|sum| sum.address.as_str());
    let places = places(of)?;
    Some(format!(
        "Since the year ended, something was entered or corrected that may count in it, about {places}. The statement of each says what."
    ))
}

/// That some lawns were not in the book when the year ended.
fn added_later(sums: &[YearSum], sections: &HashSet<SectionId>, to: Day) -> Option<String> {
    let those = || sums.iter().filter(|sum| sections.contains(&sum.section_id));
    let places = places(those().map(|sum| sum.address.as_str()))?;
    let count = those().count();
    let lawns = if count == 1 { "One lawn of this list was" } else { &format!("{count} lawns of this list were") };
    Some(format!("{lawns} entered only after {to}: {places}."))
}

/// Some addresses in words, the first of them by name.
fn places<'a>(addresses: impl Iterator<Item = &'a str>) -> Option<String> {
    let places: BTreeSet<&str> = addresses.collect();
    let named: Vec<String> = places.iter().take(NAMED).map(|place| place.chars().take(100).collect()).collect();
    let more = places.len().saturating_sub(NAMED);
    let more = if more > 0 { format!("; and {more} more") } else { String::new() };
    (!places.is_empty()).then(|| format!("{}{more}", named.join("; ")))
}

/// What a reader of the year must know of the law behind it: rule sets whose file is gone, and those of which another version counts
/// than when the year ended. Ground that is bound alike is asked about once.
fn told_of_law(law: &Lawbook, then: Option<&LawThen>, sums: &[YearSum], on: Day) -> Vec<String> {
    let mut grounds: Vec<Ground<'_>> = Vec::new();
    let mut known: HashSet<BoundAlike<'_>> = HashSet::new();
    for sum in sums {
        let kind = sum.bound.site.map(|site| site.kind);
        if known.insert((&sum.rule_sets, sum.species, sum.bound.audience, kind)) {
            let place = format!("{}, {}", sum.address, sum.section_name);
            grounds.push(Ground { place, rule_sets: &sum.rule_sets, species: sum.species, bound: sum.bound });
        }
    }
    let mut said = statement::missing(law, then, &grounds);
    said.extend(then.map(|then| statement::told(law, then, (&grounds, &BTreeSet::new()), on)).unwrap_or_default().sets);
    said
}

/// Nitrogen, quick nitrogen, phosphate and potash of each piece of ground that the loads tell apart.
fn rates(loads: &[Load]) -> Vec<[RateSum; 4]> {
    let of = |piece: Piece| {
        let mut rates: [RateSum; 4] = Default::default();
        for (area, nitrogen, quick, phosphate, potash, division, parts) in loads {
            if piece.may_hold(parts_of(*division, *parts)) {
                for (rate, load) in rates.iter_mut().zip([nitrogen, quick, phosphate, potash]) {
                    rate.add(*load, Area::from_raw(*area));
                }
            }
        }
        rates
    };
    pieces(loads.iter().map(|load| parts_of(load.5, load.6))).into_iter().map(of).collect()
}

/// The first planned visit that does not fit any more, with those before it, under what the calendar year leaves or under what the
/// 365 days to it leave.
fn runs_past_on(year: &YearSum, cap: &YearCap, room: NutrientRoom) -> Option<Day> {
    let mut sum = 0;
    let past = year.planned.iter().find(|(day, target)| {
        sum += target;
        let rolling = year.dated.within(cap.nutrient, day.plus_days(-DAYS_BEFORE), *day);
        let left = room.raw().min(cap.limit_lb_per_1000_sqft.raw() - rolling.raw());
        sum > left || (sum == left && !cap.limit_allowed)
    });
    past.map(|(day, _)| *day)
}

/// Ground of a section, and what decides which law binds there.
struct Treated<'a> {
    section: SectionId,
    ground: &'a TreatedGround,
}

/// Reports that are due for a year: for each set of places in which product went down, by the ground treated there, and by who
/// worked there on the days of the work.
pub fn reports_due(law: &Lawbook, year: i16, sums: &[YearSum]) -> Vec<ReportDue> {
    let pairs = sums.iter().flat_map(|sum| sum.treated.iter().map(|ground| (sum.section_id, ground)));
    let treated: Vec<Treated<'_>> = pairs.map(|(section, ground)| Treated { section, ground }).collect();
    let mut asked: Vec<&TreatedGround> = Vec::new();
    for Treated { ground, .. } in &treated {
        if !asked.iter().any(|known| known.rule_sets == ground.rule_sets && known.bound == ground.bound) {
            asked.push(ground);
        }
    }
    let states = states_of(law, &treated);
    let mut due: Vec<ReportDue> = Vec::new();
    for TreatedGround { rule_sets: codes, bound, .. } in asked {
        // A state counts the ground of all its places together, of those who are bound alike.
        let state = states.get(codes);
        let within = |other: &&Treated<'_>| {
            other.ground.bound.audience == bound.audience
                && (other.ground.rule_sets == *codes
                    || (state.is_some() && states.get(&other.ground.rule_sets) == state))
        };
        let area = ground_of(treated.iter().filter(within));
        for report in law.reports_due(codes, *bound, year, Area::from_raw(area)) {
            if !due.contains(&report) {
                due.push(report);
            }
        }
    }
    due.sort_by(|one, other| (one.due, &one.source.rule).cmp(&(other.due, &other.source.rule)));
    due
}

/// The state over each list of rule sets, looked up once for each: a large company's sections share few lists.
fn states_of<'t>(law: &Lawbook, treated: &'t [Treated<'t>]) -> HashMap<&'t Vec<String>, String> {
    let lists: HashSet<&Vec<String>> = treated.iter().map(|one| &one.ground.rule_sets).collect();
    let state_of = |codes: &'t Vec<String>| {
        let mut stacked = law.over(codes).into_iter().map(|used| used.code);
        let is_state = |code: &String| law.rule_set(code).is_some_and(|set| set.about.level == Level::State);
        Some((codes, stacked.find(is_state)?))
    };
    lists.into_iter().filter_map(state_of).collect()
}

/// All that was treated of every section. Lines may be the same ground or not: as much is counted as it can be, so that a report that
/// may be due is named.
fn ground_of<'a>(treated: impl Iterator<Item = &'a Treated<'a>>) -> i64 {
    let mut sections: HashMap<SectionId, (i64, i64)> = HashMap::new();
    for Treated { section, ground } in treated {
        let (lines, most) = sections.entry(*section).or_default();
        (*lines, *most) = (*lines + ground.lines, (*most).max(ground.most));
    }
    sections.into_values().map(|(lines, most)| lines.min(most)).sum()
}
