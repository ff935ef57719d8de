//! Routes without a socket: who is let in, what pages say, and that only an explicit act writes to the file.

mod common;

use axum::Router;
use axum::body::Body;
use axum::http::{Method, Request, StatusCode, header};
use common::{Desk, HOST, ORIGIN, ask, desk, get, live_desk, post};
use http_body_util::BodyExt;
use serde_json::Value;
use slantpath_capture::source::synthetic::{Scene, SyntheticSource};
use slantpath_web::{Door, House, Key, router};
use std::net::{IpAddr, Ipv4Addr};
use std::sync::Arc;
use std::time::{Duration, Instant};
use tower::ServiceExt;

#[tokio::test]
async fn every_page_answers_and_carries_the_strict_headers() {
    let d = desk();
    for path in [
        "/",
        "/figures",
        "/sky",
        "/drawings",
        "/drawings/dish",
        "/drawings/noise",
        "/drawings/budget",
        "/drawings/spectrum",
        "/drawings/trial",
        "/drawings/drive",
        "/sheet",
        "/book/echo",
        "/phone",
        "/page.css",
        "/page.js",
    ] {
        let (head, body) = ask(d.near(), get(path)).await;
        assert_eq!(head.status(), StatusCode::OK, "{path}: {body}");
        let csp = head.headers()[header::CONTENT_SECURITY_POLICY]
            .to_str()
            .expect("text");
        assert!(
            csp.starts_with("default-src 'none'") && !csp.contains("unsafe"),
            "{csp}"
        );
        assert_eq!(head.headers()[header::X_CONTENT_TYPE_OPTIONS], "nosniff");
        // No inline script or style, nothing from elsewhere.
        assert!(
            !body.contains("<style") && !body.contains(" style=\"") && !body.contains("onclick="),
            "{path}"
        );
        assert!(
            !body.contains("src=\"http") && !body.contains("href=\"http"),
            "{path}"
        );
    }
}

#[tokio::test]
async fn a_foreign_name_or_origin_is_turned_away() {
    let d = desk();
    let r = Request::get("/")
        .header(header::HOST, "station.example:4000")
        .body(Body::empty())
        .expect("a request");
    assert_eq!(
        ask(d.near(), r).await.0.status(),
        StatusCode::MISDIRECTED_REQUEST
    );
    let before = d.file();
    for origin in [
        None,
        Some("http://station.example"),
        Some("null"),
        Some("https://127.0.0.1:4000"),
    ] {
        let r = post("/variant", origin, "name=x&part.lnb.noise_figure=0.3+dB");
        assert_eq!(
            ask(d.near(), r).await.0.status(),
            StatusCode::FORBIDDEN,
            "{origin:?}"
        );
    }
    assert_eq!(
        ask(d.near(), get("/variant?name=x")).await.0.status(),
        StatusCode::METHOD_NOT_ALLOWED
    );
    assert_eq!(d.file(), before);
}

#[tokio::test]
async fn a_change_shows_in_the_figures_and_leaves_the_file_alone() {
    let d = desk();
    let before = d.file();
    let (_, plain) = ask(d.near(), get("/")).await;
    assert!(!plain.contains("Changed here"));
    let (head, body) = ask(
        d.near(),
        get("/?part.lnb.noise_figure=0.2%20dB%20%C2%B1%200.05&part=part.lnb"),
    )
    .await;
    assert_eq!(head.status(), StatusCode::OK);
    assert!(body.contains("Changed here, not in the file"));
    assert!(body.contains("0.2 dB ± 0.05"));
    assert!(
        body.contains("<dt>change</dt>"),
        "the change stands under the parts"
    );
    assert!(body.contains("Its share of the station's noise"));
    // What the page shows under G/T is what the model says of the changed file.
    assert_eq!(d.file(), before);
}

