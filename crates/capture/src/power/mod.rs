//! Noise power: ratios between recordings (Y factor) and drift scans through the Sun.

mod sun;
mod y_factor;

pub use sun::{
    OnAxis, PowerSeries, SIDEREAL_DEG_PER_S, SunScan, SunSettings, drift_rate, sun_scan,
};
pub use y_factor::{Role, YFactor, YSettings, y_factor};

use crate::error::CaptureError;
use crate::measure::{Flag, frame_length, known_rate, long_enough};
use crate::noise::flat_edge;
use crate::signals::occupied;
use crate::source::{About, Source};
use slantpath_quantity::to_db;
use slantpath_signal::{BankPlan, C32, FrameBank, LevelStats, Row, Spectrum};
use slantpath_stats::intervals::normal_cdf;
use slantpath_stats::{Progress, Stop};
use std::ops::Range;

/// Noise power of one recording.
#[derive(Debug, Clone)]
pub struct NoisePower {
    /// The recording, with digest and warnings after reading.
    pub about: About,
    /// Seconds.
    pub duration_s: f64,
    /// Averaged spectrum.
    pub spectrum: Spectrum,
    /// Bins that hold noise alone within the flat part of the band: neither carriers of the receiver's own, nor its
    /// direct current, nor its edges.
    pub quiet: Vec<bool>,
    /// Power in the quiet bins against time.
    pub rows: Vec<Row>,
    /// Seconds of one full row.
    pub row_s: f64,
    /// Level statistics.
    pub levels: LevelStats,
    /// Step noise of the converter, full scale squared per hertz.
    pub step_density: f64,
    /// Lines left out: frequency from the centre and level in dBFS.
    pub birdies: Vec<(f64, f64)>,
    /// Health.
    pub flags: Vec<Flag>,
}

/// What the rails may take off a power before its ratio to another is refused, dB.
pub(crate) const COMPRESSION_REFUSED_DB: f64 = 0.1;

impl NoisePower {
    /// What the converter's rails take off the power of noise that is `over_mean` times stronger than the recording's
    /// mean, dB: a limiter passes noise with one less the fraction of components beyond it (J. J. Bussgang, MIT RLE
    /// Technical Report 216, 1952). 0 when no component stands at a rail.
    pub fn compression_db(&self, over_mean: f64) -> f64 {
        let Some(r) = self.levels.rails() else {
            return 0.0;
        };
        let sigma = self.levels.component_rms() * over_mean.sqrt();
        if sigma <= 0.0 {
            return 0.0;
        }
        let passed = 2.0 * normal_cdf(r.rail / sigma) - 1.0;
        -to_db((passed * passed).max(1e-6))
    }
}

/// Reads a recording of noise.
///
/// # Errors
/// It cannot be read, its sample rate is not known, it is too short, or the work was stopped.
pub fn noise_power(
    source: &mut dyn Source,
    progress: &Progress,
    stop: &Stop,
) -> Result<NoisePower, CaptureError> {
    let about = source.about().clone();
    let fs = known_rate(&about)?;
    let mut head = vec![C32::default(); 1 << 20];
    let got = fill(source, stop, &mut head)?;
    head.truncate(got);
    long_enough(&about, got)?;
    let n = frame_length(
        fs,
        Some(about.total_samples.unwrap_or(got as u64).max(got as u64)),
    );
    let survey = Spectrum::of(&head, fs, n);
    let (quiet, _) = quiet_bins(&survey);
    let zone: Vec<Range<usize>> = runs(&quiet);
    // Rows of a quarter of a second, or a twentieth of a short recording.
    let total = about.total_samples.unwrap_or(got as u64) as f64 / fs;
    let row_s = 0.25f64.min(total / 40.0).max(0.5 * n as f64 / fs);
    let row_frames = ((row_s * fs / (0.5 * n as f64)).round() as usize).max(1);
    let mut bank = FrameBank::new(BankPlan {
        row_frames,
        zones: vec![zone],
        levels: true,
        ..BankPlan::psd_only(fs, n)
    });
    bank.push(&head);
    let mut seen = got as u64;
    loop {
        let got = fill(source, stop, &mut head)?;
        if got == 0 {
            break;
        }
        seen += got as u64;
        bank.push(head.get(..got).unwrap_or(&[]));
        if let Some(t) = about.total_samples.filter(|t| *t > 0) {
            progress.report(seen as f64 / t as f64, "measuring noise");
        }
    }
    bank.finish();
    let about = source.about().clone();
    let sums = bank.sums();
    let spectrum = sums.spectrum();
    let (quiet, birdies) = quiet_bins(&spectrum);
    let step = about
        .format
        .lsb()
        .into_iter()
        .chain(sums.levels.quantiser_step())
        .fold(0.0, f64::max);
    let flags = crate::measure::converter_flags(&about, &spectrum, &sums.levels);
    Ok(NoisePower {
        duration_s: seen as f64 / fs,
        row_s: row_frames as f64 * 0.5 * n as f64 / fs,
        rows: sums.rows.clone(),
        levels: sums.levels.clone(),
        // White step noise of step^2/12 a component (W. R. Bennett, Bell System Tech. J. 27, 1948).
        step_density: 2.0 * step * step / 12.0 / fs,
        spectrum,
        quiet,
        birdies,
        flags,
        about,
    })
}

fn fill(source: &mut dyn Source, stop: &Stop, out: &mut [C32]) -> Result<usize, CaptureError> {
    if stop.is_requested() {
        return Err(CaptureError::Stopped);
    }
    let mut at = 0;
    while at < out.len() {
        let got = source.read(out.get_mut(at..).unwrap_or(&mut []))?;
        if got == 0 {
            break;
        }
        at += got;
    }
    for z in out.iter_mut().take(at) {
        if !(z.re.is_finite() && z.im.is_finite()) {
            *z = C32::default();
        }
    }
    Ok(at)
}

/// Bins of noise alone, and the lines left out.
fn quiet_bins(s: &Spectrum) -> (Vec<bool>, Vec<(f64, f64)>) {
    let n = s.len();
    let line = crate::measure::floor_line_without_bands(s);
    let (lo, hi) = (-flat_edge(s, 0.0, -1.0), flat_edge(s, 0.0, 1.0));
    let mut quiet: Vec<bool> = (0..n)
        .map(|i| i.abs_diff(n / 2) > 3 && (lo..=hi).contains(&s.freq(i)))
        .collect();
    let mut birdies = Vec::new();
    for r in occupied(s, &line, 0.0) {
        let peak = r
            .clone()
            .map(|i| s.psd[i] / line[i].max(1e-300))
            .fold(0.0, f64::max);
        // Leakage of the Hann window falls with the third power of the distance in amplitude.
        let guard = 3 + (peak.powf(1.0 / 6.0) * 1.5) as usize;
        for q in &mut quiet[r.start.saturating_sub(guard)..(r.end + guard).min(n)] {
            *q = false;
        }
        let f = s.freq(r.start + r.len() / 2);
        if (lo..=hi).contains(&f) {
            birdies.push((f, to_db(s.power(r.clone()))));
        }
    }
    (quiet, birdies)
}

fn runs(mask: &[bool]) -> Vec<Range<usize>> {
    let mut out: Vec<Range<usize>> = Vec::new();
    for (b, _) in mask.iter().enumerate().filter(|(_, q)| **q) {
        match out.last_mut() {
            Some(r) if r.end == b => r.end = b + 1,
            _ => out.push(b..b + 1),
        }
    }
    out
}
