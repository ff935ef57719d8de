//! One design solved in both bands.

use super::{Space, Variable};
use crate::error::{PlanError, Result, not_negative, positive};
use num_complex::Complex64;
use rayon::prelude::*;
use slantpath_antenna::budget::{Aim, AtPlace, Nodes, along_axis};
use slantpath_antenna::dish::Stand;
use slantpath_antenna::reflector::Reflector;
use slantpath_quantity::{Angle, Frequency, Length, Temperature, Validity, to_db};
use slantpath_wire::Density;
use slantpath_wire::feed::shadow::{self, Bench, Surroundings, shadow_density};
use slantpath_wire::feed::uplink::{Ground, HelixFeed, Tube, UplinkFeed};
use slantpath_wire::feed::{Coil, CoilDimension, Horn};

/// How far the receive feed's metal is followed behind the disc.
const TUBE_BEHIND: Length = Length::mm(20.0);
/// Places of the disc tried for one coil, from the receive focus to the transmit focus.
const PLACES: usize = 7;

/// What the antenna's noise is added to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReceiveNoise {
    /// System noise temperature with the bare receive feed, K, at the place where `through` brings the antenna's noise.
    pub system_k: f64,
    /// Share of the antenna's noise that arrives there.
    pub through: f64,
    /// Brightness of the ground, K.
    pub ground_k: f64,
    /// Brightness of the sky in the beam, K.
    pub beam_k: f64,
}

/// The dish with everything that a design shares with the others.
#[derive(Debug, Clone)]
pub struct Setting {
    /// The reflector.
    pub dish: Reflector,
    /// How it stands.
    pub stand: Stand,
    /// The receive feed; its place before the disc is the design's.
    pub horn: Horn,
    /// Diameter of the disc.
    pub disc: Length,
    /// Uplink frequency.
    pub uplink: Frequency,
    /// Downlink frequency.
    pub downlink: Frequency,
    /// What noise is added to.
    pub noise: ReceiveNoise,
}

/// A coil and the place of the receive feed in it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Geometry {
    /// The coil.
    pub coil: Coil,
    /// Aperture of the receive feed before the disc.
    pub front: Length,
}

impl Geometry {
    /// One dimension, m (turns: a number).
    pub fn get(&self, v: Variable) -> f64 {
        match dimension(v) {
            Some(d) => self.coil.get(d),
            None => self.front.as_m(),
        }
    }
    /// With one dimension changed.
    pub fn with(self, v: Variable, x: f64) -> Self {
        match dimension(v) {
            Some(d) => Self {
                coil: self.coil.with(d, x),
                ..self
            },
            None => Self {
                front: Length::m(x),
                ..self
            },
        }
    }
    /// Tells designs apart: every dimension in tenths of a micrometre.
    pub(super) fn key(&self) -> [i64; 6] {
        Variable::ALL.map(|v| (self.get(v) * 1e7).round() as i64)
    }
}

fn dimension(v: Variable) -> Option<CoilDimension> {
    Some(match v {
        Variable::Diameter => CoilDimension::Diameter,
        Variable::Wire => CoilDimension::Wire,
        Variable::Pitch => CoilDimension::Pitch,
        Variable::Turns => CoilDimension::Turns,
        Variable::Stub => CoilDimension::Stub,
        Variable::Front => return None,
    })
}

/// How finely the wires are divided.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fidelity {
    /// 15 segments per wavelength in the uplink band, 10 in the receive band: for trying.
    Coarse,
    /// Half as many again in both: for figures.
    Fine,
}

impl Fidelity {
    fn uplink(self) -> Density {
        match self {
            Self::Coarse => Density::per_wavelength(15.0),
            Self::Fine => Density::per_wavelength(22.5),
        }
    }
    /// Division for the receive shadow.
    pub fn shadow(self) -> Density {
        match self {
            Self::Coarse => Density {
                per_wavelength: 10.0,
                per_turn: 14.0,
                factor: 1.0,
            },
            Self::Fine => shadow_density(),
        }
    }
}

/// Figures of a design with its disc at one place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pair {
    /// Place of the disc's middle along the feed's axis, towards the dish from its focus.
    pub disc: Length,
    /// Gain of the dish in the wanted circular sense, dBi, towards where the receive beam looks; without mismatch.
    pub gain_dbi: f64,
    /// Axial ratio of that beam, dB.
    pub axial_ratio_db: f64,
    /// Loss of the receive signal against the bare feed in its best focus, dB.
    pub loss_db: f64,
    /// Noise that the coil adds to the system, K.
    pub added_k: f64,
    /// Change of G/T against the bare feed in its best focus, dB.
    pub g_over_t_db: f64,
}

