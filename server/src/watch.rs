//! Looks after the file of the book while nobody writes, so that one that is not where it was is noticed before somebody's record meets it.

use std::time::Duration;

use tokio::time;

use crate::state::App;

const EVERY: Duration = Duration::from_secs(15);

/// Looks for ever. What it finds the writer sees to, and says in the log.
pub async fn run(app: App) {
    loop {
        time::sleep(EVERY).await;
        if app.store.misplaced().is_some() {
            let _ = app.store.ready().await;
        }
    }
}
