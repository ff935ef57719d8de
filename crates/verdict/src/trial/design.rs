//! What a trial's order and mountings can tell apart, before any value is looked at.

use super::input::{Observation, Remounted, Side, TrialOptions};
use std::collections::BTreeMap;

/// More observations than this are averaged with their neighbours first.
const MOST_POINTS: usize = 60;

/// Standard uncertainty below which nothing is resolved anyway, dB: keeps a covariance matrix regular.
const FLOOR_DB: f64 = 1e-3;

/// One observation (or the mean of neighbours within one mounting) ready for the fit.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Point {
    pub side: Side,
    pub time_s: f64,
    /// Value, control subtracted.
    pub value_db: f64,
    /// Variance of the station's own random part, dB^2.
    pub own_var: f64,
    /// Variance of the control's random part, dB^2.
    pub control_var: f64,
    /// Index of the mounting.
    pub mounting: usize,
    /// Index of the branch.
    pub branch: usize,
    /// Index of the uninterrupted run of one side.
    pub run: usize,
}

/// How the trial was laid out.
#[derive(Debug, Clone, PartialEq)]
pub struct Design {
    /// Observations used on side A and B.
    pub observations: [usize; 2],
    /// Mountings on side A and B; without names every change of side starts one.
    pub mountings: [usize; 2],
    /// Whether mountings were named.
    pub mountings_named: bool,
    /// How often the side changes in time order.
    pub changes: usize,
    /// Shortest time between the middles of neighbouring observations of different sides, s.
    pub shortest_change_s: f64,
    /// Time from the last observation of one side to the first of the other when the sides do not overlap, else 0, s.
    pub gap_s: f64,
    /// From first to last observation, s.
    pub span_s: f64,
    /// A simultaneous untouched receiver was subtracted.
    pub control_used: bool,
    /// Whether a change of side counts as a remount.
    pub remounted: bool,
    /// Branches seen on both sides.
    pub branches: Vec<String>,
    /// Branches seen on one side only, left out.
    pub branches_left_out: Vec<String>,
    /// Observations with a control value when not all have one (then none is subtracted).
    pub control_incomplete: usize,
}

impl Design {
    /// Sides alternate often enough for a slow drift to be told from the swap.
    pub fn is_interleaved(&self) -> bool {
        self.changes >= 2
    }
    /// Mountings on both sides together are enough for their scatter to show.
    pub fn remount_scatter_shows(&self) -> bool {
        self.mountings[0] + self.mountings[1] >= 3
    }
    /// Pairs of mountings.
    pub fn pairs(&self) -> usize {
        self.mountings[0].min(self.mountings[1])
    }
}

