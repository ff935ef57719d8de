//! The DC network of a receive tree: closed-form cases, Kirchhoff's law, and every finding by name.

use proptest::prelude::*;
use slantpath_chain::cable::GenericCable;
use slantpath_chain::dc::{
    DcPath, Draw, Finding, Load, Network, NodeId, Port, Supply, SwitchState, Switching,
};
use slantpath_quantity::{Current, Length, Power, Resistance, Voltage};

fn ohm(r: f64) -> Resistance {
    Resistance::from_si(r)
}

fn lnb(node: NodeId, draw: Draw) -> Load {
    Load {
        name: "LNB".into(),
        node,
        draw,
        minimum: Voltage::v(10.5),
        maximum: Voltage::v(21.0),
        switching: Some(Switching::default()),
    }
}

fn receiver(name: &str, volts: Option<f64>, wants: Option<SwitchState>) -> Port {
    // `tree` sets the place.
    Port {
        name: name.into(),
        node: Network::new().node(name),
        supply: volts.map(|v| Supply {
            volts: Voltage::v(v),
            limit: Current::a(0.4),
            internal: ohm(0.5),
            tone: false,
        }),
        wants,
        wants_tone: None,
    }
}

/// LNB, cable of `r` ohm, splitter whose ports pass DC or not, receivers.
fn tree(r: f64, ends: &[(Port, DcPath)], draw: Draw) -> Network {
    let mut n = Network::new();
    let top = n.node("LNB");
    let common = n.node("splitter common");
    n.load(lnb(top, draw)).unwrap();
    n.link("cable", common, top, ohm(r), DcPath::Through, true)
        .unwrap();
    for (p, path) in ends {
        let at = n.node(p.name.clone());
        n.link(
            format!("splitter port {}", p.name),
            at,
            common,
            ohm(0.1),
            *path,
            *path != DcPath::Blocked,
        )
        .unwrap();
        n.port(Port {
            node: at,
            ..p.clone()
        })
        .unwrap();
    }
    n
}

const I150: Draw = Draw::Current(Current::a(0.150));
#[test]
fn thirty_metres_of_steel_core() {
    // Common practice, no source: 30 m of steel-core cable drop about 0.56 V at 150 mA.
    let r = GenericCable::named("75-ohm-foam-7mm-steel-core")
        .unwrap()
        .cut(Length::m(30.0))
        .unwrap()
        .loop_resistance()
        .si();
    let n = tree(
        r,
        &[(
            receiver("main", Some(13.0), Some(SwitchState::Low)),
            DcPath::Through,
        )],
        I150,
    );
    let rep = n.solve().unwrap();
    let v = rep.load("LNB").unwrap().volts.as_v();
    assert!((v - (13.0 - 0.15 * (0.5 + 0.1 + r))).abs() < 1e-8, "{v}");
    assert!((0.15 * r - 0.56).abs() < 0.005);
    assert!(rep.findings.is_empty(), "{:?}", rep.findings);
    let state = rep.load("LNB").unwrap();
    assert_eq!(state.state, Some(SwitchState::Low));
    assert!((state.margin.unwrap().as_v() - (14.5 - v)).abs() < 1e-12);
    assert_eq!(state.fed_by, ["main"]);
}

#[test]
fn constant_power_has_its_quadratic() {
    // V^2 - Vs V + P R = 0, the upper root.
    let n = tree(
        4.0,
        &[(receiver("main", Some(13.0), None), DcPath::Through)],
        Draw::Power(Power::w(2.0)),
    );
    let v = n.solve().unwrap().load("LNB").unwrap().volts.as_v();
    let r = 4.6;
    assert!(
        (v - (13.0 + (169.0f64 - 4.0 * 2.0 * r).sqrt()) / 2.0).abs() < 1e-7,
        "{v}"
    );
}

