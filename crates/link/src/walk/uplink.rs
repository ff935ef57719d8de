//! The uplink's outputs: levels, budget, and what the satellite makes of the own signal.

use super::At;
use crate::measurand::{Group, Sink};
use crate::model::Model;
use crate::transmit::{UpFigures, UpModel};
use slantpath_quantity::{Unit, to_db};

impl Model {
    pub(super) fn uplink_outputs(
        &self,
        u: &UpModel,
        f: &UpFigures,
        x: &[f64],
        sink: &mut impl Sink,
    ) {
        if sink.wants(Group::Uplink) {
            uplink_lines(u, f, x, sink);
        }
        if sink.wants(Group::Measurand) {
            self.own_signal(u, f, x, sink);
        }
    }

    /// What the satellite makes of the own signal.
    fn own_signal(&self, u: &UpModel, f: &UpFigures, x: &[f64], sink: &mut impl Sink) {
        let at = At {
            passband: &u.passband,
            branch: None,
        };
        let m = Group::Measurand;
        sink.put(
            &|| at.line(m, "own.eirp", "EIRP of the station", Unit::Dbw, ""),
            f.eirp_dbw,
        );
        sink.put(
            &|| {
                at.line(
                    m,
                    "own.cn0_up",
                    "C/N0 of the own signal at the satellite",
                    Unit::DbHz,
                    "",
                )
            },
            f.cn0_up_db,
        );
        let beacon = self
            .passbands
            .get(u.down)
            .zip(self.beacons.get(u.down))
            .and_then(|(p, bs)| {
                let reference = p.reference_beacon()?;
                bs.iter().find(|b| b.name == reference.name)
            });
        if let Some(b) = beacon {
            sink.put(
                &|| {
                    at.line(
                        m,
                        "own.against_beacon",
                        &format!("own downlink against {}, power to power", b.name),
                        Unit::Db,
                        "",
                    )
                },
                f.own_eirp_dbw - b.eirp.of(x),
            );
            if let (Some(own), Some(rate)) = (u.symbol_rate, b.kind.symbol_rate()) {
                sink.put(
                    &|| {
                        at.line(
                            m,
                            "own.density_against_beacon",
                            &format!("own downlink against {}, density to density", b.name),
                            Unit::Db,
                            "",
                        )
                    },
                    f.own_eirp_dbw - to_db(own) - b.eirp.of(x) + to_db(rate),
                );
            }
        }
        sink.put(
            &|| {
                at.line(
                    m,
                    "own.headroom",
                    "own downlink below the transponder's saturation",
                    Unit::Db,
                    "",
                )
            },
            u.saturated.of(x) - f.own_eirp_dbw,
        );
    }
}

/// Levels and budget of an uplink.
fn uplink_lines(u: &UpModel, f: &UpFigures, x: &[f64], sink: &mut impl Sink) {
    let at = At {
        passband: &u.passband,
        branch: None,
    };
    let g = Group::Uplink;
    for (s, p) in u.stages.iter().zip(&f.after_dbw) {
        sink.put(
            &|| {
                at.line(
                    g,
                    &format!("up.after.{}", s.id.as_str().trim_start_matches("tx.")),
                    &format!("power after {}", s.label),
                    Unit::Dbw,
                    "station file",
                )
            },
            *p,
        );
    }
    sink.put(
        &|| {
            at.line(
                g,
                "up.gain",
                "realised antenna gain, uplink",
                Unit::Dbi,
                "aperture integration and losses",
            )
        },
        f.gain_dbi,
    );
    sink.put(
        &|| {
            at.line(
                g,
                "up.free_space",
                "free-space loss, uplink",
                Unit::Db,
                "ITU-R P.525-4",
            )
        },
        -u.path.free_space_db,
    );
    sink.put(
        &|| {
            at.line(
                g,
                "up.air",
                "gases and weather, uplink",
                Unit::Db,
                "ITU-R P.676-12, P.618-13",
            )
        },
        -f.gas_db - f.weather_db,
    );
    sink.put(
        &|| {
            at.line(
                g,
                "up.g_over_t",
                "G/T of the satellite towards here",
                Unit::DbPerK,
                "satellite file",
            )
        },
        u.g_over_t.of(x) + u.footprint.of(x),
    );
}
