// Plays one take, or a whole line-up, from bar 1: every video is first set to its own zero, then all are started together.

const LEAD_S = 1; // so much is heard before bar 1

const seek = (video, at) => new Promise((done) => {
  video.addEventListener("seeked", done, { once: true });
  video.currentTime = at;
});
const readable = (video) => video.readyState >= 1 ? Promise.resolve() : new Promise((done) => video.addEventListener("loadedmetadata", done, { once: true }));

function stopOthers(group) {
  for (const video of document.querySelectorAll("[data-line-up] video")) {
    if (!group.contains(video)) video.pause();
  }
}

async function playAll(group) {
  const videos = [...group.querySelectorAll("video[data-zero]")];
  stopOthers(group);
  await Promise.all(videos.map(readable));
  // A take that begins less than a second before bar 1 sets the lead for all.
  const lead = Math.max(0, Math.min(LEAD_S, ...videos.map((video) => Number(video.dataset.zero))));
  await Promise.all(videos.map((video) => seek(video, Number(video.dataset.zero) - lead)));
  for (const video of videos) video.muted = false;
  await Promise.all(videos.map((video) => video.play()));
}

document.addEventListener("click", async (event) => {
  const button = event.target.closest("[data-play-all]");
  if (!button) return;
  const group = button.closest("[data-line-up]");
  const playing = [...group.querySelectorAll("video")].some((video) => !video.paused);
  if (playing) {
    for (const video of group.querySelectorAll("video")) video.pause();
    return;
  }
  await playAll(group);
});

for (const group of document.querySelectorAll("[data-line-up]")) {
  const button = group.querySelector("[data-play-all]");
  if (!button) continue;
  const word = button.innerHTML;
  const show = () => {
    const playing = [...group.querySelectorAll("video")].some((video) => !video.paused && !video.ended);
    if (playing) button.textContent = button.dataset.stopWord;
    else button.innerHTML = word;
  };
  for (const video of group.querySelectorAll("video")) for (const what of ["play", "pause", "ended"]) video.addEventListener(what, show);
}
