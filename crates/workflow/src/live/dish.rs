//! At the dish: one sentence at a time. Readings while nothing moves become holds, holds are fitted, and the fit says
//! which bolt to turn, which way, how far, how sure that is, and when to stop.

use super::Latest;
use crate::predict::Predicted;
use slantpath_capture::live::{BeaconNow, Reading};
use slantpath_plan::pointing::{Advice, Axis, Before, Fit, Hold, Limits, advise, fit};
use slantpath_quantity::show;
use slantpath_station::Station;
use std::collections::VecDeque;
use std::time::{Duration, Instant};

/// After a turn the mast swings: what is read meanwhile belongs to no hold (common practice, no source).
const SETTLE: Duration = Duration::from_millis(800);
/// Readings of a hold.
const HOLD: usize = 25;
/// Readings in one value of the history, and values kept: two minutes.
const SLOW: usize = 10;
const KEPT: usize = 120;
/// Readings that a peak is averaged over.
const SMOOTH: usize = 5;
/// Wind and scintillation between holds, dB (own estimate for a dish of a metre or two in a light wind).
const U_BETWEEN_DB: f64 = 0.04;
/// What is known of bolts before the first turn: degrees on the sky per turn, and the standard uncertainty of its
/// logarithm (threads of 1 to 2 mm on arms of 10 to 30 cm; common practice, no source).
const PER_TURN: (f64, f64) = (0.45, 0.6);
/// A hand misses the turn asked for by so much, turns.
const U_TURN: f64 = 0.04;
/// Difference of two tilts that a phone at rest reads, averaged over two seconds, degrees (own estimate; the noise of its
/// accelerometer is far below, its scale and a phone that slips a little are not).
const U_TILT_DEG: f64 = 0.12;
/// Relative standard uncertainty of the predicted beam width.
const U_WIDTH: f64 = 0.06;
/// A dish that sees the satellite at all stands within so many beam widths of it (standard uncertainty).
const U_ERROR: f64 = 0.8;
/// Readings in a row without the own carrier after which STOP goes away.
const OWN_GONE: u32 = 20;

/// What the person at the dish is to be told.
#[derive(Debug, Clone, PartialEq)]
pub struct Told {
    /// The one sentence.
    pub said: Said,
    /// What was found: which satellite, and how that is known.
    pub found: String,
    /// The level now, averaged over half a second: dB, standard uncertainty, unit.
    pub level: Option<(f64, f64, &'static str)>,
    /// Highest level that the readings prove.
    pub peak: Option<f64>,
    /// Level of the peak as fitted, with its standard uncertainty.
    pub fitted_peak: Option<(f64, f64)>,
    /// Loss that is left: best estimate and its 95 % upper end, dB.
    pub left: Option<(f64, f64)>,
    /// The last two minutes, oldest first, a value a second; `None` where nothing was read.
    pub history: Vec<Option<f64>>,
    /// Holds read so far.
    pub holds: usize,
    /// Turns since the start: azimuth, elevation.
    pub turns: (f64, f64),
    /// Learned: degrees on the sky per turn, azimuth and elevation, with standard uncertainty.
    pub per_turn: Option<[(f64, f64); 2]>,
    /// Beacon of the other polarisation, if one is in the band.
    pub cross: Option<Cross>,
    /// The person said that the amplifier's supply is disconnected.
    pub disconnected: bool,
}

/// A beacon to be nulled by turning the feed.
#[derive(Debug, Clone, PartialEq)]
pub struct Cross {
    /// Which.
    pub beacon: String,
    /// Its C/N0 now, dBHz.
    pub now: f64,
    /// Lowest half second so far, dBHz.
    pub lowest: f64,
    /// It stands above the noise.
    pub seen: bool,
}

/// The sentence.
#[derive(Debug, Clone, PartialEq)]
pub struct Said {
    /// What to do.
    pub text: String,
    /// How sure, and why.
    pub detail: String,
    /// The kind of act.
    pub doing: Doing,
    /// The turn that is asked for.
    pub step: Option<Step>,
}

/// The kind of act.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Doing {
    /// Nothing arrives.
    Wait,
    /// The amplifier is to be disconnected first.
    Disconnect,
    /// No satellite yet.
    Search,
    /// A hold is being read.
    Hold,
    /// A bolt is to be turned.
    Turn,
    /// Done.
    Finished,
    /// The own carrier is on the satellite.
    Stop,
}

