//! `sheet`: the build sheet of a station, so that another builder can repeat it.
//!
//! The exact place never stands in it unless asked: no coordinates, horizon or look angles, and of the locator four
//! characters.

use crate::WorkflowError;
use crate::book::named;
use crate::page::written_by;
use crate::predict::Predicted;
use slantpath_book::parts::PartsList;
use slantpath_book::{Book, Role};
use slantpath_link::Group;
use slantpath_quantity::{Answer, Estimate, Unit};
use slantpath_report::figure::{ChainSheet, Stage};
use slantpath_report::sheet::{Cell, Table};
use slantpath_report::{Provenance, Section, Sheet};
use slantpath_sky::Locator;
use slantpath_station::Station;
use slantpath_station::checked::{Part, PartKind};

/// The build sheet, and the chain drawn for its page.
#[derive(Debug)]
pub struct BuildSheet {
    /// Parts, cables, volts, levels, what was measured.
    pub sheet: Sheet,
    /// The chain.
    pub chain: ChainSheet,
}

/// Gathers the build sheet. `book` gives what was measured; `exact` writes the place as it is.
///
/// # Errors
/// The book cannot be read.
pub fn build_sheet(
    station: &Station,
    p: &Predicted,
    book: Option<&Book>,
    exact: bool,
) -> Result<BuildSheet, WorkflowError> {
    let parts = PartsList::of(station);
    let mut sheet = Sheet {
        verb: "sheet".into(),
        title: format!("Build sheet: {}", named(station)),
        ..Sheet::default()
    };
    sheet.sections.push(place(station, exact));
    sheet.sections.push(parts_section(&parts, exact));
    sheet.sections.push(cables(station));
    sheet.sections.push(volts(station));
    for (group, key, title) in [
        (
            Group::Level,
            "levels",
            "levels along the receive branches, predicted",
        ),
        (Group::Uplink, "uplink", "transmit side, predicted"),
    ] {
        let answers: Vec<Answer> = p
            .prediction
            .group(group)
            .map(|(m, a)| {
                let mut a = a.clone();
                if let Some(b) = &m.branch {
                    a.label = format!("{} (branch {b})", a.label);
                }
                a
            })
            // Within the station only: losses of the path would tell how far away the satellite is.
            .filter(|a| {
                group == Group::Level
                    || a.measurand.contains(".after.")
                    || a.measurand.ends_with("eirp")
            })
            .collect();
        if !answers.is_empty() {
            sheet.sections.push(Section::new(key, title, answers));
        }
    }
    sheet.sections.push(measured(book)?);
    sheet.cautions.push(
        "This sheet describes one station as its builder wrote it down; local codes and licensed practice decide what may be built and used.".into(),
    );
    Ok(BuildSheet {
        sheet,
        chain: chain(station),
    })
}

/// The page of a build sheet.
pub fn page(
    b: &BuildSheet,
    inputs: &[(String, String, String)],
    seed: u64,
    trials: usize,
) -> String {
    // Names without folders: where files lie on somebody's disk is nobody's business.
    let bare = |name: &str| {
        std::path::Path::new(name)
            .file_name()
            .map_or_else(|| name.to_string(), |n| n.to_string_lossy().into_owned())
    };
    let provenance = Provenance {
        inputs: inputs
            .iter()
            .map(|(k, n, s)| (k.clone(), bare(n), s.clone()))
            .collect(),
        seed,
        trials,
        written_by: written_by(),
        command: "slantpath sheet".into(),
    };
    slantpath_report::page::html(
        &b.sheet.title,
        std::slice::from_ref(&b.sheet),
        Some(&b.chain),
        &provenance,
    )
}

fn place(station: &Station, exact: bool) -> Section {
    let (lat, lon) = (
        station.site.latitude.as_deg(),
        station.site.longitude.as_deg(),
    );
    let lon = if lon > 180.0 { lon - 360.0 } else { lon };
    let mut s = Section::new("place", "place and satellite", Vec::new());
    if let Some(c) = &station.callsign {
        s = s.say(format!("Callsign {c}."));
    }
    s = if exact {
        s.say(format!(
            "At {lat:.5}, {lon:.5} degrees (north, east positive)."
        ))
    } else {
        match Locator::of(lat, lon, 4) {
            Ok(l) => s.say(format!("In square {l}; the exact place is left out.")),
            Err(_) => s.say("The place is left out."),
        }
    };
    s.say(format!("Built for {}.", station.satellite.name))
}

