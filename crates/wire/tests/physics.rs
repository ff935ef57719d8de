//! Physics that no code can argue with.

mod common;

use num_complex::Complex64;
use slantpath_antenna::polarisation::Sense;
use slantpath_quantity::constants::{ETA0_OHM, SPEED_OF_LIGHT};
use slantpath_quantity::{Frequency, Length};
use slantpath_wire::{
    C3, Curve, Density, DipoleField, DipolePair, Helix, Load, PlaneWave, Port, Structure, System,
    V3, Wire, shapes,
};
use std::f64::consts::PI;

const ONE: Complex64 = Complex64::new(1.0, 0.0);
const ZERO: Complex64 = Complex64::new(0.0, 0.0);

/// Frequency of a wavelength in metres.
fn f(lambda: f64) -> Frequency {
    Frequency::from_si(SPEED_OF_LIGHT / lambda)
}

/// The receive-band coil: radius 20 mm, three turns at 12.5 deg, open ends, at 10.45 GHz; all lengths times `scale`.
fn coil(wire_mm: f64, scale: f64) -> (Structure, Frequency) {
    let helix = Helix {
        base: [0.0, 0.0, 3e-3 * scale],
        radius: Length::mm(20.0 * scale),
        end_radius: Length::mm(20.0 * scale),
        pitch: Length::mm(40.0 * PI * 12.5_f64.to_radians().tan() * scale),
        turns: 3.0,
        start_rad: 0.0,
        sense: Sense::Left,
    };
    let wire = Wire::new("coil", Curve::Helix(helix), Length::mm(wire_mm * scale)).divided(130);
    (Structure::new(vec![wire]), Frequency::ghz(10.45 / scale))
}

fn wave(theta: f64, phi: f64, lambda: f64) -> PlaneWave {
    PlaneWave::arriving(theta, phi, ONE, Complex64::new(0.0, 0.5), 2.0 * PI / lambda)
}

/// Optical theorem (R. G. Newton, Am. J. Phys. 44, 1976; from memory): the forward scattered field gives the extinction,
/// `P_ext = (2 pi/(k eta)) |Im(E* . F)|` with `E_s -> F exp(-jkr)/r`; and a perfect conductor absorbs nothing.
///
/// The rest grows with `(ka)^2` and not with the division: where a wire bends, rings across different tangents carry the
/// charge apart by `J0(ka sin psi)`. 0.3 % at 0.035 wavelength, the limit of the good range.
#[test]
fn optical_theorem_of_a_coil() {
    for (wire, within) in [(0.5, 0.001), (1.0, 0.004), (1.5, 0.01)] {
        let (s, f) = coil(wire, 1.0);
        let lambda = f.wavelength().as_m();
        let system = System::new(&s, f, Density::default()).unwrap();
        for (t, p) in [(0.3, 0.2), (1.4, 2.0), (2.8, 4.0)] {
            let w = wave(t, p, lambda);
            let on = system.illuminate(&w);
            let balance = on.radiated() / on.drawn();
            assert!(
                (balance - 1.0).abs() < within,
                "wire {wire} from {t}: {balance}"
            );
            // forward: onwards along the wave's travel
            let forward = on.far_field(PI - t, p + PI);
            let (r, th, ph) = frame(PI - t, p + PI);
            assert!(r.iter().zip(w.travel).all(|(a, b)| (a - b).abs() < 1e-12));
            let e: Complex64 = (0..3)
                .map(|i| w.amplitude[i].conj() * (forward.theta * th[i] + forward.phi * ph[i]))
                .sum();
            let extinct = 2.0 * PI / (w.k * ETA0_OHM) * e.im;
            assert!(
                (extinct.abs() / on.drawn() - 1.0).abs() < within,
                "{extinct} {}",
                on.drawn()
            );
        }
    }
}

fn frame(theta: f64, phi: f64) -> (V3, V3, V3) {
    let ((st, ct), (sp, cp)) = (theta.sin_cos(), phi.sin_cos());
    (
        [st * cp, st * sp, ct],
        [ct * cp, ct * sp, -st],
        [-sp, cp, 0.0],
    )
}

/// All lengths and the wavelength scaled: the same answer.
#[test]
fn scaling_changes_nothing() {
    let solve = |scale: f64| {
        let (s, f) = coil(1.0, scale);
        let system = System::new(&s, f, Density::default()).unwrap();
        let on = system.illuminate(&wave(0.4, 0.0, f.wavelength().as_m()));
        let e = on.far_field(0.4, 1.0);
        [e.theta / scale, e.phi / scale]
    };
    let (a, b) = (solve(1.0), solve(4.37));
    let size = a[0].norm() + a[1].norm();
    assert!(
        (a[0] - b[0]).norm() + (a[1] - b[1]).norm() < 1e-7 * size,
        "{a:?} {b:?}"
    );
}

