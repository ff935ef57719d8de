//! Time of fill and factoring, of the shadow case, and the factoring against the processor's complex multiply rate.
//!
//! Reference: NEC-2 on the same wires, `authority/nec_time.py`. Goals: at 1200 and 2400 unknowns 4 and 5 times faster; one
//! shadow evaluation (coil of 110 to 220 unknowns, 200 source points, both polarisations, one density) below 60 ms.

use faer::Mat;
use num_complex::Complex64;
use slantpath_antenna::polarisation::Sense;
use slantpath_quantity::{Frequency, Length};
use slantpath_wire::{Curve, Density, DipoleFields, Helix, Structure, System, V3, Wire};
use std::f64::consts::PI;

fn main() {
    divan::main();
}

/// The wires of `authority/nec_time.py`: circumference 1 wavelength, 12.5 deg, 20 segments a turn, in free space.
fn long_helix(segments: usize) -> (Structure, Frequency) {
    let lambda = 0.1249;
    let radius = Length::m(lambda / (2.0 * PI));
    let helix = Helix {
        base: [0.0; 3],
        radius,
        end_radius: radius,
        pitch: Length::m(lambda * 12.5_f64.to_radians().tan()),
        turns: segments as f64 / 20.0,
        start_rad: 0.0,
        sense: Sense::Right,
    };
    let wire = Wire::new("helix", Curve::Helix(helix), Length::mm(0.5)).divided(segments);
    (
        Structure::new(vec![wire]),
        Frequency::from_si(299_792_458.0 / lambda),
    )
}

#[divan::bench(args = [600, 1200, 2400], sample_count = 5, sample_size = 1)]
fn fill_and_factor(b: divan::Bencher<'_, '_>, n: usize) {
    let (s, f) = long_helix(n);
    b.bench(|| System::new(&s, f, Density::default()));
}

/// Complex multiply-adds of a product of the size at which a factoring of 2400 spends 3 times as many: `n^3/3` against
/// `n^3`.
#[divan::bench(args = [1200, 2400], sample_count = 3, sample_size = 1)]
fn complex_multiply(b: divan::Bencher<'_, '_>, n: usize) {
    let at =
        |i: usize, j: usize| Complex64::new(((i * 7 + j) % 11) as f64, ((i + 3 * j) % 5) as f64);
    let (x, y) = (Mat::from_fn(n, n, at), Mat::from_fn(n, n, at));
    b.bench(|| &x * &y);
}

#[divan::bench(args = [1200, 2400], sample_count = 3, sample_size = 1)]
fn factor_alone(b: divan::Bencher<'_, '_>, n: usize) {
    let at = |i: usize, j: usize| {
        let d = i.abs_diff(j) as f64;
        Complex64::from_polar(1.0 / (0.3 + d), 0.31 * d)
    };
    let x = Mat::from_fn(n, n, at);
    b.bench(|| x.partial_piv_lu());
}

/// A coil of the uplink around a receive feed at 10.45 GHz: radius 20 mm, wire 2 mm, three turns.
fn coil(turns: f64) -> Structure {
    let helix = Helix {
        base: [0.0, 0.0, 3e-3],
        radius: Length::mm(20.0),
        end_radius: Length::mm(20.0),
        pitch: Length::mm(27.9),
        turns,
        start_rad: 0.0,
        sense: Sense::Left,
    };
    Structure::new(vec![Wire::new(
        "coil",
        Curve::Helix(helix),
        Length::mm(1.0),
    )])
}

#[divan::bench(args = [10.0, 15.0], sample_count = 20, sample_size = 1)]
fn shadow(b: divan::Bencher<'_, '_>, per_wavelength: f64) {
    let f = Frequency::ghz(10.45);
    let k = 2.0 * PI / f.wavelength().as_m();
    let fields = aperture(k);
    let directions: Vec<(f64, f64)> = (0..12)
        .flat_map(|i| (0..24).map(move |j| (0.09 * f64::from(i), PI / 12.0 * f64::from(j))))
        .collect();
    let s = coil(3.0);
    b.bench(|| {
        let system = System::new(&s, f, Density::per_wavelength(per_wavelength)).unwrap();
        let both = system.illuminate_joint(&|at| fields.electric_all(at));
        both.iter()
            .map(|s| s.far_fields(&directions).len())
            .sum::<usize>()
    });
}

/// 200 Huygens pairs over a disc of 10 mm, electric field along x and along y.
fn aperture(k: f64) -> DipoleFields<2> {
    let (one, zero) = (Complex64::new(1.0, 0.0), Complex64::new(0.0, 0.0));
    let (j, e) = (Complex64::new(-1.0 / 376.73, 0.0), one);
    let moments = [
        [[j, zero, zero], [zero, -e, zero]],
        [[zero, j, zero], [e, zero, zero]],
    ];
    let places: Vec<V3> = (0..200)
        .map(|i| {
            let (r, t) = (
                0.01 * ((f64::from(i) + 0.5) / 200.0).sqrt(),
                2.399_963 * f64::from(i),
            );
            [r * t.cos(), r * t.sin(), 0.0]
        })
        .collect();
    DipoleFields::joint(&places, &[moments; 200], k)
}
