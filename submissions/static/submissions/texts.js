// The page's sentences, translated by the server; %s stands for figures.

const block = document.getElementById("texts");
const texts = block ? JSON.parse(block.textContent) : {};

export function say(name, ...values) {
  let text = texts[name] || name;
  for (const value of values) text = text.replace("%s", value);
  return text;
}

const language = document.documentElement.lang || "en";
const plain = new Intl.NumberFormat(language, { maximumFractionDigits: 1 });

export function sizeWords(bytes) {
  const mega = bytes / 1024 ** 2;
  return mega >= 1024 ? `${plain.format(mega / 1024)} GB` : mega >= 1 ? `${plain.format(mega)} MB` : `${plain.format(bytes / 1024)} kB`;
}

export function waitWords(seconds) {
  if (seconds < 90) return say("seconds", Math.max(1, Math.round(seconds)));
  if (seconds < 5400) return say("minutes", Math.round(seconds / 60));
  return say("hours", plain.format(seconds / 3600));
}

export function clockWords(seconds) {
  const whole = Math.round(seconds);
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}
