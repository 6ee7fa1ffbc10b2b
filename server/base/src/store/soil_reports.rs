//! Soil reports of lawn sections. Only ever inserted.

use domain::{
    ids::{SectionId, SoilReportId},
    quantity::{Inches, NutrientRate, Percent, ProductRate, SoilAcidity, SoilPh, SoilReading},
    soil::{
        SoilCategory,
        liming::Acidity,
        reading::ReportedValue,
        sample::{SamplingAdvice, SamplingTool, SoilSample},
        table::{Extractant, SoilBasis, SoilNutrient, SoilTable, SoilUnit},
    },
    time::{Day, Instant},
};
use serde::{Deserialize, Serialize};
use sqlx::{SqliteConnection, SqliteExecutor, SqlitePool};
use utoipa::ToSchema;

use crate::{
    paging::{PageRequest, Sequenced},
    scope::Scope,
    store::{enum_text, read, read_day, read_enum, read_instant, read_json},
};

/// One number from the laboratory's paper.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SoilValueInput {
    pub nutrient: SoilNutrient,
    pub reading: SoilReading,
    /// Left out, that of the report. A number without any means nothing and is refused.
    #[serde(default)]
    pub extractant: Option<Extractant>,
    pub unit: SoilUnit,
    /// Whether the number counts the element or its oxide.
    pub basis: SoilBasis,
    /// Number of the equation that North Carolina's laboratory names for the crop; only beside its Mehlich-3 index.
    #[serde(default)]
    #[schema(minimum = 1, maximum = 25)]
    pub north_carolina_equation: Option<i32>,
}

/// A soil report as the office writes it from the laboratory's paper.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({
    "sampled_on": "2026-03-02", "laboratory": "Laboratory 01", "laboratory_number": "26-00417", "extractant": "mehlich_3",
    "cores": 12, "depth_in": "4", "tool": "probe", "laboratory_table": "penn_state_home_lawn", "ph": "5.8",
    "acidity": { "meq": "6.5", "per": "100_g" }, "organic_matter_percent": "3.1",
    "values": [{ "nutrient": "phosphorus", "reading": "38", "unit": "ppm", "basis": "element" }], "phosphorus": "low", "phosphate_recommended_lb_per_1000_sqft": "1",
    "potash_recommended_lb_per_1000_sqft": "0.5"
}))]
pub struct SoilReportInput {
    /// Day on which the soil was taken, from which the report's age counts. Not a day to come.
    pub sampled_on: Day,
    #[schema(min_length = 1, max_length = 120, format = "line")]
    pub laboratory: String,
    /// The laboratory's own number of the report.
    #[serde(default)]
    #[schema(min_length = 1, max_length = 60, format = "line")]
    pub laboratory_number: Option<String>,
    pub extractant: Extractant,
    /// Cores of soil that were mixed into the sample, if somebody counted.
    #[serde(default)]
    #[schema(minimum = 1, maximum = 100)]
    pub cores: Option<i64>,
    /// How deep the cores went.
    #[serde(default)]
    pub depth_in: Option<Inches>,
    #[serde(default)]
    pub tool: Option<SamplingTool>,
    /// Dug before seeding or sodding, in the soil that will be tilled.
    #[serde(default)]
    pub before_planting: bool,
    /// The published table of this very laboratory. Without it its numbers are kept and not interpreted.
    #[serde(default)]
    pub laboratory_table: Option<SoilTable>,
    /// The laboratory's numbers of single nutrients.
    #[serde(default)]
    #[schema(max_items = 40)]
    pub values: Vec<SoilValueInput>,
    /// The pH of the laboratory's lime buffer.
    #[serde(default)]
    pub buffer_ph: Option<SoilPh>,
    /// The acidity that lime must neutralise.
    #[serde(default)]
    pub acidity: Option<Acidity>,
    #[serde(default)]
    pub organic_matter_percent: Option<Percent>,
    /// Lime that the laboratory recommends, as pure calcium carbonate; 0 when it says none is needed.
    #[serde(default)]
    pub lime_recommended_lb_per_1000_sqft: Option<ProductRate>,
    #[serde(default)]
    pub ph: Option<SoilPh>,
    /// How the laboratory rates the phosphorus it found.
    #[serde(default)]
    pub phosphorus: Option<SoilCategory>,
    /// P2O5 that the laboratory recommends for the year; 0 when it says none is needed, null when it says nothing.
    #[serde(default)]
    pub phosphate_recommended_lb_per_1000_sqft: Option<NutrientRate>,
    /// K2O that the laboratory recommends for the year; 0 when it says none is needed, null when it says nothing.
    #[serde(default)]
    pub potash_recommended_lb_per_1000_sqft: Option<NutrientRate>,
    /// The report whose place this one takes, because it was entered with a wrong day or a wrong number.
    #[serde(default)]
    pub corrects: Option<SoilReportId>,
    /// Why it is corrected. Required with `corrects`, and only then.
    #[serde(default)]
    #[schema(min_length = 1, max_length = 300, format = "line")]
    pub reason: Option<String>,
    /// With `corrects`: it was entered on the wrong lawn, so neither the one that it names nor this one counts here.
    #[serde(default)]
    pub not_of_this_lawn: bool,
}

