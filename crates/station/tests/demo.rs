//! The demo's files are read without a single problem, and mean what they should.

use slantpath_input::{Source, Style, render_all};
use slantpath_quantity::{Angle, Distribution, Frequency};
use slantpath_station::checked::{BeaconKind, PartKind, Polarisation, StationFile, TransmitLevel};
use slantpath_station::{dc, reach, read_station};
use std::collections::BTreeSet;
use std::path::PathBuf;
use std::sync::Arc;

fn demo(name: &str) -> Arc<Source> {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("../../demo")
        .join(name);
    Source::from_bytes(name, &std::fs::read(path).unwrap()).unwrap()
}

fn station(name: &str) -> StationFile {
    let (file, problems) = read_station(&demo(name), &mut |path| Ok(demo(path)));
    assert!(
        problems.is_empty(),
        "{}",
        render_all(&problems, Style::ASCII)
    );
    file.unwrap()
}

#[test]
fn the_club_station() {
    let f = station("qq0aaa.toml");
    assert_eq!(f.variant_names(), ["new-feed"]);
    let s = &f.base;
    assert_eq!(s.callsign.as_deref(), Some("QQ0AAA"));
    assert!((s.site.longitude.as_deg() + 5.6).abs() < 1e-12);
    assert!((s.satellite.orbit.longitude().unwrap().as_deg() + 11.7).abs() < 1e-12);
    let narrow = s.satellite.passband("narrow").unwrap();
    assert!((narrow.translation.as_mhz() - 8059.850).abs() < 1e-9);
    assert!((s.satellite.passband("wide").unwrap().translation.as_mhz() - 8056.0).abs() < 1e-9);
    assert!((narrow.down(Frequency::mhz(2412.5)).as_mhz() - 10472.35).abs() < 1e-9);
    assert!(matches!(
        narrow.beacon("beacon-psk").unwrap().kind,
        BeaconKind::Bpsk { differential: true, manchester: false, rolloff: Some(r), .. } if r == 0.5
    ));
    let names: Vec<_> = s.receive.branches.iter().map(|b| b.name.as_str()).collect();
    assert_eq!(names, ["sdr", "tv", "sdr-2"]);
    let sdr = s.receive.branch("sdr").unwrap();
    let parts: Vec<_> = s
        .receive
        .stages(sdr)
        .map(|x| x.part.name.as_str())
        .collect();
    assert_eq!(parts, ["lnb", "cable-down", "splitter", "sdr"]);
    assert_eq!(sdr.receives, ["narrow", "wide"]);
    let band = reach::reach(&s.receive, sdr, narrow).unwrap();
    assert!((band.lo.as_mhz() - 722.150).abs() < 1e-6 && (band.hi.as_mhz() - 722.550).abs() < 1e-6);
    let tx = s.transmit.as_ref().unwrap();
    assert_eq!(tx.power_amplifier().unwrap().1.name, "pa");
    let TransmitLevel::AmplifierOutput(p) = &tx.segment("wide").unwrap().level else {
        panic!()
    };
    assert!((p.distribution.mean() - slantpath_quantity::to_db(40.0)).abs() < 1e-12);
    assert_eq!(
        s.feed.transmit.as_ref().unwrap().sense_at_feed,
        Polarisation::Rhcp
    );
}

#[test]
fn both_sides_of_the_swap_share_what_is_the_same() {
    let f = station("qq0aaa.toml");
    let ids = |v: Option<&str>| -> BTreeSet<String> {
        f.variant(v)
            .unwrap()
            .contributors()
            .iter()
            .map(|c| c.id.0.clone())
            .collect()
    };
    let (old, new) = (ids(None), ids(Some("new-feed")));
    let only_old: Vec<_> = old.difference(&new).collect();
    assert!(
        !only_old.is_empty() && only_old.iter().all(|i| i.starts_with("feed.old.")),
        "{only_old:?}"
    );
    assert!(new.difference(&old).all(|i| i.starts_with("feed.new.")));
    assert!(old.contains("rx.lnb.noise_figure") && old.contains("sat.narrow.beacon-psk.eirp"));
    for v in [None, Some("new-feed")] {
        let s = f.variant(v).unwrap();
        assert_eq!(
            s.contributors().len(),
            ids(v).len(),
            "an identity stands for two things"
        );
        for c in s.contributors() {
            assert!(
                !c.source.is_empty() && !c.unit.is_empty() && !c.label.is_empty(),
                "{c:?}"
            );
        }
    }
}

#[test]
fn the_far_end_chooses_the_polarisation() {
    let s = station("qq0aaa.toml").base;
    for (p, volts) in [
        (Polarisation::Horizontal, 18.0),
        (Polarisation::Vertical, 13.0),
    ] {
        let report = dc::network(&s, Some(p)).unwrap().solve().unwrap();
        let lnb = report.load("lnb").unwrap();
        assert_eq!(lnb.state, dc::state_of(p));
        // 22 m at 0.04 ohm/m and 130 mA: 0.114 V are lost.
        assert!(
            (lnb.volts.as_v() - (volts - 0.1144)).abs() < 0.002,
            "{}",
            lnb.volts
        );
    }
}

/// Closed form: R = 22 m x 0.04 ohm/m; the volts at the LNB are U - R I.
#[test]
fn volts_carry_their_uncertainty() {
    let s = station("qq0aaa.toml").base;
    let all = dc::spread(&s, Some(Polarisation::Vertical)).unwrap();
    let lnb = all.iter().find(|l| l.name == "lnb").unwrap();
    let (lost, u_lost) = lnb.lost.unwrap();
    let by = [0.5 * 0.04 * 0.13, 22.0 * 0.005 * 0.13, 22.0 * 0.04 * 0.015];
    let u: f64 = by.iter().map(|x| x * x).sum::<f64>().sqrt();
    assert!(
        (lost - 0.1144).abs() < 0.002 && (u_lost - u).abs() < 0.001,
        "{lnb:?}"
    );
    assert!((lnb.volts.1 - u.hypot(0.3)).abs() < 0.002, "{lnb:?}");
    assert!(lnb.polarisation_sure);
}

#[test]
fn the_field_camp() {
    let s = station("qq7bbb.toml").base;
    assert!((s.site.latitude.as_deg() + 23.4).abs() < 1e-12);
    assert_eq!(
        s.site.footprint_down.distribution,
        Distribution::Normal { mean: -1.5, u: 0.3 }
    );
    let PartKind::Lnb(l) = &s.receive.nodes[0].part.kind else {
        panic!()
    };
    assert_eq!(
        l.lo_error.distribution,
        Distribution::Rectangular {
            lo: -300e3,
            hi: 300e3
        }
    );
    assert_eq!(l.lo_error.source, "station file");
    assert!(!l.inverted);
    let PartKind::Cable(c) = &s.receive.nodes[1].part.kind else {
        panic!()
    };
    assert!(c.loss_factor.source.starts_with("default"));
    assert_eq!(
        s.cooling.as_ref().unwrap().limit.distribution.mean(),
        348.15
    );
    assert!((s.feed.skew_error.distribution.u() - Angle::deg(4.0).as_rad()).abs() < 1e-12);
}
