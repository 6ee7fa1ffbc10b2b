//! Where the visits of a day lie: property, client and sections as they stood on the day.

use std::collections::HashMap;

use domain::{
    dated::{Facts, Stood},
    ids::{ClientId, PropertyId, SectionId},
    time::{self, Day},
};
use serde::de::DeserializeOwned;
use serde_json::Value;
use sqlx::SqliteConnection;

use super::{ClientWords, DayReferences};
use crate::{
    acts::{
        particulars::ClientFacts,
        rows::{PropertyFacts, SectionFacts, local_rules_asked_by, seeded_by, service_ends},
    },
    places,
    scope::Scope,
    store::{
        bad_row,
        history::{self, About, Histories},
        id_list,
        properties::{self, Property, PropertyInput},
        read, read_day,
        sections::{self, Section, SectionInput},
    },
};

pub(super) async fn read_properties(
    connection: &mut SqliteConnection,
    ids: &[PropertyId],
    on: Day,
    scope: Scope,
    named: &mut DayReferences,
) -> Result<(), sqlx::Error> {
    let found = properties::those(&mut *connection, ids, Scope::Company).await?;
    let about = About { properties: id_list(ids)?, ..nothing() };
    let histories = history::load(connection, &about).await?;
    let mut present: HashMap<PropertyId, ClientId> = HashMap::new();
    for property in found {
        present.insert(property.id, property.client_id);
        let stood = property_on(property, &histories, on)?;
        named.properties.insert(stood.id, stood);
    }
    read_clients(connection, on, scope, &present, named).await
}

/// The clients of the day. Whoever does not see the whole company is not told who a former client was.
async fn read_clients(
    connection: &mut SqliteConnection,
    on: Day,
    scope: Scope,
    present: &HashMap<PropertyId, ClientId>,
    named: &mut DayReferences,
) -> Result<(), sqlx::Error> {
    let wanted: Vec<ClientId> = named.properties.values().map(|property| property.client_id).collect();
    let wanted = id_list(&wanted)?;
    let rows = sqlx::query!(
        r#"SELECT c.id AS "id!", c.name AS "name!", c.mailing_address AS "mailing_address!", c.phone, c.cancelled_on
           FROM json_each($1) AS w CROSS JOIN clients AS c WHERE c.id = w.value"#,
        wanted
    )
    .fetch_all(&mut *connection)
    .await?;
    let histories = history::load(connection, &About { clients: wanted, ..nothing() }).await?;
    let mut words: HashMap<ClientId, ClientWords> = HashMap::new();
    for row in rows {
        let cancelled_on = row.cancelled_on.as_deref().map(read_day).transpose()?;
        let (name, mailing_address, phone) = (row.name, row.mailing_address, row.phone);
        let now = Stood::always(ClientFacts { name, mailing_address, phone, cancelled_on });
        let stood = histories.stood(&row.id)?.unwrap_or(now);
        let ClientFacts { name, phone, .. } = stood.on(on).clone();
        let told = ClientWords { name, phone, cancelled_on: service_ends(&stood, on) };
        words.insert(read(&row.id, "client id")?, told);
    }
    for property in named.properties.values() {
        let is_former = present.get(&property.id) != Some(&property.client_id);
        let told = words.get(&property.client_id).cloned().map(|told| match scope.viewer() {
            Some(_) if is_former => ClientWords { name: "A former client".to_owned(), phone: None, ..told },
            _ => told,
        });
        named.clients.extend(told.map(|told| (property.id, told)));
    }
    Ok(())
}

/// Each section with the area that held on the day: of the latest measurement by then, else of the earliest.
pub(super) async fn read_sections(
    connection: &mut SqliteConnection,
    ids: &[SectionId],
    on: Day,
    named: &mut DayReferences,
) -> Result<(), sqlx::Error> {
    let found = sections::those(&mut *connection, ids, Some(on), Scope::Company).await?;
    let about = About { sections: id_list(ids)?, ..nothing() };
    let histories = history::load(connection, &about).await?;
    for section in found {
        let stood = section_on(section, &histories, on)?;
        named.sections.insert(stood.id, stood);
    }
    Ok(())
}

/// Histories of nothing, of which whoever asks names something.
fn nothing() -> About {
    let none = || "[]".to_owned();
    About { clients: none(), properties: none(), sections: none(), changed: true }
}

/// What the entries say of a day, as it was sent; nothing where the row is what they say.
fn sent_by_then<T: DeserializeOwned>(
    histories: &Histories,
    id: &str,
    on: Day,
    kept: Option<(&str, Value)>,
) -> Result<Option<T>, sqlx::Error> {
    let entries = histories.entries_of(id);
    if entries.is_empty() {
        return Ok(None);
    }
    let mut facts: Facts = history::history(entries).on(on);
    facts.extend(kept.map(|(name, value)| (name.to_owned(), value)));
    serde_json::from_value(Value::Object(facts)).map(Some).map_err(|error| bad_row("history")(&error))
}

/// The property of a day. Its version is that of now: it says what may be changed.
fn property_on(now: Property, histories: &Histories, on: Day) -> Result<Property, sqlx::Error> {
    let id = now.id.to_string();
    let Some(then) = sent_by_then::<PropertyInput>(histories, &id, on, None)? else { return Ok(now) };
    let known = history::history(histories.entries_of(&id));
    let owners = known.values_of("client_id");
    let client_since = owners.iter().rev().find(|(since, _)| *since <= Some(on)).and_then(|(since, _)| *since);
    let mut confirmed: Vec<String> = then.rule_sets.iter().map(|code| code.0.clone()).collect();
    confirmed.extend(then.place.iter().map(|place| place.state.0.clone()));
    let at = then.latitude.zip(then.longitude);
    let asked = histories.stood::<PropertyFacts>(&id)?.and_then(|stood| local_rules_asked_by(&stood, on));
    Ok(Property {
        client_id: then.client_id,
        client_since,
        name: then.name,
        address: then.address,
        postal_code: then.postal_code,
        latitude: then.latitude,
        longitude: then.longitude,
        // Where that clock has left the tables since, the one that was chosen in its place tells the day.
        time_zone: if time::zone(&then.time_zone).is_ok() { then.time_zone } else { now.time_zone },
        place: then.place,
        place_differs: at.and_then(|(latitude, longitude)| places::differs(latitude, longitude, &confirmed)),
        rule_sets: then.rule_sets,
        local_rules_checked_on: asked,
        kind: then.kind,
        worked_by: then.worked_by,
        nutrient_plan_on: then.nutrient_plan_on,
        ..now
    })
}

/// The section of a day; area and measurement are those of the day already.
fn section_on(now: Section, histories: &Histories, on: Day) -> Result<Section, sqlx::Error> {
    let id = now.id.to_string();
    let property = ("property_id", Value::from(now.property_id.to_string()));
    let Some(then) = sent_by_then::<SectionInput>(histories, &id, on, Some(property))? else { return Ok(now) };
    let seeded = histories.stood::<SectionFacts>(&id)?.and_then(|stood| seeded_by(&stood, on));
    Ok(Section {
        name: then.name,
        species: then.species,
        water: then.water,
        water_distance_ft: then.water_distance_ft,
        natural_strip_ft: then.natural_strip_ft,
        // A seeding that was entered later than it was made is known for its own day too.
        established_on: seeded,
        touches_pavement: then.touches_pavement,
        maintenance: then.maintenance,
        clippings: then.clippings,
        shade: then.shade,
        ..now
    })
}
