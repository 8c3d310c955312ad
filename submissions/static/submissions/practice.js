// The practice page: tempo, loop, count-off and levels; the bar being played lit in the sheet. After loading, no network.

import { Player, makeGrid, makeLoop } from "./practice-core.js";

const root = document.querySelector("[data-practice]");
if (root) open(root).catch(() => { root.querySelector("[data-says]").textContent = root.dataset.failed; });

async function open(page) {
  const find = (name) => page.querySelector(`[data-${name}]`);
  const says = find("says"), play = find("play"), place = find("place");
  const form = find("choices");
  const [part, sheet] = await Promise.all([
    fetch(page.dataset.part).then((answer) => answer.json()),
    fetch(page.dataset.sheet).then((answer) => answer.text()),
  ]);
  const staves = showSheet(find("staves"), sheet);
  const state = { grid: null, player: null, timer: 0, lit: null, awake: null };

  fillTempi(find("tempi"), part, page.dataset.askedBpm);
  fillBars(form.elements.from, part, 0);
  fillBars(form.elements.to, part, part.bars.length - 1);
  form.elements.count.value = String(Math.min(2, part.count_off_bars || 1));
  askedLoop(form, part, page.dataset.askedBars);
  play.disabled = false;
  says.textContent = page.dataset.ready;
  markLoop();

  function range() {
    const from = Number(form.elements.from.value), to = Number(form.elements.to.value);
    return { from: Math.min(from, to), to: Math.max(from, to) };
  }

  function start() {
    state.player ??= new Player(new AudioContext({ latencyHint: "interactive" }));
    const { player } = state;
    player.context.resume();
    level();
    state.grid = makeGrid(part, Number(form.elements.bpm.value));
    const loop = makeLoop(state.grid, { ...range(), countOff: Number(form.elements.count.value), subdivide: form.elements.subdivide.checked });
    player.start(loop, form.elements.repeat.checked);
    clearInterval(state.timer);
    state.timer = setInterval(tick, 40);
    play.setAttribute("aria-pressed", "true");
    play.textContent = page.dataset.wordStop;
    says.textContent = "";
    navigator.wakeLock?.request("screen").then((lock) => { state.awake = lock; }, () => {});
    requestAnimationFrame(follow);
  }

  // Timers of a page in the background come once a second: look further ahead there, from the moment it goes.
  function tick() { state.player?.tick(document.hidden ? 2.5 : 0.25); }

  function stop() {
    clearInterval(state.timer);
    state.player?.stop();
    state.awake?.release();
    state.awake = null;
    play.setAttribute("aria-pressed", "false");
    play.textContent = page.dataset.wordPlay;
    place.textContent = "";
    light(null);
  }

  function follow() {
    const { player, grid } = state;
    if (!player?.playing) return;
    const heard = player.context.currentTime - (player.context.outputLatency || player.context.baseLatency || 0);
    const now = player.position(heard);
    if (!now) { stop(); return; }
    show(now, grid);
    requestAnimationFrame(follow);
  }

  function show(now, grid) {
    const { from } = range();
    const at_s = now.at_s + grid.bars[from].start_s;
    if (now.lead) {
      const beats = state.player.loop.lead.filter((beat) => beat.at_s <= now.at_s);
      const perBar = state.player.loop.lead.length / Math.max(1, Number(form.elements.count.value));
      place.textContent = beats.length ? `${page.dataset.wordCountOff} ${((beats.length - 1) % perBar) + 1}` : page.dataset.wordCountOff;
      light(null);
      return;
    }
    const bar = grid.bars.find((b) => at_s < b.stop_s) ?? grid.bars[grid.bars.length - 1];
    const beat = grid.beats.filter((b) => b.bar === bar.index && b.at_s <= at_s + 1e-6).length;
    place.textContent = `${page.dataset.wordBar} ${bar.number}${beat ? ` · ${beat}` : ""}`;
    light(bar.id);
  }

  function light(id) {
    if (state.lit === id) return;
    staves.get(state.lit)?.classList.remove("playing");
    const stave = staves.get(id);
    stave?.classList.add("playing");
    if (stave && !inView(stave)) stave.scrollIntoView({ block: "center", behavior: matchMedia("(prefers-reduced-motion: reduce)").matches ? "auto" : "smooth" });
    state.lit = id;
  }

  function markLoop() {
    const { from, to } = range();
    const inside = new Set(part.bars.slice(from, to + 1).map((bar) => bar.id));
    const whole = from === 0 && to === part.bars.length - 1;
    for (const [id, stave] of staves) stave.classList.toggle("chosen", !whole && inside.has(id));
  }

  function level() {
    if (!state.player) return;
    const now = state.player.context.currentTime;
    // The square makes a slider's middle sound like half as loud.
    state.player.clicks.gain.setTargetAtTime((Number(form.elements.click.value) / 100) ** 2, now, 0.02);
    state.player.guide.gain.setTargetAtTime((Number(form.elements.guide.value) / 100) ** 2, now, 0.02);
  }

  form.addEventListener("submit", (event) => event.preventDefault());
  play.addEventListener("click", () => (state.player?.playing ? stop() : start()));
  form.addEventListener("input", (event) => {
    if (event.target.type === "range") { level(); return; }
    markLoop();
    if (state.player?.playing) start();
  });
  find("whole").addEventListener("click", () => { form.elements.from.value = "0"; form.elements.to.value = String(part.bars.length - 1); form.dispatchEvent(new Event("input")); });
  for (const [id, stave] of staves) stave.addEventListener("click", () => tapped(id));
  addEventListener("pagehide", stop);
  document.addEventListener("visibilitychange", tick);

  function tapped(id) {
    const index = part.bars.findIndex((bar) => bar.id === id);
    if (index < 0) return;
    const { from, to } = range();
    if (from === to && index > from) form.elements.to.value = String(index);
    else { form.elements.from.value = String(index); form.elements.to.value = String(index); }
    form.dispatchEvent(new Event("input"));
  }
}

