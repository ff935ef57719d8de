//! Propagation of distributions by Monte Carlo (JCGM 101:2008, clause 7).
//!
//! Trials run in blocks of [`BLOCK`](crate::stream::BLOCK); each contributor's draws in a block come from its own
//! stream ([`crate::stream`]). Blocks are shared out over the threads of the current rayon pool and put together in
//! order, so the result is the same bit for bit at any number of threads.

use crate::progress::{Progress, Stop};
use crate::stream::{BLOCK, quantile, stream, uniform};
use crate::{StatsError, intervals};
use rayon::prelude::*;
use slantpath_quantity::{Contributor, ContributorId, Distribution, Estimate, Interval};
use std::collections::HashMap;
use std::sync::atomic::{AtomicUsize, Ordering};

/// How to run.
#[derive(Debug, Clone)]
pub struct Settings {
    /// Seed of all streams.
    pub seed: u64,
    /// Number of trials, at least 2 (JCGM 101 7.2.2 advises 10^4/(1 - level) or more).
    pub trials: usize,
    /// Asks to end early.
    pub stop: Stop,
    /// Where to say how far it is.
    pub progress: Progress,
}

impl Settings {
    /// Silent, with no way to stop.
    pub fn new(seed: u64, trials: usize) -> Self {
        Self {
            seed,
            trials,
            stop: Stop::new(),
            progress: Progress::silent(),
        }
    }
}

/// All trials' outputs with their first and second moments.
#[derive(Debug, Clone)]
pub struct Draws {
    contributors: Vec<Contributor>,
    ids: Vec<ContributorId>,
    seed: u64,
    trials: usize,
    outputs: usize,
    /// Block after block; within a block, one run of its trials for each output.
    values: Vec<f64>,
    mean: Vec<f64>,
    sd: Vec<f64>,
}

/// Runs `model(inputs, outputs)` once a trial; `inputs` are in the order of `contributors`.
///
/// A contributor may stand in the list more than once with the same identity and distribution: it is the same draw.
///
/// # Errors
/// A distribution with senseless parameters; one identity with two distributions; a model output that is not finite;
/// fewer than two trials; a stop request.
pub fn monte_carlo<M>(
    contributors: &[Contributor],
    outputs: usize,
    settings: &Settings,
    model: M,
) -> Result<Draws, StatsError>
where
    M: Fn(&[f64], &mut [f64]) + Sync,
{
    monte_carlo_with(
        contributors,
        outputs,
        settings,
        || (),
        |(), x, y| model(x, y),
    )
}

/// As [`monte_carlo`], for a model that wants scratch space: `scratch()` makes one for a worker, and nothing that stays
/// in it may change the answer.
///
/// # Errors
/// As [`monte_carlo`].
pub fn monte_carlo_with<S, I, M>(
    contributors: &[Contributor],
    outputs: usize,
    settings: &Settings,
    scratch: I,
    model: M,
) -> Result<Draws, StatsError>
where
    I: Fn() -> S + Sync,
    M: Fn(&mut S, &[f64], &mut [f64]) + Sync,
{
    check(contributors)?;
    let trials = settings.trials;
    if trials < 2 {
        return Err(StatsError::TooFew {
            have: trials,
            need: 2,
        });
    }
    if outputs == 0 {
        return Err(StatsError::TooFew { have: 0, need: 1 });
    }
    let n = contributors.len();
    let best: Vec<f64> = contributors.iter().map(|c| c.distribution.mean()).collect();
    // Moments are taken about the model at the best estimates: sums of small numbers, whatever the level.
    let mut pivot = vec![0.0; outputs];
    model(&mut scratch(), &best, &mut pivot);
    for p in &mut pivot {
        if !p.is_finite() {
            *p = 0.0;
        }
    }
    let mut values = vec![0.0; trials * outputs];
    let done = AtomicUsize::new(0);
    let blocks: Vec<Result<Moments, StatsError>> = values
        .par_chunks_mut(BLOCK * outputs)
        .enumerate()
        .map_init(
            || (scratch(), vec![0.0; BLOCK * n], vec![0.0; outputs]),
            |(scratch, inputs, y), (block, out)| {
                settings.stop.check()?;
                let count = out.len() / outputs;
                fill(contributors, settings.seed, block as u64, count, inputs);
                for t in 0..count {
                    let x = &inputs[t * n..(t + 1) * n];
                    model(scratch, x, y);
                    if let Some(output) = y.iter().position(|y| !y.is_finite()) {
                        let trial = block * BLOCK + t;
                        return Err(StatsError::NotFinite { output, trial });
                    }
                    for (k, y) in y.iter().enumerate() {
                        out[k * count + t] = *y;
                    }
                }
                let finished = done.fetch_add(count, Ordering::Relaxed) + count;
                settings
                    .progress
                    .report(finished as f64 / trials as f64, "drawing");
                Ok(Moments::of(out.chunks_exact(count), &pivot))
            },
        )
        .collect();
    let mut total = Moments::zero(outputs);
    for b in blocks {
        total.merge(&b?);
    }
    let m = trials as f64;
    let mean: Vec<f64> = (0..outputs).map(|k| pivot[k] + total.y[k] / m).collect();
    let sd: Vec<f64> = (0..outputs)
        .map(|k| {
            ((total.yy[k] - total.y[k] * total.y[k] / m) / (m - 1.0))
                .max(0.0)
                .sqrt()
        })
        .collect();
    Ok(Draws {
        contributors: contributors.to_vec(),
        ids: contributors.iter().map(|c| c.id.clone()).collect(),
        seed: settings.seed,
        trials,
        outputs,
        values,
        mean,
        sd,
    })
}

