//! `[receive]` and `[branch.NAME]`: parts put in their places.

use super::bounds as b;
use super::desk::{Desk, Kind, Scope};
use crate::checked::{
    Branch, Node, NodeIndex, Part, PartKind, PortRef, ReceiveTree, Satellite, SwitchedVolts,
};
use slantpath_input::{Place, Problem, Section, nearest};
use slantpath_quantity::{Contributor, Dimension};
use std::collections::BTreeMap;

/// Parts by name, each with its place; `None` for one that could not be read.
pub(crate) type Parts = BTreeMap<String, (Option<Part>, Place)>;

/// Where things stand that later checks speak about.
#[derive(Debug, Default)]
pub(crate) struct Marks {
    /// Heading of each branch.
    pub branches: BTreeMap<String, Place>,
    /// Volts of each branch, where written.
    pub volts: BTreeMap<String, Place>,
    /// `receives` of each branch, where written.
    pub receives: BTreeMap<String, Place>,
    /// Parts that have a place in a chain.
    pub used: Vec<String>,
}

/// A branch as written.
struct Raw {
    name: String,
    place: Place,
    from: Option<(String, Place)>,
    chain: Vec<(String, Place)>,
    volts: Option<Contributor>,
    volts_place: Option<Place>,
    switched: Option<SwitchedVolts>,
    tone: Option<bool>,
    dc_pass: bool,
    receives: Option<Vec<String>>,
    receives_place: Option<Place>,
}

pub(crate) fn receive(
    desk: &mut Desk,
    top: &mut Section<'_>,
    parts: &Parts,
    satellite: &Satellite,
) -> (ReceiveTree, Marks) {
    let mut tree = ReceiveTree {
        nodes: Vec::new(),
        branches: Vec::new(),
    };
    let mut marks = Marks::default();
    let mut raws: Vec<Raw> = Vec::new();
    match top.section("receive", &mut desk.problems) {
        Some(sec) => raws.push(raw(desk, sec, "main", satellite, true)),
        None => top.missing(
            "receive",
            "a heading `[receive]` with `chain = [\"lnb\", ...]`",
            &mut desk.problems,
        ),
    }
    if let Some(mut all) = top.section("branch", &mut desk.problems) {
        for e in all.entries() {
            let sec = Section::open(&e.node, format!("branch.{}", e.key), &mut desk.problems);
            raws.push(raw(desk, sec, &e.key, satellite, false));
        }
    }
    grow(desk, &mut tree, &mut marks, raws, parts);
    (tree, marks)
}

fn raw(desk: &mut Desk, sec: Section<'_>, name: &str, satellite: &Satellite, trunk: bool) -> Raw {
    let mut s = Scope::new(
        desk,
        sec,
        format!("rx.branch.{name}"),
        format!("branch {name}"),
    );
    let mut name = name.to_string();
    if trunk && let Some(n) = s.sec.text("branch", &mut s.desk.problems) {
        name = n.to_string();
        s.id = format!("rx.branch.{name}");
        s.label = format!("branch {name}");
    }
    let from = if trunk {
        None
    } else {
        let place = s.sec.place_of("from");
        s.sec
            .required_text(
                "from",
                "the port where it begins, written like \"splitter.2\"",
                &mut s.desk.problems,
            )
            .map(|t| (t.to_string(), place))
    };
    let chain = chain(&mut s);
    let volt = Kind::Plain(Dimension::Voltage);
    let volts = s.optional("volts", volt, b::VOLTS);
    let vertical = s.optional("volts_vertical", volt, b::VOLTS);
    let horizontal = s.optional("volts_horizontal", volt, b::VOLTS);
    let volts_place = ["volts", "volts_vertical", "volts_horizontal"]
        .iter()
        .find(|k| s.sec.has(k))
        .map(|k| s.sec.place_of(k));
    let one_sided = s.sec.has("volts_vertical") != s.sec.has("volts_horizontal");
    let both = s.sec.has("volts") && (s.sec.has("volts_vertical") || s.sec.has("volts_horizontal"));
    if one_sided || both {
        s.problem(
            Problem::error("the volts of this branch are not clear")
                .at_place(s.sec.place_of(if both { "volts" } else { "volts_vertical" }))
                .label(if both { "one fixed value and switched ones" } else { "one of two" })
                .expected("`volts` when they stay the same, or both `volts_vertical` and `volts_horizontal` when the far end switches"),
        );
    }
    let switched = match (vertical, horizontal) {
        (Some(vertical), Some(horizontal)) => Some(SwitchedVolts {
            vertical,
            horizontal,
        }),
        _ => None,
    };
    let tone = s.sec.flag("tone", &mut s.desk.problems);
    let dc_pass = s.sec.flag("dc_pass", &mut s.desk.problems).unwrap_or(true);
    let receives_place = s.sec.has("receives").then(|| s.sec.place_of("receives"));
    let receives = receives(&mut s, satellite);
    let place = s.sec.place();
    s.done();
    Raw {
        name,
        place,
        from,
        chain,
        volts,
        volts_place,
        switched,
        tone,
        dc_pass,
        receives,
        receives_place,
    }
}

