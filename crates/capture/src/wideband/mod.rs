//! Wideband recordings: every carrier at once, found blind and measured.
//!
//! One pass over the samples ([`pass`]): every stretch is searched for carriers ([`find`]), then a filter bank averages
//! the spectrum and cuts one channel a carrier. Each channel is kept up to a number of symbols that does not depend on
//! how long the recording is, so that memory stays flat. What is done to a carrier afterwards stands in [`carrier`].
//!
//! Nothing is known beforehand: no frequency, no symbol rate, no MODCOD.

mod activity;
mod answers;
mod bend;
mod carrier;
mod clock;
mod company;
mod excess;
mod find;
mod frames;
mod known;
mod lock;
mod model;
mod pass;
mod quality;
mod residue;
mod shoulders;
mod symbols;
mod track;
mod transform;
mod turning;

use crate::error::CaptureError;
use crate::measure::{Flag, FlagKind, Reader, converter_flags, known_rate, long_enough};
use crate::source::{About, Source};
use pass::{Heard, Pass, trim};
use rayon::prelude::*;
use slantpath_quantity::{Answer, from_db};
use slantpath_signal::pulse::raised_cosine;
use slantpath_signal::{C32, Spectrum};
use slantpath_stats::{Progress, Stop};
use slantpath_waveform::Scrambler;

pub use activity::LevelStep;
pub use carrier::{Clock, Lock, NoLock};
pub use find::Unexplained;
pub use model::Shape;
pub use quality::{KnownSymbols, SignalToNoise};
pub use residue::PhaseResidue;
pub use shoulders::{NoShoulder, Shoulder, ShoulderPlan};
pub use track::Points;

/// What a wideband measurement may know.
#[derive(Debug, Clone, PartialEq)]
pub struct WidebandPlan {
    /// Centre frequency that overrides the recording's own, Hz; needed for absolute frequencies alone.
    pub centre_hz: Option<f64>,
    /// Physical-layer scrambling code; 0 for broadcast.
    pub scrambling_code: u32,
    /// Implementation loss of the receiver that the margin is meant for, dB.
    pub implementation_loss_db: f64,
    /// Its standard uncertainty, dB.
    pub u_implementation_loss_db: f64,
    /// Where shoulders are looked for.
    pub shoulders: ShoulderPlan,
}

impl Default for WidebandPlan {
    /// Implementation loss 0.8 dB with 0.3 dB (common practice, no source).
    fn default() -> Self {
        Self {
            centre_hz: None,
            scrambling_code: 0,
            implementation_loss_db: 0.8,
            u_implementation_loss_db: 0.3,
            shoulders: ShoulderPlan::default(),
        }
    }
}

/// How much to work.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct WidebandSettings {
    /// Samples of a stretch, which are kept while carriers are looked for in it, 8 bytes each.
    pub head_samples: usize,
    /// Symbols of each carrier that are demodulated, at most.
    pub symbols: usize,
}

impl Default for WidebandSettings {
    fn default() -> Self {
        Self {
            head_samples: 1 << 22,
            symbols: 400_000,
        }
    }
}

/// Samples of one carrier's channel.
#[derive(Debug, Clone)]
pub(crate) struct Stream {
    pub samples: Vec<C32>,
    pub rate_hz: f64,
    /// The channel's zero, Hz from the recording's centre.
    pub centre_hz: f64,
    /// The first sample, s from the recording's start.
    pub start_s: f64,
    /// Whether a part without the carrier was cut off.
    pub trimmed: bool,
}

/// Another carrier close by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Neighbour {
    /// Its place in the list of carriers.
    pub carrier: usize,
    /// Hz of occupied band that both share; negative is the gap between them.
    pub overlap_hz: f64,
    /// Its power behind this carrier's matched filter over this carrier's own.
    pub interference: f64,
}

