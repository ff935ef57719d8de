//! From samples to a measurement, in one pass: the beginning of the recording is kept for a survey that finds the
//! satellite in it, then all of it runs through the filter bank. Memory does not grow with the length.

mod answers;
mod beacons;
mod found;
mod health;
pub(crate) mod picture;

use crate::error::CaptureError;
use crate::locate::{Location, NotFound, locate};
use crate::noise::{NoStep, NoiseStep, SKIRT_END, flat_edge, noise_step};
use crate::plan::{CentreMeaning, SearchPlan};
use crate::signals::Signal;
use crate::source::{About, Source};
use slantpath_quantity::Answer;
use slantpath_signal::{BankPlan, C32, ChannelBand, FrameBank, LevelStats, Spectrum};
use slantpath_stats::{Progress, Stop};
use std::ops::Range;

pub use beacons::{BeaconMeasured, Presence};
pub use found::{BeaconFound, Company};
pub(crate) use health::converter_flags;
pub use health::{Consequence, Figure, Flag, FlagKind, Severity};
pub use picture::{Picture, Tune};

/// How to measure.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// Samples kept for the survey; 8 bytes each.
    pub survey_samples: usize,
    /// Seconds of a stretch over which beacons are followed coherently.
    pub block_s: f64,
    /// Points of the drawn spectrum, at most.
    pub drawn_points: usize,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            survey_samples: 4 << 20,
            block_s: 3.0,
            drawn_points: 1600,
        }
    }
}

/// What a recording shows.
#[derive(Debug, Clone)]
pub struct Measurement {
    /// The recording, with digest and warnings after reading.
    pub about: About,
    /// Sample rate, Hz.
    pub sample_rate_hz: f64,
    /// Centre frequency as used, Hz.
    pub centre_hz: f64,
    /// Whether the centre was stated; else it was taken to be a beacon's or a passband's own frequency.
    pub centre_known: bool,
    /// Samples read.
    pub samples: u64,
    /// Seconds.
    pub duration_s: f64,
    /// Where the satellite was found.
    pub location: Option<Location>,
    /// Every figure with its uncertainty, or why there is none.
    pub answers: Vec<Answer>,
    /// Beacons in detail.
    pub beacons: Vec<BeaconMeasured>,
    /// Noise steps in detail, by passband.
    pub noise_steps: Vec<(String, Result<NoiseStep, NoStep>)>,
    /// Everything that stands above the floor, strongest first.
    pub signals: Vec<Signal>,
    /// Health of the recording.
    pub flags: Vec<Flag>,
    /// For drawing.
    pub picture: Picture,
    /// Averaged spectrum at full resolution.
    pub spectrum: Spectrum,
    /// Where to tune instead, when something planned lies outside the recorded band.
    pub tune: Option<Tune>,
}

impl Measurement {
    /// The answer with that measurand.
    pub fn answer(&self, measurand: &str) -> Option<&Answer> {
        self.answers.iter().find(|a| a.measurand == measurand)
    }
    /// Whether a flag of that kind was raised.
    pub fn flagged(&self, kind: FlagKind) -> Option<&Flag> {
        self.flags.iter().find(|f| f.kind == kind)
    }
}

/// Transform length for a sample rate: bins of about 150 Hz, at least 256 of them, at most 65536, and short enough
/// for some fifty frames.
pub fn frame_length(sample_rate_hz: f64, samples: Option<u64>) -> usize {
    let want = (sample_rate_hz / 150.0).max(256.0) as usize;
    let mut n = want.next_power_of_two().clamp(256, 65_536);
    if n > 256 && (n as f64) > 1.4 * want as f64 {
        n /= 2;
    }
    while n > 64 && samples.is_some_and(|s| (s as usize) < 26 * n) {
        n /= 2;
    }
    n
}

/// The sample rate, which nothing can be measured without.
pub(crate) fn known_rate(about: &About) -> Result<f64, CaptureError> {
    about
        .sample_rate_hz
        .filter(|f| *f > 0.0 && f.is_finite())
        .ok_or_else(|| {
            CaptureError::missing(
                &about.name,
                "its sample rate",
                "state the sample rate in samples per second",
            )
        })
}

/// Refuses a recording of fewer samples than a spectrum needs.
pub(crate) fn long_enough(about: &About, samples: usize) -> Result<(), CaptureError> {
    if samples < 2048 {
        return Err(CaptureError::unsupported(
            &about.name,
            format!("it holds {samples} samples"),
            "record some seconds",
        ));
    }
    Ok(())
}