pub(super) fn chain(s: &mut Scope<'_, '_>) -> Vec<(String, Place)> {
    if !s.sec.has("chain") {
        s.sec.missing(
            "chain",
            "the parts in order from the feed: [\"lnb\", \"cable\", \"sdr\"]",
            &mut s.desk.problems,
        );
    }
    let list: Vec<(String, Place)> = s
        .sec
        .texts("chain", &mut s.desk.problems)
        .unwrap_or_default()
        .into_iter()
        .map(|(t, n)| (t.to_string(), n.place()))
        .collect();
    if list.is_empty() && s.sec.has("chain") {
        let place = s.sec.place_of("chain");
        s.problem(
            Problem::error("this chain has no parts")
                .at_place(place)
                .label("empty")
                .expected("the names of parts in order, from the feed to the receiver"),
        );
    }
    list
}

fn receives(s: &mut Scope<'_, '_>, satellite: &Satellite) -> Option<Vec<String>> {
    let list = s.sec.texts("receives", &mut s.desk.problems)?;
    let mut out = Vec::new();
    for (name, node) in list {
        if satellite.passband(name).is_some() {
            out.push(name.to_string());
        } else {
            let names: Vec<&str> = satellite
                .passbands
                .iter()
                .map(|p| p.name.as_str())
                .collect();
            s.desk.problems.push(
                Problem::error(format!("the satellite has no passband \"{name}\""))
                    .at_place(node.place())
                    .label("not in the satellite file")
                    .nearest(nearest(name, names.iter().copied()))
                    .expected(format!("one of: {}", names.join(", "))),
            );
        }
    }
    Some(out)
}

/// Puts branch after branch where its port is, until none is left or none can be placed.
fn grow(desk: &mut Desk, tree: &mut ReceiveTree, marks: &mut Marks, raws: Vec<Raw>, parts: &Parts) {
    let mut waiting = raws;
    // Parts of chains with a mistake of their own: what hangs on them is not to blame.
    let mut broken: Vec<String> = Vec::new();
    let order: Vec<String> = waiting.iter().map(|r| r.name.clone()).collect();
    loop {
        let mut later = Vec::new();
        let before = waiting.len();
        for r in waiting {
            match place_of_port(desk, tree, &r, parts) {
                Port::Ready(input) => {
                    let names: Vec<String> = r.chain.iter().map(|c| c.0.clone()).collect();
                    if !place_branch(desk, tree, marks, r, input, parts) {
                        broken.extend(names);
                    }
                }
                Port::Wait => later.push(r),
                Port::Wrong => {
                    // Its parts are not unused as well.
                    marks.used.extend(r.chain.iter().map(|c| c.0.clone()));
                    broken.extend(r.chain.iter().map(|c| c.0.clone()));
                }
            }
        }
        waiting = later;
        if waiting.is_empty() || waiting.len() == before {
            break;
        }
    }
    for r in &waiting {
        marks.used.extend(r.chain.iter().map(|c| c.0.clone()));
        let Some((from, place)) = &r.from else {
            continue;
        };
        if broken.iter().any(|b| b == port_of(from).0) {
            continue;
        }
        let in_waiting = waiting
            .iter()
            .any(|w| w.chain.iter().any(|c| c.0 == port_of(from).0));
        let problem = if in_waiting {
            Problem::error(format!("branch `{}` goes in a circle", r.name))
                .at_place(place.clone())
                .label("this part hangs on a branch that hangs on this one")
                .help("begin one of them at a part that leads to the feed")
        } else {
            Problem::error(format!("`{}` stands in no receive chain", port_of(from).0))
                .at_place(place.clone())
                .label("a branch begins at a part that leads to the feed")
                .help("put the part into `[receive]`'s `chain` or into another branch")
        };
        desk.problems.push(problem);
    }
    tree.branches
        .sort_by_key(|x| order.iter().position(|n| *n == x.name));
    dead_ends(desk, tree, parts);
}

