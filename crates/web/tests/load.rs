//! Many clients on the live page, over real sockets: readings that a client missed are announced, what has the same number
//! says the same everywhere, everybody ends at the newest, and the memory does not grow with time.

mod common;

use common::{get, live_desk};
use http_body_util::BodyExt;
use serde_json::Value;
use slantpath_web::{Door, router};
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tower::ServiceExt;

const CLIENTS: usize = 200;

#[derive(Default)]
struct Seen {
    /// By number: what it said, and how often.
    said: BTreeMap<u64, (String, usize)>,
    wrong: Vec<String>,
    readings: usize,
    missed: u64,
    oldest_ms: u64,
}

/// Resident memory in MiB, where the system tells.
fn resident() -> Option<f64> {
    let text = std::fs::read_to_string("/proc/self/statm").ok()?;
    let pages: f64 = text.split_whitespace().nth(1)?.parse().ok()?;
    Some(pages * 4096.0 / 1048576.0)
}

/// One client: reads events until the end, and returns the number of its last one. Every tenth looks away for a second in
/// every three, as a phone does that is put into a pocket.
async fn client(port: u16, k: usize, end: Instant, seen: Arc<Mutex<Seen>>) -> u64 {
    let mut s = TcpStream::connect(("127.0.0.1", port))
        .await
        .expect("connected");
    let with = if k.is_multiple_of(4) {
        "dish"
    } else {
        "picture"
    };
    let head = format!("GET /live/stream?with={with} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n");
    s.write_all(head.as_bytes()).await.expect("asked");
    let (mut text, mut buffer, mut last) = (Vec::<u8>::new(), vec![0u8; 1 << 16], 0u64);
    let mut awake = Instant::now();
    while Instant::now() < end {
        if k.is_multiple_of(10)
            && awake.elapsed() > Duration::from_secs(2)
            && end - Instant::now() > Duration::from_secs(2)
        {
            tokio::time::sleep(Duration::from_secs(1)).await;
            awake = Instant::now();
        }
        let n = match tokio::time::timeout(Duration::from_millis(500), s.read(&mut buffer)).await {
            Err(_) => continue,
            Ok(n) => n.expect("the stream goes on"),
        };
        assert!(n > 0, "the server ended the stream");
        text.extend_from_slice(&buffer[..n]);
        while let Some(at) = text.windows(2).position(|w| w == b"\n\n") {
            let event: Vec<u8> = text.drain(..at + 2).collect();
            let event = String::from_utf8_lossy(&event);
            let Some(data) = event.lines().find_map(|l| l.strip_prefix("data: ")) else {
                continue;
            };
            // Chunk lengths of HTTP/1.1 stand between events only.
            let Ok(mut v) = serde_json::from_str::<Value>(data) else {
                panic!("no JSON: {data}");
            };
            let Some(seq) = v["seq"].as_u64() else {
                continue;
            };
            let missed = v["missed"].as_u64().unwrap_or(u64::MAX);
            let age = v["age_ms"].as_u64().unwrap_or(u64::MAX);
            let mut seen = seen.lock().expect("whole");
            if seq <= last || (last > 0 && missed != seq - last - 1) {
                seen.wrong
                    .push(format!("client {k}: {last} then {seq}, {missed} announced"));
            }
            last = seq;
            seen.readings += 1;
            seen.missed += missed;
            seen.oldest_ms = seen.oldest_ms.max(age);
            // What differs by client: when it came, what this client missed, what it asked for.
            for own in ["missed", "age_ms", "at_ms", "picture", "dish", "source"] {
                if let Some(o) = v.as_object_mut() {
                    o.remove(own);
                }
            }
            let said = v.to_string();
            match seen.said.get(&seq) {
                Some((s, _)) if *s != said => {
                    let text = format!("reading {seq} is not the same for everybody");
                    seen.wrong.push(text);
                }
                Some((_, n)) => {
                    let n = n + 1;
                    seen.said.insert(seq, (said, n));
                }
                None => {
                    seen.said.insert(seq, (said, 1));
                }
            }
        }
    }
    last
}

