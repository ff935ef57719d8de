//! A house with the demo's station, asked without a socket. Each test file uses a part of this.
#![allow(dead_code)]

use axum::Router;
use axum::body::Body;
use axum::http::{Request, Response, header};
use http_body_util::BodyExt;
use slantpath_web::{Door, House, router};
use slantpath_workflow::live::{LiveInput, LiveOptions};
use std::path::PathBuf;
use std::sync::Arc;
use tower::ServiceExt;

pub const HOST: &str = "127.0.0.1:4000";

pub struct Desk {
    _folder: tempfile::TempDir,
    pub station: PathBuf,
    pub house: Arc<House>,
}

pub fn desk() -> Desk {
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

/// The demo's camp station with a patch ring by its dimensions in place of its coil.
pub fn patch_desk() -> Desk {
    let folder = tempfile::tempdir().expect("a folder");
    slantpath_workflow::demo::write_files(folder.path()).expect("the demo's files");
    let station = folder.path().join("qq7bbb.toml");
    let text = std::fs::read_to_string(&station).expect("the station file");
    let from = text.find("[feed.coil.coil]").expect("a coil");
    let to = text.find("[feed.coil.receive]").expect("a feed");
    let patch = "[feed.coil.patch]\nouter = \"72 mm ± 0.5\"\nhole = \"22 mm\"\nheight = \"5 mm\"\nposts = 4\n\
                 post = \"2 mm\"\npost_radius = \"20 mm\"\ndisc = \"110 mm\"\n\n";
    std::fs::write(&station, format!("{}{patch}{}", &text[..from], &text[to..])).expect("written");
    let house = Arc::new(House::new(&station).expect("the station"));
    Desk {
        _folder: folder,
        station,
        house,
    }
}

impl Desk {
    pub fn near(&self) -> Router {
        router(Arc::clone(&self.house), Arc::new(Door::loopback(4000)))
    }
    pub fn file(&self) -> String {
        std::fs::read_to_string(&self.station).expect("the station file")
    }
}

pub fn get(path: &str) -> Request<Body> {
    Request::get(path)
        .header(header::HOST, HOST)
        .body(Body::empty())
        .expect("a request")
}

pub fn post(path: &str, origin: Option<&str>, form: &str) -> Request<Body> {
    let mut r = Request::post(path)
        .header(header::HOST, HOST)
        .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded");
    if let Some(o) = origin {
        r = r.header(header::ORIGIN, o);
    }
    r.body(Body::from(form.to_string())).expect("a request")
}

pub async fn ask(app: Router, r: Request<Body>) -> (Response<()>, String) {
    let answer = app.oneshot(r).await.expect("an answer");
    let (head, body) = answer.into_parts();
    let bytes = body.collect().await.expect("a body").to_bytes();
    (
        Response::from_parts(head, ()),
        String::from_utf8_lossy(&bytes).into_owned(),
    )
}

pub const ORIGIN: Option<&str> = Some("http://127.0.0.1:4000");

pub fn live_desk() -> Desk {
    let folder = tempfile::tempdir().expect("a folder");
    slantpath_workflow::demo::write_files(folder.path()).expect("the demo's files");
    let station = folder.path().join("qq0aaa.toml");
    let options = LiveOptions {
        input: LiveInput::Simulated,
        format: None,
        rate_hz: None,
        center_hz: None,
        branch: None,
        lo_tolerance_hz: None,
    };
    let house = House::new(&station)
        .and_then(|h| h.with_metrics(true).with_live(&options))
        .expect("a live house");
    Desk {
        _folder: folder,
        station,
        house: Arc::new(house),
    }
}
