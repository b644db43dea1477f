/* A sudden step, phase by phase: what stands at first, relays in flight, what stands then. One second a phase at least. */
const SLOWER = 30; /* a millisecond of the stage lasts so many of the page */
const LEAST_MS = 900;
let timer = null;

/* The legs of a step as frames: [told, standing, flying relays, from ms, until ms, low V, high V]. */
function frames(step) {
  const found = [], through = [step.from, ...step.through];
  step.course.forEach((phase, number) => {
    const leg = number >> 1, before = through[leg], then = through[leg + 1];
    const movers = data.relays.map((_, relay) => relay)
      .filter((relay) => data.coils[before].includes(relay) !== data.coils[then].includes(relay));
    const [from, until, low, high] = phase;
    if (number % 2) found.push({ told: "relays in flight to \u201c" + data.names[then] + "\u201d", standing: then, movers, from, until, low, high });
    else found.push({ told: (number ? "in between, in \u201c" : "not yet noticed, in \u201c") + data.names[before] + "\u201d",
                      standing: before, movers: [], from, until, low, high });
  });
  const last = through[through.length - 1], state = data.states[data.stands[last]];
  const output = last === AWAY && data.on_backup ? null : state.ratio === undefined ? null : state.ratio * step.line;
  found.push({ told: "settled in \u201c" + data.names[last] + "\u201d", standing: last, movers: [],
               from: step.course.length ? step.course[step.course.length - 1][1] : 0, until: null, low: output, high: output });
  return found;
}

function percent(volts) { return Math.round(100 * volts / data.nominal) + " %"; }

function spanTold(one) {
  if (one.low === null) return "from the backup";
  if (one.low === one.high) return fixed(one.low) + " V (" + percent(one.low) + ")";
  return fixed(one.low) + " to " + fixed(one.high) + " V (" + percent(one.low) + " to " + percent(one.high) + ")";
}

function frame() {
  const { step, all, place } = here.playing, one = all[place];
  const until = one.until === null ? "from " + fixed(one.from) + " ms on" : fixed(one.from) + " to " + fixed(one.until) + " ms";
  by("play-says").textContent = "phase " + (place + 1) + " of " + all.length + ", from \u201c" + data.names[step.from] + "\u201d, the line to " + fixed(step.line) + " V at once: " +
    until + ", " + one.told + ", output " + spanTold(one) + ". The whole step: " + step.verdict + ".";
  const state = data.states[data.stands[one.standing]];
  drawState(state, data.coils[one.standing], one.movers);
  drawPoint(step.line, one.high);
  drawInForce(one.movers.length ? [] : [one.standing]);
  drawPhases(all, place);
  by("deck").classList.add("playing");
  slider.value = Math.round(step.line * data.per_volt);
  box.value = fixed(step.line);
}

function advance() {
  clearTimeout(timer);
  if (!here.playing || here.playing.place + 1 >= here.playing.all.length) return;
  here.playing.place += 1;
  frame();
  later();
}

function later() {
  const one = here.playing.all[here.playing.place];
  if (one.until === null || matchMedia("(prefers-reduced-motion: reduce)").matches) return;
  timer = setTimeout(advance, Math.max((one.until - one.from) * SLOWER, LEAST_MS));
}

function play(number) {
  clearTimeout(timer);
  pick(-1);
  const step = data.steps[number];
  here.playing = { number, step, all: frames(step), place: 0 };
  by("play").hidden = false;
  frame();
  later();
}

function stop() {
  clearTimeout(timer);
  here.playing = null;
  by("play").hidden = true;
  by("deck").classList.remove("playing");
  drawPhases([], 0);
  show();
}

/* The phases of the step played, on the picture of steps against the curve. */
const phases = document.getElementById("phases");
function drawPhases(all, place) {
  if (!phases) return;
  while (phases.firstChild) phases.removeChild(phases.firstChild);
  const axes = data.envelope;
  const along = (ms) => axes.left + Math.min(Math.log10(Math.max(ms, axes.first) / axes.first) / axes.decades, 1) * axes.wide;
  const under = (volts) => axes.bottom - volts / axes.full * axes.high;
  all.forEach((one, number) => {
    const part = document.createElementNS("http://www.w3.org/2000/svg", "rect");
    const low = one.low === null ? 0 : Math.max(one.low, 0), high = one.high === null ? 0 : Math.max(one.high, 0);
    const end = one.until === null ? axes.first * 10 ** axes.decades : one.until;
    part.setAttribute("x", along(one.from));
    part.setAttribute("width", Math.max(along(end) - along(one.from), 0));
    part.setAttribute("y", Math.min(under(high), under(low) - 2));
    part.setAttribute("height", Math.max(under(low) - under(high), 2));
    part.setAttribute("class", number === place ? "bar now-phase" : "bar");
    phases.appendChild(part);
  });
}
