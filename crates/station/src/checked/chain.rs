//! The receive tree and the transmit line.

use super::{Part, PartKind, Polarisation, Receiver};
use slantpath_quantity::{Contributor, Frequency};

/// Position of a part in [`ReceiveTree::nodes`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct NodeIndex(pub usize);

/// One output of a part.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct PortRef {
    /// The part.
    pub node: NodeIndex,
    /// Its output, from 1.
    pub port: u32,
}

/// A part in the tree.
#[derive(Debug, Clone, PartialEq)]
pub struct Node {
    /// The part.
    pub part: Part,
    /// What feeds it; `None` for the first part, which stands at the feed.
    pub input: Option<PortRef>,
}

/// The receive side: parts as a tree rooted at the feed, and its named ends.
#[derive(Debug, Clone, PartialEq)]
pub struct ReceiveTree {
    /// Parts; a part's input always comes before it.
    pub nodes: Vec<Node>,
    /// Branches that end in a receiver, in the order of the file. Every prediction and measurement names one.
    pub branches: Vec<Branch>,
}

/// A named way from the feed to a receiver.
#[derive(Debug, Clone, PartialEq)]
pub struct Branch {
    /// Its name.
    pub name: String,
    /// The ports passed from the feed on: the last stage is the receiver (its port is 0).
    pub path: Vec<PortRef>,
    /// Volts that the far end puts on the cable, V; `None`: none. Id `rx.branch.<name>.volts`. Where the far end
    /// switches (see `switched`) these are the volts for the first passband of `receives`.
    pub volts: Option<Contributor>,
    /// The two settings of a far end that chooses the polarisation by its volts.
    pub switched: Option<SwitchedVolts>,
    /// Passbands that this branch is for, in the order written; those within reach when none is written.
    pub receives: Vec<String>,
    /// Whether `receives` was written.
    pub receives_written: bool,
    /// Whether the far end sends the 22 kHz tone.
    pub tone: bool,
    /// False when DC from this branch is blocked at its far end whatever the receiver does.
    pub dc_pass: bool,
}

/// Volts of a far end that chooses the polarisation, V. Ids `rx.branch.<name>.volts_vertical` and `..._horizontal`.
#[derive(Debug, Clone, PartialEq)]
pub struct SwitchedVolts {
    /// Setting for vertical.
    pub vertical: Contributor,
    /// Setting for horizontal.
    pub horizontal: Contributor,
}

impl Branch {
    /// Volts of the far end while a passband of this polarisation is wanted. A far end that does not switch always
    /// gives the same.
    pub fn volts_for(&self, polarisation: Polarisation) -> Option<&Contributor> {
        match (&self.switched, polarisation) {
            (Some(s), Polarisation::Vertical) => Some(&s.vertical),
            (Some(s), Polarisation::Horizontal) => Some(&s.horizontal),
            _ => self.volts.as_ref(),
        }
    }
}

/// One step of a branch: a part and the output by which the signal leaves it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stage<'a> {
    /// The part.
    pub part: &'a Part,
    /// Output taken (0 for the receiver).
    pub port: u32,
}

impl ReceiveTree {
    /// The branch of that name.
    pub fn branch(&self, name: &str) -> Option<&Branch> {
        self.branches.iter().find(|b| b.name == name)
    }
    /// The node at an index.
    pub fn node(&self, index: NodeIndex) -> Option<&Node> {
        self.nodes.get(index.0)
    }
    /// The parts of a branch from the feed to the receiver.
    pub fn stages<'a>(&'a self, branch: &'a Branch) -> impl Iterator<Item = Stage<'a>> {
        branch.path.iter().filter_map(|p| {
            self.node(p.node).map(|n| Stage {
                part: &n.part,
                port: p.port,
            })
        })
    }
    /// The receiver at the end of a branch.
    pub fn receiver<'a>(&'a self, branch: &Branch) -> Option<&'a Receiver> {
        let last = self.node(branch.path.last()?.node)?;
        match &last.part.kind {
            PartKind::Receiver(r) => Some(r),
            _ => None,
        }
    }
    /// Nodes fed by a port of `index`.
    pub fn children(&self, index: NodeIndex) -> impl Iterator<Item = (u32, NodeIndex)> + '_ {
        self.nodes
            .iter()
            .enumerate()
            .filter_map(move |(i, n)| match n.input {
                Some(p) if p.node == index => Some((p.port, NodeIndex(i))),
                _ => None,
            })
    }
}

/// The transmit side.
#[derive(Debug, Clone, PartialEq)]
pub struct Transmit {
    /// Parts from the transmitter (first) to the feed.
    pub chain: Vec<Part>,
    /// How each passband is used, in the order of the file.
    pub segments: Vec<Segment>,
}

impl Transmit {
    /// How a passband is used.
    pub fn segment(&self, passband: &str) -> Option<&Segment> {
        self.segments.iter().find(|s| s.passband == passband)
    }
    /// The last amplifier: the power amplifier.
    pub fn power_amplifier(&self) -> Option<(usize, &Part)> {
        self.chain
            .iter()
            .enumerate()
            .rfind(|(_, p)| matches!(p.kind, PartKind::Amplifier(_)))
    }
}

/// How the station transmits in one passband.
#[derive(Debug, Clone, PartialEq)]
pub struct Segment {
    /// The passband's name in the satellite file.
    pub passband: String,
    /// How strong.
    pub level: TransmitLevel,
    /// What is sent, as written (`"ssb"`, `"cw"`, `"8psk 3/5"`), if written.
    pub mode: Option<String>,
    /// Symbol rate of a digital mode, Bd.
    pub symbol_rate: Option<f64>,
    /// Roll-off of a digital mode.
    pub rolloff: Option<f64>,
    /// Uplink frequency, if fixed.
    pub frequency: Option<Frequency>,
    /// Mean over peak-envelope time share of transmission, 0..1; exactly 1 unless written. Id `tx.<passband>.duty`.
    pub duty: Contributor,
}

/// Where the transmit level is stated. Id `tx.<passband>.power` or `tx.<passband>.drive`.
#[derive(Debug, Clone, PartialEq)]
pub enum TransmitLevel {
    /// Mean power at the output of the power amplifier (the last amplifier of the chain), dBW.
    AmplifierOutput(Contributor),
    /// Mean power at the output of the transmitter (the first part), dBW.
    TransmitterOutput(Contributor),
}
