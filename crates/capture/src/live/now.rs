//! Beacons and the own carrier within one reading.

use super::LivePlan;
use crate::locate::{BAND_SHOWN, Location};
use crate::measure::PlacedBand;
use crate::noise::SKIRT_END;
use crate::plan::{BeaconKind, BeaconPlan};
use slantpath_quantity::decibel::db_of_relative_u;
use slantpath_quantity::to_db;
use slantpath_signal::Spectrum;

/// Relative standard uncertainty of the floor's shape under a beacon (own estimate: a quantile of quiet neighbours).
const U_SHAPE: f64 = 0.02;
/// Relative standard uncertainty of the receiver's response between a beacon and the noise beside the passband (half a
/// decibel of slope over a band; common practice, no source). It stands still while the dish moves.
const U_RESPONSE: f64 = 0.05;
/// Standard uncertainties above the floor at which a carrier is seen at once, and at which it is seen when it stands
/// there twice in a row.
const AT_ONCE: f64 = 12.0;
const TWICE: f64 = 6.0;

/// A beacon just now.
#[derive(Debug, Clone, PartialEq)]
pub struct BeaconNow {
    /// Passband.
    pub passband: String,
    /// Name.
    pub name: String,
    /// Downlink frequency by the satellite's file, Hz.
    pub rf_hz: f64,
    /// Power, dBFS, with the standard uncertainty that a repeat would show.
    pub level_dbfs: (f64, f64),
    /// C/N0 over the noise that is there, dBHz, with standard uncertainty.
    pub cn0_dbhz: (f64, f64),
    /// Power over the receiver's own noise density, from beside the passband, dBHz; random and systematic standard
    /// uncertainty. It follows the antenna's gain, and no change of the receiver's.
    pub over_receiver_dbhz: Option<(f64, f64, f64)>,
    /// False for a keyed carrier, whose level goes with its keying.
    pub steady: bool,
    /// Whether it stands above the noise by more than three standard uncertainties.
    pub seen: bool,
}

impl BeaconNow {
    /// `passband.beacon`.
    pub fn id(&self) -> String {
        format!("{}.{}", self.passband, self.name)
    }
}

/// The own carrier as received.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OwnCarrier {
    /// Downlink frequency, Hz.
    pub rf_hz: f64,
    /// Height above the floor in the strongest window, dB.
    pub above_floor_db: f64,
}

/// Everything a reading is made from.
pub(super) struct Sight<'a> {
    pub plan: &'a LivePlan,
    pub location: Option<&'a Location>,
    pub bands: &'a [PlacedBand],
    /// Floor of the averaged spectrum.
    pub line: &'a [f64],
    /// The reading alone.
    pub now: &'a Spectrum,
    /// Averaged over some readings.
    pub mean: &'a Spectrum,
}

