// Comfort only: every page works without this file, by links and forms.
"use strict";

// A changed field shows its consequence at once: the form's own address is loaded, and the main part is exchanged.
let running = null;

async function show(address, keep) {
  if (running) running.abort();
  running = new AbortController();
  const main = document.getElementById("main");
  main.setAttribute("aria-busy", "true");
  try {
    const answer = await fetch(address, { signal: running.signal, credentials: "same-origin" });
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const fresh = page.getElementById("main");
    if (!fresh) throw new Error("no main part");
    const held = document.activeElement && document.activeElement.name;
    const end = held && document.activeElement.selectionEnd;
    main.replaceWith(document.adoptNode(fresh));
    document.title = page.title;
    const nav = page.querySelector("body > header nav");
    if (nav) document.querySelector("body > header nav").replaceWith(document.adoptNode(nav));
    if (keep) history.replaceState(null, "", address); else history.pushState(null, "", address);
    if (held) {
      const again = document.querySelector(`#main [name="${CSS.escape(held)}"]:not([type=hidden])`);
      if (again) {
        again.focus({ preventScroll: true });
        if (typeof end === "number" && again.setSelectionRange) again.setSelectionRange(end, end);
      }
    }
    wire();
    figures();
    follow();
  } catch (e) {
    if (e.name !== "AbortError") location.assign(address);
  }
}

function address(form) {
  const query = new URLSearchParams(new FormData(form));
  return `${form.getAttribute("action")}?${query}`;
}

function wire() {
  for (const form of document.querySelectorAll("form[data-live]")) {
    if (form.wired) continue;
    form.wired = true;
    let wait = 0;
    form.addEventListener("input", () => {
      clearTimeout(wait);
      wait = setTimeout(() => show(address(form), true), 200);
    });
    form.addEventListener("submit", (e) => {
      e.preventDefault();
      clearTimeout(wait);
      show(address(form), false);
    });
  }
}

window.addEventListener("popstate", () => show(location.href, true));

// Sunlight: black on white at full contrast; or dark. Kept in this browser only.
const light = document.getElementById("light");
const root = document.documentElement;
function paint(as) {
  root.classList.remove("light", "dark");
  if (as) root.classList.add(as);
}
try { paint(localStorage.getItem("light")); } catch { /* private windows keep nothing */ }
if (light) {
  light.hidden = false;
  light.addEventListener("click", () => {
    const next = root.classList.contains("light") ? "dark" : "light";
    paint(next);
    try { localStorage.setItem("light", next); } catch { /* as above */ }
  });
}
wire();
