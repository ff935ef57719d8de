//! The receive loss over two dimensions, and over one.

use super::{Fidelity, Geometry, Range, Variable, Workbench};
use crate::error::{PlanError, Result};
use slantpath_stats::progress::{Progress, Stop};
use slantpath_wire::feed::Coil;
use slantpath_wire::feed::shadow::{MapPoint, Surroundings, map as solve_map, map_remarks};
use std::sync::atomic::{AtomicUsize, Ordering};

/// Loss of the receive signal in best focus over two dimensions of a coil.
#[derive(Debug, Clone, PartialEq)]
pub struct ShadowMap {
    /// Across.
    pub x: Variable,
    /// Upwards.
    pub y: Variable,
    /// Values across, m (turns: a number).
    pub xs: Vec<f64>,
    /// Values upwards.
    pub ys: Vec<f64>,
    /// Loss, dB, row by row (`y` by `y`); `None` where no such coil can be.
    pub loss_db: Vec<Option<f64>>,
    /// What it teaches against common opinion, where it does.
    pub remarks: Vec<String>,
}

impl ShadowMap {
    /// Loss at column `i` of row `j`.
    pub fn at(&self, i: usize, j: usize) -> Option<f64> {
        self.loss_db.get(j * self.xs.len() + i).copied().flatten()
    }
    /// The floor of the valley: for each row the column with the least loss, `(x, y, loss)`.
    pub fn valley(&self) -> Vec<(f64, f64, f64)> {
        self.ys
            .iter()
            .enumerate()
            .filter_map(|(j, &y)| {
                (0..self.xs.len())
                    .filter_map(|i| Some((*self.xs.get(i)?, y, self.at(i, j)?)))
                    .min_by(|a, b| a.2.total_cmp(&b.2))
            })
            .collect()
    }
    /// The least loss of all, `(x, y, loss)`.
    pub fn least(&self) -> Option<(f64, f64, f64)> {
        self.valley().into_iter().min_by(|a, b| a.2.total_cmp(&b.2))
    }
    /// Whether the least loss lies on the map's edge, so that it may go on falling beyond.
    pub fn least_on_edge(&self) -> bool {
        self.least().is_some_and(|(x, y, _)| {
            let ends =
                |v: &[f64], a: f64| v.len() > 1 && (v.first() == Some(&a) || v.last() == Some(&a));
            ends(&self.xs, x) || ends(&self.ys, y)
        })
    }
}

/// The map of `columns` by `rows` coils about `centre`, everything else as it is, at the coarse division.
///
/// # Errors
/// [`PlanError::Nothing`] for two dimensions that are one, or the receive feed's place; [`PlanError::Stopped`] on request.
pub fn map(
    bench: &Workbench,
    centre: &Geometry,
    [x, y]: [(Variable, Range); 2],
    [columns, rows]: [usize; 2],
    stop: &Stop,
    progress: &Progress,
) -> Result<ShadowMap> {
    if x.0 == y.0 || [x.0, y.0].contains(&Variable::Front) {
        return Err(PlanError::Nothing {
            why: format!(
                "a map needs two different dimensions of the coil, not `{}` and `{}`",
                x.0.name(),
                y.0.name()
            ),
        });
    }
    let values = |(_, r): (Variable, Range), n: usize| -> Vec<f64> {
        let n = n.max(2);
        (0..n)
            .map(|i| r.lo + (r.hi - r.lo) * i as f64 / (n - 1) as f64)
            .collect()
    };
    let (xs, ys) = (values(x, columns), values(y, rows));
    let coils: Vec<Coil> = ys
        .iter()
        .flat_map(|&b| xs.iter().map(move |&a| (a, b)))
        .map(|(a, b)| centre.with(x.0, a).with(y.0, b).coil)
        .collect();
    let points = solve(bench, centre, &coils, stop, progress)?;
    Ok(ShadowMap {
        x: x.0,
        y: y.0,
        xs,
        ys,
        loss_db: points
            .iter()
            .map(|p| p.shadow.as_ref().ok().map(|s| s.loss().0))
            .collect(),
        remarks: map_remarks(&points),
    })
}