enum Port {
    Ready(Option<PortRef>),
    Wait,
    Wrong,
}

/// `splitter.2` into name and port.
fn port_of(text: &str) -> (&str, Option<u32>) {
    match text.rsplit_once('.') {
        Some((name, port)) => match port.parse() {
            Ok(p) => (name, Some(p)),
            Err(_) => (text, None),
        },
        None => (text, None),
    }
}

fn place_of_port(desk: &mut Desk, tree: &ReceiveTree, r: &Raw, parts: &Parts) -> Port {
    let Some((from, place)) = &r.from else {
        // The trunk, or a branch whose `from` is missing and noted.
        return if tree.nodes.is_empty() {
            Port::Ready(None)
        } else {
            Port::Wrong
        };
    };
    let (name, port) = port_of(from);
    let Some((part, _)) = parts.get(name) else {
        desk.problems.push(unknown_part(name, place, parts));
        return Port::Wrong;
    };
    let Some(i) = tree.nodes.iter().position(|n| n.part.name == name) else {
        return if part.is_some() {
            Port::Wait
        } else {
            Port::Wrong
        };
    };
    let outputs = tree.nodes.get(i).map_or(0, |n| n.part.kind.outputs());
    let ports = match outputs {
        0 => "it has no output".to_string(),
        1 => format!("its only output is `{name}.1`"),
        n => format!("its outputs are `{name}.1` to `{name}.{n}`"),
    };
    let port = match (port, outputs) {
        (Some(p), n) if (1..=n).contains(&p) => p,
        (None, 1) => 1,
        _ => {
            desk.problems.push(
                Problem::error(format!("`{name}` has no such output"))
                    .at_place(place.clone())
                    .label(ports)
                    .expected(format!("a part and its output, written like \"{name}.1\"")),
            );
            return Port::Wrong;
        }
    };
    let taken = PortRef {
        node: NodeIndex(i),
        port,
    };
    if tree.nodes.iter().any(|n| n.input == Some(taken)) {
        desk.problems.push(
            Problem::error(format!("output {port} of `{name}` is taken"))
                .at_place(place.clone())
                .label("another branch begins here")
                .help("give each branch its own output, or put a splitter between"),
        );
        return Port::Wrong;
    }
    Port::Ready(Some(taken))
}

pub(super) fn unknown_part(name: &str, place: &Place, parts: &Parts) -> Problem {
    let mut p = Problem::error(format!("there is no part `{name}`"))
        .at_place(place.clone())
        .label("not known")
        .nearest(nearest(name, parts.keys().map(String::as_str)));
    if p.nearest.is_none() {
        p = p.help(format!("describe it under a heading `[part.{name}]`"));
    }
    p
}

