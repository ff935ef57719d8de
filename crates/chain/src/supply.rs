//! Power for the transmitter: cable drop and battery hours.

use crate::error::{ChainError, Result, fraction, not_negative, positive};
use slantpath_quantity::{Current, Power, Resistance, Voltage};

/// A load at the end of a supply cable.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fed {
    /// Volts at the load.
    pub volts: Voltage,
    /// Current.
    pub current: Current,
    /// Volts lost in the cable.
    pub drop: Voltage,
    /// Power lost in the cable.
    pub lost: Power,
}

/// A load that takes the same current at any volts (a class-AB stage at a fixed drive).
///
/// # Errors
/// Negative values, or a drop that leaves no volts.
pub fn constant_current(supply: Voltage, cable: Resistance, current: Current) -> Result<Fed> {
    let vs = positive("supply", "volts_v", supply.as_v())?;
    let r = not_negative("supply cable", "r_ohm", cable.si())?;
    let i = not_negative("supply", "i_a", current.as_a())?;
    positive("supply cable", "volts left", vs - i * r)?;
    Ok(fed(vs, r, i))
}

/// A load that takes the same power at any volts (a converter): the upper root of `V^2 - Vs V + P R = 0`.
///
/// # Errors
/// Negative values, or more power than the cable can carry, `Vs^2/(4R)`.
pub fn constant_power(supply: Voltage, cable: Resistance, power: Power) -> Result<Fed> {
    let vs = positive("supply", "volts_v", supply.as_v())?;
    let r = not_negative("supply cable", "r_ohm", cable.si())?;
    let p = not_negative("supply", "p_w", power.as_w())?;
    let root = vs * vs - 4.0 * p * r;
    if root < 0.0 {
        return Err(ChainError::Undetermined {
            part: "supply cable".into(),
            why: format!(
                "{p:.0} W cannot be had through {r:.3} ohm from {vs:.1} V: the most is {:.0} W",
                vs * vs / (4.0 * r)
            ),
        });
    }
    let v = 0.5 * (vs + root.sqrt());
    Ok(fed(vs, r, p / v))
}

fn fed(vs: f64, r: f64, i: f64) -> Fed {
    Fed {
        volts: Voltage::v(vs - i * r),
        current: Current::a(i),
        drop: Voltage::v(i * r),
        lost: Power::w(i * i * r),
    }
}

/// Loop resistance of a two-wire copper cable at 20 degrees Celsius: `2 l rho/A`, rho = 1/58 ohm mm^2/m (IEC 60028).
///
/// # Errors
/// Length negative or cross-section not above zero.
pub fn copper_loop(length_m: f64, cross_section_mm2: f64) -> Result<Resistance> {
    not_negative("supply cable", "length_m", length_m)?;
    positive("supply cable", "a_mm2", cross_section_mm2)?;
    Ok(Resistance::from_si(
        2.0 * length_m / (58.0 * cross_section_mm2),
    ))
}

/// Hours that a battery of `capacity_wh` lasts at a mean power, when `usable` of it may be taken and it is charged
/// with `charge` meanwhile; `None` when charge covers the load.
///
/// # Errors
/// Negative values or a usable part outside 0..1.
pub fn battery_hours(
    capacity_wh: f64,
    usable: f64,
    load: Power,
    charge: Power,
) -> Result<Option<f64>> {
    positive("battery", "capacity_wh", capacity_wh)?;
    fraction("battery", "usable", usable)?;
    not_negative("battery", "load_w", load.as_w())?;
    not_negative("battery", "charge_w", charge.as_w())?;
    let net = (load - charge).as_w();
    Ok((net > 0.0).then(|| capacity_wh * usable / net))
}

/// Mean power of a station that transmits the fraction `duty` of the time.
///
/// # Errors
/// Duty outside 0..1 or negative power.
pub fn mean_power(transmit: Power, receive: Power, duty: f64) -> Result<Power> {
    fraction("supply", "duty", duty)?;
    not_negative("supply", "transmit_w", transmit.as_w())?;
    not_negative("supply", "receive_w", receive.as_w())?;
    Ok(transmit * duty + receive * (1.0 - duty))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn power_balance_and_limits() {
        let (v, r) = (Voltage::v(28.0), Resistance::from_si(0.2));
        let f = constant_power(v, r, Power::w(200.0)).unwrap();
        assert!((f.volts.as_v() * f.current.as_a() - 200.0).abs() < 1e-10);
        assert!((28.0 * f.current.as_a() - 200.0 - f.lost.as_w()).abs() < 1e-10);
        assert!(
            constant_power(v, r, Power::w(981.0)).is_err()
                && constant_power(v, r, Power::w(979.0)).is_ok()
        );
        let c = constant_current(v, r, Current::a(10.0)).unwrap();
        assert!((c.volts.as_v() - 26.0).abs() < 1e-12 && (c.lost.as_w() - 20.0).abs() < 1e-12);
        assert!(constant_current(v, r, Current::a(140.0)).is_err());
    }

    #[test]
    fn hours_and_copper() {
        let p = mean_power(Power::w(120.0), Power::w(20.0), 0.4).unwrap();
        assert!((p.as_w() - 60.0).abs() < 1e-12);
        let h = battery_hours(1200.0, 0.5, p, Power::w(0.0))
            .unwrap()
            .unwrap();
        assert!((h - 10.0).abs() < 1e-12);
        assert_eq!(battery_hours(1200.0, 0.5, p, Power::w(80.0)).unwrap(), None);
        assert!((copper_loop(10.0, 2.5).unwrap().si() - 0.137_931).abs() < 1e-6);
    }
}
