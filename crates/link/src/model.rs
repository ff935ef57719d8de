//! The station as a function of its uncertain inputs.

use crate::LinkError;
use crate::air::{PathModel, SharedAir, site_climate};
use crate::conditions::Conditions;
use crate::dish::{DishModel, Side, Solved};
use crate::geometry::{Geometry, geometry};
use crate::inputs::{Inputs, Slot};
use crate::measurand::{Group, Listing, Measurand, Values};
use crate::memory::Memory;
use crate::receive::{BranchModel, DownModel, SkyTable};
use crate::stages::StageKind;
use crate::transmit::UpModel;
use slantpath_chain::level::TransmitStage;
use slantpath_propagation::{PathInput, SiteClimate, SlantPath};
use slantpath_quantity::{Angle, Distribution, Frequency, Length, Validity};
use slantpath_station::checked::{
    Beacon, BeaconKind, Passband, PassbandUse, Polarisation, Station,
};

/// A beacon as the model needs it.
#[derive(Debug, Clone)]
pub(crate) struct BeaconModel {
    pub name: String,
    pub kind: BeaconKind,
    pub eirp: Slot,
    /// What its MODCOD needs, dB, and whether that is approximate (the table holds for normal frames).
    pub need: Option<(f64, bool)>,
}

/// The Sun's flux, when its Y factor is asked for.
#[derive(Debug, Clone, Copy)]
pub(crate) struct SunModel {
    pub flux_sfu: Slot,
}

/// A station with one satellite at one moment: every formula wired to its inputs, nothing drawn yet.
#[derive(Debug, Clone)]
pub struct Model {
    pub(crate) inputs: Inputs,
    pub(crate) geometry: Geometry,
    pub(crate) downs: Vec<DownModel>,
    pub(crate) branches: Vec<BranchModel>,
    pub(crate) ups: Vec<UpModel>,
    pub(crate) beacons: Vec<Vec<BeaconModel>>,
    pub(crate) passbands: Vec<Passband>,
    pub(crate) sun: Option<SunModel>,
    pub(crate) validity: Validity,
    /// What the parts do, each behaviour once.
    pub(crate) kinds: Vec<StageKind>,
    pub(crate) air_temperature: Slot,
    pub(crate) bandwidth_hz: Option<f64>,
    callsign: Option<String>,
    listing: Vec<Measurand>,
}

impl Model {
    /// Builds the model: look angles, slant paths and reflector integrals are solved here, once.
    ///
    /// # Errors
    /// The satellite below the horizon, conditions that make no sense, a shape no feed can light.
    pub fn new(station: &Station, conditions: &Conditions) -> Result<Self, LinkError> {
        Self::with_memory(station, conditions, &mut Memory::default())
    }

    /// The same, taking from `memory` what it holds of this site, dish and feed, and leaving there what it has solved.
    ///
    /// # Errors
    /// As [`Model::new`].
    pub fn with_memory(
        station: &Station,
        conditions: &Conditions,
        memory: &mut Memory,
    ) -> Result<Self, LinkError> {
        Self::wired(Inputs::default(), station, conditions, memory)
    }

