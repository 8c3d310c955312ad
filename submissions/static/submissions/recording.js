// Films a take in the browser: click in the headphones, chirps at both ends, every second kept and sent at once.

import { canFilm, isPortrait, openCamera, recorderOf, watchLevel, watchRate } from "./camera.js";
import { loadClick, playClick } from "./cue.js";
import * as kept from "./kept.js";
import { LiveUpload } from "./live-upload.js";
import { say } from "./texts.js";

const PIECE_MS = 1000; // at most one second is lost when a tab dies
const AFTER_END_S = 2; // the recorder runs on after the last chirp
const FEW_PICTURES = 22; // a second; the answer complains below it (check low-frame-rate)
const QUIET = 0.02, LOUD = 0.99; // peaks of full scale: under the first nothing is heard, from the second on it is cut off

const box = document.querySelector("[data-recording]");

class Recording {
  constructor(box) {
    this.box = box;
    for (const name of ["said", "stage", "preview", "count", "level", "camera", "start", "stop", "send", "again", "tryout", "tryout-row", "going", "words"]) {
      this[name.replace("-", "_")] = box.querySelector(`[data-${name}]`);
    }
    this.bar = box.querySelector("progress");
    this.camera.addEventListener("click", () => this.open());
    this.start.addEventListener("click", () => this.record());
    this.stop.addEventListener("click", () => this.end());
    this.send.addEventListener("click", () => this.approve());
    this.again.addEventListener("click", () => this.discard());
  }

  // Read when it is needed: seconds of the click's file.
  get click() {
    const { zero, marks, end, bpm, beats } = this.box.dataset;
    return { zero: Number(zero), marksEnd: Number(marks), end: Number(end), bpm: Number(bpm), beats: Number(beats) };
  }

  show(...names) {
    for (const name of ["camera", "start", "stop", "send", "again", "tryout_row"]) this[name].hidden = !names.includes(name);
  }

  tell(text) { this.said.textContent = text; }

  async open() {
    try {
      this.context ||= new AudioContext({ latencyHint: "playback" });
      await this.context.resume();
      const { stream, kept: changed } = await openCamera(Number(this.box.dataset.width) || undefined, Number(this.box.dataset.height) || undefined);
      this.stream = stream;
      this.buffer ||= await loadClick(this.context, this.box.dataset.click);
      this.live();
      const raw = changed.length ? say("notRaw", changed.map((name) => say(name)).join(", ")) : say("raw");
      this.tell([say("ready"), raw, isPortrait(stream) ? say("portraitNow") : ""].filter(Boolean).join(" "));
      this.watch ||= watchLevel(this.context, stream, (peak) => this.heard(peak));
      if (!this.seen) watchRate(this.preview, (rate) => { this.rate = rate; });
      this.seen = true;
    } catch (error) {
      this.tell(error.name === "NotAllowedError" || error.name === "NotFoundError" ? say("denied") : say("cannot"));
      console.warn(error);
    }
  }

  live() {
    this.stage.hidden = false;
    this.preview.srcObject = this.stream;
    this.preview.muted = true;
    this.preview.controls = false;
    this.preview.play().catch(() => {});
    this.show("start");
    this.start.focus();
  }

  heard(peak) {
    this.peak = Math.max(peak, (this.peak || 0) * 0.9);
    const words = [say(this.peak > LOUD ? "loud" : this.peak < QUIET ? "quiet" : "level")];
    if (this.stream && this.rate < FEW_PICTURES) words.push(say("few", Math.round(this.rate)));
    this.level.textContent = words.join(" ");
  }

  record() {
    const { recorder, mimeType, ending } = recorderOf(this.stream);
    const { endpoint, entry, part } = this.box.dataset;
    const take = { key: `${entry}/${part}/${Date.now()}`, endpoint, entry, part, tryout: this.tryout.checked, filename: `take.${ending}`, mimeType, url: "", approved: false, total: 0 };
    this.upload = new LiveUpload(take, (...far) => this.far(...far));
    this.upload.keep();
    this.recorder = recorder;
    recorder.addEventListener("dataavailable", (event) => { if (event.data.size) this.upload.add(event.data); });
    recorder.addEventListener("stop", () => this.look(), { once: true });
    recorder.start(PIECE_MS);
    this.stopClick = playClick(this.context, this.buffer, this.click, (stage, beat) => this.cue(stage, beat));
    this.show("stop");
    this.going.hidden = false;
  }

  cue(stage, beat) {
    this.count.textContent = stage === "count" ? String(((beat - 1) % (this.click.beats > 4 ? this.click.beats / 2 : this.click.beats)) + 1) : "";
    const text = { marks: say("marks"), ready: say("headphones"), play: say("playing") }[stage];
    if (text) this.tell(text);
    if (stage === "over") setTimeout(() => this.end(), AFTER_END_S * 1000);
  }

  end() {
    if (!this.recorder || this.recorder.state === "inactive") return;
    this.stopClick();
    this.count.textContent = "";
    this.recorder.stop();
  }

  look() {
    const blob = new Blob(this.upload.memory.map((piece) => piece.blob), { type: this.upload.take.mimeType });
    this.preview.srcObject = null;
    this.preview.src = URL.createObjectURL(blob);
    this.preview.muted = false;
    this.preview.controls = true;
    this.stage.hidden = false;
    this.tell(say("finished"));
    this.show("send", "again", "tryout_row");
    this.send.focus();
  }

  far(offset, total, waiting) {
    this.bar.value = total ? Math.floor((100 * offset) / total) : 0;
    this.words.textContent = waiting ? say("waiting") : `${say("kept")} ${say("percent", this.bar.value)}`;
  }

  async approve() {
    this.show();
    this.going.hidden = false;
    try {
      const id = await this.upload.approve(this.tryout.checked);
      this.tell(say("sent"));
      const upload = this.upload.take.url.split("/").filter(Boolean).at(-1);
      location.assign(this.box.dataset.next.replace("UPLOAD", upload) + `?take=${id}`);
    } catch (error) {
      this.tell(say("refused", error.message));
      this.show("again");
    }
  }

  async discard() {
    await this.upload.discard();
    this.going.hidden = true;
    if (this.stream) this.live();
    else { this.stage.hidden = true; this.show("camera"); }
    this.tell(say("ready"));
  }

  // A take that was filmed here before and has not arrived: it goes on by itself, or waits for the player's word.
  async comeBack() {
    const takes = (await kept.tryTo(() => kept.all("takes"))) || [];
    const mine = takes.filter((take) => take.entry === this.box.dataset.entry && take.part === this.box.dataset.part);
    const take = mine.sort((a, b) => (a.key < b.key ? 1 : -1))[0];
    if (!take) return;
    this.upload = new LiveUpload(take, (...far) => this.far(...far));
    await this.upload.load();
    if (!take.total) { await this.upload.discard(); return; }
    this.look();
    this.tell(say("found"));
    this.tryout.checked = take.tryout;
    this.upload.run();
    if (take.approved) this.approve();
  }
}

if (box) {
  const recording = new Recording(box);
  if (canFilm()) { recording.tell(""); recording.comeBack(); } else { recording.tell(say("cannot")); recording.show(); }
}
