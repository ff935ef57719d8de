//! Whole PLFRAMEs of symbols with a random payload.

use crate::frame::SLOT;
use crate::{Constellation, Frame, PlHeader, Scrambler, WaveformError};
use num_complex::Complex;
use slantpath_stats::stream::{named_stream, uniform};
use std::f64::consts::FRAC_1_SQRT_2;

/// A modulator for one kind of frame.
///
/// The payload is random constellation points, which is what coded and scrambled data look like; header, pilots and
/// scrambling are the standard's.
#[derive(Debug, Clone)]
pub struct Modulator {
    frame: Frame,
    constellation: Option<Constellation>,
    scrambler: Scrambler,
    seed: u64,
}

impl Modulator {
    /// A modulator with a scrambling code (0 for broadcast) and a seed of its payload.
    ///
    /// # Errors
    /// The standard has no such frame.
    pub fn new(frame: Frame, scrambling_code: u32, seed: u64) -> Result<Self, WaveformError> {
        frame.check()?;
        Ok(Self {
            frame,
            constellation: Constellation::of(&frame),
            scrambler: Scrambler::new(scrambling_code),
            seed,
        })
    }

    /// The kind of frame.
    pub fn frame(&self) -> &Frame {
        &self.frame
    }

    /// PLFRAME number `index`: header, scrambled payload and pilots, all of unit mean power.
    pub fn frame_symbols(&self, index: u64) -> Vec<Complex<f32>> {
        let mut rng = named_stream(self.seed, "payload", index);
        let diagonal = Complex::new(FRAC_1_SQRT_2 as f32, FRAC_1_SQRT_2 as f32);
        let mut out: Vec<Complex<f32>> = PlHeader::of(&self.frame)
            .symbols()
            .iter()
            .map(|z| Complex::new(z.re as f32, z.im as f32))
            .collect();
        // Pilots, and a dummy frame's slots, are unmodulated (1 + j)/sqrt 2 before scrambling (5.5.1, 5.5.3).
        out.resize(self.frame.symbols(), diagonal);
        if let Some(c) = &self.constellation {
            for r in self.frame.payload_ranges() {
                for z in out.get_mut(r).unwrap_or(&mut []) {
                    let i = (uniform(&mut rng) * c.points.len() as f64) as usize;
                    let p = c.points.get(i).copied().unwrap_or_default();
                    *z = Complex::new(p.re as f32, p.im as f32);
                }
            }
        }
        for (i, z) in out.iter_mut().skip(SLOT).enumerate() {
            *z = self.scrambler.scramble(i, *z);
        }
        out
    }

    /// At least `count` symbols from the start of frame 0.
    pub fn symbols(&self, count: usize) -> Vec<Complex<f32>> {
        let frames = count.div_ceil(self.frame.symbols()).max(1);
        (0..frames as u64)
            .flat_map(|i| self.frame_symbols(i))
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{FecFrame, modcod};

    #[test]
    fn frames_hold_what_the_standard_says() {
        let frame = Frame {
            modcod: modcod("8PSK 3/4").unwrap().number,
            fecframe: FecFrame::Short,
            pilots: true,
        };
        let m = Modulator::new(frame, 3, 7).unwrap();
        let s = m.symbols(6_000);
        assert_eq!(s.len(), 2 * frame.symbols());
        let scrambler = Scrambler::new(3);
        let c = Constellation::of(&frame).unwrap();
        let mut seen = [0; 8];
        for f in s.chunks(frame.symbols()) {
            for (a, b) in f.iter().zip(PlHeader::of(&frame).symbols()) {
                assert!((f64::from(a.re) - b.re).hypot(f64::from(a.im) - b.im) < 1e-6);
            }
            let plain = |i: usize| {
                let z = scrambler.descramble(i - SLOT, f[i]);
                Complex::new(f64::from(z.re), f64::from(z.im))
            };
            for i in frame.pilot(1) {
                assert!((plain(i) - Complex::new(FRAC_1_SQRT_2, FRAC_1_SQRT_2)).norm() < 1e-6);
            }
            for i in frame.payload_ranges().flatten() {
                let (k, p) = c.nearest(plain(i));
                assert!((plain(i) - p).norm() < 1e-6);
                seen[k] += 1;
            }
        }
        assert!(seen.iter().all(|n| *n > 1_000));
        // The same seed is the same frame, another frame another payload.
        assert_eq!(m.frame_symbols(1), s[frame.symbols()..]);
        assert_ne!(m.frame_symbols(0), m.frame_symbols(1));
    }

    #[test]
    fn what_the_standard_does_not_have_is_refused() {
        let frame = Frame {
            modcod: 11,
            fecframe: FecFrame::Short,
            pilots: false,
        };
        assert!(Modulator::new(frame, 0, 0).is_err());
    }
}
