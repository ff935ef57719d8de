//! What the air does to cooling: thin air carries less heat, and free convection grows with the rise.

use crate::error::{Result, positive};
use slantpath_quantity::Validity;

/// How a surface is cooled.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cooling {
    /// Free convection.
    Natural,
    /// A fan.
    Fan,
}

/// Factor on the thermal resistance to the air at an air density relative to sea level.
///
/// Turbulent flow past fins at the same volume flow carries heat as density^0.8; free convection as density^0.5
/// (from the usual Nusselt relations, `Nu ~ Re^0.8` and `Nu ~ Gr^0.25`; from memory). Valid from half to full density.
///
/// # Errors
/// Density ratio not above zero.
pub fn resistance_factor(cooling: Cooling, density_ratio: f64) -> Result<(f64, Validity)> {
    positive("air", "density_ratio", density_ratio)?;
    let exponent = match cooling {
        Cooling::Natural => 0.5,
        Cooling::Fan => 0.8,
    };
    Ok((
        density_ratio.powf(-exponent),
        Validity::check(
            "cooling in thin air",
            "density ratio",
            density_ratio,
            0.5..=1.2,
            "",
        ),
    ))
}

/// Density of air relative to 1.225 kg/m3 from pressure and temperature (ideal gas, dry).
///
/// # Errors
/// Values not above zero.
pub fn density_ratio(p_hpa: f64, t_k: f64) -> Result<f64> {
    positive("air", "p_hpa", p_hpa)?;
    positive("air", "t_k", t_k)?;
    // 287.05 J/(kg K): ISO 2533:1975; from memory
    Ok(p_hpa * 100.0 / (287.05 * t_k) / 1.225)
}

/// Resistance of free convection at a steady power, given its value `r_ref` at the rise `rise_ref`.
///
/// Laminar free convection carries `rise^1.25` (from memory), so that `R = r_ref (rise_ref/rise)^0.25` and the
/// steady rise is `(P r_ref rise_ref^0.25)^0.8`. Returns resistance and rise.
///
/// # Errors
/// Values not above zero.
pub fn natural_resistance(r_ref: f64, rise_ref_k: f64, power_w: f64) -> Result<(f64, f64)> {
    positive("free convection", "r_ref_k_per_w", r_ref)?;
    positive("free convection", "rise_ref_k", rise_ref_k)?;
    positive("free convection", "power_w", power_w)?;
    let rise = (power_w * r_ref * rise_ref_k.powf(0.25)).powf(0.8);
    Ok((rise / power_w, rise))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thin_air_and_free_convection() {
        let d = density_ratio(1013.25, 288.15).unwrap();
        assert!((d - 1.0).abs() < 1e-4);
        let (f, v) = resistance_factor(Cooling::Fan, 0.85).unwrap();
        assert!((f - 0.85f64.powf(-0.8)).abs() < 1e-15 && v.is_inside());
        assert!(
            !resistance_factor(Cooling::Natural, 0.3)
                .unwrap()
                .1
                .is_inside()
        );
        // at the reference power the reference comes back
        let (r, rise) = natural_resistance(1.2, 40.0, 40.0 / 1.2).unwrap();
        assert!((r - 1.2).abs() < 1e-12 && (rise - 40.0).abs() < 1e-10);
        // and it holds at any other power
        let (r, rise) = natural_resistance(1.2, 40.0, 10.0).unwrap();
        assert!((r - 1.2 * (40.0 / rise).powf(0.25)).abs() < 1e-12);
    }
}
