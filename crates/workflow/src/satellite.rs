//! `new --satellite`: a satellite file from what is published, by answers or by options.

use crate::WorkflowError;
use slantpath_input::{Problem, Source};
use slantpath_station::read_satellite;
use slantpath_station::template::{
    BeaconAnswers, PassbandAnswers, SatelliteAnswers, new_satellite,
};
use std::io::{BufRead, Write};

/// The file's text, when it reads without errors.
///
/// # Errors
/// What is wrong with the answers.
pub fn text(answers: &SatelliteAnswers) -> Result<String, WorkflowError> {
    let text = new_satellite(answers);
    let (_, problems) = read_satellite(&Source::new("the answers", text.clone()));
    if problems.has_errors() {
        return Err(WorkflowError::Problems(problems));
    }
    Ok(text)
}

/// The first mistake in the answers, in one sentence.
fn mistake(answers: &SatelliteAnswers) -> Option<String> {
    let (_, problems) = read_satellite(&Source::new("the answers", new_satellite(answers)));
    problems
        .iter()
        .find(|p| p.severity == slantpath_input::Severity::Error)
        .map(|p: &Problem| {
            let d = slantpath_input::ProblemData::from(p);
            let mut text = d.what;
            if let Some(x) = d.detail {
                text.push_str(&format!(": {x}"));
            }
            if let Some(e) = d.expected {
                text.push_str(&format!("; expected: {e}"));
            }
            text
        })
}

/// A satellite by options: `passbands` and `beacons` are lists of `key = value` parted by `;`, with the keys of the file;
/// a beacon also says its `passband`.
///
/// # Errors
/// A key that is not known, a beacon of no passband.
pub fn from_options(
    name: &str,
    slot: &str,
    tilt: Option<&str>,
    passbands: &[String],
    beacons: &[String],
) -> Result<SatelliteAnswers, WorkflowError> {
    let mut out = SatelliteAnswers {
        name: name.to_string(),
        longitude: slot.to_string(),
        polarisation_tilt: tilt.map(str::to_string),
        passbands: Vec::new(),
    };
    for text in passbands {
        let mut p = PassbandAnswers::default();
        for (key, value) in pairs("--passband", text)? {
            match key.as_str() {
                "name" => p.name = value,
                "use" => p.usage = value,
                "uplink" => p.uplink = value,
                "downlink" => p.downlink = value,
                "uplink_polarisation" => p.uplink_polarisation = value,
                "downlink_polarisation" => p.downlink_polarisation = value,
                "inverted" => p.inverted = yes("--passband", &key, &value)?,
                _ => {
                    return Err(unknown(
                        "--passband",
                        &key,
                        &[
                            "name",
                            "use",
                            "uplink",
                            "downlink",
                            "uplink_polarisation",
                            "downlink_polarisation",
                            "inverted",
                        ],
                    ));
                }
            }
        }
        if p.name.is_empty() {
            return Err(WorkflowError::argument(
                format!("--passband `{text}` has no name"),
                "begin it with name=...",
            ));
        }
        out.passbands.push(p);
    }
    for text in beacons {
        let mut b = BeaconAnswers::default();
        let mut passband = None;
        for (key, value) in pairs("--beacon", text)? {
            match key.as_str() {
                "passband" => passband = Some(value),
                "name" => b.name = value,
                "frequency" => b.frequency = value,
                "kind" => b.kind = value,
                "symbol_rate" => b.symbol_rate = Some(value),
                "rolloff" => b.rolloff = Some(value),
                "modcod" => b.modcod = Some(value),
                "differential" => b.differential = yes("--beacon", &key, &value)?,
                "manchester" => b.manchester = yes("--beacon", &key, &value)?,
                _ => {
                    return Err(unknown(
                        "--beacon",
                        &key,
                        &[
                            "passband",
                            "name",
                            "frequency",
                            "kind",
                            "symbol_rate",
                            "rolloff",
                            "modcod",
                            "differential",
                            "manchester",
                        ],
                    ));
                }
            }
        }
        let known: Vec<String> = out.passbands.iter().map(|p| p.name.clone()).collect();
        let of = match (&passband, out.passbands.as_mut_slice()) {
            (None, [only]) => Some(only),
            (None, _) => None,
            (Some(name), all) => all.iter_mut().find(|p| p.name == *name),
        };
        let Some(p) = of else {
            return Err(WorkflowError::argument(
                format!("--beacon `{text}` belongs to no passband that was given"),
                format!("write passband=NAME; there are: {}", known.join(", ")),
            ));
        };
        p.beacons.push(b);
    }
    Ok(out)
}

