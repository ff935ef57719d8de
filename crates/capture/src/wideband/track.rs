//! Following the phase through known symbols and decisions, smoothing it both ways, and what it does when followed more
//! slowly.

use super::lock::{Sync, header_at, wrapped};
use super::quality::{KnownSymbols, SignalToNoise, combine};
use slantpath_quantity::from_db;
use slantpath_signal::{C32, C64};
use slantpath_waveform::frame::SLOT;
use slantpath_waveform::{Constellation, Modulation, PlHeader, Scrambler, error_rate};
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

/// Phase that is left when the carrier is followed with a certain bandwidth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PhaseResidue {
    /// One-sided noise bandwidth of the tracking, Hz.
    pub bandwidth_hz: f64,
    /// Root mean square of what is left, rad.
    pub rms_rad: f64,
    /// Standard uncertainty of its square, rad^2.
    pub u_square: f64,
    /// MER that is left, power ratio: noise and this phase together.
    pub mer: f64,
}

/// Carrier frequency over the stretch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Turning {
    /// Turns a symbol in the middle of the stretch.
    pub turns: f64,
    pub u_turns: f64,
    /// Change of it, turns a symbol each symbol; `None` when the phase could not be followed.
    pub drift: Option<(f64, f64)>,
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

/// What stands at a place of the stretch.
struct Layout<'a> {
    sync: &'a Sync,
    header: [C64; SLOT],
    scrambler: &'a Scrambler,
    pilots: Vec<std::ops::Range<usize>>,
}

enum Kind {
    Known(C64),
    Payload,
}

const DIAGONAL: C64 = C64::new(
    std::f64::consts::FRAC_1_SQRT_2,
    std::f64::consts::FRAC_1_SQRT_2,
);

