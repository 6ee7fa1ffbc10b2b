//! The acidity that a grass wants, by whoever said so. Sources differ, so the source is part of the answer.

use serde::Serialize;

use crate::{explain::SourceMark, land::Species, quantity::SoilPh};

/// A range that one source prints for a grass.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, utoipa::ToSchema)]
pub struct TargetPh {
    pub from: SoilPh,
    pub to: SoilPh,
    #[schema(max_length = 200)]
    pub source: &'static str,
    pub mark: SourceMark,
}

const fn target(from: i64, to: i64, source: &'static str, mark: SourceMark) -> TargetPh {
    TargetPh { from: SoilPh::from_raw(from), to: SoilPh::from_raw(to), source, mark }
}

const GEORGIA_AGENT: &str = "Georgia extension agent, Gainesville column, read in a copy";
const PENNSYLVANIA: TargetPh = target(600, 720, "Penn State: cool-season turf", SourceMark::Read);
const NORTH_CAROLINA: TargetPh =
    target(650, 700, "NC State, Quick Reference: most turf; centipede close to 5.5", SourceMark::Read);
const GEORGIA_SOD: TargetPh =
    target(600, 700, "University of Georgia AESL, crop sheet 772: tall fescue sod", SourceMark::Read);
const GEORGIA_792: TargetPh =
    target(550, 650, "University of Georgia AESL, crop sheet 792: St. Augustine", SourceMark::Read);
const GEORGIA_BCM: TargetPh =
    target(500, 600, "University of Georgia AESL, crop sheet BCM: centipede", SourceMark::Read);

const TALL_FESCUE: &[TargetPh] =
    &[GEORGIA_SOD, PENNSYLVANIA, NORTH_CAROLINA, target(550, 650, GEORGIA_AGENT, SourceMark::Read2)];
const COOL_SEASON: &[TargetPh] = &[PENNSYLVANIA, NORTH_CAROLINA];
const ST_AUGUSTINE: &[TargetPh] = &[GEORGIA_792];
const CENTIPEDE: &[TargetPh] = &[GEORGIA_BCM];
const ZOYSIA: &[TargetPh] = &[target(600, 700, GEORGIA_AGENT, SourceMark::Read2), NORTH_CAROLINA];
const BERMUDA: &[TargetPh] = &[target(550, 650, GEORGIA_AGENT, SourceMark::Read2), NORTH_CAROLINA];

/// Every range that was read for a grass, a source's own sheet for it first; empty where none was read.
pub const fn target_ph(species: Species) -> &'static [TargetPh] {
    match species {
        Species::TallFescue => TALL_FESCUE,
        Species::FineFescue | Species::KentuckyBluegrass | Species::PerennialRyegrass => COOL_SEASON,
        Species::Zoysia => ZOYSIA,
        Species::Bermuda => BERMUDA,
        Species::StAugustine => ST_AUGUSTINE,
        Species::Centipede => CENTIPEDE,
        Species::Bahia | Species::Other => &[],
    }
}

/// Whether Georgia's sheet for a grass asks for lime at this acidity: below 5.5 for St. Augustine, 5.0 for centipede, 6.0
/// for tall fescue sod. Nothing where no sheet was read.
pub fn georgia_asks_for_lime(species: Species, ph: SoilPh) -> Option<bool> {
    let below = match species {
        Species::StAugustine => 550,
        Species::Centipede => 500,
        Species::TallFescue => 600,
        _ => return None,
    };
    Some(ph.raw() < below)
}
