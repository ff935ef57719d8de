//! The uplink coil and the receive feed, by their dimensions.

use super::PatternRow;
use slantpath_antenna::pattern::{Beyond, Pattern, TablePoint};
use slantpath_antenna::polarisation::{Polarisation, Sense};
use slantpath_quantity::{Contributor, Decibel, Length};
use slantpath_wire::feed::{Aperture, Coil, Horn};

/// The uplink coil. Ids `feed.<name>.coil.<field>`.
#[derive(Debug, Clone, PartialEq)]
pub struct CoilFeed {
    /// Number of turns, plain.
    pub turns: Contributor,
    /// Diameter to the middle of the wire, m.
    pub diameter: Contributor,
    /// Diameter at the open end over that at the disc.
    pub taper: f64,
    /// Rise per turn, m.
    pub pitch: Contributor,
    /// Diameter of the wire, m.
    pub wire: Contributor,
    /// Height of the first turn over the disc, m.
    pub stub: Contributor,
    /// Diameter of the disc.
    pub disc: Length,
    /// The receive feed inside it.
    pub horn: Option<HornFeed>,
}

/// Field in the aperture of the receive feed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HornKind {
    /// Open round waveguide.
    Te11,
    /// Scalar (corrugated) horn.
    He11,
    /// Whatever makes the measured pattern.
    Measured,
}

/// The receive feed, inside the coil or the patch's hole if there is one.
#[derive(Debug, Clone, PartialEq)]
pub struct HornFeed {
    /// Field in its aperture.
    pub kind: HornKind,
    /// Radius of the aperture, inside.
    pub radius: Length,
    /// Radius of its metal, outside.
    pub outer_radius: Length,
    /// Aperture before the disc, m, positive towards the dish. Id `feed.<name>.horn.front`.
    pub front: Contributor,
    /// Its measured pattern; empty unless [`HornKind::Measured`].
    pub measured: Vec<PatternRow>,
}

impl HornFeed {
    /// The receive feed for the values that `get` gives; `None` when the measured pattern is none.
    pub fn horn(&self, get: &dyn Fn(&Contributor) -> f64) -> Option<Horn> {
        let aperture = match self.kind {
            HornKind::Te11 => Aperture::Te11,
            HornKind::He11 => Aperture::He11,
            HornKind::Measured => {
                let points: Vec<TablePoint> = self
                    .measured
                    .iter()
                    .map(|r| {
                        let mut p = TablePoint::level(r.angle, Decibel(r.level_db));
                        if let Some(phase) = r.phase {
                            p.phase = phase;
                        }
                        p
                    })
                    .collect();
                let p = Pattern::rotational(&points, Beyond::LastLevel, Polarisation::HORIZONTAL)
                    .ok()?;
                Aperture::Measured(Box::new(p))
            }
        };
        Some(Horn {
            aperture,
            radius: self.radius,
            outer_radius: self.outer_radius,
            front: Length::m(get(&self.front)),
        })
    }
}

impl CoilFeed {
    /// Its figures, in the order of the fields.
    pub fn contributors(&self) -> Vec<&Contributor> {
        let mut all = vec![
            &self.turns,
            &self.diameter,
            &self.pitch,
            &self.wire,
            &self.stub,
        ];
        all.extend(self.horn.as_ref().map(|h| &h.front));
        all
    }

    /// The coil for the values that `get` gives, wound for a sense.
    pub fn coil(&self, sense: Sense, get: &dyn Fn(&Contributor) -> f64) -> Coil {
        let m = |c: &Contributor| Length::m(get(c));
        let mut coil = Coil::new(
            get(&self.turns),
            m(&self.diameter),
            m(&self.pitch),
            m(&self.wire),
            m(&self.stub),
            sense,
        );
        coil.end_diameter = coil.diameter * self.taper;
        coil
    }

    /// The receive feed for the values that `get` gives.
    pub fn receive_feed(&self, get: &dyn Fn(&Contributor) -> f64) -> Option<Horn> {
        self.horn.as_ref()?.horn(get)
    }
}
