//! The dish with its feed at one frequency, as a function of the model's inputs.
//!
//! Dimensions, illumination and focus enter through the reflector integrals, which are solved once at the best
//! estimates and once up and once down for every such input that is uncertain; between these points gain, beamwidth
//! and spillover follow a parabola in each input (own surrogate: exact at the three points; inputs are taken one at a
//! time, so that products of two deviations are left out). Passbands within [`SAME_RESPONSE`] of each other in frequency
//! share these parabolas: they differ by about twice the relative difference in frequency, that is by 2 % of an
//! *uncertainty* at most. Everything else acts through closed forms on every draw.

use crate::LinkError;
use crate::dimensions::{ShadowModel, gain_errors};
use crate::inputs::{Inputs, Slot};
use crate::memory::Memory;
use crate::polarisation::{PolarisationModel, polarisation};
use crate::shape::{no_transmit_feed, receive_horn, reflector, shape_inputs, solve};
use rayon::prelude::*;
use slantpath_antenna::AntennaError;
use slantpath_antenna::dish::{Cover as CoverShares, DishAntenna, Losses, Scene};
use slantpath_antenna::noise::{NoisePart, Shadow};
use slantpath_antenna::slab::{Incidence, Layer, passage};
use slantpath_quantity::{
    Angle, Contributor, ContributorId, Decibel, Distribution, Frequency, Length, Temperature,
    Validity, amplitude_to_db, from_db,
};
use slantpath_station::checked::{FeedPattern, Matching, Polarisation, Station};

/// Relative difference in frequency below which two passbands share the parabolas of the dimensions.
const SAME_RESPONSE: f64 = 0.01;

/// Standard uncertainty of a measured reflection's size after a calibration by hand (common practice, no source).
const REFLECTION_U: f64 = 0.02;

/// Which side of the feed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Side {
    Receive,
    Transmit,
}

/// A parabola in one input: change of a figure for a deviation `d` from the best estimate, `a d + b d^2`.
#[derive(Debug, Clone, Copy, Default)]
struct Parabola {
    a: f64,
    b: f64,
}

impl Parabola {
    /// Through zero at 0, `up` at `+h` and `down` at `-h`.
    fn through(h: f64, up: f64, down: f64) -> Self {
        Self {
            a: 0.5 * (up - down) / h,
            b: 0.5 * (up + down) / (h * h),
        }
    }
    #[inline]
    fn at(self, d: f64) -> f64 {
        d * (self.a + self.b * d)
    }
}

/// How the solved antenna changes with one input.
#[derive(Debug, Clone)]
pub(crate) struct Response {
    slot: Slot,
    best: f64,
    gain_db: Parabola,
    beamwidth_rad: Parabola,
    squint_rad: [Parabola; 2],
    spill_ground: Parabola,
    spill_sky: Parabola,
}

/// Responses already solved, by side of the feed and frequency.
#[derive(Debug, Default)]
pub(crate) struct Solved(Vec<(Side, Frequency, Vec<Response>)>);

impl Solved {
    /// The parabolas of one side at a frequency, solved unless a near frequency has been.
    fn responses(
        &mut self,
        inputs: &mut Inputs,
        station: &Station,
        side: Side,
        f: Frequency,
        elevation: Angle,
        base: &DishAntenna,
        memory: &mut Memory,
    ) -> Result<Vec<Response>, LinkError> {
        if let Some((_, _, known)) = self
            .0
            .iter()
            .find(|(s, g, _)| *s == side && (f / *g - 1.0).abs() < SAME_RESPONSE)
        {
            return Ok(known.clone());
        }
        let uncertain: Vec<&Contributor> = shape_inputs(station, side)
            .into_iter()
            .filter(|c| c.distribution.u() > 0.0)
            .collect();
        if let Some(mut known) = memory.responses(station, side, f, elevation) {
            for (r, c) in known.iter_mut().zip(&uncertain) {
                r.slot = inputs.slot(c);
            }
            self.0.push((side, f, known.clone()));
            return Ok(known);
        }
        // Each dimension is independent of the others: solved side by side, kept in order.
        let pairs: Vec<(DishAntenna, Option<DishAntenna>)> = uncertain
            .par_iter()
            .map(|c| {
                let at = |value: f64| {
                    solve(station, side, f, elevation, &|k: &Contributor| {
                        if k.id == c.id {
                            value
                        } else {
                            k.distribution.mean()
                        }
                    })
                };
                let (mean, h) = (c.distribution.mean(), c.distribution.u());
                // A length or taper that may not go below zero is varied upwards only.
                Ok((at(mean + h)?, at(mean - h).ok()))
            })
            .collect::<Result<_, LinkError>>()?;
        let responses: Vec<Response> = uncertain
            .iter()
            .zip(&pairs)
            .map(|(c, (up, down))| Response::between(inputs.slot(c), c, base, up, down.as_ref()))
            .collect();
        memory.keep_responses(station, side, f, elevation, &responses);
        self.0.push((side, f, responses.clone()));
        Ok(responses)
    }
}

