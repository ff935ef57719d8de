//! Collects the facts: figures from the contributors, whose identities name the field, and words for what is exact.

use super::{Fact, PartFacts};
use slantpath_quantity::{Contributor, Frequency, show};
use slantpath_station::Station;
use slantpath_station::checked::{
    Band, FeedArm, FeedPattern, LnbPolarisation, Node, Orbit, Part, PartKind, PatternRow,
    ReceiverOutput, ReflectorShape, SupplySource, Surface,
};
use std::collections::BTreeMap;

/// Facts of one part under construction.
struct Of(PartFacts);

impl Of {
    fn new(key: &str, label: &str, kind: &str) -> Self {
        Self(PartFacts {
            key: key.to_string(),
            label: label.to_string(),
            kind: kind.to_string(),
            facts: BTreeMap::new(),
        })
    }
    fn say(mut self, name: &str, words: impl Into<String>) -> Self {
        self.0.facts.insert(name.into(), Fact::Words(words.into()));
        self
    }
    fn maybe(self, name: &str, words: Option<String>) -> Self {
        match words {
            Some(w) => self.say(name, w),
            None => self,
        }
    }
    fn yes(self, name: &str, yes: bool) -> Self {
        self.say(name, if yes { "yes" } else { "no" })
    }
    /// Takes the figures whose identity begins with `prefix`.
    fn figures(mut self, all: &[&Contributor], prefix: &str) -> Self {
        for c in all {
            let id = c.id.as_str().split('@').next().unwrap_or_default();
            if let Some(name) = id.strip_prefix(prefix) {
                let fact = Fact::Figure {
                    value: c.distribution.mean(),
                    u: c.distribution.u(),
                    unit: c.unit.to_string(),
                    source: c.source.clone(),
                };
                self.0.facts.insert(name.to_string(), fact);
            }
        }
        self
    }
}

pub(super) fn of(s: &Station) -> Vec<PartFacts> {
    let all = s.contributors();
    let mut out = vec![site(s, &all), reflector(s, &all), feed(s, &all)];
    for node in &s.receive.nodes {
        out.push(received_by(s, node, &all));
    }
    for b in &s.receive.branches {
        let key = format!("rx.branch.{}", b.name);
        out.push(
            Of::new(&key, &format!("branch {}", b.name), "branch")
                .say("receives", b.receives.join(", "))
                .yes("tone", b.tone)
                .yes("dc_pass", b.dc_pass)
                .figures(&all, &format!("{key}."))
                .0,
        );
    }
    if let Some(t) = &s.transmit {
        let mut before = "transmit input".to_string();
        for p in &t.chain {
            let key = format!("tx.{}", p.name);
            let part = words(Of::new(&key, &p.label, p.kind.name()), p)
                .say("fed_by", before)
                .figures(&all, &format!("{key}."));
            before = p.name.clone();
            out.push(part.0);
        }
        for g in &t.segments {
            let key = format!("tx.{}", g.passband);
            // A part of the same name keeps its identity; the way of use then stands under its own.
            let own = format!("tx.use.{}", g.passband);
            out.push(
                Of::new(&own, &format!("transmitting, {}", g.passband), "segment")
                    .maybe("mode", g.mode.clone())
                    .maybe(
                        "symbol_rate",
                        g.symbol_rate
                            .map(|r| format!("{} Bd", show::significant(r, 9))),
                    )
                    .maybe("rolloff", g.rolloff.map(|r| show::significant(r, 6)))
                    .maybe("frequency", g.frequency.map(mhz))
                    .figures(&all, &format!("{key}."))
                    .0,
            );
        }
    }
    if let Some(p) = &s.supply {
        let source = match p.source {
            SupplySource::Mains => "mains",
            SupplySource::Battery => "battery",
        };
        out.push(
            Of::new("supply", "supply", "supply")
                .say("source", source)
                .figures(&all, "supply.")
                .0,
        );
    }
    if let Some(c) = &s.cooling {
        out.push(
            Of::new("cooling", "cooling", "cooling")
                .yes("fan", c.fan)
                .yes("foldback", c.foldback)
                .figures(&all, "cooling.")
                .0,
        );
    }
    out.push(satellite(s, &all));
    out
}

fn mhz(f: Frequency) -> String {
    format!("{} MHz", show::significant(f.as_mhz(), 12))
}

