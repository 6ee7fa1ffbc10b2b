//! Words from the time of a former client: notes, reasons and who the client was are no concern of whoever sees a property for the one
//! who has it now.

use std::collections::HashSet;

use domain::{
    ids::{ApplicationId, SectionId},
    time::{self, Instant},
};
use jiff::tz::TimeZone;

use super::RecordParticulars;
use crate::{
    acts::{application::ApplicationView, correction::CorrectionView, particulars::PersonalTexts},
    paging::Sequenced,
    problem::Problem,
    scope::Scope,
    state::App,
    store::{
        self, ReadTransaction,
        measurements::{Measurement, confirmations::Confirmation},
        sightings::Sighting,
        soil_reports::SoilReport,
    },
    zone::earliest_day,
};

/// Stands where a reason was left out that must say something.
const LEFT_OUT: &str = "Left out here: it was written while the property was another client's. The company has it.";

/// Those of some records that were written for another client than the one whose the property is now; none for whoever sees the whole
/// company. Whose it was is what was fixed with the record, and for records of earlier versions what the book says of its day.
async fn former(app: &App, scope: Scope, records: Vec<ApplicationId>) -> Result<HashSet<ApplicationId>, Problem> {
    if scope.viewer().is_none() || records.is_empty() {
        return Ok(HashSet::new());
    }
    let mut moment = ReadTransaction::begin(app.store.reader()).await?;
    let owned = store::particulars::changed_hands(&mut moment, &records).await?;
    let ids: Vec<ApplicationId> = owned.iter().map(|one| one.record).collect();
    let kept = store::particulars::kept(&mut moment, &ids).await?;
    let fixed = |id: &ApplicationId| kept.get(id)?.particulars.as_ref()?.client_id;
    let is_former = |one: &store::particulars::Owned| fixed(&one.record).or(one.then) != Some(one.now);
    Ok(owned.into_iter().filter(is_former).map(|one| one.record).collect())
}

/// Leaves the words of former clients' times out of some records.
pub async fn keep_records<'a>(
    app: &App,
    scope: Scope,
    records: impl IntoIterator<Item = &'a mut ApplicationView>,
) -> Result<(), Problem> {
    let mut records: Vec<&mut ApplicationView> = records.into_iter().collect();
    let former = former(app, scope, records.iter().map(|record| record.id).collect()).await?;
    for record in records.iter_mut().filter(|record| former.contains(&record.id)) {
        (record.notes, record.reason) = (None, None);
    }
    Ok(())
}

/// The moment from which on what is said of a section is said in the time of whoever has it now, for whoever does not see the whole
/// company.
async fn their_time(app: &App, scope: Scope, section: SectionId) -> Result<Option<Instant>, Problem> {
    if scope.viewer().is_none() {
        return Ok(None);
    }
    // Where a day has begun anywhere, what belongs to the time before it is kept back.
    let today = earliest_day(app.clock.now()).plus_days(1);
    let owned = store::particulars::owned_since(app.store.reader(), section, today).await?;
    // What was written before the company knew of the hand-over was written for whoever had it before.
    Ok(owned.map(|(since, zone, entered)| entered.max(since.starts_at(&time::zone(&zone).unwrap_or(TimeZone::UTC)))))
}

/// Leaves the words of a former client's time out of measurements of a section.
pub async fn keep_measurements<'a>(
    app: &App,
    (scope, section): (Scope, SectionId),
    measurements: impl IntoIterator<Item = &'a mut Measurement>,
) -> Result<(), Problem> {
    let Some(since) = their_time(app, scope, section).await? else { return Ok(()) };
    for measurement in measurements {
        if measurement.created_at <= since {
            measurement.note = None;
            measurement.reason.iter_mut().for_each(|reason| LEFT_OUT.clone_into(reason));
        }
        keep_confirmation(measurement.confirmation.as_mut(), since);
    }
    Ok(())
}

fn keep_confirmation(confirmation: Option<&mut Confirmation>, since: Instant) {
    if let Some(confirmation) = confirmation.filter(|one| one.confirmed_at <= since) {
        confirmation.note = None;
    }
}

/// Leaves them out of what somebody saw of a lawn.
pub async fn keep_sighting(app: &App, scope: Scope, sighting: &mut Sighting) -> Result<(), Problem> {
    let Some(since) = their_time(app, scope, sighting.section_id).await? else { return Ok(()) };
    if sighting.created_at <= since {
        LEFT_OUT.clone_into(&mut sighting.note);
    }
    keep_confirmation(sighting.confirmation.as_mut(), since);
    Ok(())
}

/// Leaves them out of soil reports of a section.
pub async fn keep_soil_reports<'a>(
    app: &App,
    (scope, section): (Scope, SectionId),
    reports: impl IntoIterator<Item = &'a mut SoilReport>,
) -> Result<(), Problem> {
    let Some(since) = their_time(app, scope, section).await? else { return Ok(()) };
    for report in reports.into_iter().filter(|one| one.created_at <= since) {
        report.reason.iter_mut().for_each(|reason| LEFT_OUT.clone_into(reason));
    }
    Ok(())
}

/// Leaves them out of some corrections.
pub async fn keep_corrections(
    app: &App,
    scope: Scope,
    corrections: &mut [Sequenced<CorrectionView>],
) -> Result<(), Problem> {
    let records = corrections.iter().map(|correction| correction.item.application_id).collect();
    let former = former(app, scope, records).await?;
    for correction in corrections.iter_mut().filter(|one| former.contains(&one.item.application_id)) {
        LEFT_OUT.clone_into(&mut correction.item.reason);
    }
    Ok(())
}

/// Leaves out of a record's particulars who a former client was, how to reach them and what was written in their time, for whoever does
/// not see the whole company.
pub async fn keep_particulars(app: &App, scope: Scope, told: &mut RecordParticulars) -> Result<(), Problem> {
    if former(app, scope, vec![told.application_id]).await?.is_empty() {
        return Ok(());
    }
    let forget = |texts: &mut PersonalTexts| {
        (texts.client, texts.mailing_address, texts.telephone) = (None, None, None);
        (texts.notes, texts.reason) = (None, None);
    };
    told.particulars.client_id = None;
    told.texts.iter_mut().for_each(forget);
    for addition in &mut told.additions {
        if let Some(particulars) = &mut addition.particulars {
            particulars.client_id = None;
        }
        addition.texts.iter_mut().for_each(forget);
    }
    Ok(())
}
