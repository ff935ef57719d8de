//! The DC side of a station's receive tree, handed to the solver of the `chain` room.

mod spread;

pub use spread::{LoadVolts, spread};

use crate::checked::{
    Branch, LnbPolarisation, NodeIndex, PartKind, Polarisation, PortRef, Satellite, Station,
};
use slantpath_chain::ChainError;
use slantpath_chain::dc::{
    DcPath, Draw, Load, Network, NodeId, Port, Supply, SwitchState, Switching,
};
use slantpath_quantity::{Contributor, Current, Distribution, Resistance, Voltage};
use std::collections::BTreeMap;

/// Greatest current of a receiver's LNB supply, A (common practice, no source).
const RECEIVER_LIMIT_A: f64 = 0.4;
/// Least volts at which a line amplifier fed over the cable works, V (common practice, no source).
const LINE_AMPLIFIER_MIN_V: f64 = 5.0;

/// Name of an LNB's port as a load: the part's name, with the port's number when it has several.
pub fn load_name(part: &str, port: u32, ports: u32) -> String {
    if ports > 1 {
        format!("{part}.{port}")
    } else {
        part.to_string()
    }
}

/// The polarisation that a branch is written to be for: that of all passbands that it `receives`, if they agree.
pub fn wanted(branch: &Branch, satellite: &Satellite) -> Option<Polarisation> {
    if !branch.receives_written {
        return None;
    }
    let mut it = branch
        .receives
        .iter()
        .filter_map(|n| satellite.passband(n))
        .map(|p| p.downlink_polarisation);
    let first = it.next()?;
    it.all(|p| p == first).then_some(first)
}

/// The DC network while far ends that switch are set for `receiving` (`None`: each for what it is written to receive).
///
/// Supplies are named as their branch (or as the bias tee), loads as [`load_name`]. Best estimates are used; the
/// switching region is the threshold's limits, or two standard uncertainties either way.
///
/// # Errors
/// As the network's own checks: they do not occur for a checked station.
pub fn network(station: &Station, receiving: Option<Polarisation>) -> Result<Network, ChainError> {
    let tree = &station.receive;
    let mut net = Network::new();
    let feed = net.node("feed");
    // The point behind each output.
    let mut points: BTreeMap<PortRef, NodeId> = BTreeMap::new();
    for (i, n) in tree.nodes.iter().enumerate() {
        let index = NodeIndex(i);
        let before = n
            .input
            .and_then(|p| points.get(&p).copied())
            .unwrap_or(feed);
        for port in 1..=n.part.kind.outputs() {
            let name = load_name(&n.part.name, port, n.part.kind.outputs());
            let behind = net.node(format!("behind {name}"));
            points.insert(PortRef { node: index, port }, behind);
            part(
                &mut net,
                &n.part.kind,
                &n.part.name,
                name,
                port,
                before,
                behind,
            )?;
        }
        if matches!(n.part.kind, PartKind::Receiver(_)) {
            let branch = tree
                .branches
                .iter()
                .find(|b| b.path.last().is_some_and(|p| p.node == index));
            if let Some(b) = branch {
                receiver(&mut net, b, station, receiving, before)?;
            }
        }
    }
    Ok(net)
}