/// What a laboratory answered about one section. A newer one supersedes it by its date; it is never edited.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct SoilReport {
    pub id: SoilReportId,
    pub section_id: SectionId,
    pub sampled_on: Day,
    #[schema(max_length = 120)]
    pub laboratory: String,
    #[schema(max_length = 60)]
    pub laboratory_number: Option<String>,
    pub extractant: Extractant,
    /// Cores of soil that were mixed into the sample.
    #[schema(minimum = 1, maximum = 100)]
    pub cores: Option<i64>,
    /// How deep the cores went.
    pub depth_in: Option<Inches>,
    pub tool: Option<SamplingTool>,
    /// Dug before seeding or sodding.
    pub before_planting: bool,
    /// The published table by which this laboratory's numbers are read.
    pub laboratory_table: Option<SoilTable>,
    /// The laboratory's numbers of single nutrients, each with its extractant.
    #[schema(max_items = 40)]
    pub values: Vec<ReportedValue>,
    pub ph: Option<SoilPh>,
    pub buffer_ph: Option<SoilPh>,
    pub acidity: Option<Acidity>,
    pub organic_matter_percent: Option<Percent>,
    /// Lime that the laboratory recommends, as pure calcium carbonate.
    pub lime_recommended_lb_per_1000_sqft: Option<ProductRate>,
    pub phosphorus: Option<SoilCategory>,
    /// P2O5 that the laboratory recommends for the year.
    pub phosphate_recommended_lb_per_1000_sqft: Option<NutrientRate>,
    /// K2O that the laboratory recommends for the year.
    pub potash_recommended_lb_per_1000_sqft: Option<NutrientRate>,
    /// What makes this report less certain than it looks.
    #[schema(max_items = 4)]
    pub cautions: Vec<Caution>,
    /// The report whose place this one takes.
    pub corrects: Option<SoilReportId>,
    #[schema(max_length = 300)]
    pub reason: Option<String>,
    /// It was entered on the wrong lawn, like the one whose place it takes: neither counts here.
    pub not_of_this_lawn: bool,
    /// The report that took the place of this one, which then no longer counts.
    pub corrected_by: Option<SoilReportId>,
    pub created_at: Instant,
}

/// A sentence of caution for a person to weigh. It stops nothing.
#[derive(Debug, Clone, Serialize, ToSchema)]
#[serde(transparent)]
#[schema(max_length = 300)]
pub struct Caution(pub String);

impl SoilReport {
    /// How the soil was dug.
    pub fn sample(&self) -> SoilSample {
        sample(self.sampled_on, self.cores, self.depth_in, self.tool, self.before_planting)
    }
}

fn sample(
    sampled_on: Day,
    cores: Option<i64>,
    depth_in: Option<Inches>,
    tool: Option<SamplingTool>,
    before_planting: bool,
) -> SoilSample {
    let cores = cores.and_then(|cores| i32::try_from(cores).ok());
    SoilSample { sampled_on, cores, depth_in, tool, before_planting }
}

/// What a sample's cautions say, each with who says so.
pub fn cautions(sample: &SoilSample, advice: SamplingAdvice) -> Vec<Caution> {
    let told = sample.cautions(advice).into_iter();
    told.map(|caution| Caution(format!("{} ({})", caution.message, caution.source))).collect()
}

struct SoilReportRow {
    seq: i64,
    id: String,
    section_id: String,
    sampled_on: String,
    laboratory: String,
    laboratory_number: Option<String>,
    extractant: String,
    cores: Option<i64>,
    depth: Option<i64>,
    tool: Option<String>,
    before_planting: i64,
    laboratory_table: Option<String>,
    readings: String,
    ph: Option<i64>,
    buffer_ph: Option<i64>,
    acidity: Option<i64>,
    acidity_per: Option<String>,
    organic_matter: Option<i64>,
    lime_recommended: Option<i64>,
    phosphorus: Option<String>,
    phosphate_recommended: Option<i64>,
    potash_recommended: Option<i64>,
    created_at: i64,
    corrects: Option<String>,
    reason: Option<String>,
    not_of_this_lawn: bool,
    corrected_by: Option<String>,
}

