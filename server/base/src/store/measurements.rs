//! Measurements of lawn sections. Only ever inserted.

mod areas;
pub mod confirmations;

use domain::{
    equipment::Equipment,
    explain::SourceMark,
    ids::{MeasurementId, SectionId},
    measurement::{outline, setback::FeatureKind, shapes::Shape, survey::ErrorEstimate},
    quantity::{Area, Distance, MetricArea},
    time::{Day, Instant},
};
use serde::{Deserialize, Serialize};
use sqlx::{SqliteConnection, SqliteExecutor, SqlitePool};
use utoipa::ToSchema;

pub use areas::{area_on, reaches_back_to};

use crate::{
    paging::{PageRequest, Sequenced},
    scope::Scope,
    store::{
        enum_text,
        measurements::confirmations::{Confirmation, ConfirmationRow},
        read, read_day, read_enum, read_instant, read_json,
    },
};

/// How an area was measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum MeasuringMethod {
    /// Measuring wheel.
    Wheel,
    Tape,
    /// From a picture taken from the air.
    AerialImage,
    /// From a site plan.
    Plan,
    /// Widths across a base line at equal steps.
    Offsets,
    /// Walked round with a satellite receiver.
    GpsOutline,
    /// From the land records: the parcel less what is not lawn.
    ParcelRecord,
}

/// Ground that a distance is kept from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SetbackGround {
    pub kind: FeatureKind,
    /// Its edge: one position for a drain or a well, more for a stream, and a closed ring, which does not cross itself, for a pond
    /// or a drive.
    #[schema(schema_with = outline::positions_schema)]
    pub positions: Vec<Vec<f64>>,
    /// At most 1,000. Left out for water: the longest that the rule sets of the property ask on the day of measuring.
    #[serde(default)]
    pub distance_ft: Option<Distance>,
    /// Where the distance is written. Left out beside a distance: as entered.
    #[serde(default)]
    #[schema(min_length = 1, max_length = 120, format = "line")]
    pub rule: Option<String>,
}

/// The figures and outlines that an area is worked out from: what is lawn, less what is not, less what lies too near to water.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MeasuredFrom {
    /// Added. Taped figures have their lengths in feet; an outline is a polygon of RFC 7946, with holes for what is not lawn.
    #[schema(min_items = 1, max_items = 100)]
    pub lawn: Vec<Shape>,
    /// Taken off: house, drive, beds. An outline is taken off where it lies on an outline of lawn.
    #[serde(default)]
    #[schema(max_items = 100)]
    pub not_lawn: Vec<Shape>,
    /// How far each taped length may be off.
    #[serde(default)]
    pub reading_error_ft: Option<Distance>,
    /// Water, drains and pavement from which the treated ground stays away. The lawn must then be drawn, not taped.
    #[serde(default)]
    #[schema(max_items = 50)]
    pub keep_off: Vec<SetbackGround>,
    /// The equipment by which legal distances are chosen; left out, the one that gets no shorter distance.
    #[serde(default)]
    pub equipment: Option<Equipment>,
}

/// How far an area may be off, as somebody estimated it.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AreaErrorInput {
    /// Either way.
    pub error_sqft: Area,
    /// Where the estimate comes from. Left out, it is marked common practice.
    #[serde(default)]
    #[schema(min_length = 1, max_length = 300, format = "line")]
    pub source: Option<String>,
}

