//! Level statistics of raw samples: direct current, imbalance, rails, quantiser step.

use crate::C32;
use slantpath_quantity::{amplitude_to_db, to_db};

/// Cells of the histogram of one component.
const CELLS: usize = 4096;
/// The histogram spans plus and minus this.
const SPAN: f32 = 1.0625;

/// Running sums over samples; two of them add up to the statistics of both stretches.
#[derive(Debug, Clone)]
pub struct LevelStats {
    /// Samples seen.
    pub n: u64,
    sum_i: f64,
    sum_q: f64,
    sum_ii: f64,
    sum_qq: f64,
    sum_iq: f64,
    /// Largest magnitude of a component.
    pub max_abs: f32,
    /// Samples that are not a finite number; left out of everything else.
    pub not_finite: u64,
    histogram: Vec<u64>,
    /// Smallest step between distinct values among the first samples, 0 when not seen.
    step: f64,
}

impl Default for LevelStats {
    fn default() -> Self {
        Self {
            n: 0,
            sum_i: 0.0,
            sum_q: 0.0,
            sum_ii: 0.0,
            sum_qq: 0.0,
            sum_iq: 0.0,
            max_abs: 0.0,
            not_finite: 0,
            histogram: vec![0; CELLS],
            step: 0.0,
        }
    }
}

/// Amplitude and phase imbalance of the quadrature branch against the in-phase branch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Imbalance {
    /// Gain of Q over I, dB.
    pub gain_db: f64,
    /// Departure from quadrature, degrees.
    pub phase_deg: f64,
    /// Suppression of the image of a signal, dB, positive.
    pub image_rejection_db: f64,
    /// Standard uncertainty of the gain, dB, for noise-like samples.
    pub u_gain_db: f64,
    /// Standard uncertainty of the phase, degrees.
    pub u_phase_deg: f64,
}

/// What the rails of the converter did.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rails {
    /// Fraction of components at the outermost value.
    pub fraction: f64,
    /// The outermost value.
    pub rail: f64,
    /// How many times more often the outermost value occurs than its neighbours.
    pub pile_up: f64,
}

impl LevelStats {
    /// Adds samples.
    pub fn push(&mut self, x: &[C32]) {
        self.note_step(x);
        self.push_thinned(x, 1);
    }

    /// Looks for the quantiser's step in the beginning of `x`, when none was found yet.
    pub fn note_step(&mut self, x: &[C32]) {
        if self.step == 0.0 {
            self.step = smallest_step(x);
        }
    }

    /// Adds samples; the histogram takes one run of 256 of every `thin`.
    pub fn push_thinned(&mut self, x: &[C32], thin: usize) {
        // Short runs are summed in single precision, then added in double: fast and exact enough.
        for (k, run) in x.chunks(RUN).enumerate() {
            let s = Sums::of(run);
            if s.is_finite() {
                self.add_sums(&s, run.len() as u64);
            } else {
                for z in run {
                    let s = Sums::of(std::slice::from_ref(z));
                    if s.is_finite() {
                        self.add_sums(&s, 1);
                    } else {
                        self.not_finite += 1;
                    }
                }
            }
            if k % thin.max(1) == 0 {
                self.count(run);
            }
        }
    }

    fn add_sums(&mut self, s: &Sums, n: u64) {
        self.sum_i += f64::from(s.i);
        self.sum_q += f64::from(s.q);
        self.sum_ii += f64::from(s.ii);
        self.sum_qq += f64::from(s.qq);
        self.sum_iq += f64::from(s.iq);
        self.max_abs = self.max_abs.max(s.max);
        self.n += n;
    }

    fn count(&mut self, run: &[C32]) {
        let scale = CELLS as f32 / (2.0 * SPAN);
        for z in run {
            for v in [z.re, z.im] {
                // A float cast saturates: values beyond the span end up in the outermost cells.
                let k = ((v + SPAN) * scale) as usize;
                if let Some(c) = self.histogram.get_mut(k.min(CELLS - 1)) {
                    *c += 1;
                }
            }
        }
    }

    /// Adds the sums of a later stretch.
    pub fn add(&mut self, o: &LevelStats) {
        if self.step == 0.0 {
            self.step = o.step;
        }
        self.n += o.n;
        self.sum_i += o.sum_i;
        self.sum_q += o.sum_q;
        self.sum_ii += o.sum_ii;
        self.sum_qq += o.sum_qq;
        self.sum_iq += o.sum_iq;
        self.max_abs = self.max_abs.max(o.max_abs);
        self.not_finite += o.not_finite;
        for (a, b) in self.histogram.iter_mut().zip(&o.histogram) {
            *a += b;
        }
    }

    fn mean_of(&self, s: f64) -> f64 {
        if self.n == 0 { 0.0 } else { s / self.n as f64 }
    }

