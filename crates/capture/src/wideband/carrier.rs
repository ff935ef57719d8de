//! One carrier, from its channel to its figures.

use super::bend::{bend, straighten};
use super::clock::{Bins, Line, line};
use super::find::PROOF;
use super::frames::{DOUBTFUL, Frames, NO_GRID, dissent, follow_headers};
use super::known::{known_groups, refine, untwist};
use super::lock::{NoSync, synchronise};
use super::model::Shape;
use super::quality::{KnownSymbols, SignalToNoise, combine, payload_es_n0, with_own};
use super::residue::PhaseResidue;
use super::symbols::{Grid, full_span, symbols};
use super::track::{Points, follow};
use super::{Stream, transform};
use slantpath_signal::C32;
use slantpath_signal::channel::smooth_length;
use slantpath_waveform::frame::SLOT;
use slantpath_waveform::{Frame, Modulation, Scrambler};

/// Symbol clock of a carrier.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Clock {
    /// Symbol rate, Bd.
    pub rate: f64,
    /// Standard uncertainty, Bd.
    pub u_rate: f64,
    /// Power of the clock's line over the noise beside it.
    pub significance: f64,
}

/// What frames told of a carrier.
#[derive(Debug, Clone, PartialEq)]
pub struct Lock {
    /// Kind of PLFRAME; the commonest when there are several.
    pub frame: Frame,
    /// Every kind seen and how often, the commonest first.
    pub kinds: Vec<(Frame, usize)>,
    /// Seconds of the stretch from and to which there were PLFRAMEs, when that is not all of it.
    pub on_air: Option<(f64, f64)>,
    /// Probability of that PLS code given the headers.
    pub confidence: f64,
    /// Headers in the stretch.
    pub headers: usize,
    /// Whether the distance of headers agrees with what they say; `None` with a single header.
    pub length_agrees: Option<bool>,
    /// Carrier in the middle of the stretch, Hz from the recording's centre.
    pub carrier_hz: f64,
    /// Its standard uncertainty.
    pub u_carrier_hz: f64,
    /// Drift in Hz/s and its standard uncertainty; `None` when the phase could not be followed.
    pub drift: Option<(f64, f64)>,
    /// Es/N0 from header and pilots alone.
    pub known: SignalToNoise,
    /// Es/N0 from the payload's magnitudes, where they can be trusted.
    pub payload: Option<SignalToNoise>,
    /// Es/N0: both together, or the known symbols alone.
    pub es_n0: SignalToNoise,
    /// MER with the phase followed closely: known symbols and payload, noise and fast phase noise together.
    pub mer: SignalToNoise,
    /// Phase left when it is followed more slowly.
    pub residues: Vec<PhaseResidue>,
    /// Symbol error rate to expect at this Es/N0.
    pub error_rate: Option<f64>,
    /// Whether payload decisions were used to follow the phase.
    pub decisions: bool,
    /// Times the decisions lost the phase.
    pub slips: usize,
    /// Whether the spectrum is turned round (an oscillator above the downlink).
    pub inverted: bool,
    /// Whether the pilots carry the scrambling code that was assumed; `None` without pilots.
    pub scrambling_agrees: Option<bool>,
    /// Points to draw.
    pub points: Points,
}

impl Lock {
    /// Whether dummy PLFRAMEs, which are all alike, make up most of it: its spectrum is then a comb of lines.
    pub fn repeats(&self) -> bool {
        let dummies: usize = self
            .kinds
            .iter()
            .filter(|(f, _)| f.modcod == 0)
            .map(|k| k.1)
            .sum();
        2 * dummies > self.headers
    }
}

/// Why frames told nothing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NoLock {
    /// Fewer symbols than any PLFRAME has.
    TooShort {
        /// Symbols there were.
        symbols: usize,
    },
    /// No header repeats.
    NoHeaders {
        /// Symbols searched.
        symbols: usize,
    },
    /// Headers repeat, but what they say contradicts itself.
    Unclear {
        /// Symbols searched.
        symbols: usize,
        /// Probability of the likeliest reading.
        confidence: f64,
    },
}

/// What the channel of one carrier gave.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Demodulated {
    pub clock: Clock,
    pub symbols: usize,
    pub seconds: f64,
    /// When the stretch used begins, s from the recording's start.
    pub start_s: f64,
    pub lock: Result<Lock, NoLock>,
}

/// Symbols either side at which the pulse is cut while only headers are looked for.
const LOCK_SPAN: f64 = 12.0;

