//! What the solved network means: who feeds and switches each load, and what is wrong.

use super::finding::{Finding, LoadState, Report, SwitchState};
use super::network::{DcPath, Network};
use super::solve::Solution;
use crate::error::Result;
use slantpath_quantity::{Current, Voltage};

/// The links on the way from `start` to `goal` over links that `passes(link, forward)` allows.
fn way(
    net: &Network,
    start: usize,
    goal: usize,
    passes: &dyn Fn(usize, bool) -> bool,
) -> Option<Vec<usize>> {
    let mut came: Vec<Option<(usize, usize)>> = vec![None; net.nodes.len()];
    let mut seen = vec![false; net.nodes.len()];
    let mut queue = std::collections::VecDeque::from([start]);
    seen[start] = true;
    while let Some(at) = queue.pop_front() {
        if at == goal {
            let mut path = Vec::new();
            let mut n = goal;
            while let Some((from, link)) = came[n] {
                path.push(link);
                n = from;
            }
            path.reverse();
            return Some(path);
        }
        for (k, l) in net.links.iter().enumerate() {
            let (next, forward) = if l.from == at {
                (l.to, true)
            } else if l.to == at {
                (l.from, false)
            } else {
                continue;
            };
            if !seen[next] && passes(k, forward) {
                seen[next] = true;
                came[next] = Some((at, k));
                queue.push_back(next);
            }
        }
    }
    None
}

impl Network {
    /// Volts, currents, and what is wrong.
    ///
    /// # Errors
    /// Only when the network cannot be solved numerically; every electrical fault is a [`Finding`].
    pub fn solve(&self) -> Result<Report> {
        let s = self.volts_and_currents()?;
        let mut findings = Vec::new();
        for (p, &i) in self.ports.iter().zip(&s.port_a) {
            if let Some(supply) = p.supply
                && i >= supply.limit.as_a() * (1.0 - 1e-9)
            {
                findings.push(Finding::Limited {
                    port: p.name.clone(),
                    limit: supply.limit,
                });
            }
        }
        let loads = (0..self.loads.len())
            .map(|k| self.judge(k, &s, &mut findings))
            .collect();
        let named = |names: Vec<&String>, a: &[f64]| -> Vec<(String, Current)> {
            names
                .into_iter()
                .cloned()
                .zip(a.iter().map(|&i| Current::a(i)))
                .collect()
        };
        Ok(Report {
            links: named(self.links.iter().map(|l| &l.name).collect(), &s.link_a),
            ports: named(self.ports.iter().map(|p| &p.name).collect(), &s.port_a),
            nodes: self
                .nodes
                .iter()
                .cloned()
                .zip(s.volts.iter().map(|&v| Voltage::v(v)))
                .collect(),
            loads,
            findings,
        })
    }

    fn dc_passes(&self, link: usize, forward: bool) -> bool {
        match self.links[link].path {
            DcPath::Through => true,
            DcPath::Diode { .. } => forward,
            DcPath::Blocked => false,
        }
    }

