//! Shelf: the station book.