/// The dish with its feed, ready to be evaluated.
#[derive(Debug, Clone)]
pub(crate) struct DishModel {
    antenna: DishAntenna,
    responses: Vec<Response>,
    surface: Slot,
    pointing: Slot,
    reflection: Slot,
    ohmic: Slot,
    return_loss: Slot,
    shadow: Option<ShadowSlots>,
    /// A shadow computed from the coil's dimensions, in place of the stated one.
    coil: Option<ShadowModel>,
    /// Errors of a gain computed from dimensions, dB around 0.
    gain_errors: Vec<Slot>,
    cover: Option<CoverSlots>,
    polarisation: PolarisationModel,
    excursion: Angle,
    f: Frequency,
    /// Ranges that were left.
    pub validity: Validity,
}

#[derive(Debug, Clone, Copy)]
struct ShadowSlots {
    loss: Slot,
    sky: Slot,
    ground: Slot,
    absorbed: Slot,
}

#[derive(Debug, Clone, Copy)]
struct CoverSlots {
    thickness: Slot,
    permittivity: Slot,
    loss_tangent: Slot,
}

/// One evaluation on receive: everything at the feed's port, as seen by a matched receiver.
#[derive(Debug, Clone, Copy)]
pub(crate) struct ReceiveFigures {
    /// Realised gain, dBi.
    pub gain_dbi: f64,
    /// Antenna noise by part, K, in the order of [`NoisePart::ALL`].
    pub noise_k: [f64; 7],
    /// Fraction of a wave going back from the receiver that the feed's port reflects.
    pub reflection: f64,
}

impl ReceiveFigures {
    pub fn noise_total_k(&self) -> f64 {
        self.noise_k.iter().sum()
    }
}

impl DishModel {
    pub fn new(
        inputs: &mut Inputs,
        solved: &mut Solved,
        station: &Station,
        side: Side,
        f: Frequency,
        wave: Polarisation,
        elevation: Angle,
        excursion: Angle,
        wet: bool,
        memory: &mut Memory,
    ) -> Result<Self, LinkError> {
        let best = |c: &Contributor| c.distribution.mean();
        let antenna = match memory.antenna(station, side, f, elevation) {
            Some(known) => known,
            None => {
                let solved = solve(station, side, f, elevation, &best)?;
                memory.keep_antenna(station, side, f, elevation, &solved);
                solved
            }
        };
        let (_, tape) = reflector(&station.reflector.shape, &best)?;
        let responses = solved.responses(inputs, station, side, f, elevation, &antenna, memory)?;
        let feed = &station.feed;
        let r = &station.reflector;
        let transmit = feed.transmit.as_ref();
        let (ohmic, return_loss, reflection) = match (side, transmit) {
            (Side::Transmit, Some(t)) => {
                (&t.ohmic_loss, &t.return_loss, &r.reflection_loss_transmit)
            }
            (Side::Transmit, None) => return Err(no_transmit_feed(&feed.name)),
            (Side::Receive, _) => (
                &feed.receive.ohmic_loss,
                &feed.receive.return_loss,
                &r.reflection_loss_receive,
            ),
        };
        let computed = side == Side::Receive && feed.receive.shadow.from_coil;
        let coil = computed
            .then(|| ShadowModel::new(inputs, station, f, elevation))
            .transpose()?;
        let from_dimensions = side == Side::Transmit
            && transmit.is_some_and(|t| t.pattern == FeedPattern::FromDimensions);
        let mut wires = Validity::Inside;
        if side == Side::Receive && matches!(feed.receive.pattern, FeedPattern::FromHorn { .. }) {
            wires = receive_horn(station)?.validity(f);
        }
        let gain_errors = if from_dimensions {
            wires = crate::dimensions::uplink(station, f, &best, false)?.validity;
            let beyond = together(station, f, elevation, &antenna, &responses, inputs);
            gain_errors(inputs, station, f, beyond)?
        } else {
            Vec::new()
        };
        let shadow = (side == Side::Receive && !computed).then(|| {
            let s = &feed.receive.shadow;
            ShadowSlots {
                loss: inputs.slot(&s.loss),
                sky: inputs.slot(&s.sees_sky),
                ground: inputs.slot(&s.sees_ground),
                absorbed: inputs.slot(&s.absorbed),
            }
        });
        let cover = feed.cover.as_ref().map(|c| CoverSlots {
            thickness: inputs.slot(&c.thickness),
            permittivity: inputs.slot(&c.permittivity),
            loss_tangent: inputs.slot(&c.loss_tangent),
        });
        let (polarisation, validity) = polarisation(inputs, station, side, wave, f)?;
        let shaded = coil
            .as_ref()
            .map_or(Validity::Inside, |c| c.validity.clone());
        Ok(Self {
            validity: antenna
                .validity()
                .clone()
                .and(tape)
                .and(validity)
                .and(shaded)
                .and(wires),
            coil,
            gain_errors,
            polarisation,
            responses,
            surface: inputs.slot(&r.surface_rms),
            pointing: inputs.slot(&r.pointing_error),
            reflection: inputs.slot(reflection),
            ohmic: inputs.slot(ohmic),
            return_loss: match matched(station, side, f, wet)? {
                Some(found) => inputs.slot(&found),
                None => inputs.slot(return_loss),
            },
            shadow,
            cover,
            excursion,
            f,
            antenna,
        })
    }

