//! What spreads the product, since several laws set their distances from water by it.

use serde::{Deserialize, Serialize};

use crate::{
    calibration::{catch_test::CatchTest, pattern::SwathBy},
    product::ProductForm,
};

/// The kind of spreader or sprayer, as the statutes tell them apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Equipment {
    /// Throws granules to all sides.
    RotarySpreader,
    /// Throws granules, with a deflector or guard on the side of the water.
    RotarySpreaderWithDeflector,
    /// Lets granules fall straight down.
    DropSpreader,
    /// Sprays liquid over a width.
    BroadcastSprayer,
    /// Sprays liquid on a targeted strip or spot.
    TargetedSprayer,
}

impl Equipment {
    /// How a sentence calls it.
    pub const fn label(self) -> &'static str {
        match self {
            Self::RotarySpreader => "a rotary spreader without deflector",
            Self::RotarySpreaderWithDeflector => "a rotary spreader with deflector",
            Self::DropSpreader => "a drop spreader",
            Self::BroadcastSprayer => "a broadcast sprayer",
            Self::TargetedSprayer => "a targeted sprayer",
        }
    }
}

/// What a spreader or sprayer is, as a company owns it. How it was used on a lawn is `Equipment`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum EquipmentKind {
    DropSpreader,
    RotarySpreader,
    BoomSprayer,
    SprayGun,
}

impl EquipmentKind {
    /// How a sentence calls it.
    pub const fn label(self) -> &'static str {
        match self {
            Self::DropSpreader => "a drop spreader",
            Self::RotarySpreader => "a rotary spreader",
            Self::BoomSprayer => "a boom sprayer",
            Self::SprayGun => "a spray gun",
        }
    }

    /// What it puts down.
    pub const fn form(self) -> ProductForm {
        match self {
            Self::DropSpreader | Self::RotarySpreader => ProductForm::Granular,
            Self::BoomSprayer | Self::SprayGun => ProductForm::Liquid,
        }
    }

    /// Whether a record may say that it was used so. A deflector must be on the machine, because laws let it nearer to
    /// water; a boom covers a width, and only a gun can be pointed at a strip or spot.
    pub const fn serves(self, used_as: Equipment, has_deflector: bool) -> bool {
        match (self, used_as) {
            (Self::DropSpreader, Equipment::DropSpreader)
            | (Self::RotarySpreader, Equipment::RotarySpreader)
            | (Self::BoomSprayer | Self::SprayGun, Equipment::BroadcastSprayer)
            | (Self::SprayGun, Equipment::TargetedSprayer) => true,
            (Self::RotarySpreader, Equipment::RotarySpreaderWithDeflector) => has_deflector,
            _ => false,
        }
    }

    /// Whether a test measures what such a machine does: only a rotary spreader throws a pattern, and only a drop spreader's
    /// swath is its hopper.
    pub const fn takes(self, test: &CatchTest) -> bool {
        match test {
            CatchTest::Course { swath_by: SwathBy::Hopper, .. } => matches!(self, Self::DropSpreader),
            CatchTest::Course { swath_by: SwathBy::HalfOfCentre | SwathBy::WholeThrow, .. }
            | CatchTest::Pans { .. } => {
                matches!(self, Self::RotarySpreader)
            }
            CatchTest::KnownArea { .. } => matches!(self, Self::DropSpreader | Self::RotarySpreader),
            CatchTest::Gun { .. } => matches!(self, Self::SprayGun),
            CatchTest::Boom { .. } => matches!(self, Self::BoomSprayer),
        }
    }

    /// How it is calibrated, for somebody who chose a test of another machine.
    pub const fn tests_in_words(self) -> &'static str {
        match self {
            Self::DropSpreader => "a course with the swath by the hopper, or a known area",
            Self::RotarySpreader => {
                "a row of pans for its swath, then a course with the swath by half_of_centre or whole_throw, or a known area"
            }
            Self::BoomSprayer => "the catch of one nozzle (boom)",
            Self::SprayGun => "the catch in the time that an area takes (gun)",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// *Common practice*: what a machine can be, by how it works.
    #[test]
    fn a_machine_serves_as_what_it_is() {
        let uses = [
            Equipment::RotarySpreader,
            Equipment::RotarySpreaderWithDeflector,
            Equipment::DropSpreader,
            Equipment::BroadcastSprayer,
            Equipment::TargetedSprayer,
        ];
        let of = |kind: EquipmentKind, deflector| uses.map(|used_as| kind.serves(used_as, deflector));
        assert_eq!(of(EquipmentKind::RotarySpreader, false), [true, false, false, false, false]);
        assert_eq!(of(EquipmentKind::RotarySpreader, true), [true, true, false, false, false]);
        assert_eq!(of(EquipmentKind::DropSpreader, false), [false, false, true, false, false]);
        assert_eq!(of(EquipmentKind::BoomSprayer, false), [false, false, false, true, false]);
        assert_eq!(of(EquipmentKind::SprayGun, false), [false, false, false, true, true]);
    }
}
