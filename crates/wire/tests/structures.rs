//! Structures of many wires: pieces, grids, a horn's metal inside a coil; and random ones.

mod common;

use num_complex::Complex64;
use proptest::prelude::*;
use slantpath_quantity::{Frequency, Length};
use slantpath_wire::{
    Density, GivenField, Mirrored, PlaneWave, Port, Structure, System, V3, Wire, shapes,
};
use std::f64::consts::PI;

const ONE: Complex64 = Complex64::new(1.0, 0.0);
const ZERO: Complex64 = Complex64::new(0.0, 0.0);

/// Wavelength 1 m.
fn f() -> Frequency {
    Frequency::from_si(299_792_458.0)
}

/// A bent wire in one piece, and the same in four wires, some of them laid the other way round: one answer.
#[test]
fn cutting_a_wire_changes_nothing() {
    let a = Length::mm(3.0);
    let p: [V3; 5] = [
        [0.0; 3],
        [0.1, 0.0, 0.02],
        [0.1, 0.12, 0.02],
        [0.1, 0.2, 0.1],
        [0.0, 0.3, 0.1],
    ];
    let whole = Wire::new("w", slantpath_wire::Curve::Polyline(p.to_vec()), a);
    let cut = vec![
        Wire::straight("1", p[1], p[0], a),
        Wire::straight("w", p[1], p[2], a),
        Wire::straight("3", p[2], p[3], a),
        Wire::straight("4", p[4], p[3], a),
    ];
    let z = |wires: Vec<Wire>, at: f64| {
        let s = System::new(&Structure::new(wires), f(), Density::default()).unwrap();
        s.impedance(&Port::new("w", Length::m(at), Length::m(0.02)))
            .unwrap()
    };
    let first = 0.1_f64.hypot(0.02);
    let (one, four) = (z(vec![whole], first + 0.06), z(cut, 0.06));
    assert!((one - four).norm() < 1e-6 * one.norm(), "{one} {four}");
}

/// The same antenna over the plane, and with its image written out as wires: half the impedance, the same field.
#[test]
fn the_plane_is_its_image() {
    let a = Length::mm(4.0);
    let half: [V3; 3] = [[0.0; 3], [0.0, 0.0, 0.15], [0.12, 0.05, 0.2]];
    let up = Wire::new("up", slantpath_wire::Curve::Polyline(half.to_vec()), a);
    let down = Wire::new(
        "down",
        slantpath_wire::Curve::Polyline(half.iter().map(|p| [p[0], p[1], -p[2]]).collect()),
        a,
    );
    let port = Port::new("up", Length::mm(0.0), Length::mm(20.0));
    let over = System::new(
        &Structure::over_plane(vec![up.clone()]),
        f(),
        Density::default(),
    )
    .unwrap();
    let both = System::new(&Structure::new(vec![up, down]), f(), Density::default()).unwrap();
    // the free-space source: 10 mm of each half, in series
    let lower = Port::new("down", Length::mm(0.0), Length::mm(20.0));
    let on = both
        .drive(&[(port.clone(), ONE), (lower.clone(), -ONE)])
        .unwrap();
    let (z1, z2) = (
        over.impedance(&port).unwrap(),
        1.0 / on.current(&port).unwrap(),
    );
    assert!((z1 - z2).norm() < 2e-4 * z1.norm(), "{z1} {z2}");
    let (e1, e2) = (
        over.drive(&[(port, ONE)]).unwrap().far_field(0.7, 0.3),
        on.far_field(0.7, 0.3),
    );
    assert!(
        (e1.theta - e2.theta).norm() < 2e-4 * e1.theta.norm(),
        "{e1:?} {e2:?}"
    );
}

/// A plane wave and its mirror image have no field along the plane.
#[test]
fn mirrored_fields_satisfy_the_plane() {
    let k = 2.0 * PI;
    let m = Mirrored(PlaneWave::arriving(0.6, 0.4, ONE, Complex64::i(), k));
    let e = m.electric([0.3, -0.2, 0.0]);
    assert!(e[0].norm() < 1e-12 && e[1].norm() < 1e-12 && e[2].norm() > 0.5);
}

