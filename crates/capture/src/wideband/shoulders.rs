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
    let mean = |b: &[usize]| b.iter().filter_map(|i| s.psd.get(*i)).sum::<f64>() / b.len() as f64;
    // Noise farther out, where regrowth of third order has fallen off; on both sides, to take the floor's slope.
    let far = |side: f64| -> Vec<usize> {
        let (a, b) = (half + 0.45 * own.rate, half + 1.2 * own.rate);
        let (x, y) = (own.centre_hz + side * a, own.centre_hz + side * b);
        s.range(x.min(y), x.max(y)).filter(|i| free(*i)).collect()
    };
    let outer = far(side);
    if outer.len() < 6 {
        return Err(NoShoulder::NoNoise);
    }
    let (p, n) = (mean(&bins), mean(&outer));
    let rel = |k: usize| s.relative_variance(k as f64);
    // The floor may slope between the two windows: the far window's two halves tell by how much.
    let (first, second) = outer.split_at(outer.len() / 2);
    let (m1, m2) = (mean(first), mean(second));
    let slope = (m1 - m2).abs();
    let slope_noise = n * (rel(first.len()) + rel(second.len())).sqrt();
    let tilt = if slope > 2.5 * slope_noise {
        slope
    } else {
        0.0
    };
    let u = (p * p * rel(bins.len()) + n * n * rel(outer.len()) + tilt * tilt).sqrt() / own.density;
    // Regrowth stands higher under the carrier than beside it; a pedestal of noise alike.
    let above = (p - n) / own.density > 3.0 * u;
    // The quarter next to the carrier: the pedestal's edge may lie in the window.
    let quarter = (bins.len() / 4).max(1);
    let near = mean(if side < 0.0 {
        bins.get(bins.len() - quarter..).unwrap_or(&bins)
    } else {
        bins.get(..quarter).unwrap_or(&bins)
    });
    // Third-order regrowth of a flat spectrum holds 1.8 times more under the carrier than there (three rectangles
    // folded), a pedestal alike or a little more where it already falls.
    let excess = under.map(|v| (v - n) / (near - n).max(1e-300));
    if above && excess.is_some_and(|x| (0.7..1.45).contains(&x)) {
        return Err(NoShoulder::Pedestal);
    }
    Ok(Shoulder {
        offset_hz: side * 0.5 * (from + to),
        width_hz: to - from,
        ratio: (p - n) / own.density,
        u,
        // Three to call it seen, 1.645 more so that 19 of 20 are.
        lowest: 4.645 * u,
    })
}
