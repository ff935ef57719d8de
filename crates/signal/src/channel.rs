//! A stretch of one narrow channel, looked at with the full resolution of its length.

use crate::{C32, C64, plans};
use std::f64::consts::PI;

/// Transform of a stretch of channel samples.
pub struct Block {
    /// Sample rate, Hz.
    pub rate_hz: f64,
    /// Transform, zero frequency first, unnormalised.
    spectrum: Vec<C64>,
}

/// Samples of a sub-band of a block.
#[derive(Debug, Clone)]
pub struct SubBand {
    /// Samples, mixed so that `centre_hz` is zero; their mean power is the power within the band.
    pub z: Vec<C64>,
    /// Sample rate, Hz.
    pub rate_hz: f64,
    /// Frequency of zero, Hz from the channel's centre, on the grid of the block's transform.
    pub centre_hz: f64,
    /// Equivalent noise bandwidth: white noise of density N0 has mean power `N0 * enbw`.
    pub enbw_hz: f64,
}

impl Block {
    /// Transforms the samples, shortened by at most a few per mil to a length with small factors.
    pub fn new(y: &[C32], rate_hz: f64) -> Self {
        let wide: Vec<C64> = y
            .iter()
            .map(|z| C64::new(f64::from(z.re), f64::from(z.im)))
            .collect();
        Self::of(&wide, rate_hz)
    }

    /// The same from samples in double precision.
    pub fn of(y: &[C64], rate_hz: f64) -> Self {
        let n = smooth_length(y.len());
        let mut spectrum: Vec<C64> = y.iter().take(n).copied().collect();
        if !spectrum.is_empty() {
            plans::forward(spectrum.len()).process(&mut spectrum);
        }
        Self { rate_hz, spectrum }
    }

    /// Samples.
    pub fn len(&self) -> usize {
        self.spectrum.len()
    }

    /// True without samples.
    pub fn is_empty(&self) -> bool {
        self.spectrum.is_empty()
    }

    /// Seconds.
    pub fn duration_s(&self) -> f64 {
        self.len() as f64 / self.rate_hz
    }

    /// Distance of bins, Hz.
    pub fn bin_hz(&self) -> f64 {
        self.rate_hz / self.len().max(1) as f64
    }

    fn bin(&self, k: i64) -> C64 {
        let n = self.len() as i64;
        if n == 0 {
            return C64::default();
        }
        self.spectrum[k.rem_euclid(n) as usize]
    }

    /// Density of bin `k` (signed, from the channel's centre), full scale squared per hertz.
    pub fn density(&self, k: i64) -> f64 {
        self.bin(k).norm_sqr() / (self.len() as f64 * self.rate_hz)
    }

    /// Nearest bin of a frequency.
    pub fn nearest(&self, f_hz: f64) -> i64 {
        (f_hz / self.bin_hz()).round() as i64
    }

    /// Power between two frequencies and the bandwidth of the bins summed.
    pub fn power(&self, lo_hz: f64, hi_hz: f64) -> (f64, f64) {
        let (a, b) = (self.nearest(lo_hz), self.nearest(hi_hz));
        let df = self.bin_hz();
        let p = (a..=b).map(|k| self.density(k)).sum::<f64>() * df;
        (p, (b - a + 1) as f64 * df)
    }

    /// Cuts the band of total width `width_hz` (cosine edges take a fifth of it on each side) around `centre_hz`,
    /// at a rate of at least twice that width.
    pub fn sub_band(&self, centre_hz: f64, width_hz: f64) -> SubBand {
        let df = self.bin_hz();
        let c = self.nearest(centre_hz);
        let half = (0.5 * width_hz / df).max(1.0);
        let want = (4.0 * half).ceil() as usize;
        let m = smooth_length_up(want.max(8)).min(self.len().max(1));
        let taper = 0.4 * half;
        let mut z = vec![C64::default(); m];
        let mut enbw = 0.0;
        for (i, v) in z.iter_mut().enumerate() {
            let k = if i <= m / 2 {
                i as i64
            } else {
                i as i64 - m as i64
            };
            let x = (k as f64).abs();
            let h = if x <= half - taper {
                1.0
            } else if x >= half {
                0.0
            } else {
                0.5 * (1.0 + (PI * (x - half + taper) / taper).cos())
            };
            if h > 0.0 {
                *v = self.bin(c + k) * (h / self.len() as f64);
                enbw += h * h * df;
            }
        }
        plans::inverse(m).process(&mut z);
        SubBand {
            z,
            rate_hz: df * m as f64,
            centre_hz: c as f64 * df,
            enbw_hz: enbw,
        }
    }
}

fn is_smooth(mut n: usize) -> bool {
    for p in [2, 3, 5, 7] {
        while n > 1 && n.is_multiple_of(p) {
            n /= p;
        }
    }
    n <= 1
}

/// Largest number not above `n` without prime factors above 7.
pub fn smooth_length(n: usize) -> usize {
    (1..=n).rev().find(|&k| is_smooth(k)).unwrap_or(0)
}

fn smooth_length_up(n: usize) -> usize {
    (n..).find(|&k| is_smooth(k)).unwrap_or(n)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_and_its_sub_band() {
        let (rate, f) = (20e3, 3_210.7);
        let y: Vec<C32> = (0..40_000)
            .map(|i| {
                let a = std::f64::consts::TAU * f * i as f64 / rate;
                C32::new((0.5 * a.cos()) as f32, (0.5 * a.sin()) as f32)
            })
            .collect();
        let b = Block::new(&y, rate);
        assert!((b.power(3_000.0, 3_400.0).0 / 0.25 - 1.0).abs() < 2e-3);
        let s = b.sub_band(3_200.0, 400.0);
        let mid = &s.z[s.z.len() / 10..s.z.len() * 9 / 10];
        let p = mid.iter().map(|z| z.norm_sqr()).sum::<f64>() / mid.len() as f64;
        assert!((p / 0.25 - 1.0).abs() < 1e-3, "{p}");
        assert!((s.enbw_hz / 400.0 - 0.75).abs() < 0.01, "{}", s.enbw_hz);
    }

    #[test]
    fn lengths_lose_little() {
        for n in [77_777, 96_001, 1_000_003, 4_999] {
            let s = smooth_length(n);
            assert!(s <= n && (n - s) as f64 / (n as f64) < 0.025, "{n} {s}");
        }
    }
}
