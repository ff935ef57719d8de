//! What the model predicts, by identity.

use slantpath_quantity::Unit;

/// Which table a line belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Group {
    /// Something that can be measured.
    Measurand,
    /// A line of a downlink budget.
    Downlink,
    /// A line of the noise ledger, K at the LNB's input.
    Ledger,
    /// A line of an uplink budget.
    Uplink,
    /// A level along a receive branch.
    Level,
}

/// One output of the model.
#[derive(Debug, Clone, PartialEq)]
pub struct Measurand {
    /// Identity, for example `narrow.beacon-psk.cn0@main`.
    pub id: String,
    /// What a person calls it.
    pub label: String,
    /// Unit.
    pub unit: Unit,
    /// Which table.
    pub group: Group,
    /// Passband it belongs to.
    pub passband: Option<String>,
    /// Branch on which it is measured.
    pub branch: Option<String>,
    /// Where the figure comes from, for a budget.
    pub source: String,
}

/// Takes the outputs of one evaluation in order; only a listing asks for their descriptions.
pub(crate) trait Sink {
    fn put(&mut self, describe: &dyn Fn() -> Measurand, value: f64);
    /// Whether outputs of this table are taken at all: what nobody takes need not be computed.
    fn wants(&self, _: Group) -> bool {
        true
    }
}

/// Writes values only.
pub(crate) struct Values<'a> {
    pub out: &'a mut [f64],
    pub next: usize,
    /// The only table taken; `None` takes all.
    pub only: Option<Group>,
}

impl Sink for Values<'_> {
    #[inline]
    fn wants(&self, group: Group) -> bool {
        self.only.is_none_or(|g| g == group)
    }
    #[inline]
    fn put(&mut self, _: &dyn Fn() -> Measurand, value: f64) {
        if let Some(slot) = self.out.get_mut(self.next) {
            *slot = value;
        }
        self.next += 1;
    }
}

/// Collects descriptions.
#[derive(Default)]
pub(crate) struct Listing(pub Vec<Measurand>);

impl Sink for Listing {
    fn put(&mut self, describe: &dyn Fn() -> Measurand, _: f64) {
        self.0.push(describe());
    }
}
