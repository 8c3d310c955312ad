// Plays the click and says what it is doing: chirps, count-off, playing, over. Times are seconds of the click's file;
// everything on the screen follows the audio clock, never a timer of its own.

export async function loadClick(context, url) {
  const response = await fetch(url);
  if (!response.ok) throw new Error(`click: ${response.status}`);
  return context.decodeAudioData(await response.arrayBuffer());
}

// what: {zero, marksEnd, end, bpm, beats}; told(stage, beat) with stage marks, ready, count, play, over.
export function playClick(context, buffer, what, told) {
  const source = new AudioBufferSourceNode(context, { buffer });
  source.connect(context.destination);
  const begin = context.currentTime + 0.8; // the recorder runs before the first chirp
  source.start(begin);
  const beatS = 60 / what.bpm;
  let last = "";
  let over = false;
  const look = () => {
    if (over) return;
    const at = context.currentTime - begin;
    const beat = Math.floor((at - what.zero) / beatS) + what.beats + 1;
    const stage = at < what.marksEnd ? "marks" : beat < 1 ? "ready" : at < what.zero ? "count" : at < what.end ? "play" : "over";
    if (`${stage}${stage === "count" ? beat : ""}` !== last) {
      last = `${stage}${stage === "count" ? beat : ""}`;
      told(stage, beat);
    }
    if (stage === "over") { over = true; return; }
    setTimeout(look, 30);
  };
  look();
  return () => { over = true; source.stop(); };
}
