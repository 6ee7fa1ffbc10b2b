//! Properties.

use domain::{
    application::Audience,
    dated::Facts,
    ids::{ClientId, PersonId, PropertyId, RuleSetCode},
    land::PropertyKind,
    time::{Day, Instant},
};
use serde::{Deserialize, Serialize};
use sqlx::{SqliteConnection, SqliteExecutor, SqlitePool};
use utoipa::ToSchema;

use crate::{
    acts::rows::{for_hire, lawn},
    paging::{PageRequest, Sequenced},
    places,
    scope::Scope,
    store::{
        enum_text,
        history::{self, NewEntry, Subject},
        id_list, read, read_day, read_enum, read_instant, read_json,
    },
    version::{UpdateOutcome, Versioned, Versions},
};

/// Where a property lies, as codes in the form of a rule set's, whether or not the server has a rule set for each.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({ "state": "us-md", "county": "us-md-anne-arundel", "municipality": "us-md-annapolis" }))]
pub struct Place {
    pub state: RuleSetCode,
    #[serde(default)]
    pub county: Option<RuleSetCode>,
    #[serde(default)]
    pub municipality: Option<RuleSetCode>,
}

/// A property as the office writes it.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({
    "client_id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a10", "name": "Home lawn", "address": "14 Street A, Sampletown",
    "postal_code": "21401", "latitude": 38.97, "longitude": -76.5, "time_zone": "America/New_York", "rule_sets": []
}))]
pub struct PropertyInput {
    pub client_id: ClientId,
    #[schema(min_length = 1, max_length = 120, format = "line")]
    pub name: String,
    #[schema(min_length = 1, max_length = 300, format = "lines")]
    pub address: String,
    #[schema(min_length = 3, max_length = 12, pattern = "^[A-Za-z0-9 -]{3,12}$", example = "21401")]
    pub postal_code: String,
    /// Degrees north of the equator. With the longitude, or neither.
    #[serde(default)]
    #[schema(minimum = -90, maximum = 90)]
    pub latitude: Option<f64>,
    /// Degrees east of Greenwich, so negative in the Americas. With the latitude, or neither.
    #[serde(default)]
    #[schema(minimum = -180, maximum = 180)]
    pub longitude: Option<f64>,
    /// IANA time zone of the place, in its own upper and lower case. It turns a moment into the local day that decides the law.
    #[schema(
        min_length = 1,
        max_length = 60,
        pattern = "^[A-Za-z0-9_+/-]+$",
        format = "iana-time-zone",
        example = "America/New_York"
    )]
    pub time_zone: String,
    /// Where it lies, confirmed by a person. `GET /api/v1/places` suggests it from coordinates.
    #[serde(default)]
    pub place: Option<Place>,
    /// The rule sets that bind there, each once, confirmed by a person. As long as none is confirmed, every decision about it
    /// is to stop.
    #[schema(max_items = 8)]
    pub rule_sets: Vec<RuleSetCode>,
    /// Day on which somebody asked the county and the municipality what rules of their own they have. Where the state lets
    /// them have any, every decision asks for care as long as nobody has.
    #[serde(default)]
    pub local_rules_checked_on: Option<Day>,
    /// What kind of ground it is: several laws leave some kinds out or are about some only. A lawn if left out; null when nobody
    /// knows, which asks for care wherever a rule depends on it.
    #[serde(default = "lawn")]
    pub kind: Option<PropertyKind>,
    /// Who does the work there; for hire if left out.
    #[serde(default = "for_hire")]
    pub worked_by: Audience,
    /// Day of the written nutrient plan for the site, which some laws ask for and others reward.
    #[serde(default)]
    pub nutrient_plan_on: Option<Day>,
    /// First local day on which what is changed here is so; today if left out. What stood on earlier days stays
    /// with them: when it changes hands, the statements of earlier years stay with the client of those years. The nitrogen stays
    /// with the land.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub since: Option<Day>,
}

