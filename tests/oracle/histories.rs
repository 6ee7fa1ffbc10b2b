//! Random histories: what people might do, in any order, on days long past and late.

use jiff::{Span, civil::Date};
use proptest::prelude::*;

/// One thing that somebody does. Numbers choose among what is there, so that a history stays one when steps are left out.
#[derive(Debug, Clone)]
pub enum Step {
    /// Work of so many days ago is recorded.
    Record { days_ago: u16, product: u8, first: Amount, second: Option<Amount> },
    /// What stands of a record on some of its sections is put right, or put on a section that it did not name.
    Correct { record: u8, section: u8, amount: Amount },
    /// Nothing was put on one of the sections.
    TakeLineBack { record: u8, section: u8 },
    /// The whole record is taken back.
    TakeBack { record: u8 },
    /// A section is measured, or a measurement of a past day comes in.
    Measure { section: u8, days_ago: u16, hundredths: u32 },
    /// A measurement was wrong in its area, or in its day, too; nothing for the same day.
    MeasureCorrected { section: u8, entry: u8, days_ago: Option<u16>, hundredths: u32 },
    /// A measurement was another lawn's.
    MeasuredElsewhere { section: u8, entry: u8 },
    /// The turf was another one from a past day on.
    Turf { section: u8, days_ago: u16, species: u8 },
    /// An earlier entry about the turf was wrong, in what it says or in its day.
    TurfCorrected { section: u8, entry: u8, days_ago: Option<u16>, species: u8 },
    /// The property was sold, as is learned so many days later.
    Sold { days_ago: u16, client: u8 },
    /// The day of a change of hands was wrong.
    SaleCorrected { entry: u8, days_ago: Option<u16>, client: u8 },
    /// Something is so from today on, which changes nothing on the statements of years that are over.
    Today { section: u8, what: u8, value: u8 },
    /// Room is held for today.
    Hold { product: u8, section: u8, amount: Amount },
    /// And given back.
    GiveBack { hold: u8 },
}

/// How much of a product, and on how much of the section.
#[derive(Debug, Clone)]
pub struct Amount {
    pub pounds: Pounds,
    /// Percent of the section, where it is not the whole.
    pub part: Option<u8>,
}

#[derive(Debug, Clone)]
pub enum Pounds {
    /// In hundred-thousandths.
    Some(u32),
    /// As much as the limit leaves, and so many millionths more or less.
    AllThatIsLeft(i8),
}

fn amount() -> impl Strategy<Value = Amount> {
    let pounds = prop_oneof![
        3 => (1..4_000_000_u32).prop_map(Pounds::Some),
        1 => (-1..=1_i8).prop_map(Pounds::AllThatIsLeft),
    ];
    (pounds, proptest::option::weighted(0.3, 1..=99_u8)).prop_map(|(pounds, part)| Amount { pounds, part })
}

/// Mostly within two years, and often on the edges of years and spans.
fn days_ago() -> impl Strategy<Value = u16> {
    prop_oneof![4 => 0..700_u16, 1 => Just(364), 1 => Just(365), 1 => Just(323), 1 => Just(324), 2 => 0..5_u16]
}

/// The day of a correction, half of the time that of what it corrects.
fn another_day() -> impl Strategy<Value = Option<u16>> {
    proptest::option::of(days_ago())
}

pub fn step() -> impl Strategy<Value = Step> {
    let any = any::<u8>;
    prop_oneof![
        8 => (days_ago(), any(), amount(), proptest::option::weighted(0.4, amount()))
            .prop_map(|(days_ago, product, first, second)| Step::Record { days_ago, product, first, second }),
        5 => (any(), any(), amount()).prop_map(|(record, section, amount)| Step::Correct { record, section, amount }),
        2 => (any(), any()).prop_map(|(record, section)| Step::TakeLineBack { record, section }),
        1 => any().prop_map(|record| Step::TakeBack { record }),
        2 => (any(), days_ago(), 100_000..2_000_000_u32)
            .prop_map(|(section, days_ago, hundredths)| Step::Measure { section, days_ago, hundredths }),
        2 => (any(), days_ago(), any())
            .prop_map(|(section, days_ago, species)| Step::Turf { section, days_ago, species }),
        1 => (any(), any(), another_day(), 100_000..2_000_000_u32).prop_map(|(section, entry, days_ago, hundredths)| {
            Step::MeasureCorrected { section, entry, days_ago, hundredths }
        }),
        1 => (any(), any()).prop_map(|(section, entry)| Step::MeasuredElsewhere { section, entry }),
        2 => (any(), any(), any()).prop_map(|(section, what, value)| Step::Today { section, what, value }),
        1 => (any(), any(), another_day(), any())
            .prop_map(|(section, entry, days_ago, species)| Step::TurfCorrected { section, entry, days_ago, species }),
        2 => (days_ago(), any()).prop_map(|(days_ago, client)| Step::Sold { days_ago, client }),
        1 => (any(), another_day(), any())
            .prop_map(|(entry, days_ago, client)| Step::SaleCorrected { entry, days_ago, client }),
        1 => (any(), any(), amount()).prop_map(|(product, section, amount)| Step::Hold { product, section, amount }),
        1 => any().prop_map(|hold| Step::GiveBack { hold }),
    ]
}

pub fn history() -> impl Strategy<Value = Vec<Step>> {
    proptest::collection::vec(step(), 1..10)
}

/// The day so many days before another.
pub fn before(today: Date, days_ago: u16) -> Date {
    today.checked_sub(Span::new().days(i64::from(days_ago))).unwrap()
}
