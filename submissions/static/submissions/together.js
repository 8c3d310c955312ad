// Plays the sounds of several takes on one audio clock, so that they stand to each other as measured, to the sample.
//
// A take: { url, zero_s, ratio }: where its sound lies, where bar 1 lies in it, its own seconds a second of the click.
// Videos that are started side by side begin up to some hundredths of a second apart; a nudge of 3 ms needs better.

/** Fetch and decode all sounds; say(done, all) after each. Throws where one cannot be had. */
export async function loadSounds(context, takes, say) {
  let done = 0;
  say(done, takes.length);
  return Promise.all(takes.map(async (take) => {
    const answer = await fetch(take.url, { credentials: "same-origin" });
    if (!answer.ok) throw new Error(`${answer.status}`);
    const buffer = await context.decodeAudioData(await answer.arrayBuffer());
    say((done += 1), takes.length);
    return { ...take, buffer };
  }));
}

/** How long before bar 1 all of them can begin, at most wanted_s. */
export const leadOf = (takes, wanted_s) => Math.max(0, Math.min(wanted_s, ...takes.map((take) => take.zero_s / take.ratio)));

/** Start every sound so that all bars 1 fall on one instant; { zero_s, stop }: that instant on the context's clock. */
export function playTogether(context, sounds, lead_s, soon_s = 0.1) {
  const start_s = context.currentTime + soon_s;
  const out = context.createGain();
  out.gain.value = 1 / Math.sqrt(sounds.length); // players who are not in step add up by their power
  out.connect(context.destination);
  const sources = sounds.map((sound) => {
    const source = context.createBufferSource();
    source.buffer = sound.buffer;
    source.playbackRate.value = sound.ratio;
    source.connect(out);
    source.start(start_s, sound.zero_s - lead_s * sound.ratio);
    return source;
  });
  const ended = Promise.all(sources.map((source) => new Promise((done) => source.addEventListener("ended", done, { once: true }))));
  return { zero_s: start_s + lead_s, ended, stop: () => { for (const source of sources) source.stop(); out.disconnect(); } };
}

/** Keep a silent video beside the sound: ahead_s is how far it is before its place. Small errors are run in, large ones jumped. */
export function keepBeside(video, ahead_s) {
  if (Math.abs(ahead_s) > 0.4) { video.currentTime -= ahead_s; video.playbackRate = 1; } else video.playbackRate = Math.min(1.1, Math.max(0.9, 1 - ahead_s));
}
