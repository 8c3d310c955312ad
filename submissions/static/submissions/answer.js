// Jumps to the place in the player's own video that a finding speaks of; also after the answer has been swapped in.

document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-jump]");
  if (!button) return;
  const video = document.getElementById(button.dataset.video);
  if (!video) return;
  video.currentTime = Math.max(0, Number(button.dataset.jump) - 0.5);
  video.play().catch(() => {});
  video.scrollIntoView({ block: "center", behavior: matchMedia("(prefers-reduced-motion: reduce)").matches ? "auto" : "smooth" });
  video.focus();
});
