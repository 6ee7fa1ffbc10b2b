//! When feeding begins and ends, and what shade and clippings take off the need. Sources differ from state to state, so each
//! answer belongs to one of them.

use serde::{Deserialize, Serialize};

use crate::{
    quantity::{NutrientRate, Percent, Temperature, WindSpeed, quotient_down, quotient_nearest},
    time::Day,
};

/// Growing degree days of one day above a base, in hundredths, never below zero: (warmest + coldest) / 2 - base (Virginia
/// Tech and Kentucky, read).
pub fn growing_degree_hundredths(warmest: Temperature, coldest: Temperature, base: Temperature) -> i64 {
    ((warmest.raw() + coldest.raw() - 2 * base.raw()) * 5).max(0)
}

/// Whether top growth has stopped for the late autumn feeding: the daily mean below 50 °F on each of the last ten days, and
/// no mowing in them (Cornell, older page, read).
pub fn late_autumn_feeding_may_begin(daily_means: &[Temperature], mown_within_ten_days: bool) -> bool {
    const DAYS: usize = 10;
    let last = daily_means.iter().rev().take(DAYS);
    !mown_within_ten_days && daily_means.len() >= DAYS && last.into_iter().all(|mean| mean.raw() < 500)
}

/// Whether the September feeding may go down: the day's high no longer in the 90s °F (Purdue, Fall Fertilization, read).
pub fn september_feeding_may_go_down(forecast_high: Temperature) -> bool {
    forecast_high.raw() < 900
}

/// Whether spray may be put out under the one drift statement of the EPA that Clemson quotes: wind under 10 mph, measured on
/// the site. A label's own limit goes before it.
pub fn within_quoted_drift_statement(wind: WindSpeed) -> bool {
    wind.raw() < 1_000
}

/// What a low temperature is called on maps of first dates (National Weather Service, read).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Cold {
    None,
    /// 36 °F or below.
    Frost,
    /// 32 °F or below.
    Freeze,
    /// 28 °F or below.
    HardFreeze,
}

impl Cold {
    pub fn of(lowest: Temperature) -> Self {
        match lowest.raw() {
            ..=280 => Self::HardFreeze,
            281..=320 => Self::Freeze,
            321..=360 => Self::Frost,
            _ => Self::None,
        }
    }
}

/// Rules that end feeding so long before the first freeze. The date of the freeze comes with its threshold and probability,
/// and whoever looks it up keeps all three.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum BeforeFreeze {
    /// No later than one month before the normal first killing frost (University of Georgia AESL, crop sheet 792).
    GeorgiaLastFeeding,
    /// Six weeks before the expected frost (Texas agent, read in a copy).
    TexasLastFeeding,
    /// Potassium one month before the first frost (Florida calendar, read in a copy).
    FloridaPotassium,
    /// Potassium four to six weeks before the expected frost (Clemson text at Georgia).
    ClemsonPotassium,
}

impl BeforeFreeze {
    /// The first and last day that the rule names, before a first freeze. A rule that names only an end has both alike.
    pub fn days(self, first_freeze: Day) -> (Day, Day) {
        match self {
            Self::GeorgiaLastFeeding | Self::FloridaPotassium => {
                (first_freeze.plus_months(-1), first_freeze.plus_months(-1))
            }
            Self::TexasLastFeeding => (first_freeze.plus_days(-42), first_freeze.plus_days(-42)),
            Self::ClemsonPotassium => (first_freeze.plus_days(-42), first_freeze.plus_days(-28)),
        }
    }
}

/// States whose advice on the first and last nitrogen of the year was read. It is advice: the law is asked separately.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum NitrogenSeason {
    /// Last in mid-October: only 11 % was taken up under a mid-November regime.
    Minnesota,
    /// By September 15, read in a copy.
    NorthDakota,
    /// The first weeks of November.
    Indiana,
    /// Late October or early November.
    Iowa,
    /// November 15.
    Maryland,
    /// March 15 to October 1 in north-central Florida, Marion County, read in a copy.
    FloridaMarion,
}

