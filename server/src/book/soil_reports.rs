//! A soil report read: what its numbers mean, what follows for phosphate, potash and lime, and how long the law takes it.

use domain::{
    ids::{SectionId, SoilReportId},
    law::Lawbook,
    quantity::{LimeCredit, NeutralisingValue, SoilPh},
    soil::{
        SoilCategory,
        lime_rules::{CapOn, SplitRule},
        liming::{LimeBy, LimeQuestion, LimeResult, answer},
        reading::{InterpretedValue, OxideAdvice, advise, category, read_value},
        sample::SamplingAdvice,
        table::{Extractant, SoilNutrient, SoilTable, SoilUnit},
    },
    time::Day,
};
use serde::Serialize;
use utoipa::ToSchema;

use crate::{
    problem::FieldFault,
    store::{
        properties::Property,
        sections::Section,
        soil_reports::{Caution, SoilReport, SoilReportInput, cautions},
    },
};

/// What is wrong with a report in itself.
pub fn faults(input: &SoilReportInput) -> Vec<FieldFault> {
    let mut faults = Vec::new();
    for (index, value) in input.values.iter().enumerate() {
        let extractant = value.extractant.unwrap_or(input.extractant);
        let (nutrient, at) = (value.nutrient, format!("/values/{index}"));
        let same = |other: &crate::store::soil_reports::SoilValueInput| {
            other.nutrient == nutrient && other.extractant.unwrap_or(input.extractant) == extractant
        };
        if input.values.iter().take(index).any(same) {
            let detail = "stands in the list already; one report has one number of a nutrient for one extractant";
            faults.push(FieldFault::at(format!("{at}/nutrient"), "repeated", detail));
        }
        if value.north_carolina_equation.is_some() {
            let reads = matches!(nutrient, SoilNutrient::Phosphorus | SoilNutrient::Potassium)
                && extractant == Extractant::Mehlich3
                && value.unit == SoilUnit::Index;
            let detail = "reads only a Mehlich-3 index of phosphorus or potassium";
            let fault = || FieldFault::at(format!("{at}/north_carolina_equation"), "contradiction", detail);
            faults.extend((!reads).then(fault));
        }
    }
    faults
}

/// What the numbers of a report mean.
#[derive(Debug, Serialize, ToSchema)]
#[schema(example = json!({
    "soil_report_id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a13", "section_id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a11",
    "laboratory": "Laboratory 01", "laboratory_table": "rutgers",
    "values": [{
        "nutrient": "phosphorus", "reading": "30", "extractant": "mehlich_3", "unit": "lb_per_acre", "basis": "element",
        "interpretation": { "class": "low", "category": "low", "advice": "not_said", "derivation": {
            "figure": "class of a soil number", "formula": "the line of the laboratory's table that holds it",
            "inputs": [{ "name": "Mehlich-3 reading", "value": "30", "unit": "as reported" }], "conversions": [], "result": "low", "unit": "",
            "rounding": "between two lines the higher counts", "source": "Rutgers NJAES Soil Testing Laboratory, Relative Levels of Nutrients", "mark": "read"
        } },
        "not_read": null
    }],
    "phosphate": { "recommendation": { "kind": "from_report", "rate_lb_per_1000_sqft": "1" }, "words": "The laboratory recommends 1 lb P2O5 per 1,000 sq ft for the year." },
    "potash": { "recommendation": null, "words": "The report holds no recommendation of K2O and no number that a source reads. See the laboratory's own recommendation." },
    "cautions": []
}))]
pub struct SoilInterpretation {
    pub soil_report_id: SoilReportId,
    pub section_id: SectionId,
    #[schema(max_length = 120)]
    pub laboratory: String,
    /// The published table that the numbers are read by.
    pub laboratory_table: Option<SoilTable>,
    #[schema(max_items = 40)]
    pub values: Vec<InterpretedValue>,
    /// P2O5 for the year.
    pub phosphate: OxideAdvice,
    /// K2O for the year.
    pub potash: OxideAdvice,
    /// About how the sample was taken, by the sheet of the property's state where one was read, and about what contradicts.
    #[schema(max_items = 6)]
    pub cautions: Vec<Caution>,
}

/// Reads the numbers of a report.
pub fn interpretation(report: &SoilReport, property: &Property) -> SoilInterpretation {
    let table = report.laboratory_table;
    let of_table = category(SoilNutrient::Phosphorus, &report.values, table);
    let mut told = cautions(&report.sample(), sampling_advice(property));
    told.extend(report.phosphorus.zip(of_table).and_then(|(entered, table)| contradiction(entered, table)));
    SoilInterpretation {
        soil_report_id: report.id,
        section_id: report.section_id,
        laboratory: report.laboratory.clone(),
        laboratory_table: table,
        values: report.values.iter().map(|value| read_value(value, table)).collect(),
        phosphate: advise(
            SoilNutrient::Phosphorus,
            report.phosphate_recommended_lb_per_1000_sqft,
            &report.values,
            table,
        ),
        potash: advise(SoilNutrient::Potassium, report.potash_recommended_lb_per_1000_sqft, &report.values, table),
        cautions: told,
    }
}

