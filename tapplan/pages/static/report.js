"use strict";
(function () {
  const data = JSON.parse(document.getElementById("table-data").textContent);
  const AWAY = -1;
  const by = (id) => document.getElementById(id);
  const slider = by("volts"), box = by("volts-box"), fault = by("fault");
  let standing = AWAY, hunting = false;

  /* One decision, as the controller takes it on a reading without error; x in steps. */
  function decided(row, x) {
    if (row === AWAY) {
      const found = data.starts.find((one) => x <= one[0]);
      return found ? found[1] : AWAY;
    }
    const hold = data.holds[row];
    if (hold && x >= hold[0] && x <= hold[1]) return row;
    if (!hold) return AWAY;
    const step = x > hold[1] ? 1 : -1;
    for (let n = row + step; n >= 0 && n < data.holds.length; n += step) {
      const one = data.holds[n];
      if (one && (!data.jumps || (x >= one[0] && x <= one[1]))) return n;
    }
    return AWAY;
  }

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

  function nextPoints() {
    if (standing === AWAY || !data.holds[standing]) return "-";
    const hold = data.holds[standing], last = data.holds.length - 1;
    const up = "rising above " + fixed(hold[1] / data.per_volt) + " V" + (standing === last ? " (leaves the bands)" : "");
    return up + ", falling below " + fixed(hold[0] / data.per_volt) + " V" + (standing === 0 ? " (leaves the bands)" : "");
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
    by("next").textContent = nextPoints();
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
  window.tapplan = { decided, settled, run, standing: () => standing };
  slider.dataset.last = data.at;
  move(data.at);
})();
