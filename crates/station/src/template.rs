//! Files to start from.

/// A commented station file that is read without problems beside [`satellite`] saved as `satellite.toml`.
pub fn station() -> &'static str {
    include_str!("template/station.toml")
}

/// A commented satellite file.
pub fn satellite() -> &'static str {
    include_str!("template/satellite.toml")
}

/// [`station`] with the name, callsign and satellite file that are known already.
pub fn new_station(name: &str, callsign: Option<&str>, satellite_path: &str) -> String {
    let mut text = station()
        .replace("name = \"My station\"", &format!("name = {}", quoted(name)))
        .replace(
            "satellite = \"satellite.toml\"            ",
            &format!("satellite = {}            ", quoted(satellite_path)),
        );
    let line = "callsign = \"QQ0XXX\"\n";
    text = match callsign {
        Some(c) => text.replace(line, &format!("callsign = {}\n", quoted(c))),
        None => text.replace(line, ""),
    };
    text
}

/// What is published of a satellite, each value as a person writes it (`"11.7 deg W"`, `"10472.1..10472.6 MHz"`).
/// Nothing is checked here: the text is read like any other file afterwards, and says then what is wrong.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct SatelliteAnswers {
    /// Name.
    pub name: String,
    /// Orbit slot.
    pub longitude: String,
    /// Turn of its polarisation, if published.
    pub polarisation_tilt: Option<String>,
    /// Passbands.
    pub passbands: Vec<PassbandAnswers>,
}

/// What is published of a passband.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct PassbandAnswers {
    /// A short name.
    pub name: String,
    /// `narrow` or `wide`.
    pub usage: String,
    /// Uplink limits.
    pub uplink: String,
    /// Downlink limits.
    pub downlink: String,
    /// Whether it is inverted.
    pub inverted: bool,
    /// Polarisation up.
    pub uplink_polarisation: String,
    /// Polarisation down.
    pub downlink_polarisation: String,
    /// Beacons.
    pub beacons: Vec<BeaconAnswers>,
}

/// What is published of a beacon.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct BeaconAnswers {
    /// A short name.
    pub name: String,
    /// Frequency.
    pub frequency: String,
    /// `carrier`, `keyed-carrier`, `bpsk` or `dvb-s2`.
    pub kind: String,
    /// Symbol rate of the modulated kinds.
    pub symbol_rate: Option<String>,
    /// Roll-off, a plain number.
    pub rolloff: Option<String>,
    /// MODCOD of DVB-S2.
    pub modcod: Option<String>,
    /// Whether BPSK is differentially coded.
    pub differential: bool,
    /// Whether BPSK sends Manchester pairs.
    pub manchester: bool,
}

/// A satellite file from what is published. EIRP, G/T and noise density are left as comments: while they are not
/// written, wide guesses marked as such stand in.
pub fn new_satellite(answers: &SatelliteAnswers) -> String {
    let mut out = String::from(
        "# Written from what is published. EIRP, G/T and noise density are wide guesses until you write them.\nformat = 1\n\n[satellite]\n",
    );
    let mut line = |key: &str, value: &str| out.push_str(&format!("{key} = {}\n", quoted(value)));
    line("name", &answers.name);
    line("longitude", &answers.longitude);
    if let Some(t) = &answers.polarisation_tilt {
        line("polarisation_tilt", t);
    }
    for p in &answers.passbands {
        passband(&mut out, p);
    }
    out
}

fn passband(out: &mut String, p: &PassbandAnswers) {
    let name = key(&p.name);
    out.push_str(&format!("\n[passband.{name}]\n"));
    for (k, v) in [
        ("use", &p.usage),
        ("uplink", &p.uplink),
        ("downlink", &p.downlink),
        ("uplink_polarisation", &p.uplink_polarisation),
        ("downlink_polarisation", &p.downlink_polarisation),
    ] {
        out.push_str(&format!("{k} = {}\n", quoted(v)));
    }
    if p.inverted {
        out.push_str("inverted = true\n");
    }
    out.push_str("# saturated_eirp = \"... dBW ± ...\"\n# g_over_t = \"... dB/K ± ...\"\n# noise_density = \"... dBW/Hz ± ...\"\n");
    for b in &p.beacons {
        out.push_str(&format!("\n[[passband.{name}.beacon]]\n"));
        for (k, v) in [
            ("name", &b.name),
            ("frequency", &b.frequency),
            ("kind", &b.kind),
        ] {
            out.push_str(&format!("{k} = {}\n", quoted(v)));
        }
        for (k, v) in [
            ("modcod", &b.modcod),
            ("symbol_rate", &b.symbol_rate),
            ("rolloff", &b.rolloff),
        ] {
            if let Some(v) = v {
                out.push_str(&format!("{k} = {}\n", quoted(v)));
            }
        }
        for (k, v) in [
            ("differential", b.differential),
            ("manchester", b.manchester),
        ] {
            if v {
                out.push_str(&format!("{k} = true\n"));
            }
        }
    }
}

/// A TOML basic string.
fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            c if c.is_control() => out.push_str(&format!("\\u{:04X}", c as u32)),
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