/// A measurement as it is written: an area, or what it is worked out from, or both if they agree.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({
    "measured_on": "2026-03-02", "method": "tape", "measured_by": "Tech 01", "from": {
        "lawn": [{ "shape": "rectangle", "length_ft": "100", "width_ft": "80" }, { "shape": "triangle", "base_ft": "20", "height_ft": "20" }],
        "not_lawn": [{ "shape": "rectangle", "length_ft": "30", "width_ft": "12" }], "reading_error_ft": "0.5"
    }
}))]
pub struct MeasurementInput {
    /// The area, if it was measured as one figure. Beside `from` it must agree to the square foot.
    #[serde(default)]
    pub area_sqft: Option<Area>,
    /// The same in square meters, kept as entered. One of the two at most.
    #[serde(default)]
    pub area_m2: Option<MetricArea>,
    /// What the server works the area out from.
    #[serde(default)]
    pub from: Option<MeasuredFrom>,
    /// Day on which it was measured. Not a day to come.
    pub measured_on: Day,
    pub method: MeasuringMethod,
    /// Who measured, staff or not.
    #[schema(min_length = 1, max_length = 120, format = "line")]
    pub measured_by: String,
    /// An estimate of the error, where it does not follow from the reading errors in `from`.
    #[serde(default)]
    pub error_estimate: Option<AreaErrorInput>,
    /// What was left out or in doubt.
    #[serde(default)]
    #[schema(min_length = 1, max_length = 1000, format = "lines")]
    pub note: Option<String>,
    /// The measurement whose place this one takes, because its area or its day is wrong. For the office, with the reason.
    #[serde(default)]
    pub corrects: Option<MeasurementId>,
    /// Why it is corrected. Required with `corrects`, and only then.
    #[serde(default)]
    #[schema(min_length = 1, max_length = 300, format = "line")]
    pub reason: Option<String>,
    /// With `corrects`: it was entered on the wrong lawn, so neither the one that it names nor this one counts here.
    #[serde(default)]
    pub not_of_this_lawn: bool,
}

/// A section's area from a day on. A later one supersedes it; it is never edited.
#[derive(Debug, Clone, Serialize, ToSchema)]
#[schema(example = json!({
    "id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a12", "section_id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a11", "area_sqft": "7640",
    "area_m2": null, "lawn_sqft": null, "from": {
        "lawn": [{ "shape": "rectangle", "length_ft": "100", "width_ft": "80" }],
        "not_lawn": [{ "shape": "rectangle", "length_ft": "30", "width_ft": "12" }], "reading_error_ft": "0.5", "keep_off": [], "equipment": null
    },
    "measured_on": "2026-03-02", "method": "tape", "measured_by": "Tech 01",
    "error": { "error_sqft": "111", "source": "What the area would change by if every length were read too long or too short by the reading error", "mark": "computed" },
    "note": null, "derivation": "/api/v1/measurements/01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a12/derivation",
    "waits_for_office": false, "to_confirm": false, "confirmation": null, "corrects": null, "reason": null, "not_of_this_lawn": false, "corrected_by": null, "created_at": "2026-03-02T15:00:00.000Z"
}))]
pub struct Measurement {
    pub id: MeasurementId,
    pub section_id: SectionId,
    /// What product is reckoned on: the lawn less the ground that lies too near to what a distance is kept from.
    pub area_sqft: Area,
    /// The area in square meters, if it was entered so.
    pub area_m2: Option<MetricArea>,
    /// The lawn before distances were kept; null when none is.
    pub lawn_sqft: Option<Area>,
    /// What it was worked out from, with the distances that were kept; null when the area was entered as one figure.
    pub from: Option<MeasuredFrom>,
    pub measured_on: Day,
    pub method: MeasuringMethod,
    #[schema(max_length = 120)]
    pub measured_by: String,
    /// How far it may be off, and who says so; null when nobody has said.
    pub error: Option<ErrorEstimate>,
    #[schema(max_length = 1000)]
    pub note: Option<String>,
    /// Where the figure is explained: inputs, formula, conversions, rounding, source.
    #[schema(max_length = 100)]
    pub derivation: String,
    /// A technician's that makes the lawn larger: it counts once the office has confirmed it.
    pub waits_for_office: bool,
    /// The office has still to say whether it holds: one that waits, or a technician's first of a section, which counts until then.
    pub to_confirm: bool,
    /// What the office said of it; null as long as nobody has, and where nobody need.
    pub confirmation: Option<Confirmation>,
    /// The measurement whose place this one takes.
    pub corrects: Option<MeasurementId>,
    #[schema(max_length = 300)]
    pub reason: Option<String>,
    /// It was entered on the wrong lawn, like the one whose place it takes: neither counts here.
    pub not_of_this_lawn: bool,
    /// The measurement that took the place of this one, which then no longer counts.
    pub corrected_by: Option<MeasurementId>,
    pub created_at: Instant,
}

