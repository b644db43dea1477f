"use strict";
(function () {
  const facts = JSON.parse(document.getElementById("watch-data").textContent);
  const by = (id) => document.getElementById(id);
  const news = by("watch-news"), form = by("watch-form"), told = by("watch-told"), problem = by("watch-problem");
  const fields = Array.from(form.querySelectorAll("input"));
  const folds = Array.from(document.querySelectorAll("main details"));
  const buttons = Array.from(form.querySelectorAll("button"));
  const PLACE = "tapplan place " + facts.home, TYPED = "tapplan typed " + location.pathname;
  let leaving = false;
  document.body.prepend(news);

  /* What is kept for the page that comes next: where the reader is, and what is typed and not yet tried. */
  function kept(name) {
    try { return JSON.parse(sessionStorage.getItem(name)) || {}; } catch (error) { return {}; }
  }

  function keep() {
    const slider = by("volts");
    const scroll = window.scrollY - news.offsetHeight; // the next page may have other news above
    const volts = slider ? slider.value : null, unfolded = folds.map((one) => one.open);
    const place = { scroll, volts, unfolded, open: by("watch-edit").open };
    sessionStorage.setItem(PLACE, JSON.stringify(place));
    const typed = {};
    fields.forEach((one) => { if (one.value !== one.defaultValue) typed[one.name] = one.value; });
    sessionStorage.setItem(TYPED, JSON.stringify(typed));
  }

  function restore() {
    const place = kept(PLACE), typed = kept(TYPED), slider = by("volts");
    fields.forEach((one) => { if (typeof typed[one.name] === "string") one.value = typed[one.name]; });
    by("watch-edit").open = place.open === true;
    if (place.unfolded && place.unfolded.length === folds.length)
      folds.forEach((one, number) => { one.open = place.unfolded[number]; });
    const volts = Number(place.volts);
    if (slider && place.volts !== null && Number.isInteger(volts) && window.tapplan && volts !== Number(slider.value))
      window.tapplan.run(Math.min(Math.max(volts, Number(slider.min)), Number(slider.max)));
    if (place.scroll > 0) window.scrollTo(0, place.scroll + news.offsetHeight);
  }

  /* Numbers other than the file's, as they are typed. */
  function changed() {
    const found = {};
    fields.forEach((one) => { if (one.value.trim() !== one.dataset.stated) found[one.name] = one.value.trim(); });
    return found;
  }

  function mark() {
    const found = changed();
    fields.forEach((one) => {
      one.classList.toggle("watch-changed", one.name in found);
      one.closest("td").querySelector("small").hidden = !(one.name in found);
    });
  }

  function say(text) { by("watch-said").textContent = text; }

  /* From now on nothing is typed that a page tried or the file does not have. */
  function forget() {
    fields.forEach((one) => { one.value = one.defaultValue; });
  }

  async function ask(what, meanwhile) {
    const numbers = changed();
    if (!Object.keys(numbers).length) { say("Nothing is changed."); return; }
    buttons.forEach((one) => { one.disabled = true; });
    say(meanwhile);
    try {
      const answer = await fetch(facts.home + what, {
        method: "POST",
        headers: { "Content-Type": "application/json", "Tapplan-Token": facts.home.split("/")[1] },
        body: JSON.stringify({ read: facts.read, numbers }),
      });
      const reply = await answer.json();
      if (answer.ok) { forget(); keep(); go(facts.home + reply.page); } else say(reply.problem);
    } catch (error) {
      say("No answer from tapplan, and nothing is known to be written: is it still running?");
    }
    buttons.forEach((one) => { one.disabled = false; });
  }

  function go(path) { leaving = true; if (path === location.pathname) location.reload(); else location.assign(path); }

  /* Which page of the file is the last one, and what is wrong with the file since. */
  function heard(now) {
    if (now.page !== facts.page && !facts.tried) { leaving = true; location.reload(); return; }
    news.classList.toggle("watch-wrong", now.problem !== "");
    problem.hidden = now.problem === "";
    problem.textContent = now.problem;
    told.textContent = now.problem !== "" ? "The file as saved makes no page. This is the last one that it made:"
      : now.page !== facts.page ? "The file has been saved since; this page is of before, and cannot be written." : "";
  }

  function lost() {
    if (leaving) return;
    told.textContent = "No word from tapplan: this page follows the file no more until it runs again.";
  }

  history.scrollRestoration = "manual";
  restore();
  mark();
  window.addEventListener("pagehide", keep);
  window.addEventListener("pageshow", (event) => { if (event.persisted) location.reload(); });
  form.addEventListener("input", mark);
  form.addEventListener("submit", (event) => { event.preventDefault(); ask("try", "Trying\u2026"); });
  by("watch-write").addEventListener("click", () => ask("write", "Writing\u2026"));
  by("watch-stated").addEventListener("click", () => {
    fields.forEach((one) => { one.value = one.dataset.stated; });
    say("");
    mark();
  });
  const events = new EventSource(facts.home + "events");
  events.onmessage = (event) => heard(JSON.parse(event.data));
  events.onerror = lost;
})();
