//! Physics: thin-wire method of moments.
//!
//! Wires of stated radius, straight or curved, joined where their ends meet, over nothing or over a perfect plane; driven by
//! sources or by any given field. Mixed-potential integral equation, triangle functions on both sides (Galerkin), current
//! and charge on the surface of the wire and alike around it (R. F. Harrington, Field Computation by Moment Methods, 1968;
//! the exact tube kernel near, its second-order expansion far). Peak phasors, `exp(+j omega t)`, metres.
//!
//! Good to a wire radius of 0.035 wavelength, warned above 0.04, refused above 0.06.
//!
//! ```
//! use num_complex::Complex64;
//! use slantpath_quantity::{Frequency, Length};
//! use slantpath_wire::{Density, Port, Structure, System, shapes};
//!
//! let f = Frequency::ghz(2.4);
//! let length = f.wavelength() * 0.47;
//! let wire = shapes::dipole("arm", [0.0; 3], [1.0, 0.0, 0.0], length, Length::mm(0.5));
//! let system = System::new(&Structure::new(vec![wire]), f, Density::default())?;
//! let port = Port::new("arm", length * 0.5, Length::mm(2.0));
//! let z = system.impedance(&port)?;
//! assert!((60.0..95.0).contains(&z.re));
//! let on = system.drive(&[(port, Complex64::new(1.0, 0.0))])?;
//! let report = on.report();
//! assert!(report.validity.is_inside() && (report.power_balance - 1.0).abs() < 0.005);
//! # Ok::<(), slantpath_wire::WireError>(())
//! ```

mod check;
mod dipoles;
mod error;
mod excite;
mod far_field;
pub mod feed;
mod fill;
mod geometry;
mod join;
mod kernel;
mod lanes;
mod mesh;
mod refine;
mod report;
mod solution;
mod system;
mod vector;

pub use dipoles::{DipoleField, DipoleFields, DipolePair};
pub use error::WireError;
pub use excite::{GivenField, Mirrored, PlaneWave, Port};
pub use geometry::{Curve, Division, Helix, Load, Structure, Wire, shapes};
pub use mesh::{Density, Mesh};
pub use refine::{REFINEMENT, at_two_densities};
pub use report::{BALANCE_TOLERANCE, Refined, Report};
pub use solution::Solution;
pub use system::System;
pub use vector::{C3, V3};
