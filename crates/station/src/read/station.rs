//! The station file.

use super::chain::{self, Parts};
use super::desk::{Desk, Scope};
use super::satellite::{format_is_known, read_satellite};
use super::{chain_check, feed, part, plant, reading, reflector, site, transmit};
use crate::checked::{Feed, Gap, Matching, ReflectionRow, Satellite, Station, StationFile};
use slantpath_input::toml::{Node, Table, Value};
use slantpath_input::{Place, Problem, Problems, Section, Source, nearest, toml};
use std::collections::BTreeMap;
use std::sync::Arc;

/// Fetches a file named in another (its path as written), or says in one sentence why it cannot.
pub type Loader<'a> = dyn FnMut(&str) -> Result<Arc<Source>, String> + 'a;

/// Reads a station file and, through `load`, the satellite file that it names. Base and every variant go through the
/// same checks. The second value holds everything found wrong in both files, warnings included; there is a station only
/// when none of it is an error.
pub fn read_station(
    source: &Arc<Source>,
    load: &mut Loader<'_>,
) -> (Option<StationFile>, Problems) {
    let mut desk = Desk {
        problems: Problems::new(),
        source: "station file",
    };
    let root = toml::read(source, &mut desk.problems);
    if desk.problems.has_errors() {
        return (None, desk.problems.sorted());
    }
    let file = file(&mut desk, &root, load);
    let ok = !desk.problems.has_errors();
    (file.filter(|_| ok), desk.problems.sorted())
}

fn file(desk: &mut Desk, root: &Node, load: &mut Loader<'_>) -> Option<StationFile> {
    {
        let mut top = Section::open(root, "", &mut desk.problems);
        if !format_is_known(&mut top, &mut desk.problems) {
            return None;
        }
    }
    let satellite = satellite(desk, root, load);
    let mut used = Used::default();
    // Without the satellite the rest is still read, against one without passbands, and the checks that need it are left.
    let stand_in = Satellite {
        name: String::new(),
        orbit: crate::checked::Orbit::Slot {
            longitude: slantpath_quantity::Angle::rad(0.0),
            inclination: None,
            eccentricity: None,
        },
        polarisation_tilt: slantpath_quantity::Contributor {
            id: slantpath_quantity::ContributorId::new("sat.polarisation_tilt"),
            label: String::new(),
            distribution: slantpath_quantity::Distribution::Exact(0.0),
            unit: "rad",
            source: String::new(),
        },
        passbands: Vec::new(),
    };
    let known = satellite.is_some();
    let satellite = satellite.unwrap_or(stand_in);
    let mut base = None;
    if known {
        base = station(desk, root, None, &satellite, &mut used, load);
    } else {
        // What depends on passbands would only repeat that there is no satellite.
        let mut quiet = Desk {
            problems: Problems::new(),
            source: desk.source,
        };
        station(&mut quiet, root, None, &satellite, &mut used, load);
        for p in quiet.problems {
            if !p.title.contains("passband") && !p.title.contains("not known in `[transmit]`") {
                desk.problems.push(p);
            }
        }
    }
    let mut variants = Vec::new();
    for (name, node) in variant_nodes(desk, root) {
        if !known {
            break;
        }
        let mut own = Desk {
            problems: Problems::new(),
            source: desk.source,
        };
        let v = station(&mut own, &node, Some(&name), &satellite, &mut used, load);
        for p in own.problems {
            if !desk.problems.contains(&p) {
                desk.problems.push(p.help(format!("in variant `{name}`")));
            }
        }
        variants.extend(v);
    }
    used.report(desk);
    Some(StationFile {
        base: base?,
        variants,
    })
}

fn satellite(desk: &mut Desk, root: &Node, load: &mut Loader<'_>) -> Option<Satellite> {
    let mut quiet = Problems::new();
    let mut top = Section::open(root, "", &mut quiet);
    let mut sec = top.section("station", &mut quiet)?;
    let place = sec.place_of("satellite");
    let path = sec.text("satellite", &mut quiet)?;
    match load(path) {
        Ok(source) => {
            let (satellite, problems) = read_satellite(&source);
            if satellite.is_none() {
                desk.problems.push(
                    Problem::error("the satellite file has errors")
                        .at_place(place)
                        .label("named here")
                        .help("they follow"),
                );
            }
            desk.problems.extend(problems);
            satellite
        }
        Err(why) => {
            desk.problems.push(
                Problem::error("the satellite file cannot be read")
                    .at_place(place)
                    .label(why)
                    .expected("the path of a satellite file, relative to this file"),
            );
            None
        }
    }
}