/// Refuses a recording that was retuned on its way: its spectrum would be that of two places at once.
fn one_centre(about: &About) -> Result<(), CaptureError> {
    let centres: Vec<f64> = about.segments.iter().filter_map(|s| s.center_hz).collect();
    let (Some(first), Some(other)) = (
        centres.first(),
        centres
            .iter()
            .find(|c| (**c - centres.first().copied().unwrap_or(0.0)).abs() > 0.5),
    ) else {
        return Ok(());
    };
    Err(CaptureError::unsupported(
        &about.name,
        format!(
            "its captures have different centres ({:.6} and {:.6} MHz)",
            first * 1e-6,
            other * 1e-6
        ),
        "split it into one recording for each centre",
    ))
}

/// Measures a recording.
///
/// # Errors
/// The recording cannot be read, its sample rate or centre is not known, or the work was stopped. What cannot be
/// concluded is not an error: it is an answer with its reason.
pub fn measure(
    source: &mut dyn Source,
    plan: &SearchPlan,
    settings: &Settings,
    progress: &Progress,
    stop: &Stop,
) -> Result<Measurement, CaptureError> {
    let about = source.about().clone();
    let fs = known_rate(&about)?;
    one_centre(&about)?;
    let mut reader = Reader::new(source, stop);
    // Survey on the beginning.
    let head = reader.head(settings.survey_samples)?;
    long_enough(&about, head.len())?;
    let n = frame_length(
        fs,
        Some(
            about
                .total_samples
                .unwrap_or(head.len() as u64)
                .max(head.len() as u64),
        ),
    );
    let survey = Spectrum::of(&head, fs, n);
    let (centre_hz, centre_known, location) = place(plan, &about, &survey, &head)?;
    progress.report(0.1, "survey");

    let bands = placed_bands(plan, location.as_ref().ok(), centre_hz, fs);
    let mut trackers = beacons::trackers(plan, location.as_ref().ok(), centre_hz, &survey, &bands);
    let line = picture::floor_line(&survey, &bands);
    let zones = zones(&survey, &line, &bands);
    let row_frames = ((0.025 * fs / (0.5 * n as f64)).round() as usize).max(1);
    let mut bank = FrameBank::new(BankPlan {
        sample_rate_hz: fs,
        n,
        row_frames,
        channels: trackers
            .iter()
            .map(|t| t.band)
            .collect::<Vec<ChannelBand>>(),
        zones: zones.clone(),
        levels: true,
    });
    let total = about.total_samples.unwrap_or(0);
    let mut seen = head.len() as u64;
    for piece in head.chunks(1 << 19) {
        bank.push(piece);
        beacons::follow(&mut trackers, &mut bank, settings.block_s, false);
    }
    drop(head);
    // Reading (and its checksums) goes on while the last piece is being worked on.
    reader.each(1 << 19, |piece| {
        seen += piece.len() as u64;
        bank.push(piece);
        beacons::follow(&mut trackers, &mut bank, settings.block_s, false);
        if total > 0 {
            progress.report(0.1 + 0.85 * seen as f64 / total as f64, "measuring");
        }
    })?;
    bank.finish();
    beacons::follow(&mut trackers, &mut bank, settings.block_s, true);
    let about = source.about().clone();
    let sums = bank.sums();
    let s = sums.spectrum();
    let duration_s = seen as f64 / fs;
    let beacons = beacons::conclude(trackers, duration_s);
    let line = picture::floor_line(&s, &bands);
    let steps: Vec<(String, Result<NoiseStep, NoStep>)> = bands
        .iter()
        .filter(|b| b.touches)
        .map(|b| {
            let others: Vec<(f64, f64)> = bands
                .iter()
                .filter(|o| o.name != b.name)
                .map(|o| (o.lo_hz, o.hi_hz))
                .collect();
            (b.name.clone(), noise_step(&s, b.lo_hz, b.hi_hz, &others))
        })
        .collect();
    let facts = health::Facts {
        plan,
        location: location.as_ref().ok(),
        centre_hz,
        about: &about,
        s: &s,
        floor: &line,
        bands: &bands,
        rows: &sums.rows,
        zones: &zones,
        levels: &sums.levels,
        beacons: &beacons,
        steps: &steps,
    };
    let signals = health::list_signals(&facts, sums.row_scatter().as_deref(), row_frames);
    let flags = health::examine(&facts, &signals);
    let context = answers::Context {
        plan,
        location: &location,
        centre_hz,
        centre_known,
        about: &about,
        fs,
        duration_s,
        flags: &flags,
        s: &s,
    };
    let tune = picture::where_to_tune(plan, location.as_ref().ok(), centre_hz, fs);
    let answers = answers::all(&context, &beacons, &steps, tune.as_ref());
    let picture = picture::draw(&s, &line, &bands, &steps, &beacons, settings.drawn_points);
    progress.report(1.0, "done");
    Ok(Measurement {
        sample_rate_hz: fs,
        centre_hz,
        centre_known,
        samples: seen,
        duration_s,
        location: location.ok(),
        answers,
        beacons,
        noise_steps: steps,
        signals,
        flags,
        picture,
        spectrum: s,
        tune,
        about,
    })
}

