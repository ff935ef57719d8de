//! Transmit feeds from their dimensions, 2.4 GHz.

use slantpath_antenna::polarisation::Sense;
use slantpath_quantity::{Angle, Frequency, Length, Temperature};
use slantpath_wire::feed::uplink::{Arrangement, DipoleFeed, Ground, HelixFeed, Tube, UplinkFeed};
use slantpath_wire::feed::{Coil, Metal, after_the_dish, wet, winding};
use slantpath_wire::{Density, WireError};
use std::f64::consts::PI;

const LAMBDA: f64 = 0.1249;

fn frequency() -> Frequency {
    Frequency::from_si(299_792_458.0 / LAMBDA)
}

fn coil(turns: f64) -> Coil {
    let r = LAMBDA / (2.0 * PI);
    Coil {
        metal: Metal::Perfect,
        ..Coil::new(
            turns,
            Length::m(2.0 * r),
            Length::m(LAMBDA * 12.5_f64.to_radians().tan()),
            Length::mm(2.0),
            Length::mm(5.0),
            Sense::Right,
        )
    }
}

/// An earlier numerical study on a polar grid disc by NEC-2 (24 radials, 6 rings, grid wire not stated): D within 0.1 dB, AR
/// within 0.3 dB, phase centre 6 to 12 mm before the disc. Back lobes are no more than likely (solid disc 0.8 dB lower).
#[test]
fn the_earlier_study_of_helices() {
    for (turns, disc, d, ar, fb) in [(2.0, 0.8, 8.72, 1.5, 11.4), (3.0, 0.8, 9.31, 2.3, 10.4)] {
        let f = UplinkFeed::Helix(HelixFeed::on_disc(coil(turns), Length::m(disc * LAMBDA)));
        let u = f.solve_refined(frequency(), Angle::deg(62.0)).unwrap();
        let s = u.spread.unwrap();
        println!(
            "{turns} turns: D {:.2} ({d}) AR {:.2} ({ar}) F/B {:.1} ({fb}) Z {:.0} +- {:.0}; phase centre {:.1} mm",
            u.directivity.0,
            u.axial_ratio.0,
            u.front_to_back.0,
            u.impedance[0],
            u.impedance_u(),
            u.phase_centre.z.as_m() * 1e3,
        );
        assert!((u.directivity.0 - d).abs() < 0.1 && (u.axial_ratio.0 - ar).abs() < 0.3);
        assert!((u.front_to_back.0 - fb).abs() < 2.5);
        assert!((6.0..12.0).contains(&(u.phase_centre.z.as_m() * 1e3)));
        assert!(s.gain.0 < 0.05 && s.axial_ratio.0 < 0.05 && s.impedance < 10.0);
        assert!((u.report.power_balance - 1.0).abs() < 0.005 && u.validity.is_inside());
        assert!(u.impedance_u() > 0.15 * u.impedance[0].norm());
        // dish's cone: purest on the axis, and the sense is the one meant
        assert!(u.cone.worst_axial_ratio.0 > u.axial_ratio.0 && u.cone.cross_polar.0 < -8.0);
        assert!((0.7..0.95).contains(&u.cone.power));
        let (rl, rl_u) = u.return_loss(50.0);
        assert!(rl.0 > 2.0 && rl.0 < 15.0 && rl_u.0 > 0.2);
    }
}

#[test]
fn the_winding_sense_is_the_one_radiated() {
    for sense in [Sense::Right, Sense::Left] {
        let c = Coil { sense, ..coil(2.0) };
        let f = UplinkFeed::Helix(HelixFeed {
            coil: c,
            ground: Ground::Plane,
            tube: None,
        });
        let u = f
            .solve(frequency(), Angle::deg(40.0), Density::default())
            .unwrap();
        let seen = u
            .pattern
            .polarisation_at(Angle::rad(0.0), Angle::rad(0.0))
            .unwrap();
        assert_eq!(seen.sense(), Some(sense));
        let reversed = match sense {
            Sense::Right => "LHCP",
            Sense::Left => "RHCP",
        };
        assert!(after_the_dish(sense).contains(reversed) && !winding(sense).contains(reversed));
    }
}

/// The receive feed's metal inside the coil: a tube behind the disc does nothing; inside, it takes some tenths of gain.
#[test]
fn a_tube_inside_the_coil() {
    let mut h = HelixFeed::on_disc(coil(3.0), Length::m(0.8 * LAMBDA));
    let mut solve = |front: Option<f64>| {
        h.tube = front.map(|mm| Tube {
            radius: Length::mm(12.0),
            front: Length::mm(mm),
            behind: Length::mm(10.0),
        });
        UplinkFeed::Helix(h)
            .solve(frequency(), Angle::deg(62.0), Density::per_wavelength(14.0))
            .unwrap()
    };
    let (none, flush, inside) = (solve(None), solve(Some(0.0)), solve(Some(20.0)));
    assert!((none.directivity.0 - flush.directivity.0).abs() < 0.1);
    let drop = flush.directivity.0 - inside.directivity.0;
    println!("a tube 24 mm wide reaching 20 mm into the coil costs {drop:.2} dB");
    assert!((0.1..0.8).contains(&drop));
    assert!((inside.report.power_balance - 1.0).abs() < 0.005);
    h.tube = Some(Tube {
        radius: Length::mm(19.0),
        front: Length::mm(20.0),
        behind: Length::mm(0.0),
    });
    let e = UplinkFeed::Helix(h)
        .solve(frequency(), Angle::deg(62.0), Density::default())
        .unwrap_err();
    assert!(matches!(e, WireError::CoilHitsHorn { .. }), "{e}");
}