/// Each variant's tree: the base with the variant's tables laid over it. A part whose `kind` the variant writes is
/// replaced whole.
fn variant_nodes(desk: &mut Desk, root: &Node) -> Vec<(Arc<str>, Node)> {
    const MAY_VARY: [&str; 12] = [
        "use_feed",
        "site",
        "reflector",
        "feed",
        "part",
        "receive",
        "branch",
        "transmit",
        "supply",
        "cooling",
        "limits",
        "wind",
    ];
    let mut quiet = Problems::new();
    let mut top = Section::open(root, "", &mut quiet);
    let Some(mut all) = top.section("variant", &mut desk.problems) else {
        return Vec::new();
    };
    let mut out = Vec::new();
    for e in all.entries() {
        let name: Arc<str> = e.key.as_str().into();
        let Some(table) = e.node.as_table() else {
            let _ = Section::open(&e.node, format!("variant.{}", e.key), &mut desk.problems);
            continue;
        };
        for k in &table.entries {
            if !MAY_VARY.contains(&k.key.as_str()) {
                desk.problems.push(
                    Problem::error(format!("a variant cannot change `{}`", k.key))
                        .at_place(k.node.source.place(k.key_span.clone()))
                        .label("not here")
                        .nearest(nearest(&k.key, MAY_VARY))
                        .expected(MAY_VARY.map(|m| format!("`{m}`")).join(", ")),
                );
            }
        }
        if table.entries.is_empty() {
            desk.problems.push(
                Problem::warning(format!("variant `{name}` changes nothing"))
                    .at_place(e.node.place())
                    .label("empty"),
            );
        }
        let whole = |t: &Table| t.get("kind").is_some();
        let mut over = e.node.clone();
        if let Value::Table(t) = &mut over.value {
            t.entries.retain(|k| MAY_VARY.contains(&k.key.as_str()));
        }
        let laid = toml::overlay(root, &over, &name, &whole);
        out.push((name, laid));
    }
    out
}

/// What the file describes and what any variant uses of it.
#[derive(Default)]
struct Used {
    parts: BTreeMap<String, (Place, bool)>,
    feeds: BTreeMap<String, (Place, bool)>,
}

impl Used {
    fn report(&self, desk: &mut Desk) {
        if desk.problems.has_errors() {
            return;
        }
        for (what, all) in [("part", &self.parts), ("feed", &self.feeds)] {
            for (name, (place, used)) in all {
                if !used {
                    desk.problems.push(
                        Problem::warning(format!("{what} `{name}` is not used"))
                            .at_place(place.clone())
                            .label(if what == "part" {
                                "in no chain"
                            } else {
                                "no `use_feed` names it"
                            })
                            .help("leave it for later, or remove it"),
                    );
                }
            }
        }
    }
}

fn station(
    desk: &mut Desk,
    root: &Node,
    variant: Option<&str>,
    satellite: &Satellite,
    used: &mut Used,
    load: &mut Loader<'_>,
) -> Option<Station> {
    let mut top = Section::open(root, "", &mut desk.problems);
    let _ = top.get("format");
    let _ = top.get("variant");
    let head = head(desk, &mut top);
    let site = required(desk, &mut top, "site")
        .map(|sec| site::site(Scope::new(desk, sec, "site", "site")));
    let reflector = required(desk, &mut top, "reflector")
        .map(|sec| reflector::reflector(Scope::new(desk, sec, "reflector", "reflector")));
    let feed = feeds(desk, &mut top, used, load);
    let parts = parts(desk, &mut top, used);
    let (receive, mut marks) = chain::receive(desk, &mut top, &parts, satellite);
    let transmit = top
        .section("transmit", &mut desk.problems)
        .map(|sec| transmit::transmit(desk, sec, &parts, satellite, &mut marks));
    let supply = top
        .section("supply", &mut desk.problems)
        .map(|sec| plant::supply(Scope::new(desk, sec, "supply", "supply")));
    let cooling = top
        .section("cooling", &mut desk.problems)
        .map(|sec| plant::cooling(Scope::new(desk, sec, "cooling", "cooling")));
    let limits = top
        .section("limits", &mut desk.problems)
        .map(|sec| plant::limits(Scope::new(desk, sec, "limits", "limits")));
    let wind = top
        .section("wind", &mut desk.problems)
        .map(|sec| plant::wind(Scope::new(desk, sec, "wind", "wind")));
    let readings = reading::readings(desk, &mut top);
    let trial = top
        .section("trial", &mut desk.problems)
        .map(|sec| reading::trial(Scope::new(desk, sec, "trial", "trial")))
        .unwrap_or_default();
    top.finish(&mut desk.problems);
    for name in &marks.used {
        if let Some(u) = used.parts.get_mut(name) {
            u.1 = true;
        }
    }
    let (name, callsign, satellite_path) = head?;
    let (feed, feed_place) = feed?;
    let mut station = Station {
        name,
        callsign,
        variant: variant.map(str::to_string),
        satellite_path,
        satellite: satellite.clone(),
        site: site?,
        reflector: reflector?,
        feed,
        receive,
        transmit,
        supply,
        cooling,
        limits,
        wind,
        readings,
        trial,
    };
    if desk.problems.has_errors() {
        return None;
    }
    check_readings(desk, &station, &mut top_readings(root));
    check_reflection(desk, &station, &feed_place);
    chain_check::check(desk, &mut station, &marks, &feed_place);
    Some(station)
}

