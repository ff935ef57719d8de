//! The search: many designs at a coarse division, the curve's designs again at a fine one.
//!
//! First a Latin hypercube over the open ranges (M. D. McKay, R. J. Beckman, W. J. Conover, Technometrics 21, 1979), then
//! generations of differential evolution (R. Storn, K. Price, J. Global Optimization 11, 1997) around the designs on the front:
//! a child is a design of the front moved by a scaled difference of two others, with a little noise. Every design has its own
//! random stream by number, a generation is solved side by side and taken in order: the result does not depend on threads.

use super::{Fidelity, Geometry, Pair, Solved, Space, Workbench, front, spread_along};
use crate::error::{PlanError, Result, positive};
use rayon::prelude::*;
use slantpath_quantity::Decibel;
use slantpath_stats::progress::{Progress, Stop};
use slantpath_stats::stream::{named_stream, normal, uniform};
use std::collections::BTreeSet;
use std::sync::atomic::{AtomicUsize, Ordering};

/// Designs of one generation.
const GENERATION: usize = 32;
/// Share of the tries that goes to the first look over the whole space.
const FIRST: f64 = 0.4;
/// Scale of a difference (Storn and Price: 0.5 to 1).
const SCALE: f64 = 0.6;
/// Noise on every child, share of the range.
const NOISE: f64 = 0.06;
/// Share of the coarse part in the time of a search.
const COARSE_PART: f64 = 0.85;

/// What is asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct Search {
    /// What may vary.
    pub space: Space,
    /// Designs tried at the coarse division.
    pub tries: usize,
    /// Designs on the curve that is shown.
    pub shown: usize,
    /// Greatest axial ratio of the beam.
    pub axial_ratio: Decibel,
    /// Seed of every random stream.
    pub seed: u64,
}

/// Change of the figures between the two divisions, taken as standard uncertainties.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// Of the gain, dB.
    pub gain_db: f64,
    /// Of the axial ratio, dB.
    pub axial_ratio_db: f64,
    /// Of the receive loss, dB.
    pub loss_db: f64,
    /// Of the change of G/T, dB.
    pub g_over_t_db: f64,
}

/// One design of the curve.
#[derive(Debug, Clone)]
pub struct FrontPoint {
    /// Solved at the fine division, with the disc at the one place that was chosen.
    pub solved: Solved,
    /// Figures there.
    pub pair: Pair,
    /// Against the coarse division.
    pub spread: Spread,
}

/// The best sum of both figures that is left when the beam must be purer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Purity {
    /// Greatest axial ratio of the beam, dB.
    pub limit_db: f64,
    /// The best design within it at the coarse division; `None` when there is none.
    pub best: Option<(Geometry, Pair)>,
}

/// What a search found.
#[derive(Debug, Clone)]
pub struct Found {
    /// The curve by falling uplink gain.
    pub front: Vec<FrontPoint>,
    /// Every pair of the coarse front, `[gain dBi, change of G/T dB]`, by falling gain.
    pub coarse: Vec<[f64; 2]>,
    /// Designs solved.
    pub tried: usize,
    /// Of them, those that could not be solved.
    pub failed: usize,
    /// Of them, those whose beam is not pure enough with the disc anywhere.
    pub impure: usize,
    /// What purer beams cost.
    pub purity: Vec<Purity>,
}

impl Found {
    /// The point with the greatest sum of gain and G/T: a decibel counts the same in either.
    pub fn balanced(&self) -> Option<usize> {
        (0..self.front.len()).max_by(|&a, &b| {
            let sum = |i: usize| self.front[i].pair.gain_dbi + self.front[i].pair.g_over_t_db;
            sum(a).total_cmp(&sum(b)).then(b.cmp(&a))
        })
    }
}

/// A design of the coarse stage.
struct Tried {
    geometry: Geometry,
    pairs: Vec<Pair>,
}