/// A TOML key: bare where possible.
fn key(text: &str) -> String {
    let bare = !text.is_empty()
        && text
            .chars()
            .all(|c| c.is_ascii_alphanumeric() || c == '-' || c == '_');
    if bare { text.to_string() } else { quoted(text) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{read_satellite, read_station};
    use proptest::prelude::*;
    use slantpath_input::{Source, Style, render_all};

    #[test]
    fn templates_are_sound() {
        let (file, problems) = read_station(&Source::new("station.toml", station()), &mut |p| {
            assert_eq!(p, "satellite.toml");
            Ok(Source::new(p, satellite()))
        });
        assert!(
            problems.is_empty(),
            "{}",
            render_all(&problems, Style::ASCII)
        );
        let file = file.unwrap();
        assert_eq!(file.variant_names(), ["better-lnb"]);
        let ids: Vec<_> = file.variants[0]
            .contributors()
            .iter()
            .map(|c| c.id.0.clone())
            .collect();
        assert!(ids.contains(&"rx.lnb.noise_figure@better-lnb".to_string()));
        assert!(ids.contains(&"rx.lnb.gain".to_string()));
        for text in [station(), satellite()] {
            assert!(text.lines().all(|l| l.chars().count() <= 120));
        }
    }

    #[test]
    fn what_is_commented_out_in_the_templates_is_sound_as_well() {
        // Every `# key = value` line becomes a line of its own.
        let uncommented = |text: &str, skip: &[&str]| -> String {
            text.lines()
                .map(|l| match l.strip_prefix("# ") {
                    Some(r)
                        if (r.starts_with('[')
                            || r.split_once(" = ").is_some_and(|(k, _)| {
                                k.chars().all(|c| c.is_ascii_lowercase() || c == '_')
                            }))
                            && !skip.iter().any(|s| r.starts_with(s)) =>
                    {
                        format!("{r}\n")
                    }
                    _ => format!("{l}\n"),
                })
                .collect()
        };
        let sat = uncommented(satellite(), &["tle", "inverted"]);
        let (s, problems) = read_satellite(&Source::new("s", sat.clone()));
        assert!(
            problems.is_empty(),
            "{}",
            render_all(&problems, Style::ASCII)
        );
        assert!(s.unwrap().passbands[0].saturated_eirp.source == "satellite file");
        let text = uncommented(station(), &[]);
        let (_, problems) = read_station(&Source::new("t", text), &mut |p| {
            Ok(Source::new(p, sat.clone()))
        });
        assert!(
            problems.is_empty(),
            "{}",
            render_all(&problems, Style::ASCII)
        );
    }

    #[test]
    fn names_given_reach_the_file() {
        let text = new_station("Dach \"Nord\"", None, "my sat.toml");
        let (file, problems) = read_station(&Source::new("t", text), &mut |p| {
            assert_eq!(p, "my sat.toml");
            Ok(Source::new(p, satellite()))
        });
        assert!(
            problems.is_empty(),
            "{}",
            render_all(&problems, Style::ASCII)
        );
        let s = file.unwrap().base;
        assert_eq!((s.name.as_str(), s.callsign), ("Dach \"Nord\"", None));
    }

    fn answers() -> SatelliteAnswers {
        SatelliteAnswers {
            name: "Petrel-1".into(),
            longitude: "11.7 deg W".into(),
            polarisation_tilt: Some("3.5 deg".into()),
            passbands: vec![PassbandAnswers {
                name: "narrow".into(),
                usage: "narrow".into(),
                uplink: "2412.3..2412.7 MHz".into(),
                downlink: "10472.15..10472.55 MHz".into(),
                uplink_polarisation: "LHCP".into(),
                downlink_polarisation: "horizontal".into(),
                beacons: vec![BeaconAnswers {
                    name: "psk".into(),
                    frequency: "10472.175 MHz".into(),
                    kind: "bpsk".into(),
                    symbol_rate: Some("1200 Bd".into()),
                    rolloff: Some("0.5".into()),
                    differential: true,
                    ..Default::default()
                }],
                ..Default::default()
            }],
        }
    }

    #[test]
    fn what_is_published_is_enough() {
        let (s, problems) = read_satellite(&Source::new("s", new_satellite(&answers())));
        assert!(
            problems.is_empty(),
            "{}",
            render_all(&problems, Style::ASCII)
        );
        let p = &s.unwrap().passbands[0];
        for c in [
            &p.saturated_eirp,
            &p.g_over_t,
            &p.noise_density,
            &p.beacons[0].eirp,
        ] {
            assert_eq!(c.source, "guess (wide prior)");
            assert!(c.distribution.u() > 5.0, "{c:?}");
        }
    }

    proptest! {
        #[test]
        fn any_answer_becomes_a_file_that_names_the_mistake(name in ".{0,20}", band in ".{0,12}", passband in ".{1,8}") {
            let mut a = answers();
            a.name = name.clone();
            a.passbands[0].downlink = band;
            a.passbands[0].name = passband;
            let (s, problems) = read_satellite(&Source::new("s", new_satellite(&a)));
            prop_assert!(problems.iter().all(|p| !p.title.contains("not TOML")), "{problems:?}");
            prop_assert!(s.is_some() || problems.has_errors());
        }
    }
}
