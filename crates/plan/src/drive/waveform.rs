//! Test waveforms of unit mean power, periodic, so that neither edges nor windows blur their spectra.

use crate::error::{PlanError, Result, positive, within};
use num_complex::Complex64;
use rustfft::{Fft, FftPlanner};
use slantpath_quantity::{amplitude_from_db, from_db, to_db};
use slantpath_signal::pulse::raised_cosine;
use slantpath_stats::stream::{named_stream, normal};
use std::sync::Arc;

/// Samples a reference width (symbol rate, or width of the speech channel): products up to the seventh order of a
/// carrier with roll-off 0.35 do not fold back onto its shoulders.
pub(crate) const PER_WIDTH: usize = 8;

/// How speech is prepared before it drives the transmitter.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Speech {
    /// As it comes: peak to mean 12 dB (common practice, no source: 10 to 14 dB).
    Unprocessed,
    /// Compressed: peak to mean 7 dB (common practice, no source: 6 to 8 dB).
    Processed,
}

impl Speech {
    /// Ratio of the peak that is passed for one part in ten thousand of the time to the mean, dB.
    pub fn crest_db(self) -> f64 {
        match self {
            Self::Unprocessed => 12.0,
            Self::Processed => 7.0,
        }
    }
}

/// What a waveform is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum WaveformKind {
    /// Symbols shaped by a root-raised-cosine pulse.
    Symbols {
        /// Roll-off.
        rolloff: f64,
    },
    /// A steady carrier (telegraphy with the key down, frequency modulation).
    Carrier,
    /// Two equal tones.
    TwoTone,
    /// Single-sideband speech.
    Speech(Speech),
}

/// A periodic waveform of mean power one.
#[derive(Clone)]
pub struct Waveform {
    pub(crate) samples: Vec<Complex64>,
    pub(crate) symbols: Vec<Complex64>,
    pub(crate) kind: WaveformKind,
    pub(crate) forward: Arc<dyn Fft<f64>>,
    pub(crate) back: Option<Arc<dyn Fft<f64>>>,
}

impl std::fmt::Debug for Waveform {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Waveform")
            .field("kind", &self.kind)
            .field("samples", &self.samples.len())
            .field("symbols", &self.symbols.len())
            .finish_non_exhaustive()
    }
}

fn scaled(mut samples: Vec<Complex64>) -> Vec<Complex64> {
    let mean = mean_power(&samples);
    if mean > 0.0 {
        let k = 1.0 / mean.sqrt();
        samples.iter_mut().for_each(|z| *z *= k);
    }
    samples
}

pub(crate) fn mean_power(x: &[Complex64]) -> f64 {
    x.iter().map(Complex64::norm_sqr).sum::<f64>() / x.len().max(1) as f64
}

/// Ratio of the power that is passed by a share `p` of the samples to the mean, dB.
pub(crate) fn crest_db(x: &[Complex64], p: f64) -> f64 {
    let mut w: Vec<f64> = x.iter().map(Complex64::norm_sqr).collect();
    if w.is_empty() {
        return f64::NAN;
    }
    let k = ((1.0 - p) * (w.len() - 1) as f64).round() as usize;
    let (_, at, _) = w.select_nth_unstable_by(k, f64::total_cmp);
    to_db(*at / mean_power(x))
}

/// Frequency of bin `k` of `n`, in reference widths.
pub(crate) fn bin_frequency(k: usize, n: usize) -> f64 {
    let k = if 2 * k < n {
        k as f64
    } else {
        k as f64 - n as f64
    };
    k * PER_WIDTH as f64 / n as f64
}

impl Waveform {
    fn new(samples: Vec<Complex64>, symbols: Vec<Complex64>, kind: WaveformKind) -> Self {
        let mut planner = FftPlanner::new();
        Self {
            forward: planner.plan_fft_forward(samples.len()),
            back: (!symbols.is_empty()).then(|| planner.plan_fft_inverse(symbols.len())),
            samples: scaled(samples),
            symbols,
            kind,
        }
    }

    /// Symbols (at least 1024) shaped by a root-raised-cosine pulse (ETSI EN 302 307-1, 5.6), repeated for ever.
    ///
    /// # Errors
    /// Too few symbols, symbols without power, a roll-off outside 0.02..1.
    pub fn of_symbols(symbols: &[Complex64], rolloff: f64) -> Result<Self> {
        within(
            "the roll-off",
            rolloff,
            "",
            0.02..=1.0,
            "between 0.02 and 1",
        )?;
        within(
            "the number of symbols",
            symbols.len() as f64,
            "",
            1024.0..=16e6,
            "1024 or more",
        )?;
        positive("the symbols' mean power", mean_power(symbols), "")?;
        let (m, n) = (symbols.len(), symbols.len() * PER_WIDTH);
        let mut planner = FftPlanner::new();
        let mut spectrum = symbols.to_vec();
        planner.plan_fft_forward(m).process(&mut spectrum);
        // The spectrum of impulses repeats with the symbol rate; the pulse cuts its part out.
        let mut x: Vec<Complex64> = (0..n)
            .map(|k| spectrum[k % m] * raised_cosine(bin_frequency(k, n), 1.0, rolloff).sqrt())
            .collect();
        planner.plan_fft_inverse(n).process(&mut x);
        Ok(Self::new(
            x,
            symbols.to_vec(),
            WaveformKind::Symbols { rolloff },
        ))
    }