/// One carrier.
#[derive(Debug, Clone, PartialEq)]
pub struct Carrier {
    /// Number, from 1 in order of frequency.
    pub number: usize,
    /// Symbol clock.
    pub clock: Clock,
    /// Shape in the spectrum: centre, roll-off, level, noise.
    pub shape: Shape,
    /// Whether the shape could be fitted; else its centre and level are those of the search.
    pub shape_fitted: bool,
    /// Symbols demodulated.
    pub symbols: usize,
    /// Seconds of the recording that they took.
    pub seconds: f64,
    /// When these begin, s from the recording's start.
    pub start_s: f64,
    /// What the frames told.
    pub lock: Result<Lock, NoLock>,
    /// Carriers whose band is within a quarter of the symbol rate.
    pub neighbours: Vec<Neighbour>,
    /// Power of images by the receiver's imbalance behind this carrier's matched filter over its own.
    pub images: f64,
    /// The largest change of its level over the recording, or over the part in which it was there.
    pub step: Option<LevelStep>,
    /// From when to when it was there, s, when that is not all of the recording: as fine as the stretches in which
    /// carriers are looked for.
    pub there: Option<(f64, f64)>,
    /// Shoulders below and above.
    pub shoulders: [Result<Shoulder, NoShoulder>; 2],
}

impl Carrier {
    /// Carrier frequency, Hz from the recording's centre, and its standard uncertainty.
    pub fn offset_hz(&self) -> (f64, f64) {
        match &self.lock {
            Ok(l) => (l.carrier_hz, l.u_carrier_hz),
            Err(_) => (self.shape.centre_hz, self.shape.u_centre_hz),
        }
    }
    /// C/N in the symbol-rate bandwidth from the spectrum alone, and its relative standard uncertainty.
    pub fn c_n(&self) -> Option<(f64, f64)> {
        let (n, u) = self.shape.noise?;
        self.shape_fitted
            .then(|| (self.shape.density / n, self.shape.u_density.hypot(u)))
    }
}

/// What a wideband recording shows.
#[derive(Debug, Clone)]
pub struct Wideband {
    /// The recording, with digest and warnings after reading.
    pub about: About,
    /// Sample rate, Hz.
    pub sample_rate_hz: f64,
    /// Centre frequency, Hz, when it is known.
    pub centre_hz: Option<f64>,
    /// Samples read.
    pub samples: u64,
    /// Seconds.
    pub duration_s: f64,
    /// Carriers, lowest frequency first.
    pub carriers: Vec<Carrier>,
    /// What stands out and is no carrier with a symbol clock.
    pub unexplained: Vec<Unexplained>,
    /// Every figure with its uncertainty, or why there is none.
    pub answers: Vec<Answer>,
    /// Health of the recording.
    pub flags: Vec<Flag>,
    /// Averaged spectrum at full resolution.
    pub spectrum: Spectrum,
}

impl Wideband {
    /// The answer with that measurand.
    pub fn answer(&self, measurand: &str) -> Option<&Answer> {
        self.answers.iter().find(|a| a.measurand == measurand)
    }
}

/// Transform length of the bank: bins of about 500 Hz, at least 256 of them, and some 48 frames.
fn frame_length(fs: f64, samples: u64) -> usize {
    let mut n = ((fs / 600.0) as usize)
        .next_power_of_two()
        .clamp(256, 65_536);
    while n > 256 && samples < 26 * n as u64 {
        n /= 2;
    }
    n
}

