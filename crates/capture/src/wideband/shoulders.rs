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
    /// It is no higher than what the phase noise of the oscillators spreads.
    PhaseNoise,
}

/// What a carrier's own symbols tell of it.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Own {
    /// Noise density under it.
    pub under: Option<f64>,
    /// Mean square of the phase that is left when it is followed as closely as was tried, rad^2.
    pub phase: f64,
}

/// Shoulders below and above a carrier.
pub(super) fn shoulders(
    s: &Spectrum,
    own: &Shape,
    others: &[Shape],
    plan: &ShoulderPlan,
    told: Own,
) -> [Result<Shoulder, NoShoulder>; 2] {
    [-1.0, 1.0].map(|side| {
        one(s, own, others, plan, side, told.under).and_then(|x| {
            // One sideband holds half of the phase's power, most of it nearer than the window; three times that leaves
            // room for what the tracking took up.
            if x.seen() && x.ratio < 1.5 * told.phase {
                Err(NoShoulder::PhaseNoise)
            } else {
                Ok(x)
            }
        })
    })
}

/// Where noise is read beside the carrier, from its edge, in symbol rates: where regrowth of third order has fallen off.
const OUTER: (f64, f64) = (0.45, 1.2);

/// Noise beside a carrier.
struct Beside {
    /// Mean density.
    mean: f64,
    /// Middle of its bins, Hz from the carrier's centre.
    at_hz: f64,
    /// Whether it falls outwards.
    falls: bool,
}

