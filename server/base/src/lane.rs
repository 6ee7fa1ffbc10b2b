//! Threads of their own for answers that take long: statements, years, plans, reviews. They yield to everything else on the machine, and
//! so do the readers that they ask, so that somebody who signs in or sends a record never stands behind them.

use std::io;

use tokio::{
    runtime::{Builder, Runtime},
    sync::Semaphore,
    task::JoinHandle,
};

tokio::task_local! {
    /// Set while a long answer is made.
    static LONG: ();
}

/// Long answers that are made at once where the operator says nothing.
pub const USUAL_AT_ONCE: usize = 2;
/// How much the threads yield: that of a program started by `nice`.
const YIELDING: i32 = 10;

/// The threads, and how many answers they make at once.
#[derive(Debug)]
pub struct Lane {
    /// Taken only as the lane ends.
    runtime: Option<Runtime>,
    turns: Semaphore,
}

impl Lane {
    pub fn new(at_once: usize) -> io::Result<Self> {
        let runtime = Builder::new_multi_thread()
            .worker_threads(at_once)
            .thread_name("long-answers")
            .on_thread_start(yield_to_others)
            .enable_all()
            .build()?;
        Ok(Self { runtime: Some(runtime), turns: Semaphore::new(at_once) })
    }

    /// Does the work on a thread of the lane, without a turn: for what opens the lane's own readers. Nothing where it ended in a panic,
    /// or the lane itself ends.
    pub async fn run<F>(&self, work: F) -> Option<F::Output>
    where
        F: Future + Send + 'static,
        F::Output: Send + 'static,
    {
        let mut task = Ends(self.runtime.as_ref()?.spawn(LONG.scope((), work)));
        (&mut task.0).await.ok()
    }

    /// The same once its turn has come. Whoever hangs up gives it up.
    pub async fn run_in_turn<F>(&self, work: F) -> Option<F::Output>
    where
        F: Future + Send + 'static,
        F::Output: Send + 'static,
    {
        let _turn = self.turns.acquire().await.ok()?;
        self.run(work).await
    }
}

impl Drop for Lane {
    fn drop(&mut self) {
        // Never waiting for it: it may be dropped where nothing may wait.
        if let Some(runtime) = self.runtime.take() {
            runtime.shutdown_background();
        }
    }
}

/// Work that nobody waits for any more ends.
struct Ends<T>(JoinHandle<T>);

impl<T> Drop for Ends<T> {
    fn drop(&mut self) {
        self.0.abort();
    }
}

/// Lets every other thread go first. Where the system does not allow it, this one is a thread like any other.
pub fn yield_to_others() {
    let _ = rustix::process::setpriority_process(None, YIELDING);
}

/// Whether whoever asks is making a long answer.
pub fn is_here() -> bool {
    LONG.try_with(|()| ()).is_ok()
}

#[cfg(test)]
mod tests {
    use std::{sync::Arc, time::Duration};

    use super::*;

    #[tokio::test]
    async fn work_knows_where_it_is_done_and_yields() {
        let lane = Lane::new(1).unwrap();
        assert!(!is_here());
        let priority = || rustix::process::getpriority_process(None).unwrap();
        let (there, nice) = lane.run_in_turn(async move { (is_here(), priority()) }).await.unwrap();
        assert!(there);
        assert_eq!(nice, priority().max(YIELDING));
    }

    #[tokio::test]
    async fn who_hangs_up_gives_up_the_turn_and_a_panic_ends_nothing_else() {
        let lane = Arc::new(Lane::new(1).unwrap());
        let hanging = Arc::clone(&lane);
        let caller = tokio::spawn(async move { hanging.run_in_turn(std::future::pending::<()>()).await });
        tokio::time::sleep(Duration::from_millis(20)).await;
        caller.abort();
        assert_eq!(lane.run_in_turn(async { 1 }).await, Some(1));
        assert_eq!(lane.run_in_turn(async { assert!(!is_here(), "as asked for") }).await, None);
        assert_eq!(lane.run_in_turn(async { 2 }).await, Some(2));
    }
}