#[test]
fn polarisation_follows_the_port_that_passes_dc() {
    let n = tree(
        1.0,
        &[
            (
                receiver("television", Some(13.0), Some(SwitchState::Low)),
                DcPath::Through,
            ),
            (
                receiver("narrow", Some(18.0), Some(SwitchState::High)),
                DcPath::Blocked,
            ),
            (receiver("spare", None, None), DcPath::Blocked),
        ],
        I150,
    );
    let rep = n.solve().unwrap();
    assert_eq!(rep.load("LNB").unwrap().state, Some(SwitchState::Low));
    assert!(rep.findings.contains(&Finding::Blocked {
        port: "narrow".into(),
        at: "splitter port narrow".into(),
        load: "LNB".into()
    }));
    assert!(rep.findings.contains(&Finding::Follows {
        port: "narrow".into(),
        load: "LNB".into(),
        follows: vec!["television".into()],
        wants: Some((SwitchState::High, Some(SwitchState::Low)))
    }));
    let spare = rep
        .findings
        .iter()
        .find(|f| matches!(f, Finding::Follows { port, .. } if port == "spare"));
    assert!(!spare.unwrap().is_fault());
    assert!(rep.has_fault());
}

#[test]
fn two_supplies_contend() {
    let both = |path| {
        tree(
            1.0,
            &[
                (receiver("one", Some(13.0), Some(SwitchState::Low)), path),
                (receiver("two", Some(18.0), Some(SwitchState::High)), path),
            ],
            I150,
        )
        .solve()
        .unwrap()
    };
    let rep = both(DcPath::Through);
    assert!(rep.findings.contains(&Finding::Contending {
        ports: vec!["one".into(), "two".into()],
        load: "LNB".into(),
        back_fed: vec!["one".into()]
    }));
    assert!(rep.findings.iter().any(
        |f| matches!(f, Finding::Follows { port, wants: Some((SwitchState::Low, Some(SwitchState::High))), .. } if port == "one")
    ));
    // Diodes keep the foreign volts off; the higher still wins, one drop lower.
    let diodes = both(DcPath::Diode {
        drop: Voltage::v(0.4),
    });
    assert!(
        diodes
            .findings
            .iter()
            .any(|f| matches!(f, Finding::Contending { back_fed, .. } if back_fed.is_empty()))
    );
    let drop = rep.load("LNB").unwrap().volts - diodes.load("LNB").unwrap().volts;
    // to the microamperes that the back-fed supply bleeds
    assert!((drop.as_v() - 0.4).abs() < 1e-5);
}

#[test]
fn volts_lost_on_the_way_leave_the_switching_undefined() {
    let n = tree(
        20.0,
        &[(
            receiver("main", Some(18.0), Some(SwitchState::High)),
            DcPath::Through,
        )],
        I150,
    );
    let rep = n.solve().unwrap();
    let l = rep.load("LNB").unwrap();
    assert_eq!(l.state, Some(SwitchState::Undefined));
    assert!(l.margin.unwrap().as_v() < 0.0);
    assert!(rep.findings.iter().any(|f| matches!(
        f,
        Finding::WrongState {
            wants: SwitchState::High,
            ..
        }
    )));
}

#[test]
fn overload_limits_and_starves() {
    let n = tree(
        1.0,
        &[(receiver("main", Some(13.0), None), DcPath::Through)],
        Draw::Current(Current::a(0.6)),
    );
    let rep = n.solve().unwrap();
    assert!(
        rep.findings
            .iter()
            .any(|f| matches!(f, Finding::Limited { .. }))
    );
    // Below its minimum the load is a resistance 10.5 V / 0.6 A; 0.4 A leaves 7 V across it.
    assert!((rep.load("LNB").unwrap().volts.as_v() - 7.0).abs() < 1e-6);
    assert!(
        rep.findings
            .iter()
            .any(|f| matches!(f, Finding::Starved { .. }))
    );
    let dead = tree(
        1.0,
        &[(receiver("main", None, None), DcPath::Through)],
        I150,
    )
    .solve()
    .unwrap();
    assert!(
        dead.findings
            .iter()
            .any(|f| matches!(f, Finding::Follows { follows, .. } if follows.is_empty()))
    );
}

