//! Proposal, question, cut, until the whole plan stands.

use std::cmp::Reverse;

use super::{
    candidates, conflict,
    cuts::{self, Cut},
    float,
    lime::{self, PartPlanned},
    liming::PlannedLime,
    model::{Cell, Closed, PlannedRound, SeasonPlan, SeasonQuestion, SkippedRound},
    outcome,
    planner::{Planner, RoundAmounts},
    solve::{self, Proposal},
};
use crate::{
    decision::{Verdict, decide},
    explain::{Derivation, SourceMark},
    facts::{LineFacts, PastApplication},
    law::Lawbook,
    product::Nutrients,
    quantity::{Area, Price, ProductMass, ProductRate, quotient_down, quotient_up},
};

/// Proposals before the plan is brought to stand by leaving rounds out.
const PROPOSALS: usize = 40;

/// What the rules say of one planned round among the others.
enum RoundCheck {
    Stands,
    /// It would with this much.
    AtMost(ProductMass, Option<String>, String),
    /// It does not, whatever the amount.
    Refused(String),
}

/// Plans a section's season: meets as much of the need as the rules, the windows, the stock and the company's own limits let
/// it, at the least cost. Every round of the answer stands before [`decide`] with all the others in the book.
pub fn plan(lawbook: &Lawbook, question: &SeasonQuestion<'_>) -> SeasonPlan {
    let (cells, closed) = candidates::cells(lawbook, question);
    let first = question.rounds.first().map(|round| (question.facts_on)(round.from));
    let Some(area) = first.and_then(|facts| facts.lines.first().map(|line: &LineFacts| line.area)) else {
        return Planner { lawbook, question, area: Area::from_raw(100_000), cells: Vec::new(), cuts: Vec::new() }
            .answer(&[], &closed, None, (None, &[]));
    };
    let mut season = Planner { lawbook, question, area, cells, cuts: Vec::new() };
    season.cuts = season.clashes();
    let mut proposal = None;
    let mut planned = Vec::new();
    for _ in 0..PROPOSALS {
        proposal = solve::solve(question, area, &season.cells, &season.cuts, &[], solve::MIP_GAP_NONE);
        let Some(proposed) = &proposal else { break };
        planned = season.amounts(proposed);
        let learnt = season.clip_or_learn(&mut planned);
        if learnt.is_empty() {
            break;
        }
        season.cuts.extend(learnt);
    }
    season.leave_out(&mut planned);
    let (limed, parts) = lime::add(&mut season, &mut planned);
    season.answer(&planned, &closed, proposal.as_ref(), (limed, &parts))
}

