//! The dish's coupling to a feed pattern.

use super::on_axis_db;
use slantpath_antenna::AntennaError;
use slantpath_antenna::budget::{Aim, Blockage, Nodes, Part, Placement, budget_on, cut};
use slantpath_antenna::dish::Stand;
use slantpath_antenna::noise::{SpillShares, spill_shares};
use slantpath_antenna::pattern::Pattern;
use slantpath_antenna::reflector::Reflector;
use slantpath_quantity::{Angle, Frequency, Length, Validity};

/// A reflector as it stands, for shadows.
#[derive(Debug, Clone)]
pub struct Dish {
    nodes: Nodes,
    aim: Aim,
    stand: Stand,
}

impl Dish {
    /// A reflector, where its feed looks, and how it stands in the world.
    pub fn new(reflector: &Reflector, aim: Aim, stand: Stand) -> Self {
        Self {
            nodes: Nodes::smooth(reflector),
            aim,
            stand,
        }
    }
    /// The reflector.
    pub fn reflector(&self) -> &Reflector {
        self.nodes.reflector()
    }
    /// Where the feed looks.
    pub fn aim(&self) -> Aim {
        self.aim
    }
    /// How it stands.
    pub fn stand(&self) -> Stand {
        self.stand
    }
}

/// How much of a feed's power the dish turns into beam, and where the rest goes.
#[derive(Debug, Clone)]
pub(crate) struct Coupling {
    /// Efficiency with the feed in its own best focus.
    pub focused: f64,
    /// Efficiency with the feed where it stands.
    pub placed: f64,
    /// Best axial position of the pattern's origin.
    pub best: Length,
    /// Share of the power that meets the dish, where the feed stands.
    pub captured: f64,
    pub spill: SpillShares,
    /// Cross-polar on the beam's axis, dB relative to co-polar.
    pub cross_db: f64,
    /// Feed's own level on its axis per power, dB.
    pub axis_db: f64,
    /// Radiated power, pattern's unit.
    pub power: f64,
    /// Where the feed stands.
    at: Length,
    pub validity: Validity,
}

impl Coupling {
    /// The bare feed in its best focus.
    pub fn bare(dish: &Dish, pattern: &Pattern, f: Frequency) -> Result<Self, AntennaError> {
        let first = Self::at(dish, pattern, f, Length::m(0.0))?;
        Self::at(dish, pattern, f, first.best)
    }

    /// Another pattern of the same feed where this one stands.
    pub fn again(
        &self,
        dish: &Dish,
        pattern: &Pattern,
        f: Frequency,
    ) -> Result<Self, AntennaError> {
        Self::at(dish, pattern, f, self.at)
    }

    fn at(
        dish: &Dish,
        pattern: &Pattern,
        f: Frequency,
        axial: Length,
    ) -> Result<Self, AntennaError> {
        let placement = Placement {
            aim: dish.aim,
            axial,
            ..Placement::default()
        };
        let b = budget_on(
            &dish.nodes,
            pattern,
            &placement,
            &Blockage::default(),
            Length::m(0.0),
            f,
        )?;
        let focused = [Part::Spill, Part::Taper, Part::Phase, Part::CrossPolar]
            .into_iter()
            .map(|p| b.factor(p))
            .product();
        let spill = spill_shares(
            dish.reflector(),
            pattern,
            &placement,
            dish.stand.elevation,
            dish.stand.arm,
        )?;
        let refocused = Placement {
            axial: b.best_axial,
            ..placement
        };
        let boresight = cut(
            dish.reflector(),
            pattern,
            &refocused,
            f,
            Angle::rad(0.0),
            Angle::deg(1e-4),
            3,
        )?;
        let cross_db = boresight
            .get(1)
            .map_or(f64::NEG_INFINITY, |c| c.cross.0 - c.co.0);
        let accounted = b.captured + spill.total();
        Ok(Self {
            focused,
            placed: b.efficiency,
            best: b.best_axial,
            captured: b.captured,
            spill,
            cross_db,
            axis_db: on_axis_db(pattern),
            power: pattern.power(),
            at: axial,
            validity: b.validity.and(Validity::check(
                "reflector budget of the receive feed",
                "power accounted for",
                accounted,
                0.998..=1.002,
                "of what is radiated",
            )),
        })
    }
}
