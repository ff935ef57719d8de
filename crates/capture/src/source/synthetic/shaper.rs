//! A linear-phase filter from a wanted power response: frequency sampling, and overlap-save to apply it.

use std::sync::Arc;

use num_complex::Complex;
use rustfft::{Fft, FftPlanner};

/// Length of the transform.
const N: usize = 8192;
/// Half the length of the impulse response: its delay.
pub(super) const DELAY: usize = 511;
/// Length of the impulse response.
const TAPS: usize = 2 * DELAY + 1;
/// New samples a round.
const HOP: usize = N - TAPS + 1;

/// A filter with its memory.
pub(super) struct Shaper {
    forward: Arc<dyn Fft<f64>>,
    backward: Arc<dyn Fft<f64>>,
    /// Spectrum of the impulse response, scaled for the unnormalised transforms.
    response: Vec<Complex<f64>>,
    /// The last `TAPS - 1` inputs.
    memory: Vec<Complex<f64>>,
    work: Vec<Complex<f64>>,
    scratch: Vec<Complex<f64>>,
}

impl Shaper {
    /// A filter whose power response is `density` (over offset in Hz), smoothed over about four bins of a
    /// thousandth of the sample rate by the window.
    pub(super) fn new(sample_rate_hz: f64, density: impl Fn(f64) -> f64) -> Self {
        let mut planner = FftPlanner::new();
        let (forward, backward) = (planner.plan_fft_forward(N), planner.plan_fft_inverse(N));
        let wanted: Vec<Complex<f64>> = (0..N)
            .map(|k| {
                let k = if k < N / 2 {
                    k as f64
                } else {
                    k as f64 - N as f64
                };
                Complex::new(
                    density(k * sample_rate_hz / N as f64).sqrt() / N as f64,
                    0.0,
                )
            })
            .collect();
        let mut h = wanted;
        backward.process(&mut h);
        // The response is centred on sample 0; a window cuts it, then it is delayed to become causal.
        let mut taps = vec![Complex::default(); N];
        for (k, tap) in taps.iter_mut().enumerate().take(TAPS) {
            let m = k as f64 - DELAY as f64;
            let window = 0.5 + 0.5 * (std::f64::consts::PI * m / (DELAY as f64 + 1.0)).cos();
            let at = (k + N - DELAY) % N;
            *tap = h.get(at).copied().unwrap_or_default() * window;
        }
        forward.process(&mut taps);
        for z in &mut taps {
            *z /= N as f64;
        }
        Self {
            forward,
            backward,
            response: taps,
            memory: vec![Complex::default(); TAPS - 1],
            work: vec![Complex::default(); N],
            scratch: vec![Complex::default(); N],
        }
    }

    /// Puts `samples` into the memory without giving anything out.
    pub(super) fn prime(&mut self, samples: &[Complex<f64>]) {
        self.memory.extend_from_slice(samples);
        let cut = self.memory.len() - (TAPS - 1);
        self.memory.drain(..cut);
    }

    /// Filters in place; the output is [`DELAY`] samples behind the input.
    pub(super) fn apply(&mut self, samples: &mut [Complex<f64>]) {
        for part in samples.chunks_mut(HOP) {
            self.work.clear();
            self.work.extend_from_slice(&self.memory);
            self.work.extend_from_slice(part);
            self.work.resize(N, Complex::default());
            self.prime(part);
            self.scratch.resize(
                self.forward
                    .get_inplace_scratch_len()
                    .max(self.backward.get_inplace_scratch_len()),
                Complex::default(),
            );
            self.forward
                .process_with_scratch(&mut self.work, &mut self.scratch);
            for (z, h) in self.work.iter_mut().zip(&self.response) {
                *z *= h;
            }
            self.backward
                .process_with_scratch(&mut self.work, &mut self.scratch);
            for (out, z) in part.iter_mut().zip(self.work.iter().skip(TAPS - 1)) {
                *out = *z;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tone_leaves_with_the_wanted_power_and_phase_at_any_block_size() {
        let fs = 1000.0;
        let density = |f: f64| 1.0 + f / 1000.0;
        let tone = |n: usize| -> Vec<Complex<f64>> {
            (0..n)
                .map(|k| Complex::cis(std::f64::consts::TAU * 0.2 * k as f64))
                .collect()
        };
        let mut whole = tone(20_000);
        Shaper::new(fs, density).apply(&mut whole);
        let last = whole[19_000];
        let want = 1.2f64.sqrt();
        assert!((last.norm() - want).abs() < 1e-4, "{}", last.norm());
        let phase = Complex::cis(std::f64::consts::TAU * 0.2 * (19_000 - DELAY) as f64);
        assert!((last / want - phase).norm() < 1e-4);
        let mut parts = tone(20_000);
        let mut shaper = Shaper::new(fs, density);
        for part in parts.chunks_mut(777) {
            shaper.apply(part);
        }
        for (a, b) in whole.iter().zip(&parts) {
            assert!((a - b).norm() < 1e-12);
        }
    }
}
