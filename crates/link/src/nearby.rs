//! A station as seen from a solved neighbour: while reflector, feed or air of a "what if" are being solved, its model is
//! wired with the neighbour's solutions, and every changed dimension moves along the neighbour's parabolas.

use crate::LinkError;
use crate::conditions::Conditions;
use crate::inputs::Inputs;
use crate::memory::Memory;
use crate::model::Model;
use slantpath_quantity::{Contributor, ContributorId};
use slantpath_station::checked::Station;

/// A model that stands in for one that is not solved yet.
#[derive(Debug, Clone)]
pub struct Nearby {
    /// The model: exact in everything but dish, feed and air.
    pub model: Model,
    /// Labels of the changed inputs of dish, feed and site that it follows.
    pub followed: Vec<String>,
}

/// Without the mark of the variant that wrote it.
fn plain(id: &ContributorId) -> &str {
    id.as_str().split('@').next().unwrap_or_default()
}

impl Nearby {
    /// `wanted` as seen from `solved`, whose dish, feed and air `memory` holds (else they are solved here).
    ///
    /// Inputs of the neighbour's dish, feed and site that have another value in `wanted` are drawn around that value; a
    /// dimension that is exactly known in the neighbour has no parabola and stays where it is, as does everything that is
    /// no figure (the kind of dish, another feed). What else differs between the two stations is in the model as it is.
    ///
    /// # Errors
    /// As [`Model::new`].
    pub fn new(
        solved: &Station,
        wanted: &Station,
        conditions: &Conditions,
        memory: &mut Memory,
    ) -> Result<Self, LinkError> {
        let mut between = wanted.clone();
        between.site = solved.site.clone();
        between.reflector = solved.reflector.clone();
        between.feed = solved.feed.clone();
        between.satellite = solved.satellite.clone();
        let new = wanted.contributors();
        let moved: Vec<(ContributorId, Contributor)> = solved
            .contributors()
            .into_iter()
            .filter_map(|old| {
                let c = new.iter().find(|c| plain(&c.id) == plain(&old.id))?;
                (c.id != old.id || c.distribution != old.distribution)
                    .then(|| (old.id.clone(), (*c).clone()))
            })
            .collect();
        let ours = |id: &ContributorId| {
            let id = id.as_str();
            ["site.", "reflector.", "feed."]
                .iter()
                .any(|k| id.starts_with(k))
        };
        let candidates: Vec<(ContributorId, String)> = moved
            .iter()
            .filter(|(_, c)| ours(&c.id))
            .map(|(_, c)| (c.id.clone(), c.label.clone()))
            .collect();
        let model = Model::wired(Inputs::with_instead(moved), &between, conditions, memory)?;
        let followed = candidates
            .into_iter()
            .filter(|(id, _)| model.inputs().find(id.as_str()).is_some())
            .map(|(_, label)| label)
            .collect();
        Ok(Self { model, followed })
    }
}