impl PropertyInput {
    /// What the property's dated entries speak of.
    pub fn facts(&self) -> Result<Facts, sqlx::Error> {
        history::facts_of(self, &["since"])
    }
}

/// A property: the site, with its place and jurisdictions.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Property {
    pub id: PropertyId,
    pub client_id: ClientId,
    /// First local day on which it is this client's; null when it has not changed hands.
    pub client_since: Option<Day>,
    #[schema(max_length = 120)]
    pub name: String,
    #[schema(max_length = 300)]
    pub address: String,
    #[schema(max_length = 12)]
    pub postal_code: String,
    /// Degrees north of the equator.
    #[schema(minimum = -90, maximum = 90)]
    pub latitude: Option<f64>,
    /// Degrees east of Greenwich.
    #[schema(minimum = -180, maximum = 180)]
    pub longitude: Option<f64>,
    /// IANA time zone of the place.
    #[schema(max_length = 60)]
    pub time_zone: String,
    /// Where it lies; null as long as nobody has said so.
    pub place: Option<Place>,
    /// What does not agree between the coordinates and what was confirmed.
    #[schema(max_length = 400)]
    pub place_differs: Option<String>,
    /// The rule sets that bind there. Empty as long as nobody has confirmed any.
    #[schema(max_items = 8)]
    pub rule_sets: Vec<RuleSetCode>,
    /// Day on which somebody asked the county and the municipality what rules of their own they have.
    pub local_rules_checked_on: Option<Day>,
    /// What kind of ground it is; null when nobody knows.
    pub kind: Option<PropertyKind>,
    pub worked_by: Audience,
    /// Day of the written nutrient plan for the site.
    pub nutrient_plan_on: Option<Day>,
    #[schema(minimum = 1, maximum = 1_000_000_000)]
    pub version: i64,
    pub created_at: Instant,
}

impl Versioned for Property {
    fn version(&self) -> i64 {
        self.version
    }
}

pub(super) struct PropertyRow {
    pub seq: i64,
    pub id: String,
    pub client_id: String,
    pub client_since: String,
    pub name: String,
    pub address: String,
    pub postal_code: String,
    pub latitude: Option<f64>,
    pub longitude: Option<f64>,
    pub time_zone: String,
    pub state: Option<String>,
    pub county: Option<String>,
    pub municipality: Option<String>,
    pub rule_sets: String,
    pub local_rules_checked_on: Option<String>,
    pub kind: Option<String>,
    pub worked_by: String,
    pub nutrient_plan_on: Option<String>,
    pub version: i64,
    pub created_at: i64,
}

impl TryFrom<PropertyRow> for Sequenced<Property> {
    type Error = sqlx::Error;

    fn try_from(row: PropertyRow) -> Result<Self, sqlx::Error> {
        let rule_sets: Vec<RuleSetCode> = read_json(&row.rule_sets, "rule sets")?;
        let place = row.state.map(|state| Place {
            state: RuleSetCode(state),
            county: row.county.map(RuleSetCode),
            municipality: row.municipality.map(RuleSetCode),
        });
        let mut confirmed: Vec<String> = rule_sets.iter().map(|code| code.0.clone()).collect();
        confirmed.extend(place.iter().map(|place| place.state.0.clone()));
        let at = row.latitude.zip(row.longitude);
        let place_differs = at.and_then(|(latitude, longitude)| places::differs(latitude, longitude, &confirmed));
        let item = Property {
            id: read(&row.id, "property id")?,
            client_id: read(&row.client_id, "client id")?,
            client_since: (row.client_since != history::FROM_THE_BEGINNING)
                .then(|| read_day(&row.client_since))
                .transpose()?,
            name: row.name,
            address: row.address,
            postal_code: row.postal_code,
            latitude: row.latitude,
            longitude: row.longitude,
            time_zone: row.time_zone,
            place,
            place_differs,
            rule_sets,
            local_rules_checked_on: row.local_rules_checked_on.as_deref().map(read_day).transpose()?,
            kind: row.kind.as_deref().map(|kind| read_enum(kind, "kind of property")).transpose()?,
            worked_by: read_enum(&row.worked_by, "who does the work")?,
            nutrient_plan_on: row.nutrient_plan_on.as_deref().map(read_day).transpose()?,
            version: row.version,
            created_at: read_instant(row.created_at)?,
        };
        Ok(Self { seq: row.seq, item })
    }
}