/// What is received from a direction is what is transmitted into it: short-circuit current in a plane wave against the far
/// field of the driven antenna.
#[test]
fn receiving_is_transmitting() {
    let mut wires = common::helix(2.0, 1.0, 20.0);
    wires.push(shapes::ring(
        "ring",
        [0.0, 0.0, -0.01],
        Length::mm(40.0),
        Length::mm(0.8),
    ));
    let freq = common::frequency();
    let system = System::new(&Structure::new(wires), freq, Density::default()).unwrap();
    let port = Port::new("helix", Length::mm(150.0), Length::mm(3.0));
    let driven = system.drive(&[(port.clone(), ONE)]).unwrap();
    let lambda = freq.wavelength().as_m();
    // reaction theorem: I_sc V = int J . E_inc, and F = -j eta k/(4 pi) int J exp(jk r.n)
    let factor = Complex64::new(0.0, 4.0 * PI / (ETA0_OHM * 2.0 * PI / lambda));
    for i in 0..7 {
        let (t, p) = (0.2 + 0.4 * f64::from(i), 1.1 * f64::from(i));
        let incident = wave(t, p, lambda);
        let received = system.illuminate(&incident).current(&port).unwrap();
        let e = driven.far_field(t, p);
        let expected = factor * (e.theta * ONE + e.phi * Complex64::new(0.0, 0.5));
        assert!(
            (received - expected).norm() < 1e-4 * expected.norm().max(1e-5),
            "{received} {expected}"
        );
        // the short way, without solving again
        assert!((driven.reaction(&incident) - received).norm() < 1e-9 * received.norm());
    }
}

/// Mutual admittance is the same both ways, with junctions, a plane, loads and loss.
#[test]
fn ports_are_reciprocal() {
    let wires = vec![
        Wire::straight("mast", [0.0; 3], [0.0, 0.0, 0.3], Length::mm(2.0)).conducting(5.8e7),
        // ends on the mast: joined there although the mast has no point of its own
        Wire::straight("arm", [0.0, 0.0, 0.17], [0.21, 0.05, 0.25], Length::mm(1.0)),
        Wire::straight("stay", [0.21, 0.05, 0.25], [0.2, 0.1, 0.0], Length::mm(3.0)),
    ];
    let s = Structure::over_plane(wires).loaded(Load {
        wire: "stay".into(),
        position: Length::mm(50.0),
        width: Length::mm(10.0),
        ohm: Complex64::new(60.0, -20.0),
    });
    let system = System::new(&s, f(1.0), Density::default()).unwrap();
    let ports = [
        Port::new("mast", Length::mm(0.0), Length::mm(10.0)),
        Port::new("arm", Length::mm(100.0), Length::mm(10.0)),
    ];
    let y = system.admittance(&ports).unwrap();
    assert!((y[0][1] - y[1][0]).norm() < 1e-10 * y[0][1].norm(), "{y:?}");
    assert!(y[0][1].norm() > 1e-5, "not joined: {y:?}");
    let on = system.drive(&[(ports[0].clone(), ONE)]).unwrap();
    let r = on.report();
    assert!((r.power_balance - 1.0).abs() < 0.002, "{r:?}");
    assert!(r.lost_share > 0.01 && r.lost_share < 0.9, "{r:?}");
}

/// Loss of a half-wave dipole with sinusoidal current: `R_s l/(4 pi a)` at the current maximum (Balanis, Antenna Theory, 2.14;
/// from memory), `R_s = sqrt(omega mu/(2 sigma))`, over the radiation resistance.
#[test]
fn copper_loss_of_a_dipole() {
    let (l, a, sigma) = (0.47, 5e-4, 5.8e7);
    let wire = shapes::dipole("d", [0.0; 3], [0.0, 0.0, 1.0], Length::m(l), Length::m(a))
        .conducting(sigma);
    let system = System::new(&Structure::new(vec![wire]), f(1.0), Density::default()).unwrap();
    let port = Port::new("d", Length::m(0.5 * l), Length::m(0.01));
    let r = system.impedance(&port).unwrap().re;
    let on = system.drive(&[(port, ONE)]).unwrap();
    let surface = (PI * SPEED_OF_LIGHT * 4e-7 * PI / sigma).sqrt();
    let expected = surface * l / (4.0 * PI * a) / r;
    let share = on.lost() / on.drawn();
    assert!((share / expected - 1.0).abs() < 0.02, "{share} {expected}");
    assert!(((on.radiated() + on.lost()) / on.drawn() - 1.0).abs() < 1e-4);
}

