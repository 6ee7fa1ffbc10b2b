//! Opening the book, listening, and stopping without losing anything.

use std::{
    net::{SocketAddr, TcpListener},
    path::{Path, PathBuf},
    process::ExitCode,
    sync::{Arc, RwLock},
    time::Duration,
};

use axum::{
    Router,
    http::{HeaderValue, header},
    middleware::map_response,
    response::Response,
};
use axum_server::{
    Handle,
    tls_rustls::{RustlsAcceptor, RustlsConfig},
};
use domain::law::Lawbook;

use crate::{
    app::build,
    backups::{self, Plan, Source},
    book,
    clock::{Clock, IdSource, RandomIds, SystemClock},
    config::{ConfigFault, Limits, Serve},
    connections::{self, Connections, Gate},
    console::print_line,
    paging::CursorKey,
    refresh, rules_folder, secret,
    state::{App, Deps},
    store::{self, OpenError, Store, WriterTask},
    throttle::Throttle,
    token_uses, watch,
    weather::Services,
};

/// Open requests get this long to finish when the server stops.
const GRACE: Duration = Duration::from_secs(10);

#[derive(Debug, thiserror::Error)]
pub enum ServeError {
    #[error(transparent)]
    Config(#[from] ConfigFault),
    #[error("{0}")]
    Law(String),
    #[error(transparent)]
    Open(#[from] OpenError),
    #[error("the database failed: {0}")]
    Database(#[from] sqlx::Error),
    #[error("the API document cannot be made: {0}")]
    Document(#[from] serde_json::Error),
    #[error("{0}")]
    Refused(String),
    #[error("{what}: {error}")]
    Io { what: String, error: std::io::Error },
}

/// A book that is open and ready to serve.
#[derive(Debug)]
pub struct Opened {
    pub router: Router,
    pub connections: Arc<Connections>,
    pub writer: WriterTask,
    /// Printed once, when the book is not set up yet.
    pub setup_code: Option<String>,
}

/// The rule sets that come with the server, and those of the operator's folder.
pub fn law(folder: Option<&Path>) -> Result<Arc<Lawbook>, ServeError> {
    let law = folder.map_or_else(Lawbook::embedded, rules_folder::read);
    law.map(Arc::new).map_err(|faults| {
        let faults: Vec<String> = faults.iter().map(ToString::to_string).collect();
        ServeError::Law(format!("the rule files have faults, and nothing was loaded:\n{}", faults.join("\n")))
    })
}

/// `swardbook check-rules`: prints what a folder brings, or every fault.
pub fn check_rules(folder: &Path) -> ExitCode {
    match rules_folder::read(folder) {
        Ok(law) => {
            for line in rules_folder::summary_lines(folder, &law) {
                print_line(line);
            }
            print_line(format_args!("No fault. Start the server with --rules {}.", folder.display()));
            ExitCode::SUCCESS
        }
        Err(faults) => {
            for fault in &faults {
                print_line(fault);
            }
            print_line(format_args!(
                "{} in all. A server started with this folder would stop here.",
                counted(faults.len())
            ));
            ExitCode::FAILURE
        }
    }
}

fn counted(faults: usize) -> String {
    if faults == 1 { "1 fault".to_owned() } else { format!("{faults} faults") }
}

/// Opens the file and builds the server on it.
pub async fn open(
    file: &Path,
    clock: Arc<dyn Clock>,
    ids: Arc<dyn IdSource>,
    law: Arc<Lawbook>,
    throttle: Throttle,
) -> Result<Opened, ServeError> {
    open_with(file, clock, ids, law, throttle, Services::off()).await.map(|(opened, _)| opened)
}

/// Opens the file and builds the server on it, with weather services to ask. The second is for what works beside the router;
/// it must be given up before the writer can finish.
pub async fn open_with(
    file: &Path,
    clock: Arc<dyn Clock>,
    ids: Arc<dyn IdSource>,
    law: Arc<Lawbook>,
    throttle: Throttle,
    weather: Services,
) -> Result<(Opened, App), ServeError> {
    let (store, writer) = Store::open_with(file, Arc::clone(&law), throttle.limits.long_at_once).await?;
    let offered_law = RwLock::new(Arc::clone(&law));
    let settled = book::rule_sets::settle(&store, law, &ids, clock.now()).await;
    let settled = settled.map_err(|problem| ServeError::Refused(problem.detail))?;
    let changed = store::rule_sets::of_changed(store.reader(), &[]).await?;
    store.law().take(settled, changed.iter().map(|one| one.since).max());
    let signing = book::receipts::settle(&store, clock.now()).await;
    let signing = signing.map_err(|problem| ServeError::Refused(problem.detail))?;
    let mut key = [0_u8; 32];
    getrandom::fill(&mut key).map_err(|error| ServeError::Refused(error.to_string()))?;
    let code = secret::new_code().map_err(|problem| ServeError::Refused(problem.detail))?;
    let digest = secret::code_hash(&code);
    let installation = store
        .write(move |connection| {
            Box::pin(async move { Ok(store::people::installation(connection, &key, &digest).await?) })
        })
        .await
        .map_err(|problem| ServeError::Refused(problem.detail))?;
    let cursors = CursorKey::new(&installation.link_key).map_err(|error| ServeError::Refused(error.to_string()))?;
    let (router, app) = build(Deps { store, clock, ids, offered_law, cursors, signing, throttle, weather });
    let connections = Arc::clone(&app.connections);
    Ok((Opened { router, connections, writer, setup_code: installation.company.is_none().then_some(code) }, app))
}

/// `swardbook serve`.
pub async fn serve(config: &Serve) -> Result<(), ServeError> {
    config.check()?;
    let listener = bind(config.listen)?;
    let clock: Arc<dyn Clock> = Arc::new(SystemClock);
    let weather = Services::configured(&config.weather, &clock).map_err(ServeError::Refused)?;
    let with_weather = !weather.are_off();
    let plan = Plan::of(&config.backups).map_err(ServeError::Refused)?;
    let opened = open_with(
        &config.book.file,
        clock,
        Arc::new(RandomIds),
        law(config.rules.as_deref())?,
        Throttle::limited(config.behind_proxy, limits(&config.limits)),
        weather,
    );
    let (opened, app) = opened.await?;
    let tls = match (&config.tls_certificate, &config.tls_key) {
        (Some(certificate), Some(key)) => {
            let what = format!("the certificate {} or the key {} cannot be used", certificate.display(), key.display());
            Some(RustlsConfig::from_pem_file(certificate, key).await.map_err(|error| ServeError::Io { what, error })?)
        }
        _ => None,
    };
    let scheme = if tls.is_some() { "https" } else { "http" };
    print_line(format_args!("Swardbook serves {} on {scheme}://{}/", config.book.file.display(), config.listen));
    if let Some(code) = &opened.setup_code {
        print_line(format_args!("This server is not set up yet. One-time set-up code: {code}"));
        print_line(format_args!(
            "Open {scheme}://{}/setup in a browser and type it there, or send it to POST /api/v1/setup. Starting again prints a new code.",
            config.listen
        ));
    }
    let handle = Handle::new();
    tokio::spawn(stop_on_signal(handle.clone()));
    let renewed = tls.clone().zip(config.tls_certificate.clone().zip(config.tls_key.clone()));
    let rules = config.rules.clone().map(|folder| (app.clone(), folder));
    let on_hangup = Some(tokio::spawn(renew_on_hangup(renewed, rules)));
    let refresher = with_weather.then(|| tokio::spawn(refresh::run(app.clone())));
    app.space.watch(config.disk.floor(), &config.book.file, plan.as_ref().and_then(|plan| plan.target.folder()));
    let copier = plan.map(|plan| tokio::spawn(backups::run(Source::of(&app), plan)));
    let uses = Some(tokio::spawn(token_uses::run(app.clone())));
    let watcher = Some(tokio::spawn(watch::run(app.clone())));
    drop(app);
    let Opened { router, connections, writer, .. } = opened;
    let served = answer(listener, tls, handle, router, connections).await;
    // What works beside holds a way to the writer, which finishes only when nobody does.
    for beside in [refresher, copier, uses, watcher, on_hangup].into_iter().flatten() {
        beside.abort();
        let _ = beside.await;
    }
    served?;
    Ok(writer.finish().await?)
}

/// The limits as far as the system grants them.
fn limits(wanted: &Limits) -> Limits {
    let connections = connections::room_for(wanted.connections);
    if connections < wanted.connections {
        tracing::warn!(connections, "the system lets this process open so few files that fewer connections fit");
    }
    Limits { connections, ..wanted.clone() }
}

/// Takes the address, so that a port that is not free is said before anything else.
pub fn bind(at: SocketAddr) -> Result<TcpListener, ServeError> {
    let failed = |error| ServeError::Io { what: format!("cannot listen on {at}"), error };
    let listener = TcpListener::bind(at).map_err(failed)?;
    listener.set_nonblocking(true).map_err(failed)?;
    Ok(listener)
}

/// Serves until the handle is told to stop, then lets everything that waits be written.
pub async fn listen(
    listener: TcpListener,
    tls: Option<RustlsConfig>,
    handle: Handle<SocketAddr>,
    opened: Opened,
) -> Result<(), ServeError> {
    answer(listener, tls, handle, opened.router, opened.connections).await?;
    // The router held the last way to the writer; the writer now finishes what waits and closes the file.
    Ok(opened.writer.finish().await?)
}

/// Serves until the handle is told to stop.
async fn answer(
    listener: TcpListener,
    tls: Option<RustlsConfig>,
    handle: Handle<SocketAddr>,
    router: Router,
    connections: Arc<Connections>,
) -> Result<(), ServeError> {
    let router = if tls.is_some() { router.layer(map_response(only_tls)) } else { router };
    let service = router.into_make_service_with_connect_info::<SocketAddr>();
    let failed = |error| ServeError::Io { what: "cannot serve".to_owned(), error };
    let head = connections.head();
    let server = axum_server::from_tcp(listener).map_err(failed)?.handle(handle).acceptor(Gate(connections));
    match tls {
        Some(tls) => {
            let agreed = |gate| RustlsAcceptor::new(tls).handshake_timeout(head).acceptor(gate);
            server.map(agreed).serve(service).await
        }
        None => server.serve(service).await,
    }
    .map_err(failed)
}

/// Whoever came once by TLS comes by TLS for a year (RFC 6797).
async fn only_tls(mut response: Response) -> Response {
    let year = HeaderValue::from_static("max-age=31536000");
    response.headers_mut().insert(header::STRICT_TRANSPORT_SECURITY, year);
    response
}

/// Reads certificate, key and the folder of rule files again when the system asks for it (SIGHUP): a renewed certificate holds for
/// whoever connects from then on, and nobody who is connected is dropped. What cannot be used is told in the log, and what was there before
/// stays.
pub async fn renew_on_hangup(with_tls: Option<(RustlsConfig, (PathBuf, PathBuf))>, with_rules: Option<(App, PathBuf)>) {
    let mut hung_up = match tokio::signal::unix::signal(tokio::signal::unix::SignalKind::hangup()) {
        Ok(signal) => signal,
        Err(error) => return tracing::error!(%error, "cannot wait for the signal to read certificate and rules again"),
    };
    while hung_up.recv().await.is_some() {
        // Without the signal being waited for, it would end the server.
        if with_tls.is_none() && with_rules.is_none() {
            tracing::info!("asked to read certificate and rules again; this server has none of its own");
        }
        if let Some((app, folder)) = &with_rules {
            rules_folder::read_again(app, folder).await;
        }
        let Some((tls, (certificate, key))) = &with_tls else { continue };
        match tls.reload_from_pem_file(certificate, key).await {
            Ok(()) => tracing::info!(certificate = %certificate.display(), "the certificate was read again"),
            Err(error) => tracing::error!(%error, "the certificate cannot be used; the one of before stays"),
        }
    }
}

/// Tells the server to stop when the operator or the system asks for it.
pub async fn stop_on_signal(handle: Handle<SocketAddr>) {
    let mut terminated = match tokio::signal::unix::signal(tokio::signal::unix::SignalKind::terminate()) {
        Ok(signal) => signal,
        Err(error) => return tracing::error!(%error, "cannot wait for the signal to stop"),
    };
    tokio::select! {
        _ = tokio::signal::ctrl_c() => {}
        _ = terminated.recv() => {}
    }
    print_line("Stopping: open requests are finished first.");
    handle.graceful_shutdown(Some(GRACE));
}
