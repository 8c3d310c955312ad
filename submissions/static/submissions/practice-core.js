// The practice page's clock and sounds, free of any page: works on a live and on an offline audio context alike.
//
// Conventions: positions are [numerator, denominator] of a quarter from zero, as practice.json gives them; `_s` seconds.
// Every time is computed from the ratio and the pass number, never added up, so that it cannot drift.

export const CLICK = {
  down: { from: 3000, to: 2200, peak: 10 ** (-9 / 20) }, // the downloaded click's own wave and levels
  beat: { from: 2200, to: 1600, peak: 10 ** (-12 / 20) },
  sub: { from: 1600, to: 1200, peak: 10 ** (-20 / 20) },
};
const CLICK_S = 0.016;
const BUZZ_EVERY_S = 0.028; // bounces closer than about 30 ms run into one sound
const FADE_IN_S = 1.0; // nothing starts at full level

const value = ([numerator, denominator]) => numerator / denominator;
const lastIndex = (list, holds) => list.reduce((found, item, n) => (holds(item) ? n : found), -1); // for older phones

/** The part's bars, beats and strokes in seconds from zero at bpm clicked beats a minute. */
export function makeGrid(part, bpm) {
  const scale = bpm / part.performance_bpm;
  const tempi = part.tempi.map((t) => ({ at: value(t.at), quarter_s: 60 / (value(t.qpm) * scale) }));
  const after = (from, to, s) => s + (to.at - from.at) * from.quarter_s;
  const zero = lastIndex(tempi, (t) => t.at <= 0);
  const seconds = new Array(tempi.length).fill(0);
  const first = Math.max(0, zero);
  seconds[first] = tempi[first].at * tempi[first].quarter_s; // zero itself is 0 s
  for (let n = first + 1; n < tempi.length; n++) seconds[n] = after(tempi[n - 1], tempi[n], seconds[n - 1]);
  for (let n = first - 1; n >= 0; n--) seconds[n] = seconds[n + 1] - (tempi[n + 1].at - tempi[n].at) * tempi[n].quarter_s;
  const tempoAt = (q) => Math.max(0, lastIndex(tempi, (t) => t.at <= q));
  const at = (q) => { const n = tempoAt(q); return seconds[n] + (q - tempi[n].at) * tempi[n].quarter_s; };
  const bars = part.bars.map((bar, index) => {
    const start = value(bar.at), stop = start + value(bar.length);
    return { ...bar, index, at_q: start, length_q: value(bar.length), start_s: at(start), stop_s: at(stop), quarter_s: tempi[tempoAt(start)].quarter_s };
  });
  const beats = part.beats.map((beat) => ({ at_q: value(beat.at), at_s: at(value(beat.at)), bar: beat.bar, down: beat.down }));
  const strokes = part.strokes.map((s) => {
    const q = value(s.at);
    return { ...s, at_s: at(q) - s.ahead_s, length_s: at(q + value(s.length)) - at(q) };
  });
  return { bpm, bars, beats, strokes, end_s: at(value(part.end)) };
}

/** Everything that sounds in bars from..to (indices, inclusive): { lead_s, length_s, lead: [...], pass: [...] }.
 *  `pass` is in seconds from the loop's first instant and repeats every length_s; `lead` is the count-off, before it. */
export function makeLoop(grid, { from = 0, to = grid.bars.length - 1, countOff = 1, subdivide = false } = {}) {
  const start_s = grid.bars[from].start_s, stop_s = grid.bars[to].stop_s;
  const pass = [];
  grid.beats.forEach((beat, n) => {
    if (beat.bar < from || beat.bar > to) return;
    pass.push({ at_s: beat.at_s - start_s, click: beat.down ? "down" : "beat", bar: beat.bar });
    if (!subdivide) return;
    const next = n + 1 < grid.beats.length ? grid.beats[n + 1].at_s : grid.end_s;
    const quarters = Math.round(((next - beat.at_s) / grid.bars[beat.bar].quarter_s) * 2);
    const pieces = quarters % 3 === 0 ? 3 : 2;
    for (let k = 1; k < pieces; k++) pass.push({ at_s: beat.at_s + ((next - beat.at_s) * k) / pieces - start_s, click: "sub", bar: beat.bar });
  });
  for (const stroke of grid.strokes) {
    if (stroke.bar < from || stroke.bar > to) continue;
    const bounces = stroke.kind === "buzz" ? Math.max(1, Math.floor(stroke.length_s / BUZZ_EVERY_S)) : 1;
    for (let k = 0; k < bounces; k++) {
      pass.push({ at_s: stroke.at_s - start_s + k * BUZZ_EVERY_S, drum: stroke.drum, level: stroke.level * (k ? 0.55 : 1), bar: stroke.bar });
    }
  }
  pass.sort((a, b) => a.at_s - b.at_s);
  const anchor = grid.bars.slice(from).find((bar) => bar.at_q >= 0) ?? grid.bars[from]; // a pickup sounds inside the count-off
  const lead = countOffOf(grid, anchor, countOff, start_s);
  const lead_s = Math.max(0, -(lead[0]?.at_s ?? 0), -(pass[0]?.at_s ?? 0));
  return { lead_s, length_s: stop_s - start_s, lead, pass };
}