impl TryFrom<SoilReportRow> for Sequenced<SoilReport> {
    type Error = sqlx::Error;

    fn try_from(row: SoilReportRow) -> Result<Self, sqlx::Error> {
        let sampled_on = read_day(&row.sampled_on)?;
        let tool = row.tool.as_deref().map(|tool| read_enum(tool, "tool")).transpose()?;
        let depth_in = row.depth.map(Inches::from_raw);
        let per = row.acidity_per.as_deref().map(|per| read_enum(per, "acidity")).transpose()?;
        let sample = sample(sampled_on, row.cores, depth_in, tool, row.before_planting == 1);
        let item = SoilReport {
            id: read(&row.id, "soil report id")?,
            section_id: read(&row.section_id, "section id")?,
            sampled_on,
            laboratory: row.laboratory,
            laboratory_number: row.laboratory_number,
            extractant: read_enum(&row.extractant, "extractant")?,
            cores: row.cores,
            depth_in,
            tool,
            before_planting: sample.before_planting,
            laboratory_table: row.laboratory_table.as_deref().map(|table| read_enum(table, "table")).transpose()?,
            values: read_json(&row.readings, "soil values")?,
            ph: row.ph.map(SoilPh::from_raw),
            buffer_ph: row.buffer_ph.map(SoilPh::from_raw),
            acidity: row.acidity.zip(per).map(|(raw, per)| Acidity { meq: SoilAcidity::from_raw(raw), per }),
            organic_matter_percent: row.organic_matter.map(Percent::from_raw),
            lime_recommended_lb_per_1000_sqft: row.lime_recommended.map(ProductRate::from_raw),
            phosphorus: row.phosphorus.as_deref().map(|found| read_enum(found, "phosphorus")).transpose()?,
            phosphate_recommended_lb_per_1000_sqft: row.phosphate_recommended.map(NutrientRate::from_raw),
            potash_recommended_lb_per_1000_sqft: row.potash_recommended.map(NutrientRate::from_raw),
            cautions: cautions(&sample, SamplingAdvice::Any),
            corrects: row.corrects.as_deref().map(|id| read(id, "soil report id")).transpose()?,
            reason: row.reason,
            not_of_this_lawn: row.not_of_this_lawn,
            corrected_by: row.corrected_by.as_deref().map(|id| read(id, "soil report id")).transpose()?,
            created_at: read_instant(row.created_at)?,
        };
        Ok(Self { seq: row.seq, item })
    }
}

/// A number with the extractant that it was found with.
fn reported(value: &SoilValueInput, of_report: Extractant) -> ReportedValue {
    ReportedValue {
        nutrient: value.nutrient,
        reading: value.reading,
        extractant: value.extractant.unwrap_or(of_report),
        unit: value.unit,
        basis: value.basis,
        north_carolina_equation: value.north_carolina_equation,
    }
}

