//! A section's year, added up on two paths that must agree: from the ledger, where a correction takes back and puts anew,
//! and from the records themselves, where the latest word on each application counts.

pub mod caps;

use std::collections::BTreeMap;

use crate::{
    ids::ApplicationId,
    parts::{Parts, Piece, pieces},
    product::{Label, Nutrients},
    quantity::{
        Area, LimitShare, NutrientRate, NutrientRoom, Phosphate, Potash, ProductMass, ProductTotal, QuickNitrogen,
        RateSum, TotalNitrogen,
    },
};

/// One line of the ledger. What a correction takes back is negative.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LedgerLine {
    pub application: ApplicationId,
    pub area: Area,
    /// The parts of the section that it lies in; nothing when it may lie anywhere.
    pub parts: Option<Parts>,
    pub product: i64,
    pub nitrogen: i64,
    pub quick_nitrogen: i64,
    pub phosphate: i64,
    pub potash: i64,
}

/// The latest word on one application's share of a section.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RecordedLine<'a> {
    pub application: ApplicationId,
    pub area: Area,
    pub parts: Option<Parts>,
    pub product: ProductMass,
    pub label: &'a Label,
}

/// What a section got.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Totals {
    /// Loads in ten-billionths of a pound by application and ground, without those that cancel out.
    loads: BTreeMap<(ApplicationId, Lies), [i64; 5]>,
}

/// Where a load lies: on how much ground, and in which parts of the section, if that is told.
type Lies = (Area, Option<Parts>);

impl Totals {
    /// Adds the ledger up.
    pub fn of_ledger(lines: impl IntoIterator<Item = LedgerLine>) -> Self {
        let mut totals = Self::default();
        for line in lines {
            totals.add(
                line.application,
                (line.area, line.parts),
                [line.product, line.nitrogen, line.quick_nitrogen, line.phosphate, line.potash],
            );
        }
        totals
    }

