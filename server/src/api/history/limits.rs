//! What a change of dated facts moves of a lawn's limits, put on the owner's list with it.

use domain::{dated::History, time::Day};
use sqlx::SqliteConnection;
use uuid::Uuid;

use crate::{
    book::limit_moves::{self, Place},
    problem::Problem,
    scope::Scope,
    state::App,
    store::{self, history::Subject, journal::JournalContext},
};

/// What stood before a change, and what stands after it.
pub(in crate::api) struct Turn {
    pub before: History,
    pub after: History,
}

/// Which entry made it, and why.
pub(in crate::api) struct Made {
    pub entry: Uuid,
    pub reason: Option<String>,
    pub today: Day,
}

/// Notes every limit that the change moved.
pub(in crate::api) async fn note_moves(
    connection: &mut SqliteConnection,
    app: &App,
    subject: Subject,
    turn: &Turn,
    made: Made,
    deed: JournalContext,
) -> Result<(), Problem> {
    let (property, section, moves) = match subject {
        Subject::Client(_) => return Ok(()),
        Subject::Property(id) => {
            (id, None, limit_moves::of_property(&turn.before, &turn.after).into_iter().collect::<Vec<_>>())
        }
        Subject::Section(id) => {
            let section = store::sections::get(&mut *connection, id, Scope::Company).await?;
            let property = section.ok_or_else(|| Problem::not_found("lawn section"))?.property_id;
            let histories = [&turn.before, &turn.after];
            let moves = limit_moves::of_section(&mut *connection, &app.law(), property, histories, made.today).await?;
            (property, Some(id), moves)
        }
    };
    for moved in moves {
        let place = Place { subject: made.entry, property, section, reason: made.reason.clone() };
        limit_moves::note(&mut *connection, app.ids.next(deed.at), moved, place, deed).await?;
    }
    Ok(())
}