fn band(b: &Band) -> String {
    format!(
        "{}..{} MHz",
        show::significant(b.lo.as_mhz(), 12),
        show::significant(b.hi.as_mhz(), 12)
    )
}

fn site(s: &Station, all: &[&Contributor]) -> PartFacts {
    let x = &s.site;
    let degrees =
        |a: slantpath_quantity::Angle| format!("{} deg", show::significant(a.as_deg(), 9));
    let horizon: Vec<String> = x
        .horizon
        .iter()
        .map(|h| format!("{} at {}", degrees(h.elevation), degrees(h.azimuth)))
        .collect();
    let obstacles: Vec<String> = x
        .obstacles
        .iter()
        .map(|o| {
            format!(
                "{}: {} m away, {} m high at {}",
                o.name,
                show::significant(o.distance.as_m(), 6),
                show::significant(o.height.as_m(), 6),
                degrees(o.azimuth)
            )
        })
        .collect();
    Of::new("site", "site", "site")
        .say("latitude", degrees(x.latitude))
        .say("longitude", degrees(x.longitude))
        .maybe("locator", x.locator.clone())
        .say("horizon", horizon.join(", "))
        .say("obstacles", obstacles.join("; "))
        .figures(all, "site.")
        .0
}

fn reflector(s: &Station, all: &[&Contributor]) -> PartFacts {
    let r = &s.reflector;
    let shape = match r.shape {
        ReflectorShape::PrimeFocus { .. } => "prime focus",
        ReflectorShape::PrimeFocusByTape { .. } => "prime focus, by tape",
        ReflectorShape::Offset { .. } => "offset",
        ReflectorShape::OffsetByTape { .. } => "offset, by tape",
    };
    Of::new("reflector", "dish", "reflector")
        .say("shape", shape)
        .say(
            "feed_arm",
            match r.feed_arm {
                FeedArm::Bottom => "bottom",
                FeedArm::Top => "top",
            },
        )
        .say(
            "surface",
            match r.surface {
                Surface::Solid => "solid",
                Surface::Mesh => "mesh",
            },
        )
        .say("struts", r.blockage.struts.to_string())
        .figures(all, "reflector.")
        .0
}

fn rows(rows: &[PatternRow]) -> String {
    let row = |r: &PatternRow| {
        format!(
            "{} dB at {} deg",
            show::significant(r.level_db, 6),
            show::significant(r.angle.as_deg(), 6)
        )
    };
    rows.iter().map(row).collect::<Vec<_>>().join(", ")
}

fn feed(s: &Station, all: &[&Contributor]) -> PartFacts {
    let f = &s.feed;
    let table = |p: &FeedPattern| match p {
        FeedPattern::Table { rows: r, .. } => Some(rows(r)),
        _ => None,
    };
    Of::new("feed", "feed", "feed")
        .say("name", f.name.as_str())
        .yes("cover", f.cover.is_some())
        .maybe(
            "skew_setting",
            f.skew_setting
                .map(|a| format!("{} deg", show::significant(a.as_deg(), 6))),
        )
        .maybe("receive.pattern", table(&f.receive.pattern))
        .maybe(
            "transmit.pattern",
            f.transmit.as_ref().and_then(|t| table(&t.pattern)),
        )
        .maybe(
            "transmit.sense_at_feed",
            f.transmit
                .as_ref()
                .map(|t| t.sense_at_feed.name().to_string()),
        )
        .figures(all, &format!("feed.{}.", f.name))
        .0
}

fn received_by(s: &Station, node: &Node, all: &[&Contributor]) -> PartFacts {
    let key = format!("rx.{}", node.part.name);
    let from = match node.input {
        None => "feed".to_string(),
        Some(p) => {
            let name = s.receive.node(p.node).map_or("?", |n| n.part.name.as_str());
            format!("{name}.{}", p.port)
        }
    };
    words(
        Of::new(&key, &node.part.label, node.part.kind.name()),
        &node.part,
    )
    .say("fed_by", from)
    .figures(all, &format!("{key}."))
    .0
}

