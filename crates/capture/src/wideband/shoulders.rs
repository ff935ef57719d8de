//! Shoulders: spectrum regrown beside a carrier by an amplifier driven too hard.

use super::model::Shape;
use slantpath_signal::Spectrum;

/// Where shoulders are looked for. Common practice, no source: just beyond the pulse's own skirt, in a band narrow
/// against the symbol rate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShoulderPlan {
    /// Width of the window as a share of the symbol rate.
    pub width: f64,
    /// Distance of its inner end from the end of the occupied band, as a share of the symbol rate.
    pub gap: f64,
}

impl Default for ShoulderPlan {
    fn default() -> Self {
        Self {
            width: 0.15,
            gap: 0.03,
        }
    }
}

/// One side.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shoulder {
    /// Middle of the window, Hz from the carrier's centre (negative below it).
    pub offset_hz: f64,
    /// Width, Hz.
    pub width_hz: f64,
    /// Density in the window less the noise, over the carrier's density in its flat middle. May be negative by chance.
    pub ratio: f64,
    /// Standard uncertainty of it.
    pub u: f64,
    /// What this recording could have shown: the smallest ratio that is found in 19 of 20 recordings.
    pub lowest: f64,
}

impl Shoulder {
    /// Whether one was seen: above three standard uncertainties.
    pub fn seen(&self) -> bool {
        self.ratio > 3.0 * self.u
    }
}

/// Why a side cannot be judged.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoShoulder {
    /// The window lies outside the recorded band.
    Outside,
    /// Another carrier stands in the window or where the noise would be measured.
    Neighbour,
    /// No free noise beyond the window.
    NoNoise,
    /// The carrier repeats itself and has no flat middle to compare with.
    Comb,
    /// The noise under the carrier is as high as what stands beside it: a pedestal that ends near by.
    Pedestal,
    /// What stands beside it falls off outwards, and the recording ends before the noise under it shows.
    Narrow,
}

/// Shoulders below and above a carrier; `under` is the noise density under it as its own symbols tell.
pub(super) fn shoulders(
    s: &Spectrum,
    own: &Shape,
    others: &[Shape],
    plan: &ShoulderPlan,
    under: Option<f64>,
) -> [Result<Shoulder, NoShoulder>; 2] {
    [-1.0, 1.0].map(|side| one(s, own, others, plan, side, under))
}