/// Measures every carrier in a recording.
///
/// # Errors
/// The recording cannot be read, its sample rate is not known, it is shorter than a spectrum needs, or the work was
/// stopped. What cannot be concluded is not an error: it is an answer with its reason.
pub fn measure(
    source: &mut dyn Source,
    plan: &WidebandPlan,
    settings: &WidebandSettings,
    progress: &Progress,
    stop: &Stop,
) -> Result<Wideband, CaptureError> {
    let about = source.about().clone();
    let fs = known_rate(&about)?;
    let mut reader = Reader::new(source, stop);
    let size = settings.head_samples.max(4096);
    let mut stretch = reader.head(size)?;
    long_enough(&about, stretch.len())?;
    let total = about.total_samples.unwrap_or(0);
    let n = frame_length(fs, total.max(stretch.len() as u64));
    let mut pass = Pass::new(fs, n, settings);
    let mut seen = stretch.len() as u64;
    if stretch.len() == size {
        pass.stretch(&stretch);
        stretch.clear();
    }
    reader.each(size.min(1 << 19), |piece| {
        seen += piece.len() as u64;
        stretch.extend_from_slice(piece);
        if stretch.len() >= size {
            pass.stretch(&stretch);
            stretch.clear();
        }
        if total > 0 {
            progress.report(0.7 * seen as f64 / total as f64, "measuring");
        }
    })?;
    if !stretch.is_empty() {
        pass.stretch(&stretch);
    }
    drop(stretch);
    let about = source.about().clone();
    let Some((sums, mut heard, mut unexplained)) = pass.finish() else {
        return Err(CaptureError::Stopped);
    };
    let spectrum = sums.spectrum();
    let flags = converter_flags(&about, &spectrum, &sums.levels);
    drop(sums);
    progress.report(0.7, "carriers");

    // A true clock's line grows with the length; what came by chance is gone.
    heard.par_iter_mut().for_each(|h| {
        take_direct_current(&mut h.stream);
        trim(&mut h.stream, h.found.centre_hz, h.found.line.rate);
    });
    let lines: Vec<Option<clock::Line>> = heard
        .par_iter()
        .map(|h| carrier::clock_line(&h.stream, h.found.centre_hz, h.found.line.rate))
        .collect();
    let mut heard: Vec<Heard> = heard
        .into_iter()
        .zip(lines)
        .filter_map(|(h, line)| {
            let found = find::Found {
                line: line?,
                ..h.found
            };
            Some(Heard { found, ..h })
        })
        .collect();
    let found: Vec<find::Found> = heard.iter().map(|h| h.found).collect();
    let starts: Vec<(f64, f64, f64)> = found
        .iter()
        .map(|f| (f.centre_hz, f.line.rate, f.step))
        .collect();
    let excess: Vec<Option<[f64; 6]>> = heard
        .par_iter()
        .map(|h| excess::classes(&h.stream, h.found.centre_hz, &h.found.line))
        .collect();
    let mut fitted = model::shapes(&spectrum, &starts, &excess);
    // A carrier that was not there all the time is fitted in the spectrum of the time in which it was.
    let apart: Vec<(usize, Option<Shape>)> = heard
        .par_iter()
        .enumerate()
        .filter_map(|(i, h)| {
            let own = h.spectrum.as_ref()?;
            // Those that were never there together with it are not in that spectrum.
            let meets = |o: &Heard| match (h.there, o.there) {
                (Some(a), Some(b)) => a.0 < b.1 && b.0 < a.1,
                _ => true,
            };
            let company: Vec<usize> = (0..heard.len())
                .filter(|k| *k == i || heard.get(*k).is_some_and(meets))
                .collect();
            let some: Vec<(f64, f64, f64)> = company
                .iter()
                .filter_map(|k| starts.get(*k).copied())
                .collect();
            let told: Vec<Option<[f64; 6]>> = company
                .iter()
                .filter_map(|k| excess.get(*k).copied())
                .collect();
            let at = company.iter().position(|k| *k == i)?;
            let shapes = model::shapes(own, &some, &told);
            Some((i, shapes.get(at).copied().flatten()))
        })
        .collect();
    for (i, shape) in apart {
        if let Some(f) = fitted.get_mut(i) {
            *f = shape;
        }
    }
    let shapes: Vec<(Shape, bool)> = fitted
        .iter()
        .zip(&found)
        .map(|(s, f)| match s {
            Some(s) => (*s, true),
            None => (
                Shape {
                    centre_hz: f.centre_hz,
                    u_centre_hz: 0.02 * f.line.rate,
                    rate: f.line.rate,
                    rolloff: 0.25,
                    rolloff_confidence: 0.0,
                    rolloff_by_excess: false,
                    density: f.step.max(0.0),
                    u_density: 0.3,
                    noise: None,
                    misfit: 1.0,
                },
                false,
            ),
        })
        .collect();
    let scrambler = Scrambler::new(plan.scrambling_code);
    let steps: Vec<Option<LevelStep>> = heard.iter().map(|h| h.step).collect();
    let times: Vec<Option<(f64, f64)>> = heard.iter().map(|h| h.there).collect();
    let spectra: Vec<Option<Spectrum>> = heard.iter_mut().map(|h| h.spectrum.take()).collect();
    let demodulated: Vec<Option<carrier::Demodulated>> = heard
        .into_par_iter()
        .map(|h| h.stream)
        .zip(shapes.par_iter())
        .zip(found.par_iter())
        .map(|((stream, (shape, _)), f)| {
            if stop.is_requested() {
                return None;
            }
            carrier::demodulate(stream, shape, &f.line, &scrambler)
        })
        .collect();
    if stop.is_requested() {
        return Err(CaptureError::Stopped);
    }
    let mut all: Vec<Candidate> = found
        .into_iter()
        .zip(shapes)
        .zip(demodulated)
        .zip(steps)
        .zip(spectra.into_iter().zip(times))
        .map(
            |((((found, (shape, shape_fitted)), demodulated), step), (spectrum, there))| {
                Candidate {
                    found,
                    shape,
                    shape_fitted,
                    demodulated,
                    step,
                    spectrum,
                    there,
                }
            },
        )
        .collect();
    let image_ratio = image_ratio(&flags);
    let apart = company::apparitions(&all, image_ratio);
    let mut k = 0;
    all.retain(|c| {
        let what = apart.get(k).copied().flatten();
        k += 1;
        if let Some(company::Apparition::Image { of_hz }) = what {
            let (lo_hz, hi_hz) = c.shape.band();
            unexplained.push(Unexplained {
                lo_hz,
                hi_hz,
                ratio: 1.0 + c.shape.noise.map_or(0.0, |(n, _)| c.shape.density / n),
                cut: false,
                mirrors_hz: Some(of_hz),
            });
        }
        what.is_none()
    });
    let carriers = gather(all, &spectrum, plan, image_ratio);
    let centre_hz = plan.centre_hz.or(about.center_hz);
    let duration_s = seen as f64 / fs;
    let answers = answers::all(&answers::Context {
        plan,
        about: &about,
        centre_hz,
        fs,
        duration_s,
        carriers: &carriers,
        unexplained: &unexplained,
        flags: &flags,
    });
    progress.report(1.0, "done");
    Ok(Wideband {
        sample_rate_hz: fs,
        centre_hz,
        samples: seen,
        duration_s,
        carriers,
        unexplained,
        answers,
        flags,
        spectrum,
        about,
    })
}

