/* The state in words: one sentence, then its figures; with a fault, what a meter shows and what the controller does. */
function coilsTold(standing) {
  return data.coils[standing].map((number) => data.relays[number]).join(", ");
}

function placeTold(output) {
  const [low, high] = data.window;
  return output < low ? "below the window" : output > high ? "above the window" : "inside the window";
}

function outputTold(standing, state, output) {
  if (output !== null) return fixed(Math.abs(output)) + " V" + (output < 0 ? " in antiphase" : "") + ", " + placeTold(output);
  return standing === AWAY && data.on_backup ? "from the backup" : "none to be told: " + state.kind;
}

function wayTold(state) {
  if (!state.way) return "none: " + (state.why || state.kind);
  const told = state.way.map((one) => typeof one === "string" ? one : one < 0 ? data.contacts[-1 - one].label : data.points[one]);
  return told.join(" \u2192 ") || "no way from line to output";
}

/* Where the answer changes above and below, seen from the line's volts. */
function nextPoints() {
  if (here.standing === AWAY || here.hunting || (fault() && fault().freezes)) return "-";
  const own = node(here.standing), place = passed(here.standing, here.x);
  const leaves = (answer) => own.answers[answer] === AWAY ? " (leaves the bands)" : "";
  const told = [];
  if (place < own.firsts.length)
    told.push("rising above " + fixed((own.firsts[place] - 1) / data.per_volt) + " V" + leaves(place + 1));
  if (place > 0) told.push("falling below " + fixed(own.firsts[place - 1] / data.per_volt) + " V" + leaves(place - 1));
  return told.join(", ") || "-";
}

function roomTold(output) {
  if (output === null) return "-";
  const [low, high] = data.window;
  return fixed(output - low) + " V above the lower, " + fixed(high - output) + " V below the upper";
}

function controllerTold(volts) {
  const own = node(here.standing), name = data.names[here.standing], coils = coilsTold(here.standing) || "no coil";
  if (fault().freezes) return "reads what it read when the fault came, and stays in \u201c" + name + "\u201d, driving " + coils + ".";
  if (own.read === null)
    return "has no reading that can be foretold here; what it does is not told. Drawn: \u201c" + name + "\u201d, driving " + coils + ".";
  const reads = "reads " + fixed(own.read * volts) + " V " + data.senses;
  if (here.hunting) return reads + " and hunts: no band stands here.";
  return reads + (here.standing === AWAY ? ", so it is " + name : ", so it is in \u201c" + name + "\u201d") + ", driving " + coils + ".";
}

function meterTold(standing, state, output) {
  if (standing === AWAY && data.on_backup) return "the backup's volts: the load is off the mains.";
  if (output !== null) return outputTold(standing, state, output) + ".";
  return data.shown[state.kind] + (state.why ? ". Cause: " + state.why : "") + ".";
}

function sentence(volts, state, output) {
  const band = here.hunting ? "no band stands (hunting)" : data.names[here.standing];
  const driven = coilsTold(here.standing);
  const coils = driven ? driven + " driven" : "no coil driven";
  const broken = fault() ? " with " + fault().name.replace(": ", " ") : "";
  return fixed(volts) + " V in" + broken + ": " + band + ", " + coils + "; output " + outputTold(here.standing, state, output) + ".";
}

const text = Object.fromEntries(["told", "drawn", "band", "coils", "output", "room", "next", "path", "meter", "controller"].map((id) => [id, by(id)]));

function show() {
  const state = stateIn(here.standing), volts = here.x / data.per_volt;
  const output = outputOf(here.standing, state, here.x);
  text.told.textContent = sentence(volts, state, output);
  text.drawn.textContent = "Drawn at " + text.told.textContent;
  text.told.classList.toggle("wrong", !(output !== null ? placeTold(output).startsWith("inside") : here.standing === AWAY && data.on_backup));
  text.band.textContent = data.names[here.standing] + (here.hunting ? " (hunting: no band stands here)" : "");
  text.coils.textContent = coilsTold(here.standing) || "none (all at rest)";
  text.output.textContent = outputTold(here.standing, state, output);
  text.room.textContent = roomTold(output);
  text.path.textContent = wayTold(state);
  text.next.textContent = nextPoints();
  by("fault-shows").hidden = !fault();
  by("deck").classList.toggle("faulted", Boolean(fault()));
  if (fault()) {
    text.meter.textContent = meterTold(here.standing, state, output);
    text.controller.textContent = controllerTold(volts);
  }
  drawState(state, data.coils[here.standing], []);
  drawPoint(volts, output);
  drawInForce([here.standing]);
  slider.value = here.x;
  slider.setAttribute("aria-valuetext", fixed(volts) + " volts");
  if (document.activeElement !== box) box.value = fixed(volts);
}
