//! `swardbook demo`: an invented company, the main job done once through the server's own HTTP API, and a server to play
//! with afterwards.
//!
//! The demonstration's clock stands in an open season, so that the job can be done on any day of the year.

mod company;
mod http;
mod job;
mod large;
mod season;
mod table;
mod weather;

use std::{path::PathBuf, sync::Arc};

use axum_server::Handle;
use domain::time::Instant;

use crate::{
    clock::{Clock, MovedClock, RandomIds},
    config::Demo,
    console::print_line,
    serve::{self, ServeError},
    throttle::Throttle,
    weather::Services,
};

/// The moment at which the demonstration takes place: a mild Tuesday morning in September, in an open season.
const MOMENT: &str = "2026-09-15T13:00:00Z";

/// Runs the demonstration.
pub async fn run(config: &Demo) -> Result<(), ServeError> {
    let folder =
        tempfile::tempdir().map_err(|error| ServeError::Io { what: "no temporary folder".to_owned(), error })?;
    let file = book_file(config, folder.path().join("demonstration.db"))?;
    let clock = Arc::new(MovedClock::default());
    let moment = Instant::parse(MOMENT).map_err(|error| ServeError::Refused(error.to_string()))?;
    clock.put(moment);
    let law = serve::law(None)?;
    let listener = serve::bind(config.listen)?;
    let address = listener.local_addr().map_err(|error| ServeError::Io { what: "no address".to_owned(), error })?;
    let shared = Arc::clone(&clock) as Arc<dyn Clock>;
    let sample = weather::stand_in(Arc::clone(&shared)).await?;
    let services = Services::configured(&sample.config, &shared).map_err(ServeError::Refused)?;
    let opened = serve::open_with(&file, shared, Arc::new(RandomIds), law, Throttle::of_a_demonstration(), services);
    let (opened, beside) = opened.await?;
    drop(beside);
    let code =
        opened.setup_code.clone().ok_or_else(|| ServeError::Refused("this file is set up already".to_owned()))?;
    let handle = Handle::new();
    let serving = tokio::spawn(serve::listen(listener, None, handle.clone(), opened));
    let base = format!("http://{address}");
    print_line(format_args!(
        "Swardbook demonstration. The company is invented; the clock stands on 15 September 2026, in an open season."
    ));
    print_line(format_args!("The records: {}", file.display()));
    let told = job::whole(&base, &code, &clock, moment, config.small).await;
    match told {
        Ok(sign_ins) if !config.once => {
            print_line(sign_ins);
            tokio::spawn(serve::stop_on_signal(handle));
        }
        Ok(_) => handle.graceful_shutdown(None),
        Err(error) => {
            handle.graceful_shutdown(None);
            return Err(ServeError::Refused(format!("the demonstration did not go as it should: {error}")));
        }
    }
    serving.await.map_err(|error| ServeError::Refused(error.to_string()))??;
    let found = crate::book::verify::check_file(&file).await?;
    if let Some(fault) = found.faults.first() {
        return Err(ServeError::Refused(format!("the check of the records found: {fault}")));
    }
    print_line(format_args!(
        "\nThe records were checked after closing: {} journal entries follow from one another, and {} sections' totals follow from their records.",
        found.entries, found.sections
    ));
    Ok(())
}

/// The file to use: never one that is there already, which could be a real book.
fn book_file(config: &Demo, fallback: PathBuf) -> Result<PathBuf, ServeError> {
    match &config.file {
        Some(file) if file.exists() => Err(ServeError::Refused(format!(
            "{} is there already; the demonstration never writes into a file that exists",
            file.display()
        ))),
        Some(file) => Ok(file.clone()),
        None => Ok(fallback),
    }
}
