/* One state on the schematic and the curve. Parts are looked up once; only what changes is touched. */
function fixed(value) { return (Math.round(value * 10) / 10).toFixed(1); }

function named(prefix, count) {
  return Array.from({ length: count }, (_, number) => document.getElementById(prefix + number));
}
const poles = 1 + Math.max(-1, ...data.contacts.map((one) => one.pole));
const drawn = {
  net: named("net-", data.points.length),
  contact: named("contact-", data.contacts.length),
  coil: named("coil-", data.relays.length),
  pole: named("pole-", poles),
  section: named("section-", data.sections.length),
  band: named("curve-band-", AWAY),
  bar: named("bar-", AWAY),
  lost: [],
  loop: [],
};
const POSITIONS = ["at-rest", "is-driven", "in-flight", "bridged"];

function toggled(parts, numbers, name) {
  parts.forEach((part, number) => { if (part) part.classList.toggle(name, numbers.includes(number)); });
}

/* Where the blade of a pole stands: by the contacts that are closed, else by its coil, else between the throws. */
function position(pole, closed, coils, flying) {
  const own = data.contacts.map((one, number) => [one, number]).filter((pair) => pair[0].pole === pole);
  if (flying.includes(own[0][0].relay)) return "in-flight";
  const throws = own.filter((pair) => closed.includes(pair[1])).map((pair) => pair[0].throw);
  if (throws.length > 1) return "bridged";
  const driven = throws.length ? throws[0] === "no" : coils.includes(own[0][0].relay);
  return driven ? "is-driven" : "at-rest";
}

function drawState(state, coils, flying) {
  const way = flying.length ? [] : state.way || [];
  toggled(drawn.net, way.filter((one) => one >= 0), "live");
  toggled(drawn.contact, way.filter((one) => one < 0).map((one) => -1 - one), "live");
  toggled(drawn.section, flying.length ? [] : state.crossed || [], "live");
  toggled(drawn.section, state.fed || [], "fed");
  toggled(drawn.contact, state.closed, "closed");
  toggled(drawn.coil, coils, "driven");
  drawLoop(flying.length ? [] : state.loop || []);
  drawn.pole.forEach((part, number) => {
    if (!part) return;
    const now = position(number, state.closed, coils, flying);
    POSITIONS.forEach((name) => part.classList.toggle(name, name === now));
  });
}

function drawLoop(ids) {
  drawn.loop.forEach((part) => part.classList.remove("short-loop"));
  drawn.loop = ids.map((id) => document.getElementById(id)).filter((part) => part);
  drawn.loop.forEach((part) => part.classList.add("short-loop"));
}

function drawLost() {
  drawn.lost.forEach((part) => part.classList.remove("lost"));
  const one = fault();
  drawn.lost = one ? one.lost.map((id) => document.getElementById(id)).filter((part) => part) : [];
  drawn.lost.forEach((part) => part.classList.add("lost"));
}

/* The operating point; beyond the frame it stays at its edge. */
const marker = document.querySelector("#curve #now");
function drawPoint(volts, output) {
  const shown = output !== null;
  marker.setAttribute("visibility", shown ? "visible" : "hidden");
  if (!shown) return;
  const scale = data.curve;
  const y = Math.min(Math.max(scale.y[0] + scale.y[1] * output, scale.top), scale.bottom);
  marker.setAttribute("transform", "translate(" + (scale.x[0] + scale.x[1] * volts) + " " + y + ")");
}

/* The output of the stage as it is broken, against the line: up from below and down from above. */
const faulty = document.getElementById("faulty");
function drawFaulty() {
  if (!faulty) return;
  while (faulty.firstChild) faulty.removeChild(faulty.firstChild);
  if (!fault()) return;
  const kept = { ...here };
  for (const way of [1, -1]) {
    let standing = fault().freezes ? kept.standing : AWAY, line = [], before = null;
    for (let x = way > 0 ? data.from : data.to; way > 0 ? x <= data.to : x >= data.from; x += way) {
      [standing] = settled(standing, x);
      const state = stateIn(standing), output = outputOf(standing, state, x);
      if (state !== before || output === null) { drawLine(line); line = []; }
      if (output !== null) line.push([x / data.per_volt, output]);
      before = state;
    }
    drawLine(line);
  }
  Object.assign(here, kept);
}

function drawLine(line) {
  if (line.length < 2) return;
  const scale = data.curve, ends = [line[0], line[line.length - 1]];
  const part = document.createElementNS("http://www.w3.org/2000/svg", "line");
  const y = (one) => Math.min(Math.max(scale.y[0] + scale.y[1] * one[1], scale.top), scale.bottom);
  ends.forEach((one, number) => {
    part.setAttribute("x" + (number + 1), scale.x[0] + scale.x[1] * one[0]);
    part.setAttribute("y" + (number + 1), y(one));
  });
  part.setAttribute("class", "faulty-line");
  faulty.appendChild(part);
}

function stateIn(standing) {
  const one = fault();
  return data.states[(one ? one.stands : data.stands)[standing]];
}

/* Output volts; null where there are none to be told: no ratio, or the load is on the backup. */
function outputOf(standing, state, x) {
  if (standing === AWAY && data.on_backup) return null;
  return state.ratio === undefined ? null : state.ratio * x / data.per_volt;
}
