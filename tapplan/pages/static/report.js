"use strict";
(function () {
  const data = JSON.parse(document.getElementById("table-data").textContent);
  const AWAY = data.nodes.length - 1;
  const by = (id) => document.getElementById(id);
  const slider = by("volts"), box = by("volts-box"), fault = by("fault");
  let standing = AWAY, hunting = false;

  /* How many answers of a node lie behind a reading: one search in its array; x in steps. */
  function passed(row, x) {
    const firsts = data.nodes[row].firsts;
    let low = 0, high = firsts.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (x < firsts[middle]) high = middle; else low = middle + 1;
    }
    return low;
  }

  /* One decision, looked up as the controller does, on a reading without error. */
  function decided(row, x) { return data.nodes[row].answers[passed(row, x)]; }

  /* Decisions until one stands; a row met again means that the stage hunts. */
  function settled(row, x) {
    const seen = [row];
    for (;;) {
      const then = decided(seen[seen.length - 1], x);
      if (then === seen[seen.length - 1]) return [then, false];
      if (seen.includes(then)) return [then, true];
      seen.push(then);
    }
  }

  function fixed(value) { return (Math.round(value * 10) / 10).toFixed(1); }

  function mark(kind, numbers, name, on) {
    document.querySelectorAll("#schematic [id^=" + kind + "-]").forEach((part) => {
      const number = Number(part.id.slice(kind.length + 1));
      if (name === "open") {
        part.classList.toggle("open", !numbers.includes(number));
        part.classList.toggle("closed", numbers.includes(number));
      } else part.classList.toggle(name, on && numbers.includes(number));
    });
  }

  /* Where the answer changes above and below, seen from the line's volts. */
  function nextPoints(x) {
    if (standing === AWAY || hunting) return "-";
    const node = data.nodes[standing], here = passed(standing, x);
    const leaves = (place) => node.answers[place] === AWAY ? " (leaves the bands)" : "";
    const told = [];
    if (here < node.firsts.length)
      told.push("rising above " + fixed((node.firsts[here] - 1) / data.per_volt) + " V" + leaves(here + 1));
    if (here > 0) told.push("falling below " + fixed(node.firsts[here - 1] / data.per_volt) + " V" + leaves(here - 1));
    return told.join(", ") || "-";
  }

  function faultTold(x) {
    const chosen = data.faults[Number(fault.value)];
    if (!chosen || standing === AWAY) return chosen ? "no band in force" : "-";
    const row = chosen.rows[standing];
    if (!row) return "-";
    const volts = row.output ? fixed(row.output[0]) + " to " + fixed(row.output[1]) + " V over this band" : "no fixed volts";
    return row.kind + ": " + volts + (row.harmless ? " (inside the window)" : " (outside the window)");
  }

  function show(x) {
    const row = standing === AWAY ? data.away : data.rows[standing];
    const volts = x / data.per_volt;
    const output = standing === AWAY || row.ratio === null ? null : row.ratio * volts;
    by("band").textContent = row.name + (hunting ? " (hunting: no band stands here)" : "");
    by("coils").textContent = row.energised.length ? row.energised.join(", ") : "none (all at rest)";
    by("output").textContent = output === null ? "-" : fixed(output) + " V" +
      (output < data.window[0] ? ", below the window" : output > data.window[1] ? ", above the window" : ", inside the window");
    by("path").textContent = row.path.join(" \u2192 ") || "no way from line to output";
    by("next").textContent = nextPoints(x);
    by("fault-shows").textContent = faultTold(x);
    mark("contact", row.closed, "open", true);
    ["net", "section", "contact"].forEach((kind) => mark(kind, row[kind + "s"], "live", true));
    const now = document.querySelector("#curve #now");
    if (output === null) now.setAttribute("visibility", "hidden");
    else {
      now.setAttribute("visibility", "visible");
      now.setAttribute("transform", "translate(" + (data.x[0] + data.x[1] * volts) + " " + (data.y[0] + data.y[1] * output) + ")");
    }
  }

  function move(x) {
    [standing, hunting] = settled(standing, x);
    slider.value = x;
    slider.setAttribute("aria-valuetext", fixed(x / data.per_volt) + " volts");
    box.value = fixed(x / data.per_volt);
    show(x);
  }

  /* A slider that jumps is a line that runs: every step between is passed, so that the band is the one remembered. */
  function run(x) {
    const from = Number(slider.dataset.last || x);
    const step = x >= from ? 1 : -1;
    for (let n = from; n !== x; n += step) [standing, hunting] = settled(standing, n);
    slider.dataset.last = x;
    move(x);
  }

  data.faults.forEach((one, number) => {
    const option = document.createElement("option");
    option.value = number;
    option.textContent = one.name;
    fault.appendChild(option);
  });
  slider.addEventListener("input", () => run(Number(slider.value)));
  box.addEventListener("change", () => {
    const x = Math.round(Number(box.value) * data.per_volt);
    if (box.value !== "" && Number.isFinite(x)) run(Math.min(Math.max(x, data.from), data.to));
  });
  fault.addEventListener("change", () => show(Number(slider.value)));
  by("restart").addEventListener("click", () => { standing = AWAY; move(Number(slider.value)); });
  window.tapplan = { AWAY, decided, settled, run, standing: () => standing };
  slider.dataset.last = data.at;
  move(data.at);
})();
