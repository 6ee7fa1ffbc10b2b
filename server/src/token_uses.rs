//! Writes down when tokens were used, beside what is answered, and ends those that nobody uses.

use std::time::Duration;

use crate::{problem::Problem, state::App, store};

const A_MINUTE: Duration = Duration::from_mins(1);

/// Once a minute, until the server stops. What could not be written is tried again with the next use.
pub async fn run(app: App) {
    loop {
        tokio::time::sleep(A_MINUTE).await;
        if let Err(problem) = look_round(&app).await {
            tracing::warn!(detail = problem.detail, "the use of sessions could not be written down");
        }
    }
}

/// Writes down what was used, and ends what was not.
pub async fn look_round(app: &App) -> Result<(), Problem> {
    write_down(app).await?;
    let now = app.clock.now();
    if !store::sessions::any_idle(app.store.reader(), now).await? {
        return Ok(());
    }
    app.store
        .write(move |connection| Box::pin(async move { Ok(store::sessions::end_idle(connection, now).await?) }))
        .await
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
