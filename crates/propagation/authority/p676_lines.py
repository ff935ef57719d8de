"""Writes src/p676/lines.rs from Tables 1 and 2 of P.676-12 as carried by PyPI itur 0.4.0 (MIT)."""
import os
import itur

HERE = os.path.dirname(os.path.abspath(__file__))
DATA = os.path.join(os.path.dirname(itur.__file__), "data", "676")
HEAD = """//! Spectroscopic data of P.676-12 Annex 1: Table 1 (oxygen) and Table 2 (water vapour).
//!
//! Written by `authority/p676_lines.py` from the tables that accompany the open implementation it names.

/// One oxygen line, Table 1: f0 in GHz, then a1 to a6.
pub(super) struct Oxygen {
    pub f0_ghz: f64,
    pub a: [f64; 6],
}

/// One water vapour line, Table 2: f0 in GHz, then b1 to b6.
pub(super) struct Water {
    pub f0_ghz: f64,
    pub b: [f64; 6],
}

const fn o(f0_ghz: f64, a: [f64; 6]) -> Oxygen {
    Oxygen { f0_ghz, a }
}

const fn w(f0_ghz: f64, b: [f64; 6]) -> Water {
    Water { f0_ghz, b }
}
"""


def rows(name):
    with open(os.path.join(DATA, f"v12_lines_{name}.txt")) as f:
        return [[float(x) for x in line.split(",")] for line in list(f)[1:] if line.strip()]


def table(name, kind, fn, data):
    out = f"\n#[rustfmt::skip]\npub(super) const {name}: [{kind}; {len(data)}] = [\n"
    for r in data:
        out += f"    {fn}({r[0]!r}, [{', '.join(repr(x) for x in r[1:7])}]),\n"
    return out + "];\n"


with open(os.path.join(HERE, "..", "src", "p676", "lines.rs"), "w") as f:
    f.write(HEAD)
    f.write(table("OXYGEN", "Oxygen", "o", rows("oxygen")))
    f.write(table("WATER", "Water", "w", rows("water_vapour")))
