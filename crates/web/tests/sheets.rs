//! Drawings that follow what is looked at, sheets to give away, phones invited, and tilt.

mod common;

use axum::Router;
use axum::body::Body;
use axum::http::{Request, StatusCode, header};
use common::{Desk, ORIGIN, ask, desk, get, live_desk, patch_desk, post};
use serde_json::Value;
use slantpath_web::{Door, House, Key, router};
use std::net::{IpAddr, Ipv4Addr};
use std::sync::Arc;
use std::time::{Duration, Instant};

#[tokio::test]
async fn every_drawing_has_an_address_and_follows_a_change() {
    let d = desk();
    for (kind, seen) in [
        ("dish", "Dish and feed from the side"),
        ("noise", "Noise ledger"),
        ("budget", "What a measurement should show"),
        ("drive", "Sink temperature"),
    ] {
        let (head, plain) = ask(d.near(), get(&format!("/drawings/{kind}"))).await;
        assert_eq!(head.status(), StatusCode::OK, "{kind}: {plain}");
        assert!(plain.contains(seen), "{kind}");
        assert!(!plain.contains("before the change"), "{kind}");
    }
    let change = "part.lnb.noise_figure=0.2%20dB%20%C2%B1%200.05";
    let (_, noise) = ask(d.near(), get(&format!("/drawings/noise?{change}"))).await;
    assert!(noise.contains("as changed") && noise.contains("before the change"));
    let (_, budget) = ask(d.near(), get(&format!("/drawings/budget?{change}"))).await;
    assert!(budget.contains("<th scope=\"col\">change</th>"));
    let up = "transmit.narrow.power=3%20W";
    let (head, drive) = ask(d.near(), get(&format!("/drawings/drive?{up}"))).await;
    assert_eq!(head.status(), StatusCode::OK, "{drive}");
    assert!(drive.contains("What the change moves"), "{drive}");
    let (head, _) = ask(d.near(), get("/drawings/nothing")).await;
    assert_eq!(head.status(), StatusCode::BAD_REQUEST);
}