impl NitrogenSeason {
    /// First and last month and day, both included. "Mid-October" is taken as the 15th, "the first weeks of November" as the
    /// 14th, "early November" as the 10th (*common practice*; the sources give no day).
    const fn ends(self) -> ((i8, i8), (i8, i8)) {
        match self {
            Self::Minnesota => ((1, 1), (10, 15)),
            Self::NorthDakota => ((1, 1), (9, 15)),
            Self::Indiana => ((1, 1), (11, 14)),
            Self::Iowa => ((1, 1), (11, 10)),
            Self::Maryland => ((1, 1), (11, 15)),
            Self::FloridaMarion => ((3, 15), (10, 1)),
        }
    }

    /// Whether nitrogen on a day is within what the state advises.
    pub fn advises(self, day: Day) -> bool {
        let (first, last) = self.ends();
        (first..=last).contains(&(day.date().month(), day.date().day()))
    }
}

/// How much of the day's light a lawn gets (University of Connecticut, read). An edge belongs to the lighter class.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Shade {
    /// 75 % of the light or more.
    Light,
    /// 25 to 75 %.
    Medium,
    /// Less than 25 %.
    Heavy,
}

impl Shade {
    pub fn of(light: Percent) -> Self {
        match light.raw() {
            7_500.. => Self::Light,
            2_500..=7_499 => Self::Medium,
            _ => Self::Heavy,
        }
    }
}

/// What is taken off the nitrogen that a lawn in full sun with clippings removed would need.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Credits {
    /// For clippings that are left, in percent. The sources say 25 to 50; 25 is Idaho's and North Carolina's.
    pub clippings_percent: Percent,
    /// For shade, in percent. About half: Illinois, Arizona, Oklahoma.
    pub shade_percent: Percent,
}

impl Credits {
    pub const DEFAULT: Self =
        Self { clippings_percent: Percent::from_raw(2_500), shade_percent: Percent::from_raw(5_000) };

    /// The need that is left, rounded down.
    pub fn off_rounded_down(self, need: NutrientRate, clippings_left: bool, shaded: bool) -> NutrientRate {
        let keep = |percent: Percent, applies: bool| i128::from(if applies { 10_000 - percent.raw() } else { 10_000 });
        let parts = keep(self.clippings_percent, clippings_left) * keep(self.shade_percent, shaded);
        NutrientRate::from_raw(quotient_down(i128::from(need.raw()) * parts, 100_000_000))
    }
}

/// Heat index in tenths of a degree, to the nearest, for the safety of the crew (National Weather Service, read as quoted;
/// Rothfusz's regression with its two corrections). Humidity in whole percent.
pub fn heat_index_tenths(air: Temperature, humidity_percent: i64) -> i64 {
    let (t, r) = (i128::from(air.raw()), i128::from(humidity_percent.clamp(0, 100)));
    // Half of T + 61 + 1.2 (T - 68) + 0.094 RH, averaged with T; in ten-thousandths of a degree.
    let simple = (t * 1_000 + 610_000 + 12 * (t - 680) * 100 + 940 * r) / 2;
    let simple = i128::midpoint(simple, t * 1_000);
    if simple < 800_000 {
        return quotient_nearest(simple, 1_000);
    }
    // T is in tenths: each coefficient, in 1e-8, is brought to the same 1e-10 by the tenths that its term lacks.
    let full = -4_237_900_000 * 100 + 204_901_523 * t * 10 + 1_014_333_127 * r * 100
        - 22_475_541 * t * r * 10
        - 683_783 * t * t
        - 5_481_717 * r * r * 100
        + 122_874 * t * t * r
        + 85_282 * t * r * r * 10
        - 199 * t * t * r * r;
    quotient_nearest(full + correction(t, r), 1_000_000_000)
}

/// In 1e-10 of a degree: less in dry air, more in damp.
fn correction(t: i128, r: i128) -> i128 {
    const ONE: i128 = 10_000_000_000;
    if r < 13 && (800..=1_120).contains(&t) {
        // ((13 - RH) / 4) sqrt((17 - |T - 95|) / 17)
        let root = (((170 - (t - 950).abs()).max(0) * ONE * ONE) / 170).isqrt();
        -((13 - r) * root / 4)
    } else if r > 85 && (800..=870).contains(&t) {
        // ((RH - 85) / 10) ((87 - T) / 5)
        (r - 85) * (870 - t) * ONE / 500
    } else {
        0
    }
}