/// What is told of the transmit side.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Transmit {
    /// Gain of the bare coil on its axis, both senses, dBi.
    pub bare_gain_dbi: f64,
    /// Greatest axial ratio over the cone under which the dish is seen, dB.
    pub cone_axial_ratio_db: f64,
    /// Phase centre before the disc.
    pub phase_centre: Length,
    /// Front to back, dB.
    pub front_to_back_db: f64,
    /// Impedance at the foot of the coil, ohm.
    pub impedance: Complex64,
}

/// A design solved in both bands.
#[derive(Debug, Clone)]
pub struct Solved {
    /// The design.
    pub geometry: Geometry,
    /// With the disc at several places.
    pub pairs: Vec<Pair>,
    /// The receive shadow.
    pub shadow: shadow::Shadow,
    /// The transmit side.
    pub transmit: Transmit,
    /// Inside the models' ranges, or why not.
    pub validity: Validity,
}

/// Dish and bare receive feeds prepared; any number of designs can then be tried, side by side.
#[derive(Debug)]
pub struct Workbench {
    setting: Setting,
    nodes: Nodes,
    /// Bare receive feeds by their place before the disc.
    benches: Vec<Bench>,
    /// Mean brightness of what the bare feed spills to the sky, K.
    spilled_sky_k: f64,
}

impl Workbench {
    /// Solves the bare receive feed at every place that a search in `space` asks for.
    ///
    /// # Errors
    /// A receive feed or a dish that cannot be, noise figures that cannot be.
    pub fn new(setting: Setting, space: &Space) -> Result<Self> {
        let n = &setting.noise;
        positive("system noise temperature", n.system_k, "K")?;
        positive("share of the antenna's noise that arrives", n.through, "")?;
        not_negative("brightness of the ground", n.ground_k, "K")?;
        not_negative("brightness of the sky", n.beam_k, "K")?;
        let dish = shadow::Dish::new(&setting.dish, Aim::Bisector, setting.stand);
        let benches = space
            .fronts()
            .into_par_iter()
            .map(|front| {
                let horn = Horn {
                    front,
                    ..setting.horn.clone()
                };
                Bench::new(&horn, &dish, setting.downlink)
            })
            .collect::<std::result::Result<Vec<_>, _>>()?;
        let first = benches.first().ok_or_else(|| PlanError::Nothing {
            why: "there is no place for the receive feed".into(),
        })?;
        let spilled_sky_k = spilled_sky_k(first, n.beam_k, setting.stand.elevation);
        Ok(Self {
            nodes: Nodes::smooth(&setting.dish),
            setting,
            benches,
            spilled_sky_k,
        })
    }

    /// What all designs share.
    pub fn setting(&self) -> &Setting {
        &self.setting
    }

    /// The bare receive feed at a place before the disc: one already solved, or solved now.
    ///
    /// # Errors
    /// A receive feed that cannot be.
    pub fn with_bench<T>(
        &self,
        front: Length,
        then: impl FnOnce(&Bench) -> Result<T>,
    ) -> Result<T> {
        let same = |b: &&Bench| (b.horn().front - front).as_m().abs() < 1e-7;
        if let Some(b) = self.benches.iter().find(same) {
            return then(b);
        }
        let [first, ..] = &self.benches[..] else {
            return Err(PlanError::Nothing {
                why: "there is no place for the receive feed".into(),
            });
        };
        let horn = Horn {
            front,
            ..self.setting.horn.clone()
        };
        then(&Bench::new(&horn, first.dish(), self.setting.downlink)?)
    }

    /// Best place of the disc for the bare receive feed `front` before it: where a person starts from.
    ///
    /// # Errors
    /// As [`Workbench::with_bench`].
    pub fn bare_focus(&self, front: Length) -> Result<Length> {
        self.with_bench(front, |b| Ok(b.best_axial()))
    }

    /// Whether a design can be built and computed at all, before anything is solved.
    pub fn fits(&self, g: &Geometry) -> bool {
        let horn = Horn {
            front: g.front,
            ..self.setting.horn.clone()
        };
        let radius = g.coil.wire * 0.5;
        horn.check(Some(&g.coil)).is_ok()
            && g.coil.validity(self.setting.downlink).is_ok()
            && g.coil.diameter < self.setting.disc
            // turns one wire apart at least, and a stub in which a source has room
            && g.coil.pitch > g.coil.wire * 1.5
            && g.coil.stub > radius + self.setting.uplink.wavelength() * 0.004
    }