fn pairs(option: &str, text: &str) -> Result<Vec<(String, String)>, WorkflowError> {
    text.split(';')
        .map(str::trim)
        .filter(|t| !t.is_empty())
        .map(|t| match t.split_once('=') {
            Some((k, v)) => Ok((
                k.trim().to_ascii_lowercase().replace('-', "_"),
                v.trim().to_string(),
            )),
            None => Err(WorkflowError::argument(
                format!("`{t}` in {option} says nothing of a key"),
                "write key=value, parted by `;`, for example name=narrow; use=narrow",
            )),
        })
        .collect()
}

fn yes(option: &str, key: &str, value: &str) -> Result<bool, WorkflowError> {
    match value.to_ascii_lowercase().as_str() {
        "yes" | "true" | "y" => Ok(true),
        "no" | "false" | "n" => Ok(false),
        _ => Err(WorkflowError::argument(
            format!("`{key}={value}` in {option}"),
            "yes or no",
        )),
    }
}

fn unknown(option: &str, key: &str, known: &[&str]) -> WorkflowError {
    let near = slantpath_input::nearest(key, known.iter().copied())
        .map(|n| format!(" (`{n}`?)"))
        .unwrap_or_default();
    WorkflowError::argument(
        format!("{option} knows no key `{key}`{near}"),
        format!("known are: {}", known.join(", ")),
    )
}

/// Asks for what is published, line by line; a mistake is told and asked again. Nothing is asked that operators do not
/// publish.
///
/// # Errors
/// The answers end too early, or the questions cannot be written.
pub fn ask(
    input: &mut dyn BufRead,
    output: &mut dyn Write,
) -> Result<SatelliteAnswers, WorkflowError> {
    let mut desk = Desk { input, output };
    desk.say(
        "What is published of the satellite. An empty answer takes what stands in [brackets].",
    )?;
    let mut out = SatelliteAnswers {
        name: "x".into(),
        longitude: "0 deg E".into(),
        polarisation_tilt: None,
        passbands: vec![passband_stand_in()],
    };
    let base = out.clone();
    out.name = desk.answer("Name", None, &|t| {
        (!t.is_empty())
            .then_some(())
            .ok_or("a name is needed".into())
    })?;
    out.longitude = desk.checked("Orbit slot, like 11.7 deg W", None, &base, &|a, t| {
        a.longitude = t
    })?;
    let tilt = desk.checked(
        "Turn of its polarisation, like 3.5 deg, or `none`",
        Some("none"),
        &base,
        &|a, t| a.polarisation_tilt = (t != "none").then_some(t),
    )?;
    out.polarisation_tilt = (tilt != "none").then_some(tilt);
    out.passbands.clear();
    loop {
        let first = out.passbands.is_empty();
        let more = first || desk.yes("Another passband", false)?;
        if !more {
            return Ok(out);
        }
        let taken: Vec<String> = out.passbands.iter().map(|p| p.name.clone()).collect();
        let p = passband(&mut desk, &base, &taken)?;
        out.passbands.push(p);
    }
}

fn passband_stand_in() -> PassbandAnswers {
    PassbandAnswers {
        name: "narrow".into(),
        usage: "narrow".into(),
        uplink: "2412.3..2412.7 MHz".into(),
        downlink: "10472.15..10472.55 MHz".into(),
        uplink_polarisation: "LHCP".into(),
        downlink_polarisation: "horizontal".into(),
        ..PassbandAnswers::default()
    }
}