impl Planner<'_> {
    fn amounts(&self, proposal: &Proposal) -> RoundAmounts {
        let mass = |rate: &f64| float::mass_rounded_down(*rate, self.area);
        proposal.amounts.iter().map(mass).enumerate().filter(|(_, mass)| !mass.is_zero()).collect()
    }

    /// All that is planned but one cell, as if it were in the book.
    pub(super) fn others(&self, at: usize, planned: &[(usize, ProductMass)]) -> Vec<PastApplication> {
        let others = planned.iter().filter(|(other, _)| *other != at);
        let asked = self.cells.get(at).map(|cell| cell.product);
        let past = |(other, mass): &(usize, ProductMass)| {
            let cell = self.cells.get(*other)?;
            let mut past = self.question.as_past(cell, *mass, self.area)?;
            past.product.mass_of_this = (asked == Some(cell.product)).then_some(*mass);
            Some(past)
        };
        others.filter_map(past).collect()
    }

    /// Whether a cell stands with all the others in the book.
    pub(super) fn lets(&self, at: usize, mass: ProductMass, planned: &[(usize, ProductMass)]) -> bool {
        matches!(self.ask(at, mass, planned), RoundCheck::Stands)
    }

    fn ask(&self, at: usize, mass: ProductMass, others: &[(usize, ProductMass)]) -> RoundCheck {
        let Some(cell) = self.cells.get(at) else { return RoundCheck::Stands };
        let Some(product) = self.question.products.get(cell.product) else { return RoundCheck::Stands };
        let past = self.others(at, others);
        let facts = candidates::facts(self.question, cell.on, &product.label, mass, &past);
        let decision = decide(self.lawbook, self.question.rule_sets, &facts);
        if decision.verdict != Verdict::Stop {
            return RoundCheck::Stands;
        }
        let words = candidates::reason(&decision);
        let answer = decision.sections.first();
        match answer.and_then(|answer| answer.largest_lawful_product_lb) {
            Some(most) if most < mass => {
                RoundCheck::AtMost(most, answer.and_then(|answer| answer.bound_by.clone()), words)
            }
            _ => RoundCheck::Refused(words),
        }
    }

    /// Every two cells that could both be used and cannot by the rules, whatever the amounts: too soon after each other, or a
    /// second application that needs what is not there.
    fn clashes(&self) -> Vec<Cut> {
        let mut cuts = Vec::new();
        let feeds = |cell: &Cell| self.question.feeds(cell.product);
        for (at, cell) in self.cells.iter().enumerate() {
            let beside = |other: &Cell| other.round == cell.round && feeds(cell) && !feeds(other);
            let could = |other: &Cell| {
                (other.round > cell.round || beside(other)) && (cell.step.is_none() || other.step != cell.step)
            };
            for (other, _) in self.cells.iter().enumerate().filter(|(_, other)| could(other)) {
                let both = [(at, candidates::TRIAL), (other, candidates::TRIAL)];
                let refused = both.iter().find_map(|(cell, mass)| match self.ask(*cell, *mass, &both) {
                    RoundCheck::Refused(words) => Some(words),
                    RoundCheck::AtMost(most, _, words) if most.is_zero() => Some(words),
                    RoundCheck::Stands | RoundCheck::AtMost(..) => None,
                });
                cuts.extend(refused.map(|words| Cut::not_all(&[at, other], words)));
            }
        }
        cuts
    }

    /// Takes off a proposal what rounding put over a limit, and gives the cuts for all that is more.
    fn clip_or_learn(&self, planned: &mut RoundAmounts) -> Vec<Cut> {
        let mut cuts = Vec::new();
        for index in 0..planned.len() {
            let Some((at, mass)) = planned.get(index).copied() else { continue };
            match self.ask(at, mass, planned) {
                RoundCheck::Stands => {}
                // A part in 1,000 is the solver's and the thousandth's; it is not worth another proposal.
                RoundCheck::AtMost(most, ..)
                    if most.raw() > 0 && (mass.raw() - most.raw()) <= mass.raw() / 1_000 + 1_000 =>
                {
                    if let Some(entry) = planned.get_mut(index) {
                        entry.1 = most;
                    }
                }
                RoundCheck::AtMost(most, rule, words) => {
                    cuts.push(self.limit(at, most, rule.as_deref(), words, planned));
                }
                RoundCheck::Refused(words) => cuts.push(self.clash(at, mass, words, planned)),
            }
        }
        cuts
    }

    fn limit(&self, at: usize, most: ProductMass, rule: Option<&str>, words: String, planned: &RoundAmounts) -> Cut {
        let by_load = rule.zip(self.cells.get(at)).and_then(|(rule, cell)| {
            let (cells, on) = (&self.cells, cell.on);
            let counted = cuts::counted(self.lawbook, rule, on)?;
            let span = if cuts::of_a_year(self.lawbook, rule, on) {
                cuts::fullest_year(self.question, self.area, cells, planned, on, &counted)
            } else {
                cuts::two_years(on)
            };
            let counted = (&counted, span);
            Some(cuts::load(self.question, self.area, cells, planned, (at, most), counted, words.clone()))
        });
        by_load.unwrap_or_else(|| {
            if most.is_zero() {
                let mass = planned.iter().find(|(other, _)| *other == at).map_or(most, |(_, mass)| *mass);
                self.clash(at, mass, words, planned)
            } else {
                Cut::cell_at_most(at, most, self.area, words)
            }
        })
    }

    /// Which other round a refused one clashes with; all of them together when no single one does.
    fn clash(&self, at: usize, mass: ProductMass, words: String, planned: &RoundAmounts) -> Cut {
        let alone = |other: &&(usize, ProductMass)| {
            !matches!(self.ask(at, mass, std::slice::from_ref(*other)), RoundCheck::Stands)
        };
        match planned.iter().filter(|(other, _)| *other != at).find(alone) {
            Some((other, _)) => Cut::not_all(&[at, *other], words),
            None => Cut::not_all(&planned.iter().map(|(cell, _)| *cell).collect::<Vec<_>>(), words),
        }
    }

    /// How little a cell matters to the schedule.
    fn rank(&self, at: usize) -> usize {
        let step = self.cells.get(at).and_then(|cell| cell.step);
        step.and_then(|step| self.question.steps().get(step)).map_or(usize::MAX, |step| step.rank)
    }

    /// Leaves out what still does not stand, what matters least to the schedule first, until everything does.
    fn leave_out(&self, planned: &mut RoundAmounts) {
        loop {
            let falls =
                |(at, mass): &(usize, ProductMass)| !matches!(self.ask(*at, *mass, planned), RoundCheck::Stands);
            let fallen = planned.iter().enumerate().filter(|(_, planned)| falls(planned));
            let Some((index, _)) = fallen.min_by_key(|(_, (at, _))| Reverse(self.rank(*at))) else { break };
            planned.remove(index);
        }
    }

    fn answer(
        &self,
        planned: &[(usize, ProductMass)],
        closed: &[Closed],
        proposal: Option<&Proposal>,
        (lime, parts): (Option<PlannedLime>, &[PartPlanned]),
    ) -> SeasonPlan {
        let shown = |(at, mass): &(usize, ProductMass)| {
            let mut round = self.round(*at, *mass)?;
            if let Some(part) = parts.iter().find(|part| part.at == *at) {
                round.derivation = part.derivation.clone();
            }
            Some(round)
        };
        let mut rounds: Vec<PlannedRound> = planned.iter().filter_map(shown).collect();
        rounds.sort_by_key(|round| (round.round, round.on));
        let delivers = rounds.iter().fold(Nutrients::NONE, |sum, round| sum.checked_add(round.delivers).unwrap_or(sum));
        let price = rounds.iter().map(|round| self.cents_1e12(round)).sum::<i128>();
        let steps = outcome::steps(self, &rounds, closed, proposal);
        SeasonPlan {
            skipped: self.skipped(&rounds, closed),
            unmet: conflict::unmet(self, &delivers, closed, &steps, proposal),
            steps,
            lime,
            rounds,
            delivers,
            price_usd: Price::from_raw(quotient_up(price, 1_000_000_000_000)),
        }
    }

    /// Price of a round in 1e-12 cents, rounded up.
    fn cents_1e12(&self, round: &PlannedRound) -> i128 {
        let Some(product) = self.question.products.get(round.product) else { return 0 };
        let bag = i128::from(product.bag_lb.raw().max(1));
        let price = i128::from(round.product_lb.raw()) * i128::from(product.bag_price_usd.raw()) * 1_000_000_000_000;
        (price + bag - 1) / bag
    }

    fn round(&self, at: usize, mass: ProductMass) -> Option<PlannedRound> {
        let cell = self.cells.get(at)?;
        let product = self.question.products.get(cell.product)?;
        let rate = quotient_down(i128::from(mass.raw()) * 100_000, i128::from(self.area.raw()));
        let most = cell.most.map_or_else(|| "no limit".to_owned(), |most| most.to_string());
        let mut derivation =
            Derivation::of("product of a planned round", "least cost that meets the need under every limit")
                .with("area", self.area)
                .with("nitrogen needed over the rounds", self.question.need.nitrogen_lb_per_1000_sqft)
                .with_text("most that is lawful alone", &most, "lb");
        if let Some((step, frame)) = cell.step.and_then(|at| self.question.steps().get(at)).zip(self.question.frame) {
            derivation = derivation
                .with_text("step of the schedule", &step.days(), "")
                .with("nitrogen that the step still asks for", step.still())
                .converting(&format!("the schedule: {} ({})", frame.programme.source, frame.programme.name));
        }
        let derivation = derivation
            .from_source(SourceMark::Computed, "Mixed-integer program, then the decision of every rule on each round")
            .gives(mass, "down to the thousandth of a pound, or to the lawful amount")
            .derivation;
        Some(PlannedRound {
            round: cell.round,
            on: cell.on,
            product: cell.product,
            step: cell.step,
            product_lb: mass,
            product_lb_per_1000_sqft: ProductRate::from_raw(rate),
            delivers: product.label.nutrients_in(mass),
            derivation,
        })
    }

    fn skipped(&self, rounds: &[PlannedRound], closed: &[Closed]) -> Vec<SkippedRound> {
        (0..self.question.rounds.len())
            .filter(|round| rounds.iter().all(|planned| planned.round != *round))
            .map(|round| {
                let open = self.cells.iter().any(|cell| cell.round == round);
                let why = closed.iter().find(|closed| closed.round == round).filter(|_| !open);
                let why = why.map_or_else(|| self.why_not(round), |closed| closed.why.clone());
                SkippedRound { round, why: crate::text::truncate_chars(&why, 600) }
            })
            .collect()
    }

    fn why_not(&self, round: usize) -> String {
        let cut = self.cuts.iter().rev().find(|cut| cut.concerns(round, &self.cells));
        cut.map_or_else(
            || "The other rounds meet the need, or nothing in stock fits it here.".to_owned(),
            |cut| format!("Together with the other rounds: {}", cut.words),
        )
    }
}