fn part(
    net: &mut Network,
    kind: &PartKind,
    part_name: &str,
    name: String,
    port: u32,
    before: NodeId,
    behind: NodeId,
) -> Result<(), ChainError> {
    let none = Resistance::from_si(0.0);
    let path = |pass: bool| {
        if pass {
            DcPath::Through
        } else {
            DcPath::Blocked
        }
    };
    match kind {
        PartKind::Lnb(l) => {
            net.load(Load {
                name,
                node: behind,
                draw: Draw::Current(Current::a(l.current.distribution.mean())),
                minimum: Voltage::v(l.min_volts.distribution.mean()),
                maximum: Voltage::v(l.max_volts.distribution.mean()),
                switching: match &l.polarisation {
                    LnbPolarisation::Switched { threshold } => {
                        Some(switching(threshold.distribution))
                    }
                    LnbPolarisation::Fixed(_) => None,
                },
            })?;
        }
        PartKind::Cable(c) => {
            let ohm = c.resistance_per_m.distribution.mean() * c.length.distribution.mean();
            net.link(
                name,
                before,
                behind,
                Resistance::from_si(ohm),
                DcPath::Through,
                true,
            )?;
        }
        PartKind::Splitter(s) => {
            let pass = s.dc_ports.contains(&port);
            net.link(name, before, behind, none, path(pass), pass)?;
        }
        PartKind::Connector(c) => {
            net.link(name, before, behind, none, path(c.dc_pass), c.dc_pass)?
        }
        PartKind::Attenuator(a) => {
            net.link(name, before, behind, none, path(a.dc_pass), a.dc_pass)?
        }
        PartKind::Filter(f) => net.link(name, before, behind, none, path(f.dc_pass), f.dc_pass)?,
        PartKind::Amplifier(a) => {
            net.link(
                name.clone(),
                before,
                behind,
                none,
                path(a.dc_pass),
                a.dc_pass,
            )?;
            if let Some(i) = &a.current {
                net.load(Load {
                    name,
                    node: behind,
                    draw: Draw::Current(Current::a(i.distribution.mean())),
                    minimum: Voltage::v(LINE_AMPLIFIER_MIN_V),
                    maximum: Voltage::v(100.0),
                    switching: None,
                })?;
            }
        }
        PartKind::BiasTee(t) => {
            net.link(name, before, behind, none, DcPath::Blocked, false)?;
            if let Some(v) = &t.volts {
                net.port(Port {
                    name: part_name.to_string(),
                    node: before,
                    supply: Some(Supply {
                        volts: Voltage::v(v.distribution.mean()),
                        limit: Current::a(
                            t.max_current
                                .as_ref()
                                .map_or(RECEIVER_LIMIT_A, |c| c.distribution.mean().max(1e-6)),
                        ),
                        internal: Resistance::from_si(t.resistance.distribution.mean()),
                        tone: t.tone,
                    }),
                    wants: None,
                    wants_tone: None,
                })?;
            }
        }
        PartKind::Receiver(_) | PartKind::Transmitter(_) => {}
    }
    Ok(())
}

fn receiver(
    net: &mut Network,
    b: &Branch,
    station: &Station,
    receiving: Option<Polarisation>,
    at: NodeId,
) -> Result<(), ChainError> {
    let mut node = at;
    if !b.dc_pass {
        node = net.node(format!("receiver of {}", b.name));
        net.link(
            format!("DC block of {}", b.name),
            at,
            node,
            Resistance::from_si(0.0),
            DcPath::Blocked,
            false,
        )?;
    }
    let wants = wanted(b, &station.satellite);
    let volts = volts_set(b, station, receiving);
    net.port(Port {
        name: b.name.clone(),
        node,
        supply: volts
            .map(|c| c.distribution.mean())
            .filter(|v| *v > 0.0)
            .map(|v| Supply {
                volts: Voltage::v(v),
                limit: Current::a(RECEIVER_LIMIT_A),
                internal: Resistance::from_si(0.0),
                tone: b.tone,
            }),
        wants: wants.and_then(state_of),
        wants_tone: None,
    })
}

/// The volts that a branch's receiver is set to.
fn volts_set<'s>(
    b: &'s Branch,
    station: &Station,
    receiving: Option<Polarisation>,
) -> Option<&'s Contributor> {
    match receiving.or(wanted(b, &station.satellite)) {
        Some(p) => b.volts_for(p),
        None => b
            .volts
            .as_ref()
            .or(b.switched.as_ref().map(|s| &s.vertical)),
    }
}

/// The state of a switched LNB that gives a polarisation.
pub fn state_of(p: Polarisation) -> Option<SwitchState> {
    match p {
        Polarisation::Vertical => Some(SwitchState::Low),
        Polarisation::Horizontal => Some(SwitchState::High),
        _ => None,
    }
}

fn switching(d: Distribution) -> Switching {
    let (lo, hi) = match d {
        Distribution::Rectangular { lo, hi } => (lo, hi),
        d => (d.mean() - 2.0 * d.u(), d.mean() + 2.0 * d.u()),
    };
    Switching {
        low_below: Voltage::v(lo),
        high_above: Voltage::v(hi),
    }
}
