//! Crest factor of a shaped waveform: what an amplifier must leave free above the mean.

use num_complex::Complex;
use slantpath_quantity::to_db;

/// Envelope power over mean power, in dB, as it is exceeded with certain probabilities.
///
/// It is the complex envelope's; the carrier itself peaks 3.01 dB above it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Crest {
    /// Exceeded by one sample in a hundred.
    pub one_in_100_db: f64,
    /// Exceeded by one sample in a thousand.
    pub one_in_1000_db: f64,
    /// Exceeded by one sample in ten thousand; `None` with fewer than 100 000 samples.
    pub one_in_10000_db: Option<f64>,
    /// The highest of all; it grows with the number of samples.
    pub peak_db: f64,
    /// Samples.
    pub samples: usize,
}

impl Crest {
    /// Statistics of samples (at least four a symbol, so that no peak slips between). `None` for fewer than 1000
    /// samples or no power.
    pub fn of(x: &[Complex<f32>]) -> Option<Self> {
        if x.len() < 1000 {
            return None;
        }
        let mut p: Vec<f32> = x.iter().map(|z| z.norm_sqr()).collect();
        let mean = p.iter().map(|v| f64::from(*v)).sum::<f64>() / p.len() as f64;
        if !(mean > 0.0 && mean.is_finite()) {
            return None;
        }
        p.sort_unstable_by(|a, b| b.total_cmp(a));
        let at = |share: f64| {
            let i = (share * p.len() as f64).round() as usize;
            p.get(i).map(|v| to_db(f64::from(*v) / mean))
        };
        Some(Self {
            one_in_100_db: at(1e-2)?,
            one_in_1000_db: at(1e-3)?,
            one_in_10000_db: if p.len() >= 100_000 { at(1e-4) } else { None },
            peak_db: at(0.0)?,
            samples: p.len(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Constellation, Modulation, Pulse};
    use slantpath_stats::stream::{named_stream, uniform};

    #[test]
    fn crest_of_shaped_psk_and_apsk() {
        // Table by an independent simulation: 8 samples a symbol, 1e6 symbols; tolerance 0.15 dB for the exceeded
        // levels, 0.5 dB for the peak, which depends on the length (here 6e4 symbols, hence lower by up to that).
        for line in include_str!("../tests/data/psk_rrc_crest.csv")
            .lines()
            .filter(|l| l.contains("PSK"))
            .filter(|l| !l.starts_with('#'))
        {
            let f: Vec<&str> = line.split(',').collect();
            let (m, rate) = match f[0] {
                "QPSK" => (Modulation::Qpsk, "1/2"),
                "8PSK" => (Modulation::Psk8, "3/4"),
                "16APSK_2/3" => (Modulation::Apsk16, "2/3"),
                _ => (Modulation::Apsk32, "3/4"),
            };
            let c = Constellation::new(m, rate).unwrap();
            let mut rng = named_stream(7, f[0], 0);
            let s: Vec<Complex<f32>> = (0..60_000)
                .map(|_| {
                    let p = c.points[(uniform(&mut rng) * c.points.len() as f64) as usize];
                    Complex::new(p.re as f32, p.im as f32)
                })
                .collect();
            let pulse = Pulse::new(f[1].parse().unwrap(), 24).unwrap();
            let x = pulse.shape(&s, 30.0, 8.0, 8 * (s.len() - 60));
            let got = Crest::of(&x).unwrap();
            let want = |i: usize| f[i].parse::<f64>().unwrap();
            assert!((got.one_in_100_db - want(2)).abs() < 0.15, "{line} {got:?}");
            assert!(
                (got.one_in_1000_db - want(3)).abs() < 0.15,
                "{line} {got:?}"
            );
            assert!(
                (got.one_in_10000_db.unwrap() - want(4)).abs() < 0.15,
                "{line} {got:?}"
            );
            assert!((got.peak_db - want(5)).abs() < 0.5 + 0.3, "{line} {got:?}");
        }
    }
}
