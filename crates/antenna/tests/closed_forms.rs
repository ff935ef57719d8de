//! Closed forms against the tables in `tests/data` (each names its own source and script in its first lines).

use slantpath_antenna::aperture::{self, Taper};
use slantpath_antenna::degradation::{pointing_loss, ruze_loss};
use slantpath_antenna::illumination::{best_half_angle, cos_n, half_angle};
use slantpath_antenna::polarisation::{Polarisation, Sense};
use slantpath_quantity::{Angle, Decibel, Frequency, Length};

/// Rows of a table as header-keyed lookups.
fn rows(text: &str) -> Vec<Vec<(String, String)>> {
    let mut lines = text
        .lines()
        .filter(|l| !l.starts_with('#') && !l.trim().is_empty());
    let head: Vec<&str> = lines.next().unwrap().split(',').collect();
    lines
        .map(|l| {
            head.iter()
                .zip(l.split(','))
                .map(|(h, v)| ((*h).to_owned(), v.to_owned()))
                .collect()
        })
        .collect()
}
fn text<'a>(row: &'a [(String, String)], key: &str) -> &'a str {
    &row.iter().find(|(h, _)| h == key).unwrap().1
}
fn num(row: &[(String, String)], key: &str) -> f64 {
    text(row, key).parse().unwrap()
}
fn near(what: &str, got: f64, want: f64, rel: f64) {
    assert!(
        (got - want).abs() <= rel * want.abs().max(1e-3),
        "{what}: {got} is not {want}"
    );
}

/// `aperture_gain_beam.csv`, tolerance 1e-5 relative.
#[test]
fn aperture_gain_and_beam() {
    let mut seen = 0;
    for r in rows(include_str!("data/aperture_gain_beam.csv")) {
        let (d, f) = (Length::m(num(&r, "D_m")), Frequency::ghz(num(&r, "f_GHz")));
        let (what, want) = (text(&r, "quantity").to_owned(), num(&r, "value"));
        let hpbw70 = aperture::hpbw_rule(d, f).unwrap();
        let angle = |s: &str| Angle::deg(s.trim_end_matches("deg").parse().unwrap());
        let got = if what == "gain_dBi" {
            aperture::gain(d, num(&r, "eta"), f).unwrap().0
        } else if what == "hpbw_70" {
            hpbw70.as_deg()
        } else if what == "hpbw_uniform" {
            Taper::UNIFORM.hpbw(d, f).unwrap().as_deg()
        } else if what == "first_null_uniform" {
            Taper::UNIFORM.first_null(d, f).unwrap().as_deg()
        } else if let Some(s) = what.strip_prefix("ruze_loss_dB_rms") {
            ruze_loss(Length::mm(s.trim_end_matches("mm").parse().unwrap()), f)
                .unwrap()
                .0
        } else if let Some(s) = what.strip_prefix("pointing_loss_gauss_") {
            pointing_loss(angle(s), hpbw70).unwrap().0
        } else if let Some(s) = what.strip_prefix("pointing_loss_uniform_") {
            Taper::UNIFORM.pointing_loss(angle(s), d, f).unwrap().0
        } else {
            assert!(what.starts_with("fraunhofer"), "unknown quantity {what}");
            continue;
        };
        near(&what, got, want, 1e-5);
        seen += 1;
    }
    assert_eq!(seen, 96);
}

/// `cosn_feed.csv` and `cosn_feed_max.csv`, tolerance 1e-5.
#[test]
fn cos_n_feeds() {
    let table = rows(include_str!("data/cosn_feed.csv"));
    assert_eq!(table.len(), 24);
    for r in table {
        let t0 = half_angle(num(&r, "f_over_D")).unwrap();
        near("theta0", t0.as_deg(), num(&r, "theta0_deg"), 1e-7);
        let c = cos_n(num(&r, "n"), t0).unwrap();
        near("aperture", c.aperture, num(&r, "aperture_eff"), 1e-5);
        near("spill", c.spill, num(&r, "spillover_eff"), 1e-5);
        near("taper", c.taper, num(&r, "taper_eff"), 1e-5);
        near(
            "edge",
            -c.edge.0,
            num(&r, "edge_illum_incl_space_loss_dB_down"),
            1e-5,
        );
    }
    for r in rows(include_str!("data/cosn_feed_max.csv")) {
        let n = num(&r, "n");
        let t0 = best_half_angle(n).unwrap();
        near(
            "best half-angle",
            t0.as_deg(),
            num(&r, "theta0_opt_deg"),
            1e-5,
        );
        let c = cos_n(n, t0).unwrap();
        near("best efficiency", c.aperture, num(&r, "eff_numeric"), 1e-5);
        near("edge taper", -c.edge.0, num(&r, "edge_taper_dB"), 1e-5);
    }
}

/// `polarisation_mismatch.csv`, tolerance 1e-5 dB; its 40 dB stands for linear.
#[test]
fn polarisation_mismatch() {
    let table = rows(include_str!("data/polarisation_mismatch.csv"));
    assert_eq!(table.len(), 9);
    for r in table {
        let second = if text(&r, "sense") == "same" {
            Sense::Right
        } else {
            Sense::Left
        };
        let a = Polarisation::elliptical(Decibel(num(&r, "AR1_dB")), Angle::deg(0.0), Sense::Right)
            .unwrap();
        let b = Polarisation::elliptical(
            Decibel(num(&r, "AR2_dB")),
            Angle::deg(num(&r, "tilt_deg")),
            second,
        )
        .unwrap();
        assert!((a.efficiency(b) - num(&r, "p")).abs() < 1e-8);
        let (got, want) = (a.mismatch_loss(b).0, num(&r, "loss_dB"));
        assert!(
            (got - want).abs() < 1e-5 || (want == f64::INFINITY && got > 150.0),
            "{got} is not {want}"
        );
    }
}
