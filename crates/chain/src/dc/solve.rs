//! Volts and currents.
//!
//! Every element here passes more current at more volts (a supply delivers less), so that the network's co-content
//! (Millar 1951) is convex and its minimum is where Kirchhoff's current law holds at every node. It is found by
//! Newton's method with backtracking; the pieces are straight lines, so that it ends after few steps. A load of
//! constant power is the exception: its current `P/V` is iterated from the supply's volts downward, which finds
//! the stable upper solution where there is one.

use super::network::{CONTACT_OHM, DcPath, Draw, Network};
use crate::dense::Symmetric;
use crate::error::{ChainError, Result};

/// Kirchhoff's law is met at every node to this, A.
pub(crate) const IMBALANCE_A: f64 = 1e-9;
/// Added to the Hessian alone, S: keeps floating or current-limited parts solvable without moving the solution.
/// Small against any supply's or load's slope, not so small that the stiffest link swamps it.
const FLOATING_S: f64 = 1e-7;
/// What a supply takes per volt above its own setting, S: the megohm of its own divider.
const BLEED_S: f64 = 1e-6;

/// What the solution gives.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Solution {
    pub volts: Vec<f64>,
    pub link_a: Vec<f64>,
    pub port_a: Vec<f64>,
    pub load_a: Vec<f64>,
}

/// Current of a link and its slope at a difference of volts.
fn link_current(path: DcPath, ohm: f64, dv: f64) -> (f64, f64) {
    match path {
        DcPath::Through => (dv / ohm, 1.0 / ohm),
        DcPath::Diode { drop } if dv > drop.as_v() => ((dv - drop.as_v()) / ohm, 1.0 / ohm),
        _ => (0.0, 0.0),
    }
}

/// Current of a load of nominal current `i0` and its slope.
fn load_current(i0: f64, minimum: f64, v: f64) -> (f64, f64) {
    if v >= minimum {
        (i0, 0.0)
    } else if v > 0.0 {
        (i0 * v / minimum, i0 / minimum)
    } else {
        (0.0, 0.0)
    }
}

impl Network {
    /// Solves with the loads' nominal currents given.
    fn at_currents(&self, i0: &[f64], start: &[f64]) -> Result<Solution> {
        let n = self.nodes.len();
        let mut v = start.to_vec();
        let mut energy = self.energy(&v, i0);
        for _ in 0..400 {
            let (out, hessian) = self.imbalance(&v, i0);
            let worst = out.iter().fold(0.0f64, |m, x| m.max(x.abs()));
            if worst < IMBALANCE_A {
                return Ok(self.currents(v, i0));
            }
            let down: Vec<f64> = out.iter().map(|x| -x).collect();
            let Some(mut step) = hessian.solve(&down) else {
                break;
            };
            let longest = step.iter().fold(0.0f64, |m, x| m.max(x.abs()));
            if longest > 10.0 {
                step.iter_mut().for_each(|s| *s *= 10.0 / longest);
            }
            let slope: f64 = out.iter().zip(&step).map(|(a, b)| a * b).sum();
            let mut along = 1.0;
            let mut moved = false;
            for _ in 0..60 {
                let next: Vec<f64> = (0..n).map(|k| v[k] + along * step[k]).collect();
                let e = self.energy(&next, i0);
                // At the last digits the energy no longer resolves the descent; a shorter residual then decides.
                let better = e <= energy + 1e-4 * along * slope
                    || e - energy <= 1e-13 * (1.0 + energy.abs()) && {
                        let r = self.imbalance(&next, i0).0;
                        r.iter().fold(0.0f64, |m, x| m.max(x.abs())) < 0.5 * worst
                    };
                if better {
                    (v, energy, moved) = (next, e, true);
                    break;
                }
                along *= 0.5;
            }
            if !moved {
                break;
            }
        }
        Err(ChainError::Undetermined {
            part: "DC network".into(),
            why: "the volts do not settle; check for resistances many orders of magnitude apart"
                .into(),
        })
    }