    fn judge(&self, index: usize, s: &Solution, findings: &mut Vec<Finding>) -> LoadState {
        let load = &self.loads[index];
        let at = load.node.0;
        let volts = Voltage::v(s.volts[at]);
        let on = |k: usize| self.ports[k].supply.is_some_and(|x| x.volts.as_v() > 0.0);
        // Ports from which a signal path leads to this load, whatever it does to DC.
        let mine: Vec<usize> = (0..self.ports.len())
            .filter(|&k| way(self, self.ports[k].node.0, at, &|_, _| true).is_some())
            .collect();
        let reach: Vec<usize> = mine
            .iter()
            .copied()
            .filter(|&k| {
                on(k) && way(self, self.ports[k].node.0, at, &|l, f| self.dc_passes(l, f)).is_some()
            })
            .collect();
        let feeding: Vec<usize> = reach
            .iter()
            .copied()
            .filter(|&k| s.port_a[k] > 1e-6)
            .collect();
        let names = |ks: &[usize]| -> Vec<String> {
            ks.iter().map(|&k| self.ports[k].name.clone()).collect()
        };

        if reach.len() > 1 {
            let back: Vec<usize> = reach
                .iter()
                .copied()
                .filter(|&k| {
                    let p = &self.ports[k];
                    p.supply
                        .is_some_and(|x| s.volts[p.node.0] > x.volts.as_v() + 1e-3)
                })
                .collect();
            findings.push(Finding::Contending {
                ports: names(&reach),
                load: load.name.clone(),
                back_fed: names(&back),
            });
        }
        let working = volts.as_v() >= load.minimum.as_v();
        let (state, margin) = match load.switching {
            Some(w) if working => {
                let (lo, hi, v) = (w.low_below.as_v(), w.high_above.as_v(), volts.as_v());
                let state = if v < lo {
                    SwitchState::Low
                } else if v > hi {
                    SwitchState::High
                } else {
                    SwitchState::Undefined
                };
                let margin = match state {
                    SwitchState::Low => lo - v,
                    SwitchState::High => v - hi,
                    SwitchState::Undefined => -(v - lo).min(hi - v),
                };
                (Some(state), Some(Voltage::v(margin)))
            }
            _ => (None, None),
        };
        if !working {
            findings.push(Finding::Starved {
                load: load.name.clone(),
                volts,
                minimum: load.minimum,
            });
        }
        if volts.as_v() > load.maximum.as_v() {
            findings.push(Finding::Overvolted {
                load: load.name.clone(),
                volts,
                maximum: load.maximum,
            });
        }
        let tone_from: Vec<usize> = mine
            .iter()
            .copied()
            .filter(|&k| {
                self.ports[k].supply.is_some_and(|x| x.tone)
                    && way(self, self.ports[k].node.0, at, &|l, _| self.links[l].tone).is_some()
            })
            .collect();
        for &k in &mine {
            let p = &self.ports[k];
            let path = way(self, p.node.0, at, &|_, _| true).unwrap_or_default();
            if on(k) && !reach.contains(&k) {
                let mut here = p.node.0;
                for &l in &path {
                    let forward = self.links[l].from == here;
                    if !self.dc_passes(l, forward) {
                        findings.push(Finding::Blocked {
                            port: p.name.clone(),
                            at: self.links[l].name.clone(),
                            load: load.name.clone(),
                        });
                        break;
                    }
                    here = if forward {
                        self.links[l].to
                    } else {
                        self.links[l].from
                    };
                }
            }
            if load.switching.is_some() || feeding.is_empty() {
                if !feeding.contains(&k) {
                    findings.push(Finding::Follows {
                        port: p.name.clone(),
                        load: load.name.clone(),
                        follows: names(&feeding),
                        wants: p.wants.map(|w| (w, state)),
                    });
                } else if let (Some(wants), Some(state)) = (p.wants, state)
                    && wants != state
                {
                    findings.push(Finding::WrongState {
                        port: p.name.clone(),
                        load: load.name.clone(),
                        wants,
                        state,
                        volts,
                    });
                }
            }
            if p.supply.is_some_and(|x| x.tone)
                && !tone_from.contains(&k)
                && let Some(&l) = path.iter().find(|&&l| !self.links[l].tone)
            {
                findings.push(Finding::ToneBlocked {
                    port: p.name.clone(),
                    at: self.links[l].name.clone(),
                    load: load.name.clone(),
                });
            }
            if let Some(wants_tone) = p.wants_tone
                && wants_tone == tone_from.is_empty()
            {
                findings.push(Finding::WrongBand {
                    port: p.name.clone(),
                    load: load.name.clone(),
                    wants_tone,
                    tone_from: names(&tone_from),
                });
            }
        }
        LoadState {
            name: load.name.clone(),
            volts,
            current: Current::a(s.load_a[index]),
            state,
            margin,
            fed_by: names(&feeding),
            tone_from: names(&tone_from),
        }
    }
}
