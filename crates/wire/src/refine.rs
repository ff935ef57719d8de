//! The same structure at two densities.

use crate::error::WireError;
use crate::geometry::Structure;
use crate::mesh::Density;
use crate::report::Refined;
use crate::system::System;
use slantpath_quantity::Frequency;

/// Step in density between the two solutions.
pub const REFINEMENT: f64 = 1.5;

/// Solves at `density` and 1.5 times finer and measures both: each quantity with its difference as uncertainty. The finer
/// system is handed back for further use.
///
/// # Errors
/// Those of [`System::new`] and of `measure`.
pub fn at_two_densities<const N: usize>(
    structure: &Structure,
    f: Frequency,
    density: Density,
    measure: impl Fn(&System) -> Result<[f64; N], WireError>,
) -> Result<([Refined; N], System), WireError> {
    let coarse = measure(&System::new(structure, f, density)?)?;
    let system = System::new(structure, f, density.finer(REFINEMENT))?;
    let fine = measure(&system)?;
    let both = std::array::from_fn(|i| Refined {
        coarse: coarse[i],
        fine: fine[i],
    });
    Ok((both, system))
}
