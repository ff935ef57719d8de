//! The network as described: nodes, links, ports and loads.

use crate::dc::SwitchState;
use crate::error::{ChainError, Result, not_negative, positive};
use slantpath_quantity::{Current, Power, Resistance, Voltage};

/// Resistance below which a link is not taken, ohm: stands for the contacts of a plug.
pub(crate) const CONTACT_OHM: f64 = 1e-3;

/// A point of the network.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct NodeId(pub(crate) usize);

/// What a link does to direct current.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum DcPath {
    /// Passes it both ways.
    Through,
    /// Passes it from the link's first node to its second, with a drop.
    Diode {
        /// Forward drop.
        drop: Voltage,
    },
    /// Does not pass it: a DC block, a splitter port without DC pass, a filter.
    Blocked,
}

#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Link {
    pub name: String,
    pub from: usize,
    pub to: usize,
    pub ohm: f64,
    pub path: DcPath,
    pub tone: bool,
}

/// Volts that a receiver or a bias tee puts on its cable. It delivers current and takes none: pushed above its own
/// setting it gives nothing (and bleeds a microampere per volt).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Supply {
    /// Volts without load.
    pub volts: Voltage,
    /// Largest current; beyond it the volts give way.
    pub limit: Current,
    /// Internal resistance.
    pub internal: Resistance,
    /// Whether the 22 kHz tone is on.
    pub tone: bool,
}

/// A named end of the network on the receivers' side. One without a supply still wants a signal from the LNB.
#[derive(Debug, Clone, PartialEq)]
pub struct Port {
    /// Name of the branch.
    pub name: String,
    /// Where it is.
    pub node: NodeId,
    /// Its volts, if any.
    pub supply: Option<Supply>,
    /// The LNB state that this branch needs; `None` when it does not care.
    pub wants: Option<SwitchState>,
    /// Whether this branch needs the upper band (tone); `None` when it does not care.
    pub wants_tone: Option<bool>,
}

/// How a load takes current.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Draw {
    /// The same current at any volts above the minimum (a linear regulator inside).
    Current(Current),
    /// The same power at any volts above the minimum (a switching regulator inside).
    Power(Power),
}

/// How a load reads its switching volts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Switching {
    /// Below this the low state is certain.
    pub low_below: Voltage,
    /// Above this the high state is certain.
    pub high_above: Voltage,
}

impl Default for Switching {
    /// 14.5 V and 15 V (common practice, no source).
    fn default() -> Self {
        Self {
            low_below: Voltage::v(14.5),
            high_above: Voltage::v(15.0),
        }
    }
}

/// An LNB, or anything else fed over the cable.
#[derive(Debug, Clone, PartialEq)]
pub struct Load {
    /// What a person calls it.
    pub name: String,
    /// Where it is.
    pub node: NodeId,
    /// How it takes current.
    pub draw: Draw,
    /// Volts below which it does not work; under them it is taken as a resistance.
    pub minimum: Voltage,
    /// Volts above which it may be damaged.
    pub maximum: Voltage,
    /// Polarisation switching; `None` when it has none.
    pub switching: Option<Switching>,
}

/// The DC network of a receive tree.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Network {
    pub(crate) nodes: Vec<String>,
    pub(crate) links: Vec<Link>,
    pub(crate) ports: Vec<Port>,
    pub(crate) loads: Vec<Load>,
}

impl Network {
    /// An empty network.
    pub fn new() -> Self {
        Self::default()
    }
    /// Adds a point.
    pub fn node(&mut self, name: impl Into<String>) -> NodeId {
        self.nodes.push(name.into());
        NodeId(self.nodes.len() - 1)
    }
    /// Adds a link (cable, splitter port, DC block) between two points. `tone` says whether 22 kHz passes.
    ///
    /// # Errors
    /// A point that is not in this network, a link from a point to itself, a negative resistance or drop.
    pub fn link(
        &mut self,
        name: impl Into<String>,
        from: NodeId,
        to: NodeId,
        resistance: Resistance,
        path: DcPath,
        tone: bool,
    ) -> Result<()> {
        let name = name.into();
        self.known(&name, from)?;
        self.known(&name, to)?;
        if from == to {
            return Err(ChainError::Undetermined {
                part: name,
                why: "it leads from a point to the same point".into(),
            });
        }
        let ohm = not_negative(&name, "r_ohm", resistance.si())?.max(CONTACT_OHM);
        if let DcPath::Diode { drop } = path {
            not_negative(&name, "drop_v", drop.as_v())?;
        }
        self.links.push(Link {
            name,
            from: from.0,
            to: to.0,
            ohm,
            path,
            tone,
        });
        Ok(())
    }
    /// Adds a branch end.
    ///
    /// # Errors
    /// A point that is not in this network, negative volts or resistance, a current limit not above zero.
    pub fn port(&mut self, port: Port) -> Result<()> {
        self.known(&port.name, port.node)?;
        if let Some(s) = port.supply {
            not_negative(&port.name, "volts_v", s.volts.as_v())?;
            positive(&port.name, "limit_a", s.limit.as_a())?;
            not_negative(&port.name, "internal_ohm", s.internal.si())?;
        }
        self.ports.push(port);
        Ok(())
    }
    /// Adds a load.
    ///
    /// # Errors
    /// A point that is not in this network, a negative draw, volts that are not in the order
    /// 0 < minimum < maximum, switching volts out of order.
    pub fn load(&mut self, load: Load) -> Result<()> {
        self.known(&load.name, load.node)?;
        match load.draw {
            Draw::Current(i) => not_negative(&load.name, "i_a", i.as_a())?,
            Draw::Power(p) => not_negative(&load.name, "p_w", p.as_w())?,
        };
        let lo = positive(&load.name, "minimum_v", load.minimum.as_v())?;
        positive(
            &load.name,
            "maximum_v - minimum_v",
            load.maximum.as_v() - lo,
        )?;
        if let Some(s) = load.switching {
            not_negative(
                &load.name,
                "high_above_v - low_below_v",
                (s.high_above - s.low_below).as_v(),
            )?;
        }
        self.loads.push(load);
        Ok(())
    }
    fn known(&self, part: &str, n: NodeId) -> Result<()> {
        if n.0 < self.nodes.len() {
            Ok(())
        } else {
            Err(ChainError::Missing {
                part: part.to_string(),
                what: "such point in this network".into(),
            })
        }
    }
}
