//! What the law wants of a record beside its amounts: which things it names, and how long it is kept.

use domain::{
    application::Audience,
    law::{KeptUntil, Lawbook, RequiredField, disclosure::RecordField},
    time::Day,
};
use serde::Serialize;
use utoipa::ToSchema;

use crate::{acts::application::ApplicationView, book::site::Site, store::credentials::Credential};

/// A record held against what the law wants written.
#[derive(Debug, Serialize, ToSchema)]
pub struct RecordDuties {
    /// Everything that the record must name, and where that is written.
    #[schema(max_items = 40)]
    pub required: Vec<RequiredField>,
    /// What of it neither the record nor the book holds.
    #[schema(max_items = 40)]
    pub missing: Vec<RequiredField>,
    /// Licences and certificates that the applicator held on the day.
    #[schema(max_items = 100)]
    pub credentials: Vec<Credential>,
    /// Until when the record is kept at least; null when no rule set that was read says so, which does not mean that it may
    /// go.
    pub kept_until: Option<KeptUntil>,
}

/// Holds a record of hired work against the rule sets that bound its property on its day.
pub fn of_record(
    application: &ApplicationView,
    site: &Site,
    held: Vec<Credential>,
    soil_tested: bool,
    today: Day,
    law: &Lawbook,
) -> RecordDuties {
    let codes = &site.place.rule_sets;
    let (audience, on) = (Audience::Professional, application.applied_on);
    let written = written(application, site, !held.is_empty(), soil_tested);
    RecordDuties {
        required: law.record_fields(codes, audience, on),
        missing: law.missing_fields(codes, audience, on, &written),
        credentials: held,
        kept_until: law.kept_until(codes, audience, on, today),
    }
}

/// What the record and the book behind it hold. The book knows no supervisors yet, and of a label its figures: the copy
/// is kept on paper.
fn written(application: &ApplicationView, site: &Site, licensed: bool, soil_tested: bool) -> Vec<RecordField> {
    use RecordField as F;
    let mut written = vec![
        F::CustomerName,
        F::CustomerAddress,
        F::SiteAddress,
        F::ApplicatorName,
        F::Date,
        F::AreaTreated,
        F::ProductName,
        F::NutrientAnalysis,
        F::Rate,
        F::TotalAmount,
        F::EquipmentOrMethod,
        F::ReasonForUse,
    ];
    let sometimes = [
        (site.client.phone.is_some(), F::CustomerTelephone),
        (application.weather.air_temperature.is_some(), F::WeatherAtStart),
        (licensed, F::LicenceNumber),
        (soil_tested, F::SoilTestResult),
    ];
    written.extend(sometimes.into_iter().filter(|(there, _)| *there).map(|(_, field)| field));
    written
}
