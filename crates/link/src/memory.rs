//! What is slow to work out and depends on the site, the dish or the feed alone, kept from one model to the next: a "what
//! if" about a part then solves no reflector and no atmosphere again. A remembered answer is used for exactly the same
//! question only, so that a model with memory is the model without it, bit for bit.

use crate::conditions::Conditions;
use crate::dish::{Response, Side};
use crate::geometry::geometry;
use crate::receive::SkyTable;
use slantpath_antenna::dish::DishAntenna;
use slantpath_quantity::{Angle, Frequency, Length};
use slantpath_station::checked::{Feed, Reflector, Satellite, Site, Station};

/// Answers kept of either kind.
const KEPT: usize = 24;

/// Kept answers; give the same one to [`crate::Model::with_memory`] again and again.
#[derive(Debug, Default, Clone)]
pub struct Memory {
    dishes: Vec<Dish>,
    skies: Vec<Sky>,
}

#[derive(Debug, Clone)]
struct Dish {
    reflector: Reflector,
    feed: Feed,
    /// An uplink feed on the receive feed's disc stands where the satellite's first downlink has its focus.
    satellite: Satellite,
    side: Side,
    f: Frequency,
    elevation: Angle,
    antenna: DishAntenna,
    responses: Option<Vec<Response>>,
}

#[derive(Debug, Clone)]
struct Sky {
    site: Site,
    f: Frequency,
    diameter: Length,
    skew: Option<Angle>,
    table: SkyTable,
}

impl Dish {
    fn answers(&self, station: &Station, side: Side, f: Frequency, elevation: Angle) -> bool {
        self.side == side
            && self.f == f
            && self.elevation == elevation
            && self.reflector == station.reflector
            && self.feed == station.feed
            && self.satellite == station.satellite
    }
}

impl Memory {
    fn dish(
        &mut self,
        station: &Station,
        side: Side,
        f: Frequency,
        elevation: Angle,
    ) -> Option<&mut Dish> {
        let at = self
            .dishes
            .iter()
            .position(|d| d.answers(station, side, f, elevation))?;
        // Asked for last, forgotten last.
        let known = self.dishes.remove(at);
        self.dishes.push(known);
        self.dishes.last_mut()
    }

    /// Whether everything slow about this station is known: its model then takes milliseconds.
    pub fn holds(&self, station: &Station, conditions: &Conditions) -> bool {
        let Ok(g) = geometry(station, conditions) else {
            return false;
        };
        let elevation = Angle::deg(g.apparent.elevation_deg);
        let diameter = station.reflector.shape.aperture_diameter();
        let diameter = Length::m(diameter.distribution.mean());
        let dish = |side: Side, f: Frequency| {
            self.dishes
                .iter()
                .any(|d| d.answers(station, side, f, elevation))
        };
        station.satellite.passbands.iter().all(|p| {
            let (down, up) = (p.downlink.centre(), p.uplink.centre());
            let sends = station.feed.transmit.is_some()
                && station
                    .transmit
                    .as_ref()
                    .is_some_and(|t| t.segment(&p.name).is_some());
            let up = station
                .transmit
                .as_ref()
                .and_then(|t| t.segment(&p.name)?.frequency)
                .unwrap_or(up);
            dish(Side::Receive, down)
                && (!sends || dish(Side::Transmit, up))
                && self
                    .skies
                    .iter()
                    .any(|s| s.f == down && s.diameter == diameter && s.site == station.site)
        })
    }

    /// Takes over what another memory has learned, for one that was copied from this one and went to work elsewhere.
    pub fn absorb(&mut self, other: Self) {
        for d in other.dishes {
            let known = self.dishes.iter().any(|k| {
                k.side == d.side
                    && k.f == d.f
                    && k.elevation == d.elevation
                    && k.reflector == d.reflector
                    && k.feed == d.feed
                    && k.satellite == d.satellite
                    && k.responses.is_some() == d.responses.is_some()
            });
            if !known {
                self.dishes.push(d);
            }
        }
        for s in other.skies {
            let known = self.skies.iter().any(|k| {
                k.f == s.f && k.diameter == s.diameter && k.skew == s.skew && k.site == s.site
            });
            if !known {
                self.skies.push(s);
            }
        }
        let over = self.dishes.len().saturating_sub(KEPT);
        self.dishes.drain(..over);
        let over = self.skies.len().saturating_sub(KEPT);
        self.skies.drain(..over);
    }

    /// The antenna of exactly this question.
    pub(crate) fn antenna(
        &mut self,
        station: &Station,
        side: Side,
        f: Frequency,
        elevation: Angle,
    ) -> Option<DishAntenna> {
        self.dish(station, side, f, elevation)
            .map(|d| d.antenna.clone())
    }

    pub(crate) fn keep_antenna(
        &mut self,
        station: &Station,
        side: Side,
        f: Frequency,
        elevation: Angle,
        antenna: &DishAntenna,
    ) {
        if self.dishes.len() >= KEPT {
            self.dishes.remove(0);
        }
        self.dishes.push(Dish {
            reflector: station.reflector.clone(),
            feed: station.feed.clone(),
            satellite: station.satellite.clone(),
            side,
            f,
            elevation,
            antenna: antenna.clone(),
            responses: None,
        });
    }

    /// How it changes with its dimensions; the slots are those of another model.
    pub(crate) fn responses(
        &mut self,
        station: &Station,
        side: Side,
        f: Frequency,
        elevation: Angle,
    ) -> Option<Vec<Response>> {
        self.dish(station, side, f, elevation)?.responses.clone()
    }

    pub(crate) fn keep_responses(
        &mut self,
        station: &Station,
        side: Side,
        f: Frequency,
        elevation: Angle,
        responses: &[Response],
    ) {
        if let Some(d) = self.dish(station, side, f, elevation) {
            d.responses = Some(responses.to_vec());
        }
    }

    pub(crate) fn sky(
        &self,
        site: &Site,
        f: Frequency,
        diameter: Length,
        skew: Option<Angle>,
    ) -> Option<SkyTable> {
        self.skies
            .iter()
            .find(|s| s.f == f && s.diameter == diameter && s.skew == skew && s.site == *site)
            .map(|s| s.table.clone())
    }

    pub(crate) fn keep_sky(
        &mut self,
        site: &Site,
        f: Frequency,
        diameter: Length,
        skew: Option<Angle>,
        table: &SkyTable,
    ) {
        if self.skies.len() >= KEPT {
            self.skies.remove(0);
        }
        self.skies.push(Sky {
            site: site.clone(),
            f,
            diameter,
            skew,
            table: table.clone(),
        });
    }
}
