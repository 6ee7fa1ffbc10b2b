//! Lime in the season's plan: what the soil report recommends, in the parts and with the waits of a laboratory's rule, each in a
//! round and on a day that the rules let through.

use super::{
    candidates,
    liming::{LimeAsked, PlannedLime},
    model::{Cell, PlanRound},
    planner::{Planner, RoundAmounts},
};
use crate::{
    decision::{Verdict, decide},
    explain::Derivation,
    quantity::{NeutralisingValue, ProductMass, ProductRate, quotient_down},
    soil::lime_rules::{LimePart, LimePlan, split},
    time::Day,
};

/// Days between two that are tried.
const STEP: i32 = 3;
/// Rounds that begin in this month or later are autumn's, which is best for lime (Penn State AASL, read).
const AUTUMN: i8 = 8;

/// A part of the lime with its cell.
pub(super) struct PartPlanned {
    pub at: usize,
    pub derivation: Derivation,
}

/// The cheapest liming material on offer by what it neutralises.
fn material(planner: &Planner<'_>) -> Option<(usize, NeutralisingValue)> {
    let offered = planner.question.products.iter().enumerate();
    let limes = offered.filter_map(|(at, product)| Some((at, product, product.cce_percent?)));
    // Price / (net weight x CCE), compared without dividing.
    let (at, _, cce) = limes.min_by(|(_, one, cce), (_, other, other_cce)| {
        let cost = |price: i64, bag: i64, cce: i64| i128::from(price) * i128::from(bag) * i128::from(cce);
        cost(one.bag_price_usd.raw(), other.bag_lb.raw(), other_cce.raw()).cmp(&cost(
            other.bag_price_usd.raw(),
            one.bag_lb.raw(),
            cce.raw(),
        ))
    })?;
    Some((at, cce))
}

/// Plans the lime beside what is planned. Its cells are added to the season's, so that every rule is asked about them too.
pub(super) fn add(planner: &mut Planner<'_>, amounts: &mut RoundAmounts) -> (Option<PlannedLime>, Vec<PartPlanned>) {
    let Some(asked) = planner.question.lime.filter(|asked| !asked.recommended.is_zero()) else {
        return (None, Vec::new());
    };
    let (source, mark) = asked.rule.source();
    let still = asked.still();
    let material = material(planner);
    // Without a material to split, the recommendation itself is held against the limit.
    let strength = material.map_or(NeutralisingValue::from_raw(10_000), |(_, cce)| cce);
    let mut lime = PlannedLime {
        recommended_lb_per_1000_sqft: asked.recommended,
        spent_lb_per_1000_sqft: asked.spent,
        still_lb_per_1000_sqft: still,
        planned_lb_per_1000_sqft: ProductRate::ZERO,
        test_again_on: asked.test_before_more(strength).filter(|_| !still.is_zero()),
        report: crate::text::truncate_chars(&asked.report, 300),
        source: source.to_owned(),
        mark,
        why: Vec::new(),
    };
    if still.is_zero() {
        return (Some(lime), Vec::new());
    }
    if let Some(day) = lime.test_again_on {
        lime.why.push(format!(
            "the first part is down or in visits, and the soil is to be tested again on {day} before anything more"
        ));
        return (Some(lime), Vec::new());
    }
    let Some((product, cce)) = material else {
        lime.why.push(
            "no liming material with its calcium carbonate equivalent is among the program's products".to_owned(),
        );
        return (Some(lime), Vec::new());
    };
    let parts_from = |day| split(still, cce, asked.rule, asked.cap_on, day);
    let first = planner.question.rounds.first().map(|round| round.from);
    let Some(begin) = first.map(|from| asked.not_before().map_or(from, |day| day.max(from))) else {
        lime.why.push("no round of the program is open".to_owned());
        return (Some(lime), Vec::new());
    };
    let count = parts_from(begin).parts.len();
    let mut found: Vec<PartPlanned> = Vec::new();
    let mut plan: Option<LimePlan> = None;
    for at in 0..count {
        let due = plan.clone().unwrap_or_else(|| parts_from(begin));
        let Some(part) = due.parts.get(at) else { break };
        match place(planner, amounts, product, part, (at == 0 && count == 1, asked)) {
            Ok(one) => {
                if let Some(cell) = planner.cells.get(one.at).filter(|_| at == 0) {
                    plan = Some(parts_from(cell.on));
                }
                let so_far = lime.planned_lb_per_1000_sqft.raw() + part.recommended_lb_per_1000_sqft.raw();
                lime.planned_lb_per_1000_sqft = ProductRate::from_raw(so_far);
                found.push(one);
            }
            Err(why) => {
                lime.why.extend(why);
                break;
            }
        }
    }
    lime.test_again_on = plan.and_then(|plan| plan.test_again_on);
    lime.why.truncate(20);
    (Some(lime), found)
}

