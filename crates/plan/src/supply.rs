//! Power for the amplifier at the level in use.

use crate::error::{PlanError, Result, not_negative, positive, within};
use crate::known::Known;
use slantpath_chain::amplifier::Efficiency;
use slantpath_chain::supply::{battery_hours, constant_current, mean_power};
use slantpath_quantity::{Current, Power, Resistance, Validity, Voltage, to_db};

/// What the supply is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Supply {
    /// Volts at its terminals.
    pub volts: Known,
    /// Resistance of the cable, out and back, ohm.
    pub cable_ohm: Known,
    /// Largest current, A.
    pub max_current_a: Option<f64>,
    /// Energy of the battery, Wh; `None` on the mains.
    pub battery_wh: Option<f64>,
    /// Share of it that may be taken (half is common practice for lead, no source).
    pub usable: f64,
    /// Charge meanwhile, W.
    pub charge_w: f64,
    /// Power taken while only receiving, W.
    pub receive_w: f64,
}

/// DC power and heat of an amplifier at a signal's level.
#[derive(Debug, Clone, PartialEq)]
pub struct Electric {
    /// Mean output while transmitting, W.
    pub out_w: f64,
    /// Mean DC input while transmitting, W.
    pub dc_w: Known,
    /// Heat while transmitting, W.
    pub heat_w: Known,
    /// Output over DC input.
    pub efficiency: f64,
    /// Outside: beyond the measured efficiencies.
    pub validity: Validity,
}

/// DC power and heat for the samples of an output envelope in watt, of an amplifier whose efficiency was measured at
/// some outputs (output W, efficiency 0..1, its standard uncertainty).
///
/// # Errors
/// No measured efficiency, or figures that cannot be.
pub fn electric(measured: &[(f64, f64, f64)], envelope_w: &[f64]) -> Result<Electric> {
    if measured.is_empty() {
        return Err(PlanError::Missing {
            what: "the amplifier's efficiency".into(),
            remedy: "write `efficiency = [[\"50 W\", \"24 %\"], ...]`: output and DC input of a steady carrier".into(),
        });
    }
    for &(out, eta, _) in measured {
        positive("an output", out, "W")?;
        within("an efficiency", eta, "", 1e-6..=0.999, "between 0 and 1")?;
    }
    let rows: Vec<(f64, f64)> = measured.iter().map(|&(o, e, _)| (o, o / e)).collect();
    let fit = Efficiency::fit(&rows)?;
    let (dc, out) = fit.mean_over_envelope_w(envelope_w)?;
    let (_, validity) = fit.dc_power_w(out)?;
    // The rows' own uncertainty (the mean of them), and how well the class-AB law follows the rows.
    let stated = measured.iter().map(|&(_, e, u)| u / e).sum::<f64>() / measured.len() as f64;
    let u = dc * stated.hypot(fit.worst_relative_residual);
    Ok(Electric {
        out_w: out,
        dc_w: Known::new(dc, u),
        heat_w: Known::new(dc - out, u),
        efficiency: out / dc,
        validity,
    })
}

/// What the supply sees.
#[derive(Debug, Clone, PartialEq)]
pub struct SupplyPlan {
    /// Current while transmitting, A.
    pub current_a: Known,
    /// Volts at the amplifier while transmitting.
    pub volts: Known,
    /// Volts lost in the cable.
    pub drop_v: Known,
    /// Power lost in the cable, W.
    pub lost_w: f64,
    /// Change of saturated output for the volts lost, dB: output goes with the square of the volts (common practice, no
    /// source).
    pub output_change_db: f64,
    /// Current over the supply's largest, when it is more.
    pub over_a: Option<f64>,
    /// Hours on the battery; `None` on the mains or when charge covers the load.
    pub hours: Option<Known>,
}

