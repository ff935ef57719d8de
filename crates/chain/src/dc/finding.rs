//! What the solved network says, by name.

use super::network::{DcPath, Network};
use super::solve::Solution;
use crate::error::Result;
use slantpath_quantity::{Current, Voltage};
use std::fmt;

/// What an LNB is switched to by volts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SwitchState {
    /// Low volts (about 13 V: vertical on a linear LNB).
    Low,
    /// High volts (about 18 V: horizontal on a linear LNB).
    High,
    /// In the region where either may happen.
    Undefined,
}

impl fmt::Display for SwitchState {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Low => "low volts",
            Self::High => "high volts",
            Self::Undefined => "neither for certain",
        })
    }
}

/// A load as fed.
#[derive(Debug, Clone, PartialEq)]
pub struct LoadState {
    /// Its name.
    pub name: String,
    /// Volts at its terminals.
    pub volts: Voltage,
    /// Current taken.
    pub current: Current,
    /// Switching, if it has any and is fed above its minimum.
    pub state: Option<SwitchState>,
    /// Distance of the volts from the switching region, V; negative inside it.
    pub margin: Option<Voltage>,
    /// Ports whose supplies deliver its current.
    pub fed_by: Vec<String>,
    /// Ports whose tone reaches it.
    pub tone_from: Vec<String>,
}

/// Something the user should know. `Display` gives a sentence.
#[derive(Debug, Clone, PartialEq)]
pub enum Finding {
    /// Two or more supplies reach the same load.
    Contending {
        /// The supplies' ports.
        ports: Vec<String>,
        /// The load.
        load: String,
        /// Those pushed above their own setting: nothing keeps foreign volts off them.
        back_fed: Vec<String>,
    },
    /// A branch's volts do not select: the load follows other ports.
    Follows {
        /// The branch.
        port: String,
        /// The load.
        load: String,
        /// The ports that it follows; empty when nothing feeds it.
        follows: Vec<String>,
        /// What the branch needs and what the load is in; `None` when the branch does not care.
        wants: Option<(SwitchState, Option<SwitchState>)>,
    },
    /// Volts that a part keeps from every load.
    Blocked {
        /// The port that puts out volts.
        port: String,
        /// The part that blocks them.
        at: String,
        /// The load behind it.
        load: String,
    },
    /// A load is in another state than its feeding branch needs.
    WrongState {
        /// The branch.
        port: String,
        /// The load.
        load: String,
        /// What it needs.
        wants: SwitchState,
        /// What it gets.
        state: SwitchState,
        /// Volts at the load.
        volts: Voltage,
    },
    /// A supply is at its current limit.
    Limited {
        /// The port.
        port: String,
        /// The limit.
        limit: Current,
    },
    /// Too few volts for a load to work.
    Starved {
        /// The load.
        load: String,
        /// Volts at it.
        volts: Voltage,
        /// Volts it needs.
        minimum: Voltage,
    },
    /// More volts than a load may have.
    Overvolted {
        /// The load.
        load: String,
        /// Volts at it.
        volts: Voltage,
        /// Volts it may have.
        maximum: Voltage,
    },
    /// A tone that does not reach the load.
    ToneBlocked {
        /// The port.
        port: String,
        /// The part that stops it.
        at: String,
        /// The load.
        load: String,
    },
    /// The band is not the one that a branch needs, because of others' tones or none.
    WrongBand {
        /// The branch.
        port: String,
        /// The load.
        load: String,
        /// Whether it needs the tone.
        wants_tone: bool,
        /// Ports whose tone is there.
        tone_from: Vec<String>,
    },
}

impl Finding {
    /// True when something does not work or may be damaged; otherwise it is only good to know.
    pub fn is_fault(&self) -> bool {
        match self {
            Self::Contending { back_fed, .. } => !back_fed.is_empty(),
            Self::Follows { wants, follows, .. } => {
                follows.is_empty() || wants.is_some_and(|(w, s)| Some(w) != s)
            }
            _ => true,
        }
    }
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Contending {
                ports,
                load,
                back_fed,
            } => {
                write!(
                    f,
                    "{} both put volts on {load}: the higher wins",
                    ports.join(" and ")
                )?;
                if back_fed.is_empty() {
                    Ok(())
                } else {
                    write!(f, ", and {} is fed backwards", back_fed.join(" and "))
                }
            }
            Self::Follows {
                port,
                load,
                follows,
                wants,
            } => {
                if follows.is_empty() {
                    write!(f, "nothing feeds {load}, from which {port} receives")?;
                } else {
                    write!(f, "{load} follows {}, not {port}", follows.join(" and "))?;
                }
                match wants {
                    Some((w, Some(s))) if w == s => write!(f, "; at present both need {w}"),
                    Some((w, Some(s))) => write!(f, "; {port} needs {w} but it is set to {s}"),
                    Some((w, None)) => write!(f, "; {port} needs {w}"),
                    None => Ok(()),
                }
            }
            Self::Blocked { port, at, load } => {
                write!(f, "the volts of {port} stop at {at} and never reach {load}")
            }
            Self::WrongState {
                port,
                load,
                wants,
                state,
                volts,
            } => write!(
                f,
                "{port} needs {wants} at {load}, but {volts:.2} arrive: {state}"
            ),
            Self::Limited { port, limit } => write!(f, "{port} is at its limit of {limit:.3}"),
            Self::Starved {
                load,
                volts,
                minimum,
            } => write!(f, "{load} gets {volts:.2} and needs {minimum:.2}"),
            Self::Overvolted {
                load,
                volts,
                maximum,
            } => write!(f, "{load} gets {volts:.2} and may have {maximum:.2}"),
            Self::ToneBlocked { port, at, load } => {
                write!(
                    f,
                    "the tone of {port} stops at {at} and never reaches {load}"
                )
            }
            Self::WrongBand {
                port,
                load,
                wants_tone,
                tone_from,
            } => match (wants_tone, tone_from.is_empty()) {
                (true, _) => write!(f, "{port} needs the tone at {load}, but none arrives"),
                (false, _) => write!(
                    f,
                    "{port} needs no tone at {load}, but that of {} arrives",
                    tone_from.join(" and ")
                ),
            },
        }
    }
}

/// The solved network.
#[derive(Debug, Clone, PartialEq)]
pub struct Report {
    /// Volts at each point, by name.
    pub nodes: Vec<(String, Voltage)>,
    /// Current in each link from its first point to its second, by name.
    pub links: Vec<(String, Current)>,
    /// Current delivered by each port, by name.
    pub ports: Vec<(String, Current)>,
    /// The loads.
    pub loads: Vec<LoadState>,
    /// What the user should know, in a fixed order.
    pub findings: Vec<Finding>,
}

impl Report {
    /// The state of a load.
    pub fn load(&self, name: &str) -> Option<&LoadState> {
        self.loads.iter().find(|l| l.name == name)
    }
    /// Whether anything is a fault.
    pub fn has_fault(&self) -> bool {
        self.findings.iter().any(Finding::is_fault)
    }
}

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