/// A turn of a bolt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// Which bolt.
    pub axis: Axis,
    /// Turns; positive is right or up.
    pub turns: f64,
}

#[derive(Debug)]
pub(super) struct Session {
    before: Before,
    reference: Option<String>,
    cross_of: Vec<String>,
    limits: Limits,
    look: (f64, f64),
    beam_deg: f64,
    /// The level read is one over the receiver's own noise (else dBFS).
    over_receiver: Option<bool>,
    holds: Vec<Hold>,
    turns: (f64, f64),
    since: Option<Instant>,
    hold: Vec<f64>,
    closed: bool,
    recent: VecDeque<(f64, f64)>,
    slow: (f64, u32, u32),
    history: VecDeque<Option<f64>>,
    peak: Option<f64>,
    cross: VecDeque<(String, f64, bool)>,
    cross_lowest: Option<f64>,
    own_gone: u32,
    advice: Option<(Fit, Advice)>,
    pub disconnected: bool,
}

impl Session {
    pub fn new(station: &Station, predicted: &Predicted, branch: Option<&str>) -> Self {
        // The reference: a beacon that does not key, of the narrowest passband.
        let mut passbands: Vec<_> = station.satellite.passbands.iter().collect();
        passbands.sort_by(|a, b| {
            let w = |p: &slantpath_station::checked::Passband| {
                p.downlink.hi.as_hz() - p.downlink.lo.as_hz()
            };
            w(a).total_cmp(&w(b))
        });
        let p = passbands.iter().find(|p| !p.beacons.is_empty());
        let beacon = p.and_then(|p| p.reference_beacon());
        let id = |what: &str| {
            Some(format!(
                "{}.{}.{what}@{}",
                p?.name,
                beacon?.name,
                branch.unwrap_or_default()
            ))
        };
        let peak = id("cn0_station")
            .and_then(|id| predicted.prediction.answer(&id)?.estimate().cloned())
            .map_or((50.0, 10.0), |e| (e.value, e.u.max(0.3)));
        let beam_deg = p
            .and_then(|p| predicted.model.beamwidth(&p.name))
            .map_or(2.0, |b| b.as_deg());
        let g = predicted.model.geometry();
        Self {
            before: Before {
                beamwidth_deg: (beam_deg, U_WIDTH * beam_deg),
                peak_db: peak,
                u_az_deg: U_ERROR * beam_deg,
                u_el_deg: U_ERROR * beam_deg,
                per_turn_az: PER_TURN,
                per_turn_el: PER_TURN,
                u_turn: U_TURN,
            },
            reference: p.zip(beacon).map(|(p, b)| format!("{}.{}", p.name, b.name)),
            cross_of: p.map_or(Vec::new(), |p| {
                station
                    .satellite
                    .passbands
                    .iter()
                    .filter(|x| x.downlink_polarisation != p.downlink_polarisation)
                    .map(|x| x.name.clone())
                    .collect()
            }),
            limits: Limits::default(),
            look: (g.direction.azimuth.as_deg(), g.apparent.elevation_deg),
            beam_deg,
            over_receiver: None,
            holds: Vec::new(),
            turns: (0.0, 0.0),
            since: None,
            hold: Vec::new(),
            closed: false,
            recent: VecDeque::new(),
            slow: (0.0, 0, 0),
            history: VecDeque::new(),
            peak: None,
            cross: VecDeque::new(),
            cross_lowest: None,
            own_gone: OWN_GONE,
            advice: None,
            disconnected: false,
        }
    }

    pub fn start_over(&mut self, now: Instant) {
        self.holds.clear();
        self.turns = (0.0, 0.0);
        self.advice = None;
        self.peak = None;
        self.cross_lowest = None;
        self.begin(now);
    }

    fn begin(&mut self, now: Instant) {
        self.hold.clear();
        self.closed = false;
        self.since = Some(now);
    }

    pub fn turned(&mut self, axis: Axis, turns: f64, now: Instant) {
        match axis {
            Axis::Azimuth => self.turns.0 += turns,
            Axis::Elevation => self.turns.1 += turns,
        }
        self.recent.clear();
        self.begin(now);
    }

