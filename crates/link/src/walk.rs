//! One walk over the whole station: the order of every output, and its formula, stand here and nowhere else.

mod ledger;
mod signals;
mod uplink;

use crate::measurand::{Group, Measurand, Sink};
use crate::model::{BeaconModel, Model};
use crate::receive::{BranchFigures, BranchModel, DownFigures, DownModel};
use crate::transmit::{UpFigures, UpModel};
use slantpath_antenna::AntennaError;
use slantpath_chain::adc::clip_probability;
use slantpath_chain::noise::Linear;
use slantpath_chain::source_noise::{beam_correction_gauss_disk, y_of_source};
use slantpath_chain::y_factor::y_from_te;
use slantpath_quantity::constants::SFU;
use slantpath_quantity::{Angle, Power, Temperature, Unit, from_db, to_db};
use slantpath_station::checked::Passband;

/// Mean angular diameter of the Sun at 10 GHz, degrees: the optical disk (0.533) is meant; the radio disk is larger by
/// some percent (common practice, no source).
const SUN_DIAMETER_DEG: f64 = 0.533;

struct At<'a> {
    passband: &'a str,
    branch: Option<&'a str>,
}

impl At<'_> {
    fn id(&self, what: &str) -> String {
        match self.branch {
            Some(b) => format!("{}.{what}@{b}", self.passband),
            None => format!("{}.{what}", self.passband),
        }
    }
    fn line(&self, group: Group, what: &str, label: &str, unit: Unit, source: &str) -> Measurand {
        Measurand {
            id: self.id(what),
            label: label.to_string(),
            unit,
            group,
            passband: Some(self.passband.to_string()),
            branch: self.branch.map(str::to_string),
            source: source.to_string(),
        }
    }
}

impl Model {
    pub(crate) fn walk(&self, x: &[f64], sink: &mut impl Sink) -> Result<(), AntennaError> {
        let mut downs = Vec::with_capacity(self.downs.len());
        for d in &self.downs {
            downs.push(d.figures(x)?);
        }
        let mut ups = Vec::with_capacity(self.ups.len());
        for u in &self.ups {
            // The dish is peaked on what it receives: the transmit beam stands where its own feed throws it.
            let pointed = self
                .downs
                .get(u.down)
                .map_or([0.0; 2], |d| d.dish.squint_rad(x));
            ups.push(u.figures(x, pointed)?);
        }
        let air_k = self.air_temperature.of(x);
        let linear: Vec<Linear> = self.kinds.iter().map(|k| k.linear(x, air_k)).collect();
        for (i, d) in self.downs.iter().enumerate() {
            let (Some(figures), Some(passband), Some(beacons)) =
                (downs.get(i), self.passbands.get(i), self.beacons.get(i))
            else {
                continue;
            };
            if sink.wants(Group::Downlink) {
                self.downlink_lines(d, figures, passband, beacons, x, sink)?;
            }
            for b in self.branches.iter().filter(|b| b.down == i) {
                let own = self.ups.iter().zip(&ups).find(|(u, _)| u.down == i);
                let scene = BranchScene {
                    down: d,
                    figures,
                    passband,
                    beacons,
                    branch: b,
                    f: b.figures(x, figures, &linear),
                    own,
                };
                if sink.wants(Group::Measurand) {
                    self.branch_outputs(&scene, x, sink);
                }
                if sink.wants(Group::Level) {
                    self.level_outputs(&scene, x, sink);
                }
                if sink.wants(Group::Ledger) {
                    ledger::ledger_lines(&scene, &linear, sink);
                }
            }
        }
        for (u, f) in self.ups.iter().zip(&ups) {
            self.uplink_outputs(u, f, x, sink);
        }
        Ok(())
    }

    fn downlink_lines(
        &self,
        d: &DownModel,
        f: &DownFigures,
        passband: &Passband,
        beacons: &[BeaconModel],
        x: &[f64],
        sink: &mut impl Sink,
    ) -> Result<(), AntennaError> {
        let at = At {
            passband: &d.passband,
            branch: None,
        };
        let g = Group::Downlink;
        for b in beacons {
            sink.put(
                &|| {
                    at.line(
                        g,
                        &format!("budget.{}.eirp", b.name),
                        &format!("EIRP of {}", b.name),
                        Unit::Dbw,
                        "satellite file",
                    )
                },
                b.eirp.of(x),
            );
        }
        sink.put(
            &|| {
                at.line(
                    g,
                    "budget.footprint",
                    "footprint here against the file",
                    Unit::Db,
                    "station file",
                )
            },
            d.footprint.of(x),
        );
        sink.put(
            &|| {
                at.line(
                    g,
                    "budget.free_space",
                    "free-space loss",
                    Unit::Db,
                    "ITU-R P.525-4",
                )
            },
            -d.path.free_space_db,
        );
        sink.put(
            &|| at.line(g, "budget.gas", "gases", Unit::Db, "ITU-R P.676-12"),
            -f.path.gas_db,
        );
        sink.put(
            &|| {
                at.line(
                    g,
                    "budget.weather",
                    "rain, cloud, scintillation",
                    Unit::Db,
                    "ITU-R P.618-13",
                )
            },
            -f.path.weather_db,
        );
        sink.put(
            &|| {
                at.line(
                    g,
                    "budget.gain",
                    "realised antenna gain",
                    Unit::Dbi,
                    "aperture integration and losses",
                )
            },
            f.antenna.gain_dbi,
        );
        sink.put(
            &|| {
                at.line(
                    g,
                    "budget.beam",
                    "half-power beamwidth",
                    Unit::Deg,
                    "aperture integration",
                )
            },
            d.dish.beamwidth(x).as_deg(),
        );
        let density = d.noise_density.of(x);
        sink.put(
            &|| {
                at.line(
                    g,
                    "budget.noise_density",
                    &format!("noise the satellite sends in {}", passband.name),
                    Unit::DbwPerHz,
                    "satellite file",
                )
            },
            density,
        );
        Ok(())
    }

