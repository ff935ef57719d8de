//! A feed described by its dimensions, from the file to the answers.

mod common;

use common::{CAMP, Store, station, with_store as with};
use slantpath_link::{Conditions, Model, computed_feed};
use slantpath_quantity::Distribution;
use slantpath_station::checked::Radiator;
use std::sync::Arc;

fn outputs(m: &Model, x: &[f64]) -> Vec<f64> {
    let mut y = vec![0.0; m.outputs().len()];
    m.evaluate(x, &mut y);
    y
}

fn output(m: &Model, x: &[f64], id: &str) -> f64 {
    let i = m.outputs().iter().position(|o| o.id == id).unwrap();
    outputs(m, x)[i]
}

#[test]
fn computed_once_kept_and_named() {
    let base = station(CAMP).base;
    let store = Arc::new(Store::default());
    let first = Model::new(&with(&base, &store), &Conditions::default()).unwrap();
    let solved = store.missed();
    // base, finer, two for each of six dimensions, one corner; transmit and receive
    assert!((20..40).contains(&solved), "{solved}");
    let again = Model::new(&with(&base, &store), &Conditions::default()).unwrap();
    assert_eq!(store.missed(), solved, "a second run solves nothing");
    let x = first.inputs().best();
    let bits = |m: &Model| -> Vec<u64> { outputs(m, &x).iter().map(|v| v.to_bits()).collect() };
    assert_eq!(bits(&first), bits(&again));

    let ids: Vec<String> = first
        .inputs()
        .contributors()
        .iter()
        .map(|c| c.id.to_string())
        .collect();
    for id in [
        "feed.coil.coil.diameter",
        "feed.coil.coil.pitch",
        "feed.coil.horn.front",
        "feed.coil.coil.gain_model",
        "feed.coil.coil.gain_division",
        "feed.coil.coil.shadow_model",
        "feed.coil.coil.shadow_division",
        "feed.coil.coil.shadow_surrogate",
    ] {
        assert!(ids.iter().any(|i| i == id), "{id} in {ids:?}");
    }
    // the stated shadow has no part in a computed one
    assert!(!ids.iter().any(|i| i == "feed.coil.receive.shadow"));

    let el = slantpath_quantity::Angle::deg(first.geometry().apparent.elevation_deg);
    let c = computed_feed(&with(&base, &store), el).unwrap().unwrap();
    let (t, r) = (c.transmit.unwrap(), c.receive.unwrap());
    println!("{t:?}\n{r:?}");
    assert!((8.0..10.5).contains(&t.gain_dbi.0) && t.gain_dbi.1 >= 0.25);
    assert!((0.5..4.0).contains(&t.axial_ratio_db.0));
    assert!(t.making.contains("common screw") && t.after_the_dish.contains("LHCP"));
    assert!((-0.1..1.5).contains(&r.loss_db.0) && r.loss_db.1 >= 0.4);
    assert!(r.on_axis_db > r.loss_db.0);
}

/// The parabolas against solving the changed coil: receive C/N0 and transmit EIRP with two dimensions off at once.
#[test]
fn the_surrogate_follows_the_solver() {
    let base = station(CAMP).base;
    let store = Arc::new(Store::default());
    let m = Model::new(&with(&base, &store), &Conditions::default()).unwrap();
    let mut built = with(&base, &store);
    let mut x = m.inputs().best();
    let Some(Radiator::Coil(coil)) = built.feed.radiator.as_mut() else {
        panic!("a coil")
    };
    for (c, by) in [(&mut coil.diameter, 0.7), (&mut coil.pitch, -0.6)] {
        let moved = c.distribution.mean() + by * c.distribution.u();
        x[m.inputs().find(c.id.as_str()).unwrap().index()] = moved;
        c.distribution = Distribution::Exact(moved);
    }
    let truth = Model::new(&built, &Conditions::default()).unwrap();
    let there = truth.inputs().best();
    let mut compared = 0;
    for (i, o) in m.outputs().iter().enumerate() {
        if o.id.ends_with("up.gain") || o.id.ends_with("down.gain") {
            let (a, b) = (outputs(&m, &x)[i], output(&truth, &there, &o.id));
            println!("{}: {a:.4} by parabolas, {b:.4} solved", o.id);
            assert!((a - b).abs() < 0.03, "{}: {a} {b}", o.id);
            compared += 1;
        }
    }
    assert!(
        compared >= 2,
        "{:?}",
        m.outputs().iter().map(|o| &o.id).collect::<Vec<_>>()
    );
}

#[test]
fn written_figures_go_first() {
    let text = CAMP
        .replace(
            "edge_angle = \"40 deg\"",
            "edge_angle = \"40 deg\"\nshadow = \"0.6 dB\"\nshadow_sees = { sky = 1 }",
        )
        .replace(
            "sense_after_dish = \"LHCP\"",
            "sense_after_dish = \"LHCP\"\nbare_gain = \"9 dBi\"\naxial_ratio = \"2 dB\"",
        );
    let (file, problems) = slantpath_station::read_station(
        &slantpath_input::Source::new("station.toml", text),
        &mut |_| {
            Ok(slantpath_input::Source::new(
                "petrel-1.toml",
                include_str!("../../../demo/petrel-1.toml"),
            ))
        },
    );
    assert!(
        problems.iter().any(|p| p.title.contains("not used")),
        "{problems:?}"
    );
    let store = Arc::new(Store::default());
    let m = Model::new(&with(&file.unwrap().base, &store), &Conditions::default()).unwrap();
    assert_eq!(store.missed(), 0);
    assert!(m.inputs().find("feed.coil.receive.shadow").is_some());
}
