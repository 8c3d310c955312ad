// Sends a video by tus 1.0 with tus-js-client: goes on after a cut, a closed tab or a locked phone. Without this script
// the form itself sends the file.

import { problemsOf } from "./file-checks.js";
import * as kept from "./kept.js";
import { say, sizeWords, waitWords } from "./texts.js";

const RETRY_MS = [0, 500, 1000, 2000, 4000, 8000, 15000, 30000];
const SPEED_WINDOW_MS = 8000; // speed is the mean of so much time: calm figures that still notice a changed network
const KEEP_UP_TO = 400 * 1024 ** 2; // larger files are not copied into the browser's store; choosing them again resumes

function begin(box) {
  const form = box.querySelector("form");
  const parts = {
    form, going: box.querySelector("[data-going]"), bar: box.querySelector("progress"), words: box.querySelector("[data-words]"),
    headline: box.querySelector("[data-headline]"), problems: box.querySelector("[data-problems]"),
    pause: box.querySelector("[data-pause]"), stop: box.querySelector("[data-stop]"), start: box.querySelector("[data-start]"),
  };
  const key = `${box.dataset.entry}/${box.dataset.part}`;
  const sender = new Sender(box, parts, key);
  let looked = null;

  const look = async () => {
    const file = form.elements.video.files[0];
    looked = file ? { file, problems: await problemsOf(file, limitsOf(box)) } : null;
    show(parts, looked ? looked.problems : []);
    return looked;
  };
  form.elements.video.addEventListener("change", look);
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const file = form.elements.video.files[0];
    if (!file) { form.elements.video.focus(); form.reportValidity(); return; }
    const known = looked && looked.file === file;
    const { problems } = known ? looked : await look();
    if (problems.some((problem) => problem.stops) || (problems.length && !known)) return;
    const tryout = form.elements.is_tryout.checked;
    sender.send(file, tryout);
    if (file.size <= KEEP_UP_TO) kept.tryTo(() => kept.put("files", { key, file, tryout }));
  });
  parts.pause.addEventListener("click", () => sender.toggle());
  parts.stop.addEventListener("click", () => sender.throwAway());

  kept.tryTo(async () => {
    const waiting = await kept.get("files", key);
    if (waiting) sender.send(waiting.file, waiting.tryout);
  });
}

function limitsOf(box) {
  return { maxBytes: Number(box.dataset.maxBytes), longestS: Number(box.dataset.longestS), shortestS: Number(box.dataset.shortestS) };
}

function show(parts, problems) {
  parts.problems.replaceChildren(...problems.map(({ text }) => Object.assign(document.createElement("li"), { textContent: text })));
  const stops = problems.some((problem) => problem.stops);
  parts.start.disabled = stops;
  if (problems.length && !stops) parts.start.textContent = say("anyway");
}

class Sender {
  constructor(box, parts, key) {
    Object.assign(this, { box, parts, key, upload: null, paused: false, marks: [], take: null });
  }

  async send(file, tryout) {
    this.file = file;
    this.parts.form.hidden = true;
    this.parts.going.hidden = false;
    this.parts.headline.focus();
    this.keepAwake();
    const { box } = this;
    this.upload = new window.tus.Upload(file, {
      endpoint: box.dataset.endpoint,
      retryDelays: RETRY_MS,
      removeFingerprintOnSuccess: true,
      metadata: { filename: file.name, filetype: file.type, entry: box.dataset.entry, part: box.dataset.part, tryout: tryout ? "1" : "0" },
      fingerprint: async (file) => ["tapoff", this.key, file.name, file.size, file.lastModified].join("-"),
      onProgress: (sent, total) => this.progress(sent, total),
      onAfterResponse: (_request, response) => { this.take = response.getHeader("Tapoff-Take") || this.take; },
      onShouldRetry: (error) => {
        const status = error.originalResponse ? error.originalResponse.getStatus() : 0;
        if (status === 0) this.say(say("waiting"));
        return status === 0 || status === 409 || status === 423 || status === 429 || status >= 500;
      },
      onError: (error) => this.failed(error),
      onSuccess: () => this.done(),
    });
    const before = await this.upload.findPreviousUploads();
    if (before.length) {
      this.upload.resumeFromPreviousUpload(before[0]);
      this.say(say("resumed"));
    }
    this.upload.start();
    // After a long time without network every retry is used up; a network that comes back starts again.
    window.addEventListener("online", () => { if (!this.paused && !this.finished) this.again(); });
    document.addEventListener("visibilitychange", () => { if (document.visibilityState === "visible") this.keepAwake(); });
  }

  again() {
    clearTimeout(this.timer);
    this.upload.abort().finally(() => this.upload.start());
  }

  progress(sent, total) {
    const now = performance.now();
    this.marks.push([now, sent]);
    while (this.marks.length > 2 && now - this.marks[0][0] > SPEED_WINDOW_MS) this.marks.shift();
    const [[t0, b0]] = this.marks;
    const speed = now > t0 ? (sent - b0) / ((now - t0) / 1000) : 0;
    const per = Math.floor((100 * sent) / total);
    this.parts.bar.value = per;
    if (this.told && now - this.told < 1000 && sent < total) return;
    this.told = now;
    const words = [say("percent", per)];
    if (speed > 0 && now - t0 > 800) words.push(say("speed", sizeWords(speed)), say("left", waitWords((total - sent) / speed)));
    this.say(words.join(" · "));
  }

  say(text) { this.parts.words.textContent = text; }

  toggle() {
    this.paused = !this.paused;
    this.parts.pause.textContent = say(this.paused ? "goOn" : "pause");
    if (this.paused) { this.upload.abort(); this.say(say("paused")); } else { this.marks = []; this.upload.start(); }
  }

  async throwAway() {
    this.finished = true;
    await this.upload.abort(true).catch(() => {});
    await kept.tryTo(() => kept.drop("files", this.key));
    location.reload();
  }

  failed(error) {
    const response = error.originalResponse;
    if (!response || response.getStatus() === 0) {
      this.say(say("waiting"));
      this.timer = setTimeout(() => this.upload.start(), RETRY_MS.at(-1));
      return;
    }
    this.finished = true;
    kept.tryTo(() => kept.drop("files", this.key));
    this.parts.going.hidden = true;
    this.parts.form.hidden = false;
    show(this.parts, [{ text: say("refused", response.getBody() || response.getStatus()), stops: false }]);
    this.parts.problems.scrollIntoView({ block: "center" });
  }

  async done() {
    this.finished = true;
    this.parts.bar.value = 100;
    this.say(say("sent"));
    await kept.tryTo(() => kept.drop("files", this.key));
    const id = this.upload.url.split("/").filter(Boolean).at(-1);
    location.assign(this.box.dataset.next.replace("UPLOAD", id));
  }

  async keepAwake() {
    if (!("wakeLock" in navigator) || this.finished) return;
    try { this.lock = await navigator.wakeLock.request("screen"); } catch { /* the phone saves power: it may lock, sending resumes later */ }
  }
}

const box = document.querySelector("[data-sending]");
if (box && window.tus && window.tus.isSupported) begin(box);