fn parts_section(parts: &PartsList, exact: bool) -> Section {
    let mut t = Table::new(
        "parts",
        &[
            ("part", "part"),
            ("kind", "kind"),
            ("fact", "what"),
            ("value", "value"),
            ("source", "from"),
        ],
    );
    for p in parts
        .parts
        .iter()
        .filter(|p| p.key != "site" && p.key != "sat")
    {
        // The skew that a feed is set to follows from the place.
        let told = p
            .facts
            .iter()
            .filter(|(name, _)| exact || *name != "skew_setting");
        for (i, (name, fact)) in told.enumerate() {
            let (label, kind) = if i == 0 {
                (p.label.clone(), p.kind.clone())
            } else {
                (String::new(), String::new())
            };
            let (cell, source) = match fact {
                slantpath_book::parts::Fact::Figure {
                    value,
                    u,
                    unit,
                    source,
                } => {
                    let cell = match as_printed(*value, *u, unit) {
                        Some((e, unit)) => Cell::Value(e, unit),
                        None => Cell::Text(fact.text()),
                    };
                    (cell, source.clone())
                }
                slantpath_book::parts::Fact::Words(w) => (Cell::Text(w.clone()), String::new()),
            };
            if matches!(&cell, Cell::Text(t) if t.is_empty()) {
                continue;
            }
            t.rows.push(vec![
                Cell::Text(label),
                Cell::Text(kind),
                Cell::Text(name.replace('_', " ")),
                cell,
                Cell::Text(source),
            ]);
        }
    }
    Section::new("parts", "parts", Vec::new()).table(t)
}

/// A figure in the unit that people read it in: angles in degrees, what is shorter than 10 cm in millimetres. `None` for
/// units that this program does not know.
fn as_printed(value: f64, u: f64, unit: &str) -> Option<(Estimate, Unit)> {
    let from = if unit == "1" {
        Unit::One
    } else {
        Unit::read(unit)?
    };
    let to = match from {
        Unit::Rad => Unit::Deg,
        Unit::M if value.abs() < 0.1 && value != 0.0 => Unit::Mm,
        other => other,
    };
    let v = to.of_base(from.to_base(value));
    let u = u * from.scale() / to.scale();
    let e = if u > 0.0 {
        Estimate::normal(v, u)
    } else {
        Estimate::exact(v)
    };
    Some((e, to))
}

/// Cables of both sides: from where to where, how long, what they lose at the frequencies stated for them.
fn cables(station: &Station) -> Section {
    let mut t = Table::new(
        "cables",
        &[
            ("cable", "cable"),
            ("from", "from"),
            ("to", "to"),
            ("length", "length"),
            ("loss", "loss"),
        ],
    );
    let mut row = |part: &Part, from: String, to: String| {
        let PartKind::Cable(c) = &part.kind else {
            return;
        };
        let length = c.length.distribution;
        let factor = c.loss_factor.distribution;
        let loss: Vec<String> = c
            .loss
            .iter()
            .map(|l| {
                let db = l.db_per_m * length.mean() * factor.mean();
                // Length and loss per length are independent: relative uncertainties add in squares.
                let relative =
                    (length.u() / length.mean().max(f64::MIN_POSITIVE)).hypot(factor.u());
                let (v, u) = slantpath_quantity::show::value_and_u(db, db * relative);
                let mhz = slantpath_quantity::show::significant(l.frequency.as_mhz(), 6);
                if db * relative > 0.0 {
                    format!("{v} ± {u} dB at {mhz} MHz")
                } else {
                    format!("{v} dB at {mhz} MHz")
                }
            })
            .collect();
        t.rows.push(vec![
            Cell::Text(part.label.clone()),
            Cell::Text(from),
            Cell::Text(to),
            if length.u() > 0.0 {
                Cell::Value(Estimate::normal(length.mean(), length.u()), Unit::M)
            } else {
                Cell::Value(Estimate::exact(length.mean()), Unit::M)
            },
            Cell::Text(loss.join("; ")),
        ]);
    };
    let tree = &station.receive;
    for (i, node) in tree.nodes.iter().enumerate() {
        let from = match node
            .input
            .and_then(|p| tree.node(p.node).map(|n| (n, p.port)))
        {
            Some((n, port)) if n.part.kind.outputs() > 1 => {
                format!("{}, port {port}", n.part.label)
            }
            Some((n, _)) => n.part.label.clone(),
            None => "feed".into(),
        };
        let to: Vec<String> = tree
            .children(slantpath_station::checked::NodeIndex(i))
            .filter_map(|(_, c)| tree.node(c).map(|n| n.part.label.clone()))
            .collect();
        let to = if to.is_empty() {
            "open".to_string()
        } else {
            to.join(", ")
        };
        row(&node.part, from, to);
    }
    if let Some(tx) = &station.transmit {
        for (i, part) in tx.chain.iter().enumerate() {
            let before = i.checked_sub(1).and_then(|k| tx.chain.get(k));
            let from = before.map_or("input".to_string(), |p| p.label.clone());
            let to = tx
                .chain
                .get(i + 1)
                .map_or("feed".to_string(), |p| p.label.clone());
            row(part, from, to);
        }
    }
    let none = t.rows.is_empty();
    let s = Section::new("cables", "cable schedule", Vec::new());
    if none {
        s.say("No cable is listed.")
    } else {
        s.table(t)
    }
}

