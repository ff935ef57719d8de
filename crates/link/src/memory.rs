//! What is slow to work out and depends on the site, the dish or the feed alone, kept from one model to the next: a "what
//! if" about a part then solves no reflector and no atmosphere again. A remembered answer is used for exactly the same
//! question only, so that a model with memory is the model without it, bit for bit.

use crate::dish::{Response, Side};
use crate::receive::SkyTable;
use slantpath_antenna::dish::DishAntenna;
use slantpath_quantity::{Angle, Frequency, Length};
use slantpath_station::checked::{Feed, Reflector, Satellite, Site, Station};

/// Answers kept of either kind.
const KEPT: usize = 24;

/// Kept answers; give the same one to [`crate::Model::with_memory`] again and again.
#[derive(Debug, Default)]
pub struct Memory {
    dishes: Vec<Dish>,
    skies: Vec<Sky>,
}

#[derive(Debug)]
struct Dish {
    reflector: Reflector,
    feed: Feed,
    /// A coil on the receive feed's disc stands where the satellite's first downlink has its focus.
    satellite: Satellite,
    side: Side,
    f: Frequency,
    elevation: Angle,
    antenna: DishAntenna,
    responses: Option<Vec<Response>>,
}

#[derive(Debug)]
struct Sky {
    site: Site,
    f: Frequency,
    diameter: Length,
    skew: Option<Angle>,
    table: SkyTable,
}

impl Memory {
    fn dish(
        &mut self,
        station: &Station,
        side: Side,
        f: Frequency,
        elevation: Angle,
    ) -> Option<&mut Dish> {
        self.dishes.iter_mut().find(|d| {
            d.side == side
                && d.f == f
                && d.elevation == elevation
                && d.reflector == station.reflector
                && d.feed == station.feed
                && d.satellite == station.satellite
        })
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