/// Puts the parts of a branch behind `input`. `false` when one of them cannot stand there, which is noted.
fn place_branch(
    desk: &mut Desk,
    tree: &mut ReceiveTree,
    marks: &mut Marks,
    r: Raw,
    mut input: Option<PortRef>,
    parts: &Parts,
) -> bool {
    let n = r.chain.len();
    for (i, (name, place)) in r.chain.iter().enumerate() {
        marks.used.push(name.clone());
        let part = match parts.get(name) {
            None => {
                desk.problems.push(unknown_part(name, place, parts));
                return false;
            }
            Some((None, _)) => return false,
            Some((Some(p), _)) => p,
        };
        if tree.nodes.iter().any(|x| x.part.name == *name) {
            desk.problems.push(
                Problem::error(format!("`{name}` is used twice"))
                    .at_place(place.clone())
                    .label("one part is one thing and stands in one place")
                    .help(format!(
                        "describe a second one: `[part.{name}-2]` with `like = \"{name}\"`"
                    )),
            );
            return false;
        }
        if matches!(part.kind, PartKind::Transmitter(_)) {
            desk.problems.push(
                Problem::error(format!("`{name}` is a transmitter"))
                    .at_place(place.clone())
                    .label("it has no place in a receive chain"),
            );
            return false;
        }
        let last = i + 1 == n;
        if !last && part.kind.outputs() != 1 {
            desk.problems.push(
                Problem::error(format!(
                    "a chain cannot go on behind a {}",
                    part.kind.name()
                ))
                .at_place(place.clone())
                .label(match part.kind.outputs() {
                    0 => "it ends here".to_string(),
                    k => format!("it has {k} outputs: which one?"),
                })
                .help(match part.kind.outputs() {
                    0 => "put the receiver last".to_string(),
                    _ => format!(
                        "end this chain here and begin a `[branch.NAME]` with `from = \"{name}.1\"`"
                    ),
                }),
            );
            return false;
        }
        let node = NodeIndex(tree.nodes.len());
        tree.nodes.push(Node {
            part: part.clone(),
            input,
        });
        input = Some(PortRef { node, port: 1 });
    }
    let ends_in_receiver = tree
        .nodes
        .last()
        .is_some_and(|x| matches!(x.part.kind, PartKind::Receiver(_)));
    if !ends_in_receiver {
        if r.volts.is_some() || r.switched.is_some() || r.receives.is_some() {
            desk.problems.push(
                Problem::error(format!("`{}` does not end in a receiver", r.name))
                    .at_place(r.volts_place.or(r.receives_place).unwrap_or(r.place))
                    .label("this belongs to a branch with a receiver at its end")
                    .help("move it to the `[branch.NAME]` that it is about"),
            );
        }
        return true;
    }
    if let Some(first) = marks.branches.get(&r.name) {
        desk.problems.push(
            Problem::error(format!("there are two branches `{}`", r.name))
                .at_place(r.place.clone())
                .label("this name is taken")
                .also(first.clone(), "by this one")
                .help("`[receive]` is the branch `main` unless it says `branch = \"...\"`"),
        );
    }
    marks.branches.insert(r.name.clone(), r.place.clone());
    if let Some(p) = r.volts_place {
        marks.volts.insert(r.name.clone(), p);
    }
    if let Some(p) = r.receives_place {
        marks.receives.insert(r.name.clone(), p);
    }
    let mut path = Vec::new();
    let mut at = PortRef {
        node: NodeIndex(tree.nodes.len().saturating_sub(1)),
        port: 0,
    };
    loop {
        path.push(at);
        match tree.node(at.node).and_then(|x| x.input) {
            Some(p) => at = p,
            None => break,
        }
    }
    path.reverse();
    let (bias, receiver_tone) = match tree.nodes.last().map(|x| &x.part.kind) {
        Some(PartKind::Receiver(rx)) => (rx.bias_volts.clone(), rx.tone),
        _ => (None, false),
    };
    tree.branches.push(Branch {
        name: r.name,
        path,
        volts: r.volts.or(bias),
        switched: r.switched,
        receives_written: r.receives.is_some(),
        receives: r.receives.unwrap_or_default(),
        tone: r.tone.unwrap_or(receiver_tone),
        dc_pass: r.dc_pass,
    });
    true
}

/// Parts at the end of which nothing hangs.
fn dead_ends(desk: &mut Desk, tree: &ReceiveTree, parts: &Parts) {
    for (i, n) in tree.nodes.iter().enumerate() {
        let ends = tree.children(NodeIndex(i)).next().is_none();
        if ends && !matches!(n.part.kind, PartKind::Receiver(_)) && !desk.problems.has_errors() {
            let place = parts.get(&n.part.name).map(|p| p.1.clone());
            let mut p = Problem::error(format!("nothing hangs on `{}`", n.part.name))
                .label("the chain ends here without a receiver")
                .help(if n.part.kind.outputs() > 1 {
                    format!(
                        "begin a `[branch.NAME]` with `from = \"{}.1\"` that ends in a receiver",
                        n.part.name
                    )
                } else {
                    "put a part of `kind = \"receiver\"` last in the chain".to_string()
                });
            if let Some(place) = place {
                p = p.at_place(place);
            }
            desk.problems.push(p);
        }
    }
}
