//! Units as people write them.

use std::fmt;

/// What kind of quantity a unit measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[allow(missing_docs)]
pub enum Dimension {
    Ratio,                 // dB, %, plain
    Frequency,             // Hz
    Length,                // m
    Angle,                 // rad
    Time,                  // s
    Temperature,           // K
    PowerLevel,            // W, dBW, dBm
    PowerDensity,          // dBW/Hz
    Voltage,               // V
    Current,               // A
    Resistance,            // ohm
    LossPerLength,         // dB/m
    ResistancePerLength,   // ohm/m
    GainLevel,             // dBi
    GOverT,                // dB/K
    CarrierToNoiseDensity, // dBHz
    SymbolRate,            // Bd
    RainRate,              // mm/h
    Pressure,              // hPa
    Density,               // g/m3
    ColumnDensity,         // kg/m2
    Speed,                 // m/s
    FluxDensity,           // sfu
    FullScaleLevel,        // dBFS
    PowerFlux,             // W/m2
    ThermalResistance,     // K/W
    Bits,                  // bit
    PartsPerMillion,       // ppm
    DriftRate,             // Hz/s
    Energy,                // Wh
    Mass,                  // kg
    Force,                 // N
    Torque,                // N m
    Charge,                // Ah
}

impl Dimension {
    /// What a person calls it, for messages.
    pub fn name(self) -> &'static str {
        use Dimension::*;
        match self {
            Ratio => "a ratio",
            Frequency => "a frequency",
            Length => "a length",
            Angle => "an angle",
            Time => "a duration",
            Temperature => "a temperature",
            PowerLevel => "a power",
            PowerDensity => "a power density",
            Voltage => "a voltage",
            Current => "a current",
            Resistance => "a resistance",
            LossPerLength => "a loss per length",
            ResistancePerLength => "a resistance per length",
            GainLevel => "an antenna gain",
            GOverT => "a G/T",
            CarrierToNoiseDensity => "a carrier-to-noise-density ratio",
            SymbolRate => "a symbol rate",
            RainRate => "a rain rate",
            Pressure => "a pressure",
            Density => "a vapour density",
            ColumnDensity => "a column content",
            Speed => "a speed",
            FluxDensity => "a flux density",
            FullScaleLevel => "a level relative to full scale",
            PowerFlux => "a power flux density",
            ThermalResistance => "a thermal resistance",
            Bits => "a number of bits",
            PartsPerMillion => "a fraction in ppm",
            DriftRate => "a frequency drift",
            Energy => "an energy",
            Mass => "a mass",
            Force => "a force",
            Torque => "a torque",
            Charge => "a battery charge",
        }
    }
    /// An example of how to write it.
    pub fn example(self) -> &'static str {
        use Dimension::*;
        match self {
            Ratio => "\"0.7 dB ± 0.2\" or \"3 %\"",
            Frequency => "\"10.4725 GHz\"",
            Length => "\"22 m\"",
            Angle => "\"3.5 deg\"",
            Time => "\"8 min\"",
            Temperature => "\"85 K\" or \"12 °C\"",
            PowerLevel => "\"50 W\" or \"15 dBW\"",
            PowerDensity => "\"-43.8 dBW/Hz\"",
            Voltage => "\"18 V\"",
            Current => "\"150 mA\"",
            Resistance => "\"75 ohm\"",
            LossPerLength => "\"0.18 dB/m\"",
            ResistancePerLength => "\"0.12 ohm/m\"",
            GainLevel => "\"10 dBi\"",
            GOverT => "\"-11 dB/K\"",
            CarrierToNoiseDensity => "\"49.2 dBHz\"",
            SymbolRate => "\"333 kBd\"",
            RainRate => "\"26 mm/h\"",
            Pressure => "\"1013 hPa\"",
            Density => "\"7.5 g/m3\"",
            ColumnDensity => "\"15 kg/m2\"",
            Speed => "\"30 m/s\"",
            FluxDensity => "\"300 sfu\"",
            FullScaleLevel => "\"-20 dBFS\"",
            PowerFlux => "\"10 W/m2\"",
            ThermalResistance => "\"0.25 K/W\"",
            Bits => "\"12 bit\"",
            PartsPerMillion => "\"2.5 ppm\"",
            DriftRate => "\"0.35 Hz/s\"",
            Energy => "\"600 Wh\"",
            Mass => "\"9 kg\"",
            Force => "\"760 N\"",
            Torque => "\"12 N m\"",
            Charge => "\"100 Ah\"",
        }
    }
}

