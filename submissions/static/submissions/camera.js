// Camera and microphone as raw as the browser gives them, and what it changed all the same.

const RAW = { echoCancellation: false, noiseSuppression: false, autoGainControl: false };
// In order of preference; the first that this browser can write. Opus and AAC both keep the chirps (1.5 to 6.5 kHz).
const KINDS = [
  ["video/webm;codecs=vp8,opus", "webm"], ["video/webm;codecs=vp9,opus", "webm"], ["video/webm", "webm"],
  ["video/mp4;codecs=avc1,mp4a.40.2", "mp4"], ["video/mp4", "mp4"],
];
const VIDEO_BITS = 4_000_000; // enough for 720p with fast sticks, and still within a phone's upload
const SOUND_BITS = 160_000;

export const canFilm = () => Boolean(navigator.mediaDevices?.getUserMedia && window.MediaRecorder && window.AudioContext && kind());

function kind() {
  return KINDS.find(([type]) => MediaRecorder.isTypeSupported(type));
}

// Most browsers encode on the processor; with two cores 720 lines come out at a few pictures a second, 360 keep their rate.
const SMALL = (navigator.hardwareConcurrency || 4) <= 2;

export async function openCamera(width = SMALL ? 640 : 1280, height = SMALL ? 360 : 720) {
  const stream = await navigator.mediaDevices.getUserMedia({
    video: { width: { ideal: width }, height: { ideal: height }, frameRate: { ideal: 30 }, facingMode: "user" },
    audio: { ...RAW, sampleRate: { ideal: 48000 } },
  });
  const sound = stream.getAudioTracks()[0];
  // Some browsers take the wish only when it is said to the track itself.
  await sound.applyConstraints(RAW).catch(() => {});
  const settings = sound.getSettings();
  return { stream, kept: Object.keys(RAW).filter((name) => settings[name] === true) };
}

export function isPortrait(stream) {
  const { width, height } = stream.getVideoTracks()[0].getSettings();
  return Boolean(width && height && height > width);
}

export function recorderOf(stream) {
  const [mimeType, ending] = kind();
  return { recorder: new MediaRecorder(stream, { mimeType, videoBitsPerSecond: VIDEO_BITS, audioBitsPerSecond: SOUND_BITS }), mimeType, ending };
}

// Calls told(peak) four times a second with the loudest sample since the last call, 1 is full scale.
export function watchLevel(context, stream, told) {
  const analyser = context.createAnalyser();
  analyser.fftSize = 8192;
  context.createMediaStreamSource(stream).connect(analyser);
  const samples = new Float32Array(analyser.fftSize);
  const timer = setInterval(() => {
    analyser.getFloatTimeDomainData(samples);
    told(samples.reduce((peak, sample) => Math.max(peak, Math.abs(sample)), 0));
  }, 250);
  return () => clearInterval(timer);
}

// Calls told(rate) every two seconds with the pictures a second that the camera really delivers: phones slow down in the
// dark, and a player can still put a lamp on. Browsers that cannot count say nothing.
export function watchRate(video, told) {
  if (!video.requestVideoFrameCallback) return;
  let first = null;
  const count = (now, { presentedFrames }) => {
    if (!first || presentedFrames < first.frames) first = { now, frames: presentedFrames };
    const seconds = (now - first.now) / 1000;
    if (seconds >= 2) {
      told((presentedFrames - first.frames) / seconds);
      first = { now, frames: presentedFrames };
    }
    video.requestVideoFrameCallback(count);
  };
  video.requestVideoFrameCallback(count);
}