    /// Currents leaving each node (zero when balanced) and their slopes.
    fn imbalance(&self, v: &[f64], i0: &[f64]) -> (Vec<f64>, Symmetric) {
        let n = v.len();
        let mut out = vec![0.0; n];
        let mut h = Symmetric::zero(n);
        for k in 0..n {
            h.add(k, k, FLOATING_S);
        }
        for l in &self.links {
            let (i, g) = link_current(l.path, l.ohm, v[l.from] - v[l.to]);
            out[l.from] += i;
            out[l.to] -= i;
            h.stamp(l.from, l.to, g);
        }
        for p in &self.ports {
            let (i, g) = self.port_current(p, v[p.node.0]);
            out[p.node.0] -= i;
            h.add(p.node.0, p.node.0, g);
        }
        for (l, &i0) in self.loads.iter().zip(i0) {
            let (i, g) = load_current(i0, l.minimum.as_v(), v[l.node.0]);
            out[l.node.0] += i;
            h.add(l.node.0, l.node.0, g);
        }
        (out, h)
    }

    /// Current that a port delivers at `v`, and by how much it falls per volt.
    fn port_current(&self, p: &super::Port, v: f64) -> (f64, f64) {
        let Some(s) = p.supply else {
            return (0.0, 0.0);
        };
        let r = s.internal.si().max(CONTACT_OHM);
        let i = (s.volts.as_v() - v) / r;
        if i <= 0.0 {
            (BLEED_S * (s.volts.as_v() - v), BLEED_S)
        } else if i >= s.limit.as_a() {
            (s.limit.as_a(), 0.0)
        } else {
            (i, 1.0 / r)
        }
    }

    /// The co-content, W.
    fn energy(&self, v: &[f64], i0: &[f64]) -> f64 {
        let mut e = 0.0;
        for l in &self.links {
            let (i, g) = link_current(l.path, l.ohm, v[l.from] - v[l.to]);
            if g > 0.0 {
                e += 0.5 * i * i / g;
            }
        }
        for p in &self.ports {
            if let Some(s) = p.supply {
                let r = s.internal.si().max(CONTACT_OHM);
                let (vs, il) = (s.volts.as_v(), s.limit.as_a());
                let dv = vs - v[p.node.0];
                // integral of the delivered current from v up to the setting
                e += if dv <= 0.0 {
                    0.5 * BLEED_S * dv * dv
                } else if dv < il * r {
                    0.5 * dv * dv / r
                } else {
                    il * dv - 0.5 * il * il * r
                };
            }
        }
        for (l, &i0) in self.loads.iter().zip(i0) {
            let (m, x) = (l.minimum.as_v(), v[l.node.0]);
            e += if x >= m {
                i0 * (x - 0.5 * m)
            } else if x > 0.0 {
                0.5 * i0 * x * x / m
            } else {
                0.0
            };
        }
        e
    }

    fn currents(&self, volts: Vec<f64>, i0: &[f64]) -> Solution {
        Solution {
            link_a: self
                .links
                .iter()
                .map(|l| link_current(l.path, l.ohm, volts[l.from] - volts[l.to]).0)
                .collect(),
            port_a: self
                .ports
                .iter()
                .map(|p| self.port_current(p, volts[p.node.0]).0)
                .collect(),
            load_a: self
                .loads
                .iter()
                .zip(i0)
                .map(|(l, &i)| load_current(i, l.minimum.as_v(), volts[l.node.0]).0)
                .collect(),
            volts,
        }
    }

    pub(crate) fn volts_and_currents(&self) -> Result<Solution> {
        let top = self
            .ports
            .iter()
            .filter_map(|p| p.supply)
            .fold(0.0f64, |m, s| m.max(s.volts.as_v()));
        let nominal = |v_at: &dyn Fn(usize) -> f64| -> Vec<f64> {
            self.loads
                .iter()
                .enumerate()
                .map(|(k, l)| match l.draw {
                    Draw::Current(i) => i.as_a(),
                    Draw::Power(p) => p.as_w() / v_at(k).max(l.minimum.as_v()),
                })
                .collect()
        };
        let mut i0 = nominal(&|_| top);
        let mut solution = self.at_currents(&i0, &vec![0.0; self.nodes.len()])?;
        for _ in 0..2000 {
            let next = nominal(&|k| solution.volts[self.loads[k].node.0]);
            let change = next
                .iter()
                .zip(&i0)
                .fold(0.0f64, |m, (a, b)| m.max((a - b).abs()));
            if change < 1e-10 {
                break;
            }
            i0 = next;
            solution = self.at_currents(&i0, &solution.volts)?;
        }
        Ok(solution)
    }
}
