//! A connection from its first byte to its last.

use std::{
    io,
    net::SocketAddr,
    pin::Pin,
    sync::Arc,
    task::{Context, Poll},
};

use axum_server::accept::Accept;
use futures_util::future::{Ready, ready};
use tokio::{
    io::{AsyncRead, AsyncWrite, ReadBuf},
    net::TcpStream,
    time::{Instant, Sleep, sleep_until},
};

use super::{Connections, Line, State};

/// Takes connections in, before anything is said on them.
#[derive(Debug, Clone)]
pub struct Gate(pub Arc<Connections>);

impl<S> Accept<TcpStream, S> for Gate {
    type Stream = Watched;
    type Service = S;
    type Future = Ready<io::Result<(Watched, S)>>;

    fn accept(&self, stream: TcpStream, service: S) -> Self::Future {
        ready(self.watched(stream).map(|stream| (stream, service)))
    }
}

impl Gate {
    fn watched(&self, stream: TcpStream) -> io::Result<Watched> {
        let from = stream.peer_addr()?;
        // An answer is one write, which must not wait for more of it.
        stream.set_nodelay(true)?;
        let Some(line) = self.0.take_in(from) else {
            self.0.metrics.connection_ended("refused");
            return Err(io::Error::other("every connection is at work"));
        };
        let timer = Box::pin(sleep_until(Instant::now() + self.0.limits.head()));
        Ok(Watched { stream, from, line, all: Arc::clone(&self.0), timer, stalled: None })
    }
}

/// A connection's bytes, with an eye on the time.
#[derive(Debug)]
pub struct Watched {
    stream: TcpStream,
    from: SocketAddr,
    line: Arc<Line>,
    all: Arc<Connections>,
    timer: Pin<Box<Sleep>>,
    /// Runs while the other end does not take what is sent.
    stalled: Option<Pin<Box<Sleep>>>,
}

impl Drop for Watched {
    fn drop(&mut self) {
        self.all.let_go(self.from, &self.line);
    }
}

impl Watched {
    /// Whether the other end has said nothing for too long, or its place is needed. Wakes the reader when that may be so.
    fn is_over(&mut self, cx: &mut Context<'_>) -> Result<(), io::Error> {
        let limits = &self.all.limits;
        let mut state = self.line.state();
        if state.is_ended {
            return Err(io::ErrorKind::ConnectionAborted.into());
        }
        if state.reader.as_ref().is_none_or(|reader| !reader.will_wake(cx.waker())) {
            state.reader = Some(cx.waker().clone());
        }
        // Looked at again as late as possible: the timer is only ever set earlier, or anew when it has run out.
        let until =
            |state: &State, now: Instant| state.patience(limits).map_or(now + limits.idle(), |(until, _)| until);
        let first = until(&state, Instant::now());
        if first < self.timer.deadline() {
            self.timer.as_mut().reset(first);
        }
        while self.timer.as_mut().poll(cx).is_ready() {
            let now = Instant::now();
            if let Some((_, why)) = state.patience(limits).filter(|(until, _)| *until <= now) {
                state.is_ended = true;
                self.all.metrics.connection_ended(why);
                return Err(io::ErrorKind::TimedOut.into());
            }
            self.timer.as_mut().reset(until(&state, now));
        }
        Ok(())
    }

    /// What a write came to: one that waits for the other end too long ends the connection.
    fn written<T>(&mut self, cx: &mut Context<'_>, done: Poll<io::Result<T>>) -> Poll<io::Result<T>> {
        if done.is_ready() {
            self.stalled = None;
            self.line.state().moved_at = Instant::now();
            return done;
        }
        let until = Instant::now() + self.all.limits.idle();
        let stalled = self.stalled.get_or_insert_with(|| Box::pin(sleep_until(until)));
        if stalled.as_mut().poll(cx).is_ready() {
            self.all.metrics.connection_ended("unread");
            return Poll::Ready(Err(io::ErrorKind::TimedOut.into()));
        }
        Poll::Pending
    }
}

impl AsyncRead for Watched {
    fn poll_read(mut self: Pin<&mut Self>, cx: &mut Context<'_>, buffer: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        let before = buffer.filled().len();
        let read = Pin::new(&mut self.stream).poll_read(cx, buffer);
        if read.is_pending() {
            return self.is_over(cx).map_or_else(|over| Poll::Ready(Err(over)), |()| Poll::Pending);
        }
        if buffer.filled().len() > before {
            let mut state = self.line.state();
            state.moved_at = Instant::now();
            if state.at_work == 0 && state.head_since.is_none() {
                state.head_since = Some(state.moved_at);
            }
        }
        read
    }
}

impl AsyncWrite for Watched {
    fn poll_write(mut self: Pin<&mut Self>, cx: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        let done = Pin::new(&mut self.stream).poll_write(cx, bytes);
        self.written(cx, done)
    }

    fn poll_write_vectored(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        parts: &[io::IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        let done = Pin::new(&mut self.stream).poll_write_vectored(cx, parts);
        self.written(cx, done)
    }

    fn is_write_vectored(&self) -> bool {
        self.stream.is_write_vectored()
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(cx)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(cx)
    }
}