#[tokio::test]
async fn a_mistake_is_shown_over_the_sheet_of_the_file() {
    let d = desk();
    for bad in ["0.2%20K%2FW", "%3Cscript%3E", "-3%20dB", ""] {
        let (head, body) = ask(
            d.near(),
            get(&format!("/?part.lnb.noise_figure={bad}&part=part.lnb")),
        )
        .await;
        assert_eq!(head.status(), StatusCode::OK, "{bad}");
        assert!(body.contains("This cannot be shown"), "{bad}");
        assert!(body.contains("class=\"chain\""), "{bad}");
        assert!(!body.contains("<script>"), "{bad}");
    }
    assert_eq!(
        ask(d.near(), get("/?variant=nobody")).await.0.status(),
        StatusCode::BAD_REQUEST
    );
}

#[tokio::test]
async fn keeping_a_variant_appends_it_and_leads_to_it() {
    let d = desk();
    let before = d.file();
    let (_, page) = ask(d.near(), get("/?part.lnb.noise_figure=0.2%20dB")).await;
    let digest = page
        .split_once("name=\"digest\" value=\"")
        .and_then(|(_, r)| r.split_once('"'))
        .expect("the digest")
        .0
        .to_string();
    let form = format!("digest={digest}&part.lnb.noise_figure=0.2+dB&name=better-lnb");
    let origin = Some("http://127.0.0.1:4000");
    let (head, body) = ask(d.near(), post("/variant", origin, &form)).await;
    assert_eq!(head.status(), StatusCode::SEE_OTHER, "{body}");
    assert_eq!(head.headers()[header::LOCATION], "/?variant=better-lnb");
    let after = d.file();
    assert!(after.starts_with(&before) && after.len() > before.len());
    let (_, page) = ask(d.near(), get("/?variant=better-lnb")).await;
    assert!(page.contains("better-lnb"));
    // The same form again: the file has changed since.
    let (head, _) = ask(d.near(), post("/variant", origin, &form)).await;
    assert_eq!(head.status(), StatusCode::BAD_REQUEST);
    assert_eq!(d.file(), after);
}

#[tokio::test]
async fn the_network_door_lets_one_visitor_in_by_its_key() {
    let d = desk();
    let key = Key::fresh().expect("a key");
    let at = IpAddr::V4(Ipv4Addr::new(192, 0, 2, 7));
    let door = Arc::new(Door::network(&[at], 4443, key.clone()));
    let far = || router(Arc::clone(&d.house), Arc::clone(&door));
    let ask_with = |path: String, cookie: Option<String>| {
        let mut r = Request::builder()
            .method(Method::GET)
            .uri(path)
            .header(header::HOST, "192.0.2.7:4443");
        if let Some(c) = cookie {
            r = r.header(header::COOKIE, c);
        }
        ask(far(), r.body(Body::empty()).expect("a request"))
    };
    assert_eq!(
        ask_with("/".into(), None).await.0.status(),
        StatusCode::UNAUTHORIZED
    );
    assert_eq!(
        ask_with("/?key=0".into(), None).await.0.status(),
        StatusCode::UNAUTHORIZED
    );
    let (head, _) = ask_with(format!("/sky?key={}", key.text()), None).await;
    assert_eq!(head.status(), StatusCode::SEE_OTHER);
    assert_eq!(
        head.headers()[header::LOCATION],
        "/sky",
        "the key leaves the address"
    );
    let set = head.headers()[header::SET_COOKIE]
        .to_str()
        .expect("text")
        .to_string();
    assert!(set.contains("HttpOnly") && set.contains("Secure") && set.contains("SameSite=Strict"));
    let cookie = set.split(';').next().map(str::to_string);
    assert_eq!(
        ask_with("/sky".into(), cookie).await.0.status(),
        StatusCode::OK
    );
    // Used up.
    let again = ask_with(format!("/?key={}", key.text()), None).await;
    assert_eq!(again.0.status(), StatusCode::UNAUTHORIZED);
    // Guessing is slowed, for a good key too.
    for i in 0..20 {
        ask_with(format!("/?key={i}"), None).await;
    }
    let fresh = Key::fresh().expect("a key");
    door.invite(fresh.clone());
    let slowed = ask_with(format!("/?key={}", fresh.text()), None).await;
    assert_eq!(slowed.0.status(), StatusCode::TOO_MANY_REQUESTS);
}