/// Volts and currents of the DC graph at best estimates.
fn volts(station: &Station) -> Section {
    let mut s = Section::new("volts", "voltages on the receive cables", Vec::new());
    let Ok(report) = slantpath_station::dc::network(station, None).and_then(|n| n.solve()) else {
        return s.say("The DC graph cannot be solved.");
    };
    let mut t = Table::new(
        "volts",
        &[
            ("point", "at"),
            ("volts", "volts"),
            ("current", "current"),
            ("state", "state"),
        ],
    );
    for l in &report.loads {
        t.rows.push(vec![
            Cell::Text(l.name.clone()),
            Cell::Number {
                value: l.volts.as_v(),
                places: 1,
                unit: "V".into(),
            },
            Cell::Number {
                value: 1e3 * l.current.as_a(),
                places: 0,
                unit: "mA".into(),
            },
            Cell::Text(l.state.map(|x| x.to_string()).unwrap_or_default()),
        ]);
    }
    if t.rows.is_empty() {
        s = s.say("Nothing on the receive side takes current over a cable.");
    } else {
        s = s.table(t);
    }
    s.text
        .extend(report.findings.iter().map(ToString::to_string));
    s
}

/// What the book says was measured, and how.
fn measured(book: Option<&Book>) -> Result<Section, WorkflowError> {
    let s = Section::new("measured", "what was measured, and how", Vec::new());
    let Some(book) = book else {
        return Ok(s.say("No station book was given: nothing here was measured."));
    };
    let mut t = Table::new(
        "measured",
        &[
            ("what", "what"),
            ("value", "value"),
            ("date", "date"),
            ("branch", "branch"),
        ],
    );
    for l in book
        .latest()?
        .into_iter()
        .filter(|l| l.figure.role == Role::Measured)
    {
        let (Ok(v), Some(unit)) = (&l.figure.value, Unit::read(&l.figure.unit)) else {
            continue;
        };
        let date = jiff::Timestamp::from_millisecond(l.at_ms)
            .map(|t| t.strftime("%Y-%m-%d").to_string())
            .unwrap_or_default();
        t.rows.push(vec![
            Cell::Text(l.figure.label.clone()),
            Cell::Value(
                Estimate {
                    value: v.value,
                    u: v.u,
                    interval: slantpath_quantity::Interval {
                        lo: v.interval.0,
                        hi: v.interval.1,
                        level: v.interval.2,
                    },
                },
                unit,
            ),
            Cell::Text(date),
            Cell::Text(l.figure.branch.clone()),
        ]);
    }
    if t.rows.is_empty() {
        return Ok(s.say("The station book holds no measured figure yet."));
    }
    Ok(s
        .say("The latest of each from the station book; ± is a standard uncertainty. Recordings with fixed gain, evaluated by this program; every recording's digest stands in the book.")
        .table(t))
}

fn chain(station: &Station) -> ChainSheet {
    let stage = |name: &str, what: String| Stage {
        name: name.to_string(),
        what,
        ..Stage::default()
    };
    let of = |part: &Part| {
        let what = match &part.kind {
            PartKind::Cable(c) => format!(
                "cable, {} m",
                slantpath_quantity::show::significant(c.length.distribution.mean(), 4)
            ),
            k => k.name().to_string(),
        };
        stage(&part.label, what)
    };
    let mut receive = vec![
        stage(&station.satellite.name, "satellite".into()),
        stage("dish", "reflector".into()),
        stage(&station.feed.name, "feed".into()),
    ];
    let mut drawn: Vec<slantpath_station::checked::NodeIndex> = Vec::new();
    for b in &station.receive.branches {
        for p in &b.path {
            if !drawn.contains(&p.node) {
                drawn.push(p.node);
                if let Some(n) = station.receive.node(p.node) {
                    let mut s = of(&n.part);
                    if matches!(n.part.kind, PartKind::Receiver(_)) {
                        s.what = format!("{}, branch {}", s.what, b.name);
                    }
                    receive.push(s);
                }
            }
        }
    }
    let mut transmit: Vec<Stage> = Vec::new();
    if let Some(t) = &station.transmit {
        transmit.extend(t.chain.iter().map(of));
        transmit.push(stage(&station.feed.name, "feed".into()));
        transmit.push(stage("dish", "reflector".into()));
        transmit.push(stage(&station.satellite.name, "satellite".into()));
    }
    ChainSheet { receive, transmit }
}