    pub(crate) fn wired(
        mut inputs: Inputs,
        station: &Station,
        conditions: &Conditions,
        memory: &mut Memory,
    ) -> Result<Self, LinkError> {
        conditions.check()?;
        let geometry = geometry(station, conditions)?;
        let climate = site_climate(&station.site)?;
        let shared = SharedAir::new(&mut inputs, &station.site, &climate, conditions);
        let elevation = Angle::deg(geometry.apparent.elevation_deg);
        let diameter = Length::m(
            station
                .reflector
                .shape
                .aperture_diameter()
                .distribution
                .mean(),
        );
        let mut validity = geometry.validity.clone();
        let (mut downs, mut branches, mut ups, mut beacons) = (
            Vec::new(),
            Vec::<BranchModel>::new(),
            Vec::new(),
            Vec::new(),
        );
        let mut scene = Scene {
            solved: Solved::default(),
            memory,
            station,
            conditions,
            geometry: &geometry,
            climate: &climate,
            shared,
            diameter,
        };
        for p in &station.satellite.passbands {
            let f = p.downlink.centre();
            let (dish, path) =
                scene.towards(&mut inputs, Side::Receive, f, p.downlink_polarisation)?;
            validity = validity
                .and(dish.validity.clone())
                .and(path.validity.clone());
            let index = downs.len();
            for b in &station.receive.branches {
                if let Some(m) = BranchModel::new(&mut inputs, station, b, p, index)? {
                    validity = validity.and(m.validity.clone());
                    branches.push(m);
                }
            }
            downs.push(DownModel {
                passband: p.name.clone(),
                f,
                dish,
                path,
                sky: scene.sky(f)?,
                elevation,
                footprint: inputs.slot(&station.site.footprint_down),
                noise_density: inputs.slot(&p.noise_density),
                ground: inputs.slot(&station.site.ground_temperature),
                air_temperature: shared.temperature,
            });
            beacons.push(p.beacons.iter().map(|b| beacon(&mut inputs, b)).collect());
            if let Some(t) = &station.transmit
                && let Some(segment) = t.segment(&p.name)
                && station.feed.transmit.is_some()
            {
                let f = segment.frequency.unwrap_or_else(|| p.uplink.centre());
                let (dish, path) =
                    scene.towards(&mut inputs, Side::Transmit, f, p.uplink_polarisation)?;
                let up = UpModel::new(&mut inputs, station, t, segment, p, index, dish, path)?;
                validity = validity.and(up.validity.clone());
                ups.push(up);
            }
        }
        let sun = conditions.sun_flux_sfu.map(|(s, u)| SunModel {
            flux_sfu: inputs.own(
                "sun.flux",
                "flux of the Sun",
                if u > 0.0 {
                    Distribution::Normal { mean: s, u }
                } else {
                    Distribution::Exact(s)
                },
                "sfu",
                "given",
            ),
        });
        // Branches share parts, and most parts act alike in every passband: each behaviour is evaluated once.
        let mut kinds: Vec<StageKind> = Vec::new();
        for b in &mut branches {
            b.places = b
                .stages
                .iter()
                .map(|s| {
                    kinds.iter().position(|k| *k == s.kind).unwrap_or_else(|| {
                        kinds.push(s.kind.clone());
                        kinds.len() - 1
                    })
                })
                .collect();
        }
        let mut model = Self {
            kinds,
            air_temperature: shared.temperature,
            bandwidth_hz: conditions.bandwidth_hz,
            callsign: station.callsign.clone(),
            inputs,
            geometry,
            downs,
            branches,
            ups,
            beacons,
            passbands: station.satellite.passbands.clone(),
            sun,
            validity,
            listing: Vec::new(),
        };
        let mut listing = Listing::default();
        model.walk(&model.inputs.best(), &mut listing)?;
        model.listing = listing.0;
        Ok(model)
    }

    /// Every input with what is known of it, in the order of the vector that [`Model::evaluate`] takes.
    pub fn inputs(&self) -> &Inputs {
        &self.inputs
    }
    /// Where the satellite stands.
    pub fn geometry(&self) -> &Geometry {
        &self.geometry
    }
    /// What the model predicts, in the order in which [`Model::evaluate`] writes.
    pub fn outputs(&self) -> &[Measurand] {
        &self.listing
    }
    /// Callsign of the station, if its file gives one.
    pub fn callsign(&self) -> Option<&str> {
        self.callsign.as_deref()
    }
    /// Whether every model used was inside its range.
    pub fn validity(&self) -> &Validity {
        &self.validity
    }
    /// Losses between the ideal gain of the aperture and the feed's port on receive, dB by name, at the best estimates.
    ///
    /// # Errors
    /// No such passband, or a loss that cannot be.
    pub fn receive_losses(&self, passband: &str) -> Result<Vec<(&'static str, f64)>, LinkError> {
        let d = self
            .downs
            .iter()
            .find(|d| d.passband == passband)
            .ok_or_else(|| LinkError::Unknown {
                what: "passband",
                name: passband.to_string(),
                known: self
                    .passbands
                    .iter()
                    .map(|p| p.name.clone())
                    .collect::<Vec<_>>()
                    .join(", "),
            })?;
        Ok(d.dish.steps(&self.inputs.best())?)
    }
    /// The same between the feed's port and the ideal gain on transmit; `None` when the station does not transmit there.
    ///
    /// # Errors
    /// A loss that cannot be.
    pub fn transmit_losses(
        &self,
        passband: &str,
    ) -> Result<Option<Vec<(&'static str, f64)>>, LinkError> {
        let up = self.ups.iter().find(|u| u.passband == passband);
        Ok(up.map(|u| u.dish.steps(&self.inputs.best())).transpose()?)
    }
    /// The transmit chain of a passband with every part's curve, at inputs `x` (the best estimates or a draw); the
    /// first part is the transmitter itself, with a gain of 0 dB. `None` when the station does not transmit there.
    ///
    /// # Errors
    /// Figures of an amplifier that no curve fits.
    pub fn transmit_line(
        &self,
        passband: &str,
        x: &[f64],
    ) -> Result<Option<Vec<TransmitStage>>, LinkError> {
        let up = self.ups.iter().find(|u| u.passband == passband);
        Ok(up.map(|u| u.line(x)).transpose()?)
    }
    /// Half-power beamwidth on receive of a passband.
    pub fn beamwidth(&self, passband: &str) -> Option<Angle> {
        let d = self.downs.iter().find(|d| d.passband == passband)?;
        Some(d.dish.antenna().half_power_beamwidth())
    }
    /// Intermediate frequency of a passband's centre at the receiver of a branch, and whether it is mirrored.
    pub fn intermediate(&self, passband: &str, branch: &str) -> Option<(Frequency, bool)> {
        self.branches
            .iter()
            .find(|b| {
                b.branch == branch
                    && self
                        .downs
                        .get(b.down)
                        .is_some_and(|d| d.passband == passband)
            })
            .map(|b| (b.intermediate, b.inverted))
    }