fn codes(input: &PropertyInput) -> Result<String, sqlx::Error> {
    serde_json::to_string(&input.rule_sets).map_err(|error| sqlx::Error::Encode(error.into()))
}

/// State, county and municipality.
fn place_codes(input: &PropertyInput) -> [Option<String>; 3] {
    let place = input.place.as_ref();
    let code = |code: &RuleSetCode| code.0.clone();
    [
        place.map(|place| code(&place.state)),
        place.and_then(|place| place.county.as_ref()).map(code),
        place.and_then(|place| place.municipality.as_ref()).map(code),
    ]
}

pub async fn insert(
    connection: &mut SqliteConnection,
    id: PropertyId,
    input: &PropertyInput,
    by: PersonId,
    at: Instant,
) -> Result<Property, sqlx::Error> {
    let entry = NewEntry::first(Subject::Property(id), input.facts()?, by, at);
    let (key, client, codes, at) = (id.to_string(), input.client_id.to_string(), codes(input)?, at.millis());
    let [state, county, municipality] = place_codes(input);
    let checked = input.local_rules_checked_on.map(|day| day.to_string());
    let (kind, worked_by) = (input.kind.as_ref().map(enum_text).transpose()?, enum_text(&input.worked_by)?);
    let plan = input.nutrient_plan_on.map(|day| day.to_string());
    sqlx::query!(
        "INSERT INTO properties
             (id, client_id, name, address, postal_code, latitude, longitude, time_zone, rule_sets, version, created_at, state, county,
              municipality, local_rules_checked_on, kind, worked_by, nutrient_plan_on)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, 1, $10, $11, $12, $13, $14, $15, $16, $17)",
        key,
        client,
        input.name,
        input.address,
        input.postal_code,
        input.latitude,
        input.longitude,
        input.time_zone,
        codes,
        at,
        state,
        county,
        municipality,
        checked,
        kind,
        worked_by,
        plan
    )
    .execute(&mut *connection)
    .await?;
    history::append(connection, Subject::Property(id), &entry).await?;
    get(connection, id, Scope::Company).await?.ok_or(sqlx::Error::RowNotFound)
}

/// Replaces a property if the version is the stored one, or any when none is named.
pub async fn update(
    connection: &mut SqliteConnection,
    id: PropertyId,
    input: &PropertyInput,
    versions: Versions,
) -> Result<UpdateOutcome<Property>, sqlx::Error> {
    let (key, client, codes) = (id.to_string(), input.client_id.to_string(), codes(input)?);
    let [state, county, municipality] = place_codes(input);
    let checked = input.local_rules_checked_on.map(|day| day.to_string());
    let (kind, worked_by) = (input.kind.as_ref().map(enum_text).transpose()?, enum_text(&input.worked_by)?);
    let plan = input.nutrient_plan_on.map(|day| day.to_string());
    let done = sqlx::query!(
        "UPDATE properties SET client_id = $2, name = $3, address = $4, postal_code = $5, latitude = $6, longitude = $7,
             time_zone = $8, rule_sets = $9, state = $11, county = $12, municipality = $13, local_rules_checked_on = $14,
             kind = $15, worked_by = $16, nutrient_plan_on = $17,
             version = version + 1
         WHERE id = $1 AND ($10 IS NULL OR version IN (SELECT value FROM json_each($10)))",
        key,
        client,
        input.name,
        input.address,
        input.postal_code,
        input.latitude,
        input.longitude,
        input.time_zone,
        codes,
        versions,
        state,
        county,
        municipality,
        checked,
        kind,
        worked_by,
        plan
    )
    .execute(&mut *connection)
    .await?;
    let stored = get(connection, id, Scope::Company).await?;
    Ok(UpdateOutcome::of(done.rows_affected(), stored))
}