/// What is exact about a part.
fn words(of: Of, part: &Part) -> Of {
    let ports = |p: &[u32]| p.iter().map(u32::to_string).collect::<Vec<_>>().join(", ");
    match &part.kind {
        PartKind::Lnb(x) => of
            .say("lo", mhz(x.lo))
            .maybe("lo_with_tone", x.lo_with_tone.map(mhz))
            .yes("inverted", x.inverted)
            .say(
                "polarisation",
                match &x.polarisation {
                    LnbPolarisation::Switched { .. } => "switched by volts".to_string(),
                    LnbPolarisation::Fixed(p) => {
                        p.iter().map(|p| p.name()).collect::<Vec<_>>().join(", ")
                    }
                },
            )
            .say("input_range", band(&x.input_range))
            .say("output_range", band(&x.output_range))
            .say("ports", x.ports.to_string()),
        PartKind::Cable(x) => {
            let loss: Vec<String> = x
                .loss
                .iter()
                .map(|p| {
                    format!(
                        "{} dB/m at {}",
                        show::significant(p.db_per_m, 6),
                        mhz(p.frequency)
                    )
                })
                .collect();
            of.maybe("generic", x.generic.clone())
                .say("loss_table", loss.join(", "))
        }
        PartKind::Splitter(x) => of
            .say("ways", x.ways.to_string())
            .say("dc_ports", ports(&x.dc_ports)),
        PartKind::Connector(x) => of.yes("dc_pass", x.dc_pass),
        PartKind::Attenuator(x) => of.yes("dc_pass", x.dc_pass),
        PartKind::Filter(x) => {
            let rejection: Vec<String> = x
                .rejection
                .iter()
                .map(|r| {
                    format!(
                        "{} dB at {}",
                        show::significant(r.attenuation_db, 6),
                        mhz(r.frequency)
                    )
                })
                .collect();
            of.say("passband", band(&x.passband))
                .say("rejection", rejection.join(", "))
                .yes("dc_pass", x.dc_pass)
        }
        PartKind::BiasTee(x) => of.yes("tone", x.tone),
        PartKind::Amplifier(x) => {
            let am_am: Vec<String> = x
                .am_am
                .iter()
                .map(|r| {
                    format!(
                        "{} dBW in, {} dBW out",
                        show::significant(r.input_dbw, 6),
                        show::significant(r.output_dbw, 6)
                    )
                })
                .collect();
            of.maybe("frequency_range", x.frequency_range.as_ref().map(band))
                .maybe("am_am", (!am_am.is_empty()).then(|| am_am.join("; ")))
                .yes("dc_pass", x.dc_pass)
        }
        PartKind::Receiver(x) => of
            .say(
                "output",
                match x.output {
                    ReceiverOutput::Samples => "samples",
                    ReceiverOutput::Readings => "readings",
                },
            )
            .say("frequency_range", band(&x.frequency_range))
            .say("bandwidth", mhz(x.bandwidth))
            .maybe("sample_rate", x.sample_rate.map(mhz))
            .maybe(
                "gain_range",
                x.gain_range_db.map(|(a, b)| {
                    format!(
                        "{}..{} dB",
                        show::significant(a, 6),
                        show::significant(b, 6)
                    )
                }),
            )
            .yes("tone", x.tone)
            .yes("agc", x.agc),
        PartKind::Transmitter(x) => of.say("frequency_range", band(&x.frequency_range)),
    }
}

fn satellite(s: &Station, all: &[&Contributor]) -> PartFacts {
    let x = &s.satellite;
    let mut of = Of::new("sat", "satellite", "satellite").say("name", x.name.as_str());
    of = match &x.orbit {
        Orbit::Slot {
            inclination,
            eccentricity,
            ..
        } => of
            .maybe(
                "inclination",
                inclination.map(|i| format!("{} deg", show::significant(i.as_deg(), 9))),
            )
            .maybe(
                "eccentricity",
                eccentricity.map(|e| show::significant(e, 9)),
            ),
        Orbit::Tle { line1, line2, .. } => of.say("elements", format!("{line1}\n{line2}")),
        Orbit::Omm { text, .. } => of.say("elements", text.as_str()),
    }
    .maybe(
        "longitude",
        x.orbit
            .longitude()
            .map(|l| format!("{} deg", show::significant(l.as_deg(), 9))),
    );
    for p in &x.passbands {
        of = of
            .say(&format!("{}.uplink", p.name), band(&p.uplink))
            .say(&format!("{}.downlink", p.name), band(&p.downlink));
        for b in &p.beacons {
            of = of.say(
                &format!("{}.{}.frequency", p.name, b.name),
                mhz(b.frequency),
            );
        }
    }
    of.figures(all, "sat.").0
}
