//! Physical quantities as newtypes over SI `f64`: the door of every formula.

use std::fmt;

macro_rules! physical {
    ($(#[$doc:meta])* $name:ident, $field:ident, $symbol:literal) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default)]
        pub struct $name {
            $field: f64,
        }
        impl $name {
            /// The value in its SI unit.
            #[inline]
            pub const fn si(self) -> f64 {
                self.$field
            }
            /// From a value in the SI unit.
            #[inline]
            pub const fn from_si($field: f64) -> Self {
                Self { $field }
            }
        }
        impl std::ops::Add for $name {
            type Output = Self;
            fn add(self, o: Self) -> Self { Self { $field: self.$field + o.$field } }
        }
        impl std::ops::Sub for $name {
            type Output = Self;
            fn sub(self, o: Self) -> Self { Self { $field: self.$field - o.$field } }
        }
        impl std::ops::Neg for $name {
            type Output = Self;
            fn neg(self) -> Self { Self { $field: -self.$field } }
        }
        impl std::ops::Mul<f64> for $name {
            type Output = Self;
            fn mul(self, k: f64) -> Self { Self { $field: self.$field * k } }
        }
        impl std::ops::Div<f64> for $name {
            type Output = Self;
            fn div(self, k: f64) -> Self { Self { $field: self.$field / k } }
        }
        impl std::ops::Div for $name {
            type Output = f64;
            fn div(self, o: Self) -> f64 { self.$field / o.$field }
        }
        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                match f.precision() {
                    Some(p) => write!(f, "{:.p$} {}", self.$field, $symbol),
                    None => write!(f, "{} {}", self.$field, $symbol),
                }
            }
        }
    };
}

physical!(/// Frequency, hertz.
    Frequency, hz, "Hz");
physical!(/// Length, metre.
    Length, m, "m");
physical!(/// Power, watt.
    Power, w, "W");
physical!(/// Plane angle, radian.
    Angle, rad, "rad");
physical!(/// Thermodynamic or noise temperature, kelvin.
    Temperature, k, "K");
physical!(/// Electric potential, volt.
    Voltage, v, "V");
physical!(/// Electric current, ampere.
    Current, a, "A");
physical!(/// Resistance, ohm.
    Resistance, ohm, "ohm");
physical!(/// Speed, metre per second.
    Speed, m_per_s, "m/s");
physical!(/// Symbol or bit rate, per second.
    DataRate, per_s, "1/s");

impl Frequency {
    /// From hertz.
    pub const fn hz(hz: f64) -> Self {
        Self { hz }
    }
    /// From megahertz.
    pub const fn mhz(mhz: f64) -> Self {
        Self { hz: mhz * 1e6 }
    }
    /// From gigahertz.
    pub const fn ghz(ghz: f64) -> Self {
        Self { hz: ghz * 1e9 }
    }
    /// In hertz.
    pub const fn as_hz(self) -> f64 {
        self.hz
    }
    /// In megahertz.
    pub const fn as_mhz(self) -> f64 {
        self.hz / 1e6
    }
    /// In gigahertz.
    pub const fn as_ghz(self) -> f64 {
        self.hz / 1e9
    }
    /// Free-space wavelength.
    pub fn wavelength(self) -> Length {
        Length::from_si(crate::constants::SPEED_OF_LIGHT / self.hz)
    }
}

impl Length {
    /// From metres.
    pub const fn m(m: f64) -> Self {
        Self { m }
    }
    /// From kilometres.
    pub const fn km(km: f64) -> Self {
        Self { m: km * 1e3 }
    }
    /// From millimetres.
    pub const fn mm(mm: f64) -> Self {
        Self { m: mm * 1e-3 }
    }
    /// In metres.
    pub const fn as_m(self) -> f64 {
        self.m
    }
    /// In kilometres.
    pub const fn as_km(self) -> f64 {
        self.m / 1e3
    }
    /// In millimetres.
    pub const fn as_mm(self) -> f64 {
        self.m * 1e3
    }
}

