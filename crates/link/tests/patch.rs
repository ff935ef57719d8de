//! A patch ring described by its dimensions, from the file to the answers.

mod common;

use common::{CAMP, Store, station, with_store};
use slantpath_link::{ComputedTransmit, Conditions, Model, computed_feed, mounted_transmit};
use slantpath_quantity::{Angle, Distribution};
use slantpath_station::Station;
use slantpath_station::checked::{Matching, Radiator};
use slantpath_wire::feed::patch::{AXIAL_RATIO_MODEL_DB, GAIN_MODEL_DB};
use std::sync::{Arc, OnceLock};

/// In place of the coil of the demo's camp station.
const PATCH: &str = r#"[feed.coil.patch]
outer = "72 mm ± 0.5"
hole = "22 mm"
height = "5 mm ± 0.2"
posts = 4
post = "2 mm"
post_radius = "20 mm"
disc = "110 mm"
joined = true

"#;
const MATCH: &str = "return_loss = \"14 dB ± 2\"\n";

fn text() -> String {
    let (head, rest) = CAMP.split_once("[feed.coil.coil]").unwrap();
    let tail = &rest[rest.find("[feed.coil.horn]").unwrap()..];
    let tail = tail
        .replace("front = \"0 mm ± 1\"", "front = \"6 mm ± 1\"")
        .replace(MATCH, "");
    format!("{head}{PATCH}{tail}")
}

/// Solved once for all tests here.
fn store() -> Arc<Store> {
    static STORE: OnceLock<Arc<Store>> = OnceLock::new();
    Arc::clone(STORE.get_or_init(Arc::default))
}

fn read(text: &str) -> Station {
    with_store(&station(text).base, &store())
}

fn model(s: &Station) -> Model {
    Model::new(s, &Conditions::default()).unwrap()
}

fn elevation(m: &Model) -> Angle {
    Angle::deg(m.geometry().apparent.elevation_deg)
}

fn computed(s: &Station, m: &Model) -> ComputedTransmit {
    let c = computed_feed(s, elevation(m)).unwrap().unwrap();
    assert!(c.receive.is_none(), "a patch has no computed shadow");
    c.transmit.unwrap()
}

fn outputs(m: &Model, x: &[f64]) -> Vec<f64> {
    let mut y = vec![0.0; m.outputs().len()];
    m.evaluate(x, &mut y);
    y
}

#[test]
fn computed_once_kept_and_named() {
    // a store of its own: counted
    let own = Arc::new(Store::default());
    let base = with_store(&station(&text()).base, &own);
    let transmit = base.feed.transmit.as_ref().unwrap();
    assert_eq!(transmit.matching, Matching::FromDimensions);
    let first = model(&base);
    let solved = own.missed();
    // two uplinks: base, finer, two for each of two dimensions, one corner; and the receive feed's focus
    assert!((8..=15).contains(&solved), "{solved}");
    let again = model(&with_store(&station(&text()).base, &own));
    assert_eq!(own.missed(), solved, "a second run solves nothing");
    let x = first.inputs().best();
    let bits = |m: &Model| -> Vec<u64> { outputs(m, &x).iter().map(|v| v.to_bits()).collect() };
    assert_eq!(bits(&first), bits(&again));

    let u = |id: &str| {
        first.inputs().find(id).map(|s| {
            let c = &first.inputs().contributors()[s.index()];
            (c.distribution.u(), c.source.clone())
        })
    };
    for id in [
        "outer",
        "height",
        "gain_model",
        "gain_division",
        "gain_surrogate",
    ] {
        assert!(u(&format!("feed.coil.patch.{id}")).is_some(), "{id}");
    }
    assert_eq!(u("feed.coil.patch.gain_model").unwrap().0, GAIN_MODEL_DB);
    assert!(u("feed.coil.transmit.axial_ratio").unwrap().0 >= AXIAL_RATIO_MODEL_DB);
    let (rl_u, source) = u("feed.coil.transmit.return_loss").unwrap();
    assert!(
        source.contains("the patch's dimensions against 50 ohm"),
        "{source}"
    );
    let t = computed(&base, &first);
    let alone = (t.impedance_ohm.0, t.impedance_ohm.1);
    let z = num_complex::Complex64::new(alone.0, alone.1);
    let (_, without) = slantpath_wire::feed::uplink::return_loss(z, t.impedance_ohm.2, 50.0);
    // half a millimetre of diameter is 0.7 % of frequency: much for a Q of 13
    assert!(rl_u > 1.3 * without.0, "{rl_u} {without:?}");
    assert!(t.making.contains("counter-clockwise") && t.after_the_dish.contains("LHCP"));
    let r = t.resonance.unwrap();
    assert!((r.frequency.as_hz() - 2.38e9).abs() < r.u.as_hz() && !r.validity.is_inside());
    // the stated shadow stays
    assert!(u("feed.coil.receive.shadow").is_some());
}

