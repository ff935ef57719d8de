//! Shelf: text, JSON, figures, sheets and pages: renderings of answers.