fn one(
    s: &Spectrum,
    own: &Shape,
    others: &[Shape],
    plan: &ShoulderPlan,
    side: f64,
    under: Option<f64>,
) -> Result<Shoulder, NoShoulder> {
    let half = 0.5 * (1.0 + own.rolloff) * own.rate;
    let from = half + plan.gap * own.rate;
    let to = from + plan.width * own.rate;
    let limit = 0.46 * s.sample_rate_hz;
    let edge = own.centre_hz + side * to;
    if edge.abs() > limit {
        return Err(NoShoulder::Outside);
    }
    let window = |a: f64, b: f64| {
        let (x, y) = (own.centre_hz + side * a, own.centre_hz + side * b);
        s.range(x.min(y), x.max(y))
    };
    let dc = s.len() / 2;
    let free = |i: usize| {
        let f = s.freq(i);
        i.abs_diff(dc) > 3
            && f.abs() < limit
            && others.iter().all(|o| {
                let (a, b) = o.band();
                // A neighbour has shoulders of its own.
                let room = 0.25 * o.rate;
                f < a - room || f > b + room
            })
    };
    let inner = window(from, to);
    let bins: Vec<usize> = inner.clone().filter(|i| free(*i)).collect();
    if bins.len() * 4 < inner.len() * 3 || bins.len() < 3 {
        return Err(NoShoulder::Neighbour);
    }
    // Noise farther out, where regrowth of third order has fallen off.
    let (lo, hi) = (half + 0.45 * own.rate, half + 1.2 * own.rate);
    let outer: Vec<usize> = window(lo, hi).filter(|i| free(*i)).collect();
    if outer.len() < 6 {
        return Err(NoShoulder::NoNoise);
    }
    let (p, n) = (mean(s, &bins), mean(s, &outer));
    // The quarter next to the carrier: a pedestal's edge may lie in the window.
    let quarter = (bins.len() / 4).max(1);
    let near = mean(
        s,
        if side < 0.0 {
            bins.get(bins.len() - quarter..).unwrap_or(&bins)
        } else {
            bins.get(..quarter).unwrap_or(&bins)
        },
    );
    // Third-order regrowth of a flat spectrum holds 1.8 times more under the carrier than there (three rectangles
    // folded), a pedestal alike or a little more where it already falls.
    let pedestal = |floor: f64| {
        under.is_some_and(|v| (0.7..1.45).contains(&((v - floor) / (near - floor).max(1e-300))))
    };
    let done = |floor: f64, u_floor: f64| {
        let u = (p * p * s.relative_variance(bins.len() as f64) + u_floor * u_floor).sqrt();
        Shoulder {
            offset_hz: side * 0.5 * (from + to),
            width_hz: to - from,
            ratio: (p - floor) / own.density,
            u: u.hypot(U_DENSITY * (p - floor)) / own.density,
            // Three to call it seen, 1.645 more so that 19 of 20 are.
            lowest: 4.645 * u / own.density,
        }
    };
    // An amplifier in saturation regrows its spectrum far beyond the third order, so that its foot may lie outside the
    // near window; a receiver's slope or the end of a pedestal looks alike, but lies under the carrier too.
    let stretches: Vec<Stretch> = (0..)
        .map(|k| lo + f64::from(k) * STRETCH * own.rate)
        .take_while(|a| *a < half + FARTHEST * own.rate)
        .map(|a| window(a, a + STRETCH * own.rate))
        .map(|r| r.filter(|i| free(*i) && s.freq(*i).abs() < 0.44 * s.sample_rate_hz))
        .map(Iterator::collect::<Vec<usize>>)
        .filter(|b| b.len() >= 6)
        .map(|b| Stretch {
            mean: mean(s, &b),
            u: mean(s, &b) * s.relative_variance(b.len() as f64).sqrt(),
        })
        .collect();
    let foot = foot(&stretches);
    if let Some(foot) = foot.filter(|f| f.top < 0.75 * n)
        && under.is_some()
        && !pedestal(foot.top)
    {
        let x = done(foot.value, foot.u);
        return if x.seen() || foot.flat {
            Ok(x)
        } else {
            Err(NoShoulder::Narrow)
        };
    }
    // The floor may slope between the two windows: the far window's two halves tell by how much.
    let (first, second) = outer.split_at(outer.len() / 2);
    let (m1, m2) = (mean(s, first), mean(s, second));
    let rel = |b: &[usize]| s.relative_variance(b.len() as f64);
    let slope = (m1 - m2).abs();
    let slope_noise = n * (rel(first) + rel(second)).sqrt();
    let tilt = if slope > 2.5 * slope_noise {
        slope
    } else {
        0.0
    };
    let x = done(n, (n * n * rel(&outer) + tilt * tilt).sqrt());
    // Regrowth stands higher under the carrier than beside it; a pedestal of noise alike.
    if x.seen() && pedestal(n) {
        return Err(NoShoulder::Pedestal);
    }
    Ok(x)
}

/// How well the carrier's own density, to which its shoulders are referred, is told: it bends within the band by the
/// amplifier and by the receiver (relative, one standard deviation; own estimate).
const U_DENSITY: f64 = 0.03;

/// Mean density of some bins.
fn mean(s: &Spectrum, bins: &[usize]) -> f64 {
    bins.iter().filter_map(|i| s.psd.get(*i)).sum::<f64>() / bins.len().max(1) as f64
}

/// Width of the stretches in which the foot is looked for, and how far from the carrier's edge, in symbol rates.
const STRETCH: f64 = 0.15;
const FARTHEST: f64 = 3.5;

/// Mean density of a stretch, from the carrier outwards.
struct Stretch {
    mean: f64,
    u: f64,
}

/// The lowest noise beside a carrier.
struct Foot {
    /// The floor and its standard uncertainty.
    value: f64,
    u: f64,
    /// Density where it was found, the most that the floor can be.
    top: f64,
    /// Whether what lies around is as low.
    flat: bool,
}

/// The lowest pair of neighbouring stretches. Where a third stretch agrees with them it is the floor; else some regrowth
/// may be left in it, and the floor is anywhere between nothing and that.
fn foot(stretches: &[Stretch]) -> Option<Foot> {
    let (at, top, u) = stretches
        .windows(2)
        .enumerate()
        .map(|(k, w)| {
            let (a, b) = (&w[0], &w[1]);
            (k, 0.5 * (a.mean + b.mean), 0.5 * a.u.hypot(b.u))
        })
        .min_by(|a, b| a.1.total_cmp(&b.1))?;
    let alike = |k: Option<usize>| {
        k.and_then(|k| stretches.get(k))
            .is_some_and(|o| (o.mean - top).abs() < 3.0 * o.u.hypot(u))
    };
    let flat = alike(at.checked_sub(1)) || alike(Some(at + 2));
    Some(if flat {
        Foot {
            value: top,
            u,
            top,
            flat,
        }
    } else {
        Foot {
            value: 0.5 * top,
            u: (top * top / 12.0 + u * u).sqrt(),
            top,
            flat,
        }
    })
}