/// What is stored of a measurement beside who measured and when.
#[derive(Debug, Clone)]
pub struct Measured {
    pub area_sqft: Area,
    pub lawn_sqft: Option<Area>,
    pub from: Option<MeasuredFrom>,
    pub error: Option<ErrorEstimate>,
    /// It counts only once the office has confirmed it.
    pub waits: bool,
    /// The office is asked whether it holds.
    pub to_confirm: bool,
}

struct MeasurementRow {
    seq: i64,
    id: String,
    section_id: String,
    area: i64,
    metric_area: Option<i64>,
    lawn: Option<i64>,
    parts: Option<String>,
    measured_on: String,
    method: String,
    measured_by: String,
    error: Option<i64>,
    error_source: Option<String>,
    error_mark: Option<String>,
    note: Option<String>,
    created_at: i64,
    waits: i64,
    to_confirm: i64,
    confirmation: Option<String>,
    corrects: Option<String>,
    reason: Option<String>,
    not_of_this_lawn: bool,
    corrected_by: Option<String>,
}

impl TryFrom<MeasurementRow> for Sequenced<Measurement> {
    type Error = sqlx::Error;

    fn try_from(row: MeasurementRow) -> Result<Self, sqlx::Error> {
        let mark = row.error_mark.as_deref().map(|mark| read_enum(mark, "mark")).transpose()?;
        let error = row.error.zip(row.error_source).zip(mark).map(|((raw, source), mark)| ErrorEstimate {
            error_sqft: Area::from_raw(raw),
            source,
            mark,
        });
        let confirmation = row.confirmation.as_deref().map(|text| read_json(text, "confirmation")).transpose()?;
        let confirmation = confirmation.map(ConfirmationRow::confirmation).transpose()?;
        let item = Measurement {
            id: read(&row.id, "measurement id")?,
            section_id: read(&row.section_id, "section id")?,
            area_sqft: Area::from_raw(row.area),
            area_m2: row.metric_area.map(MetricArea::from_raw),
            lawn_sqft: row.lawn.map(Area::from_raw),
            from: row.parts.as_deref().map(|parts| read_json(parts, "measured parts")).transpose()?,
            measured_on: read_day(&row.measured_on)?,
            method: read_enum(&row.method, "method")?,
            measured_by: row.measured_by,
            error,
            note: row.note,
            derivation: format!("/api/v1/measurements/{}/derivation", row.id),
            waits_for_office: row.waits == 1 && confirmation.is_none(),
            to_confirm: row.to_confirm == 1 && confirmation.is_none(),
            confirmation,
            corrects: row.corrects.as_deref().map(|id| read(id, "measurement id")).transpose()?,
            reason: row.reason,
            not_of_this_lawn: row.not_of_this_lawn,
            corrected_by: row.corrected_by.as_deref().map(|id| read(id, "measurement id")).transpose()?,
            created_at: read_instant(row.created_at)?,
        };
        Ok(Self { seq: row.seq, item })
    }
}