/// m = 0 scattering by an infinite cylinder with a series resistance: `I = E J0(ka)/(Z0 + R')`, `Z0 = (eta k/4) J0(ka) H0(2)(ka)`
/// per metre (Harrington 1961, 5-9, the m = 0 term; Bessel functions by libm). The resistance lets the ends be forgotten.
#[test]
fn long_resistive_wire_is_the_cylinder_series() {
    let lambda = 1.0;
    let k = 2.0 * PI / lambda;
    for (a, within) in [(0.002, 0.01), (0.02, 0.01), (0.035, 0.01)] {
        let length = 10.0;
        let n = 200;
        let per_m = 900.0;
        let mut s = Structure::new(vec![
            Wire::straight("rod", [0.0; 3], [0.0, 0.0, length], Length::m(a)).divided(n),
        ]);
        let piece = length / n as f64;
        for i in 0..n {
            s = s.loaded(Load {
                wire: "rod".into(),
                position: Length::m((i as f64 + 0.5) * piece),
                width: Length::m(piece),
                ohm: Complex64::new(per_m * piece, 0.0),
            });
        }
        let system = System::new(&s, f(lambda), Density::default()).unwrap();
        let on = system.illuminate(&PlaneWave {
            travel: [1.0, 0.0, 0.0],
            amplitude: [ZERO, ZERO, ONE],
            k,
        });
        let middle = on.currents()[n / 2][0];
        let x = k * a;
        let h = Complex64::new(libm::j0(x), -libm::y0(x));
        let exact = libm::j0(x) / (0.25 * ETA0_OHM * k * libm::j0(x) * h + per_m);
        let e = (middle - exact).norm() / exact.norm();
        println!("a {a}: {middle:.6} exact {exact:.6}: {e:.1e}");
        assert!(e < within, "a {a}: {middle} {exact}");
    }
}

/// A source array's near field becomes its far field, and satisfies the wave equation's divergence condition.
#[test]
fn dipole_pairs_radiate_as_they_should() {
    let k = 2.0 * PI;
    let field = DipoleField::new(
        &[DipolePair {
            at: [0.0; 3],
            electric: [ONE, ZERO, ZERO],
            magnetic: [ZERO, ONE * ETA0_OHM, ZERO],
        }],
        k,
    );
    use slantpath_wire::GivenField;
    // Huygens source: (1 + cos theta) along +z, nothing behind
    let e = |z: f64| -> C3 { field.electric([0.0, 0.0, z]) };
    let r = 1000.0;
    let front = e(r)[0].norm() * r;
    assert!(
        (front / (2.0 * ETA0_OHM * k / (4.0 * PI)) - 1.0).abs() < 1e-3,
        "{front}"
    );
    assert!(e(-r)[0].norm() * r < 1e-3 * front);
    // divergence by differences at half a wavelength
    // a source in the very place, and several as the sum of each
    assert_eq!(field.electric([0.0; 3])[0], ZERO);
    let many: Vec<_> = (0..21)
        .map(|i| DipolePair {
            at: [0.01 * f64::from(i), 0.0, 0.0],
            electric: [ONE, Complex64::i(), ZERO],
            magnetic: [ZERO, ONE, Complex64::new(0.0, f64::from(i))],
        })
        .collect();
    let at = [0.1, 0.5, -0.3];
    let together = DipoleField::new(&many, k).electric(at);
    for (c, e) in together.iter().enumerate() {
        let sum: Complex64 = many
            .iter()
            .map(|&s| DipoleField::new(&[s], k).electric(at)[c])
            .sum();
        assert!((e - sum).norm() < 1e-12 * e.norm());
    }
    let p = [0.3, 0.2, 0.35];
    let d = 1e-4;
    let div: Complex64 = (0..3)
        .map(|i| {
            let (mut a, mut b) = (p, p);
            a[i] += d;
            b[i] -= d;
            (field.electric(a)[i] - field.electric(b)[i]) / (2.0 * d)
        })
        .sum();
    assert!(div.norm() < 1e-4 * k * e(0.5)[0].norm(), "{div}");
}