    /// The antenna as solved at the best estimates.
    pub fn antenna(&self) -> &DishAntenna {
        &self.antenna
    }

    /// A linear wave on its own polarisation over the same wave on the other one, dB.
    pub fn cross_polar_db(&self, x: &[f64]) -> Option<f64> {
        self.polarisation.cross_polar_db(x)
    }

    /// Half-power beamwidth.
    pub fn beamwidth(&self, x: &[f64]) -> Angle {
        let beam = self.antenna.half_power_beamwidth().as_rad();
        let d: f64 = self
            .responses
            .iter()
            .map(|r| r.beamwidth_rad.at(r.slot.of(x) - r.best))
            .sum();
        Angle::rad((beam + d).max(0.1 * beam))
    }

    /// Where the beam's peak stands beside the paraboloid's axis, rad, in the dish's x and y.
    pub fn squint_rad(&self, x: &[f64]) -> [f64; 2] {
        let mut at = self.antenna.squint().map(Angle::as_rad);
        for r in &self.responses {
            let dx = r.slot.of(x) - r.best;
            for (at, p) in at.iter_mut().zip(&r.squint_rad) {
                *at += p.at(dx);
            }
        }
        at
    }

    /// `beside_rad`: how far the beam stands beside the one with which the dish was pointed.
    fn losses(&self, x: &[f64], d_beam_rad: f64, beside_rad: f64) -> Result<Losses, AntennaError> {
        let beam = self.antenna.half_power_beamwidth().as_rad();
        // Pointing error and the satellite's daily walk add as vectors; its mean square is half of its square.
        let walk2 = 0.5 * self.excursion.as_rad().powi(2);
        let off = (self.pointing.of(x).powi(2) + walk2 + beside_rad.powi(2)).sqrt();
        // A wider beam forgives more: the loss goes with (off / beam)^2.
        let off = off * beam / (beam + d_beam_rad).max(0.1 * beam);
        let shadow = match (self.shadow, &self.coil) {
            (_, Some(c)) => {
                // Nothing is absorbed by a metal wire.
                let ground = c.ground.of(x).clamp(0.0, 1.0);
                Shadow::new(Decibel(c.loss_db(x)), 1.0 - ground, ground, 0.0)?
            }
            (None, None) => Shadow::NONE,
            (Some(s), None) => {
                let (sky, ground, absorbed) = (
                    s.sky.of(x).max(0.0),
                    s.ground.of(x).max(0.0),
                    s.absorbed.of(x).max(0.0),
                );
                let sum = sky + ground + absorbed;
                if sum > 0.0 {
                    Shadow::new(
                        Decibel(s.loss.of(x).max(0.0)),
                        sky / sum,
                        ground / sum,
                        absorbed / sum,
                    )?
                } else {
                    Shadow::NONE.with_loss(Decibel(s.loss.of(x).max(0.0)))?
                }
            }
        };
        let cover = match self.cover {
            None => CoverShares::NONE,
            Some(c) => {
                let layer = Layer::dielectric(
                    c.permittivity.of(x).max(1.0),
                    c.loss_tangent.of(x).max(0.0),
                    Length::m(c.thickness.of(x).max(0.0)),
                )?;
                passage(&[layer], self.f, Angle::deg(0.0), Incidence::Te)?.into()
            }
        };
        Ok(Losses {
            surface: Length::m(self.surface.of(x).max(0.0)),
            pointing: Angle::rad(off),
            polarisation: Decibel(self.polarisation.loss_db(x)),
            shadow,
            cover,
            ohmic: Decibel(self.ohmic.of(x).max(0.0)),
            s11: Some(Decibel(-self.return_loss.of(x).max(0.1))),
            other: Decibel(self.reflection.of(x).max(0.0)),
        })
    }

