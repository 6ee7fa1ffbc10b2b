//! What a correction would change, shown before it is sent: its lines before and after, the stock that moves, the year of each
//! section, and what the rules say. Nothing is written.

use domain::{
    decision::{Decision, Finding, FindingKey, Verdict},
    ids::{ApplicationId, ProductId, SectionId},
    law::Lawbook,
    product::Label,
    quantity::{Area, NutrientRate, NutrientRoom, StockBalance},
    statement::{LedgerLine, Totals},
};
use serde::Serialize;
use utoipa::ToSchema;

use super::{CorrectionInput, draft::Draft};
use crate::acts::{
    ActOutcome, Asker, BatchFacts,
    application::LineView,
    facts::Line,
    fault::ActFault,
    ground::{self, parts_of},
    rows::SectionRow,
};

/// What a correction would change, and what the rules say of what would stand.
#[derive(Debug, Serialize, ToSchema)]
pub struct CorrectionCheck {
    pub application_id: ApplicationId,
    /// Every section of the record, before or after.
    #[schema(max_items = 40)]
    pub sections: Vec<SectionChange>,
    pub stock: BalanceChange,
    /// What the rules say of all lines that would stand, together; null when nothing would.
    pub decision: Option<Decision>,
    /// `key` of each stopping finding: what `acknowledged` must name if this is what truly happened.
    #[schema(max_items = 200)]
    pub to_acknowledge: Vec<FindingKey>,
}

/// A section's line of the record and its year, as they stand and as they would.
#[derive(Debug, Serialize, ToSchema)]
pub struct SectionChange {
    pub section_id: SectionId,
    #[schema(max_length = 120)]
    pub section_name: String,
    /// Something else would stand than does.
    pub changes: bool,
    pub before: Option<LineView>,
    pub after: Option<LineView>,
    /// Nitrogen of the calendar year of the work, each record at the rate of its own ground.
    pub year_nitrogen_before_lb_per_1000_sqft: NutrientRate,
    pub year_nitrogen_after_lb_per_1000_sqft: NutrientRate,
    /// What the tightest yearly cap leaves, as a check counts it; null without one that may refuse.
    pub nitrogen_room_before_lb_per_1000_sqft: Option<NutrientRoom>,
    pub nitrogen_room_after_lb_per_1000_sqft: Option<NutrientRoom>,
}

/// What comes back into stock; what is taken out of it is negative.
#[derive(Debug, Serialize, ToSchema)]
pub struct BalanceChange {
    pub product_id: ProductId,
    #[schema(max_length = 120)]
    pub product_name: String,
    pub moves_lb: StockBalance,
    pub balance_before_lb: StockBalance,
    pub balance_after_lb: StockBalance,
}

/// Works out what a correction would do, without effect.
pub fn check(
    asker: Asker<'_>,
    input: &CorrectionInput,
    world: &BatchFacts,
    law: &Lawbook,
) -> Result<Result<CorrectionCheck, Box<ActOutcome>>, ActFault> {
    let draft = match Draft::of(asker.actor, input, world) {
        Ok(draft) => draft,
        Err(refused) => return Ok(Err(refused)),
    };
    let judged =
        |lines: &[Line]| (!lines.is_empty()).then(|| draft.judge(lines, asker.services, world, law)).transpose();
    let (now, then) = (judged(&draft.standing())?, judged(&draft.after)?);
    let changed = draft.changed();
    let mut sections = Vec::new();
    for id in draft.sections() {
        sections.push(section(&draft, id, changed.contains(&id), (now.as_ref(), then.as_ref()), world)?);
    }
    let product = world.product(draft.application.product_id)?;
    let put_down = |lines: &[Line]| lines.iter().map(|line| line.product.raw()).sum::<i64>();
    let moves = put_down(&draft.standing()) - put_down(&draft.after);
    let stops = |finding: &&Finding| finding.verdict == Verdict::Stop;
    let findings = then.iter().flat_map(|decision| decision.findings.iter().filter(stops));
    Ok(Ok(CorrectionCheck {
        application_id: input.application_id,
        sections,
        stock: BalanceChange {
            product_id: draft.application.product_id,
            product_name: product.name.clone(),
            moves_lb: StockBalance::from_raw(moves),
            balance_before_lb: StockBalance::from_raw(product.balance),
            balance_after_lb: StockBalance::from_raw(product.balance + moves),
        },
        to_acknowledge: findings.map(|finding| FindingKey(finding.key.clone())).collect(),
        decision: then,
    }))
}

