//! The certificates of whoever is planned to go: what a check of that day would say of them, as visits, days and working hours tell it.

use domain::{
    application::Purpose,
    decision::{Finding, Verdict},
    ids::{PersonId, ProductId, PropertyId},
    law::Lawbook,
    time::{Day, Instant},
};
use sqlx::SqliteConnection;

use crate::{
    acts::credentials,
    store::{
        visits::{Visit, VisitStatus, week::WeekVisit},
        world,
    },
};

/// Somebody who is to go somewhere with a product.
#[derive(Debug, Clone, Copy)]
pub struct Errand {
    pub property: PropertyId,
    pub product: ProductId,
    pub purpose: Purpose,
    pub person: PersonId,
    pub on: Day,
}

impl Errand {
    /// What a visit plans, as long as it is to be made.
    pub fn of(visit: &Visit) -> Option<Self> {
        (visit.status == VisitStatus::Planned).then_some(Self {
            property: visit.property_id,
            product: visit.product_id,
            purpose: visit.purpose,
            person: visit.person_id,
            on: visit.planned_on,
        })
    }

    /// The same of a visit in the office's week.
    pub fn of_week(visit: &WeekVisit) -> Option<Self> {
        visit.is_open().then_some(Self {
            property: visit.property_id,
            product: visit.product_id,
            purpose: visit.purpose,
            person: visit.person_id,
            on: visit.planned_on,
        })
    }
}

/// What stands against each of these errands, or asks for care.
pub async fn of_errands(
    connection: &mut SqliteConnection,
    law: &Lawbook,
    errands: &[Errand],
    now: Instant,
) -> Result<Vec<Vec<Finding>>, sqlx::Error> {
    if errands.is_empty() {
        return Ok(Vec::new());
    }
    let properties: Vec<PropertyId> = errands.iter().map(|errand| errand.property).collect();
    let products: Vec<ProductId> = errands.iter().map(|errand| errand.product).collect();
    let people: Vec<PersonId> = errands.iter().map(|errand| errand.person).collect();
    let world = world::load_lawns(connection, &[], &properties, &products, &people, now.millis()).await?;
    let told = |errand: &Errand| {
        let (product, person) = (world.products.get(&errand.product)?, world.people.get(&errand.person)?);
        let property = world.properties.get(&errand.property)?;
        let mut found = credentials::of_stop(law, property, (&product.label, errand.purpose), person, errand.on);
        found.retain(|finding| finding.verdict > Verdict::Go);
        Some(found)
    };
    Ok(errands.iter().map(|errand| told(errand).unwrap_or_default()).collect())
}

/// A visit with what stands against it by the certificate of whoever goes.
pub async fn told(
    connection: &mut SqliteConnection,
    law: &Lawbook,
    visit: Visit,
    now: Instant,
) -> Result<Visit, sqlx::Error> {
    let errands: Vec<Errand> = Errand::of(&visit).into_iter().collect();
    let certificate = of_errands(connection, law, &errands, now).await?.pop().unwrap_or_default();
    Ok(Visit { certificate, ..visit })
}

/// The same of several visits, which are planned together.
pub async fn told_of_each(
    connection: &mut SqliteConnection,
    law: &Lawbook,
    mut visits: Vec<Visit>,
    now: Instant,
) -> Result<Vec<Visit>, sqlx::Error> {
    let named: Vec<Errand> = visits.iter().filter_map(Errand::of).collect();
    let mut found = of_errands(connection, law, &named, now).await?.into_iter();
    for visit in visits.iter_mut().filter(|visit| Errand::of(visit).is_some()) {
        visit.certificate = found.next().unwrap_or_default();
    }
    Ok(visits)
}
