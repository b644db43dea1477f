/* What a hand does: slider, box, faults, steps, places of findings, filters, folds, print. */
const slider = by("volts"), box = by("volts-box"), choice = by("fault");

function pick(number) {
  here.fault = number;
  choice.value = number;
  drawLost();
  [here.standing, here.hunting] = settled(here.standing, here.x);
  if (here.playing) stop();
  drawFaulty();
  show();
}

function moved(x) {
  if (here.playing) stop();
  run(Math.min(Math.max(x, data.from), data.to));
}

/* "230,5", "230.5" or "230.5 V"; anything else is told and changes nothing. */
function typed() {
  const found = /^\s*(\d+(?:[.,]\d+)?)\s*V?\s*$/i.exec(box.value);
  const x = found ? Math.round(Number(found[1].replace(",", ".")) * data.per_volt) : NaN;
  const inside = x >= data.from && x <= data.to;
  by("box-says").textContent = inside ? "" :
    "Found \u201c" + box.value + "\u201d; accepted: " + fixed(data.from / data.per_volt) + " to " + fixed(data.to / data.per_volt) + " V.";
  if (inside) moved(x);
  if (inside) box.value = fixed(here.x / data.per_volt);
}

function toLive() { by("live").scrollIntoView({ block: "start" }); }

/* What a link in a table shows: a fault, a step, a place on the curve. */
function shown(target) {
  if (target.dataset.fault !== undefined) {
    if (target.dataset.band !== undefined) moved(middle(Number(target.dataset.band)));
    pick(Number(target.dataset.fault));
  } else if (target.dataset.step !== undefined) play(Number(target.dataset.step));
  else if (target.dataset.at !== undefined) moved(Math.round(Number(target.dataset.at) * data.per_volt));
  else return false;
  document.querySelectorAll(".pointed").forEach((one) => one.classList.remove("pointed"));
  if (target.dataset.mark) data.curves.forEach((one) => {
    const mark = by(one.prefix + target.dataset.mark);
    if (mark) mark.classList.add("pointed");
  });
  return true;
}

/* A line voltage in the middle of what a band keeps; rising from below it if the band is not entered otherwise. */
function middle(band) {
  const seen = [];
  const kept = { ...here };
  here.fault = -1;
  for (let x = data.from; x <= data.to; x++) if (decided(band, x) === band) seen.push(x);
  Object.assign(here, kept);
  return seen.length ? seen[seen.length >> 1] : here.x;
}

/* A long table shows the rows that have every word typed above it. */
function filter(input) {
  const words = input.value.toLowerCase().split(/\s+/).filter((word) => word);
  let count = 0;
  by(input.dataset.filters).querySelectorAll("tbody tr").forEach((row) => {
    const told = row.textContent.toLowerCase();
    row.hidden = !words.every((word) => told.includes(word));
    count += row.hidden ? 0 : 1;
  });
  const says = by(input.dataset.filters + "-says");
  if (says) says.textContent = words.length ? count + " rows" : "";
}

/* A link to what is folded unfolds it. */
function unfold() {
  const goal = location.hash.length > 1 && document.getElementById(decodeURIComponent(location.hash.slice(1)));
  for (let part = goal; part; part = part.parentElement) if (part.tagName === "DETAILS") part.open = true;
  if (goal) goal.scrollIntoView();
}

data.faults.forEach((one, number) => {
  const option = document.createElement("option");
  option.value = number;
  option.textContent = one.name;
  choice.appendChild(option);
});
slider.addEventListener("input", () => moved(Number(slider.value)));
box.addEventListener("change", typed);
choice.addEventListener("change", () => pick(Number(choice.value)));
by("restart").addEventListener("click", () => { if (here.playing) stop(); restart(); });
by("play-again").addEventListener("click", () => play(here.playing.number));
by("play-next").addEventListener("click", advance);
by("play-end").addEventListener("click", stop);
document.addEventListener("click", (event) => {
  const target = event.target.closest("[data-fault], [data-step], [data-at]");
  if (target && shown(target)) { event.preventDefault(); toLive(); }
});
/* A cell of the matrix shows its fault within its band. */
document.querySelectorAll(".matrix td").forEach((cell) => {
  const [, number, band] = cell.id.split("-");
  cell.dataset.fault = number;
  cell.dataset.band = band;
});
document.querySelectorAll("[id^=step-cell-]").forEach((cell) => { cell.dataset.step = cell.id.slice("step-cell-".length); });
document.querySelectorAll("input[data-filters]").forEach((one) => one.addEventListener("input", () => filter(one)));
addEventListener("hashchange", unfold);
const appendix = by("with-appendix");
if (appendix) appendix.addEventListener("change", () => document.body.classList.toggle("with-appendix", appendix.checked));
addEventListener("beforeprint", () => document.querySelectorAll(".with-appendix details").forEach((one) => { one.open = true; }));

window.tapplan = { AWAY, decided, settled, run: (x) => { if (here.playing) stop(); run(x); }, pick, play, stop, advance, frames,
                   standing: () => here.standing, here };
restart();
unfold();
