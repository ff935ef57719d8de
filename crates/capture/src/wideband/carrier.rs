//! One carrier, from its channel to its figures.

use super::clock::{Bins, Line, line};
use super::find::PROOF;
use super::lock::{NoSync, Sync, synchronise};
use super::model::Shape;
use super::quality::{KnownSymbols, SignalToNoise, combine, payload_es_n0, with_own};
use super::symbols::{Grid, full_span, symbols};
use super::track::{PhaseResidue, Points, follow, known_groups, refine, untwist};
use super::{Stream, transform};
use slantpath_signal::channel::smooth_length;
use slantpath_waveform::frame::SLOT;
use slantpath_waveform::{Frame, Scrambler};

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
    /// Kind of PLFRAME.
    pub frame: Frame,
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
    let (z, began) = symbols(stream, &grid, LOCK_SPAN);
    let count = z.len();
    let done = |clock: Clock, lock| {
        Some(Demodulated {
            clock,
            symbols: count,
            seconds,
            lock,
        })
    };
    if count < 2 * SLOT {
        return done(clock, Err(NoLock::TooShort { symbols: count }));
    }
    let sync = match synchronise(&z) {
        Ok(s) => s,
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
    let (groups_turns, _) = {
        let mut g = known_groups(&z, &sync, scrambler);
        untwist(&mut g, sync.turns);
        let pilots = sync.frame.pilot_blocks() > 0;
        let (t, u) = refine(&g, pilots, 1.0);
        (sync.turns + t, u)
    };
    grid.carrier_hz += groups_turns * grid.rate;
    // The longer filter begins some symbols later; a lone header must not be lost to that.
    let full = full_span(grid.rolloff);
    let lone = sync.headers == 1 && (sync.first as f64) < full - LOCK_SPAN + 2.0;
    let (z, begins) = symbols(stream, &grid, if lone { LOCK_SPAN } else { full });
    let later = ((begins - began) * grid.rate).round().max(0.0) as usize;
    let first = if sync.first >= later {
        sync.first - later
    } else {
        sync.first + sync.length - later
    };
    let sync = Sync {
        turns: 0.0,
        headers: z.len().saturating_sub(first + SLOT) / sync.length + 1,
        first,
        ..sync
    };
    let mut groups = known_groups(&z, &sync, scrambler);
    let pilots = sync.frame.pilot_blocks() > 0;
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
    let payload = sync.frame.modulation().and_then(|m| {
        let mut power = Vec::with_capacity(z.len());
        let ranges: Vec<_> = sync.frame.payload_ranges().collect();
        let mut start = sync.first;
        while start < z.len() {
            for r in &ranges {
                let end = (start + r.end).min(z.len());
                if let Some(p) = z.get((start + r.start).min(end)..end) {
                    power.extend(p.iter().map(|x| x.norm_sqr()));
                }
            }
            start += sync.length;
        }
        payload_es_n0(&power, m)
    });
    let first = combine(&known, payload.as_ref());
    let track = follow(&z, &sync, scrambler, (t, u_t), &used, &first, grid.rate);
    let es_n0 = with_own(track.es_n0);
    clock.u_rate = clock.u_rate.max(1e-8 * clock.rate);
    let mer = mer(&es_n0, &track.residues);
    let turning = track.turning;
    let lock = Lock {
        frame: sync.frame,
        confidence: sync.decision.confidence,
        headers: sync.headers,
        length_agrees: sync.length_agrees,
        carrier_hz: stream.centre_hz + grid.carrier_hz + turning.turns * grid.rate,
        u_carrier_hz: turning.u_turns * grid.rate,
        drift: turning
            .drift
            .map(|(d, u)| (d * grid.rate * grid.rate, u * grid.rate * grid.rate)),
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
    done(clock, Ok(lock))
}

/// MER with the phase followed as closely as was tried.
fn mer(es_n0: &SignalToNoise, residues: &[PhaseResidue]) -> SignalToNoise {
    let Some(r) = residues
        .first()
        .filter(|r| r.rms_rad.powi(2) > 2.0 * r.u_square)
    else {
        return *es_n0;
    };
    let ratio = 1.0 / (1.0 / es_n0.ratio + r.rms_rad.powi(2));
    SignalToNoise {
        ratio,
        u: (es_n0.u * ratio / es_n0.ratio).hypot(ratio * r.u_square),
        symbols: es_n0.symbols,
    }
}
