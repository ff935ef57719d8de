//! The model's inputs by identity: one place for each, however many formulas use it.

use slantpath_quantity::{Contributor, ContributorId, Distribution};
use std::collections::BTreeMap;

/// Place of an input in the vector that [`crate::Model::evaluate`] takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Slot(usize);

impl Slot {
    /// The input's value in a vector of inputs.
    #[inline]
    pub fn of(self, x: &[f64]) -> f64 {
        x[self.0]
    }
    /// Position in the vector.
    pub fn index(self) -> usize {
        self.0
    }
}

/// Every input of a model.
#[derive(Debug, Clone, Default)]
pub struct Inputs {
    contributors: Vec<Contributor>,
    by_id: BTreeMap<ContributorId, Slot>,
    /// What is taken in place of an input of that identity.
    instead: BTreeMap<ContributorId, Contributor>,
}

impl Inputs {
    /// None yet; whoever asks for a slot of the first of a pair gets that of the second.
    pub(crate) fn with_instead(
        pairs: impl IntoIterator<Item = (ContributorId, Contributor)>,
    ) -> Self {
        Self {
            instead: pairs.into_iter().collect(),
            ..Self::default()
        }
    }
    /// The slot of a contributor; the same identity gets the same slot.
    pub fn slot(&mut self, c: &Contributor) -> Slot {
        let other = self.instead.get(&c.id).cloned();
        let c = other.as_ref().unwrap_or(c);
        if let Some(&s) = self.by_id.get(&c.id) {
            return s;
        }
        let s = Slot(self.contributors.len());
        self.contributors.push(c.clone());
        self.by_id.insert(c.id.clone(), s);
        s
    }
    /// A slot for an input that the model itself brings along (air, model error).
    pub fn own(
        &mut self,
        id: impl Into<String>,
        label: impl Into<String>,
        distribution: Distribution,
        unit: &'static str,
        source: impl Into<String>,
    ) -> Slot {
        self.slot(&Contributor {
            id: ContributorId::new(id),
            label: label.into(),
            distribution,
            unit,
            source: source.into(),
        })
    }
    /// All inputs in order.
    pub fn contributors(&self) -> &[Contributor] {
        &self.contributors
    }
    /// Best estimates in order.
    pub fn best(&self) -> Vec<f64> {
        self.contributors
            .iter()
            .map(|c| c.distribution.mean())
            .collect()
    }
    /// The slot of an identity, if the model uses it.
    pub fn find(&self, id: &str) -> Option<Slot> {
        self.by_id.get(&ContributorId::new(id)).copied()
    }
    /// Number of inputs.
    pub fn len(&self) -> usize {
        self.contributors.len()
    }
    /// True when there are none.
    pub fn is_empty(&self) -> bool {
        self.contributors.is_empty()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn one_identity_one_slot() {
        let mut i = Inputs::default();
        let a = i.own("a", "a", Distribution::Exact(1.0), "dB", "test");
        let b = i.own("b", "b", Distribution::Exact(2.0), "dB", "test");
        let again = i.own("a", "a", Distribution::Exact(9.0), "dB", "test");
        assert_eq!(a, again);
        assert_ne!(a, b);
        assert_eq!(i.best(), vec![1.0, 2.0]);
        assert_eq!(b.of(&i.best()), 2.0);
    }
}