    /// Works the records out anew from product and label.
    pub fn of_records<'a>(lines: impl IntoIterator<Item = RecordedLine<'a>>) -> Self {
        let mut totals = Self::default();
        for line in lines {
            let n = line.label.nutrients_in(line.product);
            let loads = [
                line.product.raw(),
                n.nitrogen_lb.raw(),
                n.quick_nitrogen_lb.raw(),
                n.phosphate_lb.raw(),
                n.potash_lb.raw(),
            ];
            totals.add(line.application, (line.area, line.parts), loads);
        }
        totals
    }

    fn add(&mut self, application: ApplicationId, lies: Lies, loads: [i64; 5]) {
        let sum = self.loads.entry((application, lies)).or_default();
        for (sum, load) in sum.iter_mut().zip(loads) {
            *sum = sum.saturating_add(load);
        }
        if sum.iter().all(|load| *load == 0) {
            self.loads.remove(&(application, lies));
        }
    }

    /// Applications on which two ways of adding up differ.
    pub fn differing(&self, other: &Self) -> Vec<ApplicationId> {
        let keys = self.loads.keys().chain(other.loads.keys());
        let mut differing: Vec<ApplicationId> = keys
            .filter(|key| self.loads.get(key) != other.loads.get(key))
            .map(|(application, _)| *application)
            .collect();
        differing.sort();
        differing.dedup();
        differing
    }

    fn sum(&self, of: impl Fn(&[i64; 5]) -> i64) -> i64 {
        self.loads.values().map(of).fold(0, i64::saturating_add)
    }

    /// The rate on each piece of ground that the loads tell apart.
    fn rates(&self, of: impl Fn(&[i64; 5]) -> i64) -> Vec<(Piece, RateSum)> {
        let rate = |piece: Piece| {
            let mut sum = RateSum::default();
            for ((_, (area, _)), loads) in self.loads.iter().filter(|((_, (_, parts)), _)| piece.may_hold(*parts)) {
                sum.add(of(loads), *area);
            }
            (piece, sum)
        };
        pieces(self.loads.keys().map(|(_, (_, parts))| *parts)).into_iter().map(rate).collect()
    }

    /// The rate on the ground that got most, rounded up.
    fn highest(&self, of: impl Fn(&[i64; 5]) -> i64) -> NutrientRate {
        self.rates(of).iter().map(|(_, sum)| sum.rounded_up()).max().unwrap_or(NutrientRate::ZERO)
    }

    /// Product of all kinds together.
    pub fn product(&self) -> ProductTotal {
        ProductTotal::from_raw(self.sum(|[product, ..]| *product))
    }

    pub fn nutrients(&self) -> Nutrients {
        Nutrients {
            nitrogen_lb: TotalNitrogen::from_raw(self.sum(|[_, nitrogen, ..]| *nitrogen)),
            quick_nitrogen_lb: QuickNitrogen::from_raw(self.sum(|[_, _, quick, ..]| *quick)),
            phosphate_lb: Phosphate::from_raw(self.sum(|[_, _, _, phosphate, _]| *phosphate)),
            potash_lb: Potash::from_raw(self.sum(|[.., potash]| *potash)),
        }
    }

    /// Nitrogen, quick-release nitrogen, phosphate and potash on 1,000 sq ft, each application at the rate of its own
    /// area, where most of it lies upon one another; rounded up in the sixth decimal.
    pub fn rates_rounded_up(&self) -> [NutrientRate; 4] {
        [
            self.highest(|[_, nitrogen, ..]| *nitrogen),
            self.highest(|[_, _, quick, ..]| *quick),
            self.highest(|[_, _, _, phosphate, _]| *phosphate),
            self.highest(|[.., potash]| *potash),
        ]
    }

    /// Nitrogen on 1,000 sq ft of each piece of ground that the loads tell apart, rounded up; one, without parts, where they tell
    /// none apart.
    pub fn nitrogen_by_piece(&self) -> Vec<(Piece, NutrientRate)> {
        let rates = self.rates(|[_, nitrogen, ..]| *nitrogen).into_iter();
        rates.map(|(piece, sum)| (piece, sum.rounded_up())).collect()
    }

    /// Nitrogen left under a yearly limit on the ground that got most, rounded down.
    pub fn nitrogen_room(&self, limit: NutrientRate) -> NutrientRoom {
        let rates = self.rates(|[_, nitrogen, ..]| *nitrogen);
        let rooms = rates.iter().map(|(_, sum)| sum.room_rounded_down(limit));
        rooms.min().unwrap_or_else(|| RateSum::default().room_rounded_down(limit))
    }

    /// Nitrogen in percent of a yearly limit, rounded up in the second decimal; nothing of a limit of zero.
    pub fn percent_of(&self, limit: NutrientRate) -> Option<LimitShare> {
        let applied = i128::from(self.highest(|[_, nitrogen, ..]| *nitrogen).raw());
        let limit = i128::from(limit.raw());
        (limit > 0).then(|| {
            let hundredths = (applied * 10_000 + limit - 1) / limit;
            LimitShare::from_raw(i64::try_from(hundredths).unwrap_or(i64::MAX))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{product::ProductForm, quantity::Percent};

    fn label() -> Label {
        Label {
            form: ProductForm::Granular,
            nitrogen_percent: Percent::from_raw(2_400),
            slow_nitrogen_percent: Percent::from_raw(720),
            phosphate_percent: Percent::ZERO,
            potash_percent: Percent::from_raw(1_000),
            enhanced_efficiency: false,
            release_percent_per_month: None,
            organic: false,
            compost: false,
            labelled_for_establishment: false,
            enhanced_efficiency_phosphorus: false,
            product_limit_lb_per_1000_sqft: None,
            air_temperature_limit_f: None,
            wind_limit_mph: None,
            printed: None,
        }
    }

    fn id(number: u128) -> ApplicationId {
        ApplicationId::from_uuid(uuid::Uuid::from_u128(number))
    }

    fn ledger(application: u128, area: i64, product: i64) -> LedgerLine {
        let n = label().nutrients_in(ProductMass::from_raw(product));
        LedgerLine {
            application: id(application),
            area: Area::from_raw(area),
            parts: None,
            product,
            nitrogen: n.nitrogen_lb.raw(),
            quick_nitrogen: n.quick_nitrogen_lb.raw(),
            phosphate: n.phosphate_lb.raw(),
            potash: n.potash_lb.raw(),
        }
    }

    #[test]
    fn a_corrected_year_adds_up_the_same_on_both_paths() {
        let kg = |product| ProductMass::from_raw(product);
        // 25.6 lb, taken back and recorded as 21.4 lb; 10 lb that stand; 5 lb taken back for good.
        let from_ledger = Totals::of_ledger([
            ledger(1, 820_000, 25_600_000),
            ledger(1, 820_000, -25_600_000),
            ledger(1, 820_000, 21_400_000),
            ledger(2, 820_000, 10_000_000),
            ledger(3, 820_000, 5_000_000),
            ledger(3, 820_000, -5_000_000),
        ]);
        let label = label();
        let record = |application, product| RecordedLine {
            application: id(application),
            area: Area::from_raw(820_000),
            parts: None,
            product: kg(product),
            label: &label,
        };
        let from_records = Totals::of_records([record(1, 21_400_000), record(2, 10_000_000)]);
        assert_eq!(from_ledger, from_records);
        assert!(from_ledger.differing(&from_records).is_empty());
        // 31.4 lb of 24-0-10 deliver 7.536 lb N; on 8,200 sq ft 0.91902439... lb on 1,000 sq ft, by long division.
        assert_eq!(from_ledger.nutrients().nitrogen_lb.to_string(), "7.536");
        let [nitrogen, quick, phosphate, potash] = from_ledger.rates_rounded_up();
        assert_eq!(nitrogen.to_string(), "0.919025");
        assert_eq!(quick.to_string(), "0.643318");
        assert_eq!(phosphate.to_string(), "0");
        assert_eq!(potash.to_string(), "0.382927");
        let cap = NutrientRate::from_raw(2_700_000);
        assert_eq!(from_ledger.nitrogen_room(cap).to_string(), "1.780975");
        assert_eq!(from_ledger.percent_of(cap).map(|p| p.to_string()).as_deref(), Some("34.04"));
    }

    #[test]
    fn a_line_that_was_changed_shows_by_its_application() {
        let mut changed = ledger(2, 820_000, 10_000_000);
        changed.nitrogen -= 1;
        let from_ledger = Totals::of_ledger([ledger(1, 820_000, 25_600_000), changed]);
        let label = label();
        let record = |application, product| RecordedLine {
            application: id(application),
            area: Area::from_raw(820_000),
            parts: None,
            product: ProductMass::from_raw(product),
            label: &label,
        };
        let from_records = Totals::of_records([record(1, 25_600_000), record(2, 10_000_000)]);
        assert_eq!(from_ledger.differing(&from_records), vec![id(2)]);
    }

    #[test]
    fn two_halves_at_one_rate_are_one_rate_and_the_same_half_twice_is_two() {
        let on = |application, mask| LedgerLine {
            parts: Some(Parts { division: 1, mask }),
            ..ledger(application, 410_000, 10_250_000)
        };
        // 10.25 lb of 24 % are 2.46 lb N; on 4,100 sq ft 0.6 on 1,000.
        let rate = |lines: &[LedgerLine]| Totals::of_ledger(lines.iter().copied()).rates_rounded_up()[0].to_string();
        assert_eq!(rate(&[on(1, 1), on(2, 2)]), "0.6");
        assert_eq!(rate(&[on(1, 1), on(2, 1)]), "1.2");
        assert_eq!(rate(&[on(1, 1), ledger(2, 820_000, 20_500_000), on(3, 2)]), "1.2", "the whole lies on each half");
        assert_eq!(rate(&[on(1, 1), ledger(2, 410_000, 10_250_000)]), "1.2", "a half of which no part is known");
        let halves = Totals::of_ledger([on(1, 1), on(2, 2)]);
        assert_eq!(halves.nutrients().nitrogen_lb.to_string(), "4.92", "the pounds stay the sum");
        let told = halves.nitrogen_by_piece();
        assert_eq!(told.len(), 2);
        assert_eq!(halves.nitrogen_room(NutrientRate::from_raw(2_700_000)).to_string(), "2.1");
        assert_eq!(halves.percent_of(NutrientRate::from_raw(1_200_000)).map(|p| p.to_string()).as_deref(), Some("50"));
    }
}
