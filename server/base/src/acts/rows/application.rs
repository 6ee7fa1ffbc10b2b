//! A record of what was put down, as its row.

use domain::{
    decision::Verdict,
    ids::{ApplicationId, ClearanceId, CorrectionId, DeviceId, LotId, PersonId, ProductId, PropertyId, VisitId},
    time::Day,
};
use serde::{Deserialize, Serialize};

use crate::acts::particulars::PersonalTexts;

/// A record, in the columns of its table.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct ApplicationRow {
    pub id: ApplicationId,
    pub property_id: PropertyId,
    pub product_id: ProductId,
    pub lot_id: Option<LotId>,
    pub visit_id: Option<VisitId>,
    pub clearance_id: Option<ClearanceId>,
    /// Who did the work.
    pub person_id: PersonId,
    /// That person's name at the time.
    pub person_name: String,
    pub entered_by: PersonId,
    pub device_id: Option<DeviceId>,
    pub applied_on: Day,
    pub received_at: i64,
    pub sent_at: Option<i64>,
    pub verdict: Verdict,
    pub beyond_the_rules: i64,
    /// Why the owner should look at it, where it breaks no rule. Named only where there is one, so that the rows of earlier
    /// versions read in the journal as they were written.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub review_reason: Option<String>,
    /// Whether it lacked something that its law asks. Nothing in the rows of earlier versions, as are the particulars.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub incomplete: Option<i64>,
    /// What stood of everything that it names, as JSON. Not read with the row where it is packed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub particulars: Option<String>,
    /// The clock by which its days are told, as its particulars have it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub time_zone: Option<String>,
    /// Nothing as acts write it; the store packs the content, and says by which pattern, and the bytes in hexadecimal.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pattern: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub packed: Option<String>,
    /// What was sent; since there are particulars without its texts about people.
    pub content: String,
    pub fingerprint: String,
}

/// A record as it stands: the view `application_rows`.
#[derive(Debug, Clone, Deserialize)]
pub struct StoredApplication {
    pub row: ApplicationRow,
    /// Corrections of it, oldest first.
    pub correction_ids: Vec<CorrectionId>,
    /// Its texts about people; nothing for the records of earlier versions, and once they were destroyed.
    pub texts: Option<PersonalTexts>,
    /// By which its content is packed; the store unpacks it.
    pub pattern: Option<String>,
}
