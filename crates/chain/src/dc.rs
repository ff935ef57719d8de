//! DC on the receive cable: volts and current at the LNB, who selects polarisation and band.
//!
//! A station's receive tree is also a DC network: receivers feed volts upward through cable resistance and those
//! splitter ports that pass DC, and the LNB at the top takes current and reads its switching from what arrives.
//! About 12-14 V selects the low-volts state (vertical on a linear LNB), about 17-19 V the high one (horizontal);
//! the change happens somewhere between 14.5 and 15 V, and a 22 kHz tone selects the upper band (common practice,
//! no source).
//!
//! [`Network`] describes it, [`Network::solve`] gives volts and currents and states what is wrong by name.

mod finding;
mod judge;
mod network;
mod solve;

pub use finding::{Finding, LoadState, Report, SwitchState};
pub use network::{DcPath, Draw, Load, Network, NodeId, Port, Supply, Switching};
