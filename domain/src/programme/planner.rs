//! A season that is being planned.

use super::{
    cuts::Cut,
    model::{Cell, SeasonQuestion},
};
use crate::{
    facts::PastApplication,
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

/// A planned round as it will stand in the book.
pub(super) fn as_past(
    question: &SeasonQuestion<'_>,
    cell: &Cell,
    mass: ProductMass,
    area: Area,
) -> Option<PastApplication> {
    let label = &question.products.get(cell.product)?.label;
    Some(PastApplication::planned(label, mass, (cell.on, area), (question.facts_on)(cell.on).purpose))
}
