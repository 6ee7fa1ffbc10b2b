//! The log, on standard error. Its reader may be slow, gone or have a full disk: what it does not take is dropped, and nothing
//! that is logged ever waits for it or fails with it.

use std::{io, panic::PanicHookInfo};

use tracing::Subscriber;
use tracing_appender::non_blocking::{NonBlockingBuilder, WorkerGuard};
use tracing_subscriber::{EnvFilter, fmt::MakeWriter};

/// Lines that wait for a slow reader at most; the next ones are dropped.
const WAITING_LINES: usize = 10_000;

/// Sends what is logged to standard error, a line each, until the guard is dropped, which waits a moment for what is under way.
pub fn start(filter: &str, json: bool) -> WorkerGuard {
    let (writer, guard) =
        NonBlockingBuilder::default().buffered_lines_limit(WAITING_LINES).lossy(true).finish(io::stderr());
    // A second start in one process would be a fault of ours; the first log goes on.
    let _ = tracing::subscriber::set_global_default(subscriber(filter, json, writer));
    std::panic::set_hook(Box::new(log_panic));
    guard
}

/// What writes the lines: for a person, or as JSON with the request's own members once.
pub fn subscriber<W>(filter: &str, json: bool, writer: W) -> Box<dyn Subscriber + Send + Sync>
where
    W: for<'w> MakeWriter<'w> + Send + Sync + 'static,
{
    let filter = EnvFilter::try_new(filter).unwrap_or_else(|_| EnvFilter::new("info"));
    // The library would report a failed line on standard error, and panic when that is gone.
    let log = tracing_subscriber::fmt().with_env_filter(filter).with_writer(writer).log_internal_errors(false);
    if json { Box::new(log.json().with_span_list(false).finish()) } else { Box::new(log.finish()) }
}

/// A panic is logged like everything else, with the request it happened in: written straight to standard error, it would wait
/// for a reader that does not read.
fn log_panic(panic: &PanicHookInfo<'_>) {
    let said = panic.payload_as_str().unwrap_or("without words");
    let at = panic.location().map(ToString::to_string).unwrap_or_default();
    let backtrace = std::backtrace::Backtrace::capture();
    let backtrace = (backtrace.status() == std::backtrace::BacktraceStatus::Captured).then(|| backtrace.to_string());
    tracing::error!(at, backtrace, "panic: {said}");
}

#[cfg(test)]
mod tests {
    use std::sync::{Arc, Mutex};

    use super::*;

    /// Keeps what is written.
    #[derive(Clone, Default)]
    struct Kept(Arc<Mutex<Vec<u8>>>);

    impl io::Write for Kept {
        fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
            self.0.lock().unwrap().extend_from_slice(bytes);
            Ok(bytes.len())
        }

        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    #[test]
    fn a_panic_is_one_line_with_its_request() {
        let kept = Kept::default();
        let writer = kept.clone();
        let before = std::panic::take_hook();
        std::panic::set_hook(Box::new(log_panic));
        tracing::subscriber::with_default(subscriber("info", true, move || writer.clone()), || {
            let request = tracing::info_span!("request", id = "01938f0c");
            let caught = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
                request.in_scope(|| panic!("the {} broke", "spreader"))
            }));
            assert!(caught.is_err());
        });
        std::panic::set_hook(before);
        let text = String::from_utf8(kept.0.lock().unwrap().clone()).unwrap();
        let line: serde_json::Value = serde_json::from_str(text.trim_end()).unwrap();
        assert_eq!(line["fields"]["message"], "panic: the spreader broke");
        assert_eq!(line["span"]["id"], "01938f0c");
        assert!(line["fields"]["at"].as_str().unwrap().contains("log.rs"), "{line}");
        assert_eq!(line.get("spans"), None, "the request stands in the line once");
    }
}
