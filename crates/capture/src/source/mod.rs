//! Where samples come from: files, streams and the synthetic receiver, behind one trait.
//!
//! Everything downstream sees complex samples whose full scale 1.0 is the rail of one component, in the order
//! in which they were recorded, and an [`About`] with what the recording says of itself. Reading is sequential
//! with flat memory, and the samples do not depend on how many are asked for at a time.

mod about;

pub use about::{About, Annotation, Component, Mount, SampleFormat, Segment};

use crate::error::CaptureError;

/// A recording or a stream that is read once, from its start to its end.
pub trait Source: Send {
    /// What is known of the recording. Before reading: what its headers say. After the end was reached, also
    /// the digest of what was read and the warnings that came up on the way.
    fn about(&self) -> &About;

    /// Fills `out` with the next samples and returns how many there were; 0 is the end.
    ///
    /// Full scale 1.0 is the rail of one component: an unsigned component of `b` bits is `(x - h) / h` with
    /// `h = (2^b - 1) / 2` (so that cu8 zero is 127.5), a signed one is `x / (2^(b-1) - 1)` (so that the lowest
    /// code lies slightly below -1), a floating one is taken as it is.
    ///
    /// # Errors
    /// The file cannot be read, or what is in it contradicts its headers.
    fn read(&mut self, out: &mut [num_complex::Complex<f32>]) -> Result<usize, CaptureError>;
}