pub async fn get(
    executor: impl SqliteExecutor<'_>,
    id: PropertyId,
    scope: Scope,
) -> Result<Option<Property>, sqlx::Error> {
    Ok(those(executor, &[id], scope).await?.pop())
}

/// Some properties, as far as whoever asks may see them.
pub async fn those(
    executor: impl SqliteExecutor<'_>,
    ids: &[PropertyId],
    scope: Scope,
) -> Result<Vec<Property>, sqlx::Error> {
    let (ids, person) = (id_list(ids)?, scope.viewer());
    let rows = sqlx::query_as!(
        PropertyRow,
        r#"SELECT p.seq AS "seq!", p.id AS "id!", p.client_id AS "client_id!",
                  (SELECT o.since FROM ownerships AS o WHERE o.property_id = p.id ORDER BY o.since DESC, o.seq DESC LIMIT 1)
                   AS "client_since!: String", p.name AS "name!", p.address AS "address!",
                  p.postal_code AS "postal_code!", p.latitude, p.longitude, p.time_zone AS "time_zone!",
                  p.state, p.county, p.municipality, p.rule_sets AS "rule_sets!", p.local_rules_checked_on, p.kind,
                  p.worked_by AS "worked_by!", p.nutrient_plan_on, p.version AS "version!", p.created_at AS "created_at!"
           FROM json_each($1) AS w CROSS JOIN properties AS p
           WHERE p.id = w.value AND ($2 IS NULL OR EXISTS (
               SELECT 1 FROM sight AS v WHERE v.property_id = p.id AND v.viewer = $2))"#,
        ids,
        person
    )
    .fetch_all(executor)
    .await?;
    rows.into_iter().map(|row| Sequenced::try_from(row).map(|row| row.item)).collect()
}

/// A page of properties, of all clients or of one, in the order in which they were written.
pub async fn list(
    pool: &SqlitePool,
    span: PageRequest,
    client: Option<ClientId>,
    scope: Scope,
) -> Result<Vec<Sequenced<Property>>, sqlx::Error> {
    let (client, person) = (client.map(|id| id.to_string()), scope.viewer());
    let rows = sqlx::query_as!(
        PropertyRow,
        r#"SELECT p.seq AS "seq!", p.id AS "id!", p.client_id AS "client_id!",
                  (SELECT o.since FROM ownerships AS o WHERE o.property_id = p.id ORDER BY o.since DESC, o.seq DESC LIMIT 1)
                   AS "client_since!: String", p.name AS "name!", p.address AS "address!",
                  p.postal_code AS "postal_code!", p.latitude, p.longitude, p.time_zone AS "time_zone!",
                  p.state, p.county, p.municipality, p.rule_sets AS "rule_sets!", p.local_rules_checked_on, p.kind,
                  p.worked_by AS "worked_by!", p.nutrient_plan_on, p.version AS "version!", p.created_at AS "created_at!"
           FROM properties AS p
           WHERE p.seq > $1 AND ($2 IS NULL OR p.client_id = $2) AND ($3 IS NULL OR EXISTS (
               SELECT 1 FROM sight AS v WHERE v.property_id = p.id AND v.viewer = $3))
           ORDER BY p.seq LIMIT $4"#,
        span.after,
        client,
        person,
        span.take
    )
    .fetch_all(pool)
    .await?;
    rows.into_iter().map(Sequenced::try_from).collect()
}

/// The properties that are or ever were a client's.
pub async fn ever_of(connection: &mut SqliteConnection, client: ClientId) -> Result<Vec<PropertyId>, sqlx::Error> {
    let client = client.to_string();
    let rows =
        sqlx::query_scalar!("SELECT DISTINCT property_id FROM ownerships WHERE client_id = $1 ORDER BY 1", client);
    rows.fetch_all(connection).await?.iter().map(|id| read(id, "property id")).collect()
}