fn section(
    draft: &Draft,
    id: SectionId,
    changes: bool,
    (now, then): (Option<&Decision>, Option<&Decision>),
    world: &BatchFacts,
) -> Result<SectionChange, ActFault> {
    let row = world.sections.get(&id).ok_or_else(|| ActFault::not_loaded("section", &id))?;
    let label = &world.product(draft.application.product_id)?.label;
    let shown = |lines: &[Line]| {
        let here: Vec<Line> = lines.iter().copied().filter(|line| line.section == id).collect();
        ground::line_views(&here, label, world).into_iter().next()
    };
    let (before, after) = (shown(&draft.standing()), shown(&draft.after));
    let year_with = |lines: &[Line]| {
        let here = lines.iter().find(|line| line.section == id);
        year(row, draft, here.map(|line| (line, label)))
    };
    let (without, with) = (rooms(now, id), rooms(then, id));
    // The room as it stands is that after the record as it stands; where it has no line, that before the line it would get.
    let room = |here: Option<Rooms>, other: Option<Rooms>| here.map_or_else(|| other.and_then(|(r, _)| r), |(_, r)| r);
    Ok(SectionChange {
        section_id: id,
        section_name: row.on(draft.application.applied_on).name,
        changes,
        year_nitrogen_before_lb_per_1000_sqft: year_with(&draft.standing()),
        year_nitrogen_after_lb_per_1000_sqft: year_with(&draft.after),
        nitrogen_room_before_lb_per_1000_sqft: room(without, with),
        nitrogen_room_after_lb_per_1000_sqft: room(with, without),
        before,
        after,
    })
}

/// Nitrogen left before and after a line.
type Rooms = (Option<NutrientRoom>, Option<NutrientRoom>);

fn rooms(decision: Option<&Decision>, id: SectionId) -> Option<Rooms> {
    let line = decision?.sections.iter().find(|line| line.section_id == id)?;
    Some((line.nitrogen_room_before_lb_per_1000_sqft, line.nitrogen_room_after_lb_per_1000_sqft))
}

/// The calendar year's nitrogen with one line of the record, or without any, on the ground that gets most.
fn year(row: &SectionRow, draft: &Draft, line: Option<(&Line, &Label)>) -> NutrientRate {
    let (on, own) = (draft.application.applied_on, draft.application.id);
    let days = on.first_of_year()..=on.last_of_year();
    let others = row.standing(|of| of != own).into_iter().filter(|entry| days.contains(&entry.applied_on));
    let loads = others.map(|entry| LedgerLine {
        application: entry.application,
        area: Area::from_raw(entry.area),
        parts: parts_of(entry.division, entry.parts),
        product: entry.product,
        nitrogen: entry.nitrogen,
        quick_nitrogen: entry.quick_nitrogen,
        phosphate: entry.phosphate,
        potash: entry.potash,
    });
    let with = line.map(|(line, label)| {
        let nutrients = label.nutrients_in(line.product);
        LedgerLine {
            application: own,
            area: line.area,
            parts: line.parts,
            product: line.product.raw(),
            nitrogen: nutrients.nitrogen_lb.raw(),
            quick_nitrogen: nutrients.quick_nitrogen_lb.raw(),
            phosphate: nutrients.phosphate_lb.raw(),
            potash: nutrients.potash_lb.raw(),
        }
    });
    let [nitrogen, ..] = Totals::of_ledger(loads.chain(with)).rates_rounded_up();
    nitrogen
}
