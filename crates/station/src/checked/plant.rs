//! Supply and cooling; limits and loads that the law and the local code state.

use slantpath_quantity::Contributor;

/// Supply of the transmit side.
#[derive(Debug, Clone, PartialEq)]
pub struct Supply {
    /// What feeds it.
    pub source: SupplySource,
    /// Volts at its terminals, V. Id `supply.volts`.
    pub volts: Contributor,
    /// Greatest current, A. Id `supply.max_current`.
    pub max_current: Option<Contributor>,
    /// Resistance of the DC cable to the amplifier, out and back, ohm. Id `supply.cable_resistance`.
    pub cable_resistance: Contributor,
    /// Charge of the battery, Ah x 3600 = A s. Id `supply.battery`.
    pub battery: Option<Contributor>,
}

/// What feeds the supply.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SupplySource {
    /// Mains.
    Mains,
    /// Battery, perhaps with a panel.
    Battery,
}

/// Cooling of the power amplifier: device on a sink in a cabinet.
#[derive(Debug, Clone, PartialEq)]
pub struct Cooling {
    /// Sink to the air around it, K/W. Id `cooling.sink`.
    pub sink: Contributor,
    /// Time constant of the sink, s. Id `cooling.sink_time`.
    pub sink_time: Contributor,
    /// Device to sink, K/W. Id `cooling.device`.
    pub device: Contributor,
    /// Air in the cabinet to the air outside, K/W; `None`: no cabinet. Id `cooling.cabinet`.
    pub cabinet: Option<Contributor>,
    /// Time constant of the cabinet, s. Id `cooling.cabinet_time`.
    pub cabinet_time: Option<Contributor>,
    /// Whether a fan blows.
    pub fan: bool,
    /// Sink temperature at which the amplifier must stop or folds back by itself, K. Id `cooling.limit`.
    pub limit: Contributor,
    /// True when the amplifier folds back by itself at the limit.
    pub foldback: bool,
    /// Outside air, K. Id `cooling.ambient`.
    pub ambient: Contributor,
}

/// Exposure limits that bind the station, as power density averaged over time: inputs, never a promise of ours.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ExposureLimits {
    /// For the general public, W/m2.
    pub public_w_m2: f64,
    /// For people at work who know of it, W/m2.
    pub occupational_w_m2: f64,
    /// Factor on the density by reflecting roofs or ground, 1 to 4.
    pub reflection: Option<f64>,
}

/// Wind as the local code states it, and how the dish is held.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wind {
    /// Gust, m/s.
    pub gust_m_s: f64,
    /// Force coefficient of the dish.
    pub force_coefficient: f64,
    /// From the mount's clamp to the dish's middle, m.
    pub lever_m: Option<f64>,
    /// Distance of the bolts that hold the moment, m.
    pub bolts_apart_m: Option<f64>,
    /// Pairs of such bolts.
    pub bolt_pairs: u32,
}