/// A measured reflection has a value at every frequency at which the station transmits.
fn check_reflection(desk: &mut Desk, station: &Station, feed: &Place) {
    let Some(Matching::Measured { dry, wet }) = station.feed.transmit.as_ref().map(|t| &t.matching)
    else {
        return;
    };
    for r in std::iter::once(dry).chain(wet) {
        for p in &station.satellite.passbands {
            let f = p.uplink.centre();
            let Err(gap) = r.at(f) else { continue };
            let at =
                |x: &ReflectionRow| format!("line {} ({:.1} MHz)", x.line, x.frequency.as_mhz());
            let why = match &gap {
                Gap::Below(x) => format!("`{}` begins above it, at {}", r.file, at(x)),
                Gap::Above(x) => format!("`{}` ends below it, at {}", r.file, at(x)),
                Gap::Between(a, b) => format!(
                    "`{}` has nothing near it between {} and {}",
                    r.file,
                    at(a),
                    at(b)
                ),
                Gap::Empty => format!("`{}` holds no point", r.file),
            };
            desk.problems.push(
                Problem::error(format!(
                    "the measured reflection has no value at {:.1} MHz",
                    f.as_mhz()
                ))
                .at_place(feed.clone())
                .label(why)
                .help(format!(
                    "sweep from {:.0} to {:.0} MHz with 101 points or more and export it again",
                    0.97 * f.as_mhz(),
                    1.03 * f.as_mhz()
                )),
            );
            break;
        }
    }
}

fn head(desk: &mut Desk, top: &mut Section<'_>) -> Option<(String, Option<String>, String)> {
    let mut s = required(desk, top, "station")?;
    let p = &mut desk.problems;
    let name = s.required_text("name", "what its people call it", p);
    let callsign = s.text("callsign", p).map(str::to_string);
    let satellite = s.required_text(
        "satellite",
        "the path of the satellite file, relative to this file",
        p,
    );
    s.finish(p);
    Some((name?.to_string(), callsign, satellite?.to_string()))
}

fn required<'t>(desk: &mut Desk, top: &mut Section<'t>, key: &'static str) -> Option<Section<'t>> {
    let found = top.section(key, &mut desk.problems);
    if found.is_none() {
        top.missing(key, &format!("a heading `[{key}]`"), &mut desk.problems);
    }
    found
}

/// Every feed is read, the one in use is returned with its place.
fn feeds(
    desk: &mut Desk,
    top: &mut Section<'_>,
    used: &mut Used,
    load: &mut Loader<'_>,
) -> Option<(Feed, Place)> {
    let wanted_place = top.place_of("use_feed");
    let wanted = top.text("use_feed", &mut desk.problems);
    let Some(mut all) = top.section("feed", &mut desk.problems) else {
        top.missing("feed", "a heading `[feed.NAME]`", &mut desk.problems);
        return None;
    };
    let mut found: Vec<(Feed, Place)> = Vec::new();
    for e in all.entries() {
        let sec = Section::open(&e.node, format!("feed.{}", e.key), &mut desk.problems);
        let s = Scope::new(
            desk,
            sec,
            format!("feed.{}", e.key),
            format!("feed {}", e.key),
        );
        found.push((
            feed::feed(&e.key, s, load),
            e.node.source.place(e.key_span.clone()),
        ));
        used.feeds
            .entry(e.key.clone())
            .or_insert_with(|| (e.node.source.place(e.key_span.clone()), false));
    }
    let chosen = match wanted {
        Some(name) => {
            let at = found.iter().position(|f| f.0.name == name);
            if at.is_none() {
                desk.problems.push(
                    Problem::error(format!("there is no feed `{name}`"))
                        .at_place(wanted_place)
                        .label("not known")
                        .nearest(nearest(name, found.iter().map(|f| f.0.name.as_str())))
                        .help(format!("describe it under a heading `[feed.{name}]`")),
                );
            }
            at
        }
        None if found.len() > 1 => {
            let names: Vec<String> = found.iter().map(|f| format!("\"{}\"", f.0.name)).collect();
            desk.problems.push(
                Problem::error("several feeds, and none is said to be in use")
                    .at_place(all.place())
                    .expected(format!(
                        "`use_feed = ...` at the top of the file: {}",
                        names.join(" or ")
                    )),
            );
            None
        }
        None => (!found.is_empty()).then_some(0),
    };
    let i = chosen?;
    let (f, place) = found.into_iter().nth(i)?;
    if let Some(u) = used.feeds.get_mut(&f.name) {
        u.1 = true;
    }
    Some((f, place))
}

