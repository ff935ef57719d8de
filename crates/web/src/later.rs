//! Work that takes longer than a page may: one piece at a time, the newest first, its result kept for whoever asks again.

use std::collections::VecDeque;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

/// Results kept.
const KEPT: usize = 24;

type Work<T> = Box<dyn FnOnce() -> Result<T, String> + Send>;

struct Inner<T> {
    done: VecDeque<(String, Result<T, String>)>,
    running: Option<String>,
    /// At most one waits: who asked for something older asks again if it is still wanted.
    next: Option<(String, Work<T>)>,
}

struct Shared<T> {
    inner: Mutex<Inner<T>>,
    ended: Condvar,
}

/// Results by key, worked out in the background.
pub struct Later<T>(Arc<Shared<T>>);

impl<T> Default for Later<T> {
    fn default() -> Self {
        Self(Arc::new(Shared {
            inner: Mutex::new(Inner {
                done: VecDeque::new(),
                running: None,
                next: None,
            }),
            ended: Condvar::new(),
        }))
    }
}

impl<T> Shared<T> {
    fn lock(&self) -> MutexGuard<'_, Inner<T>> {
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl<T> Inner<T> {
    fn known(&self, key: &str) -> Option<&Result<T, String>> {
        self.done.iter().find(|(k, _)| k == key).map(|(_, r)| r)
    }
}

impl<T: Clone + Send + 'static> Later<T> {
    /// The result of that key, when it is there or comes within `patience`; else it is being worked out from now on.
    pub fn ask(
        &self,
        key: &str,
        patience: Duration,
        work: impl FnOnce() -> Result<T, String> + Send + 'static,
    ) -> Option<Result<T, String>> {
        let mut inner = self.0.lock();
        if let Some(r) = inner.known(key) {
            return Some(r.clone());
        }
        if inner.running.as_deref() != Some(key) {
            if inner.running.is_none() {
                inner.running = Some(key.to_string());
                let shared = Arc::clone(&self.0);
                let first: (String, Work<T>) = (key.to_string(), Box::new(work));
                std::thread::spawn(move || run(&shared, first));
            } else if inner.next.as_ref().is_none_or(|(k, _)| k != key) {
                inner.next = Some((key.to_string(), Box::new(work)));
            }
        }
        let (inner, _) = self
            .0
            .ended
            .wait_timeout_while(inner, patience, |i| i.known(key).is_none())
            .unwrap_or_else(PoisonError::into_inner);
        inner.known(key).cloned()
    }

    /// Whether it is being worked out, or waits for that.
    pub fn pending(&self, key: &str) -> bool {
        let inner = self.0.lock();
        inner.running.as_deref() == Some(key) || inner.next.as_ref().is_some_and(|(k, _)| k == key)
    }
}

fn run<T>(shared: &Shared<T>, first: (String, Work<T>)) {
    let mut at = Some(first);
    while let Some((key, work)) = at {
        let result = catch_unwind(AssertUnwindSafe(work))
            .unwrap_or_else(|_| Err("the computation failed; please report it".into()));
        let mut inner = shared.lock();
        if inner.done.len() >= KEPT {
            inner.done.pop_front();
        }
        inner.done.push_back((key, result));
        at = inner.next.take();
        inner.running = at.as_ref().map(|(k, _)| k.clone());
        drop(inner);
        shared.ended.notify_all();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::mpsc::channel;

    #[test]
    fn the_newest_is_next_and_a_result_is_kept() {
        let later = Later::<u32>::default();
        let (go, wait) = channel::<()>();
        let none = Duration::ZERO;
        let first = later.ask("a", none, move || {
            let _ = wait.recv();
            Ok(1)
        });
        assert!(first.is_none() && later.pending("a"));
        assert!(later.ask("b", none, || Ok(2)).is_none());
        assert!(later.ask("c", none, || Err("no".into())).is_none());
        assert!(later.pending("c") && !later.pending("b"));
        go.send(()).expect("it waits");
        let long = Duration::from_secs(20);
        let never = || -> Result<u32, String> { panic!("worked out again") };
        assert_eq!(later.ask("c", long, never), Some(Err("no".into())));
        assert_eq!(later.ask("a", none, never), Some(Ok(1)));
        assert_eq!(later.ask("b", long, || Ok(4)), Some(Ok(4)));
        // What breaks is an answer too, and blocks nothing.
        assert!(matches!(later.ask("d", long, never), Some(Err(_))));
        assert_eq!(later.ask("e", long, || Ok(5)), Some(Ok(5)));
    }
}