    /// Gain and noise on receive under a sky that is `sky_k` at the beam's elevation and goes with the cosecant law
    /// elsewhere, through `sky_at`.
    pub fn receive(
        &self,
        x: &[f64],
        sky_at: &(dyn Fn(Angle) -> Temperature + Sync),
        ground_k: f64,
        physical_k: f64,
    ) -> Result<ReceiveFigures, AntennaError> {
        let d = self.deviations(x);
        let losses = self.losses(x, d.beamwidth_rad, 0.0)?;
        let scene = Scene {
            sky: sky_at,
            ground: Temperature::k(ground_k),
            physical: Temperature::k(physical_k),
        };
        let r = self.antenna.receive(&losses, &scene)?;
        let mut noise_k = [0.0; 7];
        for (slot, (_, t)) in noise_k.iter_mut().zip(r.noise.iter()) {
            *slot = t.as_k();
        }
        // Power that the surrogate moves between main beam and spill, seen through the same losses as the rest.
        let through = from_db(-losses.ohmic.0) * losses.cover.transmitted * from_db(-r.steps[6].0);
        let beam_k = sky_at(self.antenna.elevation()).as_k();
        noise_k[NoisePart::SpillGround as usize] += through * d.spill_ground * ground_k;
        noise_k[NoisePart::SpillSky as usize] += through * d.spill_sky * beam_k;
        noise_k[NoisePart::MainBeam as usize] -= through * (d.spill_ground + d.spill_sky) * beam_k;
        Ok(ReceiveFigures {
            gain_dbi: r.gain.0 + d.gain_db,
            noise_k,
            reflection: from_db(-self.return_loss.of(x).max(0.1)),
        })
    }

    /// Realised gain on transmit, dBi, when the dish was pointed with a beam whose peak stands at `pointed_rad`.
    pub fn gain_dbi(&self, x: &[f64], pointed_rad: [f64; 2]) -> Result<f64, AntennaError> {
        let d = self.deviations(x);
        let own = self.squint_rad(x);
        let beside = (own[0] - pointed_rad[0]).hypot(own[1] - pointed_rad[1]);
        let losses = self.losses(x, d.beamwidth_rad, beside)?;
        let error: f64 = self.gain_errors.iter().map(|s| s.of(x)).sum();
        Ok(self.antenna.gain(&losses)?.0 + d.gain_db + error)
    }

