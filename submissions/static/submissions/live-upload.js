// Sends a take while it is still being filmed: tus 1.0 with a deferred length, one piece after the other, each read
// from what is kept on the device, so that a closed tab or a lost network costs nothing.

import * as kept from "./kept.js";

const TUS = { "Tus-Resumable": "1.0.0" };
const WAIT_MS = [500, 1000, 2000, 4000, 8000, 15000];
const base64 = (text) => btoa(String.fromCharCode(...new TextEncoder().encode(text)));

export class LiveUpload {
  // take: {key, endpoint, entry, part, tryout, filename, url, approved, total}
  constructor(take, told = () => {}) {
    Object.assign(this, { take, told, offset: 0, result: null, stopped: false, misses: 0, memory: [] });
  }

  async keep(changes = {}) {
    Object.assign(this.take, changes);
    await kept.tryTo(() => kept.put("takes", { ...this.take }));
  }

  // A new piece from the recorder. It also stays in memory where the device refuses to keep it.
  async add(blob) {
    const at = this.take.total;
    this.take.total += blob.size;
    this.memory.push({ at, blob });
    await kept.tryTo(() => kept.put("pieces", { take: this.take.key, at, blob }));
    await this.keep();
    this.run();
  }

  // The player wants this take to count: the length becomes known, and with the last byte it is a take.
  async approve(tryout) {
    await this.keep({ approved: true, tryout });
    return new Promise((done, fail) => { this.done = done; this.fail = fail; this.run(); });
  }

  async discard() {
    this.stopped = true;
    if (this.take.url) await fetch(this.take.url, { method: "DELETE", headers: TUS }).catch(() => {});
    await kept.tryTo(() => kept.dropTake(this.take.key));
  }

  async load() {
    this.memory = (await kept.tryTo(() => kept.pieces(this.take.key))) || [];
    this.take.total = this.memory.reduce((sum, piece) => sum + piece.blob.size, 0);
  }

  // One loop at a time; it ends when there is nothing to send just now.
  async run() {
    if (this.running) { this.more = true; return; }
    this.running = true;
    try {
      do {
        this.more = false;
        while (!this.stopped && await this.step()) this.told(this.offset, this.take.total);
      } while (this.more && !this.stopped);
    } finally {
      this.running = false;
    }
  }

  async step() {
    try {
      if (!this.take.url) await this.create();
      else if (!this.known) await this.ask();
      const left = this.offset < this.take.total;
      if (!left && !this.take.approved) return false;
      await this.patch(left ? this.next() : new Blob());
      this.misses = 0;
      return !this.stopped;
    } catch (error) {
      return this.missed(error);
    }
  }

  async missed(error) {
    if (error.status && error.status < 500 && ![409, 423, 429].includes(error.status)) {
      this.stopped = true;
      if (this.fail) this.fail(error);
      return false;
    }
    this.known = false; // where the server stands must be asked again
    const wait = WAIT_MS[Math.min(this.misses, WAIT_MS.length - 1)];
    this.misses += 1;
    this.told(this.offset, this.take.total, true);
    await new Promise((done) => setTimeout(done, wait));
    return !this.stopped;
  }

  async send(url, options) {
    const response = await fetch(url, { ...options, headers: { ...TUS, ...options.headers } });
    if (!response.ok) throw Object.assign(new Error(await response.text()), { status: response.status });
    return response;
  }

  async create() {
    const meta = { filename: this.take.filename, entry: this.take.entry, part: String(this.take.part), tryout: this.take.tryout ? "1" : "0" };
    const pairs = Object.entries(meta).map(([key, value]) => `${key} ${base64(value)}`).join(",");
    const response = await this.send(this.take.endpoint, { method: "POST", headers: { "Upload-Defer-Length": "1", "Upload-Metadata": pairs } });
    this.offset = 0;
    this.known = true;
    await this.keep({ url: response.headers.get("Location") });
  }

  async ask() {
    const response = await this.send(this.take.url, { method: "HEAD" });
    this.offset = Number(response.headers.get("Upload-Offset"));
    this.known = true;
    this.finished(response);
  }

  next() {
    const piece = this.memory.findLast(({ at }) => at <= this.offset);
    return piece.blob.slice(this.offset - piece.at);
  }

  async patch(body) {
    const headers = { "Content-Type": "application/offset+octet-stream", "Upload-Offset": String(this.offset) };
    if (this.take.approved && this.offset + body.size === this.take.total) headers["Upload-Length"] = String(this.take.total);
    const response = await this.send(this.take.url, { method: "PATCH", headers, body });
    this.offset = Number(response.headers.get("Upload-Offset"));
    this.finished(response);
  }

  finished(response) {
    const id = response.headers.get("Tapoff-Take");
    if (!id) return;
    this.stopped = true;
    kept.tryTo(() => kept.dropTake(this.take.key)).then(() => this.done && this.done(id));
  }
}