/// Takes the converter's direct current off a channel that holds the recording's centre: the one bin at exactly zero.
fn take_direct_current(s: &mut Stream) {
    if s.centre_hz.abs() > 0.5 * s.rate_hz || s.samples.is_empty() {
        return;
    }
    let turns = -s.centre_hz / s.rate_hz;
    let at = |i: usize| {
        num_complex::Complex::<f64>::cis(std::f64::consts::TAU * ((turns * i as f64) % 1.0))
    };
    let mut sum = num_complex::Complex::<f64>::default();
    for (i, z) in s.samples.iter().enumerate() {
        sum += num_complex::Complex::new(f64::from(z.re), f64::from(z.im)) * at(i).conj();
    }
    let mean = sum / s.samples.len() as f64;
    for (i, z) in s.samples.iter_mut().enumerate() {
        let d = mean * at(i);
        *z -= C32::new(d.re as f32, d.im as f32);
    }
}

/// A carrier before it is compared with the others.
struct Candidate {
    found: find::Found,
    shape: Shape,
    shape_fitted: bool,
    demodulated: Option<carrier::Demodulated>,
    step: Option<LevelStep>,
    /// Spectrum while it was there, when that was not all the time.
    spectrum: Option<Spectrum>,
    there: Option<(f64, f64)>,
}

