//! What radiates the uplink, by its dimensions.

use super::CoilFeed;
use slantpath_antenna::polarisation::Sense;
use slantpath_quantity::{Contributor, Length};
use slantpath_wire::feed::patch::grid::Posts;
use slantpath_wire::feed::patch::{InnerEdge, PatchRing};
use slantpath_wire::feed::uplink::PatchFeed;

/// An uplink feed by its dimensions.
#[derive(Debug, Clone, PartialEq)]
pub enum Radiator {
    /// A coil over a disc.
    Coil(CoilFeed),
    /// A patch ring over a disc.
    Patch(PatchRingFeed),
}

impl Radiator {
    /// Its figures, in the order of the fields.
    pub fn contributors(&self) -> Vec<&Contributor> {
        match self {
            Self::Coil(c) => c.contributors(),
            Self::Patch(p) => p.contributors(),
        }
    }

    /// What it is called: the last step of its heading in the file too.
    pub fn name(&self) -> &'static str {
        match self {
            Self::Coil(_) => "coil",
            Self::Patch(_) => "patch",
        }
    }

    /// Diameter of its disc.
    pub fn disc(&self) -> Length {
        match self {
            Self::Coil(c) => c.disc,
            Self::Patch(p) => p.disc,
        }
    }
}

/// An uplink patch ring on air. Ids `feed.<name>.patch.<field>`.
#[derive(Debug, Clone, PartialEq)]
pub struct PatchRingFeed {
    /// Outer diameter, m.
    pub outer: Contributor,
    /// Diameter of the hole, m; 0 for a full disc.
    pub hole: Contributor,
    /// Height of the patch over the ground disc, metal to metal, m.
    pub height: Contributor,
    /// Distance of the posts from the axis, m.
    pub post_radius: Contributor,
    /// Diameter of the posts, m.
    pub post: Contributor,
    /// Four posts, else two.
    pub four_posts: bool,
    /// The receive feed's tube is soldered to patch and ground.
    pub joined: bool,
    /// Diameter of the ground disc.
    pub disc: Length,
}

impl PatchRingFeed {
    /// Its figures, in the order of the fields.
    pub fn contributors(&self) -> Vec<&Contributor> {
        vec![
            &self.outer,
            &self.hole,
            &self.height,
            &self.post_radius,
            &self.post,
        ]
    }

    /// The patch for the values that `get` gives, driven for a sense.
    pub fn patch(&self, sense: Sense, get: &dyn Fn(&Contributor) -> f64) -> PatchFeed {
        let m = |c: &Contributor| Length::m(get(c));
        let edge = if self.joined {
            InnerEdge::Joined
        } else {
            InnerEdge::Open
        };
        PatchFeed {
            ring: PatchRing::air(m(&self.outer), m(&self.hole), m(&self.height), self.disc)
                .with_inner_edge(edge),
            posts: if self.four_posts {
                Posts::Four(sense)
            } else {
                Posts::Two(sense)
            },
            feed_radius: m(&self.post_radius),
            post: m(&self.post),
        }
    }
}
