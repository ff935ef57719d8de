//! Door: the page.
