//! How long a "what if" takes from request to the last byte of the page, over loopback sockets: 200 changes of parts, and 200
//! of dish, feed and site, where a neighbour answers before the fields are solved.
//!
//! Asked for: 99 of 100 within 50 ms. Run with `cargo bench -p slantpath-web --bench whatif`.

use slantpath_web::{Door, House, router};
use std::io::{Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

const CHANGES: usize = 200;

fn ask(port: u16, path: &str) -> (Duration, String) {
    let begin = Instant::now();
    let mut s = TcpStream::connect(("127.0.0.1", port)).expect("connected");
    let head =
        format!("GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nConnection: close\r\n\r\n");
    s.write_all(head.as_bytes()).expect("asked");
    let mut out = Vec::new();
    s.read_to_end(&mut out).expect("answered");
    (begin.elapsed(), String::from_utf8_lossy(&out).into_owned())
}

fn serve(station: &Path) -> u16 {
    let house = Arc::new(House::new(station).expect("a station"));
    house.warm();
    let (tell, told) = std::sync::mpsc::channel();
    std::thread::spawn(move || {
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .enable_all()
            .build()
            .expect("a runtime");
        runtime.block_on(async {
            let l = tokio::net::TcpListener::bind(("127.0.0.1", 0))
                .await
                .expect("a port");
            let port = l.local_addr().expect("its address").port();
            let _ = tell.send(port);
            let _ = axum::serve(l, router(house, Arc::new(Door::loopback(port)))).await;
        });
    });
    told.recv().expect("a port")
}

fn report(what: &str, mut times: Vec<Duration>, near: usize) {
    times.sort();
    let at = |q: f64| times[((times.len() as f64 * q).ceil() as usize).clamp(1, times.len()) - 1];
    let ms = |d: Duration| d.as_secs_f64() * 1e3;
    println!(
        "{what}: {} changes, {near} answered by a neighbour; p50 {:.1} ms, p95 {:.1} ms, p99 {:.1} ms, longest {:.1} ms",
        times.len(),
        ms(at(0.5)),
        ms(at(0.95)),
        ms(at(0.99)),
        ms(at(1.0)),
    );
}

fn run(what: &str, port: u16, pause: Duration, change: impl Fn(usize) -> String) {
    let (mut times, mut near) = (Vec::new(), 0);
    let spent = processor();
    for k in 0..CHANGES {
        let (t, page) = ask(port, &format!("/?{}", change(k)));
        assert!(
            page.starts_with("HTTP/1.1 200") && page.contains("Changed here"),
            "{what}: {page}"
        );
        assert!(!page.contains("This cannot be shown"), "{what}: {page}");
        near += usize::from(page.contains("data-solving"));
        times.push(t);
        // A person types no faster; what is solved meanwhile goes on being solved.
        std::thread::sleep(pause);
    }
    report(what, times, near);
    if let (Some(a), Some(b)) = (spent, processor()) {
        // On a busy machine the clock says more about the others; what is solved beside counts here.
        println!(
            "    processor time {:.1} ms a change",
            (b - a) / CHANGES as f64
        );
    }
}

/// Processor time of this process, ms (Linux counts in hundredths of a second).
fn processor() -> Option<f64> {
    let text = std::fs::read_to_string("/proc/self/stat").ok()?;
    let rest: Vec<&str> = text.rsplit_once(')')?.1.split_whitespace().collect();
    let ticks = |k: usize| rest.get(k)?.parse::<f64>().ok();
    Some(10.0 * (ticks(11)? + ticks(12)?))
}

fn main() {
    let folder = tempfile::tempdir().expect("a folder");
    slantpath_workflow::demo::write_files(folder.path()).expect("the demo");
    let typing = Duration::from_millis(150);
    for name in ["qq0aaa.toml", "qq7bbb.toml"] {
        let station = folder.path().join(name);
        if !station.is_file() {
            continue;
        }
        let begin = Instant::now();
        let port = serve(&station);
        println!(
            "{name}: solved at the start in {:.1} s",
            begin.elapsed().as_secs_f64()
        );
        run(&format!("{name}, a part"), port, typing, |k| {
            format!(
                "part=part.lnb&part.lnb.noise_figure={:.4}%20dB%20%C2%B1%200.1",
                0.5 + 0.002 * k as f64
            )
        });
        let depth = if name == "qq7bbb.toml" { 86.0 } else { 114.0 };
        run(&format!("{name}, the dish"), port, typing, |k| {
            format!(
                "part=reflector&reflector.depth={:.3}%20mm%20%C2%B1%202",
                depth + 0.01 * k as f64
            )
        });
        if name == "qq7bbb.toml" {
            run(&format!("{name}, the coil"), port, typing, |k| {
                format!(
                    "part=feed.coil&feed.coil.coil.diameter={:.3}%20mm%20%C2%B1%200.5",
                    39.0 + 0.01 * k as f64
                )
            });
        }
        run(&format!("{name}, the site"), port, typing, |k| {
            format!("part=site&site.height={}%20m%20%C2%B1%205", 1000 + k)
        });
    }
}