    /// Degrees per turn of the elevation bolt as a phone's tilt tells them, joined with what is known of it (logarithms,
    /// weighted by their variances); the fit of the next hold starts from there.
    pub fn tilted(&mut self, turns: f64, degrees: f64) -> String {
        let per_turn = degrees / turns.abs();
        let u = (U_TILT_DEG / degrees.max(1e-6)).hypot(U_TURN / turns.abs());
        if u > 0.5 {
            return format!(
                "The tilt changed by {} deg ± {U_TILT_DEG}: too little to say what a turn does.",
                show::fixed(degrees, 2)
            );
        }
        let (known, u_known) = self.before.per_turn_el;
        let off = (per_turn / known).ln().abs() / u.hypot(u_known);
        if off > 3.5 {
            return format!(
                "By tilt a turn moves the dish {} deg ± {}, which is far from what is known of it ({} deg): left out. Does the \
                 phone lie fast, and was it that bolt?",
                show::fixed(per_turn, 2),
                show::fixed(per_turn * u, 2),
                show::fixed(known, 2)
            );
        }
        let (a, b) = (1.0 / (u * u), 1.0 / (u_known * u_known));
        let joined = ((per_turn.ln() * a + known.ln() * b) / (a + b)).exp();
        self.before.per_turn_el = (joined, (a + b).sqrt().recip());
        format!(
            "By tilt a turn of the elevation bolt moves the dish {} deg ± {}.",
            show::fixed(joined, 2),
            show::fixed(joined * self.before.per_turn_el.1, 2)
        )
    }

