//! The log, on standard error. Its reader may be slow, gone or have a full disk: what it does not take is dropped, and nothing
//! that is logged ever waits for it or fails with it.

use std::{io, panic::PanicHookInfo};

use tracing_appender::non_blocking::{NonBlockingBuilder, WorkerGuard};
use tracing_subscriber::EnvFilter;

/// Lines that wait for a slow reader at most; the next ones are dropped.
const WAITING_LINES: usize = 10_000;

/// Sends what is logged to standard error, a line each, until the guard is dropped, which waits a moment for what is under way.
pub fn start(filter: &str, json: bool) -> WorkerGuard {
    let (writer, guard) =
        NonBlockingBuilder::default().buffered_lines_limit(WAITING_LINES).lossy(true).finish(io::stderr());
    let filter = EnvFilter::try_new(filter).unwrap_or_else(|_| EnvFilter::new("info"));
    // The library would report a failed line on standard error, and panic when that is gone.
    let log = tracing_subscriber::fmt().with_env_filter(filter).with_writer(writer).log_internal_errors(false);
    if json {
        log.json().init()
    } else {
        log.init()
    }
    std::panic::set_hook(Box::new(log_panic));
    guard
}

/// A panic is logged like everything else: written straight to standard error, it would wait for a reader that does not read.
fn log_panic(panic: &PanicHookInfo<'_>) {
    let said = panic.payload_as_str().unwrap_or("without words");
    let at = panic.location().map(ToString::to_string).unwrap_or_default();
    let backtrace = std::backtrace::Backtrace::capture();
    let backtrace = (backtrace.status() == std::backtrace::BacktraceStatus::Captured).then(|| backtrace.to_string());
    tracing::error!(at, backtrace, "panic: {said}");
}
