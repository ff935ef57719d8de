//! Ground floor: located text and the problems a person can fix.