/// Power of an image over what it mirrors, when the receiver's imbalance shows.
fn image_ratio(flags: &[Flag]) -> Option<f64> {
    let f = flags.iter().find(|f| f.kind == FlagKind::Imbalance)?;
    let r = f.figures.iter().find(|x| x.label == "image rejection")?;
    Some(from_db(-r.value))
}

/// Carriers with their neighbours and shoulders.
fn gather(
    candidates: Vec<Candidate>,
    spectrum: &Spectrum,
    plan: &WidebandPlan,
    image_ratio: Option<f64>,
) -> Vec<Carrier> {
    let all: Vec<Shape> = candidates.iter().map(|c| c.shape).collect();
    candidates
        .into_iter()
        .enumerate()
        .map(|(i, c)| {
            let (shape, f) = (c.shape, c.found);
            let d = c.demodulated.unwrap_or(carrier::Demodulated {
                clock: Clock {
                    rate: f.line.rate,
                    u_rate: f.line.u_rate,
                    significance: f.line.significance,
                },
                symbols: 0,
                seconds: 0.0,
                start_s: 0.0,
                lock: Err(NoLock::NoHeaders { symbols: 0 }),
            });
            let others: Vec<Shape> = all
                .iter()
                .enumerate()
                .filter(|(k, _)| *k != i)
                .map(|(_, s)| *s)
                .collect();
            let neighbours = all
                .iter()
                .enumerate()
                .filter(|(k, _)| *k != i)
                .filter_map(|(k, o)| {
                    let ((a, b), (c, e)) = (shape.band(), o.band());
                    let overlap_hz = b.min(e) - a.max(c);
                    (overlap_hz > -0.25 * shape.rate).then(|| Neighbour {
                        carrier: k,
                        overlap_hz,
                        interference: leak(&shape, o),
                    })
                })
                .collect();
            let images = image_ratio.map_or(0.0, |g| {
                all.iter()
                    .map(|o| {
                        let mirror = Shape {
                            centre_hz: -o.centre_hz,
                            ..*o
                        };
                        g * leak(&shape, &mirror)
                    })
                    .sum()
            });
            let comb = d.lock.as_ref().is_ok_and(Lock::repeats);
            let told = d
                .lock
                .as_ref()
                .map_or(shoulders::Own::default(), |l| shoulders::Own {
                    under: Some(shape.density / l.es_n0.ratio),
                    phase: l.residues.first().map_or(0.0, |r| r.rms_rad.powi(2)),
                });
            Carrier {
                number: i + 1,
                clock: d.clock,
                shape,
                shape_fitted: c.shape_fitted,
                symbols: d.symbols,
                seconds: d.seconds,
                start_s: d.start_s,
                shoulders: if comb {
                    [Err(NoShoulder::Comb); 2]
                } else {
                    let s = c.spectrum.as_ref().unwrap_or(spectrum);
                    shoulders::shoulders(s, &shape, &others, &plan.shoulders, told)
                },
                lock: d.lock,
                neighbours,
                images,
                step: c.step,
                there: c.there,
            }
        })
        .collect()
}

/// Power of another carrier behind the own matched filter over the own power.
fn leak(own: &Shape, other: &Shape) -> f64 {
    const STEPS: usize = 400;
    let (a, b) = own.band();
    let h = (b - a) / STEPS as f64;
    let sum: f64 = (0..STEPS)
        .map(|i| {
            let f = a + (i as f64 + 0.5) * h;
            other.at(f) * raised_cosine(f - own.centre_hz, own.rate, own.rolloff)
        })
        .sum();
    sum * h / own.power().max(1e-300)
}