/// The uplink coil on a disc with the receive horn's metal inside: solvable, balanced, and the horn changes it.
#[test]
fn a_horn_inside_the_coil() {
    let r = common::LAMBDA_MM / (2.0 * PI);
    let rings: Vec<_> = [10.0, r, 35.0, 50.0].map(Length::mm).to_vec();
    let bare = |horn: bool| {
        let disc = shapes::polar_annulus("disc", [0.0; 3], &rings, 16, Length::mm(0.5)).unwrap();
        let mut wires = common::helix(3.0, 1.0, 20.0);
        wires.extend(disc);
        if horn {
            // stands on the disc's inner ring, joined to it
            let heights: Vec<_> = [8.0, 16.0, 24.0].map(Length::mm).to_vec();
            let mut tube = shapes::tube(
                "horn",
                [0.0; 3],
                Length::mm(10.0),
                &heights,
                16,
                Length::mm(0.5),
            )
            .unwrap();
            for j in 0..16 {
                let (s, c) = (2.0 * PI * f64::from(j) / 16.0).sin_cos();
                let at = |z: f64| [0.01 * c, 0.01 * s, z];
                tube.push(Wire::straight(
                    format!("horn, foot {j}"),
                    at(0.0),
                    at(0.008),
                    Length::mm(0.5),
                ));
            }
            wires.extend(tube);
        }
        common::measure(&Structure::new(wires), Density::per_wavelength(12.0))
    };
    let (without, with) = (bare(false), bare(true));
    for m in [&without, &with] {
        assert!(
            (m.report.power_balance - 1.0).abs() < 0.002,
            "{:?}",
            m.report
        );
        assert!(
            m.report.condition < 1e6 && m.report.validity.is_inside(),
            "{:?}",
            m.report
        );
    }
    assert!((without.z - with.z).norm() > 1.0);
    assert!((8.0..11.0).contains(&with.d), "{}", with.d);
}

/// Parallel from 500 unknowns on, and the same to the last bit with one, two and three threads.
#[test]
fn threads_change_nothing() {
    let wires = common::helix(30.0, 0.5, 20.0);
    let s = Structure::new(wires);
    let solve = || {
        let system = System::new(&s, common::frequency(), Density::default()).unwrap();
        let on = system.drive(&[(common::foot(false), ONE)]).unwrap();
        let e = on.far_field(0.3, 0.2);
        [on.drawn(), on.radiated(), e.theta.re, e.phi.im].map(f64::to_bits)
    };
    let with = |n: usize| {
        rayon::ThreadPoolBuilder::new()
            .num_threads(n)
            .build()
            .unwrap()
            .install(solve)
    };
    let one = with(1);
    assert_eq!(one, with(2));
    assert_eq!(one, with(3));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, ..ProptestConfig::default() })]

    /// Any few wires: refused with a reason, or solved with the power balance kept.
    #[test]
    fn refused_or_balanced(
        ends in prop::collection::vec((-0.2_f64..0.2, -0.2_f64..0.2, 0.0_f64..0.3), 2..6),
        radius_mm in 0.05_f64..40.0,
        plane: bool,
        density in 8.0_f64..20.0,
    ) {
        let points: Vec<V3> = ends.iter().map(|&(x, y, z)| [x, y, z]).collect();
        let wire = Wire::new("w", slantpath_wire::Curve::Polyline(points.clone()), Length::mm(radius_mm));
        let s = Structure { plane, ..Structure::new(vec![wire]) };
        match System::new(&s, f(), Density::per_wavelength(density)) {
            Err(e) => prop_assert!(e.to_string().len() > 20),
            Ok(system) => {
                let wave = PlaneWave { travel: [0.0, 0.0, -1.0], amplitude: [ONE, ONE, ZERO], k: 2.0 * PI };
                let on = if plane { system.illuminate(&Mirrored(wave)) } else { system.illuminate(&wave) };
                // a wire across the field draws next to nothing, and the ratio says nothing
                let shadow = PI * 1e-4 / (2.0 * 376.73);
                if on.drawn() > shadow {
                    let balance = on.radiated() / on.drawn();
                    let thick = radius_mm / 1000.0;
                    prop_assert!((balance - 1.0).abs() < 0.01 + 20.0 * thick * thick, "{} a {}", balance, thick);
                }
            }
        }
    }
}