/// Noise on one side, over these bins.
fn beside(s: &Spectrum, own: &Shape, side: f64, bins: &[usize]) -> Beside {
    let at_hz = bins.iter().map(|i| s.freq(*i)).sum::<f64>() / bins.len().max(1) as f64;
    let (a, b) = bins.split_at(bins.len() / 2);
    // Bins run upwards.
    let (near, far) = if side > 0.0 { (a, b) } else { (b, a) };
    Beside {
        mean: mean(s, bins),
        at_hz: at_hz - own.centre_hz,
        falls: mean(s, near) > mean(s, far),
    }
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
    let (lo, hi) = (half + OUTER.0 * own.rate, half + OUTER.1 * own.rate);
    let whole = window(lo, hi);
    let outer: Vec<usize> = whole.clone().filter(|i| free(*i)).collect();
    // A strip at its far end says little about the window.
    if outer.len() < 6 || outer.len() * 4 < whole.len() {
        return Err(NoShoulder::NoNoise);
    }
    let here = beside(s, own, side, &outer);
    let p = mean(s, &bins);
    let there = {
        let mirror: Vec<usize> = {
            let (x, y) = (own.centre_hz - side * lo, own.centre_hz - side * hi);
            s.range(x.min(y), x.max(y)).filter(|i| free(*i)).collect()
        };
        (mirror.len() * 4 >= whole.len() && mirror.len() >= 6)
            .then(|| beside(s, own, -side, &mirror))
    };
    // A receiver's floor leans over the band: both sides tell by how much, regrowth on both cancels.
    let middle_hz = side * 0.5 * (from + to);
    let lean = there.as_ref().map_or(0.0, |t| {
        let slope = (here.mean - t.mean) / (here.at_hz - t.at_hz);
        slope * (middle_hz - here.at_hz)
    });
    let n = (here.mean + lean).max(0.5 * here.mean);
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
    // Lower than beside the window by far, or flat where the noise falls outwards on both sides.
    let regrown = here.falls && there.as_ref().is_some_and(|t| t.falls);
    let lower = |f: &Foot| f.top < 0.75 * n || (f.flat && regrown && f.top + 4.0 * f.u < n);
    if let Some(foot) = foot.filter(lower)
        && under.is_some()
        && !pedestal(foot.top)
    {
        let x = done(foot.value, foot.u.hypot(0.5 * lean));
        return if x.seen() || foot.flat {
            Ok(x)
        } else {
            Err(NoShoulder::Narrow)
        };
    }
    // What the two halves of the far window differ by besides: the floor may bend on the way to the near one.
    let (first, second) = outer.split_at(outer.len() / 2);
    let (m1, m2) = (mean(s, first), mean(s, second));
    let rel = |b: &[usize]| s.relative_variance(b.len() as f64);
    let expected = lean / (middle_hz - here.at_hz) * 0.5 * (hi - lo);
    let slope = (m2 - m1 - expected).abs();
    let slope_noise = n * (rel(first) + rel(second)).sqrt();
    let tilt = match there {
        _ if slope < 2.5 * slope_noise => 0.0,
        Some(_) => slope,
        // Alone it is drawn out to the near window.
        None => slope * (middle_hz - here.at_hz).abs() / (0.5 * (hi - lo)),
    };
    let uneven = uneven(&stretches);
    let x = done(
        n,
        (n * n * rel(&outer) + tilt * tilt + uneven * uneven + 0.25 * lean * lean).sqrt(),
    );
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

/// How uneven the noise beside a carrier is beyond its own scatter and a straight lean, one standard deviation: a ripple of
/// the receiver or of the transponder may stand in the window as well.
fn uneven(stretches: &[Stretch]) -> f64 {
    let n = stretches.len() as f64;
    if n < 4.0 {
        return 0.0;
    }
    let mean = stretches.iter().map(|x| x.mean).sum::<f64>() / n;
    let middle = 0.5 * (n - 1.0);
    let (mut xy, mut xx) = (0.0, 0.0);
    for (i, x) in stretches.iter().enumerate() {
        let d = i as f64 - middle;
        xy += d * (x.mean - mean);
        xx += d * d;
    }
    let (mut scatter, mut noise) = (0.0, 0.0);
    for (i, x) in stretches.iter().enumerate() {
        let d = i as f64 - middle;
        scatter += (x.mean - mean - xy / xx * d).powi(2);
        noise += x.u * x.u;
    }
    (scatter / (n - 2.0) - noise / n).max(0.0).sqrt()
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

#[cfg(test)]
mod tests {
    use super::*;

    /// A carrier of density 1 and 250 kBd in the middle, and beside it `noise` (Hz from the centre) without scatter.
    fn spectrum(noise: impl Fn(f64) -> f64) -> (Spectrum, Shape) {
        let own = Shape {
            centre_hz: 0.0,
            u_centre_hz: 1.0,
            rate: 250e3,
            rolloff: 0.2,
            rolloff_confidence: 1.0,
            rolloff_by_excess: false,
            density: 1.0,
            u_density: 1e-3,
            noise: None,
            misfit: 1.0,
        };
        let mut s = Spectrum {
            sample_rate_hz: 2e6,
            psd: vec![0.0; 4096],
            frames: 20_000,
        };
        for i in 0..s.len() {
            s.psd[i] = own.at(s.freq(i)) + noise(s.freq(i));
        }
        (s, own)
    }

    fn judged(noise: impl Fn(f64) -> f64, told: Own) -> [Result<Shoulder, NoShoulder>; 2] {
        let (s, own) = spectrum(noise);
        shoulders(&s, &own, &[], &ShoulderPlan::default(), told)
    }

    #[test]
    fn a_recording_too_narrow_for_the_foot_says_so() {
        // Level up to 1.1 symbol rates beyond the edge, then ever lower to the band's end: the floor may be anywhere
        // below.
        let falling = |f: f64| {
            let d = (f.abs() / 250e3 - 0.6 - 1.1).max(0.0);
            1e-2 * (1.35 - 0.21 * d)
        };
        let told = Own {
            under: Some(3e-2),
            phase: 0.0,
        };
        for s in judged(falling, told) {
            assert_eq!(s, Err(NoShoulder::Narrow));
        }
    }

    #[test]
    fn a_floor_that_leans_is_no_shoulder_and_regrowth_over_it_is_measured() {
        let leaning = |f: f64| 0.3 * (1.0 + 0.3 * f / 2e6);
        let told = Own {
            under: Some(0.3),
            phase: 0.0,
        };
        for s in judged(leaning, told) {
            let s = s.expect("judged");
            assert!(!s.seen(), "{s:?}");
        }
        // Third-order regrowth, three rectangles folded, ends at one and a half carriers from the centre.
        let regrown = |f: f64| {
            let x = f.abs() / 250e3;
            let cubic = if x < 0.5 {
                0.75 - x * x
            } else {
                0.5 * (1.5 - x).max(0.0).powi(2)
            };
            1e-3 * (1.0 + 0.1 * f / 2e6) + 0.01 * cubic
        };
        let told = Own {
            under: Some(9e-3),
            phase: 0.0,
        };
        for s in judged(regrown, told) {
            let s = s.expect("judged");
            let x: f64 = 0.6 + 0.03 + 0.075;
            let truth = 0.01 * 0.5 * (1.5 - x).powi(2);
            assert!(
                s.seen() && (s.ratio - truth).abs() < 3.0 * s.u + 0.02 * truth,
                "{s:?} {truth}"
            );
            // As sharp as the noise: 40 dB and more below the carrier.
            assert!(s.lowest < 1e-4 * 10.0, "{s:?}");
        }
    }

    #[test]
    fn what_phase_noise_spreads_is_no_shoulder() {
        let skirt = |f: f64| 1e-3 + 5e-4 * (150e3 / f.abs().max(150e3)).powi(2);
        let told = |phase| Own {
            under: Some(1e-3),
            phase,
        };
        for s in judged(skirt, told(1e-3)) {
            assert_eq!(s, Err(NoShoulder::PhaseNoise));
        }
        for s in judged(skirt, told(0.0)) {
            assert!(s.is_ok_and(|s| s.seen()), "{s:?}");
        }
    }
}