/// The stream's events until `enough` of them say so, each with the time since the last.
async fn events(app: Router, path: &str, mut enough: impl FnMut(&str, &Value) -> bool) {
    let answer = app.oneshot(get(path)).await.expect("an answer");
    assert_eq!(answer.status(), StatusCode::OK);
    assert_eq!(answer.headers()[header::CONTENT_TYPE], "text/event-stream");
    let (mut body, mut text) = (answer.into_body(), String::new());
    let begin = Instant::now();
    while let Some(frame) = body.frame().await {
        assert!(
            begin.elapsed() < Duration::from_secs(90),
            "the stream brings too little"
        );
        text.push_str(&String::from_utf8_lossy(
            &frame.expect("a frame").into_data().unwrap_or_default(),
        ));
        while let Some((event, rest)) = text.split_once("\n\n") {
            let name = event
                .lines()
                .find_map(|l| l.strip_prefix("event: "))
                .unwrap_or_default();
            let data = event
                .lines()
                .find_map(|l| l.strip_prefix("data: "))
                .unwrap_or("null");
            let value = serde_json::from_str(data).expect("JSON");
            let done = enough(name, &value);
            text = rest.to_string();
            if done {
                return;
            }
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn the_live_stream_brings_fresh_readings_and_a_picture_of_the_passband() {
    let d = live_desk();
    let (_, body) = ask(d.near(), get("/live")).await;
    assert!(body.contains("data-stream=\"/live/stream?with=picture\""));
    let (mut readings, mut last, mut picture, mut beacon) = (0, 0, false, false);
    events(d.near(), "/live/stream?with=picture", |name, v| {
        if name != "reading" {
            return false;
        }
        let seq = v["seq"].as_u64().expect("a number");
        assert!(seq > last);
        // What was skipped is said.
        assert!(last == 0 || v["missed"].as_u64() == Some(seq - last - 1));
        last = seq;
        assert!(v["age_ms"].as_u64().expect("an age") <= 500);
        readings += 1;
        picture |= v["picture"]["downlink"] == true
            && v["picture"]["density"]
                .as_array()
                .is_some_and(|p| p.len() > 100);
        beacon |= v["beacons"].as_array().is_some_and(|b| {
            b.iter()
                .any(|b| b["id"] == "narrow.beacon-psk" && b["seen"] == true)
        });
        readings >= 10 && picture && beacon
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_dish_page_asks_for_the_supply_first_and_takes_turns_by_post_only() {
    let d = live_desk();
    let (_, body) = ask(d.near(), get("/dish")).await;
    assert!(body.contains("never knows whether the transmitter is off"));
    let mut said = String::new();
    events(d.near(), "/live/stream?with=dish", |_, v| {
        said = v["dish"]["doing"].as_str().unwrap_or_default().into();
        said == "disconnect"
    })
    .await;
    let (head, _) = ask(d.near(), get("/dish/turn?axis=azimuth&turns=1")).await;
    assert_eq!(head.status(), StatusCode::METHOD_NOT_ALLOWED);
    let (head, _) = ask(d.near(), post("/dish/turn", None, "axis=azimuth&turns=1")).await;
    assert_eq!(head.status(), StatusCode::FORBIDDEN);
    for bad in [
        "axis=azimuth&turns=NaN",
        "axis=azimuth&turns=99",
        "axis=x&turns=1",
        "",
    ] {
        let (head, _) = ask(d.near(), post("/dish/turn", ORIGIN, bad)).await;
        assert_eq!(head.status(), StatusCode::BAD_REQUEST, "{bad}");
    }
    let before = d
        .house
        .live()
        .and_then(|l| l.simulated_error())
        .expect("simulated");
    let (head, _) = ask(
        d.near(),
        post("/dish/turn", ORIGIN, "axis=azimuth&turns=-0.5"),
    )
    .await;
    assert_eq!(head.status(), StatusCode::SEE_OTHER);
    let after = d
        .house
        .live()
        .and_then(|l| l.simulated_error())
        .expect("simulated");
    assert!(after.0 < before.0);
    let (head, _) = ask(d.near(), post("/dish/supply", ORIGIN, "disconnected=yes")).await;
    assert_eq!(head.status(), StatusCode::SEE_OTHER);
    events(d.near(), "/live/stream?with=dish", |_, v| {
        matches!(
            v["dish"]["doing"].as_str(),
            Some("hold" | "turn" | "search")
        )
    })
    .await;
}

#[tokio::test]
async fn without_a_source_the_live_pages_say_how_to_get_one() {
    let d = desk();
    for path in ["/live", "/dish"] {
        let (head, body) = ask(d.near(), get(path)).await;
        assert_eq!(head.status(), StatusCode::OK);
        assert!(body.contains("--live simulated"), "{path}");
    }
    let (head, _) = ask(d.near(), get("/live/stream")).await;
    assert_eq!(head.status(), StatusCode::NOT_FOUND);
    let (head, _) = ask(d.near(), get("/metrics")).await;
    assert_eq!(head.status(), StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn the_book_is_written_by_post_and_read_as_timeline_search_and_contacts() {
    let d = desk();
    let (_, body) = ask(d.near(), get("/book")).await;
    assert!(body.contains("Nothing is written here yet"));
    assert!(
        !d.station.with_extension("book").exists(),
        "reading makes no book"
    );
    let (head, _) = ask(d.near(), post("/book/write", None, "kind=note&text=x")).await;
    assert_eq!(head.status(), StatusCode::FORBIDDEN);
    let note = "kind=note&text=Gutter+cleaned+%3Cscript%3E&at=2026-03-01T10%3A00";
    let (head, body) = ask(d.near(), post("/book/write", ORIGIN, note)).await;
    assert_eq!(head.status(), StatusCode::SEE_OTHER, "{body}");
    let weather = "kind=weather&temperature=12+%C2%B0C&rain=2+mm%2Fh&text=";
    let (head, body) = ask(d.near(), post("/book/write", ORIGIN, weather)).await;
    assert_eq!(head.status(), StatusCode::SEE_OTHER, "{body}");
    let (head, body) = ask(
        d.near(),
        post("/book/write", ORIGIN, "kind=weather&temperature=12+K%2FW"),
    )
    .await;
    assert_eq!(head.status(), StatusCode::BAD_REQUEST);
    assert!(body.contains("air temperature"));
    let (head, _) = ask(d.near(), post("/book/write", ORIGIN, "kind=note&text=")).await;
    assert_eq!(head.status(), StatusCode::BAD_REQUEST);
    let (_, body) = ask(d.near(), get("/book?words=gutter")).await;
    assert!(body.contains("Gutter cleaned &lt;script&gt;") && !body.contains("weather</span> <a"));
    let (_, body) = ask(d.near(), get("/book?words=nothing-like-it")).await;
    assert!(!body.contains("Gutter"));
    // The uplink, the own call and the band follow from what was heard.
    let contact =
        "call=qq1bbb&mode=USB&down=10472.350&sent=59&received=57&locator=IO77&power=20&comment=";
    let (head, body) = ask(d.near(), post("/book/contact", ORIGIN, contact)).await;
    assert_eq!(head.status(), StatusCode::OK, "{body}");
    for seen in ["QQ1BBB", "QQ0AAA", "2412.5", "Petrel-1"] {
        assert!(body.contains(seen), "{seen}");
    }
    let (_, adi) = ask(d.near(), get("/book/contacts.adi")).await;
    assert!(adi.contains("<CALL:6>QQ1BBB"), "{adi}");
    let (_, body) = ask(d.near(), get("/book/entry?id=1")).await;
    assert!(body.contains("Gutter cleaned"));
    for path in [
        "/book/write",
        "/book/contact",
        "/book/series",
        "/book/entry?id=77",
    ] {
        let (head, _) = ask(d.near(), get(path)).await;
        assert!(!head.status().is_server_error(), "{path}");
    }
}

fn multipart(parts: &[(&str, Option<&str>, &[u8])]) -> Request<Body> {
    let mut body = Vec::new();
    for (name, file, data) in parts {
        let file = file
            .map(|f| format!("; filename=\"{f}\""))
            .unwrap_or_default();
        body.extend_from_slice(
            format!("--cut\r\nContent-Disposition: form-data; name=\"{name}\"{file}\r\n\r\n")
                .as_bytes(),
        );
        body.extend_from_slice(data);
        body.extend_from_slice(b"\r\n");
    }
    body.extend_from_slice(b"--cut--\r\n");
    Request::post("/recordings/upload")
        .header(header::HOST, HOST)
        .header(header::ORIGIN, "http://127.0.0.1:4000")
        .header(header::CONTENT_TYPE, "multipart/form-data; boundary=cut")
        .body(Body::from(body))
        .expect("a request")
}

async fn job(d: &Desk, wanted: &str) -> Value {
    let begin = Instant::now();
    loop {
        let (_, body) = ask(d.near(), get("/recordings/job")).await;
        let v: Value = serde_json::from_str(&body).expect("JSON");
        if v["state"] != "running" {
            assert_eq!(v["state"], wanted, "{body}");
            return v;
        }
        assert!(begin.elapsed() < Duration::from_secs(120), "{body}");
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
}

fn recording(seconds: f64) -> Vec<u8> {
    let scene = Scene::narrow_passband("made", seconds, 5);
    let mut bytes = Vec::new();
    SyntheticSource::new(&scene)
        .expect("a scene")
        .write_to(&mut bytes)
        .expect("bytes");
    bytes
}

#[tokio::test]
async fn an_uploaded_recording_is_measured_judged_and_kept() {
    let d = desk();
    let bytes = recording(3.0);
    let how: [(&str, Option<&str>, &[u8]); 5] = [
        ("branch", None, b"sdr"),
        ("format", None, b"ci16"),
        ("rate", None, b"640000"),
        ("center", None, b"10472.35"),
        ("file", Some("../../over there.ci16"), &bytes),
    ];
    let (head, body) = ask(d.near(), multipart(&how)).await;
    assert_eq!(head.status(), StatusCode::SEE_OTHER, "{body}");
    job(&d, "done").await;
    let (_, body) = ask(d.near(), get("/recordings")).await;
    assert!(body.contains("over_there.ci16"));
    let (_, sheet) = ask(d.near(), get("/?branch=sdr")).await;
    assert!(sheet.contains("<dt>measured</dt>") && sheet.contains("<dt>disagreement</dt>"));
    let (head, body) = ask(d.near(), post("/recordings/keep", ORIGIN, "")).await;
    assert_eq!(head.status(), StatusCode::SEE_OTHER, "{body}");
    let (_, body) = ask(d.near(), get("/book/series?of=narrow.beacon-psk.cn0%40sdr")).await;
    assert!(
        body.contains("<svg") && body.contains("predicted on those days"),
        "a series is drawn"
    );
    let (head, _) = ask(d.near(), post("/recordings/forget", ORIGIN, "measured=0")).await;
    assert_eq!(head.status(), StatusCode::SEE_OTHER);
    let (_, sheet) = ask(d.near(), get("/?branch=sdr")).await;
    assert!(!sheet.contains("<dt>measured</dt>"));
}

#[tokio::test]
async fn what_is_no_recording_or_lies_elsewhere_is_refused() {
    let d = desk();
    // Not a recording: said, and nothing breaks.
    let (head, _) = ask(
        d.near(),
        multipart(&[("file", Some("x.wav"), b"RIFF\xff\xff\xff\xffWAVEfmt ")]),
    )
    .await;
    assert_eq!(head.status(), StatusCode::SEE_OTHER);
    job(&d, "failed").await;
    let (head, _) = ask(d.near(), multipart(&[])).await;
    assert_eq!(head.status(), StatusCode::BAD_REQUEST);
    for path in ["../qq0aaa.toml", "/etc/passwd", "", "nothing.wav"] {
        let form = format!("path={}", path.replace('/', "%2F"));
        let (head, _) = ask(d.near(), post("/recordings/measure", ORIGIN, &form)).await;
        assert_eq!(head.status(), StatusCode::BAD_REQUEST, "{path}");
    }
}

#[tokio::test]
async fn a_recording_beside_the_station_is_measured_and_can_be_stopped() {
    let d = desk();
    let at = d.station.with_file_name("here.ci16");
    std::fs::write(&at, recording(20.0)).expect("written");
    let (_, body) = ask(d.near(), get("/recordings")).await;
    assert!(body.contains("here.ci16"));
    let form = "path=here.ci16&branch=sdr&format=ci16&rate=640000&center=10472.35";
    let (head, body) = ask(d.near(), post("/recordings/measure", ORIGIN, form)).await;
    assert_eq!(head.status(), StatusCode::SEE_OTHER, "{body}");
    let (head, _) = ask(d.near(), post("/recordings/measure", ORIGIN, form)).await;
    assert_eq!(head.status(), StatusCode::BAD_REQUEST, "one at a time");
    let (_, now) = ask(d.near(), get("/recordings/job")).await;
    let v: Value = serde_json::from_str(&now).expect("JSON");
    let (head, _) = ask(
        d.near(),
        post("/recordings/stop", ORIGIN, &format!("id={}", v["id"])),
    )
    .await;
    assert_eq!(head.status(), StatusCode::SEE_OTHER);
    job(&d, "stopped").await;
    let (_, body) = ask(d.near(), get("/recordings")).await;
    assert!(body.contains("stopped; nothing of it is on the sheet"));
}

#[tokio::test]
async fn a_typed_reading_joins_the_sheet() {
    let d = desk();
    let good = "quantity=mer&value=14.2+dB&u=0.3+dB&branch=tv&passband=wide&beacon=beacon-tv&ceiling=20+dB";
    let (head, body) = ask(d.near(), post("/recordings/reading", ORIGIN, good)).await;
    assert_eq!(head.status(), StatusCode::SEE_OTHER, "{body}");
    let (_, body) = ask(d.near(), get("/recordings")).await;
    assert!(
        body.contains("14.20 ± 0.30") || body.contains("14.2 ± 0.3"),
        "{body}"
    );
    for bad in [
        "quantity=mer&value=many",
        "quantity=x&value=1+dB",
        "quantity=mer&value=14+dB&branch=nobody",
    ] {
        let (head, _) = ask(d.near(), post("/recordings/reading", ORIGIN, bad)).await;
        assert_eq!(head.status(), StatusCode::BAD_REQUEST, "{bad}");
    }
}

#[tokio::test]
async fn metrics_are_given_when_asked_for_only() {
    let d = desk();
    let house = House::new(&d.station).expect("a house").with_metrics(true);
    let app = router(Arc::new(house), Arc::new(Door::loopback(4000)));
    let (head, body) = ask(app, get("/metrics")).await;
    assert_eq!(head.status(), StatusCode::OK);
    assert!(
        head.headers()[header::CONTENT_TYPE]
            .to_str()
            .expect("text")
            .starts_with("application/openmetrics-text")
    );
    assert!(body.ends_with("# EOF\n"));
}

#[tokio::test]
async fn a_phone_that_speaks_http_2_names_the_server_in_its_request() {
    let d = desk();
    let r = Request::get("http://127.0.0.1:4000/")
        .body(Body::empty())
        .expect("a request");
    assert_eq!(ask(d.near(), r).await.0.status(), StatusCode::OK);
    let r = Request::get("http://station.example:4000/")
        .body(Body::empty())
        .expect("a request");
    let foreign = ask(d.near(), r).await.0.status();
    assert_eq!(foreign, StatusCode::MISDIRECTED_REQUEST);
}