impl<'a> Layout<'a> {
    fn new(sync: &'a Sync, scrambler: &'a Scrambler) -> Self {
        Self {
            sync,
            header: PlHeader::of(&sync.frame).symbols(),
            scrambler,
            pilots: (0..sync.frame.pilot_blocks())
                .map(|i| sync.frame.pilot(i))
                .collect(),
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
        let known = self.sync.frame.modcod == 0
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
}

fn wide(z: C32) -> C64 {
    C64::new(f64::from(z.re), f64::from(z.im))
}

/// Groups of known symbols: place of the middle, and received times conjugate of sent.
pub(super) fn known_groups(z: &[C32], sync: &Sync, scrambler: &Scrambler) -> Vec<(f64, Vec<C64>)> {
    let header = PlHeader::of(&sync.frame).symbols();
    let mut out = Vec::new();
    let mut start = sync.first;
    while start + SLOT <= z.len() {
        if let Some(h) = header_at(z, start, 0.0) {
            let q = h.iter().zip(&header).map(|(a, b)| a * b.conj()).collect();
            out.push((start as f64 + 0.5 * (SLOT as f64 - 1.0), q));
        }
        for i in 0..sync.frame.pilot_blocks() {
            let r = sync.frame.pilot(i);
            let Some(part) = z.get(start + r.start..start + r.end) else {
                break;
            };
            let q: Vec<C64> = part
                .iter()
                .enumerate()
                .map(|(j, x)| scrambler.descramble(r.start + j - SLOT, wide(*x)) * DIAGONAL.conj())
                .collect();
            out.push(((start + r.start) as f64 + 17.5, q));
        }
        start += sync.length;
    }
    out
}

/// Takes a carrier of `turns` a symbol off groups.
pub(super) fn untwist(groups: &mut [(f64, Vec<C64>)], turns: f64) {
    for (middle, q) in groups {
        let half = 0.5 * (q.len() as f64 - 1.0);
        for (i, x) in q.iter_mut().enumerate() {
            *x *= C64::cis(-TAU * ((turns * (*middle - half + i as f64)) % 1.0));
        }
    }
}

/// The carrier that leaves most power in the groups' means, near `turns`; then, with pilots, the one that also keeps
/// their phases in line. Residual turns a symbol and standard uncertainty.
pub(super) fn refine(groups: &[(f64, Vec<C64>)], pilots: bool, rho: f64) -> (f64, f64) {
    let power = |t: f64| -> f64 {
        groups
            .iter()
            .take(400)
            .map(|(_, q)| {
                let step = C64::cis(-TAU * t);
                let mut r = C64::new(1.0, 0.0);
                let mut sum = C64::default();
                for x in q {
                    sum += x * r;
                    r *= step;
                }
                sum.norm_sqr()
            })
            .sum()
    };
    let mut t = 0.0;
    let mut top = power(0.0);
    let mut h = 1e-3;
    while h > 1e-7 {
        let (a, b) = (power(t - h), power(t + h));
        if a > top || b > top {
            t += if a > b { -h } else { h };
            top = a.max(b);
        } else {
            let curve = a - 2.0 * top + b;
            if curve < 0.0 {
                t += (0.5 * (a - b) / curve).clamp(-1.0, 1.0) * h;
                top = power(t);
            }
            h *= 0.25;
        }
    }
    // Bound for groups of unknown phase each: information adds as n^3/12 a group.
    let cubes: f64 = groups
        .iter()
        .map(|(_, q)| (q.len() as f64).powi(3) / 12.0)
        .sum();
    let u =
        (0.5 / (rho.max(0.05) * cubes.max(1.0))).sqrt() / TAU * (1.0 + 0.5 / rho.max(0.05)).sqrt();
    if !pilots {
        return (t, u);
    }
    // Pilot to pilot: products of neighbouring means add up to the turn over their distance; whole turns are told
    // apart by what the groups alone say.
    let means: Vec<(f64, C64)> = groups
        .iter()
        .map(|(m, q)| (*m, q.iter().sum::<C64>() / q.len() as f64))
        .collect();
    let mut sum = C64::default();
    let mut distance = 0.0;
    for w in means.windows(2) {
        let d = w[1].0 - w[0].0;
        // Only like distances add up.
        if (d - 1476.0).abs() < 1.0 {
            sum += w[1].1 * w[0].1.conj();
            distance = d;
        }
    }
    if distance == 0.0 {
        return (t, u);
    }
    let fine = sum.im.atan2(sum.re) / TAU / distance;
    let best = (-6..=6)
        .map(|k| fine + ((t * distance - fine * distance).round() + f64::from(k)) / distance)
        .max_by(|a, b| power(*a).total_cmp(&power(*b)))
        .unwrap_or(fine);
    let pairs = means.len() as f64;
    let per = (1.0 / (36.0 * rho.max(0.05))).sqrt();
    (best, (per / pairs.sqrt() / TAU / distance).max(1e-9))
}

/// Sums over a short block of symbols.
#[derive(Debug, Clone, Copy, Default)]
struct Block {
    middle: f64,
    n: f64,
    /// Received times conjugate of sent (or decided), over its size.
    q: C64,
    q2: C64,
    qq: f64,
    size2: f64,
    cross: C64,
    zz: f64,
    phase: f64,
}

/// Symbols of a block.
const BLOCK: usize = 32;

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
    sync: &Sync,
    scrambler: &Scrambler,
    (turns, u_turns): (f64, f64),
    known: &KnownSymbols,
    es_n0: &SignalToNoise,
    symbol_rate: f64,
) -> Track {
    let constellation = Constellation::of(&sync.frame);
    let amplitude = known.signal().max(1e-30).sqrt();
    let layout = Layout::new(sync, scrambler);
    let rho = es_n0.ratio;
    let ser = constellation.as_ref().map(|c| error_rate::of(c, rho));
    let usable = constellation
        .as_ref()
        .is_some_and(|c| rho > from_db(decisions_hold(c.modulation)));
    let mut points = Points::default();
    if let Some(c) = &constellation {
        points.ideal = c
            .points
            .iter()
            .map(|p| (p.re as f32, p.im as f32))
            .collect();
    }
    let mut groups = known_groups(z, sync, scrambler);
    untwist(&mut groups, turns);
    if !usable {
        let turning = by_groups(&groups, turns, u_turns, sync.frame.pilots);
        draw_known(z, &layout, turns, amplitude, &groups, &mut points);
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
    let first = groups
        .first()
        .map(|(_, q)| q.iter().sum::<C64>())
        .unwrap_or(C64::new(1.0, 0.0));
    let mut theta = first.im.atan2(first.re);
    let (mut speed, mut slips) = (0.0, 0usize);
    let mut blocks: Vec<Block> = Vec::with_capacity(z.len() / BLOCK);
    let mut k = sync.first;
    let (mut position, inverse) = (0usize, 1.0 / amplitude);
    let stride = (z.len() / 1500).max(1);
    while k < z.len() {
        // A block never mixes header and payload.
        let to_boundary = if position < SLOT {
            SLOT - position
        } else {
            sync.length - position
        };
        let n = BLOCK.min(to_boundary).min(z.len() - k);
        let mut b = Block {
            middle: k as f64 + 0.5 * (n as f64 - 1.0),
            n: n as f64,
            ..Block::default()
        };
        let step = C64::cis(-TAU * turns);
        let mut r = C64::cis(-TAU * ((turns * k as f64) % 1.0)) * C64::cis(-theta) * inverse;
        let mut blunt = 0;
        for (i, x) in z[k..k + n].iter().enumerate() {
            let (y, kind) = layout.at(position + i, wide(*x) * r);
            r *= step;
            let sent = match kind {
                Kind::Known(s) => s,
                Kind::Payload => match &constellation {
                    Some(c) => decide(c, y),
                    None => DIAGONAL,
                },
            };
            let size = sent.norm();
            let q = y * sent.conj() / size;
            b.q += q;
            b.q2 += q * q;
            b.qq += q.norm_sqr();
            b.cross += y * sent.conj();
            b.size2 += size * size;
            b.zz += y.norm_sqr();
            if (k + i).is_multiple_of(stride)
                && matches!(kind, Kind::Payload)
                && points.payload.len() < 1500
            {
                points.payload.push((y.re as f32, y.im as f32));
            }
            if let Kind::Known(_) = kind {
                blunt += 1;
                if position + i < SLOT {
                    if points.header.len() < 360 {
                        // Header symbols on the axis of their own bit.
                        let turn = if (position + i) % 2 == 0 {
                            DIAGONAL
                        } else {
                            DIAGONAL * C64::new(0.0, 1.0)
                        };
                        let v = y * turn.conj();
                        points.header.push((v.re as f32, v.im as f32));
                    }
                } else if points.pilots.len() < 360 {
                    points.pilots.push((y.re as f32, y.im as f32));
                }
            }
        }
        let error = b.cross.im.atan2(b.cross.re);
        if blunt == n
            && position < SLOT
            && error.abs()
                > 0.35 * TAU / f64::from(constellation.as_ref().map_or(4, Constellation::symmetry))
        {
            slips += 1;
        }
        b.phase = theta + error;
        // Sums are kept turned back to the common phase zero.
        let back = C64::cis(theta);
        b.q *= back;
        b.q2 *= back * back;
        b.cross *= back;
        blocks.push(b);
        let share = n as f64 / BLOCK as f64;
        theta += 0.4 * share.min(1.0) * error + speed * n as f64;
        speed += 0.03 * share.min(1.0) * error / BLOCK as f64;
        k += n;
        position = (position + n) % sync.length;
    }
    let rate = ser.unwrap_or(1.0);
    let es_n0 = if rate < 1e-3 && slips == 0 && ring_modulation(constellation.as_ref()) {
        combine(es_n0, decided_es_n0(&blocks).as_ref())
    } else {
        *es_n0
    };
    let rho = es_n0.ratio;
    let residues = if rate < 4e-3 && slips == 0 {
        residues(&blocks, rho, es_n0.u, symbol_rate)
    } else {
        Vec::new()
    };
    let turning = if slips == 0 {
        let series: Vec<(f64, f64)> = blocks.iter().map(|b| (b.middle, b.phase)).collect();
        fit_turning(&series, turns, z.len() as f64).unwrap_or(Turning {
            turns,
            u_turns,
            drift: None,
        })
    } else {
        by_groups(&groups, turns, u_turns, sync.frame.pilots)
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

/// Es/N0 from the scatter along decided symbols, which phase does not touch. Only where decisions are hardly ever
/// wrong: below one in a thousand they make it read high by less than 0.03 dB (simulated), which is part of `u`.
fn decided_es_n0(blocks: &[Block]) -> Option<SignalToNoise> {
    let (mut along, mut cross, mut size2, mut n) = (0.0, 0.0, 0.0, 0.0);
    for (i, b) in blocks.iter().enumerate() {
        // Phase from the block and its neighbours.
        let c: C64 = blocks
            .get(i.saturating_sub(1)..(i + 2).min(blocks.len()))?
            .iter()
            .map(|b| b.cross)
            .sum();
        let phase = c.im.atan2(c.re);
        along += 0.5 * (b.qq + (b.q2 * C64::cis(-2.0 * phase)).re);
        cross += (b.cross * C64::cis(-phase)).re;
        size2 += b.size2;
        n += b.n;
    }
    if n < 2_000.0 {
        return None;
    }
    let gain = cross / size2;
    let half_noise = (along - gain * gain * size2) / n;
    if half_noise <= 0.0 {
        return None;
    }
    let ratio = gain * gain * (size2 / n) / (2.0 * half_noise);
    Some(SignalToNoise {
        ratio,
        u: ((2.0 + 2.0 / ratio) / n).sqrt().hypot(0.007),
        symbols: n,
    })
}

fn decide(c: &Constellation, y: C64) -> C64 {
    match c.modulation {
        Modulation::Qpsk => C64::new(DIAGONAL.re.copysign(y.re), DIAGONAL.im.copysign(y.im)),
        _ => c.nearest(y).1,
    }
}

/// Tangential scatter beyond what the additive noise makes, for windows from short to long.
fn residues(blocks: &[Block], rho: f64, u_rho: f64, symbol_rate: f64) -> Vec<PhaseResidue> {
    let total: f64 = blocks.iter().map(|b| b.n).sum();
    let mut cross = vec![C64::default(); blocks.len() + 1];
    let mut count = vec![0.0; blocks.len() + 1];
    for (i, b) in blocks.iter().enumerate() {
        cross[i + 1] = cross[i] + b.cross;
        count[i + 1] = count[i] + b.n;
    }
    let mut out = Vec::new();
    for half in [1usize, 4, 16, 64, 256] {
        if blocks.len() < 8 * half {
            break;
        }
        let (mut across, mut weight, mut free) = (0.0, 0.0, 0.0);
        for (i, b) in blocks.iter().enumerate() {
            let (lo, hi) = (i.saturating_sub(half), (i + half + 1).min(blocks.len()));
            let c = cross[hi] - cross[lo];
            let turn = C64::cis(-2.0 * c.im.atan2(c.re));
            across += 0.5 * (b.qq - (b.q2 * turn).re);
            weight += b.size2;
            free += b.n * (1.0 - 1.0 / (count[hi] - count[lo]));
        }
        // Noise across the symbols: half of it, less what the tracking itself took up.
        let noise = 0.5 / rho * free;
        let square = (across - noise) / weight;
        let u_square = (noise / weight) * (2.0 / total + u_rho * u_rho).sqrt();
        let window = (2 * half + 1) as f64 * BLOCK as f64;
        out.push(PhaseResidue {
            bandwidth_hz: 0.5 * symbol_rate / window,
            rms_rad: square.max(0.0).sqrt(),
            u_square,
            mer: 1.0 / (1.0 / rho + square.max(0.0)),
        });
    }
    out
}

/// Straight line and bend through the phase, in stretches whose scatter tells the uncertainty.
fn fit_turning(series: &[(f64, f64)], turns: f64, length: f64) -> Option<Turning> {
    const PARTS: usize = 16;
    let size = series.len() / PARTS;
    if size < 1 {
        return None;
    }
    let mid = 0.5 * length;
    let points: Vec<(f64, f64)> = series
        .chunks_exact(size)
        .map(|c| {
            let n = c.len() as f64;
            (
                (c.iter().map(|p| p.0).sum::<f64>() / n - mid) / length,
                c.iter().map(|p| p.1).sum::<f64>() / n,
            )
        })
        .collect();
    let (x, y): (Vec<f64>, Vec<f64>) = points.into_iter().unzip();
    let w = vec![1.0; x.len()];
    let p = slantpath_signal::fit::polynomial(&x, &y, &w, 2, 0.0, 1.0, &[])?;
    let free = (x.len() as f64 - 3.0).max(1.0);
    // Wandering phase is correlated between stretches: twice the white-noise uncertainty.
    let scale = 2.0 * (p.chi2 / free).sqrt();
    let slope = p.slope_at(0.0);
    let bend = p.slope_at(0.5) - p.slope_at(-0.5);
    let bend = 0.5 * bend;
    let u = |i: usize| {
        p.covariance
            .get(i)
            .and_then(|r| r.get(i))
            .map_or(0.0, |v| v.max(0.0).sqrt() * scale)
    };
    Some(Turning {
        turns: turns + slope / TAU / length,
        u_turns: u(1) / TAU / length,
        drift: Some((
            2.0 * bend / TAU / (length * length),
            2.0 * u(2) / TAU / (length * length),
        )),
    })
}

/// Frequency from the groups alone: their phases when pilots keep them together.
fn by_groups(groups: &[(f64, Vec<C64>)], turns: f64, u_turns: f64, pilots: bool) -> Turning {
    let alone = Turning {
        turns,
        u_turns,
        drift: None,
    };
    if !pilots || groups.len() < 32 {
        return alone;
    }
    let mut series: Vec<(f64, f64)> = Vec::with_capacity(groups.len());
    for (middle, q) in groups {
        let m = q.iter().sum::<C64>();
        let phase = m.im.atan2(m.re);
        let last = series.last().map_or(phase, |(_, p)| *p);
        series.push((*middle, last + wrapped(phase - last)));
    }
    let length = groups.last().map_or(1.0, |g| g.0);
    fit_turning(&series, turns, length).unwrap_or(alone)
}

/// Header and pilot points when the payload cannot be followed: each group turned by its own gain.
fn draw_known(
    z: &[C32],
    layout: &Layout<'_>,
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
            let position = (k - layout.sync.first.min(k)) % layout.sync.length;
            let r = C64::cis(-TAU * ((turns * k as f64) % 1.0));
            if let (y, Kind::Payload) = layout.at(position, wide(z[k]) * r * back) {
                points.payload.push((y.re as f32, y.im as f32));
            }
        }
    }
}
