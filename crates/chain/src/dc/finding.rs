//! What the solved network says, by name.

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