pub async fn insert(
    connection: &mut SqliteConnection,
    id: SoilReportId,
    section: SectionId,
    input: &SoilReportInput,
    at: Instant,
) -> Result<SoilReport, sqlx::Error> {
    let (key, section, at, sampled_on) =
        (id.to_string(), section.to_string(), at.millis(), input.sampled_on.to_string());
    let (extractant, phosphorus) =
        (enum_text(&input.extractant)?, input.phosphorus.as_ref().map(enum_text).transpose()?);
    let ph = input.ph.map(SoilPh::raw);
    let phosphate = input.phosphate_recommended_lb_per_1000_sqft.map(NutrientRate::raw);
    let potash = input.potash_recommended_lb_per_1000_sqft.map(NutrientRate::raw);
    let (depth, tool) = (input.depth_in.map(Inches::raw), input.tool.as_ref().map(enum_text).transpose()?);
    let (before_planting, table) =
        (i64::from(input.before_planting), input.laboratory_table.as_ref().map(enum_text).transpose()?);
    let values: Vec<ReportedValue> = input.values.iter().map(|value| reported(value, input.extractant)).collect();
    let readings = serde_json::to_string(&values).map_err(|error| sqlx::Error::Encode(error.into()))?;
    let (buffer_ph, acidity) = (input.buffer_ph.map(SoilPh::raw), input.acidity.map(|acidity| acidity.meq.raw()));
    let acidity_per = input.acidity.map(|acidity| enum_text(&acidity.per)).transpose()?;
    let corrects = input.corrects.map(|id| id.to_string());
    let organic_matter = input.organic_matter_percent.map(Percent::raw);
    let lime = input.lime_recommended_lb_per_1000_sqft.map(ProductRate::raw);
    sqlx::query!(
        "INSERT INTO soil_reports (id, section_id, sampled_on, laboratory, laboratory_number, extractant, cores, ph, phosphorus,
             phosphate_recommended, potash_recommended, created_at, depth, tool, before_planting, laboratory_table, readings,
             buffer_ph, acidity, acidity_per, organic_matter, lime_recommended, corrects, reason, not_of_this_lawn)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $20, $21, $22, $23, $24, $25)",
        key,
        section,
        sampled_on,
        input.laboratory,
        input.laboratory_number,
        extractant,
        input.cores,
        ph,
        phosphorus,
        phosphate,
        potash,
        at,
        depth,
        tool,
        before_planting,
        table,
        readings,
        buffer_ph,
        acidity,
        acidity_per,
        organic_matter,
        lime,
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
    id: SoilReportId,
    scope: Scope,
) -> Result<Option<SoilReport>, sqlx::Error> {
    let (key, person) = (id.to_string(), scope.viewer());
    let row = sqlx::query_as!(
        SoilReportRow,
        r#"SELECT r.seq AS "seq!", r.id AS "id!", r.section_id AS "section_id!", r.sampled_on AS "sampled_on!",
                  r.laboratory AS "laboratory!", r.laboratory_number, r.extractant AS "extractant!", r.cores, r.depth, r.tool,
                  r.before_planting AS "before_planting!", r.laboratory_table, r.readings AS "readings!", r.ph, r.buffer_ph, r.acidity,
                  r.acidity_per, r.organic_matter, r.lime_recommended, r.phosphorus, r.phosphate_recommended, r.potash_recommended,
                  r.created_at AS "created_at!", r.corrects, r.reason, r.not_of_this_lawn AS "not_of_this_lawn!: bool",
                  (SELECT t.id FROM soil_reports AS t WHERE t.corrects = r.id) AS "corrected_by: String"
           FROM soil_reports AS r
           WHERE r.id = $1 AND ($2 IS NULL OR EXISTS (
               SELECT 1 FROM sections AS s JOIN sight AS v ON v.property_id = s.property_id
               WHERE s.id = r.section_id AND v.viewer = $2))"#,
        key,
        person
    )
    .fetch_optional(executor)
    .await?;
    row.map(|row| Sequenced::try_from(row).map(|row| row.item)).transpose()
}

/// A page of a section's soil reports, in the order in which they were written.
pub async fn list(
    pool: &SqlitePool,
    span: PageRequest,
    section: SectionId,
) -> Result<Vec<Sequenced<SoilReport>>, sqlx::Error> {
    let section = section.to_string();
    let rows = sqlx::query_as!(
        SoilReportRow,
        r#"SELECT seq AS "seq!", id AS "id!", section_id AS "section_id!", sampled_on AS "sampled_on!", laboratory AS "laboratory!",
                  laboratory_number, extractant AS "extractant!", cores, depth, tool, before_planting AS "before_planting!",
                  laboratory_table, readings AS "readings!", ph, buffer_ph, acidity, acidity_per, organic_matter, lime_recommended,
                  phosphorus, phosphate_recommended, potash_recommended, created_at AS "created_at!", corrects, reason, not_of_this_lawn AS "not_of_this_lawn!: bool",
                  (SELECT t.id FROM soil_reports AS t WHERE t.corrects = soil_reports.id) AS "corrected_by: String"
           FROM soil_reports WHERE section_id = $1 AND seq > $2 ORDER BY seq LIMIT $3"#,
        section,
        span.after,
        span.take
    )
    .fetch_all(pool)
    .await?;
    rows.into_iter().map(Sequenced::try_from).collect()
}

/// Whether every one of these sections had a soil report by a day.
pub async fn all_tested(pool: &SqlitePool, sections: &[SectionId], by: Day) -> Result<bool, sqlx::Error> {
    let ids = serde_json::to_string(sections).map_err(|error| sqlx::Error::Encode(error.into()))?;
    let by = by.to_string();
    let untested = sqlx::query_scalar!(
        r#"SELECT count(*) AS "untested!: i64" FROM json_each($1) AS w
           WHERE NOT EXISTS (SELECT 1 FROM counted_soil_reports AS r WHERE r.section_id = w.value AND r.sampled_on <= $2)"#,
        ids,
        by
    );
    Ok(untested.fetch_one(pool).await? == 0)
}