/// Centre, whether it was stated, and where the plan stands. Without a stated centre the ones a person would have
/// tuned to are tried: each beacon and the middle of each passband.
fn place(
    plan: &SearchPlan,
    about: &About,
    survey: &Spectrum,
    head: &[C32],
) -> Result<(f64, bool, Result<Location, NotFound>), CaptureError> {
    if let Some(c) = plan.centre_hz.or(about.center_hz) {
        return Ok((c, true, locate(plan, c, survey, head)));
    }
    let rf_plan = SearchPlan {
        meanings: vec![CentreMeaning::TrueRf],
        ..plan.clone()
    };
    let tried = plan
        .beacons
        .iter()
        .map(|b| b.rf_hz)
        .chain(
            plan.passbands
                .iter()
                .map(crate::plan::PassbandPlan::centre_hz),
        )
        .filter_map(|c| locate(&rf_plan, c, survey, head).ok().map(|l| (c, l)))
        // The likeliest place; of equals the one that needs the smaller oscillator error.
        .max_by(|a, b| {
            (a.1.score - 1e-5 * a.1.shift_hz.abs())
                .total_cmp(&(b.1.score - 1e-5 * b.1.shift_hz.abs()))
        });
    match tried {
        Some((c, l)) => Ok((c, false, Ok(l))),
        None => Err(CaptureError::missing(
            &about.name,
            "its centre frequency",
            "state the centre, either the true or the intermediate frequency",
        )),
    }
}

/// A passband placed in the recording.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct PlacedBand {
    pub name: String,
    pub lo_hz: f64,
    pub hi_hz: f64,
    /// Whether any of it is in the recorded band.
    pub touches: bool,
}

pub(crate) fn placed_bands(
    plan: &SearchPlan,
    location: Option<&Location>,
    centre_hz: f64,
    fs: f64,
) -> Vec<PlacedBand> {
    let Some(l) = location else {
        return Vec::new();
    };
    plan.passbands
        .iter()
        .map(|p| {
            let a = l.meaning.offset_hz(p.lo_hz, centre_hz) + l.shift_hz;
            let b = l.meaning.offset_hz(p.hi_hz, centre_hz) + l.shift_hz;
            let (lo_hz, hi_hz) = (a.min(b), a.max(b));
            PlacedBand {
                name: p.name.clone(),
                lo_hz,
                hi_hz,
                touches: lo_hz < 0.5 * fs && hi_hz > -0.5 * fs,
            }
        })
        .collect()
}

/// Where the receiver's filter begins to fall below and above the centre, Hz from it. A passband that ends within the
/// recorded band falls as well: the filter's edge is looked for beyond its skirt.
pub(crate) fn flat_band(s: &Spectrum, bands: &[PlacedBand]) -> (f64, f64) {
    let from = |sign: f64| {
        bands
            .iter()
            .map(|b| {
                let (mid, width) = (0.5 * (b.lo_hz + b.hi_hz), b.hi_hz - b.lo_hz);
                sign * mid + SKIRT_END * width
            })
            .filter(|end| *end < 0.44 * s.sample_rate_hz)
            .fold(0.0, f64::max)
    };
    (flat_edge(s, from(-1.0), -1.0), flat_edge(s, from(1.0), 1.0))
}