/// Searches.
///
/// # Errors
/// [`PlanError::Nothing`] when nothing in the space can be built or none is pure enough; [`PlanError::Stopped`] on request.
pub fn search(bench: &Workbench, s: &Search, stop: &Stop, progress: &Progress) -> Result<Found> {
    s.space.check()?;
    positive("limit of the axial ratio", s.axial_ratio.0, "dB")?;
    let tries = s.tries.max(8);
    let mut seen = BTreeSet::new();
    let mut all: Vec<Tried> = Vec::new();
    let (mut tried, mut failed) = (0, 0);
    let coarse = progress.part(0.0, COARSE_PART);
    let mut number = 0;
    while tried < tries {
        let wanted = if tried == 0 {
            ((FIRST * tries as f64) as usize).max(4)
        } else {
            GENERATION
        }
        .min(tries - tried);
        let parents = if tried == 0 {
            Vec::new()
        } else {
            parents(&all, s.axial_ratio.0)
        };
        let batch = propose(bench, s, &parents, wanted, &mut seen, &mut number);
        if batch.is_empty() {
            break; // the raster holds nothing new
        }
        let done = AtomicUsize::new(0);
        let solved: Vec<Option<Result<Solved>>> = batch
            .par_iter()
            .map(|g| {
                if stop.is_requested() {
                    return None;
                }
                let r = bench.solve(g, Fidelity::Coarse, None);
                let n = tried + done.fetch_add(1, Ordering::Relaxed) + 1;
                coarse.report(n as f64 / tries as f64, "trying designs");
                Some(r)
            })
            .collect();
        stop.check()?;
        tried += batch.len();
        for r in solved.into_iter().flatten() {
            match r {
                Ok(x) => all.push(Tried {
                    geometry: x.geometry,
                    pairs: x.pairs,
                }),
                Err(_) => failed += 1,
            }
        }
    }
    let pure = pairs(&all, s.axial_ratio.0);
    let impure = all
        .iter()
        .filter(|t| t.pairs.iter().all(|p| p.axial_ratio_db > s.axial_ratio.0))
        .count();
    if pure.is_empty() {
        return Err(PlanError::Nothing {
            why: nothing(tried, failed, impure, s.axial_ratio.0),
        });
    }
    let points: Vec<[f64; 2]> = pure.iter().map(|(_, p)| figures(p)).collect();
    let on = front(&points);
    let few = spread_along(&points, &on, s.shown);
    let fine = progress.part(COARSE_PART, 1.0);
    let front = again(
        bench,
        &few.iter().map(|&i| pure[i]).collect::<Vec<_>>(),
        stop,
        &fine,
    )?;
    let purity = [1.0, 1.5, 2.0, 3.0, 4.5, 6.0]
        .into_iter()
        .filter(|l| *l <= s.axial_ratio.0)
        .map(|limit_db| Purity {
            limit_db,
            best: pairs(&all, limit_db)
                .into_iter()
                .max_by(|a, b| sum(&a.1).total_cmp(&sum(&b.1)))
                .map(|(g, p)| (*g, p)),
        })
        .collect();
    fine.report(1.0, "done");
    Ok(Found {
        front,
        coarse: on.iter().map(|&i| points[i]).collect(),
        tried,
        failed,
        impure,
        purity,
    })
}

fn figures(p: &Pair) -> [f64; 2] {
    [p.gain_dbi, p.g_over_t_db]
}

fn sum(p: &Pair) -> f64 {
    p.gain_dbi + p.g_over_t_db
}

fn pairs(all: &[Tried], axial_ratio_db: f64) -> Vec<(&Geometry, Pair)> {
    all.iter()
        .flat_map(|t| t.pairs.iter().map(|p| (&t.geometry, *p)))
        .filter(|(_, p)| p.axial_ratio_db <= axial_ratio_db)
        .collect()
}

fn nothing(tried: usize, failed: usize, impure: usize, limit: f64) -> String {
    if tried == 0 {
        "no design in these ranges can be built: the receive feed does not fit into the coil, turns touch, or the disc is no \
         wider than the coil"
            .into()
    } else if failed == tried {
        "none of the designs in these ranges can be solved".into()
    } else {
        format!(
            "of {tried} designs tried none has a beam with an axial ratio of {limit} dB or less ({impure} have more): allow \
             more, or other dimensions"
        )
    }
}

