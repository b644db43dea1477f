/* What the controller decides: look-ups in the compiled table, a fault's own one where it reads something else. */
const data = JSON.parse(document.getElementById("table-data").textContent);
const AWAY = data.decides.length - 1;
const by = (id) => document.getElementById(id);
const here = { x: data.at, standing: AWAY, hunting: false, fault: -1, playing: null };

function fault() { return data.faults[here.fault]; }
function node(standing) {
  const one = fault();
  return (one && one.decides ? one.decides : data.decides)[standing];
}

/* How many answers of a node lie behind a reading: one search in its array; x in steps. */
function passed(standing, x) {
  const firsts = node(standing).firsts;
  let low = 0, high = firsts.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (x < firsts[middle]) high = middle; else low = middle + 1;
  }
  return low;
}

/* One decision on a reading without error; a reading that is frozen calls for none. */
function decided(standing, x) {
  const one = fault();
  return one && one.freezes ? standing : node(standing).answers[passed(standing, x)];
}

/* Decisions until one stands; a row met again means that the stage hunts. */
function settled(standing, x) {
  const seen = [standing];
  for (;;) {
    const then = decided(seen[seen.length - 1], x);
    if (then === seen[seen.length - 1]) return [then, false];
    if (seen.includes(then)) return [then, true];
    seen.push(then);
  }
}

/* A slider that jumps is a line that runs: every step between is passed, so that the band is the one remembered.
   Nothing changes before the nearest threshold of the row in force, so that the walk goes from one to the next. */
function run(x) {
  const up = x >= here.x;
  for (let at = here.x; at !== x; ) {
    [here.standing, here.hunting] = settled(here.standing, at);
    const firsts = node(here.standing).firsts, place = passed(here.standing, at);
    let then = up ? (place < firsts.length ? firsts[place] : x) : place > 0 ? firsts[place - 1] - 1 : x;
    if (here.hunting) then = at + (up ? 1 : -1);
    at = up ? Math.min(Math.max(then, at + 1), x) : Math.max(Math.min(then, at - 1), x);
  }
  here.x = x;
  [here.standing, here.hunting] = settled(here.standing, x);
  show();
}

function restart() {
  [here.standing, here.hunting] = settled(AWAY, here.x);
  show();
}