/// The rules read the category that was entered, so a person must know when the table says another.
fn contradiction(entered: SoilCategory, table: SoilCategory) -> Option<Caution> {
    let sentence = || {
        format!(
            "The report was entered with phosphorus {}; the laboratory's table says {}. The rules of law read what was entered: compare it with the paper.",
            entered.label(),
            table.label()
        )
    };
    (entered != table).then(|| Caution(sentence()))
}

/// The sheet on sampling of the state that the property lies in, where one was read.
fn sampling_advice(property: &Property) -> SamplingAdvice {
    let place = property.place.as_ref().map(|place| place.state.0.as_str());
    let code = place.or_else(|| property.rule_sets.first().map(|code| code.0.as_str())).unwrap_or_default();
    match code.get(..5).unwrap_or_default() {
        "us-mo" => SamplingAdvice::Missouri,
        "us-ma" => SamplingAdvice::Massachusetts,
        "us-al" => SamplingAdvice::Alabama,
        "us-ga" => SamplingAdvice::Georgia,
        "us-in" => SamplingAdvice::Indiana,
        "us-ks" => SamplingAdvice::Kansas,
        "us-pa" => SamplingAdvice::Pennsylvania,
        "us-fl" => SamplingAdvice::Florida,
        "us-co" => SamplingAdvice::Colorado,
        "us-wa" => SamplingAdvice::Washington,
        _ => SamplingAdvice::Any,
    }
}

/// What is asked about the lime of a report.
#[derive(Debug, Clone, Copy)]
pub struct LimeAsk {
    pub by: Option<LimeBy>,
    pub goal: Option<SoilPh>,
    pub cce: Option<NeutralisingValue>,
    pub credit: LimeCredit,
    pub split: Option<SplitRule>,
    pub cap_on: CapOn,
    pub first_on: Day,
}

/// The lime that a report asks for.
#[derive(Debug, Serialize, ToSchema)]
#[schema(example = json!({
    "soil_report_id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a13", "section_id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a11", "species": "kentucky_bluegrass",
    "ph": "5.8", "goal": "6.5", "first_on": "2026-09-15",
    "target_ph": [{ "from": "6", "to": "7.2", "source": "Penn State: cool-season turf", "mark": "read" }], "georgia": null,
    "lime": { "by": "penn_state", "recommended_lb_per_1000_sqft": "110", "derivation": {
        "figure": "lime as pure calcium carbonate", "formula": "the table's line at or above the acidity", "inputs": [], "conversions": [],
        "result": "110", "unit": "lb of product per 1,000 sq ft", "rounding": "as printed",
        "source": "Penn State AASL, Turf Handbook, Lime Recommendations for Turf (Mehlich buffer)", "mark": "read"
    } },
    "material": { "cce_percent": "80", "material_lb_per_1000_sqft": "137.5", "section_lb": "1127.5", "derivations": [] },
    "plan": { "parts": [
        { "not_before": "2026-09-15", "recommended_lb_per_1000_sqft": "55", "material_lb_per_1000_sqft": "68.75" },
        { "not_before": "2027-01-15", "recommended_lb_per_1000_sqft": "55", "material_lb_per_1000_sqft": "68.75" }
    ], "test_again_on": null, "source": "Penn State AASL: over 100 lb in two or more applications 4 to 6 months apart", "mark": "read" },
    "dolomitic": false, "not_known": [], "cautions": []
}))]
pub struct SoilLime {
    pub soil_report_id: SoilReportId,
    pub section_id: SectionId,
    pub species: Option<domain::land::Species>,
    pub ph: Option<SoilPh>,
    pub goal: Option<SoilPh>,
    /// The first day of the plan.
    pub first_on: Day,
    #[serde(flatten)]
    pub answer: LimeResult,
}

/// Works the lime out.
pub fn lime(report: &SoilReport, section: &Section, ask: LimeAsk) -> SoilLime {
    let LimeAsk { by, goal, cce, credit, split, cap_on, first_on } = ask;
    let question = LimeQuestion {
        species: section.species,
        ph: report.ph,
        buffer_ph: report.buffer_ph,
        acidity: report.acidity,
        magnesium: category(SoilNutrient::Magnesium, &report.values, report.laboratory_table),
        recommended: report.lime_recommended_lb_per_1000_sqft,
        area: section.area_sqft,
        by,
        goal,
        credit,
        cce,
        split,
        cap_on,
        first_on,
    };
    let answer = answer(&question);
    let (soil_report_id, section_id) = (report.id, report.section_id);
    SoilLime { soil_report_id, section_id, species: section.species, ph: report.ph, goal, first_on, answer }
}

/// Until when the law over a property takes a report, by the law of a day.
pub fn taken(report: &SoilReport, property: &Property, law: &Lawbook, on: Day) -> Vec<domain::law::ReportTaken> {
    let codes: Vec<String> = property.rule_sets.iter().map(|code| code.0.clone()).collect();
    law.report_taken(&codes, on, report.sampled_on)
}