impl Sight<'_> {
    pub fn beacons(&self) -> Vec<BeaconNow> {
        let Some(l) = self.location else {
            return Vec::new();
        };
        self.plan
            .search
            .beacons
            .iter()
            .filter_map(|b| self.beacon(b, l))
            .collect()
    }

    fn offset(&self, rf_hz: f64, l: &Location) -> f64 {
        l.meaning.offset_hz(rf_hz, self.plan.centre_hz) + l.shift_hz
    }

    /// A bin without signal in the averaged spectrum, not on the passband's skirt, and not the direct current.
    fn quiet(&self, i: usize) -> bool {
        let (Some(p), Some(f)) = (self.mean.psd.get(i), self.line.get(i)) else {
            return false;
        };
        let spread = 4.0 / self.mean.averages().max(1.0).sqrt();
        i.abs_diff(self.mean.len() / 2) > 3 && *f > 0.0 && (*p / f - 1.0).abs() < spread
    }

    fn beacon(&self, b: &BeaconPlan, l: &Location) -> Option<BeaconNow> {
        let fs = self.plan.sample_rate_hz;
        let df = self.now.bin_hz();
        let f = self.offset(b.rf_hz, l);
        let half = b.kind.half_width_hz() + 1.5 * df + l.u_shift_hz.min(500.0);
        if f.abs() + half > BAND_SHOWN * fs {
            return None;
        }
        let r = self.now.range(f - half, f + half);
        if r.is_empty() {
            return None;
        }
        // How far the floor stands now from its average: over quiet bins of the neighbourhood.
        let reach = (20.0 * half).max(60.0 * df);
        let (mut ratio, mut quiet) = (0.0, 0.0);
        for i in self.now.range(f - reach, f + reach) {
            if !r.contains(&i) && self.quiet(i) {
                ratio += self.now.psd[i] / self.line[i];
                quiet += 1.0;
            }
        }
        let ratio = if quiet >= 8.0 { ratio / quiet } else { 1.0 };
        let bins = r.len() as f64;
        let n0 = ratio * r.clone().map(|i| self.line[i]).sum::<f64>() / bins;
        let total = self.now.power(r.clone());
        let c = total - n0 * bins * df;
        let t = self.now.duration_s();
        // Variance of a power in noise: (2 C N0 + N0^2 B)/T; of the floor under it: its quiet bins and its shape.
        let thermal = (2.0 * c.max(0.0) * n0 + n0 * n0 * bins * df) / t;
        let u_floor = (self.now.relative_variance(quiet.max(1.0)) + U_SHAPE * U_SHAPE).sqrt();
        let u_c = (thermal + (u_floor * n0 * bins * df).powi(2)).sqrt();
        let seen = c > 3.0 * u_c;
        let c = c.max(0.1 * u_c);
        let u_rel = u_c / c;
        let receiver = self.receiver_noise(b);
        Some(BeaconNow {
            passband: b.passband.clone(),
            name: b.name.clone(),
            rf_hz: b.rf_hz,
            level_dbfs: (to_db(c), db_of_relative_u(u_rel)),
            cn0_dbhz: (to_db(c / n0), db_of_relative_u(u_rel.hypot(u_floor))),
            over_receiver_dbhz: receiver.map(|(d, u)| {
                (
                    to_db(c / d),
                    db_of_relative_u(u_rel.hypot(u)),
                    db_of_relative_u(U_RESPONSE),
                )
            }),
            steady: !matches!(b.kind, BeaconKind::KeyedCarrier),
            seen,
        })
    }

    /// Density beside the beacon's passband within this reading, with its relative standard uncertainty.
    fn receiver_noise(&self, b: &BeaconPlan) -> Option<(f64, f64)> {
        let own = self.bands.iter().find(|x| x.name == b.passband)?;
        let limit = 0.42 * self.plan.sample_rate_hz;
        let free = |f: f64| {
            f.abs() < limit
                && self.bands.iter().all(|x| {
                    let mid = 0.5 * (x.lo_hz + x.hi_hz);
                    (f - mid).abs() > SKIRT_END * (x.hi_hz - x.lo_hz)
                })
        };
        let near = 1.5 * (own.hi_hz - own.lo_hz);
        let mid = 0.5 * (own.lo_hz + own.hi_hz);
        let (mut sum, mut bins) = (0.0, 0.0);
        for i in self.now.range(mid - near, mid + near) {
            if free(self.now.freq(i)) && self.quiet(i) {
                sum += self.now.psd[i];
                bins += 1.0;
            }
        }
        (bins >= 16.0).then(|| (sum / bins, self.now.relative_variance(bins).sqrt()))
    }

    /// The own carrier: a rise above the floor about its downlink frequency, at once when it is strong, else when it
    /// stands in two readings after another.
    pub fn own(&self, before: &mut bool) -> Option<OwnCarrier> {
        let found = self.own_rise();
        let seen = match found {
            Some((_, sigmas)) if sigmas > AT_ONCE => true,
            Some((_, sigmas)) if sigmas > TWICE => *before,
            _ => false,
        };
        *before = found.is_some_and(|(_, s)| s > TWICE);
        found.filter(|_| seen).map(|(o, _)| o)
    }

    fn own_rise(&self) -> Option<(OwnCarrier, f64)> {
        let (l, rf) = (self.location?, self.plan.search.own_transmit_hz?);
        let f = self.offset(rf, l);
        let half = self.plan.own_half_hz.max(2.0 * self.now.bin_hz());
        let r = self.now.range(f - half, f + half);
        let mut best: Option<(OwnCarrier, f64)> = None;
        for width in [1usize, 3, 9] {
            let spread = self.now.relative_variance(width as f64).sqrt();
            for k in r.clone() {
                let bins = k..(k + width).min(self.now.len());
                if bins.len() < width {
                    continue;
                }
                let (p, n): (f64, f64) = bins.fold((0.0, 0.0), |a, i| {
                    (
                        a.0 + self.now.psd[i],
                        a.1 + self.line.get(i).copied().unwrap_or(0.0),
                    )
                });
                if n <= 0.0 {
                    continue;
                }
                let sigmas = (p / n - 1.0) / spread;
                if best.as_ref().is_none_or(|b| sigmas > b.1) {
                    let seen = OwnCarrier {
                        rf_hz: l.meaning.rf_hz(
                            self.now.freq(k + width / 2) - l.shift_hz,
                            self.plan.centre_hz,
                        ),
                        above_floor_db: to_db((p / n).max(1e-9)),
                    };
                    best = Some((seen, sigmas));
                }
            }
        }
        best
    }
}
