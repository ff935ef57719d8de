//! Following the phase through known symbols and decisions.

use super::frames::Frames;
use super::known::{DIAGONAL, known_groups, untwist, wide};
use super::lock::header_at;
use super::quality::{KnownSymbols, SignalToNoise, decisive};
use super::residue::{BLOCK, Block, PhaseResidue, decided_es_n0, residues};
use super::turning::{Turning, by_groups, fit_turning};
use slantpath_quantity::from_db;
use slantpath_signal::{C32, C64};
use slantpath_waveform::frame::SLOT;
use slantpath_waveform::{Constellation, Frame, Modulation, PlHeader, Scrambler, error_rate};
use std::f64::consts::TAU;

/// Symbols of a constellation, for drawing; unit mean power, phase taken off.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Points {
    /// Header symbols, turned to the pi/2-BPSK pattern's own axes.
    pub header: Vec<(f32, f32)>,
    /// Pilots, scrambling taken off.
    pub pilots: Vec<(f32, f32)>,
    /// Payload, scrambling taken off.
    pub payload: Vec<(f32, f32)>,
    /// The constellation's own points.
    pub ideal: Vec<(f32, f32)>,
}

impl Points {
    /// A known symbol at a place of its PLFRAME.
    fn known(&mut self, position: usize, y: C64) {
        if position >= SLOT {
            if self.pilots.len() < 360 {
                self.pilots.push((y.re as f32, y.im as f32));
            }
        } else if self.header.len() < 360 {
            // Header symbols on the axis of their own bit.
            let turn = if position.is_multiple_of(2) {
                DIAGONAL
            } else {
                DIAGONAL * C64::new(0.0, 1.0)
            };
            let v = y * turn.conj();
            self.header.push((v.re as f32, v.im as f32));
        }
    }
}

/// What following the phase gave.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Track {
    pub turning: Turning,
    pub residues: Vec<PhaseResidue>,
    pub points: Points,
    /// Symbol error rate expected, and whether decisions were used at all.
    pub error_rate: Option<f64>,
    pub decisions: bool,
    /// Headers whose phase disagreed with the decisions before them.
    pub slips: usize,
    /// Es/N0 with what decisions added to it.
    pub es_n0: SignalToNoise,
}

/// What stands at a place of a PLFRAME.
struct Layout<'a> {
    frame: Frame,
    header: [C64; SLOT],
    scrambler: &'a Scrambler,
    pilots: Vec<std::ops::Range<usize>>,
    constellation: Option<Constellation>,
    /// Symbol error rate at the Es/N0 found; 0 for a dummy PLFRAME, all of which is known.
    error_rate: f64,
    /// Whether decisions hold the phase.
    holds: bool,
}

enum Kind {
    Known(C64),
    Payload,
}

impl<'a> Layout<'a> {
    fn new(frame: Frame, scrambler: &'a Scrambler, rho: f64) -> Self {
        let constellation = Constellation::of(&frame);
        Self {
            frame,
            header: PlHeader::of(&frame).symbols(),
            scrambler,
            pilots: (0..frame.pilot_blocks()).map(|i| frame.pilot(i)).collect(),
            error_rate: constellation
                .as_ref()
                .map_or(0.0, |c| error_rate::of(c, rho)),
            holds: constellation
                .as_ref()
                .is_none_or(|c| rho > from_db(decisions_hold(c.modulation))),
            constellation,
        }
    }
    /// The symbol with its scrambling taken off, and what it is.
    fn at(&self, position: usize, z: C64) -> (C64, Kind) {
        if position < SLOT {
            return (z, Kind::Known(self.header[position]));
        }
        let z = self.scrambler.descramble(position - SLOT, z);
        // Pilot blocks stand every 1476 symbols.
        let block = (position - SLOT) / (16 * SLOT + 36);
        let known = self.frame.modcod == 0
            || self
                .pilots
                .get(block)
                .is_some_and(|r| r.contains(&position));
        (
            z,
            if known {
                Kind::Known(DIAGONAL)
            } else {
                Kind::Payload
            },
        )
    }
    fn symmetry(&self) -> f64 {
        f64::from(
            self.constellation
                .as_ref()
                .map_or(4, Constellation::symmetry),
        )
    }
    /// Whether the scatter about its decided symbols tells Es/N0: rings, where magnitudes do not, and phases where
    /// decisions are as good as never wrong, so that distortion by an amplifier counts as it stands.
    fn sure(&self) -> bool {
        let most = if ring_modulation(self.constellation.as_ref()) {
            1e-3
        } else {
            1e-5
        };
        self.constellation.is_some() && self.error_rate < most
    }
}

