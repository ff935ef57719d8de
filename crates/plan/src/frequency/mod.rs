//! Frequency plan: where each channel stands between sky and receiver, and what else falls there.
//!
//! - [`tune`]: transmit, receive and intermediate frequency of a channel, with the oscillator's error taken out
//! - [`mixing`]: products of the station's own oscillators and carriers that fall on what is received
//! - [`bands`]: services that transmit inside the intermediate band, and which part helps

pub mod bands;
pub mod mixing;

use crate::Known;
use crate::error::{Result, finite, positive};

/// A frequency conversion: intermediate = |received - oscillator|.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conversion {
    /// Nominal frequency of the oscillator, Hz; 0 when nothing is converted.
    pub lo_hz: f64,
    /// True frequency of the oscillator less nominal, Hz.
    pub error_hz: Known,
}

impl Conversion {
    /// Whether the oscillator stands above `received_hz`: a channel's spectrum is then turned round.
    pub fn mirrors(&self, received_hz: f64) -> bool {
        self.lo_hz > received_hz
    }
    /// Intermediate frequency of a received one by the nominal oscillator, Hz.
    pub fn nominal(&self, received_hz: f64) -> f64 {
        (received_hz - self.lo_hz).abs()
    }
    /// Intermediate frequency with the oscillator's error in it: where to tune, Hz.
    pub fn tuned(&self, received_hz: f64) -> Known {
        if self.lo_hz == 0.0 {
            return Known::exact(received_hz);
        }
        Known::new(
            (received_hz - self.lo_hz - self.error_hz.value).abs(),
            self.error_hz.u,
        )
    }
    /// The frequency that is converted to the same intermediate frequency from the oscillator's other side, Hz:
    /// `2 f_LO - f`. `None` without a conversion.
    pub fn image(&self, received_hz: f64) -> Option<f64> {
        (self.lo_hz > 0.0).then_some(2.0 * self.lo_hz - received_hz)
    }
}

/// Error of the oscillator, Hz, from the intermediate frequency at which a signal of known frequency was found.
///
/// # Errors
/// Frequencies that are not positive.
pub fn error_from(lo_hz: f64, sent_hz: f64, found: Known) -> Result<Known> {
    positive("frequency sent", sent_hz, "Hz")?;
    positive("oscillator", lo_hz, "Hz")?;
    positive("frequency found", found.value, "Hz")?;
    // Above the signal the oscillator's error moves what is found the same way, below it the other way.
    let lo = if lo_hz > sent_hz {
        sent_hz + found.value
    } else {
        sent_hz - found.value
    };
    Ok(Known::new(lo - lo_hz, found.u))
}

/// An error in parts per million of the oscillator as Hz.
///
/// # Errors
/// An oscillator that is not positive, an error that is no number.
pub fn error_of_ppm(lo_hz: f64, ppm: Known) -> Result<Known> {
    positive("oscillator", lo_hz, "Hz")?;
    finite("oscillator error", ppm.value, "ppm")?;
    Ok(Known::new(ppm.value * lo_hz * 1e-6, ppm.u * lo_hz * 1e-6))
}

/// Time after which an oscillator that wanders `peak_to_peak_hz` over a day (a sine of 24 h) can be `tolerance_hz` away,
/// s: the tolerance over its steepest slope, `pi W / 24 h`. Infinite for one that does not wander.
///
/// # Errors
/// A tolerance that is not positive.
pub fn retune_interval_s(peak_to_peak_hz: f64, tolerance_hz: f64) -> Result<f64> {
    positive("tolerance", tolerance_hz, "Hz")?;
    Ok(tolerance_hz * 86_400.0 / (std::f64::consts::PI * peak_to_peak_hz.abs()))
}

/// A channel from one end to the other.
#[derive(Debug, Clone, PartialEq)]
pub struct Tuned {
    /// Where to transmit to be heard there, Hz; `None` when the passband has no such frequency (a beacon may stand
    /// outside).
    pub transmit_hz: Option<f64>,
    /// Downlink, Hz.
    pub receive_hz: f64,
    /// Intermediate frequency by the nominal oscillator, Hz.
    pub nominal_hz: f64,
    /// Where to tune, Hz.
    pub tuned_hz: Known,
    /// Whether the spectrum is turned round there.
    pub mirrored: bool,
    /// What would fall on the same place from the oscillator's other side, Hz.
    pub image_hz: Option<f64>,
}

/// Places a channel. `transmit_hz` is what the satellite's translation gives.
///
/// # Errors
/// A frequency that is not positive.
pub fn tune(receive_hz: f64, transmit_hz: Option<f64>, conversion: &Conversion) -> Result<Tuned> {
    positive("received frequency", receive_hz, "Hz")?;
    Ok(Tuned {
        transmit_hz,
        receive_hz,
        nominal_hz: conversion.nominal(receive_hz),
        tuned_hz: conversion.tuned(receive_hz),
        mirrored: conversion.mirrors(receive_hz),
        image_hz: conversion.image(receive_hz),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lnb(error_hz: f64) -> Conversion {
        Conversion {
            lo_hz: 9.75e9,
            error_hz: Known::new(error_hz, 20.0),
        }
    }

    #[test]
    fn one_ppm_of_a_ku_oscillator() {
        // By hand: 9750 MHz 1e-6 = 9.75 kHz; 10472.5 - 9750.00975 = 722.49025 MHz.
        let e = error_of_ppm(9.75e9, Known::new(1.0, 0.1)).unwrap();
        assert_eq!((e.value, e.u), (9750.0, 975.0));
        let t = tune(10_472.5e6, Some(2412.65e6), &lnb(e.value)).unwrap();
        assert!((t.nominal_hz - 722.5e6).abs() < 1e-3);
        assert!((t.tuned_hz.value - 722.490_25e6).abs() < 1e-3);
        assert!(!t.mirrored);
        // 2 9750 - 10472.5 = 9027.5 MHz
        assert!((t.image_hz.unwrap() - 9027.5e6).abs() < 1e-3);
    }

    #[test]
    fn what_was_found_gives_the_error_back_on_either_side() {
        for lo_hz in [9.75e9, 11.3e9] {
            let c = Conversion {
                lo_hz,
                error_hz: Known::new(-8400.0, 5.0),
            };
            let found = c.tuned(10_472.175e6);
            let e = error_from(lo_hz, 10_472.175e6, found).unwrap();
            assert!((e.value + 8400.0).abs() < 1e-3, "{e:?}");
            assert_eq!(e.u, 5.0);
        }
    }

    #[test]
    fn a_wandering_oscillator_is_retuned_in_time() {
        // 50 kHz a day: steepest pi 50e3/86400 = 1.818 Hz/s, so 100 Hz last 55.0 s.
        let t = retune_interval_s(50e3, 100.0).unwrap();
        assert!((t - 55.003).abs() < 0.01, "{t}");
        assert!(retune_interval_s(0.0, 100.0).unwrap().is_infinite());
        assert!(retune_interval_s(1.0, 0.0).is_err());
    }

    #[test]
    fn nonsense_is_refused() {
        assert!(tune(f64::NAN, None, &lnb(0.0)).is_err());
        assert!(error_from(0.0, 1e9, Known::exact(1e8)).is_err());
        assert!(error_of_ppm(9.75e9, Known::exact(f64::INFINITY)).is_err());
    }
}