/// The same satellite with its one passband changed.
fn with(a: &mut SatelliteAnswers, change: impl FnOnce(&mut PassbandAnswers)) {
    if let Some(p) = a.passbands.first_mut() {
        change(p);
    }
}

fn passband(
    desk: &mut Desk<'_>,
    base: &SatelliteAnswers,
    taken: &[String],
) -> Result<PassbandAnswers, WorkflowError> {
    let mut p = passband_stand_in();
    let usual = if taken.is_empty() { "narrow" } else { "wide" };
    p.usage = desk.checked(
        "Passband for `narrow` (voice, telegraphy) or `wide` (television)",
        Some(usual),
        base,
        &|a, t| with(a, |p| p.usage = t),
    )?;
    let usual = p.usage.clone();
    p.name = desk.answer("A short name for it", Some(&usual), &|t| {
        if t.is_empty() || taken.iter().any(|x| x == t) {
            return Err("a name that no other passband has".into());
        }
        let mut a = base.clone();
        with(&mut a, |p| p.name = t.to_string());
        mistake(&a).map_or(Ok(()), Err)
    })?;
    p.uplink = desk.checked("Uplink, like 2412.3..2412.7 MHz", None, base, &|a, t| {
        with(a, |p| {
            p.downlink.clone_from(&t);
            p.uplink = t;
        })
    })?;
    let up = p.uplink.clone();
    p.downlink = desk.checked(
        "Downlink, like 10472.15..10472.55 MHz",
        None,
        base,
        &|a, t| {
            with(a, |p| {
                p.uplink.clone_from(&up);
                p.downlink = t;
            })
        },
    )?;
    p.inverted = desk.yes("Is it inverted (upper and lower end change places)", false)?;
    p.uplink_polarisation = desk.checked(
        "Uplink polarisation as it arrives there: horizontal, vertical, RHCP, LHCP",
        None,
        base,
        &|a, t| with(a, |p| p.uplink_polarisation = t),
    )?;
    p.downlink_polarisation = desk.checked(
        "Downlink polarisation: horizontal, vertical, RHCP, LHCP",
        None,
        base,
        &|a, t| with(a, |p| p.downlink_polarisation = t),
    )?;
    while desk.yes(
        if p.beacons.is_empty() {
            "Does it have a beacon"
        } else {
            "Another beacon"
        },
        p.beacons.is_empty(),
    )? {
        let b = beacon(desk, base, &p)?;
        p.beacons.push(b);
    }
    Ok(p)
}