#[test]
fn tone_reaches_or_not() {
    let toned = |path, tone_wanted| {
        let mut p = receiver("main", Some(13.0), None);
        p.supply = p.supply.map(|s| Supply { tone: true, ..s });
        p.wants_tone = Some(tone_wanted);
        tree(
            1.0,
            &[
                (p, path),
                (receiver("other", Some(13.0), None), DcPath::Through),
            ],
            I150,
        )
        .solve()
        .unwrap()
    };
    assert_eq!(
        toned(DcPath::Through, true).load("LNB").unwrap().tone_from,
        ["main"]
    );
    let stopped = toned(DcPath::Blocked, true);
    assert!(
        stopped
            .findings
            .iter()
            .any(|f| matches!(f, Finding::ToneBlocked { .. }))
    );
    assert!(stopped.findings.iter().any(|f| matches!(
        f,
        Finding::WrongBand {
            wants_tone: true,
            ..
        }
    )));
    assert!(
        toned(DcPath::Through, false)
            .findings
            .iter()
            .any(|f| matches!(
                f,
                Finding::WrongBand {
                    wants_tone: false,
                    ..
                }
            ))
    );
}

#[test]
fn impossible_networks_are_refused() {
    let mut n = Network::new();
    let a = n.node("a");
    let mut other = Network::new();
    let _ = (other.node("x"), other.node("y"));
    let foreign = other.node("z");
    assert!(
        n.link("loop", a, a, ohm(1.0), DcPath::Through, true)
            .is_err()
    );
    assert!(
        n.link("far", a, foreign, ohm(1.0), DcPath::Through, true)
            .is_err()
    );
    let b = n.node("b");
    assert!(
        n.link("neg", a, b, ohm(-1.0), DcPath::Through, true)
            .is_err()
    );
    let mut l = lnb(a, I150);
    l.maximum = Voltage::v(1.0);
    assert!(n.load(l).is_err());
    assert!(Network::new().solve().unwrap().findings.is_empty());
}

proptest! {
    #[test]
    fn current_is_conserved_everywhere(
        rs in prop::collection::vec(0.0..20.0f64, 6),
        paths in prop::collection::vec(0u8..3, 4),
        volts in prop::collection::vec(prop::option::of(0.0..19.0f64), 4),
        limit in 0.05..0.8f64, power in any::<bool>(), draw in 0.0..4.0f64) {
        let mut n = Network::new();
        let nodes: Vec<NodeId> = (0..7).map(|k| n.node(format!("n{k}"))).collect();
        // 0 LNB - 1 common; 1 - 2 two-way; 1 - 3, 2 - 4, 2 - 5, 1 - 6 ports
        let ends = [(1, 0), (2, 1), (3, 1), (4, 2), (5, 2), (6, 1)];
        let mut links = Vec::new();
        for (k, (from, to)) in ends.iter().enumerate() {
            let path = match k.checked_sub(2).map(|j| paths[j]) {
                None | Some(0) => DcPath::Through,
                Some(1) => DcPath::Diode { drop: Voltage::v(0.5) },
                _ => DcPath::Blocked,
            };
            n.link(format!("l{k}"), nodes[*from], nodes[*to], ohm(rs[k]), path, true).unwrap();
            links.push((*from, *to));
        }
        for (k, v) in volts.iter().enumerate() {
            let mut p = receiver(&format!("p{k}"), *v, None);
            p.node = nodes[3 + k];
            p.supply = p.supply.map(|s| Supply { limit: Current::a(limit), ..s });
            n.port(p).unwrap();
        }
        n.load(lnb(nodes[0], if power { Draw::Power(Power::w(draw)) } else { Draw::Current(Current::a(draw / 10.0)) })).unwrap();
        let rep = n.solve().unwrap();
        let mut sum = [0.0f64; 7];
        for (k, (_, i)) in rep.links.iter().enumerate() {
            sum[links[k].0] -= i.as_a();
            sum[links[k].1] += i.as_a();
        }
        for (k, (_, i)) in rep.ports.iter().enumerate() { sum[3 + k] += i.as_a(); prop_assert!(i.as_a() > -2e-5); }
        sum[0] -= rep.load("LNB").unwrap().current.as_a();
        for s in sum { prop_assert!(s.abs() < 2e-9, "{s}"); }
        // Tellegen: power delivered at the ports equals power in links and load.
        let v = |k: usize| rep.nodes[k].1.as_v();
        let given: f64 = rep.ports.iter().enumerate().map(|(k, (_, i))| v(3 + k) * i.as_a()).sum();
        let taken: f64 = rep.links.iter().enumerate().map(|(k, (_, i))| (v(links[k].0) - v(links[k].1)) * i.as_a()).sum::<f64>()
            + v(0) * rep.load("LNB").unwrap().current.as_a();
        prop_assert!((given - taken).abs() < 1e-6);
    }
}