/// Refuses senseless distributions and contradictions.
fn check(contributors: &[Contributor]) -> Result<(), StatsError> {
    let mut seen: HashMap<&ContributorId, Distribution> = HashMap::new();
    for c in contributors {
        let reason = match c.distribution {
            Distribution::Exact(v) if !v.is_finite() => "value is not finite",
            Distribution::Normal { mean, u }
                if !(mean.is_finite() && u.is_finite() && u >= 0.0) =>
            {
                "mean or standard uncertainty is not finite, or u is negative"
            }
            Distribution::Rectangular { lo, hi }
                if !(lo.is_finite() && hi.is_finite() && lo <= hi) =>
            {
                "limits are not finite or not in order"
            }
            _ => "",
        };
        if !reason.is_empty() {
            return Err(StatsError::BadDistribution {
                id: c.id.to_string(),
                reason: reason.to_string(),
            });
        }
        if seen
            .insert(&c.id, c.distribution)
            .is_some_and(|d| d != c.distribution)
        {
            return Err(StatsError::Contradiction {
                id: c.id.to_string(),
            });
        }
    }
    Ok(())
}

/// One block of inputs, row per trial.
fn fill(contributors: &[Contributor], seed: u64, block: u64, count: usize, inputs: &mut [f64]) {
    let n = contributors.len();
    for (i, c) in contributors.iter().enumerate() {
        let places = inputs.iter_mut().skip(i).step_by(n).take(count);
        draw(c, seed, block, places);
    }
}

/// One contributor's draws of a block, in order.
fn draw<'a>(c: &Contributor, seed: u64, block: u64, places: impl Iterator<Item = &'a mut f64>) {
    if let Distribution::Exact(v) = c.distribution {
        places.for_each(|p| *p = v);
        return;
    }
    let mut rng = stream(seed, &c.id, block);
    for p in places {
        *p = quantile(&c.distribution, uniform(&mut rng));
    }
}

/// Sums about fixed points, per output.
struct Moments {
    y: Vec<f64>,
    yy: Vec<f64>,
}

impl Moments {
    fn zero(outputs: usize) -> Self {
        Self {
            y: vec![0.0; outputs],
            yy: vec![0.0; outputs],
        }
    }
    /// Of one block, a run of trials per output.
    fn of<'a>(runs: impl Iterator<Item = &'a [f64]>, pivot: &[f64]) -> Self {
        let mut m = Self::zero(pivot.len());
        for (k, (run, pivot)) in runs.zip(pivot).enumerate() {
            // Four sums side by side, always the same four: no addition waits for the one before.
            let (mut s, mut ss) = ([0.0; 4], [0.0; 4]);
            for four in run.chunks(4) {
                for (i, y) in four.iter().enumerate() {
                    let dy = y - pivot;
                    s[i] += dy;
                    ss[i] += dy * dy;
                }
            }
            m.y[k] = (s[0] + s[1]) + (s[2] + s[3]);
            m.yy[k] = (ss[0] + ss[1]) + (ss[2] + ss[3]);
        }
        m
    }
    fn merge(&mut self, other: &Self) {
        for (a, b) in [(&mut self.y, &other.y), (&mut self.yy, &other.yy)] {
            for (a, b) in a.iter_mut().zip(b) {
                *a += b;
            }
        }
    }
}