/// A page that is marked as near, and what it says of its solution.
async fn until_solved(d: &Desk, near: &str) {
    assert!(near.contains("Near, not solved yet"), "{near}");
    let solved = near
        .split_once("data-solving=\"")
        .and_then(|(_, r)| r.split_once('"'))
        .expect("where to ask")
        .0
        .replace("&amp;", "&");
    let begin = Instant::now();
    loop {
        let (_, body) = ask(d.near(), get(&solved)).await;
        let v: Value = serde_json::from_str(&body).expect("JSON");
        if v["solved"] == true {
            break;
        }
        assert!(begin.elapsed() < Duration::from_secs(60));
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_patch_ring_is_drawn_and_follows_a_change_of_its_dimensions() {
    let d = patch_desk();
    let begin = Instant::now();
    loop {
        let (_, plain) = ask(d.near(), get("/drawings/dish")).await;
        if plain.contains("uplink patch") {
            break;
        }
        assert!(begin.elapsed() < Duration::from_secs(60), "{plain}");
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    let address = "/?feed.coil.patch.outer=71%20mm%20%C2%B1%200.5&part=feed.coil";
    let (head, near) = ask(d.near(), get(address)).await;
    assert_eq!(head.status(), StatusCode::OK, "{near}");
    until_solved(&d, &near).await;
    let (_, after) = ask(d.near(), get(address)).await;
    assert!(!after.contains("data-solving") && after.contains("<dt>change</dt>"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_change_of_the_dish_is_answered_at_once_marked_and_solved_after() {
    let d = desk();
    let text = d.file();
    let written = |key: &str| {
        text.lines()
            .find_map(|l| l.strip_prefix(key)?.split('"').nth(1).map(str::to_string))
    };
    let (place, old) = ["width", "diameter"]
        .iter()
        .find_map(|k| Some((format!("reflector.{k}"), written(&format!("{k} "))?)))
        .expect("the dish's size");
    let (_, plain) = ask(d.near(), get("/")).await;
    assert!(!plain.contains("data-solving"));
    let number: f64 = old
        .split(' ')
        .next()
        .and_then(|n| n.parse().ok())
        .expect("a number");
    let unit = old.split(' ').nth(1).expect("a unit");
    let new = format!("{}%20{unit}%20%C2%B1%205%20mm", number * 1.03);
    let address = format!("/?{place}={new}");
    let (head, near) = ask(d.near(), get(&address)).await;
    assert_eq!(head.status(), StatusCode::OK, "{near}");
    until_solved(&d, &near).await;
    let (_, after) = ask(d.near(), get(&address)).await;
    assert!(!after.contains("data-solving") && after.contains("<dt>change</dt>"));
    // A shape that cannot be is said once the solver has refused it.
    let bad = format!("/?{place}=1%20mm");
    let begin = Instant::now();
    loop {
        let (_, body) = ask(d.near(), get(&bad)).await;
        if body.contains("This cannot be shown") {
            break;
        }
        assert!(begin.elapsed() < Duration::from_secs(60), "{body}");
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
}

#[tokio::test]
async fn what_is_given_away_is_coarse_unless_asked_otherwise() {
    let d = desk();
    let contact = "call=qq1bbb&mode=USB&down=10472.350&sent=59&received=57&locator=IO77&comment=";
    let (head, body) = ask(d.near(), post("/book/contact", ORIGIN, contact)).await;
    assert_eq!(head.status(), StatusCode::OK, "{body}");
    let (head, coarse) = ask(d.near(), get("/book/contacts.geojson")).await;
    assert_eq!(head.headers()[header::CONTENT_TYPE], "application/geo+json");
    let (_, exact) = ask(d.near(), get("/book/contacts.geojson?exact=yes")).await;
    for map in [&coarse, &exact] {
        let v: Value = serde_json::from_str(map).expect("JSON");
        assert_eq!(v["type"], "FeatureCollection");
        assert!(v["features"].as_array().is_some_and(|f| !f.is_empty()));
    }
    assert_ne!(coarse, exact);
    let (head, sheet) = ask(d.near(), get("/sheet")).await;
    assert_eq!(head.status(), StatusCode::OK);
    assert!(sheet.contains("Build sheet"));
    let (head, file) = ask(d.near(), get("/sheet.html")).await;
    assert!(
        head.headers()[header::CONTENT_DISPOSITION]
            .to_str()
            .is_ok_and(|t| t.starts_with("attachment"))
    );
    assert!(file.starts_with("<!DOCTYPE html>") || file.starts_with("<!doctype html>"));
    let (head, echo) = ask(d.near(), get("/book/echo?processing=120&u=10")).await;
    assert_eq!(head.status(), StatusCode::OK, "{echo}");
    assert!(echo.contains("echo of the own voice, predicted"));
    for bad in ["processing=-1", "processing=x", "path=..%2Fx.wav"] {
        let (head, _) = ask(d.near(), get(&format!("/book/echo?{bad}"))).await;
        assert_eq!(head.status(), StatusCode::BAD_REQUEST, "{bad}");
    }
}

#[tokio::test]
async fn phones_are_invited_from_the_station_computer_only() {
    let d = desk();
    let (head, body) = ask(d.near(), get("/phone")).await;
    assert_eq!(head.status(), StatusCode::OK);
    assert!(body.contains("--lan"));
    // Without a door there is nobody to invite; and never by GET or from elsewhere.
    let (head, _) = ask(d.near(), post("/phone", ORIGIN, "")).await;
    assert_eq!(head.status(), StatusCode::BAD_REQUEST);
    let (head, _) = ask(d.near(), post("/phone", None, "")).await;
    assert_eq!(head.status(), StatusCode::FORBIDDEN);
    let key = Key::fresh().expect("a key");
    let at = IpAddr::V4(Ipv4Addr::new(192, 0, 2, 7));
    let door = Arc::new(Door::network(&[at], 4443, key.clone()));
    let far = |d: &Arc<House>| -> Router { router(Arc::clone(d), Arc::clone(&door)) };
    let visit = Request::get(format!("/?key={}", key.text()))
        .header(header::HOST, "192.0.2.7:4443")
        .body(Body::empty())
        .expect("a request");
    let (head, _) = ask(far(&d.house), visit).await;
    let cookie = head.headers()[header::SET_COOKIE]
        .to_str()
        .ok()
        .and_then(|c| c.split(';').next())
        .expect("a cookie")
        .to_string();
    let again = Request::get("/phone")
        .header(header::HOST, "192.0.2.7:4443")
        .header(header::COOKIE, cookie)
        .body(Body::empty())
        .expect("a request");
    assert_eq!(
        ask(far(&d.house), again).await.0.status(),
        StatusCode::NOT_FOUND
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_tilt_teaches_what_a_turn_of_the_elevation_bolt_does() {
    let d = live_desk();
    let (_, said) = ask(d.near(), post("/dish/tilt", ORIGIN, "turns=1&degrees=0.61")).await;
    assert!(
        said.contains("By tilt a turn of the elevation bolt moves the dish 0.59 deg"),
        "{said}"
    );
    let (_, said) = ask(
        d.near(),
        post("/dish/tilt", ORIGIN, "turns=0.1&degrees=0.02"),
    )
    .await;
    assert!(said.contains("too little"), "{said}");
    let (_, said) = ask(d.near(), post("/dish/tilt", ORIGIN, "turns=1&degrees=30")).await;
    assert!(said.contains("left out"), "{said}");
    for bad in [
        "",
        "turns=0&degrees=1",
        "turns=1&degrees=NaN",
        "turns=1&degrees=200",
    ] {
        let (head, _) = ask(d.near(), post("/dish/tilt", ORIGIN, bad)).await;
        assert_eq!(head.status(), StatusCode::BAD_REQUEST, "{bad}");
    }
    let (head, _) = ask(d.near(), get("/dish/tilt?turns=1&degrees=0.6")).await;
    assert_eq!(head.status(), StatusCode::METHOD_NOT_ALLOWED);
}
