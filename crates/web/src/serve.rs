//! The server: a loopback door always, a door to the local network only when asked for.

use crate::guard::{Door, Key};
use crate::house::House;
use crate::network::Network;
use crate::pages::router;
use axum_server::tls_rustls::RustlsConfig;
use sha2::{Digest, Sha256};
use slantpath_workflow::WorkflowError;
use slantpath_workflow::live::LiveOptions;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr, UdpSocket};
use std::path::PathBuf;
use std::sync::Arc;
use thiserror::Error;

/// What to serve, and to whom.
#[derive(Debug, Clone)]
pub struct ServeOptions {
    /// Station file.
    pub station: PathBuf,
    /// Port on loopback; 0 takes a free one.
    pub port: u16,
    /// Port for the local network, when asked for; 0 takes a free one.
    pub lan: Option<u16>,
    /// What is received meanwhile, if anything.
    pub live: Option<LiveOptions>,
    /// Where the station book is; `None`: beside the station file.
    pub book: Option<PathBuf>,
    /// Whether the latest figures of the book are given to a monitoring system.
    pub metrics: bool,
}

/// Where the pages are to be found.
#[derive(Debug, Clone)]
pub struct Announcement {
    /// Address on this machine.
    pub loopback: String,
    /// The local network's door, if it was asked for.
    pub network: Option<Invitation>,
}

/// What a phone needs to come in.
#[derive(Debug, Clone)]
pub struct Invitation {
    /// Address with the one-time key.
    pub address: String,
    /// The address as a picture of blocks.
    pub code: String,
    /// SHA-256 of the certificate, as a browser shows it.
    pub fingerprint: String,
}

/// Why there is no server.
#[derive(Debug, Error)]
pub enum ServeError {
    /// The station cannot be read.
    #[error(transparent)]
    Station(#[from] WorkflowError),
    /// A port that is taken, no network, no randomness.
    #[error("{what}: {cause}")]
    Machine {
        /// What was tried.
        what: String,
        /// What the system said.
        cause: std::io::Error,
    },
}

fn machine(what: impl Into<String>) -> impl FnOnce(std::io::Error) -> ServeError {
    let what = what.into();
    move |cause| ServeError::Machine { what, cause }
}

/// Serves until the process is stopped. `announce` is called once, when the doors are open.
///
/// # Errors
/// As [`ServeError`].
pub fn serve(
    options: &ServeOptions,
    announce: impl FnOnce(&Announcement),
) -> Result<(), ServeError> {
    let mut house = House::new(&options.station)?.with_metrics(options.metrics);
    if let Some(b) = &options.book {
        house = house.with_book(b);
    }
    if let Some(l) = &options.live {
        house = house.with_live(l)?;
    }
    let house = Arc::new(house);
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
        .map_err(machine("starting the server"))?;
    runtime.block_on(run(options, house, announce))
}

async fn run(
    options: &ServeOptions,
    house: Arc<House>,
    announce: impl FnOnce(&Announcement),
) -> Result<(), ServeError> {
    let at = SocketAddr::from((Ipv4Addr::LOCALHOST, options.port));
    let listener = tokio::net::TcpListener::bind(at)
        .await
        .map_err(machine(format!(
            "opening port {} on this machine",
            options.port
        )))?;
    let port = listener
        .local_addr()
        .map_err(machine("asking for the port"))?
        .port();
    let near = router(Arc::clone(&house), Arc::new(Door::loopback(port)));
    let mut said = Announcement {
        loopback: format!("http://127.0.0.1:{port}/"),
        network: None,
    };
    let far = match options.lan {
        None => None,
        Some(lan) => {
            let (far, invitation) = network(lan, &house).await?;
            said.network = Some(invitation);
            Some(far)
        }
    };
    announce(&said);
    // The first page then finds the station solved.
    let first = Arc::clone(&house);
    tokio::task::spawn_blocking(move || first.warm());
    let near = async { axum::serve(listener, near).await };
    match far {
        None => near.await,
        Some(far) => tokio::select! { r = near => r, r = far => r },
    }
    .map_err(machine("serving"))
}

/// Opens the door to the local network: TLS with a certificate made for this run, and a one-time key.
async fn network(
    port: u16,
    house: &Arc<House>,
) -> Result<
    (
        impl Future<Output = std::io::Result<()>> + use<>,
        Invitation,
    ),
    ServeError,
> {
    let address = own_address().ok_or_else(|| ServeError::Machine {
        what: "finding this machine's address on the local network".into(),
        cause: std::io::Error::other("there is no network"),
    })?;
    let made = rcgen::generate_simple_self_signed(vec![address.to_string()])
        .map_err(|e| std::io::Error::other(e.to_string()))
        .map_err(machine("making a certificate"))?;
    let der = made.cert.der().to_vec();
    let fingerprint: Vec<String> = Sha256::digest(&der)
        .iter()
        .map(|b| format!("{b:02X}"))
        .collect();
    // Both cryptographic providers may be compiled in by others; this program means this one.
    let _ = rustls::crypto::ring::default_provider().install_default();
    let config = RustlsConfig::from_der(vec![der], made.signing_key.serialize_der())
        .await
        .map_err(machine("using the certificate"))?;
    let listener = std::net::TcpListener::bind(SocketAddr::new(address, port))
        .map_err(machine(format!("opening port {port} on {address}")))?;
    listener
        .set_nonblocking(true)
        .map_err(machine("preparing the port"))?;
    let port = listener
        .local_addr()
        .map_err(machine("asking for the port"))?
        .port();
    let key = Key::fresh().map_err(machine("making a key"))?;
    let host = match address {
        IpAddr::V4(a) => a.to_string(),
        IpAddr::V6(a) => format!("[{a}]"),
    };
    let link = format!("https://{host}:{port}/?key={}", key.text());
    let code = fast_qr::QRBuilder::new(link.as_str())
        .build()
        .map(|q| q.to_str())
        .map_err(|e| std::io::Error::other(e.to_string()))
        .map_err(machine("drawing the code"))?;
    let door = Arc::new(Door::network(&[address], port, key));
    let fingerprint = fingerprint.join(":");
    let _ = house.network.set(Network {
        door: Arc::clone(&door),
        base: format!("https://{host}:{port}"),
        fingerprint: fingerprint.clone(),
    });
    let server = axum_server::from_tcp_rustls(listener, config)
        .map_err(machine("serving the local network"))?;
    let app = router(Arc::clone(house), door).into_make_service();
    Ok((
        async move { server.serve(app).await },
        Invitation {
            address: link,
            code,
            fingerprint,
        },
    ))
}

/// The address from which this machine would speak to the network outside. Nothing is sent: connecting a datagram socket
/// only asks the routing table.
fn own_address() -> Option<IpAddr> {
    let ask = |from: SocketAddr, to: SocketAddr| -> Option<IpAddr> {
        let socket = UdpSocket::bind(from).ok()?;
        socket.connect(to).ok()?;
        let a = socket.local_addr().ok()?.ip();
        (!a.is_unspecified()).then_some(a)
    };
    // Addresses of the documentation blocks (RFC 5737, RFC 3849): routed like any other, owned by nobody.
    ask(
        (Ipv4Addr::UNSPECIFIED, 0).into(),
        (Ipv4Addr::new(192, 0, 2, 1), 9).into(),
    )
    .or_else(|| {
        ask(
            (Ipv6Addr::UNSPECIFIED, 0).into(),
            (Ipv6Addr::new(0x2001, 0xdb8, 0, 0, 0, 0, 0, 1), 9).into(),
        )
    })
}
