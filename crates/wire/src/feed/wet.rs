//! A film of water or a sleeve of plastic on the wire, and a cover before the feed.
//!
//! *On the wire*: a coating raises the capacitance per length, so that waves along the wire run slower and the coil acts as at
//! a higher frequency. With the field of a thin wire between its radius `a` and the distance `d` at which its neighbours carry
//! the return current, `v/c = sqrt([ln(b/a)/eps + ln(d/b)] / ln(d/a))`, `b` the coating's outer radius (quasi-static; insulated
//! wire as in R. W. P. King, G. S. Smith, Antennas in Matter, 1981: from memory). Then [`detuned`] is where to solve the dry
//! coil. *Before the feed* a cover acts as a plane slab: [`slantpath_antenna::slab`].

use super::Coil;
use crate::error::{WireError, require};
use slantpath_antenna::slab::{Incidence, Layer, Passage, passage, water_permittivity};
use slantpath_quantity::{Angle, Frequency, Length, Temperature, Validity};

/// What a coating does to the tuning.
#[derive(Debug, Clone, PartialEq)]
pub struct Detuning {
    /// Wave velocity along the coated wire over that along the bare one.
    pub velocity: f64,
    /// Frequency at which the bare coil acts as the coated one does at the frequency asked for.
    pub equivalent: Frequency,
    /// Inside the model's range, or why not.
    pub validity: Validity,
}

/// Detuning by a coating of relative permittivity `eps_r` (losses left out).
///
/// Range: coating no thicker than the wire, velocity no less than 0.9; beyond, the coating is no correction any more.
///
/// # Errors
/// [`WireError::Dimension`] for a negative thickness or a permittivity below 1.
pub fn detuned(
    coil: &Coil,
    coating: Length,
    eps_r: f64,
    f: Frequency,
) -> Result<Detuning, WireError> {
    coil.check()?;
    require(
        coating.as_m() >= 0.0,
        "coating",
        "thickness",
        coating.as_m() * 1e3,
        "mm",
        "0 or above",
    )?;
    require(
        eps_r >= 1.0,
        "coating",
        "relative permittivity",
        eps_r,
        "",
        "1 or above",
    )?;
    let a = 0.5 * coil.wire.as_m();
    let b = a + coating.as_m();
    // the neighbouring turn, or a sixth of a wavelength where there is none nearer
    let turn = if coil.turns > 1.0 {
        coil.pitch.as_m()
    } else {
        f64::INFINITY
    };
    let d = turn
        .min(f.wavelength().as_m() / (2.0 * std::f64::consts::PI))
        .max(1.01 * b);
    let v = (((b / a).ln() / eps_r + (d / b).ln()) / (d / a).ln()).sqrt();
    let validity = Validity::check(
        "coating on the wire",
        "thickness over the wire's diameter",
        coating / coil.wire,
        0.0..=1.0,
        "",
    )
    .and(Validity::check(
        "coating on the wire",
        "velocity along it",
        v,
        0.9..=1.0,
        "of that along bare wire",
    ));
    Ok(Detuning {
        velocity: v,
        equivalent: Frequency::from_si(f.as_hz() / v),
        validity,
    })
}

/// Detuning by a film of water.
///
/// # Errors
/// As [`detuned`], and for a temperature at which water is no liquid.
pub fn wet(
    coil: &Coil,
    film: Length,
    f: Frequency,
    temperature: Temperature,
) -> Result<Detuning, WireError> {
    detuned(coil, film, water_permittivity(f, temperature)?.re, f)
}

/// Passage through a cover with a film of water on it, straight ahead: what a cover costs and what it reflects back into the
/// feed. Flat and wide against the wavelength, which a cap over a 2.4 GHz coil is not: an estimate there.
///
/// # Errors
/// [`WireError::Pattern`] for layers that cannot be.
pub fn cover(
    thickness: Length,
    eps_r: f64,
    loss_tangent: f64,
    film: Length,
    f: Frequency,
    temperature: Temperature,
) -> Result<Passage, WireError> {
    let layers = [
        Layer::dielectric(eps_r, loss_tangent, thickness)?,
        Layer::water(film, f, temperature)?,
    ];
    Ok(passage(&layers, f, Angle::deg(0.0), Incidence::Te)?)
}
