//! Wing: recordings and live sources, and what they show.