/// Sorts by time, leaves out branches seen on one side only, subtracts the control if every observation has one, and
/// numbers the mountings. `None` when no branch has both sides.
pub(super) fn lay_out(
    observations: &[Observation],
    options: &TrialOptions,
) -> Option<(Design, Vec<Point>)> {
    let mut sides: BTreeMap<&str, [bool; 2]> = BTreeMap::new();
    for o in observations {
        sides.entry(&o.branch).or_default()[o.side as usize] = true;
    }
    let whole = |b: &str| sides.get(b).is_some_and(|s| s[0] && s[1]);
    let branches: Vec<String> = sides
        .keys()
        .filter(|b| whole(b))
        .map(|b| b.to_string())
        .collect();
    let branches_left_out: Vec<String> = sides
        .keys()
        .filter(|b| !whole(b))
        .map(|b| b.to_string())
        .collect();
    let mut used: Vec<&Observation> = observations.iter().filter(|o| whole(&o.branch)).collect();
    if used.is_empty() {
        return None;
    }
    used.sort_by(|a, b| a.time_s.total_cmp(&b.time_s).then(a.side.cmp(&b.side)));

    let with_control = used.iter().filter(|o| o.control.is_some()).count();
    let control_used = with_control == used.len();
    let mut changes = 0;
    let mut shortest_change_s = f64::INFINITY;
    let mut numbers: BTreeMap<(Side, Option<&str>, usize), usize> = BTreeMap::new();
    let mut points = Vec::with_capacity(used.len());
    for (i, o) in used.iter().enumerate() {
        if i > 0 && used[i - 1].side != o.side {
            changes += 1;
            shortest_change_s = shortest_change_s.min(o.time_s - used[i - 1].time_s);
        }
        // A named mounting is itself wherever it stands; an unnamed one ends when the side changes.
        let key = match &o.mounting {
            Some(name) => (o.side, Some(name.as_str()), 0),
            None => (o.side, None, changes),
        };
        let next = numbers.len();
        let mounting = *numbers.entry(key).or_insert(next);
        let control = o.control.filter(|_| control_used);
        points.push(Point {
            side: o.side,
            time_s: o.time_s,
            value_db: o.value_db - control.map_or(0.0, |c| c.value_db),
            own_var: o.u_random_db.max(FLOOR_DB).powi(2),
            control_var: control.map_or(0.0, |c| c.u_random_db.powi(2)),
            mounting,
            branch: branches.iter().position(|b| *b == o.branch).unwrap_or(0),
            run: changes,
        });
    }
    let mut mountings = [0; 2];
    for (side, _, _) in numbers.keys() {
        mountings[*side as usize] += 1;
    }
    let count = |side| points.iter().filter(|p| p.side == side).count();
    let ends = |side| {
        let t = points.iter().filter(|p| p.side == side).map(|p| p.time_s);
        (
            t.clone().fold(f64::INFINITY, f64::min),
            t.fold(f64::NEG_INFINITY, f64::max),
        )
    };
    let (a, b) = (ends(Side::A), ends(Side::B));
    let design = Design {
        observations: [count(Side::A), count(Side::B)],
        mountings,
        mountings_named: used.iter().any(|o| o.mounting.is_some()),
        changes,
        shortest_change_s,
        gap_s: (b.0 - a.1).max(a.0 - b.1).max(0.0),
        span_s: a.1.max(b.1) - a.0.min(b.0),
        control_used,
        remounted: match options.remounted {
            Remounted::Yes => true,
            Remounted::No => false,
            Remounted::Unknown => {
                used.iter().any(|o| o.mounting.is_some())
                    || shortest_change_s >= options.quickest_remount_s
            }
        },
        branches,
        branches_left_out,
        control_incomplete: if control_used { 0 } else { with_control },
    };
    Some((design, thinned(points)))
}

/// Averages neighbours of one mounting and branch until few enough points are left.
fn thinned(points: Vec<Point>) -> Vec<Point> {
    let size = points.len().div_ceil(MOST_POINTS);
    if size < 2 {
        return points;
    }
    let mut out: Vec<Point> = Vec::new();
    let mut open: BTreeMap<(usize, usize, usize), Vec<Point>> = BTreeMap::new();
    let mean = |group: &[Point]| {
        let n = group.len() as f64;
        let sum = |f: fn(&Point) -> f64| group.iter().map(f).sum::<f64>();
        Point {
            side: group[0].side,
            time_s: sum(|p| p.time_s) / n,
            value_db: sum(|p| p.value_db) / n,
            own_var: sum(|p| p.own_var) / (n * n),
            control_var: sum(|p| p.control_var) / (n * n),
            mounting: group[0].mounting,
            branch: group[0].branch,
            run: group[0].run,
        }
    };
    for p in points {
        let group = open.entry((p.run, p.mounting, p.branch)).or_default();
        group.push(p);
        if group.len() == size {
            out.push(mean(group));
            group.clear();
        }
    }
    out.extend(open.values().filter(|g| !g.is_empty()).map(|g| mean(g)));
    out.sort_by(|a, b| {
        a.time_s
            .total_cmp(&b.time_s)
            .then(a.mounting.cmp(&b.mounting))
    });
    out
}