    /// A carrier of DVB-S2: header, payload and pilots of real frames, 8192 symbols of them.
    ///
    /// # Errors
    /// A frame that the standard does not have, a roll-off outside 0.02..1.
    pub fn dvb_s2(frame: slantpath_waveform::Frame, rolloff: f64, seed: u64) -> Result<Self> {
        const SYMBOLS: usize = 8192;
        let symbols: Vec<Complex64> = slantpath_waveform::Modulator::new(frame, 0, seed)?
            .symbols(SYMBOLS)
            .iter()
            .take(SYMBOLS)
            .map(|z| Complex64::new(f64::from(z.re), f64::from(z.im)))
            .collect();
        Self::of_symbols(&symbols, rolloff)
    }

    /// A steady carrier.
    pub fn carrier() -> Self {
        Self::new(
            vec![Complex64::new(1.0, 0.0); 1024],
            Vec::new(),
            WaveformKind::Carrier,
        )
    }

    /// Two equal tones one reference width apart.
    pub fn two_tone() -> Self {
        let n = 8192;
        let w = std::f64::consts::TAU * 0.5 / PER_WIDTH as f64;
        let samples = (0..n)
            .map(|k| Complex64::new(2.0 * (w * (k as f64 + 0.5)).cos(), 0.0))
            .collect();
        Self::new(samples, Vec::new(), WaveformKind::TwoTone)
    }

    /// A stand-in for speech on single sideband: band-limited noise whose level follows syllables, with the peak to
    /// mean ratio of [`Speech::crest_db`]. Processed speech is that noise limited in amplitude and filtered again, as a
    /// speech processor does. The reference width is the channel, 300 to 2700 Hz.
    pub fn speech(speech: Speech, seed: u64) -> Self {
        const N: usize = 1 << 16;
        const WIDTH_HZ: f64 = 2400.0;
        let mut rng = named_stream(seed, "speech", 0);
        let mut planner = FftPlanner::new();
        let (ahead, back) = (planner.plan_fft_forward(N), planner.plan_fft_inverse(N));
        let mut band = |half: f64| -> Vec<Complex64> {
            let mut x: Vec<Complex64> = (0..N)
                .map(|k| {
                    let z = Complex64::new(normal(&mut rng), normal(&mut rng));
                    if bin_frequency(k, N).abs() <= half {
                        z
                    } else {
                        Complex64::default()
                    }
                })
                .collect();
            back.process(&mut x);
            scaled(x)
        };
        let voice = band(0.5);
        // Syllables: about four a second (common practice, no source).
        let syllables: Vec<f64> = band(4.0 / WIDTH_HZ)
            .iter()
            .map(|z| z.re * std::f64::consts::SQRT_2)
            .collect();
        let filtered = |mut x: Vec<Complex64>| {
            ahead.process(&mut x);
            for (k, z) in x.iter_mut().enumerate() {
                if bin_frequency(k, N).abs() > 0.5 {
                    *z = Complex64::default();
                }
            }
            back.process(&mut x);
            scaled(x)
        };
        let shaped = |q: f64| -> Vec<Complex64> {
            match speech {
                Speech::Unprocessed => filtered(
                    voice
                        .iter()
                        .zip(&syllables)
                        .map(|(z, s)| z * (q * s).exp())
                        .collect(),
                ),
                Speech::Processed => {
                    let top = amplitude_from_db(-q);
                    filtered(
                        voice
                            .iter()
                            .map(|z| z * (top / z.norm().max(top)))
                            .collect(),
                    )
                }
            }
        };
        // Both parameters move the peak to mean ratio one way: more swing raises it, a lower limit lowers it.
        let (mut lo, mut hi) = match speech {
            Speech::Unprocessed => (0.0, 2.0),
            Speech::Processed => (-12.0, 20.0),
        };
        for _ in 0..24 {
            let mid = 0.5 * (lo + hi);
            let over = crest_db(&shaped(mid), 1e-4) > speech.crest_db();
            if over == (speech == Speech::Unprocessed) {
                hi = mid;
            } else {
                lo = mid;
            }
        }
        Self::new(
            shaped(0.5 * (lo + hi)),
            Vec::new(),
            WaveformKind::Speech(speech),
        )
    }

    /// What it is.
    pub fn kind(&self) -> WaveformKind {
        self.kind
    }
    /// Its samples.
    pub fn samples(&self) -> &[Complex64] {
        &self.samples
    }
    /// Peak to mean ratio of the envelope that is passed for a share `p` of the time, dB. (The carrier's own 3.01 dB,
    /// peak to root mean square of a sine, is not in it.)
    ///
    /// # Errors
    /// `p` outside 0..1.
    pub fn crest_db(&self, p: f64) -> Result<f64> {
        within("the share of the time", p, "", 0.0..=1.0, "between 0 and 1")?;
        Ok(crest_db(&self.samples, p))
    }
    /// Ratio of the largest sample to the mean, dB.
    pub fn peak_db(&self) -> f64 {
        crest_db(&self.samples, 0.0)
    }
    /// Peak to mean ratio that levels are planned with: what is passed for one part in ten thousand of the time, or
    /// the peak envelope of two tones.
    pub fn planning_crest_db(&self) -> f64 {
        match self.kind {
            WaveformKind::TwoTone => to_db(2.0),
            WaveformKind::Carrier => 0.0,
            _ => crest_db(&self.samples, 1e-4),
        }
    }
}

/// Refuses a drive that is no level.
pub(crate) fn level(drive_dbm: f64) -> Result<f64> {
    if drive_dbm.is_finite() && from_db(drive_dbm) > 0.0 {
        Ok(drive_dbm)
    } else {
        Err(PlanError::Impossible {
            what: "the drive",
            value: drive_dbm,
            unit: "dBm",
            must: "a level in dBm",
        })
    }
}
