//! What to buy for a season: by product and month, in whole bags.

use domain::{
    explain::Derivation,
    ids::{ProductId, SectionId},
    product::Nutrients,
    programme::{
        PlanProduct, PlannedRound, SeasonPlan,
        purchases::{MonthPurchase, OrderSettings, Purchases, Unused, purchases},
    },
    quantity::{Percent, Price, ProductMass, StockBalance},
    time::Day,
};
use serde::Serialize;
use utoipa::ToSchema;

use super::{Season, company::Answers};

/// How the company orders.
#[derive(Debug, Clone, Copy)]
pub struct Purchasing {
    pub lead_days: i32,
    pub spare_percent: Percent,
}

/// What to buy of one product for one month.
#[derive(Debug, Serialize, ToSchema)]
pub struct PurchaseInMonth {
    pub product_id: ProductId,
    #[schema(max_length = 120)]
    pub product_name: String,
    /// The first day of the month it is needed in.
    pub month: Day,
    /// All rounds and open visits of the month, without spare.
    pub needed_lb: StockBalance,
    pub from_stock_lb: ProductMass,
    /// Whole bags of the rest with the spare.
    #[schema(minimum = 0, maximum = 1_000_000_000_000_i64)]
    pub bags: i64,
    pub bought_lb: ProductMass,
    /// Price of the bags.
    pub price_usd: Price,
    /// The first planned day less the time a delivery takes: the last day to order.
    pub order_by: Day,
    /// How the bags follow; product includes the spare.
    pub derivation: Derivation,
}

/// What to buy, what it costs, and what of the stock nothing uses.
pub(super) struct Bought {
    pub purchases: Vec<PurchaseInMonth>,
    pub price: Price,
    pub unused: Vec<Unused>,
}

/// What to buy for all plans and for the visits that stand, and what of the stock nothing uses.
pub(super) fn buying(
    season: &Season,
    offered: &[(ProductId, PlanProduct)],
    answers: &Answers,
    settings: Purchasing,
    gaps: &mut Vec<String>,
) -> Bought {
    let mut plans: Vec<SeasonPlan> = answers.iter().flatten().map(|planned| planned.raw.clone()).collect();
    let visits = open_visits(season, offered);
    // What is promised to these visits is in the shed for them, and not for others.
    let stocked: Vec<PlanProduct> = offered
        .iter()
        .enumerate()
        .map(|(at, (_, product))| {
            let own: i64 =
                visits.rounds.iter().filter(|round| round.product == at).map(|round| round.product_lb.raw()).sum();
            let on_hand = ProductMass::from_raw(season.in_shed(offered, at, own));
            PlanProduct { on_hand_lb: on_hand, ..product.clone() }
        })
        .collect();
    plans.push(visits);
    let order = OrderSettings { lead_days: settings.lead_days, spare_percent: settings.spare_percent };
    let bought = match purchases(&plans, &stocked, order) {
        Ok(bought) => bought,
        Err(fault) => {
            gaps.push(format!("What to buy cannot be counted: {fault}."));
            Purchases { months: Vec::new(), unused: Vec::new() }
        }
    };
    let purchases: Option<Vec<PurchaseInMonth>> =
        bought.months.into_iter().map(|month| in_month(offered, month)).collect();
    // All together must be a price as well.
    let (purchases, price) = purchases.and_then(|months| Some((total(&months)?, months))).map_or_else(
        || {
            gaps.push(
                "What to buy cannot be counted: it costs more than is stored; check the price of each bag.".to_owned(),
            );
            (Vec::new(), Price::ZERO)
        },
        |(price, months)| (months, price),
    );
    let late = purchases.iter().filter(|month| month.bags > 0 && month.order_by < season.today);
    gaps.extend(late.map(|month| {
        format!(
            "{} for {} would have to be ordered by {}, which has been; a delivery may come after the first rounds.",
            month.product_name, month.month, month.order_by
        )
    }));
    gaps.truncate(40);
    Bought { purchases, price, unused: bought.unused }
}

/// Price of all bags; nothing where it is beyond what is stored.
fn total(months: &[PurchaseInMonth]) -> Option<Price> {
    let cents = months.iter().try_fold(0_i64, |sum, month| sum.checked_add(month.price_usd.raw()))?;
    Price::checked(cents).ok()
}

fn in_month(offered: &[(ProductId, PlanProduct)], month: MonthPurchase) -> Option<PurchaseInMonth> {
    let (product_id, product) = offered.get(month.product)?;
    let price = i128::from(month.purchase.bags) * i128::from(product.bag_price_usd.raw());
    let price_usd = Price::checked(i64::try_from(price).ok()?).ok()?;
    Some(PurchaseInMonth {
        product_id: *product_id,
        product_name: product.name.clone(),
        month: month.month,
        needed_lb: month.needed_lb,
        from_stock_lb: month.from_stock_lb,
        bags: month.purchase.bags,
        bought_lb: month.purchase.bought_lb,
        price_usd,
        order_by: month.order_by,
        derivation: month.purchase.derivation,
    })
}

/// Open visits to the planned sections as a plan of their own, so that what they take is bought too.
fn open_visits(season: &Season, offered: &[(ProductId, PlanProduct)]) -> SeasonPlan {
    let here = |section: SectionId| season.lawns.iter().any(|lawn| lawn.section_id == section);
    let mut rounds = Vec::new();
    for line in season.visits.iter().filter(|line| line.open && here(line.section_id)) {
        let product = offered.iter().position(|(id, _)| *id == line.product_id);
        let Some((product, mass)) = product.zip(season.visit_product(line)) else { continue };
        let Some((_, label)) = offered.get(product).map(|(id, product)| (id, &product.label)) else { continue };
        rounds.push(PlannedRound {
            round: 0,
            on: line.planned_on,
            product,
            step: None,
            product_lb: mass,
            product_lb_per_1000_sqft: domain::quantity::ProductRate::ZERO,
            delivers: label.nutrients_in(mass),
            derivation: Derivation::of("product of a visit", "target x area / (percent / 100)"),
        });
    }
    SeasonPlan {
        rounds,
        steps: Vec::new(),
        lime: None,
        skipped: Vec::new(),
        unmet: Vec::new(),
        delivers: Nutrients::NONE,
        price_usd: Price::ZERO,
    }
}

impl Season {
    /// What is in the shed for the planned sections: what is promised to nobody, and what is promised to their own visits as
    /// far as it is there.
    fn in_shed(&self, offered: &[(ProductId, PlanProduct)], at: usize, own: i64) -> i64 {
        let Some((id, product)) = offered.get(at) else { return 0 };
        let balance = self.world.products.get(id).map_or(0, |row| row.balance).max(0);
        balance.min(product.on_hand_lb.raw().saturating_add(own))
    }
}
