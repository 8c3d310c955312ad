// What can be told of a video before its first byte is sent. Each problem is a sentence; `stops` says whether sending
// would be of no use at all. What the browser cannot tell is not guessed.

import { clockWords, say, sizeWords } from "./texts.js";

const KINDS = /\.(mp4|m4v|mov|webm|mkv|3gp)$/i;
const OPEN_MS = 12000; // a phone may need seconds to open a large file; after that we say that we could not look

function opened(file) {
  return new Promise((done) => {
    const video = document.createElement("video");
    const url = URL.createObjectURL(file);
    const end = (result) => { clearTimeout(timer); done({ video, url, ...result }); };
    const timer = setTimeout(() => end({ readable: false }), OPEN_MS);
    video.muted = true;
    video.playsInline = true;
    video.preload = "auto";
    video.addEventListener("loadeddata", () => end({ readable: true }), { once: true });
    video.addEventListener("error", () => end({ readable: false }), { once: true });
    video.src = url;
  });
}

// true, false, or null where this browser has no way to tell.
function hasSound(video) {
  if (typeof video.mozHasAudio === "boolean") return video.mozHasAudio;
  if (video.audioTracks) return video.audioTracks.length > 0;
  if (video.captureStream) return video.captureStream().getAudioTracks().length > 0;
  return null;
}

// Recordings of browsers have no duration in their header: going to the end makes the browser find it.
function durationOf(video) {
  if (Number.isFinite(video.duration)) return Promise.resolve(video.duration);
  return new Promise((done) => {
    const timer = setTimeout(() => done(null), 3000);
    video.addEventListener("durationchange", () => {
      if (Number.isFinite(video.duration)) { clearTimeout(timer); done(video.duration); }
    });
    video.currentTime = 1e7;
  });
}

export async function problemsOf(file, limits) {
  const problems = [];
  const add = (text, stops) => problems.push({ text, stops });
  if (!KINDS.test(file.name)) add(say("kind"), true);
  if (file.size === 0) add(say("empty"), true);
  if (file.size > limits.maxBytes) add(say("tooBig", sizeWords(file.size), sizeWords(limits.maxBytes)), true);
  if (problems.length) return problems;

  const { video, url, readable } = await opened(file);
  try {
    if (!readable) {
      add(say("unreadable"), false);
      return problems;
    }
    if (video.videoHeight > video.videoWidth) add(say("portrait"), false);
    if (hasSound(video) === false) add(say("noSound"), false);
    const seconds = await durationOf(video);
    if (seconds !== null && seconds > limits.longestS) add(say("tooLong", clockWords(seconds), clockWords(limits.longestS)), true);
    if (seconds !== null && limits.shortestS && seconds < limits.shortestS) add(say("tooShort", clockWords(seconds)), false);
    return problems;
  } finally {
    video.removeAttribute("src");
    video.load();
    URL.revokeObjectURL(url);
  }
}