impl Angle {
    /// From degrees.
    pub const fn deg(deg: f64) -> Self {
        Self {
            rad: deg * (std::f64::consts::PI / 180.0),
        }
    }
    /// From radians.
    pub const fn rad(rad: f64) -> Self {
        Self { rad }
    }
    /// In degrees.
    pub const fn as_deg(self) -> f64 {
        self.rad * (180.0 / std::f64::consts::PI)
    }
    /// In radians.
    pub const fn as_rad(self) -> f64 {
        self.rad
    }
}

impl Power {
    /// From watts.
    pub const fn w(w: f64) -> Self {
        Self { w }
    }
    /// In watts.
    pub const fn as_w(self) -> f64 {
        self.w
    }
    /// From dBW.
    pub fn dbw(dbw: f64) -> Self {
        Self {
            w: crate::from_db(dbw),
        }
    }
    /// In dBW.
    pub fn as_dbw(self) -> f64 {
        crate::to_db(self.w)
    }
    /// From dBm.
    pub fn dbm(dbm: f64) -> Self {
        Self {
            w: crate::from_db(dbm - 30.0),
        }
    }
    /// In dBm.
    pub fn as_dbm(self) -> f64 {
        crate::to_db(self.w) + 30.0
    }
}

impl Temperature {
    /// From kelvin.
    pub const fn k(k: f64) -> Self {
        Self { k }
    }
    /// In kelvin.
    pub const fn as_k(self) -> f64 {
        self.k
    }
    /// From degrees Celsius.
    pub const fn celsius(c: f64) -> Self {
        Self {
            k: c + crate::constants::CELSIUS_ZERO_K,
        }
    }
    /// In degrees Celsius.
    pub const fn as_celsius(self) -> f64 {
        self.k - crate::constants::CELSIUS_ZERO_K
    }
    /// Equivalent input noise temperature of a noise figure in dB at T0 = 290 K: `T0 (10^(NF/10) - 1)`.
    pub fn of_noise_figure_db(nf_db: f64) -> Self {
        Self {
            k: crate::constants::T0_K * (crate::from_db(nf_db) - 1.0),
        }
    }
    /// Noise figure in dB of an equivalent input noise temperature at T0 = 290 K.
    pub fn as_noise_figure_db(self) -> f64 {
        crate::to_db(1.0 + self.k / crate::constants::T0_K)
    }
}

impl Voltage {
    /// From volts.
    pub const fn v(v: f64) -> Self {
        Self { v }
    }
    /// In volts.
    pub const fn as_v(self) -> f64 {
        self.v
    }
}

impl Current {
    /// From amperes.
    pub const fn a(a: f64) -> Self {
        Self { a }
    }
    /// In amperes.
    pub const fn as_a(self) -> f64 {
        self.a
    }
}

impl DataRate {
    /// From symbols (or bits) per second.
    pub const fn per_s(per_s: f64) -> Self {
        Self { per_s }
    }
    /// In symbols (or bits) per second.
    pub const fn as_per_s(self) -> f64 {
        self.per_s
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn conversions_round_trip() {
        assert_eq!(Frequency::ghz(10.4725).as_mhz(), 10472.5);
        assert!((Power::dbm(30.0).as_w() - 1.0).abs() < 1e-12);
        assert!((Temperature::of_noise_figure_db(0.7).as_noise_figure_db() - 0.7).abs() < 1e-12);
        // Y-factor style textbook figure: 1 dB noise figure is 75.09 K (Pozar, from memory; recomputed).
        assert!((Temperature::of_noise_figure_db(1.0).as_k() - 75.0884).abs() < 1e-3);
        assert!((Frequency::ghz(10.0).wavelength().as_mm() - 29.979_245_8).abs() < 1e-9);
    }
}