    fn reference<'a>(&self, r: &'a Reading) -> Option<&'a BeaconNow> {
        let named = self.reference.as_deref();
        r.beacons
            .iter()
            .find(|b| Some(b.id().as_str()) == named)
            .or_else(|| r.beacons.iter().find(|b| b.steady))
    }

    /// Takes a reading.
    pub fn take(&mut self, r: &Reading, now: Instant) {
        self.own_gone = match r.own {
            Some(_) => 0,
            None => self.own_gone.saturating_add(1),
        };
        self.take_cross(r);
        let level = self
            .reference(r)
            .filter(|b| b.seen)
            .map(|b| match b.over_receiver_dbhz {
                Some((v, u, _)) => (v, u, true),
                None => (b.level_dbfs.0, b.level_dbfs.1, false),
            });
        self.slow.2 += 1;
        if let Some((v, _, _)) = level {
            self.slow.0 += v;
            self.slow.1 += 1;
        }
        if self.slow.2 >= SLOW as u32 {
            let (sum, n, _) = std::mem::take(&mut self.slow);
            if self.history.len() == KEPT {
                self.history.pop_front();
            }
            self.history.push_back((n > 0).then(|| sum / f64::from(n)));
        }
        let Some((value, u, over)) = level else {
            self.recent.clear();
            return;
        };
        if self.over_receiver != Some(over) {
            // Another scale: what was read before cannot be compared.
            if self.over_receiver.is_some() || !over {
                self.before.peak_db = if over {
                    self.before.peak_db
                } else {
                    (value + 3.0, 10.0)
                };
            }
            self.over_receiver = Some(over);
            self.start_over(now);
        }
        self.recent.push_back((value, u));
        if self.recent.len() > SMOOTH {
            self.recent.pop_front();
        }
        if let Some((v, u)) = self.smooth().filter(|_| self.recent.len() == SMOOTH) {
            // The highest of many noisy values is too high: only what stands two uncertainties above the peak moves it.
            if self.peak.is_none_or(|p| v - 2.0 * u > p) {
                self.peak = Some(v);
            }
        }
        let settled = self.since.is_none_or(|t| now.duration_since(t) >= SETTLE);
        if settled && !self.closed && r.lost_here == 0 {
            self.hold.push(value);
            if self.hold.len() >= HOLD {
                self.close();
            }
        }
    }

    fn take_cross(&mut self, r: &Reading) {
        let found = r
            .beacons
            .iter()
            .find(|b| self.cross_of.contains(&b.passband));
        let Some(b) = found else {
            self.cross.clear();
            return;
        };
        self.cross.push_back((b.id(), b.cn0_dbhz.0, b.seen));
        if self.cross.len() > SMOOTH {
            self.cross.pop_front();
        }
        if self.cross.len() == SMOOTH {
            let mean = self.cross.iter().map(|c| c.1).sum::<f64>() / SMOOTH as f64;
            self.cross_lowest = Some(self.cross_lowest.map_or(mean, |l| l.min(mean)));
        }
    }

    /// A hold is complete: fit, and take advice.
    fn close(&mut self) {
        self.closed = true;
        let n = self.hold.len() as f64;
        let mean = self.hold.iter().sum::<f64>() / n;
        let spread = self.hold.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / (n - 1.0).max(1.0);
        let u_db: f64 = (spread / n + U_BETWEEN_DB * U_BETWEEN_DB).sqrt();
        self.holds.push(Hold {
            turns_az: self.turns.0,
            turns_el: self.turns.1,
            level_db: mean,
            u_db,
        });
        self.advice = fit(&self.before, &self.holds, 1).ok().map(|f| {
            let a = advise(&f, u_db, &self.limits);
            (f, a)
        });
    }

    /// Mean of the last half second, with its standard uncertainty.
    fn smooth(&self) -> Option<(f64, f64)> {
        let n = self.recent.len() as f64;
        (n > 0.0).then(|| {
            let v = self.recent.iter().map(|x| x.0).sum::<f64>() / n;
            let u = self.recent.iter().map(|x| x.1 * x.1).sum::<f64>().sqrt() / n;
            (v, u)
        })
    }

    pub fn told(&mut self, latest: &Latest, now: Instant) -> Told {
        let level = self.smooth().map(|(v, u)| {
            let unit = if self.over_receiver == Some(true) {
                "dBHz"
            } else {
                "dBFS"
            };
            (v, u, unit)
        });
        let fitted = self.advice.as_ref().map(|(f, _)| f);
        Told {
            said: self.said(latest, now),
            found: found(latest),
            level,
            peak: self.peak,
            fitted_peak: fitted.map(|f| (f.peak.value, f.peak.u)),
            left: fitted.map(|f| (f.loss.value, f.loss.interval.hi)),
            history: self.history.iter().copied().collect(),
            holds: self.holds.len(),
            turns: self.turns,
            per_turn: fitted.filter(|_| self.holds.len() > 1).map(|f| {
                [
                    (f.per_turn_az.value, f.per_turn_az.u),
                    (f.per_turn_el.value, f.per_turn_el.u),
                ]
            }),
            cross: self.cross.back().map(|(beacon, _, seen)| {
                let n = self.cross.len().max(1) as f64;
                let mean = self.cross.iter().map(|c| c.1).sum::<f64>() / n;
                Cross {
                    beacon: beacon.clone(),
                    now: mean,
                    lowest: self.cross_lowest.unwrap_or(mean),
                    seen: *seen,
                }
            }),
            disconnected: self.disconnected,
        }
    }

    fn said(&self, latest: &Latest, now: Instant) -> Said {
        let say = |doing: Doing, text: &str, detail: String| Said {
            text: text.into(),
            detail,
            doing,
            step: None,
        };
        if latest.age().is_none_or(|a| a > Duration::from_secs(1)) {
            return say(Doing::Wait, "Nothing arrives", latest.source.clone());
        }
        if self.own_gone < OWN_GONE {
            return say(
                Doing::Stop,
                "STOP: your own carrier is on the satellite",
                "Get away from the feed. Disconnect the amplifier's supply before anybody touches the dish.".into(),
            );
        }
        if !self.disconnected {
            return say(
                Doing::Disconnect,
                "Disconnect the amplifier's supply",
                "This page cannot see whether the transmitter is off. Pull the supply's plug, keep it with you, then say so."
                    .into(),
            );
        }
        let seen = latest
            .reading
            .as_ref()
            .and_then(|r| self.reference(r))
            .is_some_and(|b| b.seen);
        if !seen {
            return say(Doing::Search, "Search: sweep slowly", self.pattern());
        }
        let Some((f, advice)) = self.advice.as_ref().filter(|_| self.closed) else {
            let left = self.since.map_or(Duration::ZERO, |t| {
                SETTLE.saturating_sub(now.duration_since(t))
            });
            let s = left.as_secs_f64() + (HOLD.saturating_sub(self.hold.len())) as f64 * 0.1;
            return if self.closed {
                say(
                    Doing::Wait,
                    "The readings do not fit a beam",
                    "Press \"start over\" and begin again from here.".into(),
                )
            } else {
                say(
                    Doing::Hold,
                    "Hold still",
                    format!("Reading the level, {} s more.", s.ceil()),
                )
            };
        };
        match *advice {
            Advice::Turn {
                axis,
                turns,
                u_turns,
                error_deg,
                sure,
            } => Said {
                text: sentence(axis, turns),
                detail: format!(
                    "Give or take {} turn. The direction is {} % sure. It takes away {} of error; the loss is {} now.",
                    show::significant(u_turns, 1),
                    (100.0 * sure).floor().min(99.0),
                    with_u(error_deg.0.abs(), error_deg.1, "deg"),
                    with_u(f.loss.value, f.loss.u, "dB"),
                ),
                doing: Doing::Turn,
                step: Some(Step { axis, turns }),
            },
            Advice::Learn { axis, turns } => Said {
                text: sentence(axis, turns),
                detail: "To learn which way is better: the level alone does not tell. It may fall."
                    .into(),
                doing: Doing::Turn,
                step: Some(Step { axis, turns }),
            },
            Advice::Stop { at_most_db } => say(
                Doing::Finished,
                "Done: tighten the bolts",
                format!(
                    "At most {} dB is left to win (95 %). Tighten evenly and watch the level stay.",
                    show::significant(at_most_db.max(0.01), 1)
                ),
            ),
        }
    }

    /// How to find a satellite that is not seen.
    fn pattern(&self) -> String {
        let step = 0.5 * self.beam_deg;
        format!(
            "It should stand at azimuth {} deg (true), elevation {} deg. Set the elevation, turn slowly through 15 deg to \
             each side, no faster than {} deg a second; then raise or lower by {} deg and sweep again.",
            show::fixed(self.look.0, 1),
            show::fixed(self.look.1, 1),
            show::significant(step, 1),
            show::significant(step, 1),
        )
    }
}

