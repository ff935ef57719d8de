//! Scatter of noise averages against closed forms evaluated with scipy 1.17.1.

mod common;
use common::rows;
use slantpath_quantity::from_db;
use slantpath_stats::noise::{psd_average, radiometer, radiometer_db, snr_bound, snr_bound_db};

fn close(got: f64, want: f64, tolerance: f64, what: &str) {
    assert!(
        (got - want).abs() <= tolerance,
        "{what}: {got} instead of {want}"
    );
}

#[test]
fn psd_averages() {
    let table = rows(include_str!("data/psd_chi2.csv"));
    assert_eq!(table.len(), 7);
    for r in table {
        let a = psd_average(r[0], 0.95).unwrap();
        close(a.relative_sd, r[1], 1e-7, "relative sd");
        close(a.bias_db, r[2], 1e-6, "bias");
        close(a.sd_db, r[3], 1e-6, "sd");
        close(a.lo_db, r[4], 1e-5, "lower end");
        close(a.hi_db, r[5], 1e-5, "upper end");
    }
}

#[test]
fn radiometer_equation() {
    for r in rows(include_str!("data/radiometer.csv")) {
        close(r[2] * radiometer(r[0], r[1]).unwrap(), r[3], 1e-6, "dT");
        close(radiometer_db(r[0], r[1]).unwrap(), r[4], 1e-9, "dP");
    }
}

/// Pauluzzi and Beaulieu 2000, data-aided bound.
#[test]
fn snr_bounds() {
    let table = rows(include_str!("data/snr_crb_da.csv"));
    assert_eq!(table.len(), 21);
    for r in table {
        let rho = from_db(r[0]);
        close(
            snr_bound(rho, r[1]).unwrap().powi(2) / r[2],
            1.0,
            1e-7,
            "relative variance",
        );
        close(
            snr_bound_db(rho, r[1]).unwrap() / r[3],
            1.0,
            1e-7,
            "sd in dB",
        );
    }
}
