// Draws what the stream brings. A value that is not fresh is never shown as one.
"use strict";

(() => {
  const at = (id) => document.getElementById(id);
  const NS = "http://www.w3.org/2000/svg";
  const make = (name, attributes, text) => {
    const e = document.createElementNS(NS, name);
    for (const [k, v] of Object.entries(attributes)) e.setAttribute(k, v);
    if (text !== undefined) e.textContent = text;
    return e;
  };
  // A minus sign is no hyphen.
  const minus = (x, n) => x.toFixed(n).replace("-", "\u2212");
  const set = (id, text) => { const e = at(id); if (e && e.textContent !== text) e.textContent = text; };
  const mhz = (f, n = 4) => (f / 1e6).toFixed(n);
  const width = (hz) => hz >= 1e6 ? `${(hz / 1e6).toFixed(2)} MHz` : `${(hz / 1e3).toFixed(1)} kHz`;
  const baud = (b) => b >= 1e6 ? `${b / 1e6} MBd` : `${b / 1e3} kBd`;

  const root = document.querySelector("[data-stream]");
  if (!root) return;

  // Freshness: by this clock, from the moment a value came and the age it had then.
  let came = -Infinity, age = 0, missed = 0, source = "connecting", stale = null;
  function fresh() {
    const old = (performance.now() - came + age) / 1000;
    const now = old > 1;
    if (now !== stale) {
      stale = now;
      document.body.classList.toggle("stale", stale);
      if (stale) quiet();
    }
    set("state", stale
      ? `stale: nothing ${Number.isFinite(old) ? `for ${Math.floor(old)} s` : "yet"} (${source})`
      : `receiving, at most 0.5 s old${missed ? `; ${missed} readings were missed on the way here` : ""}`);
  }
  setInterval(fresh, 200);

  // What waits on a slow way here is old when it comes: its delay over the shortest one seen counts as age, and a way that
  // is seconds behind is taken up anew.
  let shortest = Infinity;
  function late(at) {
    const way = performance.now() - at;
    shortest = Math.min(shortest, way);
    const behind = way - shortest;
    if (behind > 2500) { source = "the connection is behind; trying again"; setTimeout(connect, 0); }
    return behind;
  }

  // The browser's own retry waits for seconds: a dropped link is taken up again at once.
  let events = null, again = 0, heard = performance.now();
  function connect() {
    if (events) events.close();
    shortest = Infinity;
    heard = performance.now();
    events = new EventSource(root.dataset.stream);
    events.addEventListener("reading", (e) => {
      const r = JSON.parse(e.data);
      heard = came = performance.now();
      age = r.age_ms + late(r.at_ms);
      missed += r.missed;
      source = r.source;
      fresh();
      beacons(r);
      if (r.picture) { picture(r.picture); slots(r.picture); }
      if (r.dish) dish(r.dish);
    });
    events.addEventListener("quiet", (e) => { heard = performance.now(); source = JSON.parse(e.data).source; });
    events.onerror = () => { source = "no connection; trying again"; events.close(); clearTimeout(again); again = setTimeout(connect, 700); };
  }
  setInterval(() => { if (performance.now() - heard > 3000) { source = "no connection; trying again"; connect(); } }, 1000);
  connect();

  function rows(id, list) {
    const body = at(id) && at(id).tBodies[0];
    if (!body) return;
    const text = JSON.stringify(list);
    if (body.shown === text) return;
    body.shown = text;
    body.replaceChildren(...list.map((cells) => {
      const tr = document.createElement("tr");
      for (const c of cells) { const td = document.createElement("td"); td.textContent = c; tr.append(td); }
      return tr;
    }));
  }

  let slow = 0;
  function beacons(r) {
    if (!at("beacons") || performance.now() - slow < 240) return;
    slow = performance.now();
    rows("beacons", (r.beacons || []).map((b) => [
      b.id,
      b.seen ? `${minus(b.cn0[0], 1)} ± ${Math.max(b.cn0[1], 0.1).toFixed(1)} dBHz` : "–",
      b.seen ? `${minus(b.level[0], 1)} dBFS` : "–",
      !b.seen ? "not seen" : b.steady ? "steady" : "keyed: goes with its keying",
    ]));
    const own = r.own ? ` Your own carrier is received at ${mhz(r.own)} MHz.` : "";
    const rail = r.clipped > 1e-4 ? " The receiver is overdriven: turn its gain down." : "";
    set("losses", `${r.lost ? `${r.lost_s} s of samples were lost.` : "No samples lost."}${rail}${own}`);
  }

  function slots(p) {
    const free = [], taken = [], rule = [];
    for (const s of p.slots) {
      for (const g of s.free) free.push([mhz(g.lo), mhz(g.hi), width(g.hi - g.lo), g.fits.map(([b, r]) => `${baud(b)} (roll-off ${r})`).join(", ") || "–"]);
      for (const t of s.taken) taken.push([
        `${mhz(t.at)} MHz`, width(t.width), `${minus(t.c_n, 1)} dB`,
        t.beacon || (t.over === null ? "–" : `${minus(t.over, 1)} dB${t.above ? ", above the rule" : ""}`),
      ]);
      if (s.es_n0 !== null) rule.push(`${s.passband}: a carrier at the limit of the rule would have Es/N0 of about ${s.es_n0.toFixed(1)} dB here.`);
    }
    rows("free", free.sort((a, b) => b[1] - b[0] - (a[1] - a[0])).slice(0, 12));
    rows("taken", taken);
    set("rule", rule.join(" ") || (p.downlink ? "" : "The satellite is not found yet: frequencies are the receiver's."));
  }

  let W = 960;
  const H = 340, L = 46, R = 8, T = 50, B = 34;
  let drawn = null;
  function picture(p) {
    if (root.id !== "spectrum" || !p.density.length) return;
    drawn = p;
    // As wide as it is shown, so that its text has the size of text on a phone too.
    W = Math.max(320, Math.min(1040, Math.round(root.clientWidth) || 960));
    const values = [...p.density].sort((a, b) => a - b);
    const lo = Math.floor((values[Math.floor(values.length * 0.02)] - 2) / 5) * 5;
    const hi = Math.max(lo + 15, Math.ceil((values[values.length - 1] + 2) / 5) * 5);
    const x = (f) => L + (W - L - R) * (f - p.lo) / (p.hi - p.lo);
    const y = (d) => H - B - (H - T - B) * (Math.min(Math.max(d, lo), hi) - lo) / (hi - lo);
    const path = (v) => v.map((d, i) => `${i ? "L" : "M"}${(L + (W - L - R) * i / (v.length - 1)).toFixed(1)} ${y(d).toFixed(1)}`).join("");
    const svg = make("svg", { viewBox: `0 0 ${W} ${H}`, role: "img", "aria-label": "power density over frequency; beacons marked, free stretches shaded" });
    for (const s of p.slots) for (const g of s.free) {
      svg.append(make("rect", { class: "free", x: x(g.lo), y: T, width: Math.max(x(g.hi) - x(g.lo), 0), height: H - T - B }));
    }
    for (let d = lo; d <= hi; d += 5) {
      svg.append(make("line", { class: "grid", x1: L, x2: W - R, y1: y(d), y2: y(d) }));
      svg.append(make("text", { x: L - 5, y: y(d) + 4, "text-anchor": "end" }, String(d).replace("-", "\u2212")));
    }
    const span = p.hi - p.lo, step = [1e3, 2e3, 5e3, 1e4, 2e4, 5e4, 1e5, 2e5, 5e5, 1e6, 2e6, 5e6].find((s) => span / s < Math.max(W / 90, 3)) || 1e7;
    for (let f = Math.ceil(p.lo / step) * step; f < p.hi; f += step) {
      svg.append(make("line", { class: "grid", x1: x(f), x2: x(f), y1: T, y2: H - B }));
      svg.append(make("text", { x: x(f), y: H - B + 15, "text-anchor": "middle" }, mhz(f, step < 1e5 ? 3 : 2)));
    }
    svg.append(make("text", { x: W - R, y: H - 4, "text-anchor": "end" }, p.downlink ? "downlink, MHz" : "receiver, MHz"));
    svg.append(make("text", { x: 2, y: 12 }, "dBFS/Hz"));
    svg.append(make("path", { class: "floor", d: path(p.floor) }), make("path", { class: "trace", d: path(p.density) }));
    // Names that would touch stand on two lines.
    const ends = [-Infinity, -Infinity];
    for (const [name, f] of [...p.marks].sort((a, b) => a[1] - b[1])) {
      svg.append(make("line", { class: "mark", x1: x(f), x2: x(f), y1: T - 4, y2: H - B }));
      const end = x(f) > W * 0.7;
      const long = 6.6 * name.length, from = end ? x(f) - long : x(f);
      const line = from > ends[0] + 6 ? 0 : 1;
      ends[line] = from + long;
      svg.append(make("text", { class: "mark", x: x(f), y: T - 8 - 15 * line, "text-anchor": end ? "end" : "start" }, name));
    }
    root.replaceChildren(svg);
  }
  root.addEventListener("pointermove", (e) => {
    const svg = root.querySelector("svg");
    if (!svg || !drawn) return;
    const box = svg.getBoundingClientRect();
    read(((e.clientX - box.left) / box.width * W - L) / (W - L - R));
  });
  let cursor = 0.5;
  function read(part) {
    if (!drawn || !(part >= 0 && part <= 1)) return;
    cursor = part;
    const i = Math.round(part * (drawn.density.length - 1));
    set("hover", `${mhz(drawn.lo + part * (drawn.hi - drawn.lo))} MHz: ${minus(drawn.density[i], 1)} dBFS/Hz, ${minus(drawn.density[i] - drawn.floor[i], 1)} dB over the floor`);
  }
  if (root.id === "spectrum") {
    root.setAttribute("tabindex", "0");
    root.setAttribute("role", "group");
    root.setAttribute("aria-label", "spectrum: the arrow keys read it");
    root.addEventListener("keydown", (e) => {
      const step = { ArrowLeft: -0.005, ArrowRight: 0.005, PageUp: -0.1, PageDown: 0.1 }[e.key];
      if (step === undefined) return;
      e.preventDefault();
      read(Math.min(Math.max(cursor + step, 0), 1));
    });
  }

  // ---- at the dish ----
  function quiet() {
    if (root.id !== "dish") return;
    root.dataset.doing = "wait";
    set("say", "No fresh value");
    set("detail", "Do not turn by what stood here. It goes on by itself when values arrive.");
    set("level", "–");
    pitch(null);
  }

  function dish(d) {
    root.dataset.doing = d.doing;
    set("say", d.text);
    set("detail", d.detail);
    set("found", d.found);
    set("level", d.level ? `${minus(d.level[0], 1)} ± ${Math.max(d.level[1], 0.1).toFixed(1)}` : "–");
    set("unit", d.level ? d.level[2] : "");
    set("peak", d.peak === null ? "–" : `${minus(d.peak, 1)} ${d.level ? d.level[2] : ""}`);
    set("left", d.left ? `${d.left[0].toFixed(1)} dB, at most ${d.left[1].toFixed(1)} dB` : "–");
    const learned = d.per_turn
      ? `${d.holds} holds. A turn moves the dish ${d.per_turn[0][0].toFixed(2)} ± ${d.per_turn[0][1].toFixed(2)} deg in azimuth, ${d.per_turn[1][0].toFixed(2)} ± ${d.per_turn[1][1].toFixed(2)} deg in elevation.`
      : `${d.holds} holds.`;
    set("learned", learned);
    if (d.cross) set("cross", `${d.cross.beacon}: ${d.cross.seen ? `${minus(d.cross.now, 1)} dBHz` : "below the noise, which is as good as can be seen"}; lowest so far ${minus(d.cross.lowest, 1)} dBHz.`);
    at("supply").hidden = d.doing !== "disconnect";
    const asked = at("asked");
    asked.hidden = !d.step;
    if (d.step) {
      asked.elements.axis.value = d.step.axis;
      asked.elements.turns.value = d.step.turns;
      const button = asked.querySelector("button");
      if (button.textContent !== "Done: I turned it so") button.textContent = "Done: I turned it so";
    }
    history(d);
    pitch(d);
  }

  function history(d) {
    const box = at("history");
    const known = d.history.filter((v) => v !== null);
    if (!box || known.length < 2) return;
    const top = Math.max(...known, d.peak === null ? -Infinity : d.peak) + 0.5;
    const low = Math.min(Math.min(...known) - 0.5, top - 3);
    const w = Math.max(240, Math.min(1040, Math.round(box.clientWidth) || 600)), h = 130;
    const y = (v) => h - 4 - (h - 8) * (v - low) / (top - low);
    const svg = make("svg", { viewBox: `0 0 ${w} ${h}` });
    let path = "", pen = false;
    d.history.forEach((v, i) => {
      if (v === null) { pen = false; return; }
      path += `${pen ? "L" : "M"}${(w - (d.history.length - 1 - i) * w / 120).toFixed(1)} ${y(v).toFixed(1)}`;
      pen = true;
    });
    svg.append(make("path", { class: "trace", d: path }));
    if (d.peak !== null) svg.append(make("line", { class: "mark", x1: 0, x2: w, y1: y(d.peak), y2: y(d.peak) }));
    svg.append(make("text", { x: 4, y: 14 }, `${minus(top, 1)} dB`), make("text", { x: 4, y: h - 6 }, `${minus(low, 1)} dB, two minutes`));
    box.replaceChildren(svg);
  }

  // A tone that rises with the level: one octave for 4 dB, so that a tenth of a decibel can be heard.
  let sound = null, voice = null, loud = null;
  function pitch(d) {
    if (!sound) return;
    const now = sound.currentTime;
    if (!d || !d.level || d.doing === "stop") {
      loud.gain.setTargetAtTime(d && d.doing === "stop" ? 0.25 : 0, now, 0.03);
      if (d && d.doing === "stop") voice.frequency.setTargetAtTime(Math.floor(now * 4) % 2 ? 900 : 600, now, 0.01);
      return;
    }
    const best = d.fitted ? Math.max(d.fitted[0], d.peak || -Infinity) : d.peak;
    const below = best === null ? 0 : d.level[0] - best;
    voice.frequency.setTargetAtTime(Math.min(Math.max(1200 * 2 ** (below / 4), 80), 2400), now, 0.05);
    loud.gain.setTargetAtTime(0.15, now, 0.05);
  }
  const tone = at("tone");
  if (tone) tone.addEventListener("click", () => {
    if (sound) { sound.close(); sound = null; }
    else {
      sound = new AudioContext();
      voice = sound.createOscillator();
      loud = sound.createGain();
      loud.gain.value = 0;
      voice.connect(loud).connect(sound.destination);
      voice.start();
    }
    tone.setAttribute("aria-pressed", String(!!sound));
    tone.textContent = sound ? "Tone: on" : "Tone: off";
  });

  const awake = at("awake");
  if (awake && "wakeLock" in navigator) {
    let lock = null;
    awake.hidden = false;
    const hold = async () => { try { lock = await navigator.wakeLock.request("screen"); } catch { lock = null; } };
    awake.addEventListener("click", async () => {
      if (lock) { await lock.release(); lock = null; } else await hold();
      awake.setAttribute("aria-pressed", String(!!lock));
      awake.textContent = lock ? "The screen stays on" : "Keep the screen on";
    });
    document.addEventListener("visibilitychange", () => { if (lock && document.visibilityState === "visible") hold(); });
  }

  if (root.id === "dish") root.addEventListener("submit", async (e) => {
    e.preventDefault();
    const form = e.target, button = form.querySelector("button");
    button.disabled = true;
    try {
      const answer = await fetch(form.action, { method: "POST", body: new URLSearchParams(new FormData(form)), redirect: "manual" });
      if (answer.type !== "opaqueredirect" && !answer.ok) throw new Error(String(answer.status));
      button.classList.add("done");
      setTimeout(() => button.classList.remove("done"), 600);
    } catch {
      set("detail", "That press did not reach the station computer. Press again.");
    }
    button.disabled = false;
  });
})();