/** Put the engraved sheet into the page; Map of measure id to the rectangle that lights it. */
function showSheet(holder, text) {
  const svg = document.importNode(new DOMParser().parseFromString(text, "image/svg+xml").documentElement, true);
  svg.querySelectorAll("script, foreignObject").forEach((node) => node.remove());
  svg.removeAttribute("width");
  svg.removeAttribute("height");
  holder.replaceChildren(svg);
  const staves = new Map();
  for (const measure of svg.querySelectorAll("g.measure")) {
    const staff = measure.querySelector("g.staff") ?? measure;
    const box = staff.getBBox(), lines = staffLines(staff) ?? box;
    const pad = lines.height * 0.45;
    const light = document.createElementNS(svg.namespaceURI, "rect");
    const set = { x: lines.x, width: lines.width, y: Math.min(box.y, lines.y) - pad * 0.4, height: lines.height + lines.y - Math.min(box.y, lines.y) + pad };
    for (const [name, number] of Object.entries(set)) light.setAttribute(name, String(number));
    light.setAttribute("class", "stave");
    measure.prepend(light);
    staves.set(measure.id, light);
  }
  return staves;
}

/** The box of the five lines alone: beams and signs outside it must not make one bar's light taller than the next. */
function staffLines(staff) {
  const boxes = [...staff.children].filter((node) => node.tagName === "path").map((node) => node.getBBox());
  if (!boxes.length) return null;
  const y = Math.min(...boxes.map((b) => b.y)), stop = Math.max(...boxes.map((b) => b.y + b.height));
  return { x: boxes[0].x, width: boxes[0].width, y, height: stop - y };
}

function inView(node) {
  const box = node.getBoundingClientRect();
  return box.top > 0 && box.bottom < innerHeight * 0.7;
}

function fillTempi(holder, part, asked) {
  const wanted = part.bpm.reduce((best, bpm) => (Math.abs(bpm - Number(asked)) < Math.abs(best - Number(asked)) ? bpm : best), part.bpm[0]);
  for (const bpm of part.bpm) {
    const label = document.createElement("label"), radio = document.createElement("input"), word = document.createElement("span");
    Object.assign(radio, { type: "radio", name: "bpm", value: String(bpm), checked: bpm === (asked ? wanted : part.bpm[0]) });
    word.textContent = String(Math.round(bpm * 100) / 100);
    label.append(radio, word);
    holder.append(label);
  }
}

function fillBars(select, part, chosen) {
  const times = new Map();
  part.bars.forEach((bar, index) => {
    const time = (times.get(bar.number) ?? 0) + 1;
    times.set(bar.number, time);
    select.append(new Option(time > 1 ? `${bar.number} (${time}.)` : String(bar.number), String(index), index === chosen, index === chosen));
  });
}

/** A link may ask for bars to work on: the loop runs from the first to the last of them. */
function askedLoop(form, part, asked) {
  const wanted = (asked || "").split(",").filter(Boolean).map((n) => part.bars.findIndex((bar) => bar.number === Number(n))).filter((n) => n >= 0);
  if (!wanted.length) return;
  form.elements.from.value = String(Math.min(...wanted));
  form.elements.to.value = String(Math.max(...wanted));
}