async fn load(seconds: u64) {
    let d = live_desk();
    let l = TcpListener::bind(("127.0.0.1", 0)).await.expect("a port");
    let port = l.local_addr().expect("its address").port();
    let app = router(Arc::clone(&d.house), Arc::new(Door::loopback(port)));
    let server = tokio::spawn(async move { axum::serve(l, app).await });
    let begin = Instant::now();
    while d
        .house
        .live()
        .and_then(|l| l.latest())
        .is_none_or(|l| l.seq < 5)
    {
        assert!(begin.elapsed() < Duration::from_secs(60), "no reading");
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    let seen = Arc::new(Mutex::new(Seen::default()));
    let end = Instant::now() + Duration::from_secs(seconds);
    let clients: Vec<_> = (0..CLIENTS)
        .map(|k| tokio::spawn(client(port, k, end, Arc::clone(&seen))))
        .collect();
    tokio::time::sleep(Duration::from_secs(seconds / 3)).await;
    let early = resident();
    let mut lasts = Vec::new();
    for c in clients {
        lasts.push(c.await.expect("a client ends"));
    }
    let late = resident();
    let newest = d.house.live().and_then(|l| l.latest()).map_or(0, |l| l.seq);
    server.abort();
    let seen = seen.lock().expect("whole");
    let (slowest, fastest) = (lasts.iter().min().copied(), lasts.iter().max().copied());
    println!(
        "{CLIENTS} clients for {seconds} s: {} readings came, {} missed and announced, none older than {} ms when sent; last \
         reading {slowest:?} to {fastest:?} of {newest}; memory {early:?} then {late:?} MiB",
        seen.readings, seen.missed, seen.oldest_ms
    );
    assert!(
        seen.wrong.is_empty(),
        "{:?}",
        &seen.wrong[..seen.wrong.len().min(5)]
    );
    assert!(seen.oldest_ms <= 500);
    assert!(
        seen.said.values().any(|(_, n)| *n > CLIENTS / 2),
        "nothing was seen by many"
    );
    // Everybody ends within a second of the newest.
    assert!(
        slowest.is_some_and(|s| s + 15 >= newest),
        "{slowest:?} of {newest}"
    );
    if let (Some(a), Some(b)) = (early, late) {
        // What the test itself keeps of every reading grows; the server must not.
        assert!(b < a + 40.0, "{a} then {b} MiB");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn who_looks_away_is_told_what_was_missed() {
    let d = live_desk();
    let answer = d
        .near()
        .oneshot(get("/live/stream"))
        .await
        .expect("an answer");
    let mut body = answer.into_body();
    let (mut last, mut gaps) = (0, 0);
    let begin = Instant::now();
    while gaps < 2 {
        assert!(begin.elapsed() < Duration::from_secs(60), "no gap is told");
        let frame = body.frame().await.expect("it goes on").expect("whole");
        let text = String::from_utf8_lossy(&frame.into_data().unwrap_or_default()).into_owned();
        let Some(data) = text.lines().find_map(|l| l.strip_prefix("data: ")) else {
            continue;
        };
        let v: Value = serde_json::from_str(data).expect("JSON");
        let Some(seq) = v["seq"].as_u64() else {
            continue;
        };
        let missed = v["missed"].as_u64().expect("a number");
        if last > 0 {
            assert_eq!(missed, seq - last - 1);
            gaps += usize::from(missed >= 3);
        }
        last = seq;
        tokio::time::sleep(Duration::from_millis(700)).await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn two_hundred_clients_see_the_same() {
    load(6).await;
}

/// `cargo test --release -p slantpath-web --test load -- --ignored --nocapture`
#[tokio::test(flavor = "multi_thread")]
#[ignore = "a minute"]
async fn two_hundred_clients_for_a_minute() {
    load(60).await;
}
