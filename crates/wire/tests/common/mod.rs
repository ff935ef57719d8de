//! Tables and structures shared by the tests.
#![allow(dead_code)]

use num_complex::Complex64;
use slantpath_antenna::pattern::Pattern;
use slantpath_antenna::polarisation::{Polarisation, Sense};
use slantpath_quantity::{Angle, Frequency, Length};
use slantpath_wire::{Division, Helix, Port, Report, Structure, System, Wire, shapes};
use std::f64::consts::PI;

/// Numeric rows of a table with `#` header and one line of column names; columns that are no numbers are NaN.
pub fn table(text: &str) -> Vec<Vec<f64>> {
    text.lines()
        .filter(|l| !l.starts_with('#'))
        .skip(1)
        .map(|l| {
            l.split(',')
                .map(|x| x.parse().unwrap_or(f64::NAN))
                .collect()
        })
        .collect()
}

/// Wavelength of the helix tables, mm.
pub const LAMBDA_MM: f64 = 124.9;

pub fn frequency() -> Frequency {
    Frequency::from_si(299_792_458.0 / (LAMBDA_MM * 1e-3))
}

/// Circumference 1 wavelength, pitch angle 12.5 deg, on a stub of 5 mm.
pub fn helix(turns: f64, wire_mm: f64, per_turn: f64) -> Vec<Wire> {
    let radius = Length::mm(LAMBDA_MM / (2.0 * PI));
    let helix = Helix {
        base: [0.0, 0.0, 5e-3],
        radius,
        end_radius: radius,
        pitch: Length::mm(LAMBDA_MM * 12.5_f64.to_radians().tan()),
        turns,
        start_rad: 0.0,
        sense: Sense::Right,
    };
    let mut wires = shapes::helix_with_stub("helix", helix, Length::mm(5.0), Length::mm(wire_mm));
    wires[0].division = Division::Count(1);
    wires[1].division = Division::Count((turns * per_turn).round() as usize);
    wires
}

/// Source over the whole stub; on the plane its image is the other half.
pub fn foot(plane: bool) -> Port {
    if plane {
        Port::new("helix, stub", Length::mm(0.0), Length::mm(10.0))
    } else {
        Port::new("helix, stub", Length::mm(2.5), Length::mm(5.0))
    }
}

pub struct Measured {
    pub d: f64,
    pub ar: f64,
    pub fb: f64,
    pub z: Complex64,
    pub report: Report,
    pub pattern: Pattern,
}

pub fn measure(structure: &Structure, density: slantpath_wire::Density) -> Measured {
    let s = System::new(structure, frequency(), density).unwrap();
    let port = foot(structure.plane);
    let z = s.impedance(&port).unwrap();
    let on = s.drive(&[(port, Complex64::new(1.0, 0.0))]).unwrap();
    let report = on.report();
    let pattern = Pattern::grid(on.grid(91, 24).unwrap(), Polarisation::RIGHT_CIRCULAR);
    // from the input power: over a plane the grid's own quadrature meets the step at the horizon
    let u = on.far_field(0.0, 0.0).intensity();
    let d = slantpath_quantity::to_db(
        4.0 * PI * u / (2.0 * slantpath_quantity::constants::ETA0_OHM) / on.radiated(),
    );
    Measured {
        d,
        ar: pattern.worst_axial_ratio(Angle::deg(0.0)).unwrap().0,
        fb: pattern.front_to_back().0,
        z,
        report,
        pattern,
    }
}