    /// Losses between the aperture's ideal gain and the feed's port, by name, for a budget.
    pub fn steps(&self, x: &[f64]) -> Result<Vec<(&'static str, f64)>, AntennaError> {
        let d = self.deviations(x);
        let losses = self.losses(x, d.beamwidth_rad, 0.0)?;
        let mut out: Vec<(&'static str, f64)> = self
            .antenna
            .parts()
            .map(|(p, l)| (p.name(), l.0))
            .filter(|(_, l)| l.abs() > 5e-4)
            .collect();
        let steps = self.antenna.steps(&losses)?;
        for (s, l) in slantpath_antenna::dish::Step::ALL.iter().zip(steps) {
            let name = match s {
                slantpath_antenna::dish::Step::Other => "reflection at the dish",
                _ => s.name(),
            };
            if l.0.abs() > 5e-4 {
                out.push((name, l.0));
            }
        }
        Ok(out)
    }

    fn deviations(&self, x: &[f64]) -> Deviations {
        let mut d = Deviations::default();
        for r in &self.responses {
            let dx = r.slot.of(x) - r.best;
            d.gain_db += r.gain_db.at(dx);
            d.beamwidth_rad += r.beamwidth_rad.at(dx);
            d.spill_ground += r.spill_ground.at(dx);
            d.spill_sky += r.spill_sky.at(dx);
        }
        d
    }
}

/// The return loss of the transmit side where it is measured or computed. `wet`: there is weather.
fn matched(
    station: &Station,
    side: Side,
    f: Frequency,
    wet: bool,
) -> Result<Option<Contributor>, LinkError> {
    let transmit = station
        .feed
        .transmit
        .as_ref()
        .filter(|_| side == Side::Transmit);
    match transmit.map(|t| (t, &t.matching)) {
        Some((t, Matching::Measured { dry, wet: soaked })) => {
            let r = soaked.as_ref().filter(|_| wet).unwrap_or(dry);
            let s = r.against(t.line_ohm, f).map_err(|_| LinkError::Missing {
                what: format!("the reflection measured at {:.1} MHz", f.as_mhz()),
                remedy: format!("`{}` has no point near it: sweep over it", r.file),
            })?;
            let size = s.norm().max(1e-4);
            Ok(Some(Contributor {
                id: ContributorId::new(format!(
                    "{}{}",
                    t.return_loss.id,
                    if std::ptr::eq(r, dry) { "" } else { ".wet" }
                )),
                label: t.return_loss.label.clone(),
                distribution: Distribution::Normal {
                    mean: -amplitude_to_db(size),
                    // d(20 lg x) = 8.7 dx / x; what is smaller than its own error is known to a factor of two
                    u: amplitude_to_db(1.0 + (REFLECTION_U / size).min(1.0)),
                },
                unit: "dB",
                source: format!("measured: {}", r.file),
            }))
        }
        _ if side == Side::Transmit => crate::dimensions::return_loss(station, f),
        _ => Ok(None),
    }
}

/// By how much the gain with all the uplink feed's dimensions up by one standard uncertainty differs from the sum of their
/// parabolas, dB; 0 for fewer than two, or when that feed cannot be built.
fn together(
    station: &Station,
    f: Frequency,
    elevation: Angle,
    base: &DishAntenna,
    responses: &[Response],
    inputs: &mut Inputs,
) -> f64 {
    let radiator = station.feed.radiator.as_ref();
    let uncertain: Vec<&Contributor> = radiator
        .iter()
        .flat_map(|r| r.contributors())
        .filter(|c| c.distribution.u() > 0.0)
        .collect();
    if uncertain.len() < 2 {
        return 0.0;
    }
    let mut sum = 0.0;
    for c in &uncertain {
        let slot = inputs.slot(c);
        if let Some(r) = responses.iter().find(|r| r.slot == slot) {
            sum += r.gain_db.at(c.distribution.u());
        }
    }
    let all = solve(station, Side::Transmit, f, elevation, &|k: &Contributor| {
        let moves = uncertain.iter().any(|c| c.id == k.id);
        k.distribution.mean() + if moves { k.distribution.u() } else { 0.0 }
    });
    all.map_or(0.0, |a| a.base_gain().0 - base.base_gain().0 - sum)
}

#[derive(Debug, Clone, Copy, Default)]
struct Deviations {
    gain_db: f64,
    beamwidth_rad: f64,
    spill_ground: f64,
    spill_sky: f64,
}

impl Response {
    fn between(
        slot: Slot,
        of: &Contributor,
        base: &DishAntenna,
        up: &DishAntenna,
        down: Option<&DishAntenna>,
    ) -> Self {
        let (best, h) = (of.distribution.mean(), of.distribution.u());
        let fit = |g: &dyn Fn(&DishAntenna) -> f64| {
            let u = g(up) - g(base);
            match down {
                Some(d) => Parabola::through(h, u, g(d) - g(base)),
                // No solution on the other side: a straight line.
                None => Parabola { a: u / h, b: 0.0 },
            }
        };
        Self {
            slot,
            best,
            gain_db: fit(&|a| a.base_gain().0),
            beamwidth_rad: fit(&|a| a.half_power_beamwidth().as_rad()),
            squint_rad: [
                fit(&|a| a.squint()[0].as_rad()),
                fit(&|a| a.squint()[1].as_rad()),
            ],
            spill_ground: fit(&|a| a.spill().ground),
            spill_sky: fit(&|a| a.spill().above()),
        }
    }
}
