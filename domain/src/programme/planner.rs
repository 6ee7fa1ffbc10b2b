//! A season that is being planned.

use super::{
    cuts::Cut,
    model::{Cell, SeasonQuestion},
};
use crate::{
    law::Lawbook,
    quantity::{Area, ProductMass},
};

/// Cells with the product that is planned in them.
pub(super) type RoundAmounts = Vec<(usize, ProductMass)>;

pub(super) struct Planner<'a> {
    pub lawbook: &'a Lawbook,
    pub question: &'a SeasonQuestion<'a>,
    pub area: Area,
    pub cells: Vec<Cell>,
    pub cuts: Vec<Cut>,
}
