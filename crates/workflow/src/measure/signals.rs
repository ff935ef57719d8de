//! Every other occupied frequency of a recording, as a table.

use slantpath_capture::signals::Signal;
use slantpath_quantity::{Estimate, Unit};
use slantpath_report::{Cell, Section, Table};

/// Rows shown; the strongest come first.
const ROWS: usize = 20;

/// The section of one recording's signals; none when there are none.
pub(super) fn section(recording: usize, signals: &[Signal], centre_hz: f64) -> Option<Section> {
    if signals.is_empty() {
        return None;
    }
    let mut table = Table::new(
        "signals",
        &[
            ("frequency", "as recorded"),
            ("bandwidth", "holds 99 %"),
            ("level", "level"),
            ("c_n", "over noise"),
            ("over_beacon", "against beacon"),
            ("identity", "what"),
        ],
    );
    for g in signals.iter().take(ROWS) {
        let number = |value: f64, places: i32, unit: &str| Cell::Number {
            value,
            places,
            unit: unit.to_string(),
        };
        let (width, places, unit) = match g.bandwidth_hz {
            w if w >= 1e5 => (w / 1e3, 0, "kHz"),
            w if w >= 1e3 => (w / 1e3, 1, "kHz"),
            w => (w, 0, "Hz"),
        };
        table.rows.push(vec![
            number((centre_hz + g.centre_hz) / 1e6, 4, "MHz"),
            number(width, places, unit),
            Cell::Value(Estimate::normal(g.level_dbfs, g.u_level_db), Unit::Dbfs),
            Cell::Value(Estimate::normal(g.c_n_db.0, g.c_n_db.1), Unit::Db),
            g.over_beacon_db.map_or_else(
                || Cell::from("no beacon"),
                |(v, u)| Cell::Value(Estimate::normal(v, u), Unit::Db),
            ),
            Cell::Text(g.identity.clone().unwrap_or_default()),
        ]);
    }
    let mut section = Section::new(
        &format!("signals_{recording}"),
        "Occupied frequencies, strongest first",
        Vec::new(),
    )
    .say("Over noise: its power over the noise in its own bandwidth.")
    .say("Against beacon: the strongest density of the signal in the beacon's bandwidth over the beacon's own.");
    if signals.len() > ROWS {
        section = section.say(format!(
            "{} weaker ones are left out.",
            signals.len() - ROWS
        ));
    }
    Some(section.table(table))
}
