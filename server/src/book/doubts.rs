//! Records that become doubtful by what is learned of a section after they were written: a measurement, a soil report or a fact of an
//! earlier day, entered or withdrawn. Each is judged as it stands, before and after; what stops it only now goes on the owner's list.

use std::collections::{BTreeMap, BTreeSet};

use domain::{
    dated::History,
    ids::{ApplicationId, SectionId},
    time::{Day, Instant},
};
use sqlx::SqliteConnection;

use crate::{
    acts::{BatchFacts, correction},
    book::{limit_moves, weather},
    problem::Problem,
    state::App,
    store::{
        self,
        doubts::{Cause, Doubt},
        history::Subject,
        journal::{self, JournalContext},
        world,
    },
};

/// So many records of a section are judged anew at most, the newest. A section sees half a dozen a year, so
/// that these are those of more than ten.
const MOST: i64 = 100;
/// Beside the rules: a record lies on more ground than the lawn had.
const MORE_GROUND: &str = "book.ground.more_than_the_lawn";

type Stops = BTreeMap<ApplicationId, BTreeSet<String>>;

/// What stopped the records of some sections before something was learned.
#[derive(Debug)]
pub struct Before(Vec<(SectionId, Stops)>);

impl Before {
    /// Of the records from a day on, before what is learned is written.
    pub async fn of(
        connection: &mut SqliteConnection,
        app: &App,
        (section, since): (SectionId, Day),
        at: Instant,
    ) -> Result<Self, Problem> {
        let records = store::doubts::standing_since(&mut *connection, section, since, MOST).await?;
        Ok(Self(vec![(section, stops(connection, app, section, &records, at).await?)]))
    }

    /// Of the records that a turn of something's facts may stop; nothing where it may stop none. A section's facts may stop those on it, a
    /// property's those on all its sections, since they say which rules hold there and whose it is; and a client's those on every property
    /// that is or was the client's, where the service ends on another day.
    pub async fn of_turn(
        connection: &mut SqliteConnection,
        app: &App,
        (subject, before, after): (Subject, &History, &History),
        (since, at): (Day, Instant),
    ) -> Result<Option<Self>, Problem> {
        let properties = match subject {
            Subject::Section(id) => return Self::of(connection, app, (id, since), at).await.map(Some),
            Subject::Property(id) if limit_moves::may_stop(before, after) => vec![id],
            Subject::Client(id) if limit_moves::may_stop_of_client(before, after) => {
                store::properties::ever_of(&mut *connection, id).await?
            }
            Subject::Property(_) | Subject::Client(_) => return Ok(None),
        };
        let mut stopped = Vec::new();
        for property in properties {
            for section in store::sections::ids_of(&mut *connection, property).await? {
                stopped.extend(Self::of(&mut *connection, app, (section, since), at).await?.0);
            }
        }
        Ok(Some(Self(stopped)))
    }

    /// Notes which of them are stopped by something else, once it is written, each with its line in the journal.
    pub async fn note(
        self,
        connection: &mut SqliteConnection,
        app: &App,
        cause: Cause,
        deed: JournalContext,
    ) -> Result<(), Problem> {
        for (section, stopped) in self.0 {
            let records: Vec<ApplicationId> = stopped.keys().copied().collect();
            for (record, now) in stops(&mut *connection, app, section, &records, deed.at).await? {
                if stopped.get(&record).is_some_and(|before| now.is_subset(before)) {
                    continue;
                }
                let doubt = Doubt::of(app.ids.next(deed.at), record, cause, deed.at);
                if store::doubts::insert(&mut *connection, &doubt).await? {
                    let deed = JournalContext { act: "doubt.noted", subject: doubt.id.uuid(), ..deed };
                    journal::append(&mut *connection, deed, &serde_json::to_string(&doubt)?).await?;
                }
            }
        }
        Ok(())
    }
}

async fn stops(
    connection: &mut SqliteConnection,
    app: &App,
    section: SectionId,
    records: &[ApplicationId],
    at: Instant,
) -> Result<Stops, Problem> {
    if records.is_empty() {
        return Ok(Stops::new());
    }
    let (world, law) = (world::load_for_records(connection, records, at).await?, app.law());
    let mut found = Stops::new();
    for record in records {
        let said = weather::of_record(app, *record).await?;
        // What is on file of one record must not keep the office from measuring a lawn.
        let mut stops = correction::stops(*record, &said, &world, &law).unwrap_or_else(|fault| {
            tracing::error!(%fault, %record, "a record cannot be judged by what was learned since");
            BTreeSet::new()
        });
        stops.extend(has_too_much_ground(&world, section, *record).then(|| MORE_GROUND.to_owned()));
        found.insert(*record, stops);
    }
    Ok(found)
}

/// Whether a record lies on more ground of a section than that had on its day, by what is known now.
fn has_too_much_ground(world: &BatchFacts, section: SectionId, record: ApplicationId) -> bool {
    let Some(row) = world.sections.get(&section) else { return false };
    let lines = world.standing_lines(record);
    let mut here = lines.iter().filter(|(id, _)| *id == section).map(|(_, line)| line);
    here.any(|line| row.area_on(line.applied_on).is_some_and(|area| line.area > area.raw()))
}