/// Rounds in the order in which they are tried: a single part goes into autumn if it can, where something else goes down too
/// before where a stop would be made for it alone; of several the first goes down as soon as it can, so that the others follow
/// within the season.
fn order(rounds: &[PlanRound], autumn_first: bool, is_visited: impl Fn(usize) -> bool) -> Vec<(usize, &PlanRound)> {
    let mut order: Vec<(usize, &PlanRound)> = rounds.iter().enumerate().collect();
    order.sort_by_key(|(at, round)| {
        (autumn_first && round.from.date().month() < AUTUMN, autumn_first && !is_visited(*at), round.from)
    });
    order
}

fn place(
    planner: &mut Planner<'_>,
    amounts: &mut RoundAmounts,
    product: usize,
    part: &LimePart,
    (autumn_first, asked): (bool, &LimeAsked),
) -> Result<PartPlanned, Vec<String>> {
    let thousandths = i128::from(part.material_lb_per_1000_sqft.raw()) * i128::from(planner.area.raw());
    let mass = ProductMass::from_raw(quotient_down(thousandths, 100_000_000) * 1_000);
    let question = planner.question;
    if question.products.get(product).is_some_and(|offered| !offered.may_buy && offered.on_hand_lb < mass) {
        return Err(vec![
            "less of the liming material is on hand than the part takes, and no more may be bought".to_owned(),
        ]);
    }
    let (mut why, mut none) = (Vec::new(), true);
    let visited: Vec<usize> =
        amounts.iter().filter_map(|(at, _)| planner.cells.get(*at)).map(|cell| cell.round).collect();
    for (round, open) in order(question.rounds, autumn_first, |round| visited.contains(&round)) {
        let first = open.from.max(part.not_before);
        if first > open.to {
            continue;
        }
        none = false;
        // One stop does for both where something is planned in the round already.
        let beside = amounts.iter().filter_map(|(at, _)| planner.cells.get(*at)).filter(|cell| cell.round == round);
        let mut days: Vec<Day> = beside.map(|cell| cell.on).filter(|on| *on >= first).collect();
        let span = open.to.days_since(first);
        days.extend((0..=span / STEP).map(|at| first.plus_days(at * STEP)));
        days.push(open.to);
        let many = days.len();
        days.retain(|on| !planner.is_near_nitrogen(amounts, *on, asked.days_from_nitrogen));
        let mut refused = (days.is_empty() && many > 0)
            .then(|| format!("every day that was tried lies within {} days of nitrogen", asked.days_from_nitrogen));
        for on in days {
            planner.cells.push(Cell { round, product, step: None, on, most: None, most_words: String::new() });
            let at = planner.cells.len() - 1;
            amounts.push((at, mass));
            match stands(planner, amounts, at, mass) {
                Ok(()) => return Ok(PartPlanned { at, derivation: derivation(planner, part, mass, asked) }),
                Err(words) => refused.get_or_insert(words),
            };
            amounts.pop();
            planner.cells.pop();
        }
        why.extend(refused.map(|words| format!("round {} is closed: {words}", open.name)));
    }
    if none {
        let rate = part.recommended_lb_per_1000_sqft;
        why.push(format!("{rate} lb may follow from {} on, after the last round of the program", part.not_before));
    }
    Err(why)
}

impl Planner<'_> {
    /// Whether nitrogen is down or planned within so many days before or after a day.
    fn is_near_nitrogen(&self, amounts: &RoundAmounts, on: Day, days: i32) -> bool {
        if days == 0 {
            return false;
        }
        let near = |other: Day| other.days_since(on).abs() < days;
        let planned = amounts.iter().filter_map(|(at, _)| self.cells.get(*at));
        planned.filter(|cell| self.question.feeds(cell.product)).any(|cell| near(cell.on))
            || self.question.was_fed_near(on, days)
    }
}

/// Whether the lime is lawful on its day, and everything else with it.
fn stands(planner: &Planner<'_>, amounts: &RoundAmounts, at: usize, mass: ProductMass) -> Result<(), String> {
    let question = planner.question;
    let Some((cell, offered)) =
        planner.cells.get(at).and_then(|cell| Some((cell, question.products.get(cell.product)?)))
    else {
        return Ok(());
    };
    let past = planner.others(at, amounts);
    let facts = candidates::facts(question, cell.on, &offered.label, mass, &past);
    let decision = decide(planner.lawbook, question.rule_sets, &facts);
    if decision.verdict == Verdict::Stop {
        return Err(candidates::reason(&decision));
    }
    let fallen =
        amounts.iter().filter(|(other, _)| *other != at).any(|(other, mass)| !planner.lets(*other, *mass, amounts));
    if fallen { Err("another round of the plan would not stand beside it".to_owned()) } else { Ok(()) }
}

fn derivation(planner: &Planner<'_>, part: &LimePart, mass: ProductMass, asked: &LimeAsked) -> Derivation {
    let (source, mark) = asked.rule.source();
    Derivation::of("liming material of a planned round", "part of the recommendation x 100 / CCE x area / 1,000")
        .with("recommended", asked.recommended)
        .with("put down since the sample, or in visits", asked.spent)
        .with("this part of it, as pure calcium carbonate", part.recommended_lb_per_1000_sqft)
        .with("liming material", part.material_lb_per_1000_sqft)
        .with("area", planner.area)
        .converting(&asked.report)
        .from_source(mark, source)
        .gives(mass, "down to the thousandth of a pound")
        .derivation
}
