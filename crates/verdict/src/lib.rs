//! Bench: comparison, ledger, diagnosis: what accounts for the difference.