/// The clock's line over all that is kept of a channel; `None` when it does not stand out there.
pub(super) fn clock_line(stream: &Stream, centre_hz: f64, rate: f64) -> Option<Line> {
    let n = smooth_length(stream.samples.len());
    let mut y = stream.samples.get(..n)?.to_vec();
    transform::forward(&mut y);
    let bins = Bins {
        y: &y,
        df: stream.rate_hz / n as f64,
    };
    line(
        &bins,
        centre_hz - stream.centre_hz,
        rate,
        3e-3,
        n as f64 / stream.rate_hz,
    )
    .filter(|l| l.significance > PROOF)
}

/// Symbols in which frames are looked for first.
const SEARCHED: usize = 160_000;

/// Where frames are and what they say.
struct Framing {
    frames: Frames,
    turns: f64,
    confidence: f64,
    length_agrees: Option<bool>,
}

/// Frames on a grid, or one by one where there is none.
fn framing(z: &[C32]) -> Result<Framing, NoSync> {
    let sync = synchronise(z);
    if let Ok(s) = &sync {
        let frames = Frames::steady(s, z.len());
        let part = dissent(z, &frames, s.turns).unwrap_or(0.0);
        let followed = if part > DOUBTFUL {
            follow_headers(z)
        } else {
            None
        };
        if part < DOUBTFUL || (followed.is_none() && part < NO_GRID) {
            return Ok(Framing {
                frames,
                turns: s.turns,
                confidence: s.decision.confidence,
                length_agrees: s.length_agrees,
            });
        }
    }
    match follow_headers(z) {
        Some((frames, turns)) => Ok(Framing {
            frames,
            turns,
            // Each header alone is beyond noise, and announces where the next one stands.
            confidence: 1.0 - 1e-6,
            length_agrees: Some(true),
        }),
        None => Err(match sync {
            Ok(s) => NoSync::Unclear {
                best: s.significance,
                confidence: s.decision.confidence,
            },
            Err(e) => e,
        }),
    }
}

/// From when to when there were frames, when more than the longest of them is missing at either end.
fn on_air(
    frames: &Frames,
    symbols: usize,
    begins: f64,
    rate: f64,
    stream: &Stream,
) -> Option<(f64, f64)> {
    const LONGEST: usize = 33_282;
    let first = frames.places.first()?.start;
    let end = frames
        .places
        .last()
        .map(|p| p.start + p.frame.symbols())?
        .min(symbols);
    let ends = first < LONGEST && end + LONGEST > symbols;
    if !stream.trimmed && (!frames.followed || ends) {
        return None;
    }
    let seconds = stream.samples.len() as f64 / stream.rate_hz;
    Some((
        stream.start_s + begins + first as f64 / rate,
        stream.start_s + (begins + end as f64 / rate).min(seconds),
    ))
}

/// Demodulates a carrier of known shape and clock, and once more with the spectrum turned round when nothing was found:
/// behind an oscillator above the downlink frequencies run backwards.
pub(super) fn demodulate(
    stream: Stream,
    shape: &Shape,
    l: &Line,
    scrambler: &Scrambler,
) -> Option<Demodulated> {
    let first = attempt(&stream, shape, l, scrambler)?;
    if first.lock.is_ok() {
        return Some(first);
    }
    let turned = Stream {
        samples: stream.samples.iter().map(|z| z.conj()).collect(),
        rate_hz: stream.rate_hz,
        centre_hz: -stream.centre_hz,
        start_s: stream.start_s,
        trimmed: stream.trimmed,
    };
    drop(stream);
    let mirror = Shape {
        centre_hz: -shape.centre_hz,
        ..*shape
    };
    let mut second = attempt(&turned, &mirror, l, scrambler)?;
    match &mut second.lock {
        Ok(lock) => {
            lock.carrier_hz = -lock.carrier_hz;
            lock.drift = lock.drift.map(|(d, u)| (-d, u));
            lock.inverted = true;
            Some(second)
        }
        Err(_) => Some(first),
    }
}

