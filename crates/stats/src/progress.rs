//! Progress and a cooperative stop, handed in by whoever starts a long computation. Nothing here is global.

use crate::StatsError;
use std::fmt;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

type Sink = dyn Fn(f64, &str) + Send + Sync;

/// Where a long computation says how far it is. Cheap to clone; may be called from any thread.
#[derive(Clone, Default)]
pub struct Progress {
    sink: Option<Arc<Sink>>,
    from: f64,
    width: f64,
}

impl Progress {
    /// Says nothing.
    pub fn silent() -> Self {
        Self::default()
    }
    /// Calls `sink(fraction, message)` with a fraction in 0..=1. Calls may arrive out of order and from several
    /// threads at once.
    pub fn new(sink: impl Fn(f64, &str) + Send + Sync + 'static) -> Self {
        Self {
            sink: Some(Arc::new(sink)),
            from: 0.0,
            width: 1.0,
        }
    }
    /// Reports `fraction` (0..=1) of this handle's own part of the work.
    pub fn report(&self, fraction: f64, message: &str) {
        if let Some(sink) = &self.sink {
            sink(self.from + self.width * fraction.clamp(0.0, 1.0), message);
        }
    }
    /// A handle for the part of the work between the fractions `from` and `to`.
    pub fn part(&self, from: f64, to: f64) -> Self {
        Self {
            sink: self.sink.clone(),
            from: self.from + self.width * from,
            width: self.width * (to - from),
        }
    }
}

impl fmt::Debug for Progress {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Progress")
            .field("silent", &self.sink.is_none())
            .finish()
    }
}

/// A flag that asks a long computation to end early. Clones share the flag.
#[derive(Debug, Clone, Default)]
pub struct Stop(Arc<AtomicBool>);

impl Stop {
    /// Not yet requested.
    pub fn new() -> Self {
        Self::default()
    }
    /// Asks every holder of a clone to stop.
    pub fn request(&self) {
        self.0.store(true, Ordering::Relaxed);
    }
    /// Whether a stop was requested.
    pub fn is_requested(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }
    /// `Err(StatsError::Stopped)` once a stop was requested, for use with `?` inside a loop.
    pub fn check(&self) -> Result<(), StatsError> {
        if self.is_requested() {
            Err(StatsError::Stopped)
        } else {
            Ok(())
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::Mutex;

    #[test]
    fn parts_nest() {
        let seen = Arc::new(Mutex::new(Vec::new()));
        let keep = seen.clone();
        let p = Progress::new(move |x, m| keep.lock().unwrap().push((x, m.to_string())));
        p.part(0.5, 1.0)
            .part(0.0, 0.5)
            .report(1.0, "half of the second half");
        p.report(7.0, "too far");
        let seen = seen.lock().unwrap();
        assert_eq!(seen[0], (0.75, "half of the second half".to_string()));
        assert_eq!(seen[1].0, 1.0);
    }

    #[test]
    fn clones_share_the_flag() {
        let stop = Stop::new();
        let other = stop.clone();
        assert_eq!(other.check(), Ok(()));
        stop.request();
        assert_eq!(other.check(), Err(StatsError::Stopped));
    }
}
