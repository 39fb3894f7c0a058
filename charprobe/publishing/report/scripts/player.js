"use strict";
// In a player all sounds run together from one start; switching only moves which of them is let through.
(() => {
  const CROSS_S = 0.008;
  const players = [...document.querySelectorAll(".player")].map((box) => {
    const seats = [...box.querySelectorAll(".seat")];
    const play = box.querySelector(".play"), where = box.querySelector(".where"), heard = box.querySelector(".heard");
    let context = null, buffers = null, running = null, chosen = 0, rest = 0;
    box.hidden = false;

    const sounds = () => new Promise((done, failed) => {
      const name = box.dataset.sounds, inside = document.getElementById(`${name}-data`);
      if (inside) { done(JSON.parse(inside.textContent)); return; }
      const file = document.createElement("script");
      file.src = box.dataset.beside;
      file.onload = () => done(globalThis.pageSounds[name]);
      file.onerror = () => failed(new Error("the folder of sounds is not beside this page"));
      document.head.append(file);
    });

    async function ready() {
      if (buffers) return;
      heard.textContent = "loading…";
      const rows = await sounds();
      context = new AudioContext();
      buffers = await Promise.all(rows.map((row) =>
        context.decodeAudioData(Uint8Array.from(atob(row.code), (c) => c.charCodeAt(0)).buffer)));
    }
    const length = () => buffers[0].duration;
    const place = () => (running ? (context.currentTime - running.from) % length() : rest);

    function start(at) {
      stop();
      players.forEach((other) => { if (other.box !== box) other.stop(); });
      const when = context.currentTime + 0.02;
      const parts = buffers.map((buffer, index) => {
        const source = context.createBufferSource(), gain = context.createGain();
        source.buffer = buffer;
        source.loop = true;
        gain.gain.value = index === chosen ? 1 : 0;
        source.connect(gain).connect(context.destination);
        source.start(when, at);
        return { source, gain };
      });
      running = { parts, from: when - at };
      show();
    }
    function stop() {
      if (!running) return;
      rest = place();
      running.parts.forEach((part) => { part.source.stop(); part.source.disconnect(); part.gain.disconnect(); });
      running = null;
      show();
    }
    function choose(index) {
      if (index < 0 || index >= seats.length) return;
      chosen = index;
      if (running) running.parts.forEach((part, number) => {
        const now = context.currentTime;
        part.gain.gain.cancelScheduledValues(now);
        part.gain.gain.setValueAtTime(part.gain.gain.value, now);
        part.gain.gain.linearRampToValueAtTime(number === chosen ? 1 : 0, now + CROSS_S);
      });
      show();
    }
    function show() {
      seats.forEach((seat, index) => {
        seat.setAttribute("aria-checked", String(index === chosen));
        seat.tabIndex = index === chosen ? 0 : -1;
      });
      play.textContent = running ? "Pause" : "Play";
      box.dataset.state = running ? "playing" : "paused";
      box.dataset.chosen = String(chosen);
      heard.textContent = buffers ? `${place().toFixed(1)} of ${length().toFixed(1)} s` : "";
    }
    async function toggle() {
      try {
        await ready();
        await context.resume();
        if (running) stop(); else start(rest);
      } catch (error) { heard.textContent = `Cannot play: ${error.message}`; }
    }
    const go = (to) => {
      if (!buffers) return;
      if (running) start(to); else { rest = to; show(); }
    };
    const move = (by) => { if (buffers) go((place() + by + length()) % length()); };
    play.addEventListener("click", toggle);
    seats.forEach((seat, index) => seat.addEventListener("click", () => choose(index)));
    where.addEventListener("input", () => { if (buffers) go((where.value / 1000) * length() * 0.9999); });
    setInterval(() => {
      if (!running) return;
      where.value = String(Math.round((1000 * place()) / length()));
      show();
    }, 200);
    show();
    return { box, seats, play, where, toggle, choose, move, stop };
  });

  // Keys go to the player that was used last; at first to the first.
  let used = players[0];
  players.forEach((one) => ["pointerdown", "focusin"].forEach((what) => one.box.addEventListener(what, () => { used = one; })));
  document.addEventListener("keydown", (event) => {
    const target = event.target;
    if (!used || event.ctrlKey || event.metaKey || event.altKey || !(target === document.body || used.box.contains(target))) return;
    if (event.key === " " && target !== used.play) { event.preventDefault(); used.toggle(); }
    else if (/^[0-9]$/.test(event.key) && used.seats[event.key]) { used.choose(Number(event.key)); used.seats[event.key].focus({ preventScroll: true }); }
    else if ((event.key === "ArrowLeft" || event.key === "ArrowRight") && target !== used.where) {
      event.preventDefault();
      used.move(event.key === "ArrowLeft" ? -2 : 2);
    }
  });
})();
