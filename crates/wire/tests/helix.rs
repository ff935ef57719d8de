//! Axial helices against NEC-2 on the same segments.

mod common;

use common::{LAMBDA_MM, helix, measure, table};
use slantpath_quantity::Length;
use slantpath_wire::{Density, Division, Structure, shapes};
use std::f64::consts::PI;

#[test]
fn over_the_plane_as_nec() {
    for r in table(include_str!("data/helix_nec_plane.csv")) {
        let [turns, a, per, d, ar, re, im] = r[..] else {
            panic!("{r:?}")
        };
        let m = measure(
            &Structure::over_plane(helix(turns, a, per)),
            Density::default(),
        );
        assert!((m.d - d).abs() < 0.05, "D {} {d}", m.d);
        // two turns of thick wire: 0.064 dB at 20 segments a turn, 0.052 at 40; all others 0.036 or less
        let within = if turns < 3.0 { 0.07 } else { 0.05 };
        assert!((m.ar - ar).abs() < within, "AR {} {ar}", m.ar);
        assert!((m.report.power_balance - 1.0).abs() < 0.001 && m.report.reciprocity < 1e-5);
        println!(
            "turns {turns} a {a} per {per}: D {:.3} ({:+.3}) AR {:.3} ({:+.3}) Z {:.1} NEC {re:.1}{im:+.1} balance {:.4} recip {:.1e}",
            m.d,
            m.d - d,
            m.ar,
            m.ar - ar,
            m.z,
            m.report.power_balance,
            m.report.reciprocity
        );
    }
}

#[test]
fn on_a_wire_grid_disc_as_nec() {
    for r in table(include_str!("data/helix_nec_disc.csv")) {
        let [turns, size, radials, a, grid, d, ar, fb, re, im] = r[..] else {
            panic!("{r:?}")
        };
        let r = LAMBDA_MM / (2.0 * PI);
        let edge = 0.5 * size * LAMBDA_MM;
        let rings: Vec<_> = [0.5 * r, r]
            .into_iter()
            .chain((1..=3).map(|i| r + (edge - r) * f64::from(i) / 3.0))
            .map(Length::mm)
            .collect();
        let mut disc =
            shapes::polar_disc("disc", [0.0; 3], &rings, radials as usize, Length::mm(grid))
                .unwrap();
        disc.iter_mut()
            .for_each(|w| w.division = Division::Count(1));
        let m = measure(
            &Structure::new(helix(turns, a, 20.0)).with(disc),
            Density::default(),
        );
        assert!((m.d - d).abs() < 0.05, "D {} {d}", m.d);
        assert!((m.ar - ar).abs() < 0.05, "AR {} {ar}", m.ar);
        // a lobe 13 dB down, between two codes whose currents differ by 1 %
        assert!((m.fb - fb).abs() < 0.7, "F/B {} {fb}", m.fb);
        assert!((m.report.power_balance - 1.0).abs() < 0.001);
        println!(
            "turns {turns} disc {size} a {a} n {}: D {:.3} ({:+.3}) AR {:.3} ({:+.3}) FB {:.2} ({:+.2}) Z {:.1} NEC {re:.1}{im:+.1} balance {:.4} cond {:.1e} {:?}",
            m.report.unknowns,
            m.d,
            m.d - d,
            m.ar,
            m.ar - ar,
            m.fb,
            m.fb - fb,
            m.z,
            m.report.power_balance,
            m.report.condition,
            m.report.remarks
        );
    }
}

/// An earlier numerical study's table of 2.4 GHz helices (circumference 1 wavelength = 124.9 mm, 12.5 deg, wire radius 1 mm,
/// 5 mm stub, infinite plane): D, half-power width (there in one cut, here
/// the mean over azimuth), axial ratio, as printed.
#[test]
fn the_earlier_study_over_a_plane() {
    for (turns, d, width, ar) in [
        (2.0, 8.08, 79.9, 1.5),
        (3.0, 9.09, 67.2, 2.9),
        (4.0, 9.66, 63.9, 1.4),
    ] {
        let m = measure(
            &Structure::over_plane(helix(turns, 1.0, 20.0)),
            Density::default(),
        );
        let w = half_power_width(&m.pattern);
        assert!(
            (m.d - d).abs() < 0.05 && (m.ar - ar).abs() < 0.1,
            "{} {}",
            m.d,
            m.ar
        );
        assert!((w - width).abs() < 2.0, "{w} {width}");
    }
}

/// The same study on a finite disc, whose grid wire it does not state: D within 0.1 dB, width within 2 deg, and an infinite
/// plane makes the beam 7 to 12 deg too wide.
#[test]
fn the_earlier_study_on_a_disc() {
    for (turns, size, d, width) in [
        (2.0, 0.8, 8.72, 67.6),
        (3.0, 0.8, 9.31, 60.4),
        (3.0, 1.0, 9.83, 56.3),
        (4.0, 0.8, 10.11, 56.0),
    ] {
        let r = LAMBDA_MM / (2.0 * PI);
        let edge = 0.5 * size * LAMBDA_MM;
        let rings: Vec<_> = [0.5 * r, r]
            .into_iter()
            .chain((1..=4).map(|i| r + (edge - r) * f64::from(i) / 4.0))
            .map(Length::mm)
            .collect();
        let disc = shapes::polar_disc("disc", [0.0; 3], &rings, 24, Length::mm(0.5)).unwrap();
        let m = measure(
            &Structure::new(helix(turns, 1.0, 20.0)).with(disc),
            Density::default(),
        );
        let w = half_power_width(&m.pattern);
        assert!((m.d - d).abs() < 0.1, "{} {d}", m.d);
        assert!((w - width).abs() < 2.0, "{w} {width}");
    }
}

/// H. E. King and J. L. Wong (1980, from memory) fitted helices over a cavity at their peak; NEC-2 over an infinite plane lies
/// 0.3 to 1.2 dB below that fit at ten turns and above it at three. Kraus (1st ed., from memory) 15 C^2 N S is 2 to 4 dB above
/// any computation. Shown as what the formulas are worth; the computed value must lie between NEC-2 and these.
#[test]
fn formulas_are_coarse() {
    let m = measure(
        &Structure::over_plane(helix(10.0, 0.5, 24.0)),
        Density::default(),
    );
    let s = 12.5_f64.to_radians().tan();
    let kraus = slantpath_quantity::to_db(15.0 * 10.0 * s);
    let king_wong = slantpath_quantity::to_db(8.3 * (10.0 * s).powf(0.8));
    assert!((2.0..4.0).contains(&(kraus - m.d)), "{kraus} {}", m.d);
    assert!((m.d - king_wong).abs() < 0.7, "{king_wong} {}", m.d);
}

/// Full width between the half-power points of the mean cut.
fn half_power_width(p: &slantpath_antenna::pattern::Pattern) -> f64 {
    let cut = |t: f64| {
        (0..24)
            .map(|j| p.field(t, PI / 12.0 * f64::from(j)).intensity())
            .sum::<f64>()
    };
    let half = 0.5 * cut(0.0);
    let mut t = 0.0;
    while cut(t) > half && t < PI {
        t += 0.001;
    }
    2.0 * t.to_degrees()
}