/// Every part, read under the side on which it stands.
fn parts(desk: &mut Desk, top: &mut Section<'_>, used: &mut Used) -> Parts {
    let transmit_names: Vec<String> = top
        .get("transmit")
        .and_then(Node::as_table)
        .and_then(|t| t.get("chain"))
        .map(|e| texts(&e.node))
        .unwrap_or_default();
    let Some(mut all) = top.section("part", &mut desk.problems) else {
        top.missing(
            "part",
            "a heading `[part.NAME]` for each part",
            &mut desk.problems,
        );
        return Parts::new();
    };
    let entries = all.entries();
    let mut out = Parts::new();
    for e in entries {
        let place = e.node.source.place(e.key_span.clone());
        used.parts
            .entry(e.key.clone())
            .or_insert_with(|| (place.clone(), false));
        let Some(node) = like(desk, &e.key, &e.node, entries) else {
            out.insert(e.key.clone(), (None, place));
            continue;
        };
        let side = if transmit_names.contains(&e.key) {
            "tx"
        } else {
            "rx"
        };
        let mut sec = Section::open(&node, format!("part.{}", e.key), &mut desk.problems);
        let _ = sec.get("like");
        let p = part::part(
            &e.key,
            Scope::new(desk, sec, format!("{side}.{}", e.key), e.key.clone()),
        );
        out.insert(e.key.clone(), (p, place));
    }
    out
}

/// A part that says `like = "other"` takes what it does not write from there. The other must not say `like` itself.
fn like(desk: &mut Desk, name: &str, node: &Node, all: &[toml::Entry]) -> Option<Node> {
    let Some(e) = node.as_table().and_then(|t| t.get("like")) else {
        return Some(node.clone());
    };
    let Value::Text(other) = &e.node.value else {
        desk.problems.push(
            Problem::error("`like` must be the name of a part")
                .at_place(e.node.place())
                .label(format!("this is {}", e.node.value.kind())),
        );
        return None;
    };
    let model = all.iter().find(|x| x.key == *other && x.key != name);
    let Some(model) = model else {
        let names = all.iter().map(|x| x.key.as_str()).filter(|k| *k != name);
        desk.problems.push(
            Problem::error(format!("there is no part `{other}` to be like"))
                .at_place(e.node.place())
                .label("not known")
                .nearest(nearest(other, names)),
        );
        return None;
    };
    if model
        .node
        .as_table()
        .is_some_and(|t| t.get("like").is_some())
    {
        desk.problems.push(
            Problem::error(format!("`{other}` is itself like another part"))
                .at_place(e.node.place())
                .label("name the part that is described in full"),
        );
        return None;
    }
    let (Some(base), Some(own)) = (model.node.as_table(), node.as_table()) else {
        return None;
    };
    let mut entries = base.entries.clone();
    for o in &own.entries {
        match entries.iter_mut().find(|x| x.key == o.key) {
            Some(x) => *x = o.clone(),
            None => entries.push(o.clone()),
        }
    }
    entries.retain(|x| x.key != "label" || own.get("label").is_some());
    Some(Node {
        value: Value::Table(Table { entries }),
        ..node.clone()
    })
}

fn texts(n: &Node) -> Vec<String> {
    match &n.value {
        Value::List(l) => l
            .iter()
            .filter_map(|x| match &x.value {
                Value::Text(t) => Some(t.clone()),
                _ => None,
            })
            .collect(),
        _ => Vec::new(),
    }
}

/// The nodes of `[[reading]]`, for places.
fn top_readings(root: &Node) -> Vec<&Node> {
    match root
        .as_table()
        .and_then(|t| t.get("reading"))
        .map(|e| &e.node.value)
    {
        Some(Value::List(l)) => l.iter().collect(),
        _ => Vec::new(),
    }
}

/// Names in readings must be known.
fn check_readings(desk: &mut Desk, station: &Station, nodes: &mut [&Node]) {
    for (r, node) in station.readings.iter().zip(nodes.iter()) {
        for (key, problem) in crate::unknown_names(r, station) {
            let place = node
                .as_table()
                .and_then(|t| t.get(key))
                .map_or_else(|| node.place(), |e| e.node.place());
            desk.problems.push(problem.at_place(place));
        }
    }
}