/// The receive loss along one dimension.
#[derive(Debug, Clone, PartialEq)]
pub struct Sweep {
    /// Where there is a coil: value (m; turns: a number), loss in best focus and loss on the feed's axis, dB.
    pub points: Vec<[f64; 3]>,
    /// What it teaches against common opinion, where it does.
    pub remarks: Vec<String>,
}

/// The receive loss in best focus along one dimension.
///
/// # Errors
/// As [`map`].
pub fn sweep(
    bench: &Workbench,
    centre: &Geometry,
    (v, r): (Variable, Range),
    steps: usize,
    stop: &Stop,
) -> Result<Sweep> {
    let n = steps.max(2);
    let values: Vec<f64> = (0..n)
        .map(|i| r.lo + (r.hi - r.lo) * i as f64 / (n - 1) as f64)
        .collect();
    let coils: Vec<Coil> = values.iter().map(|&x| centre.with(v, x).coil).collect();
    let points = solve(bench, centre, &coils, stop, &Progress::silent())?;
    let line = values
        .iter()
        .zip(&points)
        .filter_map(|(x, p)| {
            let s = p.shadow.as_ref().ok()?;
            Some([*x, s.loss().0, s.on_axis().0])
        })
        .collect();
    Ok(Sweep {
        points: line,
        remarks: map_remarks(&points),
    })
}

fn solve(
    bench: &Workbench,
    centre: &Geometry,
    coils: &[Coil],
    stop: &Stop,
    progress: &Progress,
) -> Result<Vec<MapPoint>> {
    let done = AtomicUsize::new(0);
    let points = bench.with_bench(centre.front, |b| {
        Ok(solve_map(
            b,
            coils,
            Fidelity::Coarse.shadow(),
            Surroundings::Free,
            &|| {
                let n = done.fetch_add(1, Ordering::Relaxed);
                progress.report(n as f64 / coils.len().max(1) as f64, "mapping the shadow");
                !stop.is_requested()
            },
        ))
    })?;
    stop.check()?;
    progress.report(1.0, "mapping the shadow");
    Ok(points)
}

#[cfg(test)]
mod tests {
    use super::super::testing::{narrow, workbench};
    use super::*;

    #[test]
    fn the_valley_is_where_the_map_is_least() {
        let bench = workbench();
        let g = narrow().design(&[0.5; 6]);
        let r = |lo: f64, hi: f64| Range {
            lo: lo * 1e-3,
            hi: hi * 1e-3,
        };
        let axes = [
            (Variable::Diameter, r(32.0, 56.0)),
            (Variable::Wire, r(1.0, 3.6)),
        ];
        let m = map(&bench, &g, axes, [4, 2], &Stop::new(), &Progress::silent()).unwrap();
        assert_eq!(m.loss_db.len(), 8);
        // wire of 3.6 mm has a radius of 0.063 wavelengths: no model, no value
        assert!((0..4).all(|i| m.at(i, 1).is_none() && m.at(i, 0).is_some()));
        let valley = m.valley();
        assert_eq!(valley.len(), 1);
        let least = m.least().unwrap();
        assert!(m.loss_db.iter().flatten().all(|l| *l >= least.2));
        assert!(
            m.at(3, 0).unwrap() > m.at(1, 0).unwrap(),
            "wider is worse on this dish: {m:?}"
        );
        assert!(
            m.remarks
                .iter()
                .any(|r| r.contains("wider is not always better")),
            "{:?}",
            m.remarks
        );
        let line = sweep(
            &bench,
            &g,
            (Variable::Diameter, r(32.0, 56.0)),
            3,
            &Stop::new(),
        )
        .unwrap();
        let line = line.points;
        assert_eq!(line.len(), 3);
        assert!(line[2][1] > line[0][1], "{line:?}");
    }

    #[test]
    fn one_dimension_twice_is_no_map() {
        let bench = workbench();
        let g = narrow().design(&[0.5; 6]);
        let r = Range { lo: 1e-3, hi: 2e-3 };
        for v in [Variable::Wire, Variable::Front] {
            let axes = [(Variable::Wire, r), (v, r)];
            let e = map(&bench, &g, axes, [2, 2], &Stop::new(), &Progress::silent());
            assert!(matches!(e, Err(PlanError::Nothing { .. })));
        }
    }
}
