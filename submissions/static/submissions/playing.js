// Plays one take, or a whole line-up, from bar 1. A line-up whose sounds are made plays them on one audio clock, with the
// pictures mute beside it; before that, and where sounds cannot be had, every video is set to its own zero and all are started.

import { keepBeside, leadOf, loadSounds, playTogether } from "./together.js";

const LEAD_S = 1; // so much is heard before bar 1
const LOOK_MS = 200; // how often pictures are set right

const seek = (video, at) => new Promise((done) => {
  video.addEventListener("seeked", done, { once: true });
  video.currentTime = at;
});
const readable = (video) => video.readyState >= 1 ? Promise.resolve() : new Promise((done) => video.addEventListener("loadedmetadata", done, { once: true }));
const takeOf = (video) => ({ url: video.dataset.sound, zero_s: Number(video.dataset.zero), ratio: Number(video.dataset.ratio || 1) });

class LineUp {
  constructor(group, button) {
    this.videos = [...group.querySelectorAll("video[data-zero]")];
    this.takes = this.videos.map(takeOf);
    this.button = button;
    this.word = button.innerHTML;
    this.loading = group.querySelector("[data-loading]");
    this.sounds = null;
    this.playing = null; // what playTogether gave
    for (const video of this.videos) for (const what of ["play", "pause", "ended"]) video.addEventListener(what, () => this.show());
    button.addEventListener("click", () => (this.isPlaying() ? this.stop() : this.start()));
  }

  isPlaying() {
    return this.playing !== null || this.videos.some((video) => !video.paused && !video.ended);
  }

  show() {
    if (this.isPlaying()) this.button.textContent = this.button.dataset.stopWord;
    else this.button.innerHTML = this.word;
  }

  stop() {
    this.playing?.stop();
    this.playing = null;
    clearInterval(this.looking);
    for (const video of this.videos) { video.pause(); video.playbackRate = 1; }
    this.show();
  }

  async start() {
    for (const other of lineUps) if (other !== this) other.stop();
    this.button.disabled = true;
    try {
      await Promise.all(this.videos.map(readable));
      const lead = leadOf(this.takes, LEAD_S);
      await Promise.all(this.videos.map((video, n) => seek(video, this.takes[n].zero_s - lead * this.takes[n].ratio)));
      await this.load();
      if (this.sounds) this.startTogether(lead);
      for (const video of this.videos) video.muted = this.sounds !== null;
      await Promise.all(this.videos.map((video) => video.play()));
    } finally {
      this.button.disabled = false;
      this.show();
    }
  }

  /** The sounds, once; none where one is missing: then the videos sound themselves, only about together. */
  async load() {
    if (this.sounds || !this.takes.every((take) => take.url)) return;
    context ??= new AudioContext();
    await context.resume();
    try {
      this.sounds = await loadSounds(context, this.takes, (done, all) => this.say(done, all));
    } catch {
      this.sounds = null;
    }
    this.loading.hidden = true;
  }

  say(done, all) {
    this.loading.hidden = false;
    Object.assign(this.loading.querySelector("progress"), { max: all, value: done });
  }

  startTogether(lead) {
    const playing = (this.playing = playTogether(context, this.sounds, lead));
    playing.ended.then(() => { if (this.playing === playing) this.stop(); });
    this.looking = setInterval(() => {
      const heard_s = context.currentTime - (context.outputLatency || 0) - playing.zero_s;
      this.videos.forEach((video, n) => keepBeside(video, (video.currentTime - this.takes[n].zero_s) / this.takes[n].ratio - heard_s));
    }, LOOK_MS);
  }
}

let context = null;
const lineUps = [];
for (const group of document.querySelectorAll("[data-line-up]")) {
  const button = group.querySelector("[data-play-all]");
  if (button) lineUps.push(new LineUp(group, button));
}
