//! Paper: station and satellite files as written and as checked.
//!
//! [`read_station`] and [`read_satellite`] turn text into [`checked`] types and into problems that know their place;
//! nothing here opens a file: the satellite file that a station names comes through a closure. [`dc`] hands the receive
//! tree to the DC solver, [`reach`] says what a branch can hear, [`template`] writes files to start from.

pub mod checked;
pub mod dc;
pub mod reach;
mod read;
pub mod template;

pub use checked::{Satellite, Station, StationFile};
pub use read::{
    Loader, TimedRow, read_log, read_ramp, read_readings, read_satellite, read_set, read_station,
    read_timed, read_touchstone,
};

use slantpath_input::{Problem, nearest};

/// Names in a reading that the station does not know: the key and a problem without a place. For readings from a table
/// of their own.
pub fn unknown_names(
    reading: &checked::Reading,
    station: &Station,
) -> Vec<(&'static str, Problem)> {
    let mut out = Vec::new();
    let unknown = |what: &str, name: &str, known: Vec<&str>| {
        Problem::error(format!("there is no {what} `{name}`"))
            .label("not known")
            .nearest(nearest(name, known.iter().copied()))
            .expected(format!("one of: {}", known.join(", ")))
    };
    if let Some(b) = &reading.branch
        && station.receive.branch(b).is_none()
    {
        let known = station
            .receive
            .branches
            .iter()
            .map(|x| x.name.as_str())
            .collect();
        out.push(("branch", unknown("branch", b, known)));
    }
    let passband = match &reading.passband {
        Some(p) => match station.satellite.passband(p) {
            Some(x) => Some(x),
            None => {
                let known = station
                    .satellite
                    .passbands
                    .iter()
                    .map(|x| x.name.as_str())
                    .collect();
                out.push(("passband", unknown("passband", p, known)));
                None
            }
        },
        None => None,
    };
    if let Some(b) = &reading.beacon {
        let all = station.satellite.passbands.iter();
        let known: Vec<&str> = all
            .filter(|p| passband.is_none_or(|q| q.name == p.name))
            .flat_map(|p| p.beacons.iter().map(|x| x.name.as_str()))
            .collect();
        if !known.contains(&b.as_str()) {
            out.push(("beacon", unknown("beacon", b, known)));
        }
    }
    out
}