function countOffOf(grid, anchor, bars, start_s) {
  const inBar = grid.beats.filter((beat) => beat.bar === anchor.index);
  const lead = [];
  for (let back = bars; back > 0; back--) {
    for (const beat of inBar) {
      const before_q = back * anchor.length_q - (beat.at_q - anchor.at_q);
      lead.push({ at_s: anchor.start_s - before_q * anchor.quarter_s - start_s, click: beat.down ? "down" : "beat", bar: -1 });
    }
  }
  return lead;
}

/** Plays a loop on an audio context: call tick() often; it hands over what falls in the next look-ahead. */
export class Player {
  constructor(context, { clickLevel = 0.4, guideLevel = 0.5, lookAhead_s = 0.25, delay_s = 0.15 } = {}) {
    Object.assign(this, { context, lookAhead_s, delay_s, loop: null, repeat: true });
    this.sounds = new Sounds(context.sampleRate);
    this.master = context.createGain();
    this.clicks = context.createGain();
    this.guide = context.createGain();
    this.clicks.connect(this.master);
    this.guide.connect(this.master);
    this.master.connect(context.destination);
    this.clicks.gain.value = clickLevel;
    this.guide.gain.value = guideLevel;
    this.sources = new Set();
    this.panners = new Map();
  }

  /** Begin with the count-off; origin_s is the context time of the loop's first instant. */
  start(loop, repeat = true) {
    this.stop();
    const now = this.context.currentTime;
    this.loop = loop;
    this.repeat = repeat;
    this.origin_s = now + this.delay_s + loop.lead_s;
    this.next = { pass: -1, index: 0 };
    this.master.gain.cancelScheduledValues(now);
    this.master.gain.setValueAtTime(0.1, now);
    this.master.gain.linearRampToValueAtTime(1, now + this.delay_s + FADE_IN_S);
    this.tick();
  }

  stop() {
    for (const source of this.sources) source.stop();
    this.sources.clear();
    this.loop = null;
  }

  get playing() { return this.loop !== null; }

  tick(lookAhead_s = this.lookAhead_s) {
    if (!this.loop) return;
    const until = this.context.currentTime + lookAhead_s;
    for (let due = this.peek(); due && due.when <= until; due = this.peek()) {
      this.sound(due.event, due.when);
      this.next.index += 1;
    }
  }

  /** The next event and its context time: pass -1 is the count-off; pass k starts at origin + k * length. */
  peek() {
    const { loop, next } = this;
    for (;;) {
      const events = next.pass < 0 ? loop.lead : loop.pass;
      if (next.index < events.length) {
        const event = events[next.index];
        return { event, when: this.origin_s + Math.max(0, next.pass) * loop.length_s + event.at_s };
      }
      if (next.pass >= 0 && (!this.repeat || !events.length)) return null;
      next.pass += 1;
      next.index = 0;
    }
  }

  sound(event, when) {
    const source = this.context.createBufferSource();
    if (event.click) {
      source.buffer = this.sounds.click(this.context, event.click);
      source.connect(this.clicks);
    } else {
      const gain = this.context.createGain();
      gain.gain.value = event.level * event.level;
      source.buffer = this.sounds.drum(this.context, event.drum);
      source.connect(gain).connect(this.panner(event.drum));
    }
    source.onended = () => this.sources.delete(source);
    this.sources.add(source);
    source.start(Math.max(0, when));
  }

  panner(drum) {
    if (!this.panners.has(drum)) {
      const panner = this.context.createStereoPanner();
      panner.pan.value = PLACES[drum] ?? 0;
      panner.connect(this.guide);
      this.panners.set(drum, panner);
    }
    return this.panners.get(drum);
  }

