// Drawings: their values by pointing and by the arrow keys. Pages that wait for something are looked after.
"use strict";

function figures() {
  for (const svg of document.querySelectorAll("figure svg")) {
    if (svg.read) continue;
    svg.read = true;
    const groups = [...svg.querySelectorAll("g > title")].map((t) => t.parentNode);
    if (!groups.length) continue;
    const out = document.createElement("p");
    out.className = "reading";
    out.setAttribute("aria-live", "polite");
    svg.closest("figure").append(out);
    svg.setAttribute("tabindex", "0");
    let at = -1;
    const tell = (i) => {
      if (groups[at]) groups[at].classList.remove("read");
      at = i;
      if (!groups[at]) { out.textContent = ""; return; }
      groups[at].classList.add("read");
      out.textContent = groups[at].querySelector("title").textContent;
    };
    svg.addEventListener("keydown", (e) => {
      const n = groups.length;
      const to = { ArrowRight: at + 1, ArrowDown: at + 1, ArrowLeft: at - 1, ArrowUp: at - 1, Home: 0, End: n - 1 }[e.key];
      if (e.key === "Escape") tell(-1);
      if (to === undefined) return;
      e.preventDefault();
      tell((to + n) % n);
    });
    svg.addEventListener("focus", () => { if (at < 0) out.textContent = `${groups.length} values: the arrow keys go through them.`; });
    svg.addEventListener("blur", () => tell(-1));
    svg.addEventListener("pointerover", (e) => {
      const i = groups.indexOf(e.target.closest("g"));
      if (i >= 0) tell(i);
    });
  }
}

let waiting = 0;
function follow() {
  const wait = document.querySelector("[data-solving]");
  clearTimeout(waiting);
  if (!wait) return;
  waiting = setTimeout(async () => {
    try {
      const answer = await fetch(wait.dataset.solving, { credentials: "same-origin" });
      if ((await answer.json()).solved) { await show(location.href, true); return; }
    } catch { /* asked again */ }
    follow();
  }, 400);
}

figures();
follow();
