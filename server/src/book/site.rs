//! A property and whose it was, as they stood on a day.

use domain::{
    application::Audience,
    dated::Stood,
    ids::{ClientId, PropertyId, SectionId},
    land::{PropertyKind, Species},
    time::Day,
};
use serde::Deserialize;
use sqlx::{SqliteConnection, SqlitePool};

use crate::{
    acts::rows::{for_hire, lawn},
    store::{
        ReadTransaction, bad_row,
        history::{self, Subject},
    },
};

/// The site and the client of a day, as the law wants them named.
#[derive(Debug, Clone)]
pub struct Site {
    pub place: PlaceOnDay,
    pub client: ClientOnDay,
}

/// A property on a day.
#[derive(Debug, Clone, Deserialize)]
pub struct PlaceOnDay {
    pub client_id: ClientId,
    pub address: String,
    pub postal_code: String,
    pub time_zone: String,
    pub rule_sets: Vec<String>,
    #[serde(default = "lawn")]
    pub kind: Option<PropertyKind>,
    #[serde(default = "for_hire")]
    pub worked_by: Audience,
    #[serde(default)]
    pub nutrient_plan_on: Option<Day>,
}

/// A client on a day.
#[derive(Debug, Clone, Deserialize)]
pub struct ClientOnDay {
    pub name: String,
    pub mailing_address: String,
    pub phone: Option<String>,
}

/// The site on a day; nothing where there is no such property.
pub async fn on(pool: &SqlitePool, property: PropertyId, day: Day) -> Result<Option<Site>, sqlx::Error> {
    let mut moment = ReadTransaction::begin(pool).await?;
    let unreadable = bad_row("history");
    let entries = history::entries(&mut moment, Subject::Property(property)).await?;
    if entries.is_empty() {
        return Ok(None);
    }
    let stood = history::history(&entries).stood::<PlaceOnDay>().map_err(|error| unreadable(&error))?;
    let mut place = stood.on(day).clone();
    // Where that clock has left the tables since, the one that was chosen in its place tells the day.
    if domain::time::zone(&place.time_zone).is_err() {
        place.time_zone.clone_from(&stood.present().time_zone);
    }
    let entries = history::entries(&mut moment, Subject::Client(place.client_id)).await?;
    let stood = history::history(&entries).stood::<ClientOnDay>().map_err(|error| unreadable(&error))?;
    Ok(Some(Site { place, client: stood.on(day).clone() }))
}

/// A property through its days, without whose it was; nothing where there is no such property.
pub async fn places(
    connection: &mut SqliteConnection,
    property: PropertyId,
) -> Result<Option<Stood<PlaceOnDay>>, sqlx::Error> {
    let entries = history::entries(connection, Subject::Property(property)).await?;
    let stood = (!entries.is_empty()).then(|| history::history(&entries).stood());
    stood.transpose().map_err(|error| bad_row("history")(&error))
}

/// What grew on a section on a day.
pub async fn turf(pool: &SqlitePool, section: SectionId, day: Day) -> Result<Option<Species>, sqlx::Error> {
    #[derive(Deserialize)]
    struct Turf {
        species: Option<Species>,
    }
    let mut moment = ReadTransaction::begin(pool).await?;
    let entries = history::entries(&mut moment, Subject::Section(section)).await?;
    let stood = history::history(&entries).stood::<Turf>().map_err(|error| bad_row("history")(&error))?;
    Ok(stood.on(day).species)
}
