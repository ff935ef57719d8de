// At the dish: the phone lies on the dish, and gravity tells by how much a turn of the elevation bolt tilts it. Only secure
// pages are given the sensors; what is lost without them is said.
"use strict";

(() => {
  const root = document.getElementById("dish");
  if (!root) return;
  const lost = document.getElementById("lost"), button = document.getElementById("tilt"), said = document.getElementById("tilt-said");
  const missing = [];
  if (!("wakeLock" in navigator)) missing.push("The screen cannot be kept on: it may go dark while you work.");
  if (!("DeviceOrientationEvent" in window)) missing.push("Tilt cannot be read: degrees per turn are learned from the levels alone, which takes more turns.");
  if (!window.isSecureContext) missing.push("Both need the secure page: start with --lan and come in by its code.");
  if (missing.length) { lost.textContent = missing.join(" "); lost.hidden = false; }
  if (!window.isSecureContext || !("DeviceOrientationEvent" in window)) return;
  button.hidden = false;

  // What is up in the phone's own frame (W3C Device Orientation, Z-X'-Y'' angles: third row of the rotation).
  const up = (e) => {
    const b = e.beta * Math.PI / 180, g = e.gamma * Math.PI / 180;
    return [-Math.cos(b) * Math.sin(g), Math.sin(b), Math.cos(b) * Math.cos(g)];
  };
  const angle = (a, b) => {
    const dot = a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
    const cross = Math.hypot(a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]);
    return Math.atan2(cross, dot) * 180 / Math.PI;
  };
  // Pressing shakes the phone: it is read from two to four seconds after a press.
  const FROM = 2000, TO = 4000;
  let on = false, pressed = 0, turns = 0, sum = [0, 0, 0], n = 0, rest = null, last = null, heard = 0;
  const begin = (by) => { pressed = performance.now(); turns += by; sum = [0, 0, 0]; n = 0; };
  const say = (t) => { if (said.textContent !== t) said.textContent = t; };

  function sample(e) {
    if (e.beta === null || e.gamma === null) return;
    heard = performance.now();
    last = up(e);
    const t = heard - pressed;
    if (t < FROM) { say("Tilt: hands off for a moment."); return; }
    if (t <= TO) { sum = sum.map((v, i) => v + last[i]); n += 1; return; }
    if (!n) return;
    const size = Math.hypot(...sum), now = sum.map((v) => v / size);
    n = 0;
    const before = rest, by = turns;
    rest = now;
    turns = 0;
    if (before && by) learned(by, angle(before, now));
    else say("Tilt is read. Leave the phone where it lies, turn the elevation bolt, then press Done.");
  }

  async function learned(by, degrees) {
    try {
      const answer = await fetch("/dish/tilt", { method: "POST", body: new URLSearchParams({ turns: by, degrees: degrees.toFixed(3) }), credentials: "same-origin" });
      say(await answer.text());
    } catch { say("The tilt did not reach the station computer."); }
  }

  button.addEventListener("click", async () => {
    if (on) {
      window.removeEventListener("deviceorientation", sample);
      on = false; rest = null; turns = 0;
      say("");
    } else {
      // Some phones ask the person first.
      const ask = DeviceOrientationEvent.requestPermission;
      if (ask && await ask.call(DeviceOrientationEvent).catch(() => "denied") !== "granted") { say("The phone does not give its tilt."); return; }
      window.addEventListener("deviceorientation", sample);
      on = true;
      begin(0);
      say("Lay the phone flat on the dish or its arm, so that it tilts with it.");
      const since = performance.now();
      setTimeout(() => { if (on && heard < since) say("No tilt arrives: this device has no such sensor."); }, 5000);
    }
    button.setAttribute("aria-pressed", String(on));
    button.textContent = on ? "Tilt: on" : "Tilt: off";
  });
  root.addEventListener("submit", (e) => {
    if (!on || !e.target.action.endsWith("/dish/turn")) return;
    const by = e.target.elements.axis.value === "elevation" ? Number(e.target.elements.turns.value) : 0;
    begin(Number.isFinite(by) ? by : 0);
  }, true);
})();
