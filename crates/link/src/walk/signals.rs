//! Signals as a receiver on one branch would measure them: beacons, carriers at the operating rule's limit, the own one.

use super::{At, BranchScene};
use crate::measurand::{Group, Sink};
use crate::model::{BeaconModel, Model, is_wide};
use slantpath_quantity::{Unit, from_db, show, to_db};
use slantpath_station::checked::BeaconKind;

impl Model {
    /// `total_db`: noise density of station and satellite at the feed's port, dBW/Hz.
    pub(super) fn signals(
        &self,
        s: &BranchScene<'_>,
        x: &[f64],
        total_db: f64,
        sink: &mut impl Sink,
    ) {
        for b in s.beacons {
            self.beacon_outputs(s, b, x, total_db, sink);
        }
        rate_outputs(s, x, total_db, sink);
        self.own_outputs(s, total_db, sink);
    }

    fn beacon_outputs(
        &self,
        s: &BranchScene<'_>,
        b: &BeaconModel,
        x: &[f64],
        total_db: f64,
        sink: &mut impl Sink,
    ) {
        let at = at(s);
        let line = |what: &str, label: String, unit: Unit, source: &str| {
            at.line(
                Group::Measurand,
                &format!("{}.{what}", b.name),
                &label,
                unit,
                source,
            )
        };
        let c_dbw = b.eirp.of(x) + s.figures.transfer_db;
        let cn0 = c_dbw - total_db;
        sink.put(
            &|| line("cn0", format!("C/N0 of {}", b.name), Unit::DbHz, ""),
            cn0,
        );
        sink.put(
            &|| {
                let label = format!("C/N0 of {} against the station's noise", b.name);
                line("cn0_station", label, Unit::DbHz, "")
            },
            c_dbw - s.f.n0_station_db,
        );
        if let Some(hz) = self.bandwidth_hz {
            sink.put(
                &|| {
                    let label = format!("C/N of {} in {}", b.name, bandwidth(hz));
                    line("cn", label, Unit::Db, "")
                },
                cn0 - to_db(hz),
            );
        }
        let Some(rate) = b.kind.symbol_rate() else {
            return;
        };
        let es_n0 = cn0 - to_db(rate);
        sink.put(
            &|| line("es_n0", format!("Es/N0 of {}", b.name), Unit::Db, ""),
            es_n0,
        );
        let BeaconKind::DvbS2 { modcod, .. } = &b.kind else {
            return;
        };
        if let Some(ceiling) = s.branch.mer_ceiling {
            // What the receiver shows: its own imperfections add to the noise.
            let shown = -to_db(from_db(-es_n0) + from_db(-ceiling.of(x)));
            sink.put(
                &|| {
                    let label = format!("MER that the receiver shows of {}", b.name);
                    line("mer", label, Unit::Db, "")
                },
                shown,
            );
        }
        if let Some((need, approximate)) = b.need {
            sink.put(
                &|| {
                    let marked = if approximate {
                        " (approximate: short frames)"
                    } else {
                        ""
                    };
                    let label = format!("margin of {} over {modcod}{marked}", b.name);
                    line("margin", label, Unit::Db, "EN 302 307-1 table 13, ideal")
                },
                es_n0 - need,
            );
        }
    }

    /// The own signal on its way back.
    fn own_outputs(&self, s: &BranchScene<'_>, total_db: f64, sink: &mut impl Sink) {
        let Some((up, own)) = s.own else { return };
        let at = at(s);
        let line = |what: &str, label: &str, unit: Unit, source: &str| {
            at.line(Group::Measurand, what, label, unit, source)
        };
        let cn0 = own.own_eirp_dbw + s.figures.transfer_db - total_db;
        sink.put(
            &|| line("own.cn0", "C/N0 of the own signal", Unit::DbHz, ""),
            cn0,
        );
        if let Some(hz) = self.bandwidth_hz {
            sink.put(
                &|| {
                    let label = format!("C/N of the own signal in {}", bandwidth(hz));
                    line("own.cn", &label, Unit::Db, "")
                },
                cn0 - to_db(hz),
            );
        }
        let Some(rate) = up.symbol_rate else { return };
        let es_n0 = cn0 - to_db(rate);
        sink.put(
            &|| line("own.es_n0", "Es/N0 of the own signal", Unit::Db, ""),
            es_n0,
        );
        if let Some((mode, need)) = &up.need {
            sink.put(
                &|| {
                    let label = format!("margin of the own signal over {mode}");
                    line(
                        "own.margin",
                        &label,
                        Unit::Db,
                        "EN 302 307-1 table 13, ideal",
                    )
                },
                es_n0 - need,
            );
        }
    }
}

fn at<'a>(s: &BranchScene<'a>) -> At<'a> {
    At {
        passband: &s.down.passband,
        branch: Some(&s.branch.branch),
    }
}

fn bandwidth(hz: f64) -> String {
    if hz >= 1e3 {
        format!("{} kHz", show::significant(hz / 1e3, 4))
    } else {
        format!("{} Hz", show::significant(hz, 4))
    }
}

/// Carriers of the symbol rates in use, as strong as the operating rule allows.
fn rate_outputs(s: &BranchScene<'_>, x: &[f64], total_db: f64, sink: &mut impl Sink) {
    let p = s.passband;
    let (Some(rule), true) = (&p.rule, is_wide(p)) else {
        return;
    };
    let Some((beacon, rate)) = s
        .beacons
        .iter()
        .find(|b| b.name == rule.beacon)
        .and_then(|b| b.kind.symbol_rate().map(|r| (b, r)))
    else {
        return;
    };
    // The rule is a power density: Es/N0 is the same for every symbol rate.
    let density_dbw_hz = beacon.eirp.of(x) - to_db(rate) + rule.limit_db;
    sink.put(
        &|| {
            at(s).line(
                Group::Measurand,
                "carrier.es_n0",
                "Es/N0 of any carrier at the operating rule's limit",
                Unit::Db,
                "",
            )
        },
        density_dbw_hz + s.figures.transfer_db - total_db,
    );
}
