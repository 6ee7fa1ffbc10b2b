//! Writes down when tokens were used, beside what is answered.

use std::time::Duration;

use crate::{problem::Problem, state::App, store};

const A_MINUTE: Duration = Duration::from_mins(1);

/// Once a minute, until the server stops. What could not be written is tried again with the next use.
pub async fn run(app: App) {
    loop {
        tokio::time::sleep(A_MINUTE).await;
        if let Err(problem) = write_down(&app).await {
            tracing::warn!(detail = problem.detail, "the use of sessions could not be written down");
        }
    }
}

/// Writes what is not written yet, if there is any.
pub async fn write_down(app: &App) -> Result<(), Problem> {
    let uses = app.token_uses.take();
    if uses.is_empty() {
        return Ok(());
    }
    app.store
        .write(move |connection| Box::pin(async move { Ok(store::sessions::note_uses(connection, &uses).await?) }))
        .await
}
