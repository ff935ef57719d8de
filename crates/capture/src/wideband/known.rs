//! Header and pilots of every PLFRAME, and the carrier frequency that they tell.

use super::frames::Frames;
use super::lock::header_at;
use slantpath_signal::{C32, C64};
use slantpath_waveform::frame::SLOT;
use slantpath_waveform::{Frame, PlHeader, Scrambler};
use std::f64::consts::TAU;

/// An unmodulated pilot symbol before scrambling.
pub(super) const DIAGONAL: C64 = C64::new(
    std::f64::consts::FRAC_1_SQRT_2,
    std::f64::consts::FRAC_1_SQRT_2,
);

pub(super) fn wide(z: C32) -> C64 {
    C64::new(f64::from(z.re), f64::from(z.im))
}

/// Groups of known symbols: place of the middle, and received times conjugate of sent.
pub(super) fn known_groups(
    z: &[C32],
    frames: &Frames,
    scrambler: &Scrambler,
) -> Vec<(f64, Vec<C64>)> {
    let mut out = Vec::new();
    let mut kept: Option<(Frame, [C64; SLOT])> = None;
    for p in &frames.places {
        let start = p.start;
        let header = match kept {
            Some((f, h)) if f == p.frame => h,
            _ => PlHeader::of(&p.frame).symbols(),
        };
        kept = Some((p.frame, header));
        if let Some(h) = header_at(z, start, 0.0) {
            let q = h.iter().zip(&header).map(|(a, b)| a * b.conj()).collect();
            out.push((start as f64 + 0.5 * (SLOT as f64 - 1.0), q));
        }
        for i in 0..p.frame.pilot_blocks() {
            let r = p.frame.pilot(i);
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
    let (mut distance, mut pairs) = (0.0, 0.0);
    for w in means.windows(2) {
        let d = w[1].0 - w[0].0;
        // Only like distances add up.
        if (d - 1476.0).abs() < 1.0 {
            sum += w[1].1 * w[0].1.conj();
            distance = d;
            pairs += 1.0;
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
    // Two means of 36 symbols differ in phase by noise of variance 1/(36 rho).
    let per = (1.0 / (36.0 * rho.max(0.05))).sqrt();
    let fine_u = (per / f64::sqrt(pairs) / TAU / distance).max(1e-9);
    // Where the groups alone do not tell whole turns apart beyond doubt, half a turn is left open.
    if 3.0 * u > 0.5 / distance {
        return (best, u.hypot(0.5 / distance));
    }
    (best, fine_u)
}
