//! The sense in words, for the person who bends the wire or cuts the lines to the posts.

use slantpath_antenna::polarisation::Sense;

/// How to bend the wire so that the coil radiates this sense towards the dish.
pub fn winding(sense: Sense) -> &'static str {
    match sense {
        Sense::Right => {
            "wind it like a common screw: look from the disc along the coil towards its open end, and the wire goes away from \
             you while it turns clockwise; the coil radiates right-hand circular (RHCP) at the dish"
        }
        Sense::Left => {
            "wind it against a common screw: look from the disc along the coil towards its open end, and the wire goes away \
             from you while it turns anticlockwise; the coil radiates left-hand circular (LHCP) at the dish"
        }
    }
}

/// In which order to drive the posts of a patch so that it radiates this sense towards the dish.
pub fn phasing(sense: Sense) -> &'static str {
    match sense {
        Sense::Right => {
            "each 90 degrees after the one before, counter-clockwise as seen from the dish"
        }
        Sense::Left => "each 90 degrees after the one before, clockwise as seen from the dish",
    }
}

/// What the reflector makes of it.
pub fn after_the_dish(sense: Sense) -> &'static str {
    match sense {
        Sense::Right => {
            "the reflector reverses the sense: what leaves the dish is left-hand circular (LHCP)"
        }
        Sense::Left => {
            "the reflector reverses the sense: what leaves the dish is right-hand circular (RHCP)"
        }
    }
}