/// Smallest Es/N0 in dB at which decisions hold the phase.
fn decisions_hold(m: Modulation) -> f64 {
    match m {
        Modulation::Qpsk => 4.0,
        Modulation::Psk8 => 9.0,
        Modulation::Apsk16 => 12.0,
        Modulation::Apsk32 => 15.0,
    }
}

/// Follows the phase of symbols (carrier of `turns` a symbol already taken off the clock's grid, not off `z`).
pub(super) fn follow(
    z: &[C32],
    frames: &Frames,
    scrambler: &Scrambler,
    (turns, u_turns): (f64, f64),
    known: &KnownSymbols,
    es_n0: &SignalToNoise,
    symbol_rate: f64,
) -> Track {
    let amplitude = known.signal().max(1e-30).sqrt();
    let layouts: Vec<Layout<'_>> = frames
        .kinds()
        .iter()
        .map(|(f, _)| Layout::new(*f, scrambler, es_n0.ratio))
        .collect();
    let mut points = Points::default();
    let main = layouts.first();
    // Several constellations in one drawing: every point of each.
    points.ideal = layouts
        .iter()
        .filter_map(|l| l.constellation.as_ref())
        .flat_map(|c| c.points.iter().map(|p| (p.re as f32, p.im as f32)))
        .collect();
    let ser = main
        .filter(|l| l.constellation.is_some())
        .map(|l| l.error_rate);
    let mut groups = known_groups(z, frames, scrambler);
    untwist(&mut groups, turns);
    if !main.is_some_and(|l| l.holds) {
        let turning = by_groups(&groups, turns, u_turns, frames.pilots());
        draw_known(z, frames, &layouts, turns, amplitude, &groups, &mut points);
        return Track {
            turning,
            residues: Vec::new(),
            points,
            error_rate: ser,
            decisions: false,
            slips: 0,
            es_n0: *es_n0,
        };
    }
    let (mut theta, mut speed, mut slips) = (0.0, 0.0, 0usize);
    let mut blocks: Vec<Block> = Vec::with_capacity(z.len() / BLOCK);
    // Stretches of blocks without a gap.
    let mut runs: Vec<usize> = Vec::new();
    let inverse = 1.0 / amplitude;
    let stride = (z.len() / 1500).max(1);
    let mut k = usize::MAX;
    for place in &frames.places {
        let Some(layout) = layouts.iter().find(|l| l.frame == place.frame) else {
            continue;
        };
        if k != place.start {
            // The phase begins anew with the header.
            k = place.start;
            let Some(h) = header_at(z, k, 0.0) else { break };
            let step = C64::cis(-TAU * turns);
            let mut r = C64::cis(-TAU * ((turns * k as f64) % 1.0));
            let mut sum = C64::default();
            for (a, b) in h.iter().zip(&layout.header) {
                sum += a * b.conj() * r;
                r *= step;
            }
            theta = sum.im.atan2(sum.re);
            speed = 0.0;
            runs.push(blocks.len());
        }
        let mut position = 0usize;
        let end = (place.start + place.frame.symbols()).min(z.len());
        while k < end {
            // A block never mixes header and payload.
            let to_boundary = if position < SLOT {
                SLOT - position
            } else {
                end - k
            };
            let n = BLOCK.min(to_boundary).min(end - k);
            let mut b = Block {
                middle: k as f64 + 0.5 * (n as f64 - 1.0),
                sure: layout.sure() && position >= SLOT,
                ..Block::default()
            };
            let step = C64::cis(-TAU * turns);
            let mut r = C64::cis(-TAU * ((turns * k as f64) % 1.0)) * C64::cis(-theta) * inverse;
            let Some(part) = z.get(k..k + n) else { break };
            for (i, x) in part.iter().enumerate() {
                let (y, kind) = layout.at(position + i, wide(*x) * r);
                r *= step;
                let sent = match (&kind, &layout.constellation) {
                    (Kind::Known(s), _) => *s,
                    (Kind::Payload, Some(c)) => {
                        if (k + i).is_multiple_of(stride) && points.payload.len() < 1500 {
                            points.payload.push((y.re as f32, y.im as f32));
                        }
                        if !layout.holds {
                            continue;
                        }
                        decide(c, y)
                    }
                    (Kind::Payload, None) => continue,
                };
                if matches!(kind, Kind::Known(_)) {
                    points.known(position + i, y);
                }
                let size = sent.norm();
                let q = y * sent.conj() / size;
                b.n += 1.0;
                b.q += q;
                b.q2 += q * q;
                b.qq += q.norm_sqr();
                b.cross += y * sent.conj();
                b.size2 += size * size;
            }
            let error = b.cross.im.atan2(b.cross.re);
            if position < SLOT && error.abs() > 0.35 * TAU / layout.symmetry() {
                slips += 1;
            }
            b.phase = theta + error;
            // Sums are kept turned back to the common phase zero.
            let back = C64::cis(theta);
            b.q *= back;
            b.q2 *= back * back;
            b.cross *= back;
            let share = (b.n / BLOCK as f64).min(1.0);
            if b.n > 0.0 {
                blocks.push(b);
            }
            theta += 0.4 * share * error + speed * n as f64;
            speed += 0.03 * share * error / BLOCK as f64;
            k += n;
            position += n;
        }
    }
    // Of what was followed, the worst decides.
    let worst = layouts
        .iter()
        .filter(|l| l.holds)
        .map(|l| l.error_rate)
        .fold(0.0, f64::max);
    let rings = layouts
        .iter()
        .filter(|l| l.sure())
        .map(|l| l.error_rate)
        .fold(0.0, f64::max);
    let decided = decided_es_n0(&blocks, rings).filter(|_| slips == 0);
    let es_n0 = match (decided, known.es_n0()) {
        // Magnitudes and decisions are the same symbols.
        (Some(d), Some(k)) => decisive(&k, &d),
        _ => *es_n0,
    };
    let rho = es_n0.ratio;
    runs.push(blocks.len());
    let longest = runs
        .windows(2)
        .max_by_key(|w| w[1] - w[0])
        .and_then(|w| blocks.get(w[0]..w[1]))
        .unwrap_or(&[]);
    let residues = if worst < 4e-3 && slips == 0 {
        residues(longest, rho, es_n0.u, symbol_rate)
    } else {
        Vec::new()
    };
    let turning = if slips == 0 {
        let series: Vec<(f64, f64)> = longest.iter().map(|b| (b.middle, b.phase)).collect();
        fit_turning(&series, turns, z.len() as f64).unwrap_or(Turning {
            turns,
            u_turns,
            drift: None,
        })
    } else {
        by_groups(&groups, turns, u_turns, frames.pilots())
    };
    Track {
        turning,
        residues,
        points,
        error_rate: ser,
        decisions: true,
        slips,
        es_n0,
    }
}

