//! What the law wants of a record beside its amounts: which things it names, and how long it is kept.

use domain::{
    law::{KeptUntil, Lawbook, RequiredField},
    time::Day,
};
use serde::Serialize;
use utoipa::ToSchema;

use crate::acts::{
    application::ApplicationView,
    gaps::{OfTheDay, RecordGap},
    particulars::{CredentialThen, Particulars},
};

/// A record held against what the law wants written.
#[derive(Debug, Serialize, ToSchema)]
pub struct RecordDuties {
    /// Everything that the record must name, and where that is written.
    #[schema(max_items = 40)]
    pub required: Vec<RequiredField>,
    /// What of it the record does not tell, with what was added to it since.
    #[schema(max_items = 40)]
    pub missing: Vec<RequiredField>,
    /// Everything that it lacks, late entries and certificates among it, and how each gap is closed.
    #[schema(max_items = 60)]
    pub gaps: Vec<RecordGap>,
    /// Licences and certificates that the applicator held on the day.
    #[schema(max_items = 100)]
    pub credentials: Vec<CredentialThen>,
    /// Until when the record is kept at least; null when no rule set that was read says so, which does not mean that it may
    /// go.
    pub kept_until: Option<KeptUntil>,
}

/// Holds a record against the law of its day.
pub fn of_record(
    application: &ApplicationView,
    stood: &Particulars,
    (asked, gaps): (&OfTheDay, Vec<RecordGap>),
    today: Day,
    law: &Lawbook,
) -> RecordDuties {
    let (codes, on) = (&asked.rule_sets, application.applied_on);
    let mut required: Vec<RequiredField> = Vec::new();
    for bound in asked.bounds() {
        let more = law.record_fields(codes, bound, on);
        let more = more.into_iter().filter(|field| required.iter().all(|one| one.field != field.field));
        let more: Vec<RequiredField> = more.collect();
        required.extend(more);
    }
    let lacks = |field: &&RequiredField| gaps.iter().any(|gap| gap.field == Some(field.field));
    RecordDuties {
        missing: required.iter().filter(lacks).cloned().collect(),
        required,
        gaps,
        credentials: stood.credentials.clone(),
        kept_until: asked
            .bounds()
            .filter_map(|bound| law.kept_until(codes, bound, on, today))
            .max_by_key(|kept| kept.until),
    }
}