/// The parabolas against solving the changed patch, with two dimensions off at once.
#[test]
fn the_surrogate_follows_the_solver() {
    let s = read(&text());
    let m = model(&s);
    let mut built = s.clone();
    let mut x = m.inputs().best();
    let Some(Radiator::Patch(patch)) = built.feed.radiator.as_mut() else {
        panic!("a patch")
    };
    for (c, by) in [(&mut patch.outer, 0.7), (&mut patch.height, -0.6)] {
        let moved = c.distribution.mean() + by * c.distribution.u();
        x[m.inputs().find(c.id.as_str()).unwrap().index()] = moved;
        c.distribution = Distribution::Exact(moved);
    }
    let truth = model(&built);
    let there = outputs(&truth, &truth.inputs().best());
    let mut compared = 0;
    for (i, o) in m.outputs().iter().enumerate() {
        let k = truth.outputs().iter().position(|t| t.id == o.id).unwrap();
        // the match has its dimensions in its own uncertainty
        if o.id.ends_with("up.gain") {
            let band = o.id.split('.').next().unwrap();
            let mismatch = |m: &Model| {
                let all = m.transmit_losses(band).unwrap().unwrap();
                all.iter().find(|l| l.0 == "mismatch").unwrap().1
            };
            let (a, b) = (
                outputs(&m, &x)[i] + mismatch(&m),
                there[k] + mismatch(&truth),
            );
            println!("{}: {a:.4} by parabolas, {b:.4} solved", o.id);
            assert!((a - b).abs() < 0.03, "{}: {a} {b}", o.id);
            compared += 1;
        }
    }
    assert!(compared >= 1);
}

/// The disc stands where the receive feed's focus puts it; without one, where the patch's own phase centre is in focus. Aperture
/// and phase centre stand so far before the disc.
#[test]
fn the_disc_stands_where_the_focus_puts_it() {
    let f = slantpath_quantity::Frequency::ghz(2.41);
    let axial = |s: &Station| {
        let m = model(s);
        let t = mounted_transmit(s, f, elevation(&m)).unwrap().unwrap();
        t.placement.axial.as_mm()
    };
    let with = read(&text());
    let shared = axial(&with);
    let bare = text();
    let from = bare.find("[feed.coil.horn]").unwrap();
    let to = bare.find("[feed.coil.receive]").unwrap();
    let alone = read(&format!("{}{}", &bare[..from], &bare[to..]));
    let own = axial(&alone);
    let t = computed(&alone, &model(&alone));
    println!("{shared} {own}");
    assert!((own + t.phase_centre_m * 1e3).abs() < 0.5, "{own}");
    // an open waveguide's phase centre lies in its aperture, within a fifth of a wavelength
    assert!((shared + 6.0).abs() < 6.0, "{shared}");
}

#[test]
fn written_figures_go_first() {
    let s = read(&text().replace(
        "sense_after_dish = \"LHCP\"",
        "sense_after_dish = \"LHCP\"\nbare_gain = \"9.9 dBi\"\naxial_ratio = \"2 dB\"",
    ));
    let own = Arc::new(Store::default());
    let m = model(&with_store(&s, &own));
    assert_eq!(own.missed(), 0);
    assert!(m.inputs().find("feed.coil.patch.gain_model").is_none());
}
