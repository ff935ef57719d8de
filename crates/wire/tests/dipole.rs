//! Half-wave dipole and friends against theory and NEC-2.

use num_complex::Complex64;
use slantpath_antenna::pattern::Pattern;
use slantpath_antenna::polarisation::Polarisation;
use slantpath_quantity::{Angle, Frequency, Length};
use slantpath_wire::{Density, Port, Structure, System, shapes};

/// Wavelength 1 m.
fn f() -> Frequency {
    Frequency::from_si(299_792_458.0)
}

#[test]
fn against_nec_table() {
    for line in include_str!("data/dipole_nec.csv").lines() {
        if !line.starts_with("PyNEC") {
            continue;
        }
        let field: Vec<&str> = line.split(',').collect();
        let n: usize = field[0].split('=').nth(1).unwrap().parse().unwrap();
        let [l, a, r, x, g]: [f64; 5] = std::array::from_fn(|i| field[i + 1].parse().unwrap());
        let wire = shapes::dipole("d", [0.0; 3], [0.0, 0.0, 1.0], Length::m(l), Length::m(a))
            .divided(n + 1);
        let s = System::new(&Structure::new(vec![wire]), f(), Density::default()).unwrap();
        // NEC's source acts over one segment
        let port = Port::new("d", Length::m(0.5 * l), Length::m(l / n as f64));
        let z = s.impedance(&port).unwrap();
        let on = s.drive(&[(port, Complex64::new(1.0, 0.0))]).unwrap();
        let grid = on.grid(91, 8).unwrap();
        let d = Pattern::grid(grid, Polarisation::VERTICAL)
            .directivity(Angle::deg(90.0), Angle::deg(0.0));
        let rep = on.report();
        println!(
            "L {l} a {a} n {n}: Z {z:.2} NEC {r:.2} {x:+.2}; D {:.4} NEC {g:.4}; balance {:.5} cond {:.1e} recip {:.1e}",
            d.0, rep.power_balance, rep.condition, rep.reciprocity
        );
    }
}