    fn branch_outputs(&self, s: &BranchScene<'_>, x: &[f64], sink: &mut impl Sink) {
        let at = At {
            passband: &s.down.passband,
            branch: Some(&s.branch.branch),
        };
        let g = Group::Measurand;
        let total_db = to_db(s.f.n0_station + s.figures.n0_satellite);
        sink.put(
            &|| at.line(g, "t_sys", "system noise temperature", Unit::K, ""),
            s.f.t_sys_k,
        );
        sink.put(
            &|| at.line(g, "g_over_t", "G/T", Unit::DbPerK, ""),
            s.f.g_over_t_db,
        );
        sink.put(
            &|| {
                at.line(
                    g,
                    "noise_step",
                    "noise step at the passband's edge",
                    Unit::Db,
                    "",
                )
            },
            total_db - s.f.n0_station_db,
        );
        if let Some(ratio) = s.figures.cross_polar_db {
            sink.put(
                &|| {
                    at.line(
                        g,
                        "cross_polar",
                        "a signal over itself on the other polarisation",
                        Unit::Db,
                        "skew and feed, in clear air",
                    )
                },
                ratio,
            );
        }
        self.signals(s, x, total_db, sink);
        self.source_outputs(s, x, sink);
    }

    /// Y factors against sources that a person can point at or hold in front of the feed.
    fn source_outputs(&self, s: &BranchScene<'_>, x: &[f64], sink: &mut impl Sink) {
        let at = At {
            passband: &s.down.passband,
            branch: Some(&s.branch.branch),
        };
        let air = s.figures.air_k;
        let cold = s.f.t_sys_k - s.f.t_chain_k - s.f.t_back_k - s.f.t_quantisation_k;
        let behind = s.f.t_sys_k - cold;
        let y = y_from_te(
            Temperature::k(behind),
            Temperature::k(air),
            Temperature::k(cold),
        )
        .unwrap_or(f64::NAN);
        sink.put(
            &|| {
                at.line(
                    Group::Measurand,
                    "y_absorber",
                    "Y factor, absorber over the feed against cold sky",
                    Unit::Db,
                    "",
                )
            },
            y,
        );
        if let Some(sun) = self.sun {
            let beam = s.down.dish.beamwidth(x);
            let air = &s.figures.path;
            let y = beam_correction_gauss_disk(Angle::deg(SUN_DIAMETER_DEG), beam)
                .and_then(|k| {
                    y_of_source(
                        s.f.g_over_t_db,
                        // A published flux is that above the air.
                        sun.flux_sfu.of(x).max(1e-3) * SFU * from_db(-air.gas_db - air.weather_db),
                        s.down.f,
                        k,
                    )
                })
                .unwrap_or(f64::NAN);
            sink.put(
                &|| {
                    at.line(
                        Group::Measurand,
                        "y_sun",
                        "Y factor of the Sun against cold sky",
                        Unit::Db,
                        "",
                    )
                },
                y,
            );
        }
    }

    /// What arrives at the converter.
    fn level_outputs(&self, s: &BranchScene<'_>, x: &[f64], sink: &mut impl Sink) {
        let at = At {
            passband: &s.down.passband,
            branch: Some(&s.branch.branch),
        };
        let g = Group::Level;
        sink.put(
            &|| {
                at.line(
                    g,
                    "chain_gain",
                    "gain from feed to receiver",
                    Unit::Db,
                    "chain",
                )
            },
            s.f.gain_db,
        );
        let Some(a) = s.branch.adc else { return };
        let Some(adc) = a.adc(x) else { return };
        let carriers: f64 = s
            .beacons
            .iter()
            .map(|b| from_db(b.eirp.of(x) + s.figures.transfer_db))
            .sum();
        let width = s.passband.downlink.width().as_hz();
        let dbw = |carriers: f64| {
            s.branch.level_dbw(
                &s.f,
                s.figures.n0_satellite,
                width,
                a.sampled.as_hz(),
                carriers,
            )
        };
        let noise_dbfs = adc.dbfs(dbw(0.0) + 30.0);
        sink.put(
            &|| {
                at.line(
                    g,
                    "adc_level",
                    "level at the converter",
                    Unit::Dbfs,
                    "noise and beacons",
                )
            },
            adc.dbfs(dbw(carriers) + 30.0),
        );
        sink.put(
            &|| {
                at.line(
                    g,
                    "adc_noise_lsb",
                    "noise at the converter, rms in steps",
                    Unit::One,
                    "noise alone",
                )
            },
            adc.lsb_rms(noise_dbfs),
        );
        let carrier_dbfs = adc.dbfs(Power::w(carriers).as_dbw() + s.f.gain_db + 30.0);
        let clip = if carriers > 0.0 {
            clip_probability(noise_dbfs, &[carrier_dbfs])
        } else {
            clip_probability(noise_dbfs, &[])
        };
        sink.put(
            &|| {
                at.line(
                    g,
                    "adc_clip",
                    "probability that a sample clips",
                    Unit::One,
                    "noise and beacons",
                )
            },
            clip.unwrap_or(1.0),
        );
    }
}

struct BranchScene<'a> {
    down: &'a DownModel,
    figures: &'a DownFigures,
    passband: &'a Passband,
    beacons: &'a [BeaconModel],
    branch: &'a BranchModel,
    f: BranchFigures,
    own: Option<(&'a UpModel, &'a UpFigures)>,
}