  /** Where the ear is now: { lead: true } in the count-off, { at_s, pass } in the loop, null when it is over. */
  position(now = this.context.currentTime) {
    if (!this.loop) return null;
    const since = now - this.origin_s;
    if (since < 0) return { lead: true, at_s: since, pass: -1 };
    const pass = Math.floor(since / this.loop.length_s);
    if (pass > 0 && !this.repeat) return null;
    return { lead: false, at_s: since - pass * this.loop.length_s, pass };
  }
}

// The line from the front, basses small to large.
const PLACES = { "bass-1": -0.6, "bass-2": -0.3, "bass-3": 0, "bass-4": 0.3, "bass-5": 0.6, "tenor-1": -0.15, "tenor-2": 0.15, "tenor-3": -0.45, "tenor-4": 0.45 };
// pitch in Hz, ring in s, share of stick noise and its decay in s: by ear, after the guide's own model.
const DRUMS = {
  snare: [330, 0.1, 0.8, 0.09], rim: [1150, 0.03, 0.9, 0.012], cymbal: [420, 0.1, 1, 0.5], bass: [82, 0.28, 0.25, 0.012],
  "tenor-1": [330, 0.18, 0.4, 0.01], "tenor-2": [270, 0.19, 0.4, 0.01], "tenor-3": [215, 0.2, 0.4, 0.01], "tenor-4": [175, 0.22, 0.4, 0.01], "tenor-5": [430, 0.14, 0.4, 0.01], "tenor-6": [480, 0.14, 0.4, 0.01],
  "bass-1": [118, 0.24, 0.25, 0.012], "bass-2": [98, 0.26, 0.25, 0.012], "bass-3": [82, 0.28, 0.25, 0.012], "bass-4": [69, 0.3, 0.25, 0.012], "bass-5": [57, 0.33, 0.25, 0.012],
};

/** Buffers made once from formulas: nothing is fetched, and every load sounds the same. */
class Sounds {
  constructor(rate) { this.rate = rate; this.made = new Map(); }

  click(context, kind) { return this.keep(context, `click ${kind}`, () => clickWave(kind, this.rate)); }

  drum(context, drum) { return this.keep(context, drum, () => drumWave(DRUMS[drum] ?? DRUMS.snare, this.rate)); }

  keep(context, name, make) {
    if (!this.made.has(name)) {
      const wave = make();
      const buffer = context.createBuffer(1, wave.length, this.rate);
      buffer.copyToChannel(wave, 0);
      this.made.set(name, buffer);
    }
    return this.made.get(name);
  }
}

/** One click: 16 ms sweeping down, 1 ms attack, exponential decay; the same wave as in the downloaded file. */
export function clickWave(kind, rate) {
  const { from, to, peak } = CLICK[kind];
  const wave = new Float32Array(Math.round(CLICK_S * rate));
  for (let n = 0; n < wave.length; n++) {
    const t = n / rate;
    const phase = 2 * Math.PI * (from * t + ((0.5 * (to - from)) / CLICK_S) * t * t);
    const attack = Math.min(1, t / 0.001), tail = Math.min(1, (CLICK_S - t) / 0.003);
    wave[n] = Math.sin(phase) * Math.exp(-t / 0.006) * (0.5 - 0.5 * Math.cos(Math.PI * attack)) * tail;
  }
  const top = wave.reduce((most, x) => Math.max(most, Math.abs(x)), 0);
  return wave.map((x) => (x / top) * peak);
}

function drumWave([pitch, ring_s, noise, noise_s], rate) {
  const wave = new Float32Array(Math.round(rate * Math.max(ring_s, noise_s) * 3));
  let state = 1;
  for (let n = 0; n < wave.length; n++) {
    state = (state * 48271) % 2147483647; // Lehmer's generator with Park and Miller's later multiplier
    const t = n / rate;
    const head = [1, 1.594, 2.136].reduce((sum, ratio) => sum + (Math.sin(2 * Math.PI * pitch * ratio * t) * Math.exp((-t * ratio) / ring_s * 2)) / ratio, 0);
    wave[n] = 0.5 * head + noise * (state / 1073741823.5 - 1) * Math.exp(-t / noise_s * 2);
  }
  const top = wave.reduce((most, x) => Math.max(most, Math.abs(x)), 0);
  return wave.map((x) => (x / top) * 0.5);
}
