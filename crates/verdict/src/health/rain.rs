//! Rain told from faults: what attenuates on the way also radiates, in a known ratio.
//!
//! Water of attenuation A before the clear sky makes the antenna's sky T_clear / L + T_mr (1 - 1/L), L = 10^(A/10)
//! (ITU-R P.618-13 section 3, with its mean radiating temperature): loss and rise of the noise belong together. A dish
//! that has moved loses without the rise, an ageing converter's noise rises without that loss.

use slantpath_propagation::p618::sky_noise::behind_k;
use slantpath_quantity::{from_db, to_db};

/// The path as the receiver's noise sees it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WetPath {
    /// System temperature in clear air, K.
    pub t_sys_k: f64,
    /// Sky's temperature in clear air, K.
    pub t_clear_k: f64,
    /// Mean radiating temperature of the rain, K.
    pub t_mr_k: f64,
    /// Part of a sky's kelvin that reaches the system temperature.
    pub coupling: f64,
}

/// What loss and rise say together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Both as rain brings them.
    Rain,
    /// Loss without the rise.
    LossAlone,
    /// Rise without the loss.
    RiseAlone,
    /// Neither is significant.
    Nothing,
    /// Both, in no ratio of rain.
    Other,
}

impl WetPath {
    /// Rise of the noise for an attenuation, dB.
    pub fn rise_db(&self, a_db: f64) -> f64 {
        let warmer = behind_k(self.t_clear_k, a_db, self.t_mr_k) - self.t_clear_k;
        to_db((self.t_sys_k + self.coupling * warmer).max(1e-3) / self.t_sys_k)
    }

    /// Attenuation for a rise of the noise, dB; `None` for a rise that no rain makes.
    pub fn attenuation_db(&self, rise_db: f64) -> Option<f64> {
        // T_mr - T_clear is the most that the sky can warm.
        let warmer = self.t_sys_k * (from_db(rise_db) - 1.0) / self.coupling;
        let most = self.t_mr_k - self.t_clear_k;
        let left = 1.0 - warmer / most;
        (left > 0.0 && most > 0.0).then(|| -to_db(left))
    }

    /// Fall of a C/N0 against the station's own noise for an attenuation, dB: attenuation and rise together.
    pub fn fall_db(&self, a_db: f64) -> f64 {
        a_db + self.rise_db(a_db)
    }

    /// Judges a fall of signal over noise and a rise of the noise (dB, each with its standard uncertainty).
    pub fn judge(&self, fall: (f64, f64), rise: (f64, f64)) -> Kind {
        let sure = |x: (f64, f64)| x.0 > 3.0 * x.1;
        if !sure(fall) && !sure(rise) {
            return Kind::Nothing;
        }
        // The attenuation that explains the rise foretells the fall; its slope carries the rise's uncertainty over.
        let foretold = self
            .attenuation_db(rise.0.max(0.0))
            .map(|a| self.fall_db(a));
        let slope = {
            let at = |r: f64| {
                self.attenuation_db(r.max(0.0))
                    .map_or(0.0, |a| self.fall_db(a))
            };
            (at(rise.0 + 0.05) - at(rise.0)).abs() / 0.05
        };
        if let Some(f) = foretold
            && sure(rise)
            && (fall.0 - f).abs() < 3.0 * fall.1.hypot(slope * rise.1)
        {
            return Kind::Rain;
        }
        match (sure(fall), sure(rise)) {
            (true, false) => Kind::LossAlone,
            (false, true) => Kind::RiseAlone,
            _ => Kind::Other,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A 100 K station, sky 6 K, rain at 275 K.
    const PATH: WetPath = WetPath {
        t_sys_k: 100.0,
        t_clear_k: 6.0,
        t_mr_k: 275.0,
        coupling: 1.0,
    };

    #[test]
    fn a_decibel_of_rain_costs_nearly_three() {
        // By hand: 1 - 10^-0.1 = 0.20567; (275 - 6) 0.20567 = 55.33 K; 10 lg 1.5533 = 1.9125 dB.
        assert!((PATH.rise_db(1.0) - 1.9125).abs() < 1e-3);
        assert!((PATH.fall_db(1.0) - 2.9125).abs() < 1e-3);
        assert!((PATH.attenuation_db(1.9125).unwrap() - 1.0).abs() < 1e-3);
        assert_eq!(PATH.attenuation_db(10.0), None);
    }

    #[test]
    fn rain_dish_and_converter_are_told_apart() {
        assert_eq!(PATH.judge((2.9, 0.1), (1.9, 0.05)), Kind::Rain);
        assert_eq!(PATH.judge((2.9, 0.1), (0.05, 0.05)), Kind::LossAlone);
        assert_eq!(PATH.judge((1.9, 0.1), (1.9, 0.05)), Kind::Other);
        assert_eq!(PATH.judge((0.1, 0.1), (1.0, 0.05)), Kind::RiseAlone);
        assert_eq!(PATH.judge((0.1, 0.1), (0.0, 0.05)), Kind::Nothing);
    }
}
