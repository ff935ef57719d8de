//! Constants, each with its source.

/// Speed of light in vacuum, m/s (SI 2019, exact).
pub const SPEED_OF_LIGHT: f64 = 299_792_458.0;
/// Boltzmann constant, J/K (SI 2019, exact).
pub const BOLTZMANN: f64 = 1.380_649e-23;
/// Planck constant, J s (SI 2019, exact).
pub const PLANCK: f64 = 6.626_070_15e-34;
/// Standard noise temperature T0, K (IEEE definition of noise figure).
pub const T0_K: f64 = 290.0;
/// Cosmic microwave background, K (Fixsen 2009, ApJ 707:916; value from memory).
pub const T_CMB_K: f64 = 2.7255;
/// 0 degrees Celsius in kelvin (exact).
pub const CELSIUS_ZERO_K: f64 = 273.15;
/// Impedance of free space, ohm (CODATA 2018, rounded to the digits given).
pub const ETA0_OHM: f64 = 376.730_313_668;
/// One solar flux unit, W m^-2 Hz^-1.
pub const SFU: f64 = 1e-22;