/// Stores a measurement. What was measured is in `measured`; of the input only the rest counts.
pub async fn insert(
    connection: &mut SqliteConnection,
    id: MeasurementId,
    section: SectionId,
    input: &MeasurementInput,
    measured: &Measured,
    at: Instant,
) -> Result<Measurement, sqlx::Error> {
    let (key, section_key, area) = (id.to_string(), section.to_string(), measured.area_sqft.raw());
    let (measured_on, method, millis) = (input.measured_on.to_string(), enum_text(&input.method)?, at.millis());
    let (metric_area, lawn) = (input.area_m2.map(MetricArea::raw), measured.lawn_sqft.map(Area::raw));
    let parts = measured.from.as_ref().map(serde_json::to_string).transpose();
    let parts = parts.map_err(|error| sqlx::Error::Encode(error.into()))?;
    let corrects = input.corrects.map(|id| id.to_string());
    let error = measured.error.as_ref();
    let (error_raw, error_source) =
        (error.map(|error| error.error_sqft.raw()), error.map(|error| error.source.as_str()));
    let error_mark = error.map(|error| enum_text::<SourceMark>(&error.mark)).transpose()?;
    sqlx::query!(
        "INSERT INTO measurements (id, section_id, area, metric_area, lawn, parts, measured_on, method, measured_by, error,
             error_source, error_mark, note, created_at, waits, to_confirm, corrects, reason, not_of_this_lawn)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19)",
        key,
        section_key,
        area,
        metric_area,
        lawn,
        parts,
        measured_on,
        method,
        input.measured_by,
        error_raw,
        error_source,
        error_mark,
        input.note,
        millis,
        measured.waits,
        measured.to_confirm,
        corrects,
        input.reason,
        input.not_of_this_lawn
    )
    .execute(&mut *connection)
    .await?;
    get(connection, id, Scope::Company).await?.ok_or(sqlx::Error::RowNotFound)
}

pub async fn get(
    executor: impl SqliteExecutor<'_>,
    id: MeasurementId,
    scope: Scope,
) -> Result<Option<Measurement>, sqlx::Error> {
    let (key, person) = (id.to_string(), scope.viewer());
    let row = sqlx::query_as!(
        MeasurementRow,
        r#"SELECT m.seq AS "seq!", m.id AS "id!", m.section_id AS "section_id!", m.area AS "area!", m.metric_area, m.lawn, m.parts,
                  m.measured_on AS "measured_on!", m.method AS "method!", m.measured_by AS "measured_by!", m.error,
                  m.error_source, m.error_mark, m.note, m.created_at AS "created_at!", m.waits AS "waits!", m.to_confirm AS "to_confirm!",
                  (SELECT json_object('holds', c.holds, 'note', c.note, 'person_id', c.person_id, 'confirmed_at', c.confirmed_at)
                   FROM measurement_confirmations AS c WHERE c.measurement_id = m.id) AS "confirmation: String",
                  m.corrects, m.reason, m.not_of_this_lawn AS "not_of_this_lawn!: bool", (SELECT t.id FROM measurements AS t WHERE t.corrects = m.id) AS "corrected_by: String"
           FROM measurements AS m
           WHERE m.id = $1 AND ($2 IS NULL OR EXISTS (
               SELECT 1 FROM sections AS s JOIN sight AS v ON v.property_id = s.property_id
               WHERE s.id = m.section_id AND v.viewer = $2))"#,
        key,
        person
    )
    .fetch_optional(executor)
    .await?;
    row.map(|row| Sequenced::try_from(row).map(|row| row.item)).transpose()
}

/// A page of a section's measurements, in the order in which they were written.
pub async fn list(
    pool: &SqlitePool,
    span: PageRequest,
    section: SectionId,
) -> Result<Vec<Sequenced<Measurement>>, sqlx::Error> {
    let section = section.to_string();
    let rows = sqlx::query_as!(
        MeasurementRow,
        r#"SELECT seq AS "seq!", id AS "id!", section_id AS "section_id!", area AS "area!", metric_area, lawn, parts,
                  measured_on AS "measured_on!", method AS "method!", measured_by AS "measured_by!", error, error_source,
                  error_mark, note, created_at AS "created_at!", waits AS "waits!", to_confirm AS "to_confirm!",
                  (SELECT json_object('holds', c.holds, 'note', c.note, 'person_id', c.person_id, 'confirmed_at', c.confirmed_at)
                   FROM measurement_confirmations AS c WHERE c.measurement_id = measurements.id) AS "confirmation: String",
                  corrects, reason, not_of_this_lawn AS "not_of_this_lawn!: bool", (SELECT t.id FROM measurements AS t WHERE t.corrects = measurements.id) AS "corrected_by: String"
           FROM measurements WHERE section_id = $1 AND seq > $2 ORDER BY seq LIMIT $3"#,
        section,
        span.after,
        span.take
    )
    .fetch_all(pool)
    .await?;
    rows.into_iter().map(Sequenced::try_from).collect()
}
