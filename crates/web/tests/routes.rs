//! Routes without a socket: who is let in, what pages say, and that only an explicit act writes to the file.

use axum::Router;
use axum::body::Body;
use axum::http::{Method, Request, Response, StatusCode, header};
use http_body_util::BodyExt;
use slantpath_web::{Door, House, Key, router};
use std::net::{IpAddr, Ipv4Addr};
use std::path::PathBuf;
use std::sync::Arc;
use tower::ServiceExt;

const HOST: &str = "127.0.0.1:4000";

struct Desk {
    _folder: tempfile::TempDir,
    station: PathBuf,
    house: Arc<House>,
}

fn desk() -> Desk {
    let folder = tempfile::tempdir().expect("a folder");
    slantpath_workflow::demo::write_files(folder.path()).expect("the demo's files");
    let station = folder.path().join("qq0aaa.toml");
    let house = Arc::new(House::new(&station).expect("the demo station"));
    Desk {
        _folder: folder,
        station,
        house,
    }
}

impl Desk {
    fn near(&self) -> Router {
        router(Arc::clone(&self.house), Arc::new(Door::loopback(4000)))
    }
    fn file(&self) -> String {
        std::fs::read_to_string(&self.station).expect("the station file")
    }
}

fn get(path: &str) -> Request<Body> {
    Request::get(path)
        .header(header::HOST, HOST)
        .body(Body::empty())
        .expect("a request")
}

fn post(path: &str, origin: Option<&str>, form: &str) -> Request<Body> {
    let mut r = Request::post(path)
        .header(header::HOST, HOST)
        .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded");
    if let Some(o) = origin {
        r = r.header(header::ORIGIN, o);
    }
    r.body(Body::from(form.to_string())).expect("a request")
}

async fn ask(app: Router, r: Request<Body>) -> (Response<()>, String) {
    let answer = app.oneshot(r).await.expect("an answer");
    let (head, body) = answer.into_parts();
    let bytes = body.collect().await.expect("a body").to_bytes();
    (
        Response::from_parts(head, ()),
        String::from_utf8_lossy(&bytes).into_owned(),
    )
}

#[tokio::test]
async fn every_page_answers_and_carries_the_strict_headers() {
    let d = desk();
    for path in ["/", "/figures", "/sky", "/page.css", "/page.js"] {
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