macro_rules! units {
    ($($variant:ident $symbol:literal [$($alias:literal),*] $dim:ident $scale:expr, $offset:expr;)*) => {
        /// A unit a value may be written or shown in.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
        #[allow(missing_docs)]
        pub enum Unit { $($variant),* }
        impl Unit {
            /// Every unit.
            pub const ALL: &'static [Unit] = &[$(Unit::$variant),*];
            /// The symbol shown.
            pub fn symbol(self) -> &'static str { match self { $(Unit::$variant => $symbol),* } }
            /// Other spellings that are read.
            pub fn aliases(self) -> &'static [&'static str] { match self { $(Unit::$variant => &[$($alias),*]),* } }
            /// What it measures.
            pub fn dimension(self) -> Dimension { match self { $(Unit::$variant => Dimension::$dim),* } }
            /// `base = value * scale + offset` where base is the dimension's base unit.
            pub fn scale(self) -> f64 { match self { $(Unit::$variant => $scale),* } }
            /// See [`Unit::scale`].
            pub fn offset(self) -> f64 { match self { $(Unit::$variant => $offset),* } }
        }
    };
}

const DEG: f64 = std::f64::consts::PI / 180.0;

// Logarithmic units are base units of their own dimension (levels stay in dB; only `decibel` turns them into ratios);
// a power written in watts is converted at its door by `Written::power`.
units! {
    One "" [] Ratio 1.0, 0.0;
    Percent "%" ["percent"] Ratio 0.01, 0.0;
    Db "dB" ["db"] Ratio 1.0, 0.0;
    Hz "Hz" ["hz"] Frequency 1.0, 0.0;
    KHz "kHz" ["khz", "KHz"] Frequency 1e3, 0.0;
    MHz "MHz" ["mhz", "Mhz"] Frequency 1e6, 0.0;
    GHz "GHz" ["ghz", "Ghz"] Frequency 1e9, 0.0;
    M "m" ["metre", "metres", "meter", "meters"] Length 1.0, 0.0;
    Mm "mm" [] Length 1e-3, 0.0;
    Cm "cm" [] Length 1e-2, 0.0;
    Km "km" [] Length 1e3, 0.0;
    Deg "deg" ["°", "degree", "degrees"] Angle DEG, 0.0;
    Rad "rad" [] Angle 1.0, 0.0;
    S "s" ["sec"] Time 1.0, 0.0;
    Ms "ms" [] Time 1e-3, 0.0;
    Min "min" [] Time 60.0, 0.0;
    Hour "h" ["hour", "hours"] Time 3600.0, 0.0;
    Day "d" ["day", "days"] Time 86400.0, 0.0;
    K "K" ["kelvin"] Temperature 1.0, 0.0;
    Celsius "°C" ["degC", "C"] Temperature 1.0, 273.15;
    W "W" ["watt", "watts"] PowerLevel 1.0, 0.0;
    MW "mW" [] PowerLevel 1e-3, 0.0;
    Dbw "dBW" ["dbw"] PowerLevel 1.0, 0.0;
    Dbm "dBm" ["dbm"] PowerLevel 1.0, -30.0;
    DbwPerHz "dBW/Hz" [] PowerDensity 1.0, 0.0;
    DbmPerHz "dBm/Hz" [] PowerDensity 1.0, -30.0;
    V "V" ["volt", "volts"] Voltage 1.0, 0.0;
    A "A" ["ampere", "amps"] Current 1.0, 0.0;
    MA "mA" [] Current 1e-3, 0.0;
    Ohm "ohm" ["Ω", "ohms"] Resistance 1.0, 0.0;
    DbPerM "dB/m" [] LossPerLength 1.0, 0.0;
    DbPer100M "dB/100m" ["dB/100 m"] LossPerLength 0.01, 0.0;
    OhmPerM "ohm/m" ["Ω/m"] ResistancePerLength 1.0, 0.0;
    Dbi "dBi" ["dbi", "dBic"] GainLevel 1.0, 0.0;
    DbPerK "dB/K" [] GOverT 1.0, 0.0;
    DbHz "dBHz" ["dB-Hz", "dB Hz"] CarrierToNoiseDensity 1.0, 0.0;
    Bd "Bd" ["baud"] SymbolRate 1.0, 0.0;
    KBd "kBd" [] SymbolRate 1e3, 0.0;
    MBd "MBd" [] SymbolRate 1e6, 0.0;
    MmPerH "mm/h" [] RainRate 1.0, 0.0;
    HPa "hPa" ["mbar"] Pressure 1.0, 0.0;
    GPerM3 "g/m3" ["g/m³"] Density 1.0, 0.0;
    KgPerM2 "kg/m2" ["kg/m²"] ColumnDensity 1.0, 0.0;
    MPerS "m/s" [] Speed 1.0, 0.0;
    KmPerH "km/h" [] Speed 1.0/3.6, 0.0;
    Sfu "sfu" [] FluxDensity 1.0, 0.0;
    Dbfs "dBFS" [] FullScaleLevel 1.0, 0.0;
    WPerM2 "W/m2" ["W/m²"] PowerFlux 1.0, 0.0;
    KPerW "K/W" [] ThermalResistance 1.0, 0.0;
    Bit "bit" ["bits"] Bits 1.0, 0.0;
    Ppm "ppm" [] PartsPerMillion 1.0, 0.0;
    HzPerS "Hz/s" [] DriftRate 1.0, 0.0;
    HzPerMin "Hz/min" [] DriftRate 1.0/60.0, 0.0;
    Wh "Wh" [] Energy 3600.0, 0.0;
    Kg "kg" [] Mass 1.0, 0.0;
    N "N" [] Force 1.0, 0.0;
    Nm "N m" ["Nm"] Torque 1.0, 0.0;
    Ah "Ah" [] Charge 3600.0, 0.0;
    DbfsPerHz "dBFS/Hz" [] FullScaleLevel 1.0, 0.0;
}