/// Which satellite it is, and how that is known.
fn found(latest: &Latest) -> String {
    let Some(l) = &latest.location else {
        return "No satellite found yet.".into();
    };
    let seen = match l.beacons_seen {
        0 => "its noise stands where its passband should".to_string(),
        1 => "one of its beacons stands at its place".to_string(),
        n => format!("{n} of its beacons stand at their places together"),
    };
    let doubt = l
        .runner_up
        .filter(|r| r.score > l.score - 3.0)
        .map_or("", |_| " Another place fits nearly as well: be careful.");
    format!(
        "Right satellite: {seen}; everything is {} kHz {}.{doubt}",
        show::fixed(l.shift_hz.abs() / 1e3, 1),
        if l.shift_hz < 0.0 { "low" } else { "high" },
    )
}

fn with_u(value: f64, u: f64, unit: &str) -> String {
    let (v, u) = show::value_and_u(value, u);
    format!("{v} ± {u} {unit}")
}

fn sentence(axis: Axis, turns: f64) -> String {
    let way = match (axis, turns > 0.0) {
        (Axis::Azimuth, true) => "right",
        (Axis::Azimuth, false) => "left",
        (Axis::Elevation, true) => "up",
        (Axis::Elevation, false) => "down",
    };
    let name = match axis {
        Axis::Azimuth => "Azimuth",
        Axis::Elevation => "Elevation",
    };
    format!("{name} bolt: dish {way}, {}", amount(turns.abs()))
}

/// A number of turns in eighths, as hands count them.
fn amount(turns: f64) -> String {
    let eighths = (turns * 8.0).round().max(1.0) as u32;
    let part = match eighths % 8 {
        0 => "",
        1 => "1/8",
        2 => "1/4",
        3 => "3/8",
        4 => "1/2",
        5 => "5/8",
        6 => "3/4",
        _ => "7/8",
    };
    match (eighths / 8, part) {
        (1, "") => "1 turn".into(),
        (n, "") => format!("{n} turns"),
        (0, p) => format!("{p} turn"),
        (n, p) => format!("{n} {p} turns"),
    }
}

#[cfg(test)]
mod tests;