fn attempt(stream: &Stream, shape: &Shape, l: &Line, scrambler: &Scrambler) -> Option<Demodulated> {
    let seconds = stream.samples.len() as f64 / stream.rate_hz;
    let centre = shape.centre_hz - stream.centre_hz;
    let mut clock = Clock {
        rate: l.rate,
        u_rate: l.u_rate,
        significance: l.significance,
    };
    let mut grid = Grid {
        rate: l.rate,
        instant_s: l.instant_s,
        carrier_hz: centre,
        drift: 0.0,
        rolloff: shape.rolloff,
    };
    let count = (seconds * l.rate) as usize;
    let done = |clock: Clock, lock| {
        Some(Demodulated {
            clock,
            symbols: count,
            seconds,
            start_s: stream.start_s,
            lock,
        })
    };
    // A part tells where the frames are as well as all of it; all of it is tried when that part does not.
    let mut found = None;
    for most in [SEARCHED, usize::MAX] {
        let (z, began) = symbols(stream, &grid, LOCK_SPAN, most);
        if z.len() < 2 * SLOT {
            return done(clock, Err(NoLock::TooShort { symbols: z.len() }));
        }
        let framing = framing(&z);
        let last = z.len() + 1000 >= count || most == usize::MAX;
        if framing.is_ok() || last {
            found = Some((framing, z, began));
            break;
        }
    }
    let (framing, z, began) = found?;
    let framing = match framing {
        Ok(f) => f,
        Err(NoSync::NoHeaders { .. }) => {
            let shortest = Frame::lengths().first().copied().unwrap_or(0);
            let why = if count < shortest {
                NoLock::TooShort { symbols: count }
            } else {
                NoLock::NoHeaders { symbols: count }
            };
            return done(clock, Err(why));
        }
        Err(NoSync::Unclear { confidence, .. }) => {
            return done(
                clock,
                Err(NoLock::Unclear {
                    symbols: count,
                    confidence,
                }),
            );
        }
    };
    // Again with the carrier that the headers tell, so that the matched filter stands where the carrier does.
    let mut g = known_groups(&z, &framing.frames, scrambler);
    untwist(&mut g, framing.turns);
    let mut u_drift = 0.0;
    match bend(&g) {
        Some(b) => {
            u_drift = b.u_drift * grid.rate * grid.rate;
            grid.drift = b.drift * grid.rate * grid.rate;
            let middle_s = began + b.middle / grid.rate;
            grid.carrier_hz += (framing.turns + b.turns) * grid.rate - grid.drift * middle_s;
        }
        None => {
            let turns = framing.turns + refine(&g, framing.frames.pilots(), 1.0).0;
            grid.carrier_hz += turns * grid.rate;
        }
    }
    drop(g);
    // The longer filter begins some symbols later; a lone header must not be lost to that.
    let full = full_span(grid.rolloff);
    let at = framing.frames.places.first().map_or(0, |p| p.start);
    let lone = framing.frames.places.len() == 1 && (at as f64) < full - LOCK_SPAN + 2.0;
    let (mut z, begins) = symbols(
        stream,
        &grid,
        if lone { LOCK_SPAN } else { full },
        usize::MAX,
    );
    let later = ((begins - began) * grid.rate).round().max(0.0) as usize;
    let steady = Frames::onward(&framing.frames.earlier(later), z.len());
    // What the first part did not tell of the drift; from here on the carrier stands still but for its wandering.
    if let Some(b) = bend(&known_groups(&z, &steady, scrambler)) {
        straighten(&mut z, &b);
        let rest = b.drift * grid.rate * grid.rate;
        grid.drift += rest;
        grid.carrier_hz += b.turns * grid.rate - rest * (begins + b.middle / grid.rate);
        u_drift = b.u_drift * grid.rate * grid.rate;
    }
    let middle_hz = grid.carrier_hz + grid.drift * (begins + 0.5 * z.len() as f64 / grid.rate);
    let part = dissent(&z, &steady, 0.0).unwrap_or(0.0);
    let followed = (framing.frames.followed || part > DOUBTFUL)
        .then(|| follow_headers(&z))
        .flatten();
    let frames = match followed {
        Some((f, _)) => f,
        None if !framing.frames.followed && part < NO_GRID => steady,
        None => {
            return done(
                clock,
                Err(NoLock::Unclear {
                    symbols: count,
                    confidence: framing.confidence,
                }),
            );
        }
    };
    let kinds = frames.kinds();
    let Some((main, _)) = kinds.first().copied() else {
        return done(clock, Err(NoLock::NoHeaders { symbols: count }));
    };
    let mut groups = known_groups(&z, &frames, scrambler);
    let pilots = frames.pilots();
    let (t, _) = refine(&groups, pilots, 1.0);
    untwist(&mut groups, t);
    let gather = |groups: &[(f64, Vec<slantpath_signal::C64>)]| {
        let mut k = KnownSymbols::default();
        for (_, q) in groups {
            k.add(q);
        }
        k
    };
    // Pilots under another scrambling code do not add up: then the headers alone count.
    let headers: Vec<_> = groups
        .iter()
        .filter(|(_, q)| q.len() == SLOT)
        .cloned()
        .collect();
    let by_headers = gather(&headers);
    let mut used = gather(&groups);
    let mut scrambling_agrees = None;
    if pilots {
        let only: Vec<_> = groups
            .iter()
            .filter(|(_, q)| q.len() != SLOT)
            .cloned()
            .collect();
        let p = gather(&only);
        let agrees = p.signal() > 0.4 * by_headers.signal();
        scrambling_agrees = Some(agrees);
        if !agrees {
            used = by_headers;
        }
    }
    let Some(known) = used.es_n0() else {
        return done(clock, Err(NoLock::NoHeaders { symbols: count }));
    };
    let (t, u_t) = {
        let g = if scrambling_agrees == Some(false) {
            &headers
        } else {
            &groups
        };
        let (dt, u) = refine(g, pilots && scrambling_agrees != Some(false), known.ratio);
        (t + dt, u)
    };
    // Payload magnitudes; header and pilots are left out.
    let mut power = Vec::with_capacity(z.len());
    let mut phase_keyed = None;
    for p in &frames.places {
        let Some(m @ (Modulation::Qpsk | Modulation::Psk8)) = p.frame.modulation() else {
            continue;
        };
        phase_keyed = Some(m);
        for r in p.frame.payload_ranges() {
            let end = (p.start + r.end).min(z.len());
            if let Some(x) = z.get((p.start + r.start).min(end)..end) {
                power.extend(x.iter().map(|x| x.norm_sqr()));
            }
        }
    }
    let payload = phase_keyed.and_then(|m| payload_es_n0(&power, m));
    let first = combine(&known, payload.as_ref());
    let track = follow(&z, &frames, scrambler, (t, u_t), &used, &first, grid.rate);
    let es_n0 = with_own(track.es_n0);
    clock.u_rate = clock.u_rate.max(1e-8 * clock.rate);
    let mer = mer(&es_n0, &track.residues, &used);
    let turning = track.turning;
    let lock = Lock {
        frame: main,
        kinds,
        on_air: on_air(&frames, z.len(), begins, grid.rate, stream),
        confidence: framing.confidence,
        headers: frames.places.len(),
        length_agrees: if frames.followed {
            Some(true)
        } else {
            framing.length_agrees
        },
        carrier_hz: stream.centre_hz + middle_hz + turning.turns * grid.rate,
        u_carrier_hz: turning.u_turns * grid.rate,
        drift: turning
            .drift
            .map(|(d, u)| {
                let square = grid.rate * grid.rate;
                (grid.drift + d * square, u * square)
            })
            .or((u_drift > 0.0).then_some((grid.drift, u_drift))),
        known,
        payload,
        es_n0,
        mer,
        residues: track.residues,
        error_rate: track.error_rate,
        decisions: track.decisions,
        slips: track.slips,
        inverted: false,
        scrambling_agrees,
        points: track.points,
    };
    if lock.repeats() {
        // Lines of the comb beside the clock's own pull it by some parts in ten million (simulated), rounded up.
        clock.u_rate = clock.u_rate.hypot(1e-6 * clock.rate);
    }
    done(clock, Ok(lock))
}

/// MER with the phase followed as closely as was tried; without decisions, from known symbol to known symbol.
fn mer(es_n0: &SignalToNoise, residues: &[PhaseResidue], known: &KnownSymbols) -> SignalToNoise {
    let Some(r) = residues
        .first()
        .filter(|r| r.rms_rad.powi(2) > 2.0 * r.u_square)
    else {
        return match (known.total(), known.es_n0()) {
            (Some(all), Some(along)) if residues.is_empty() && known.movement() > 3.0 => {
                let moved = (1.0 / all.ratio - 1.0 / along.ratio).max(0.0);
                let ratio = 1.0 / (1.0 / es_n0.ratio + moved);
                SignalToNoise {
                    ratio,
                    u: (es_n0.u * ratio / es_n0.ratio).hypot(all.u),
                    symbols: es_n0.symbols,
                }
            }
            _ => *es_n0,
        };
    };
    let ratio = 1.0 / (1.0 / es_n0.ratio + r.rms_rad.powi(2));
    SignalToNoise {
        ratio,
        u: (es_n0.u * ratio / es_n0.ratio).hypot(ratio * r.u_square),
        symbols: es_n0.symbols,
    }
}