/// A quarter wave over a large plane: two parallel dipoles half a wave apart have 3 dB more than one over free space and the
/// image; J. D. Kraus, Antennas (from memory): a single dipole a quarter wave before a plane has 7.5 dBi, a crossed pair
/// in quadrature the same on its axis.
#[test]
fn dipoles_over_a_plane() {
    let d = |arrangement, ground| {
        UplinkFeed::Dipoles(DipoleFeed {
            length: Length::m(0.46 * LAMBDA),
            height: Length::m(0.25 * LAMBDA),
            wire: Length::mm(2.0),
            arrangement,
            ground,
            metal: Metal::Copper,
        })
        .solve(frequency(), Angle::deg(62.0), Density::default())
        .unwrap()
    };
    let crossed = d(Arrangement::Crossed(Sense::Left), Ground::Plane);
    assert!(
        (crossed.directivity.0 - 7.5).abs() < 0.15,
        "{}",
        crossed.directivity.0
    );
    let seen = crossed
        .pattern
        .polarisation_at(Angle::rad(0.0), Angle::rad(0.0))
        .unwrap();
    assert_eq!(seen.sense(), Some(Sense::Left));
    assert!(crossed.axial_ratio.0 < 1.5 && crossed.phase_centre.z.as_m().abs() < 2e-3);
    let pair = d(
        Arrangement::Pair(Length::m(0.5 * LAMBDA)),
        Ground::Disc(Length::m(0.9 * LAMBDA)),
    );
    assert!(pair.directivity.0 > crossed.directivity.0 + 1.0 && pair.axial_ratio.0 > 30.0);
    assert!((0.0..0.05).contains(&crossed.metal_loss.0));
}

#[test]
fn water_makes_the_coil_act_as_at_a_higher_frequency() {
    let (c, f) = (coil(3.0), frequency());
    let dry = wet::detuned(&c, Length::mm(0.0), 3.0, f).unwrap();
    assert_eq!(dry.velocity, 1.0);
    let thin = wet::wet(&c, Length::mm(0.1), f, Temperature::celsius(10.0)).unwrap();
    let thick = wet::wet(&c, Length::mm(0.3), f, Temperature::celsius(10.0)).unwrap();
    println!(
        "water of 0.1 mm: {:.2} %, 0.3 mm: {:.2} %",
        100.0 * (1.0 - thin.velocity),
        100.0 * (1.0 - thick.velocity)
    );
    assert!(
        thin.velocity < 1.0 && thick.velocity < thin.velocity && thick.equivalent > thin.equivalent
    );
    assert!(thin.validity.is_inside());
    assert!(
        !wet::wet(&c, Length::mm(3.0), f, Temperature::celsius(10.0))
            .unwrap()
            .validity
            .is_inside()
    );
    assert!(wet::detuned(&c, Length::mm(0.1), 0.5, f).is_err());
    let lid = wet::cover(
        Length::mm(2.0),
        2.5,
        0.01,
        Length::mm(0.2),
        f,
        Temperature::celsius(10.0),
    )
    .unwrap();
    assert!(lid.transmitted < 1.0 && lid.transmitted + lid.reflected + lid.absorbed > 0.999_999);
}

#[test]
fn what_cannot_be_built_is_named() {
    let says = |f: UplinkFeed, text: &str| {
        let e = f
            .solve(frequency(), Angle::deg(62.0), Density::default())
            .unwrap_err();
        assert!(e.to_string().contains(text), "{e}");
    };
    let on = |c: Coil, d: f64| UplinkFeed::Helix(HelixFeed::on_disc(c, Length::mm(d)));
    says(
        on(
            Coil {
                turns: 0.0,
                ..coil(3.0)
            },
            100.0,
        ),
        "turns",
    );
    says(on(coil(3.0), 30.0), "wider than the coil");
    says(
        on(
            Coil {
                stub: Length::mm(0.5),
                ..coil(3.0)
            },
            100.0,
        ),
        "fed between disc and first turn",
    );
    says(
        on(
            Coil {
                wire: Length::mm(16.0),
                stub: Length::mm(10.0),
                ..coil(1.0)
            },
            100.0,
        ),
        "thin-wire",
    );
    let e = on(coil(3.0), 100.0)
        .solve(frequency(), Angle::deg(2.0), Density::default())
        .unwrap_err();
    assert!(e.to_string().contains("half-angle"), "{e}");
}

#[test]
fn a_sweep_keeps_its_order() {
    let f = UplinkFeed::Helix(HelixFeed {
        coil: coil(1.5),
        ground: Ground::Plane,
        tube: None,
    });
    let at = [2.3, 2.4, 2.5].map(Frequency::ghz);
    let all = f.sweep(&at, Angle::deg(50.0), Density::default()).unwrap();
    assert!(all.iter().zip(at).all(|(u, f)| u.frequency == f));
    let alone = f
        .solve(at[1], Angle::deg(50.0), Density::default())
        .unwrap();
    assert_eq!(all[1].directivity, alone.directivity);
}
