//! A server in this process, and its end.
#![expect(clippy::expect_used, reason = "a test harness fails by panicking")]

use std::{
    net::{SocketAddr, TcpListener},
    time::Duration,
};

use axum_server::Handle;
use server::serve;
use tokio::task::JoinHandle;

/// A server that runs until it is told to stop, or until its test lets go of it: who plays a thousand books in one process would
/// otherwise keep the files of all of them open.
#[derive(Debug)]
pub struct Serving {
    handle: Handle<SocketAddr>,
    task: Option<JoinHandle<Result<(), serve::ServeError>>>,
}

impl Serving {
    pub fn begin(listener: TcpListener, opened: serve::Opened) -> Self {
        let handle = Handle::new();
        let task = tokio::spawn(serve::listen(listener, None, handle.clone(), opened));
        Self { handle, task: Some(task) }
    }

    /// Stops it as a signal would, and waits until everything is written.
    pub async fn end(mut self) {
        self.handle.graceful_shutdown(Some(Duration::from_secs(5)));
        let task = self.task.take().expect("it serves");
        task.await.expect("no panic").expect("an orderly end");
    }
}

impl Drop for Serving {
    fn drop(&mut self) {
        self.handle.shutdown();
    }
}
