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
  bands: data.curves.flatMap((one) => [named(one.prefix + "curve-band-", AWAY), named(one.prefix + "bar-", AWAY)]),
  lost: [],
  loop: [],
};
const POSITIONS = ["at-rest", "is-driven", "in-flight", "bridged"];

function toggled(parts, numbers, name) {
  parts.forEach((part, number) => { if (part) part.classList.toggle(name, numbers.includes(number)); });
}

/* Where the blade of a pole stands: by the contacts that are closed, else by its coil, else between the throws, or on both. */
function position(pole, closed, coils, flying) {
  const own = data.contacts.map((one, number) => [one, number]).filter((pair) => pair[0].pole === pole);
  if (flying.includes(own[0][0].relay)) return own[0][0].makes_first ? "bridged" : "in-flight";
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
  toggled(drawn.section, flying.length ? [] : state.fed || [], "fed");
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

/* The curve stands on the page twice, for a desk and for a phone. */
const curves = data.curves.map((scale) => ({ scale, marker: by(scale.prefix + "now"), faulty: by(scale.prefix + "faulty") }));

function across(scale, volts) { return scale.x[0] + scale.x[1] * volts; }

/* Beyond the frame a place stays at its edge. */
function down(scale, output) { return Math.min(Math.max(scale.y[0] + scale.y[1] * output, scale.top), scale.bottom); }

function drawPoint(volts, output) {
  for (const { scale, marker } of curves) {
    marker.setAttribute("visibility", output === null ? "hidden" : "visible");
    if (output === null) continue;
    const x = across(scale, volts), y = down(scale, output), off = scale.y[0] + scale.y[1] * output - y;
    marker.setAttribute("transform", "translate(" + x + " " + y + ")");
    farther(marker, x, Math.abs(off) > 1 ? (off < 0 ? "\u2191 " : "\u2193 ") + Math.round(output) + " V" : "");
  }
}

/* Beside a point that stays at the edge of the picture, where it really is. */
function farther(marker, x, told) {
  let words = marker.querySelector("text");
  if (!words) {
    words = document.createElementNS("http://www.w3.org/2000/svg", "text");
    words.setAttribute("class", "farther");
    words.setAttribute("y", "4");
    marker.appendChild(words);
  }
  const right = x > 250;
  words.setAttribute("x", right ? "-11" : "11");
  words.setAttribute("text-anchor", right ? "end" : "start");
  if (words.textContent !== told) words.textContent = told;
}

function drawInForce(standings) { drawn.bands.forEach((parts) => toggled(parts, standings, "in-force")); }

/* The output of the stage as it is broken, against the line: up from below and down from above. */
function drawFaulty() {
  curves.forEach(({ faulty }) => {
    while (faulty.firstChild) faulty.removeChild(faulty.firstChild);
    faulty.setAttribute("visibility", fault() ? "visible" : "hidden");
  });
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
  const ends = [line[0], line[line.length - 1]];
  for (const { scale, faulty } of curves) {
    const part = document.createElementNS("http://www.w3.org/2000/svg", "line");
    ends.forEach((one, number) => {
      part.setAttribute("x" + (number + 1), across(scale, one[0]));
      part.setAttribute("y" + (number + 1), scale.y[0] + scale.y[1] * one[1]);
    });
    part.setAttribute("class", "faulty-line");
    faulty.appendChild(part);
  }
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