impl Unit {
    /// The unit whose symbol or alias is exactly `text`.
    pub fn read(text: &str) -> Option<Unit> {
        Unit::ALL
            .iter()
            .copied()
            .find(|u| u.symbol() == text || u.aliases().contains(&text))
    }
    /// Value in the dimension's base unit.
    pub fn to_base(self, value: f64) -> f64 {
        value * self.scale() + self.offset()
    }
    /// Value in this unit from the base unit.
    pub fn of_base(self, base: f64) -> f64 {
        (base - self.offset()) / self.scale()
    }
    /// Whether the unit is logarithmic.
    pub fn is_logarithmic(self) -> bool {
        use Unit::*;
        matches!(
            self,
            Db | Dbw
                | Dbm
                | DbwPerHz
                | DbmPerHz
                | Dbi
                | DbPerK
                | DbHz
                | Dbfs
                | DbfsPerHz
                | DbPerM
                | DbPer100M
        )
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.symbol())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn spellings_are_unambiguous() {
        let mut seen = std::collections::BTreeMap::new();
        for &u in Unit::ALL {
            for s in std::iter::once(u.symbol()).chain(u.aliases().iter().copied()) {
                assert!(seen.insert(s, u).is_none(), "{s} stands for two units");
                assert_eq!(Unit::read(s), Some(u));
            }
        }
    }
    #[test]
    fn round_trip() {
        for &u in Unit::ALL {
            let x = 3.25;
            assert!((u.of_base(u.to_base(x)) - x).abs() < 1e-9, "{u:?}");
        }
    }
}
