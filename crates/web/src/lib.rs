//! Door: the page.
//!
//! One server, two doors: loopback in plain HTTP, and, only when asked for, the local network in TLS behind a one-time
//! key. Routes are a plain [`axum::Router`] and are tested without a socket. Every state of a page has an address:
//! what is looked at, which variant, which values are changed, stands in the query.

mod desk;
mod guard;
mod house;
mod later;
mod layout;
mod network;
mod pages;
mod serve;
mod view;

pub use guard::{Door, Key};
pub use house::House;
pub use pages::router;
pub use serve::{Announcement, ServeError, ServeOptions, serve};
