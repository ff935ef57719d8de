// What a page must keep so that everybody can use it; returns what it does not. Rules of WCAG 2.2, numbers beside them.
const wrong = [];
const say = (rule, e, more) => wrong.push(`${rule}: ${e ? e.outerHTML.slice(0, 140) : ""} ${more || ""}`);
const all = (css) => [...document.querySelectorAll(css)];
const seen = (e) => e.getClientRects().length > 0 && getComputedStyle(e).visibility !== "hidden";
const named = (e) => {
  const by = (e.getAttribute("aria-labelledby") || "").split(/\s+/).map((i) => document.getElementById(i)).filter(Boolean);
  const title = e.querySelector(":scope > title");
  return (e.getAttribute("aria-label") || by.map((b) => b.textContent).join(" ") || e.getAttribute("alt") || (title && title.textContent) || e.textContent || "").trim();
};

// 3.1.1, 2.4.2, 1.3.1, 2.4.1
if (!document.documentElement.lang) say("no language", document.documentElement);
if (!document.title.trim()) say("no title");
if (all("main").length !== 1) say("not one main");
if (!all("body > header").length) say("no header");
for (const n of all("nav")) if (!n.getAttribute("aria-label")) say("nav without a name", n);
if (!all("a[href='#main']").length) say("no way past the heading");

// 1.3.1: one h1, no level left out
const heads = all("h1, h2, h3, h4, h5, h6").filter(seen);
if (heads.filter((h) => h.tagName === "H1").length !== 1) say("not one h1", null, heads.map((h) => h.tagName).join(" "));
heads.reduce((before, h) => {
  const level = Number(h.tagName[1]);
  if (level > before + 1) say("a heading level is left out", h);
  if (!h.textContent.trim()) say("an empty heading", h);
  return level;
}, 0);

// 4.1.2, 3.3.2, 1.1.1
for (const e of all("input:not([type=hidden]), select, textarea")) {
  const labels = [...(e.labels || [])].map((l) => l.textContent.trim()).join("");
  if (!labels && !e.getAttribute("aria-label")) say("a field without a label", e);
}
for (const e of all("button, a[href], summary")) if (seen(e) && !named(e)) say("a control without a name", e);
for (const e of all("img, svg, [role=img]")) if (!e.closest("[aria-hidden=true]") && !named(e)) say("an image without a name", e);
for (const e of all("[aria-labelledby], [aria-describedby]")) {
  for (const id of (e.getAttribute("aria-labelledby") || e.getAttribute("aria-describedby")).split(/\s+/)) {
    if (!document.getElementById(id)) say("a name that points nowhere", e);
  }
}
for (const e of all("[aria-hidden=true] a, [aria-hidden=true] button, [aria-hidden=true] [tabindex='0']")) say("hidden, but reached by keys", e);
for (const e of all("[tabindex]")) if (e.tabIndex > 0) say("an order of its own", e);

// 4.1.1 (of 2.1): identities
const ids = new Set();
for (const e of all("[id]")) { if (ids.has(e.id)) say("an identity twice", e); ids.add(e.id); }

// 1.3.1: tables and lists
for (const t of all("table")) if (!t.querySelector("th")) say("a table without headings", t);
for (const l of all("ul, ol")) for (const c of l.children) if (c.tagName !== "LI") say("a list of something else", l);
for (const d of all("dl")) for (const c of d.children) if (!["DT", "DD", "DIV"].includes(c.tagName)) say("a description list of something else", d);

// 2.5.8: 24 px
for (const e of all("button, input:not([type=hidden]), select, summary")) {
  const box = e.getBoundingClientRect();
  if (seen(e) && (box.height < 24 || box.width < 24)) say("too small to hit", e, `${box.width} x ${box.height}`);
}

// 1.4.3 and 1.4.11
const parse = (text) => {
  const n = (text.match(/[\d.]+/g) || []).map(Number);
  return text.startsWith("rgb") && n.length >= 3 ? [n[0], n[1], n[2], n.length > 3 ? n[3] : 1] : null;
};
const over = (top, below) => top.slice(0, 3).map((v, i) => v * top[3] + below[i] * (1 - top[3])).concat(1);
const ground = (e) => {
  const layers = [];
  for (let x = e; x; x = x.parentElement) {
    const c = parse(getComputedStyle(x).backgroundColor);
    if (c && c[3] > 0) { layers.push(c); if (c[3] === 1) break; }
  }
  return layers.reverse().reduce((below, c) => over(c, below), [255, 255, 255, 1]);
};
const light = (c) => {
  const [r, g, b] = c.map((v) => { const s = v / 255; return s <= 0.04045 ? s / 12.92 : ((s + 0.055) / 1.055) ** 2.4; });
  return 0.2126 * r + 0.7152 * g + 0.0722 * b;
};
const ratio = (a, b) => { const [x, y] = [light(a), light(b)].sort((p, q) => q - p); return (x + 0.05) / (y + 0.05); };
const texts = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
const told = new Set();
for (let t = texts.nextNode(); t; t = texts.nextNode()) {
  const e = t.parentElement;
  if (!t.textContent.trim() || told.has(e) || !seen(e) || e.closest("title, script, style, noscript, option, [disabled]")) continue;
  told.add(e);
  const style = getComputedStyle(e);
  const colour = parse(e instanceof SVGElement ? style.fill : style.color);
  if (!colour) continue;
  const below = ground(e);
  const size = parseFloat(style.fontSize), bold = Number(style.fontWeight) >= 700;
  const least = size >= 24 || (size >= 18.66 && bold) ? 3 : 4.5;
  const found = ratio(over(colour, below), below);
  if (found < least) say("too little contrast", e, `${found.toFixed(2)} of ${least}`);
}
return wrong;
