//! Tapers of the discrete Fourier transform and what each costs.
//!
//! Definitions and figures of merit: F. J. Harris, "On the use of windows for harmonic analysis with the discrete
//! Fourier transform", Proc. IEEE 66 (1978), sections IV and V. Windows here are DFT-even (periodic): the sample at
//! index `n` would repeat the one at index 0.

use slantpath_quantity::amplitude_to_db;
use std::f64::consts::TAU;

/// A taper made of a few cosines.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Window {
    /// No taper.
    Rectangular,
    /// Two cosine terms, first sidelobe -31 dB, falling 18 dB per octave.
    Hann,
    /// Two cosine terms, first sidelobe cancelled.
    Hamming,
    /// Three terms.
    Blackman,
    /// Four terms, sidelobes below -92 dB (Harris 1978, minimum four-term).
    BlackmanHarris,
    /// Four terms, Nuttall's minimum (A. H. Nuttall, IEEE Trans. ASSP-29, 1981).
    Nuttall,
    /// Five terms, amplitude error of a line below 0.01 dB.
    FlatTop,
}

impl Window {
    /// Every window.
    pub const ALL: [Window; 7] = [
        Window::Rectangular,
        Window::Hann,
        Window::Hamming,
        Window::Blackman,
        Window::BlackmanHarris,
        Window::Nuttall,
        Window::FlatTop,
    ];

    /// Coefficients a_0, a_1 ... of `sum (-1)^k a_k cos(2 pi k i / n)`.
    fn terms(self) -> &'static [f64] {
        match self {
            Window::Rectangular => &[1.0],
            Window::Hann => &[0.5, 0.5],
            Window::Hamming => &[0.54, 0.46],
            Window::Blackman => &[0.42, 0.5, 0.08],
            Window::BlackmanHarris => &[0.358_75, 0.488_29, 0.141_28, 0.011_68],
            Window::Nuttall => &[0.363_581_9, 0.489_177_5, 0.136_599_5, 0.010_641_1],
            Window::FlatTop => &[
                0.215_578_95,
                0.416_631_58,
                0.277_263_158,
                0.083_578_947,
                0.006_947_368,
            ],
        }
    }

    /// The `n` coefficients, peak 1 at index `n/2` (rectangular: all 1).
    pub fn coefficients(self, n: usize) -> Vec<f64> {
        (0..n)
            .map(|i| {
                let x = TAU * i as f64 / n as f64;
                self.terms()
                    .iter()
                    .enumerate()
                    .map(|(k, a)| if k % 2 == 0 { *a } else { -*a } * (k as f64 * x).cos())
                    .sum()
            })
            .collect()
    }

    /// Equivalent noise bandwidth in bins, `n sum w^2 / (sum w)^2` (Harris 1978, eq. 11): Hann 1.5.
    pub fn enbw_bins(self, n: usize) -> f64 {
        let w = self.coefficients(n);
        let s: f64 = w.iter().sum();
        let s2: f64 = w.iter().map(|x| x * x).sum();
        n as f64 * s2 / (s * s)
    }

    /// Magnitude of the correlation of two frames that overlap by half, `sum w_i w_{i+n/2} / sum w^2` (Harris 1978, eq. 18).
    pub fn half_overlap_correlation(self, n: usize) -> f64 {
        let w = self.coefficients(n);
        let s2: f64 = w.iter().map(|x| x * x).sum();
        let h = n / 2;
        ((0..n - h).map(|i| w[i] * w[i + h]).sum::<f64>() / s2).abs()
    }

    /// Factor `1 + 2 rho^2` by which frames overlapping by half vary more than as many independent ones
    /// (P. D. Welch, IEEE Trans. AU-15, 1967; large number of frames).
    pub fn welch_variance_factor(self, n: usize) -> f64 {
        let rho = self.half_overlap_correlation(n);
        1.0 + 2.0 * rho * rho
    }

    /// Loss of a line half a bin off, dB, positive (Harris 1978, section IV.E).
    pub fn scalloping_db(self, n: usize) -> f64 {
        let w = self.coefficients(n);
        let s: f64 = w.iter().sum();
        let (mut re, mut im) = (0.0, 0.0);
        for (i, x) in w.iter().enumerate() {
            let a = std::f64::consts::PI * i as f64 / n as f64;
            re += x * a.cos();
            im += x * a.sin();
        }
        -amplitude_to_db(re.hypot(im) / s)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Table computed with scipy 1.17.1 for N = 4096 (and, for Hann, Harris 1978 table I: 1.5, 16.7 %, 1.42 dB).
    /// window, ENBW, overlap correlation, variance factor, scalloping dB. Tolerance 1e-5.
    const TABLE: &str = include_str!("../tests/data/window_props.csv");

    #[test]
    fn figures_of_merit_agree_with_table() {
        let mut seen = 0;
        for line in TABLE
            .lines()
            .filter(|l| !l.starts_with('#') && !l.starts_with("window"))
        {
            let f: Vec<&str> = line.split(',').collect();
            let w = match f[0] {
                "boxcar" => Window::Rectangular,
                "hann" => Window::Hann,
                "hamming" => Window::Hamming,
                "blackman" => Window::Blackman,
                "blackmanharris" => Window::BlackmanHarris,
                "flattop" => Window::FlatTop,
                "nuttall" => Window::Nuttall,
                other => panic!("unknown window {other}"),
            };
            let n: usize = f[1].parse().unwrap();
            let want: Vec<f64> = f[2..].iter().map(|s| s.parse().unwrap()).collect();
            let got = [
                w.enbw_bins(n),
                w.half_overlap_correlation(n),
                w.half_overlap_correlation(n).powi(2),
                w.welch_variance_factor(n),
                w.scalloping_db(n),
            ];
            for (g, t) in got.iter().zip(&want) {
                assert!((g - t).abs() < 1e-5, "{w:?}: {g} against {t}");
            }
            seen += 1;
        }
        assert_eq!(seen, Window::ALL.len());
    }
}