/// Mean, standard deviation and symmetric interval of values that are as likely as each other.
///
/// # Errors
/// `level` outside (0, 1), or too few values for it.
pub fn estimate_of(mut values: Vec<f64>, level: f64) -> Result<Estimate, StatsError> {
    let n = values.len() as f64;
    let value = values.iter().sum::<f64>() / n;
    let u = (values.iter().map(|v| (v - value).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
    Ok(Estimate {
        value,
        u,
        interval: symmetric_of(&mut values, level)?,
    })
}

/// [`Sorted::symmetric`] without sorting more than it needs.
fn symmetric_of(values: &mut [f64], level: f64) -> Result<Interval, StatsError> {
    let (m, q) = reach(values.len(), level)?;
    // r = (M - q)/2, or the integer part of (M - q + 1)/2; the standard counts from 1.
    let r = (m - q).div_ceil(2).max(1);
    let (_, lo, above) = values.select_nth_unstable_by(r - 1, f64::total_cmp);
    let lo = *lo;
    let (_, hi, _) = above.select_nth_unstable_by(q - 1, f64::total_cmp);
    Ok(Interval { lo, hi: *hi, level })
}

/// Number of values and how many of them lie within an interval (JCGM 101 7.7.1).
fn reach(m: usize, level: f64) -> Result<(usize, usize), StatsError> {
    if !(level > 0.0 && level < 1.0) {
        return Err(StatsError::OutOfRange {
            name: "level",
            value: level,
            range: "the open interval 0..1",
        });
    }
    let q = (level * m as f64 + 0.5).floor() as usize;
    if q < 1 || q >= m {
        return Err(StatsError::TooFew {
            have: m,
            need: (1.0 / (1.0 - level)).ceil() as usize + 1,
        });
    }
    Ok((m, q))
}

impl Draws {
    /// Number of trials.
    pub fn trials(&self) -> usize {
        self.trials
    }
    /// Contributors, in the order of the model's inputs.
    pub fn ids(&self) -> &[ContributorId] {
        &self.ids
    }
    /// Mean of output `k`; `None` when there is no such output.
    pub fn mean(&self, k: usize) -> Option<f64> {
        self.mean.get(k).copied()
    }
    /// Standard deviation of output `k` (JCGM 101 equation 17).
    pub fn sd(&self, k: usize) -> Option<f64> {
        self.sd.get(k).copied()
    }
    /// Correlation of input `i` with output `k`; zero when either does not vary. The input's draws are made again from
    /// its stream: no run pays for what few ask.
    pub fn correlation(&self, i: usize, k: usize) -> Option<f64> {
        let c = self.contributors.get(i)?;
        let (mean, sd) = (self.mean(k)?, self.sd(k)?);
        let (mid, u) = (c.distribution.mean(), c.distribution.u());
        if sd == 0.0 || u == 0.0 {
            return Some(0.0);
        }
        let mut x = vec![0.0; BLOCK];
        let (mut sx, mut sxx, mut sxy) = (0.0, 0.0, 0.0);
        for (block, y) in self.runs(k).enumerate() {
            draw(c, self.seed, block as u64, x.iter_mut().take(y.len()));
            for (x, y) in x.iter().zip(y) {
                let dx = (x - mid) / u;
                sx += dx;
                sxx += dx * dx;
                sxy += dx * ((y - mean) / sd);
            }
        }
        let m = self.trials as f64;
        let spread = (sxx - sx * sx / m) * (m - 1.0);
        Some(if spread > 0.0 {
            (sxy / spread.sqrt()).clamp(-1.0, 1.0)
        } else {
            0.0
        })
    }
    /// Output `k`, a run of trials per block.
    fn runs(&self, k: usize) -> impl Iterator<Item = &[f64]> {
        self.values
            .chunks(BLOCK * self.outputs)
            .filter_map(move |block| {
                let count = block.len() / self.outputs;
                block.get(k * count..(k + 1) * count)
            })
    }
    /// Output `k` trial by trial, empty when there is no such output. Trials of two runs with the same seed belong
    /// together: their difference has no scatter from contributors they share.
    pub fn values(&self, k: usize) -> Vec<f64> {
        if k >= self.outputs {
            return Vec::new();
        }
        let mut all = Vec::with_capacity(self.trials);
        self.runs(k).for_each(|run| all.extend_from_slice(run));
        all
    }
    /// Output `k` in ascending order.
    pub fn sorted(&self, k: usize) -> Sorted {
        Sorted::new(self.values(k))
    }
    /// Output `k` as an estimate with its probabilistically symmetric interval.
    ///
    /// # Errors
    /// No such output, or `level` outside (0, 1).
    pub fn estimate(&self, k: usize, level: f64) -> Result<Estimate, StatsError> {
        self.estimate_in(k, level, &mut Vec::new())
    }
    /// [`Draws::estimate`] of every output, in order.
    ///
    /// # Errors
    /// As [`Draws::estimate`].
    pub fn estimates(&self, level: f64) -> Result<Vec<Estimate>, StatsError> {
        (0..self.outputs)
            .into_par_iter()
            .map_init(Vec::new, |room, k| self.estimate_in(k, level, room))
            .collect()
    }
    fn estimate_in(
        &self,
        k: usize,
        level: f64,
        room: &mut Vec<f64>,
    ) -> Result<Estimate, StatsError> {
        let (Some(value), Some(u)) = (self.mean(k), self.sd(k)) else {
            return Err(StatsError::OutOfRange {
                name: "output",
                value: k as f64,
                range: "the model's outputs",
            });
        };
        Ok(Estimate {
            value,
            u,
            interval: {
                room.clear();
                self.runs(k).for_each(|run| room.extend_from_slice(run));
                symmetric_of(room, level)?
            },
        })
    }
    /// Output `k` less output `j` of another run with the same seed and as many trials: contributors that both share
    /// cancel trial by trial.
    ///
    /// # Errors
    /// No such output, runs that do not belong together, or `level` outside (0, 1).
    pub fn difference(
        &self,
        k: usize,
        other: &Self,
        j: usize,
        level: f64,
    ) -> Result<Estimate, StatsError> {
        let (a, b) = (self.values(k), other.values(j));
        if a.len() != b.len() || a.is_empty() || self.seed != other.seed {
            return Err(StatsError::Shape {
                what: "trials of the run to compare with, under the same seed",
                expected: a.len(),
                found: b.len(),
            });
        }
        estimate_of(a.iter().zip(&b).map(|(a, b)| a - b).collect(), level)
    }
}

/// Values in ascending order: a discrete representation of a distribution function (JCGM 101 7.5).
#[derive(Debug, Clone, PartialEq)]
pub struct Sorted(Vec<f64>);

impl Sorted {
    /// Sorts `values`.
    pub fn new(mut values: Vec<f64>) -> Self {
        values.par_sort_unstable_by(f64::total_cmp);
        Self(values)
    }
    /// The values.
    pub fn values(&self) -> &[f64] {
        &self.0
    }
    /// Probabilistically symmetric coverage interval (JCGM 101 7.7.2).
    ///
    /// # Errors
    /// `level` outside (0, 1), or too few values for it.
    pub fn symmetric(&self, level: f64) -> Result<Interval, StatsError> {
        let (m, q) = reach(self.0.len(), level)?;
        // r = (M - q)/2, or the integer part of (M - q + 1)/2; the standard counts from 1.
        let r = (m - q).div_ceil(2).max(1);
        Ok(self.between(r, r + q, level))
    }
    /// Shortest coverage interval (JCGM 101 7.7.3), the first of several equally short.
    ///
    /// # Errors
    /// As [`Sorted::symmetric`].
    pub fn shortest(&self, level: f64) -> Result<Interval, StatsError> {
        let (m, q) = reach(self.0.len(), level)?;
        let width = |r: usize| self.0[r + q - 1] - self.0[r - 1];
        let mut best = 1;
        for r in 2..=m - q {
            if width(r) < width(best) {
                best = r;
            }
        }
        Ok(self.between(best, best + q, level))
    }
    fn between(&self, lo: usize, hi: usize, level: f64) -> Interval {
        Interval {
            lo: self.0[lo - 1],
            hi: self.0[hi - 1],
            level,
        }
    }
}

/// Whether a first-order interval may stand in for the Monte Carlo one (JCGM 101 8.1): both ends agree within the
/// numerical tolerance `delta = 10^l / 2` of the standard uncertainty quoted to `digits` significant digits.
pub fn validates_first_order(value: f64, u: f64, monte_carlo: &Interval, digits: i32) -> bool {
    if u.is_nan() || u <= 0.0 {
        return monte_carlo.lo == monte_carlo.hi;
    }
    let l = u.log10().floor() as i32 - (digits - 1);
    let delta = 0.5 * 10f64.powi(l);
    let k = intervals::normal_factor(monte_carlo.level);
    (value - k * u - monte_carlo.lo).abs() <= delta
        && (value + k * u - monte_carlo.hi).abs() <= delta
}
