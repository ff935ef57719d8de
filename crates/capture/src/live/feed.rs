//! Between a source that does not wait and a measurement that may be slow: a queue of bounded length. When it is full the
//! oldest samples go, are counted, and the gap is handed on.

use slantpath_signal::C32;
use std::collections::VecDeque;
use std::sync::{Condvar, Mutex};
use std::time::Duration;

/// Some samples, and how many are missing before them.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Piece {
    /// Samples lost just before these.
    pub lost_before: u64,
    /// In the order in which they came.
    pub samples: Vec<C32>,
}

#[derive(Debug, Default)]
struct Held {
    pieces: VecDeque<Piece>,
    samples: usize,
    /// Lost since the last piece that is still here.
    lost: u64,
    closed: bool,
}

/// The queue.
#[derive(Debug)]
pub struct Feed {
    held: Mutex<Held>,
    came: Condvar,
    most: usize,
}

impl Feed {
    /// A queue that holds `most` samples, at least one piece.
    pub fn new(most: usize) -> Self {
        Self {
            held: Mutex::new(Held::default()),
            came: Condvar::new(),
            most,
        }
    }

    /// Puts samples in, at once whatever the other side does. False when the other side has left.
    pub fn put(&self, samples: Vec<C32>) -> bool {
        let Ok(mut h) = self.held.lock() else {
            return false;
        };
        if h.closed {
            return false;
        }
        h.samples += samples.len();
        h.pieces.push_back(Piece {
            lost_before: 0,
            samples,
        });
        while h.samples > self.most && h.pieces.len() > 1 {
            if let Some(old) = h.pieces.pop_front() {
                h.samples -= old.samples.len();
                h.lost += old.lost_before + old.samples.len() as u64;
            }
        }
        let lost = std::mem::take(&mut h.lost);
        if let Some(first) = h.pieces.front_mut() {
            first.lost_before += lost;
        }
        self.came.notify_one();
        true
    }

    /// Says that samples were lost before the next ones: a source that counts its own losses.
    pub fn lost(&self, samples: u64) {
        if let Ok(mut h) = self.held.lock() {
            if h.pieces.is_empty() {
                h.lost += samples;
            } else {
                h.pieces.push_back(Piece {
                    lost_before: samples,
                    samples: Vec::new(),
                });
            }
        }
    }

    /// The oldest samples, or `None` when none came within `wait`.
    pub fn take(&self, wait: Duration) -> Option<Piece> {
        let h = self.held.lock().ok()?;
        let (mut h, _) = self
            .came
            .wait_timeout_while(h, wait, |h| h.pieces.is_empty() && !h.closed)
            .ok()?;
        let mut p = h.pieces.pop_front()?;
        h.samples -= p.samples.len();
        p.lost_before += std::mem::take(&mut h.lost);
        Some(p)
    }

    /// Samples waiting.
    pub fn waiting(&self) -> usize {
        self.held.lock().map_or(0, |h| h.samples)
    }

    /// No more is wanted; [`Feed::put`] says so from now on.
    pub fn close(&self) {
        if let Ok(mut h) = self.held.lock() {
            h.closed = true;
        }
        self.came.notify_all();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn piece(n: usize, v: f32) -> Vec<C32> {
        vec![C32::new(v, 0.0); n]
    }

    #[test]
    fn a_full_queue_loses_the_oldest_and_counts_them() {
        let f = Feed::new(100);
        for k in 0..10 {
            assert!(f.put(piece(30, k as f32)));
            assert!(f.waiting() <= 100);
        }
        let (mut lost, mut got, mut first) = (0, 0, None);
        while let Some(p) = f.take(Duration::ZERO) {
            lost += p.lost_before;
            first = first.or(p.samples.first().map(|x| x.re));
            got += p.samples.len() as u64;
        }
        assert_eq!((lost, got), (210, 90));
        assert_eq!(first, Some(7.0));
        // A gap that a source reports stands before what follows it.
        f.lost(5);
        f.put(piece(1, 0.0));
        assert_eq!(f.take(Duration::ZERO).map(|p| p.lost_before), Some(5));
        f.close();
        assert!(!f.put(piece(1, 0.0)));
    }
}