/// Designs of the front, ends and middle alike; of the purest when none is pure enough.
fn parents(all: &[Tried], axial_ratio_db: f64) -> Vec<Geometry> {
    let pure = pairs(all, axial_ratio_db);
    let points: Vec<[f64; 2]> = pure.iter().map(|(_, p)| figures(p)).collect();
    let mut out: Vec<Geometry> = Vec::new();
    for i in front(&points) {
        if out.last() != Some(pure[i].0) {
            out.push(*pure[i].0);
        }
    }
    if out.is_empty() {
        let least = |t: &Tried| {
            t.pairs
                .iter()
                .map(|p| p.axial_ratio_db)
                .fold(f64::INFINITY, f64::min)
        };
        let mut order: Vec<&Tried> = all.iter().collect();
        order.sort_by(|a, b| least(a).total_cmp(&least(b)));
        out.extend(order.iter().take(8).map(|t| t.geometry));
    }
    out
}

/// New designs that can be built: from the hypercube without parents, else children of them. Fewer when the raster holds no
/// more.
fn propose(
    bench: &Workbench,
    s: &Search,
    parents: &[Geometry],
    wanted: usize,
    seen: &mut BTreeSet<[i64; 6]>,
    number: &mut u64,
) -> Vec<Geometry> {
    let mut out = Vec::with_capacity(wanted);
    let strata = (parents.is_empty()).then(|| hypercube(s.seed, wanted));
    let mut idle = 0;
    while out.len() < wanted && idle < 50 * wanted {
        let mut rng = named_stream(s.seed, "design.child", *number);
        *number += 1;
        let shares: [f64; 6] = match (&strata, parents) {
            (Some(rows), _) if idle == 0 && out.len() < rows.len() => rows[out.len()],
            (_, []) => std::array::from_fn(|_| uniform(&mut rng)),
            (_, all) => {
                let mut pick = || {
                    let i = (uniform(&mut rng) * all.len() as f64) as usize;
                    s.space.shares(&all[i.min(all.len() - 1)])
                };
                let (base, a, b) = (pick(), pick(), pick());
                std::array::from_fn(|i| base[i] + SCALE * (a[i] - b[i]) + NOISE * normal(&mut rng))
            }
        };
        let g = s.space.design(&shares);
        if bench.fits(&g) && seen.insert(g.key()) {
            out.push(g);
        } else {
            idle += 1;
        }
    }
    out
}

/// `n` rows in which every column has one value in each `n`-th of 0..1.
fn hypercube(seed: u64, n: usize) -> Vec<[f64; 6]> {
    let mut rng = named_stream(seed, "design.first", 0);
    let columns: Vec<Vec<f64>> = (0..6)
        .map(|_| {
            let mut order: Vec<usize> = (0..n).collect();
            for i in (1..n).rev() {
                let j = ((uniform(&mut rng) * (i + 1) as f64) as usize).min(i);
                order.swap(i, j);
            }
            order
                .into_iter()
                .map(|k| (k as f64 + uniform(&mut rng)) / n as f64)
                .collect()
        })
        .collect();
    (0..n)
        .map(|i| std::array::from_fn(|c| columns[c][i]))
        .collect()
}

/// The designs of the curve at the fine division, those left out that it finds beaten.
fn again(
    bench: &Workbench,
    few: &[(&Geometry, Pair)],
    stop: &Stop,
    progress: &Progress,
) -> Result<Vec<FrontPoint>> {
    let done = AtomicUsize::new(0);
    let all: Vec<Option<Result<FrontPoint>>> = few
        .par_iter()
        .map(|(g, coarse)| {
            if stop.is_requested() {
                return None;
            }
            let r = bench
                .solve(g, Fidelity::Fine, Some(coarse.disc))
                .and_then(|solved| point(solved, coarse));
            let n = done.fetch_add(1, Ordering::Relaxed) + 1;
            progress.report(n as f64 / few.len() as f64, "solving the curve again");
            Some(r)
        })
        .collect();
    stop.check()?;
    let all = all.into_iter().flatten().collect::<Result<Vec<_>>>()?;
    let points: Vec<[f64; 2]> = all.iter().map(|p| figures(&p.pair)).collect();
    Ok(front(&points).into_iter().map(|i| all[i].clone()).collect())
}