    /// Solves a design in both bands, with the disc at several places between the two focuses, or at the place given.
    ///
    /// # Errors
    /// A design that cannot be built or solved.
    pub fn solve(
        &self,
        g: &Geometry,
        fidelity: Fidelity,
        disc_at: Option<Length>,
    ) -> Result<Solved> {
        let s = &self.setting;
        let feed = UplinkFeed::Helix(HelixFeed {
            coil: g.coil,
            ground: Ground::Disc(s.disc),
            tube: Some(Tube {
                radius: s.horn.outer_radius,
                front: g.front,
                behind: TUBE_BEHIND,
            }),
        });
        let up = feed.solve(s.uplink, s.dish.half_angle(), fidelity.uplink())?;
        self.with_bench(g.front, |bench| {
            let (shadow, patterns) =
                bench.shadow_and_patterns(&g.coil, fidelity.shadow(), Surroundings::Free)?;
            let places = match disc_at {
                Some(z) => vec![z],
                None => {
                    let receive = bench.best_axial() + shadow.refocus();
                    let transmit = -up.phase_centre.z;
                    (0..PLACES)
                        .map(|i| receive + (transmit - receive) * (i as f64 / (PLACES - 1) as f64))
                        .collect()
                }
            };
            let sent = along_axis(&self.nodes, &up.pattern, Aim::Bisector, &places, s.uplink)?;
            let heard = patterns
                .iter()
                .map(|p| along_axis(&self.nodes, p, Aim::Bisector, &places, s.downlink))
                .collect::<std::result::Result<Vec<_>, _>>()?;
            let added_k = self.added_k(&shadow);
            let pairs = sent
                .iter()
                .enumerate()
                .map(|(i, sent)| {
                    let loss_db = bench
                        .bare_efficiency()
                        .iter()
                        .zip(&heard)
                        .map(|(bare, h)| {
                            0.5 * to_db(bare / h.get(i).map_or(0.0, |h: &AtPlace| h.peak))
                        })
                        .sum::<f64>();
                    Pair {
                        disc: sent.axial,
                        gain_dbi: sent.gain().0 - up.metal_loss.0,
                        axial_ratio_db: sent.axial_ratio().0,
                        loss_db,
                        added_k,
                        g_over_t_db: -loss_db - to_db(1.0 + added_k / s.noise.system_k),
                    }
                })
                .collect();
            let validity = up
                .validity
                .clone()
                .and(shadow.validity.clone())
                .and(s.horn.validity(s.downlink));
            Ok(Solved {
                geometry: *g,
                pairs,
                shadow,
                transmit: Transmit {
                    bare_gain_dbi: up.gain.0,
                    cone_axial_ratio_db: up.cone.worst_axial_ratio.0,
                    phase_centre: up.phase_centre.z,
                    front_to_back_db: up.front_to_back.0,
                    impedance: up.impedance.first().copied().unwrap_or_default(),
                },
                validity,
            })
        })
    }

    /// Noise that the coil adds, K: what more sees ground or the sky beside the beam sees the beam's sky no longer.
    fn added_k(&self, s: &shadow::Shadow) -> f64 {
        let n = &self.setting.noise;
        let mean = |get: &dyn Fn(&shadow::Polarised) -> [f64; 2]| {
            0.5 * s.each.iter().map(|p| get(p)[1] - get(p)[0]).sum::<f64>()
        };
        let ground = mean(&|p| p.spill_ground);
        let sky = mean(&|p| p.spill_sky);
        n.through * (ground * (n.ground_k - n.beam_k) + sky * (self.spilled_sky_k - n.beam_k))
    }
}

/// Mean brightness of the sky that the bare feed spills to, by the cosecant law from the beam's brightness, at most 270 K.
fn spilled_sky_k(bench: &Bench, beam_k: f64, beam: Angle) -> f64 {
    let spill = bench.bare_spill();
    let above = spill.above();
    if above <= 0.0 {
        return beam_k;
    }
    const COSMIC_K: f64 = 2.7;
    let air = (beam_k - COSMIC_K).max(0.0) * beam.as_rad().sin();
    let sky = |el: Angle| Temperature::k((COSMIC_K + air / el.as_rad().sin().max(0.02)).min(270.0));
    spill.sky_k(&sky) / above
}