fn beacon(
    desk: &mut Desk<'_>,
    base: &SatelliteAnswers,
    so_far: &PassbandAnswers,
) -> Result<BeaconAnswers, WorkflowError> {
    let mut base = base.clone();
    base.passbands = vec![so_far.clone()];
    let mut b = BeaconAnswers {
        name: format!("beacon-{}", so_far.beacons.len() + 1),
        kind: "carrier".into(),
        ..BeaconAnswers::default()
    };
    let put = |a: &mut SatelliteAnswers, b: BeaconAnswers| with(a, |p| p.beacons.push(b));
    let own = b.clone();
    b.frequency = desk.checked(
        "Beacon's frequency, like 10472.175 MHz",
        None,
        &base,
        &|a, t| {
            put(
                a,
                BeaconAnswers {
                    frequency: t,
                    ..own.clone()
                },
            )
        },
    )?;
    let own = b.clone();
    b.name = desk.checked("Its name", Some(&own.name), &base, &|a, t| {
        put(
            a,
            BeaconAnswers {
                name: t,
                ..own.clone()
            },
        )
    })?;
    let kinds = ["carrier", "keyed-carrier", "bpsk", "dvb-s2"];
    b.kind = desk.answer(
        "What it sends: carrier, keyed-carrier, bpsk, dvb-s2",
        None,
        &|t| {
            if kinds.contains(&t) {
                Ok(())
            } else {
                Err(format!("one of: {}", kinds.join(", ")))
            }
        },
    )?;
    if !matches!(b.kind.as_str(), "bpsk" | "dvb-s2") {
        return Ok(b);
    }
    let tv = b.kind == "dvb-s2";
    let whole = BeaconAnswers {
        symbol_rate: Some("1000 Bd".into()),
        modcod: tv.then(|| "QPSK 1/2".to_string()),
        rolloff: tv.then(|| "0.35".to_string()),
        ..b.clone()
    };
    b.symbol_rate = Some(
        desk.checked("Its symbol rate, like 1200 Bd", None, &base, &|a, t| {
            put(
                a,
                BeaconAnswers {
                    symbol_rate: Some(t),
                    ..whole.clone()
                },
            )
        })?,
    );
    if tv {
        b.modcod = Some(
            desk.checked("Its MODCOD, like 8PSK 3/5", None, &base, &|a, t| {
                put(
                    a,
                    BeaconAnswers {
                        modcod: Some(t),
                        ..whole.clone()
                    },
                )
            })?,
        );
        b.rolloff = Some(desk.checked(
            "Its roll-off: 0.20, 0.25, 0.35",
            Some("0.35"),
            &base,
            &|a, t| {
                put(
                    a,
                    BeaconAnswers {
                        rolloff: Some(t),
                        ..whole.clone()
                    },
                )
            },
        )?);
    } else {
        let r = desk.checked(
            "Its roll-off, like 0.5, or `none` for rectangular pulses",
            Some("none"),
            &base,
            &|a, t| {
                put(
                    a,
                    BeaconAnswers {
                        rolloff: (t != "none").then_some(t),
                        ..whole.clone()
                    },
                )
            },
        )?;
        b.rolloff = (r != "none").then_some(r);
        b.differential = desk.yes("Is it differentially coded", false)?;
        b.manchester = desk.yes("Does it send Manchester pairs", false)?;
    }
    Ok(b)
}

/// Where questions go out and answers come in.
struct Desk<'a> {
    input: &'a mut dyn BufRead,
    output: &'a mut dyn Write,
}

impl Desk<'_> {
    fn say(&mut self, line: &str) -> Result<(), WorkflowError> {
        writeln!(self.output, "{line}").map_err(machine)
    }

    fn answer(
        &mut self,
        question: &str,
        usual: Option<&str>,
        check: &dyn Fn(&str) -> Result<(), String>,
    ) -> Result<String, WorkflowError> {
        loop {
            let shown = usual.map(|u| format!(" [{u}]")).unwrap_or_default();
            write!(self.output, "{question}{shown}: ")
                .and_then(|()| self.output.flush())
                .map_err(machine)?;
            let mut line = String::new();
            if self.input.read_line(&mut line).map_err(machine)? == 0 {
                return Err(WorkflowError::argument(
                    format!("the answers ended before `{question}`"),
                    "nothing was written; answer every question, or give --name, --slot, --passband and --beacon",
                ));
            }
            let text = match (line.trim(), usual) {
                ("", Some(u)) => u.to_string(),
                (t, _) => t.to_string(),
            };
            match check(&text) {
                Ok(()) => return Ok(text),
                Err(why) => self.say(&format!("  {why}"))?,
            }
        }
    }

    /// An answer that, put into an otherwise sound satellite, leaves it sound.
    fn checked(
        &mut self,
        question: &str,
        usual: Option<&str>,
        base: &SatelliteAnswers,
        put: &dyn Fn(&mut SatelliteAnswers, String),
    ) -> Result<String, WorkflowError> {
        self.answer(question, usual, &|t| {
            let mut a = base.clone();
            put(&mut a, t.to_string());
            mistake(&a).map_or(Ok(()), Err)
        })
    }

    fn yes(&mut self, question: &str, usual: bool) -> Result<bool, WorkflowError> {
        let t = self.answer(
            &format!("{question} (yes, no)?"),
            Some(if usual { "yes" } else { "no" }),
            &|t| match t {
                "yes" | "y" | "no" | "n" => Ok(()),
                _ => Err("yes or no".into()),
            },
        )?;
        Ok(t.starts_with('y'))
    }
}

fn machine(cause: std::io::Error) -> WorkflowError {
    WorkflowError::Machine {
        path: "standard input and output".into(),
        cause,
    }
}