/// Current, cable drop and battery hours. The amplifier takes its current at its rated volts `rated_v` and keeps it when
/// the volts sag (a class-AB stage at a fixed drive).
///
/// # Errors
/// Figures that cannot be, or a drop that leaves no volts.
pub fn supply(s: &Supply, e: &Electric, rated_v: f64, duty: f64) -> Result<SupplyPlan> {
    positive("the amplifier's volts", rated_v, "V")?;
    within("the duty", duty, "", 0.0..=1.0, "between 0 and 1")?;
    not_negative("the receive power", s.receive_w, "W")?;
    let i = e.dc_w.value / rated_v;
    let u_i = e.dc_w.u / rated_v;
    let fed = constant_current(
        Voltage::v(s.volts.value),
        Resistance::from_si(s.cable_ohm.value),
        Current::a(i),
    )?;
    let u_drop = (i * s.cable_ohm.u).hypot(s.cable_ohm.value * u_i);
    let hours = match s.battery_wh {
        None => None,
        Some(wh) => {
            let taken = Power::w(i * s.volts.value + s.receive_w);
            let load = mean_power(taken, Power::w(s.receive_w), duty)?;
            battery_hours(wh, s.usable, load, Power::w(s.charge_w))?.map(|h| {
                // The load's own uncertainty; capacity and its usable share are taken as written.
                let relative = duty * u_i * s.volts.value / (load.as_w() - s.charge_w).abs();
                Known::new(h, h * relative)
            })
        }
    };
    Ok(SupplyPlan {
        current_a: Known::new(i, u_i),
        volts: Known::new(fed.volts.as_v(), s.volts.u.hypot(u_drop)),
        drop_v: Known::new(fed.drop.as_v(), u_drop),
        lost_w: fed.lost.as_w(),
        output_change_db: 2.0 * to_db(fed.volts.as_v() / rated_v),
        over_a: s.max_current_a.map(|m| i - m).filter(|x| *x > 0.0),
        hours,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_device_at_a_quarter_and_its_cable() {
        // 200 W at 48 %: at 50 W 24 % and 158 W of heat (common practice, no source), steady carrier.
        let e = electric(&[(200.0, 0.48, 0.01)], &[50.0]).unwrap();
        assert!((e.efficiency - 0.24).abs() < 1e-9 && (e.heat_w.value - 158.33).abs() < 0.01);
        assert!((e.heat_w.u / e.dc_w.value - 0.01 / 0.48).abs() < 1e-9);
        let s = Supply {
            volts: Known::exact(28.0),
            cable_ohm: Known::new(0.02, 0.005),
            max_current_a: Some(7.0),
            battery_wh: Some(1200.0),
            usable: 0.5,
            charge_w: 0.0,
            receive_w: 0.0,
        };
        let p = supply(&s, &e, 28.0, 0.5).unwrap();
        assert!((p.current_a.value - 7.4405).abs() < 1e-3);
        assert!((p.drop_v.value - 0.1488).abs() < 1e-3 && (p.drop_v.u - 0.0373).abs() < 1e-3);
        assert!((p.over_a.unwrap() - 0.4405).abs() < 1e-3);
        assert!((p.hours.unwrap().value - 600.0 / (0.5 * 208.333)).abs() < 1e-3);
        // charged with more than it takes: for ever
        assert!(
            supply(
                &Supply {
                    charge_w: 200.0,
                    ..s
                },
                &e,
                28.0,
                0.5
            )
            .unwrap()
            .hours
            .is_none()
        );
        assert!(
            supply(
                &Supply {
                    cable_ohm: Known::exact(9.0),
                    ..s
                },
                &e,
                28.0,
                0.5
            )
            .is_err()
        );
        assert!(electric(&[], &[1.0]).is_err());
    }

    #[test]
    fn the_current_follows_the_envelope() {
        // Half the time at 100 W, half at nothing: root of the envelope, not of the mean.
        let e = electric(&[(100.0, 0.5, 0.0)], &[100.0, 0.0]).unwrap();
        assert!((e.dc_w.value - 100.0).abs() < 1e-9 && (e.out_w - 50.0).abs() < 1e-12);
    }
}