    /// Evaluates every output for one vector of inputs. An evaluation that fails writes not-a-number everywhere.
    pub fn evaluate(&self, x: &[f64], out: &mut [f64]) {
        self.write(x, out, None);
    }
    /// As [`Model::evaluate`], for the outputs of [`Group::Measurand`] alone and in their order: what is drawn.
    pub fn evaluate_measurands(&self, x: &[f64], out: &mut [f64]) {
        self.write(x, out, Some(Group::Measurand));
    }
    fn write(&self, x: &[f64], out: &mut [f64], only: Option<Group>) {
        let mut sink = Values { out, next: 0, only };
        if self.walk(x, &mut sink).is_err() {
            out.fill(f64::NAN);
        }
    }
}

/// Whether a passband is the wideband one.
pub(crate) fn is_wide(p: &Passband) -> bool {
    p.usage == PassbandUse::Wide
}

fn beacon(inputs: &mut Inputs, b: &Beacon) -> BeaconModel {
    BeaconModel {
        name: b.name.clone(),
        kind: b.kind.clone(),
        eirp: inputs.slot(&b.eirp),
        need: match &b.kind {
            BeaconKind::DvbS2 {
                modcod,
                short_frames,
                ..
            } => slantpath_waveform::threshold_es_n0_db(modcod)
                .map(|db| (db, *short_frames == Some(true))),
            _ => None,
        },
    }
}

/// What antenna and path are built from, the same for every passband and both directions.
struct Scene<'a> {
    solved: Solved,
    memory: &'a mut Memory,
    station: &'a Station,
    conditions: &'a Conditions,
    geometry: &'a Geometry,
    climate: &'a SiteClimate,
    shared: SharedAir,
    diameter: Length,
}

impl Scene<'_> {
    /// What the spilled rays see of the sky at a frequency.
    fn sky(&mut self, f: Frequency) -> Result<SkyTable, LinkError> {
        let (site, skew) = (&self.station.site, self.geometry.skew);
        if let Some(known) = self.memory.sky(site, f, self.diameter, skew) {
            return Ok(known);
        }
        let table = sky_table(self.geometry, self.station, self.climate, f, self.diameter)?;
        self.memory.keep_sky(site, f, self.diameter, skew, &table);
        Ok(table)
    }

    /// Antenna and path at a frequency.
    fn towards(
        &mut self,
        inputs: &mut Inputs,
        side: Side,
        f: Frequency,
        wave: Polarisation,
    ) -> Result<(DishModel, PathModel), LinkError> {
        let elevation = Angle::deg(self.geometry.apparent.elevation_deg);
        let dish = DishModel::new(
            inputs,
            &mut self.solved,
            self.station,
            side,
            f,
            wave,
            elevation,
            self.geometry.daily_excursion,
            matches!(self.conditions.air, crate::Air::Exceeded { .. }),
            self.memory,
        )?;
        let path = PathModel::new(
            inputs,
            self.shared,
            self.geometry,
            &self.station.site,
            self.climate,
            self.conditions,
            f,
            wave,
            self.diameter,
            match side {
                Side::Receive => "down",
                Side::Transmit => "up",
            },
        )?;
        Ok((dish, path))
    }
}

/// Clear-sky brightness from just above the horizon to the zenith.
fn sky_table(
    geometry: &Geometry,
    station: &Station,
    climate: &SiteClimate,
    f: Frequency,
    diameter: Length,
) -> Result<SkyTable, LinkError> {
    let mut rows = Vec::new();
    for el_deg in [
        0.5, 1.5, 2.7, 4.2, 6.2, 8.7, 12.5, 17.5, 25.0, 37.0, 55.0, 90.0,
    ] {
        let path = SlantPath::new(
            &PathInput {
                latitude: station.site.latitude,
                elevation: Angle::deg(el_deg),
                frequency: f,
                polarisation_tilt: geometry.skew.unwrap_or(Angle::deg(0.0)),
                diameter,
                efficiency: 0.6,
            },
            climate,
        )?;
        rows.push((
            f64::to_radians(el_deg),
            path.clear_sky(50.0)?.brightness.as_k(),
        ));
    }
    Ok(SkyTable { rows })
}