fn point(solved: Solved, coarse: &Pair) -> Result<FrontPoint> {
    let pair = *solved.pairs.first().ok_or_else(|| PlanError::Nothing {
        why: "a design was solved for no place of its disc".into(),
    })?;
    let apart = |get: &dyn Fn(&Pair) -> f64| (get(&pair) - get(coarse)).abs();
    let spread = Spread {
        gain_db: apart(&|p| p.gain_dbi),
        axial_ratio_db: apart(&|p| p.axial_ratio_db),
        loss_db: apart(&|p| p.loss_db),
        g_over_t_db: apart(&|p| p.g_over_t_db),
    };
    Ok(FrontPoint {
        solved,
        pair,
        spread,
    })
}

#[cfg(test)]
mod tests {
    use super::super::testing::{narrow, workbench};
    use super::*;
    use std::sync::{Arc, Mutex};

    fn asked(seed: u64) -> Search {
        Search {
            space: narrow(),
            tries: 14,
            shown: 3,
            axial_ratio: Decibel(6.0),
            seed,
        }
    }

    #[test]
    fn the_same_seed_gives_the_same_curve_at_any_number_of_threads() {
        let bench = workbench();
        let seen = Arc::new(Mutex::new(0.0_f64));
        let keep = seen.clone();
        let p = Progress::new(move |x, _| {
            let mut m = keep.lock().unwrap();
            *m = m.max(x);
        });
        let run = |threads: usize, p: &Progress| {
            rayon::ThreadPoolBuilder::new()
                .num_threads(threads)
                .build()
                .unwrap()
                .install(|| search(&bench, &asked(3), &Stop::new(), p).unwrap())
        };
        let (a, b) = (run(1, &p), run(3, &Progress::silent()));
        assert_eq!(*seen.lock().unwrap(), 1.0);
        assert_eq!(a.tried, 14);
        assert_eq!(a.coarse, b.coarse);
        assert!(!a.front.is_empty() && a.front.len() <= 3);
        for (x, y) in a.front.iter().zip(&b.front) {
            assert_eq!(x.pair, y.pair);
            assert_eq!(x.solved.geometry, y.solved.geometry);
        }
        // a curve: what has more gain has less G/T
        for w in a.front.windows(2) {
            assert!(w[0].pair.gain_dbi > w[1].pair.gain_dbi);
            assert!(w[0].pair.g_over_t_db < w[1].pair.g_over_t_db);
        }
        let best = &a.front[a.balanced().unwrap()];
        assert!(
            best.spread.gain_db < 0.5 && best.spread.loss_db < 0.2,
            "{:?}",
            best.spread
        );
        assert!((8.0..30.0).contains(&best.pair.gain_dbi), "{:?}", best.pair);
        assert!(
            (-4.0..0.8).contains(&best.pair.g_over_t_db),
            "{:?}",
            best.pair
        );
    }

    #[test]
    fn a_stop_ends_it_and_an_impossible_wish_is_explained() {
        let bench = workbench();
        let stop = Stop::new();
        stop.request();
        assert!(matches!(
            search(&bench, &asked(1), &stop, &Progress::silent()),
            Err(PlanError::Stopped(_))
        ));
        let mut s = asked(1);
        (s.tries, s.axial_ratio) = (8, Decibel(1e-3));
        let e = search(&bench, &s, &Stop::new(), &Progress::silent()).unwrap_err();
        assert!(e.to_string().contains("axial ratio of 0.001 dB"), "{e}");
    }

    #[test]
    fn the_hypercube_has_one_in_every_stratum() {
        let rows = hypercube(9, 11);
        for c in 0..6 {
            let mut k: Vec<usize> = rows.iter().map(|r| (r[c] * 11.0) as usize).collect();
            k.sort_unstable();
            assert_eq!(k, (0..11).collect::<Vec<_>>());
        }
    }
}
