//! A station that does not exist, as strong as the real one is predicted to be, with a dish that can be turned: for
//! learning and for tests.

use crate::WorkflowError;
use crate::predict::Predicted;
use slantpath_capture::source::Source;
use slantpath_capture::source::synthetic::{Aim, Aimed, Kind, Passband, SatelliteNoise, Scene};
use slantpath_plan::pointing::Axis;
use slantpath_quantity::{from_db, to_db};
use slantpath_station::Station;
use slantpath_station::checked::BeaconKind;
use std::sync::{Arc, Mutex};

/// Where the simulated dish points at first, in beam widths right and up, and what its bolts do, degrees a turn. The
/// person at the dish is not told.
const START: (f64, f64) = (0.62, -0.41);
const PER_TURN: (f64, f64) = (0.43, 0.31);
/// Level to which sidelobes hold the signal up, dB below the peak.
const FLOOR_DB: f64 = 19.0;
/// Error of the simulated oscillator, Hz.
const OSCILLATOR_HZ: f64 = 2_140.0;
/// Sample rate over the passband's width: noise must be seen beside it.
const RATE_OVER_WIDTH: f64 = 1.6;

#[derive(Debug)]
struct Pointing {
    az_deg: f64,
    el_deg: f64,
    aim: Option<Aim>,
}

/// The simulated station.
#[derive(Debug, Clone)]
pub struct Simulated {
    scene: Scene,
    beam_deg: f64,
    pointing: Arc<Mutex<Pointing>>,
}

impl Simulated {
    /// The narrowest passband of a station as it is predicted on a branch.
    ///
    /// # Errors
    /// Nothing is predicted there.
    pub fn new(
        station: &Station,
        predicted: &Predicted,
        branch: Option<&str>,
    ) -> Result<Self, WorkflowError> {
        let none = || {
            WorkflowError::argument(
                "there is nothing to simulate",
                "the station must receive a passband with a beacon on this branch",
            )
        };
        let p = station
            .satellite
            .passbands
            .iter()
            .filter(|p| !p.beacons.is_empty())
            .min_by(|a, b| {
                let w = |p: &slantpath_station::checked::Passband| {
                    p.downlink.hi.as_hz() - p.downlink.lo.as_hz()
                };
                w(a).total_cmp(&w(b))
            })
            .ok_or_else(none)?;
        let on = |what: &str| {
            let id = format!("{}.{what}@{}", p.name, branch.unwrap_or_default());
            predicted
                .prediction
                .answer(&id)
                .and_then(|a| a.estimate())
                .map(|e| e.value)
        };
        let step_db = on("noise_step").ok_or_else(none)?;
        let (lo, hi) = (p.downlink.lo.as_hz(), p.downlink.hi.as_hz());
        let (mid, width) = (0.5 * (lo + hi), hi - lo);
        let mut scene = Scene::new(
            "simulated station",
            (RATE_OVER_WIDTH * width).max(64e3).round(),
            1.0,
            1,
        );
        scene.center_hz = Some(mid);
        scene.oscillator.offset_hz = OSCILLATOR_HZ;
        scene.satellite_noise = SatelliteNoise::Passband(Passband {
            centre_hz: 0.0,
            width_hz: width,
            level_db: to_db((from_db(step_db) - 1.0).max(1e-3)),
            order: 60,
            tilt_db: 0.0,
            ripple_db: 0.0,
        });
        for b in &p.beacons {
            let Some(cn0) = on(&format!("{}.cn0", b.name)) else {
                continue;
            };
            let kind = match &b.kind {
                BeaconKind::Carrier => Kind::Carrier,
                BeaconKind::KeyedCarrier => Kind::Keyed {
                    text: "PETREL".into(),
                    words_per_minute: 20.0,
                    dash_s: 1.5,
                    phase_s: 0.0,
                },
                BeaconKind::Bpsk {
                    symbol_rate,
                    rolloff,
                    manchester,
                    ..
                } => Kind::Bpsk {
                    baud: *symbol_rate,
                    rolloff: rolloff.unwrap_or(1.0),
                    manchester: *manchester,
                },
                // The same density, from fewer points.
                BeaconKind::DvbS2 {
                    symbol_rate,
                    rolloff,
                    ..
                } => Kind::Bpsk {
                    baud: *symbol_rate,
                    rolloff: *rolloff,
                    manchester: false,
                },
            };
            scene = scene.with(&b.name, b.frequency.as_hz() - mid, cn0, kind);
        }
        let strongest = scene
            .signals
            .iter()
            .map(|s| s.cn0_dbhz)
            .fold(f64::NEG_INFINITY, f64::max);
        if !strongest.is_finite() {
            return Err(none());
        }
        // Somebody talks, so that the passband is not empty.
        scene = scene
            .with(
                "voice",
                0.11 * width,
                strongest - 6.0,
                Kind::Voice { lower: false },
            )
            .with(
                "voice-2",
                -0.16 * width,
                strongest - 9.0,
                Kind::Voice { lower: false },
            );
        let beam_deg = predicted
            .model
            .beamwidth(&p.name)
            .map(|b| b.as_deg())
            .ok_or_else(none)?;
        Ok(Self {
            scene,
            beam_deg,
            pointing: Arc::new(Mutex::new(Pointing {
                az_deg: START.0 * beam_deg,
                el_deg: START.1 * beam_deg,
                aim: None,
            })),
        })
    }

    pub(super) fn rate_hz(&self) -> f64 {
        self.scene.sample_rate_hz
    }

    /// Its samples, without end.
    pub(super) fn source(&self) -> Result<Box<dyn Source>, WorkflowError> {
        let (source, aim) = Aimed::new(&self.scene)?;
        if let Ok(mut p) = self.pointing.lock() {
            p.aim = Some(aim);
            self.set(&p);
        }
        Ok(Box::new(source))
    }

    pub(super) fn turn(&self, axis: Axis, turns: f64) {
        if let Ok(mut p) = self.pointing.lock() {
            match axis {
                Axis::Azimuth => p.az_deg += PER_TURN.0 * turns,
                Axis::Elevation => p.el_deg += PER_TURN.1 * turns,
            }
            self.set(&p);
        }
    }

    /// Loss by a parabola that flattens where sidelobes hold the level up.
    fn loss_db(&self, p: &Pointing) -> f64 {
        let r2 = p.az_deg.powi(2) + p.el_deg.powi(2);
        -to_db(from_db(-12.0 * r2 / self.beam_deg.powi(2)) + from_db(-FLOOR_DB))
    }

    fn set(&self, p: &Pointing) {
        if let Some(aim) = &p.aim {
            aim.set_db(-self.loss_db(p));
        }
    }

    pub(super) fn error(&self) -> (f64, f64, f64) {
        self.pointing
            .lock()
            .map_or((0.0, 0.0, 0.0), |p| (p.az_deg, p.el_deg, self.loss_db(&p)))
    }
}