    /// Mean power, full scale squared.
    pub fn power(&self) -> f64 {
        self.mean_of(self.sum_ii + self.sum_qq)
    }

    /// Mean power in dBFS.
    pub fn dbfs(&self) -> f64 {
        to_db(self.power())
    }

    /// Mean of I and Q.
    pub fn dc(&self) -> (f64, f64) {
        (self.mean_of(self.sum_i), self.mean_of(self.sum_q))
    }

    /// Power of the mean, full scale squared.
    pub fn dc_power(&self) -> f64 {
        let (i, q) = self.dc();
        i * i + q * q
    }

    /// Root mean square of one component without its mean, full scale = 1.
    pub fn component_rms(&self) -> f64 {
        (0.5 * (self.power() - self.dc_power()).max(0.0)).sqrt()
    }

    /// Imbalance from the second moments: samples of noise and of signals off centre are circular, so that
    /// `<I^2> = <Q^2>` and `<I Q> = 0` but for the converter. `None` without power.
    pub fn imbalance(&self) -> Option<Imbalance> {
        let (di, dq) = self.dc();
        let ii = self.mean_of(self.sum_ii) - di * di;
        let qq = self.mean_of(self.sum_qq) - dq * dq;
        let iq = self.mean_of(self.sum_iq) - di * dq;
        if !(ii > 0.0 && qq > 0.0) || self.n < 100 {
            return None;
        }
        let sin_phi = (iq / (ii * qq).sqrt()).clamp(-1.0, 1.0);
        let g = (qq / ii).sqrt();
        let cos_phi = (1.0 - sin_phi * sin_phi).sqrt();
        // Image rejection of gain g and phase phi: (1 + 2 g cos phi + g^2) / (1 - 2 g cos phi + g^2).
        let image =
            (1.0 + 2.0 * g * cos_phi + g * g) / (1.0 - 2.0 * g * cos_phi + g * g).max(1e-12);
        let n = self.n as f64;
        Some(Imbalance {
            gain_db: amplitude_to_db(g),
            phase_deg: sin_phi.asin().to_degrees(),
            image_rejection_db: to_db(image),
            u_gain_db: amplitude_to_db(1.0 + 1.0 / n.sqrt()),
            u_phase_deg: (1.0 / n.sqrt()).to_degrees(),
        })
    }

    /// Smallest step between values in the first samples; `None` when values lie arbitrarily close.
    pub fn quantiser_step(&self) -> Option<f64> {
        (self.step > 0.0).then_some(self.step)
    }

    /// What the outermost values show. `None` when the outermost value is rarer than its neighbours, as it is in any
    /// signal that never touched a rail.
    pub fn rails(&self) -> Option<Rails> {
        let total: u64 = self.histogram.iter().sum();
        if total == 0 {
            return None;
        }
        let side = |cells: &[u64]| -> Option<(u64, f64)> {
            let mut filled = cells.iter().filter(|&&c| c > 0);
            let top = *filled.next()?;
            let near: Vec<u64> = filled.take(8).copied().collect();
            if near.is_empty() {
                return None;
            }
            let mean = near.iter().sum::<u64>() as f64 / near.len() as f64;
            Some((top, top as f64 / mean.max(1e-9)))
        };
        let reversed: Vec<u64> = self.histogram.iter().rev().copied().collect();
        let hi = side(&reversed);
        let lo = side(&self.histogram);
        let (mut count, mut pile) = (0, 0f64);
        for (c, p) in [hi, lo].into_iter().flatten() {
            if p > 2.0 && c >= 8 {
                count += c;
                pile = pile.max(p);
            }
        }
        (count > 0).then(|| Rails {
            fraction: count as f64 / total as f64,
            rail: f64::from(self.max_abs),
            pile_up: pile,
        })
    }

    /// Values on the histogram's grid that occur at all, at most: the number of codes in use for coarse converters.
    pub fn codes_in_use(&self) -> usize {
        self.histogram.iter().filter(|&&c| c > 0).count()
    }
}

/// Samples summed in single precision at a time.
const RUN: usize = 256;

/// First and second moments of a short run.
struct Sums {
    i: f32,
    q: f32,
    ii: f32,
    qq: f32,
    iq: f32,
    max: f32,
}

