//! The page by the keyboard alone.

use crate::driver::{Browser, browser};
use crate::{Server, station};

const TAB: &str = "\u{E004}";
const ENTER: &str = "\u{E007}";
const CONTROL: char = '\u{E009}';
const RIGHT: &str = "\u{E014}";

/// Goes on by the tabulator until a script's expression holds for the focused element `e`; each one on the way must show
/// that it has the focus.
fn reach(b: &Browser, what: &str, holds: &str) {
    for _ in 0..120 {
        b.press(TAB);
        let (found, shown) = (
            b.run(&format!(
                "const e = document.activeElement; return !!({holds})"
            )),
            b.run(
                "const e = document.activeElement, s = getComputedStyle(e); \
                 return e === document.body || (s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 2)",
            ),
        );
        let at = b.run("return document.activeElement.outerHTML.slice(0, 120)");
        assert_eq!(shown, true, "the focus is not seen on {at}");
        if found == true {
            return;
        }
    }
    panic!("{what} is not reached by the keyboard");
}

#[test]
fn a_part_is_changed_and_kept_by_the_keyboard_alone() {
    let Some(b) = browser(1280, 800) else { return };
    let (_folder, path) = station();
    let s = Server::start(&path, &["--port", "0"]);
    b.open(&s.at("/"));
    b.until(
        "the chain",
        "return document.querySelectorAll('ol.chain li.part').length > 8",
    );
    reach(&b, "the way to the content", "e.classList.contains('skip')");
    b.press(ENTER);
    reach(
        &b,
        "the part",
        "e.matches(\"ol.chain a[href*='part=part.lnb']\")",
    );
    b.press(ENTER);
    b.until(
        "the part's panel",
        "return !!document.getElementById('part')",
    );
    reach(&b, "its field", "e.name === 'part.lnb.noise_figure'");
    b.press_with(CONTROL, 'a');
    b.press("0.3 dB ± 0.1");
    b.press(ENTER);
    b.until(
        "the change",
        "return document.body.innerText.includes('Changed here, not in the file') && location.search.includes('0.3')",
    );
    // A drawing is read value by value.
    b.until(
        "a drawing",
        "return !!document.querySelector('figure svg[tabindex]')",
    );
    reach(&b, "a drawing", "e.matches('figure svg')");
    b.press(RIGHT);
    b.until(
        "its value",
        "return /\\d/.test(document.activeElement.closest('figure').querySelector('.reading').textContent)",
    );
    b.open(b.run("return location.href").as_str().expect("an address"));
    reach(&b, "the variant's name", "e.name === 'name'");
    b.press("by-keys");
    b.press(ENTER);
    b.until(
        "the variant",
        "return location.search.includes('variant=by-keys')",
    );
    assert!(
        std::fs::read_to_string(&path)
            .expect("the file")
            .contains("[variant.by-keys")
    );
    assert_eq!(b.errors(), Vec::<String>::new());
}