fn ring_modulation(c: Option<&Constellation>) -> bool {
    c.is_some_and(|c| matches!(c.modulation, Modulation::Apsk16 | Modulation::Apsk32))
}

fn decide(c: &Constellation, y: C64) -> C64 {
    match c.modulation {
        Modulation::Qpsk => C64::new(DIAGONAL.re.copysign(y.re), DIAGONAL.im.copysign(y.im)),
        _ => c.nearest(y).1,
    }
}

/// Header and pilot points when the payload cannot be followed: each group turned by its own gain.
fn draw_known(
    z: &[C32],
    frames: &Frames,
    layouts: &[Layout<'_>],
    turns: f64,
    amplitude: f64,
    groups: &[(f64, Vec<C64>)],
    points: &mut Points,
) {
    for (_, q) in groups.iter().take(60) {
        let m = q.iter().sum::<C64>();
        let back = C64::cis(-m.im.atan2(m.re)) / amplitude;
        for x in q {
            let v = x * back;
            if q.len() == SLOT {
                points.header.push((v.re as f32, v.im as f32));
            } else {
                let v = v * DIAGONAL;
                points.pilots.push((v.re as f32, v.im as f32));
            }
        }
    }
    // Payload with the phase of the nearest group before it.
    for (middle, q) in groups.iter().take(300) {
        let m = q.iter().sum::<C64>();
        let back = C64::cis(-m.im.atan2(m.re)) / amplitude;
        let start = (middle + 0.5 * q.len() as f64 + 1.0) as usize;
        for k in (start..start + 5).filter(|k| *k < z.len()) {
            let at = frames.places.partition_point(|p| p.start <= k);
            let Some(place) = at.checked_sub(1).and_then(|i| frames.places.get(i)) else {
                continue;
            };
            let Some(layout) = layouts.iter().find(|l| l.frame == place.frame) else {
                continue;
            };
            let position = k - place.start;
            if position >= place.frame.symbols() {
                continue;
            }
            let r = C64::cis(-TAU * ((turns * k as f64) % 1.0));
            if let (y, Kind::Payload) = layout.at(position, wide(z[k]) * r * back) {
                points.payload.push((y.re as f32, y.im as f32));
            }
        }
    }
}
