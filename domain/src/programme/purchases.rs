//! What the company buys for its season: by product and month, with the last day to order, and what will stay in the shed.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::model::{PlanProduct, SeasonPlan};
use crate::{
    product::buying::{BuyingFault, Purchase, bags_rounded_up},
    quantity::{Percent, ProductMass, StockBalance, quotient_up},
    time::Day,
};

/// What to buy of one product for one month.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct MonthPurchase {
    #[schema(maximum = 1_000)]
    pub product: usize,
    /// The first day of the month it is needed in.
    pub month: Day,
    /// All rounds of the month, without spare.
    pub needed_lb: StockBalance,
    pub from_stock_lb: ProductMass,
    /// The rest with the spare, in whole bags; no bags when the stock is enough.
    pub purchase: Purchase,
    /// The first planned day less the time a delivery takes.
    pub order_by: Day,
}

/// Product that no plan uses.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct Unused {
    #[schema(maximum = 1_000)]
    pub product: usize,
    /// What stays on hand after every planned round: it cannot be used under the limits, or is not needed.
    pub left_lb: ProductMass,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct Purchases {
    #[schema(max_items = 10_000)]
    pub months: Vec<MonthPurchase>,
    #[schema(max_items = 1_000)]
    pub unused: Vec<Unused>,
}

/// How the company orders.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct OrderSettings {
    /// Days from order to delivery.
    #[schema(minimum = 0, maximum = 365)]
    pub lead_days: i32,
    /// Bought beyond the need, for spill and sweepings; *common practice* is 5 %. It is bought, and never put down for it.
    pub spare_percent: Percent,
}

/// Adds up every section's plan. All plans were made for the same products in the same order. Stock goes to the earliest
/// rounds first; what a month's bags leave over serves the next.
pub fn purchases(
    plans: &[SeasonPlan],
    products: &[PlanProduct],
    settings: OrderSettings,
) -> Result<Purchases, BuyingFault> {
    let mut needs: BTreeMap<(usize, Day), (i64, Day)> = BTreeMap::new();
    for round in plans.iter().flat_map(|plan| &plan.rounds) {
        let month = Day::new(round.on.year(), round.on.date().month(), 1).unwrap_or(round.on);
        let (mass, first) = needs.entry((round.product, month)).or_insert((0, round.on));
        *mass = mass.saturating_add(round.product_lb.raw());
        *first = (*first).min(round.on);
    }
    let mut stock: Vec<i64> = products.iter().map(|product| product.on_hand_lb.raw()).collect();
    let mut months = Vec::new();
    for ((product, month), (needed, first)) in needs {
        let (Some(offered), Some(left)) = (products.get(product), stock.get_mut(product)) else { continue };
        let from_stock = needed.min(*left);
        let rest = needed - from_stock;
        let spare = quotient_up(i128::from(rest) * i128::from(settings.spare_percent.raw()), 10_000);
        let asked = ProductMass::checked(rest.saturating_add(spare)).map_err(|_| BuyingFault::TooMany)?;
        let purchase = bags_rounded_up(asked, offered.bag_lb)?;
        *left = *left - from_stock + purchase.bought_lb.raw() - rest;
        months.push(MonthPurchase {
            product,
            month,
            needed_lb: StockBalance::from_raw(needed),
            from_stock_lb: ProductMass::from_raw(from_stock),
            purchase,
            order_by: first.plus_days(-settings.lead_days),
        });
    }
    let unused = products.iter().zip(&stock).enumerate().filter_map(|(product, (offered, left))| {
        // Only what is in the shed now: the rest of a new bag is no reproach.
        let left_lb = ProductMass::from_raw((*left).min(offered.on_hand_lb.raw()));
        (left_lb.raw() > 0 && !months.iter().any(|month| month.product == product && month.purchase.bags > 0))
            .then_some(Unused { product, left_lb })
    });
    let unused = unused.collect();
    Ok(Purchases { months, unused })
}