/// Zones whose power is followed in time: quiet bins within passbands, quiet bins outside, everything but the direct
/// current.
fn zones(s: &Spectrum, floor: &[f64], bands: &[PlacedBand]) -> Vec<Vec<Range<usize>>> {
    let n = s.len();
    let mut quiet = vec![true; n];
    for r in crate::signals::occupied(s, floor, 0.0) {
        let guard = 3 + r.len() / 4;
        for q in &mut quiet[r.start.saturating_sub(guard)..(r.end + guard).min(n)] {
            *q = false;
        }
    }
    let (limit_lo, limit_hi) = flat_band(s, bands);
    let limit_lo = limit_lo.min(0.45 * s.sample_rate_hz);
    let limit_hi = limit_hi.min(0.45 * s.sample_rate_hz);
    let limit = limit_lo.min(limit_hi).max(0.3 * s.sample_rate_hz);
    let (mut inside, mut outside, mut all) = (Vec::new(), Vec::new(), Vec::new());
    for (i, q) in quiet.iter().enumerate() {
        let f = s.freq(i);
        if i.abs_diff(n / 2) <= 3 {
            continue;
        }
        all.push(i);
        if !q || f.abs() > limit {
            continue;
        }
        let x = bands
            .iter()
            .map(|b| (f - 0.5 * (b.lo_hz + b.hi_hz)).abs() / (0.5 * (b.hi_hz - b.lo_hz)))
            .fold(f64::INFINITY, f64::min);
        if x < 0.9 {
            inside.push(i);
        } else if x > 1.1 {
            outside.push(i);
        }
    }
    [inside, outside, all].iter().map(|z| runs(z)).collect()
}

fn runs(bins: &[usize]) -> Vec<Range<usize>> {
    let mut out: Vec<Range<usize>> = Vec::new();
    for &b in bins {
        match out.last_mut() {
            Some(r) if r.end == b => r.end = b + 1,
            _ => out.push(b..b + 1),
        }
    }
    out
}

/// Floor of a spectrum without any passband.
pub(crate) fn floor_line_without_bands(s: &Spectrum) -> Vec<f64> {
    picture::floor_line(s, &[])
}

/// Bins in a zone.
pub(crate) fn zone_bins(z: &[Range<usize>]) -> usize {
    z.iter().map(Range::len).sum()
}

/// Whole reads, however the source delivers.
pub(crate) struct Reader<'a> {
    source: &'a mut dyn Source,
    stop: &'a Stop,
}

impl<'a> Reader<'a> {
    pub(crate) fn new(source: &'a mut dyn Source, stop: &'a Stop) -> Self {
        Self { source, stop }
    }

    /// Fills as much of `out` as there is. Samples that are not finite become zero (they are counted elsewhere).
    fn fill(&mut self, out: &mut [C32]) -> Result<usize, CaptureError> {
        if self.stop.is_requested() {
            return Err(CaptureError::Stopped);
        }
        let mut at = 0;
        while at < out.len() {
            let got = self.source.read(out.get_mut(at..).unwrap_or(&mut []))?;
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

    /// Hands every further piece to `work`, reading ahead by one piece in a thread of its own.
    pub(crate) fn each(
        &mut self,
        size: usize,
        mut work: impl FnMut(&[C32]),
    ) -> Result<(), CaptureError> {
        let (full_in, full_out) =
            std::sync::mpsc::sync_channel::<Result<Vec<C32>, CaptureError>>(1);
        let (free_in, free_out) = std::sync::mpsc::channel::<Vec<C32>>();
        std::thread::scope(|scope| {
            scope.spawn(move || {
                loop {
                    let mut buffer = free_out.try_recv().unwrap_or_default();
                    buffer.resize(size, C32::default());
                    let message = self.fill(&mut buffer).map(|got| {
                        buffer.truncate(got);
                        buffer
                    });
                    let last = message.as_ref().map_or(true, Vec::is_empty);
                    if full_in.send(message).is_err() || last {
                        break;
                    }
                }
            });
            for message in full_out {
                let piece = message?;
                if piece.is_empty() {
                    break;
                }
                work(&piece);
                // The reader may have ended already; then nobody needs the buffer.
                let _ = free_in.send(piece);
            }
            Ok(())
        })
    }

    pub(crate) fn head(&mut self, limit: usize) -> Result<Vec<C32>, CaptureError> {
        let mut head = Vec::new();
        let step = 1 << 18;
        while head.len() < limit {
            let at = head.len();
            head.resize(at + step.min(limit - at), C32::default());
            let got = self.fill(head.get_mut(at..).unwrap_or(&mut []))?;
            head.truncate(at + got);
            if got == 0 {
                break;
            }
        }
        Ok(head)
    }
}

/// The level statistics of a recording as a person reads them.
pub(crate) fn level_words(l: &LevelStats) -> String {
    format!("{:.1} dBFS in all", l.dbfs())
}
