// Adds what only the browser knows: the viewer's own zone, and time left that keeps counting.

const language = document.documentElement.lang || "en";
const zone = Intl.DateTimeFormat().resolvedOptions().timeZone;

for (const place of document.querySelectorAll("[data-local]")) {
  if (place.dataset.zone === zone) continue;
  const when = new Date(place.dataset.local);
  const words = new Intl.DateTimeFormat(language, { weekday: "long", day: "numeric", month: "long", hour: "2-digit", minute: "2-digit", hour12: false }).format(when);
  place.textContent = ` · ${place.dataset.words} ${words} (${zone.replaceAll("_", " ")})`;
}

for (const field of document.querySelectorAll("[data-my-zone]")) field.value = zone;

export function durationWords(seconds) {
  const minutes = Math.floor(Math.max(0, seconds) / 60);
  const unit = (n, name) => new Intl.NumberFormat(language, { style: "unit", unit: name, unitDisplay: "long" }).format(n);
  const [days, hours, rest] = [Math.floor(minutes / 1440), Math.floor(minutes / 60) % 24, minutes % 60];
  const words = [];
  if (days) words.push(unit(days, "day"));
  if (hours) words.push(unit(hours, "hour"));
  if (rest && !days) words.push(unit(rest, "minute"));
  return words.join(" ") || unit(1, "minute");
}

const counting = [...document.querySelectorAll("[data-left]")];

function count() {
  for (const place of counting) {
    const left = (new Date(place.dataset.left) - Date.now()) / 1000;
    if (left > 0) place.textContent = place.dataset.template.replace("%s", durationWords(left));
  }
}
if (counting.length) { count(); setInterval(count, 30000); }