impl Sums {
    /// Eight sums side by side, which the compiler keeps in vector registers.
    fn of(run: &[C32]) -> Self {
        const W: usize = 8;
        let (mut i, mut q, mut ii, mut qq, mut iq, mut m) = (
            [0f32; W], [0f32; W], [0f32; W], [0f32; W], [0f32; W], [0f32; W],
        );
        let mut chunks = run.chunks_exact(W);
        let mut eight = |c: &[C32]| {
            for (k, z) in c.iter().enumerate().take(W) {
                i[k] += z.re;
                q[k] += z.im;
                ii[k] += z.re * z.re;
                qq[k] += z.im * z.im;
                iq[k] += z.re * z.im;
                let a = z.re.abs().max(z.im.abs());
                m[k] = if a > m[k] { a } else { m[k] };
            }
        };
        for c in &mut chunks {
            eight(c);
        }
        eight(chunks.remainder());
        let sum = |v: [f32; W]| v.iter().sum();
        Self {
            i: sum(i),
            q: sum(q),
            ii: sum(ii),
            qq: sum(qq),
            iq: sum(iq),
            max: m.iter().fold(0.0, |a, b| a.max(*b)),
        }
    }

    fn is_finite(&self) -> bool {
        (self.i + self.q + self.ii + self.qq).is_finite()
    }
}

fn smallest_step(x: &[C32]) -> f64 {
    let mut v: Vec<f32> = x
        .iter()
        .take(8192)
        .flat_map(|z| [z.re, z.im])
        .filter(|v| v.is_finite())
        .collect();
    v.sort_by(f32::total_cmp);
    v.dedup();
    let mut gaps: Vec<f64> = v
        .windows(2)
        .map(|w| f64::from(w[1]) - f64::from(w[0]))
        .collect();
    gaps.sort_by(f64::total_cmp);
    // A quantiser leaves gaps that are whole multiples of its step, to single precision.
    let Some(&s) = gaps.first() else { return 0.0 };
    let whole = gaps
        .iter()
        .filter(|g| (*g / s - (*g / s).round()).abs() < 0.02)
        .count();
    if s > 2e-6 && whole * 100 >= gaps.len() * 98 {
        // The mean of the gaps that are one step is finer than the smallest one.
        let one: Vec<f64> = gaps.iter().copied().filter(|g| *g < 1.5 * s).collect();
        one.iter().sum::<f64>() / one.len() as f64
    } else {
        0.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha12Rng;
    use rand_distr::StandardNormal;

    fn noise(n: usize, sigma: f64, seed: u64) -> Vec<C32> {
        let mut r = ChaCha12Rng::seed_from_u64(seed);
        (0..n)
            .map(|_| {
                let a: f64 = r.sample(StandardNormal);
                let b: f64 = r.sample(StandardNormal);
                C32::new((sigma * a) as f32, (sigma * b) as f32)
            })
            .collect()
    }

    fn cu8(x: &[C32]) -> Vec<C32> {
        let q = |v: f32| ((127.5 + 127.5 * v).round().clamp(0.0, 255.0) - 127.5) / 127.5;
        x.iter().map(|z| C32::new(q(z.re), q(z.im))).collect()
    }

    #[test]
    fn rails_are_seen_only_when_touched() {
        let mut quiet = LevelStats::default();
        quiet.push(&cu8(&noise(200_000, 0.15, 1)));
        assert!(quiet.rails().is_none());
        let mut loud = LevelStats::default();
        loud.push(&cu8(&noise(200_000, 0.6, 2)));
        // Two-sided normal tail beyond 1/0.6 sigma: 2 (1 - Phi(1.667)) = 0.0956 (normal table).
        let r = loud.rails().expect("clipped");
        assert!((r.fraction - 0.0956).abs() < 0.01, "{r:?}");
        assert!(quiet.quantiser_step().is_some());
        assert!((quiet.quantiser_step().unwrap() - 1.0 / 127.5).abs() < 1e-5);
    }

    #[test]
    fn imbalance_is_recovered() {
        let (g, ph) = (
            slantpath_quantity::amplitude_from_db(0.4),
            1.3f64.to_radians(),
        );
        let x: Vec<C32> = noise(400_000, 0.1, 3)
            .iter()
            .map(|z| {
                let (i, q) = (f64::from(z.re), f64::from(z.im));
                C32::new(i as f32, (g * (q * ph.cos() + i * ph.sin())) as f32)
            })
            .collect();
        let mut s = LevelStats::default();
        s.push(&x);
        let m = s.imbalance().unwrap();
        assert!((m.gain_db - 0.4).abs() < 4.0 * m.u_gain_db);
        assert!((m.phase_deg - 1.3).abs() < 4.0 * m.u_phase_deg);
        assert!(s.quantiser_step().is_none());
    }

    #[test]
    fn two_stretches_add_up() {
        let x = noise(10_000, 0.2, 4);
        let mut whole = LevelStats::default();
        whole.push(&x);
        let (mut a, mut b) = (LevelStats::default(), LevelStats::default());
        a.push(&x[..5120]);
        b.push(&x[5120..]);
        a.add(&b);
        assert!((a.power() - whole.power()).abs() < 1e-12);
        assert_eq!(a.n, whole.n);
    }
}
