//! Peak envelope power of a carrier in a recording.

use crate::WorkflowError;
use slantpath_capture::signals::Signal;
use slantpath_capture::source::{OpenOptions, open};
use slantpath_plan::Known;
use slantpath_quantity::decibel::db_of_relative_u;
use slantpath_quantity::{from_db, to_db};
use slantpath_signal::envelope::crest;
use slantpath_signal::{Block, C32};
use std::path::Path;

/// Samples read at most: their transform is held in memory.
const MOST: usize = 1 << 22;
/// Shares of the time for which the envelope passes its peak, the first that a recording is long enough for. A thousandth
/// is what a level meter with a short hold shows (common practice, no source).
const PASSED: [f64; 2] = [1e-3, 1e-2];

/// The head of a recording, ready for cutting out carriers.
pub(super) struct Heard {
    block: Block,
}

/// Peak envelope power of one carrier.
#[derive(Debug, Clone, Copy)]
pub(super) struct Peak {
    /// In full scale, dB, with standard uncertainty.
    pub dbfs: Known,
    /// Share of the time for which it is passed.
    pub passed: f64,
    /// Bandwidth of the filter before it, Hz.
    pub width_hz: f64,
    /// Seconds used.
    pub seconds: f64,
}

impl Heard {
    /// Reads the head of a recording.
    pub(super) fn open(path: &Path, rate_hz: f64, o: &OpenOptions) -> Result<Self, WorkflowError> {
        let mut source = open(path, o)?;
        let mut all: Vec<C32> = Vec::new();
        let mut part = vec![C32::default(); 1 << 16];
        while all.len() < MOST {
            let got = source.read(&mut part)?;
            if got == 0 {
                break;
            }
            all.extend(part.iter().take(got).map(|z| {
                if z.re.is_finite() && z.im.is_finite() {
                    *z
                } else {
                    C32::default()
                }
            }));
        }
        Ok(Self {
            block: Block::new(&all, rate_hz),
        })
    }

    /// The peak envelope power of a signal that was found; `None` when the recording is too short for one.
    pub(super) fn peak(&self, g: &Signal) -> Option<Peak> {
        // The filter's flat part is six tenths of its width: all of the signal and a little more.
        let width_hz = g.bandwidth_hz / 0.6 + 200.0;
        let n0 = from_db(g.level_dbfs - g.c_n_db.0) / g.bandwidth_hz;
        let cut = self.block.sub_band(g.centre_hz, width_hz);
        PASSED.iter().find_map(|&passed| {
            let c = crest(&cut.z, n0 * cut.enbw_hz, passed)?;
            Some(Peak {
                dbfs: Known::new(to_db(c.power), db_of_relative_u(c.relative_u)),
                passed,
                width_hz: 0.8 * width_hz,
                seconds: self.block.duration_s(),
            })
        })
    }
}
