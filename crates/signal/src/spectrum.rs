//! Averaged power spectral density (P. D. Welch, IEEE Trans. AU-15, 1967), always averaged as power.

use crate::{BankPlan, C32, FrameBank};
use std::ops::Range;

/// Power spectral density in full scale squared per hertz, lowest frequency first.
#[derive(Debug, Clone, PartialEq)]
pub struct Spectrum {
    /// Sample rate, Hz.
    pub sample_rate_hz: f64,
    /// Density of each bin; bin `n/2` is the recording's centre.
    pub psd: Vec<f64>,
    /// Frames averaged, overlapping by half.
    pub frames: u64,
}

impl Spectrum {
    /// Welch's estimate of samples at hand: Hann window, half overlap, `n` bins (a power of two).
    pub fn of(x: &[C32], sample_rate_hz: f64, n: usize) -> Self {
        let mut bank = FrameBank::new(BankPlan::psd_only(sample_rate_hz, n));
        bank.push(x);
        bank.finish();
        bank.sums().spectrum()
    }

    /// Bins.
    pub fn len(&self) -> usize {
        self.psd.len()
    }

    /// True without bins.
    pub fn is_empty(&self) -> bool {
        self.psd.is_empty()
    }

    /// Distance of bins, Hz.
    pub fn bin_hz(&self) -> f64 {
        self.sample_rate_hz / self.psd.len().max(1) as f64
    }

    /// Frequency of a bin, Hz from the centre.
    pub fn freq(&self, bin: usize) -> f64 {
        (bin as f64 - (self.psd.len() / 2) as f64) * self.bin_hz()
    }

    /// Position of a frequency on the axis of bins.
    pub fn position(&self, f_hz: f64) -> f64 {
        f_hz / self.bin_hz() + (self.psd.len() / 2) as f64
    }

    /// Bins whose frequency lies in `lo..=hi`, cut at the ends of the band.
    pub fn range(&self, lo_hz: f64, hi_hz: f64) -> Range<usize> {
        let n = self.psd.len();
        let a = self.position(lo_hz).ceil().max(0.0) as usize;
        let b = (self.position(hi_hz).floor() + 1.0).max(0.0) as usize;
        a.min(n)..b.min(n).max(a.min(n))
    }

    /// Number of independent averages that the frames are worth in one bin: frames over `1 + 2 rho^2` with the Hann
    /// window's `rho = 1/6` at half overlap.
    pub fn averages(&self) -> f64 {
        (self.frames as f64 / HANN_VARIANCE_FACTOR).max(1e-9)
    }

    /// Relative variance of the mean density over `bins` neighbouring bins (`bins` much larger than one).
    ///
    /// Bins under a Hann window are correlated: squared correlation 4/9 for neighbours, 1/36 for the next ones, so
    /// that the mean of many varies `1 + 2 (4/9 + 1/36)` times more than that of independent ones.
    pub fn relative_variance(&self, bins: f64) -> f64 {
        HANN_BIN_FACTOR / (self.averages() * bins.max(1e-9))
    }

    /// Seconds observed.
    pub fn duration_s(&self) -> f64 {
        let n = self.psd.len() as f64;
        (self.frames as f64 + 1.0) * 0.5 * n / self.sample_rate_hz
    }

    /// Power over the bins, full scale squared.
    pub fn power(&self, bins: Range<usize>) -> f64 {
        self.psd
            .get(bins)
            .map_or(0.0, |p| p.iter().sum::<f64>() * self.bin_hz())
    }

    /// The same spectrum with `factor` bins averaged into one, for drawing.
    pub fn coarser(&self, factor: usize) -> Vec<(f64, f64)> {
        let factor = factor.max(1);
        self.psd
            .chunks(factor)
            .enumerate()
            .map(|(i, c)| {
                let mid = self.freq(i * factor) + 0.5 * (c.len() as f64 - 1.0) * self.bin_hz();
                (mid, c.iter().sum::<f64>() / c.len() as f64)
            })
            .collect()
    }
}

/// `1 + 2 rho^2` of Hann frames overlapping by half.
pub const HANN_VARIANCE_FACTOR: f64 = 1.0 + 2.0 / 36.0;
/// Extra variance of a mean over many bins because Hann bins are correlated.
pub const HANN_BIN_FACTOR: f64 = 1.0 + 2.0 * (4.0 / 9.0 + 1.0 / 36.0);

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha12Rng;
    use rand_distr::StandardNormal;

    fn noise(n: usize, seed: u64) -> Vec<C32> {
        let mut r = ChaCha12Rng::seed_from_u64(seed);
        let s = 0.5f64.sqrt();
        (0..n)
            .map(|_| {
                let a: f64 = r.sample(StandardNormal);
                let b: f64 = r.sample(StandardNormal);
                C32::new((s * a) as f32, (s * b) as f32)
            })
            .collect()
    }

    #[test]
    fn white_noise_has_its_density_and_the_stated_scatter() {
        // Variance 1 over 1 MHz: density 1e-6 per Hz. Scatter of bins and of the band mean against the formulas.
        let fs = 1e6;
        let (mut bins, mut means) = (Vec::new(), Vec::new());
        let mut rel = (0.0, 0.0);
        for seed in 0..60 {
            let s = Spectrum::of(&noise(60_000, seed), fs, 512);
            let r = s.range(-3e5, 3e5);
            let m = s.psd[r.clone()].iter().sum::<f64>() / r.len() as f64 * fs;
            bins.extend(s.psd[r.clone()].iter().step_by(7).map(|p| p * fs));
            means.push(m);
            rel = (1.0 / s.averages(), s.relative_variance(r.len() as f64));
        }
        let var = |v: &[f64]| {
            let m = v.iter().sum::<f64>() / v.len() as f64;
            (
                m,
                v.iter().map(|x| (x - m).powi(2)).sum::<f64>() / (v.len() - 1) as f64,
            )
        };
        let (m, v) = var(&bins);
        assert!((m - 1.0).abs() < 0.005, "{m}");
        assert!((v / rel.0 - 1.0).abs() < 0.12, "{v} {}", rel.0);
        let (_, v) = var(&means);
        assert!((v / rel.1 - 1.0).abs() < 0.5, "{v} {}", rel.1);
    }

    #[test]
    fn a_tone_keeps_its_power() {
        let (fs, n) = (48e3, 1024);
        let x: Vec<C32> = (0..48_000)
            .map(|i| {
                let a = std::f64::consts::TAU * 5_003.7 * i as f64 / fs;
                C32::new((0.25 * a.cos()) as f32, (0.25 * a.sin()) as f32)
            })
            .collect();
        let s = Spectrum::of(&x, fs, n);
        let p = s.power(s.range(4_000.0, 6_000.0));
        assert!((p / 0.0625 - 1.0).abs() < 1e-4, "{p}");
        let peak = (0..n)
            .max_by(|&a, &b| s.psd[a].total_cmp(&s.psd[b]))
            .unwrap();
        assert!((s.freq(peak) - 5_003.7).abs() < s.bin_hz());
    }
}
