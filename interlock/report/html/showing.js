"use strict";
/* What the page shows of a state: plan, panels, power, what is possible.  It changes no state: whoever makes it is told
   what was asked for (`ask(offer)`).  Every text goes through textContent. */
function makeView(told, machine, ask, say) {
  const {items, offers, panels, lamps, forbidden} = told.working;
  const byId = (id) => document.getElementById(id);
  const itemOf = new Map(items.map((item) => [item.id, item]));
  const offersOf = new Map(items.map((item) => [item.id, offers.filter((offer) => offer.things.includes(item.id))]));
  const plan = document.querySelector(".plan svg");
  const seen = [...plan.querySelectorAll("[data-when]")].map((place) => ({place, row: Number(place.dataset.when)}));
  const actors = {crew: say("people"), plant: say("equipment"), mechanism: say("by itself"), failure: say("failure")};
  const MOST_LAMPS = 8; // more of one group are folded away
  let chosen = null, here = null, watching = false;

  function make(tag, text, attributes) {
    const made = document.createElement(tag);
    if (text) made.textContent = text;
    for (const [name, value] of Object.entries(attributes || {})) made.setAttribute(name, value);
    return made;
  }
  const capital = (text) => text.charAt(0).toUpperCase() + text.slice(1);
  const ended = (text) => capital(text) + (/[.!?]$/.test(text) ? "" : ".");
  const isPossible = (offer, truth) => offer.rules.some((rule) => truth[machine.rules[rule].guard]);
  const stateOf = (item, truth) => item.states.filter(([, row]) => truth[row]).map(([word]) => word);

  function reasonList(reasons) {
    const list = make("ul");
    for (const one of reasons) {
      const line = make("li", one.text);
      if (one.because.length) line.append(reasonList(one.because));
      list.append(line);
    }
    return list;
  }

  /* A button for something that can be done, or, greyed, for something that cannot: that one says why. */
  function offerButton(offer, truth, words) {
    const possible = isPossible(offer, truth);
    const button = make("button", capital(words || offer.text), {type: "button", class: "offer"});
    if (!possible) button.setAttribute("aria-disabled", "true");
    if (watching) button.disabled = true;
    button.addEventListener("click", () => ask(offer, button));
    return button;
  }

  // ---- the plan

  const ring = document.createElementNS(plan.namespaceURI, "g");
  plan.append(ring);
  function outline(places, name) {
    // asked for all at once: each outline that is drawn would have the plan laid out anew for the next
    for (const box of [...places].map((place) => place.getBBox())) {
      const line = document.createElementNS(plan.namespaceURI, "rect");
      const sides = {x: box.x - 4, y: box.y - 4, width: box.width + 8, height: box.height + 8, rx: 4, class: name};
      for (const [key, value] of Object.entries(sides)) line.setAttribute(key, value);
      ring.append(line);
    }
  }
  function showPlan(truth, before) {
    const changed = [];
    for (const {place, row} of seen) {
      place.classList.toggle("off", !truth[row]);
      if (before && truth[row] && !before[row]) changed.push(place);
    }
    ring.replaceChildren();
    outline(changed, "changed");
    if (chosen) outline(plan.querySelectorAll(`[data-id="${CSS.escape(chosen)}"]:not(.at-times *), .place[data-id="${CSS.escape(chosen)}"]`), "picked");
  }
  plan.addEventListener("click", (event) => {
    const place = event.target.closest("[data-id]");
    if (place && itemOf.has(place.dataset.id)) choose(place.dataset.id);
  });

  /* The whole of it where it can still be read so, else as large as it is drawn, to be scrolled. */
  const paper = plan.parentElement, size = byId("size");
  function fit(whole) {
    paper.classList.toggle("whole", whole);
    size.textContent = whole ? say("Draw the plan at full size") : say("Show the whole plan");
  }
  size.addEventListener("click", () => fit(!paper.classList.contains("whole")));
  fit(paper.clientWidth > 0.55 * plan.viewBox.baseVal.width);

  // ---- the thing that is chosen

  const picker = byId("thing");
  const sorts = new Map();
  for (const item of items) {
    if (!sorts.has(item.sort)) sorts.set(item.sort, make("optgroup", "", {label: capital(item.sort)}));
    sorts.get(item.sort).append(make("option", item.name, {value: item.id}));
  }
  picker.append(make("option", say("none"), {value: ""}), ...sorts.values());
  picker.addEventListener("change", () => choose(picker.value || null));

  function choose(id) {
    chosen = id;
    picker.value = id || "";
    quiet();
    if (here) show(here.state, here.truth, here.before);
  }
  function showChosen(truth) {
    const item = itemOf.get(chosen);
    byId("state").textContent = item ? say("{thing}: {states}", {thing: capital(item.name), states: stateOf(item, truth).join(", ") || say("no state to tell")}) : say("Click a thing on the plan, or choose it here.");
    const list = item ? offersOf.get(chosen).slice() : [];
    list.sort((one, other) => isPossible(other, truth) - isPossible(one, truth));
    byId("offers").replaceChildren(...list.map((offer) => offerButton(offer, truth)));
  }

  // ---- panels, power, what is possible

  function showPanels(truth) {
    byId("panels").replaceChildren(...panels.map((panel) => {
      const frame = make("section", "", {class: "panel"});
      frame.append(make("h2", panel.owning === null ? capital(panel.name) : truth[panel.owning] ? say("{panel}: in charge", {panel: capital(panel.name)}) : say("{panel}: not in charge", {panel: capital(panel.name)})));
      const strip = make("div", "", {class: "strip"});
      for (const id of panel.controls) {
        const control = itemOf.get(id), box = make("fieldset");
        const now = stateOf(control, truth).join(", ");
        const buttons = make("div", "", {class: "buttons"});
        box.append(make("legend", control.name), make("p", say("now: {states}", {states: now}), {class: "position"}), buttons);
        for (const offer of offersOf.get(id)) {
          if (offer.actor !== "crew") continue;
          const words = offer.text.replace(control.name, "").replace(/\s+/g, " ").trim();
          const button = offerButton(offer, truth, words);
          button.setAttribute("aria-label", capital(offer.text));
          buttons.append(button);
        }
        strip.append(box);
      }
      frame.append(strip);
      return frame;
    }));
  }
  function showLamps(truth) {
    const groups = new Map();
    for (const lamp of lamps) groups.set(lamp.group, [...(groups.get(lamp.group) || []), lamp]);
    const opened = new Set([...byId("lamps").querySelectorAll("details[open] dt")].map((head) => head.textContent));
    byId("lamps").replaceChildren(...[...groups].map(([group, list]) => {
      const on = list.filter((lamp) => truth[lamp.row]), off = list.filter((lamp) => !truth[lamp.row]);
      const names = (some) => some.map((lamp) => lamp.name).join(", ");
      const lines = make("dl");
      lines.append(make("dt", group), make("dd", say("● so: {names}", {names: names(on) || say("none")}), {class: "so"}));
      if (off.length) lines.append(make("dd", say("○ not: {names}", {names: names(off)})));
      if (list.length <= MOST_LAMPS) return lines;
      const folded = make("details");
      folded.open = opened.has(group);
      folded.append(make("summary", say("{group}: ● {on} so, ○ {off} not", {group, on: on.length, off: off.length})), lines);
      return folded;
    }));
  }
  function showPossible(truth) {
    const groups = new Map();
    for (const offer of offers) {
      if (!isPossible(offer, truth)) continue;
      groups.set(offer.actor, [...(groups.get(offer.actor) || []), offer]);
    }
    byId("possible").replaceChildren(...[...groups].flatMap(([actor, list]) => {
      const buttons = make("div", "", {class: "list"});
      buttons.append(...list.map((offer) => offerButton(offer, truth)));
      return [make("h3", capital(actors[actor])), buttons];
    }));
    if (!groups.size) byId("possible").append(make("p", say("Nothing can happen any more.")));
  }

  // ---- all of it

  function show(state, truth, before) {
    here = {state, truth, before};
    showPlan(truth, before);
    showChosen(truth);
    keepFocus(() => { showPanels(truth); showPossible(truth); });
    showLamps(truth);
  }
  /* Lists are made anew after each step: whoever works them by keys stays on the button of the same words. */
  function keepFocus(work) {
    const active = document.activeElement;
    const within = active && active.closest ? active.closest("#panels, #possible") : null;
    const label = within ? active.getAttribute("aria-label") || active.textContent : null;
    work();
    if (!within) return;
    const same = [...within.querySelectorAll("button")].find((button) => (button.getAttribute("aria-label") || button.textContent) === label);
    (same || within.querySelector("button") || byId("thing")).focus();
  }

  function tell(text, after) {
    byId("sentence").textContent = ended(text);
    byId("after").replaceChildren(...(after || []).map((one) => make("li", one)));
  }
  /* Requirements that are broken now, each with its hazard and source, and how it came to that. */
  function warn(broken, state, truth, head) {
    const box = byId("warned");
    box.replaceChildren(...broken.map((one) => {
      const frame = make("div", "", {class: `guard ${one.label}`});
      const steps = [...new Set(one.rules.filter((rule) => truth[machine.rules[rule].guard]).map((rule) => machine.rules[rule].text))];
      frame.append(make("b", say(one.label)), make("p", `${one.hazard} ${head || ""}`));
      frame.append(make("p", say("Broken: {text} ({id}). Severity {severity}. Source: {source}.", one)));
      if (steps.length) frame.append(make("p", say("Possible although it must not be: {steps}.", {steps: steps.join("; ")})));
      const why = make("details");
      why.append(make("summary", say("Which part of the requirement broke")), reasonList(machine.reasons(one.row, state, truth, 4)));
      frame.append(why);
      return frame;
    }));
  }
  /* It stands where it was asked for; the sentence above the plan says it as well, for who hears the page. */
  function refuse(offer, button, state, truth, lookFor) {
    const box = byId("refused"), place = button.closest("fieldset, #offers");
    if (place) place.after(box);
    const head = say("Not possible now: {text}.", offer);
    byId("sentence").textContent = head;
    byId("after").replaceChildren();
    const ways = offer.rules.map((rule) => machine.lacking(machine.rules[rule].guard, true, state, truth));
    ways.sort((one, other) => one.length - other.length);
    box.replaceChildren(make("p", head, {class: "head"}));
    const list = make("ul");
    for (const one of ways[0] || []) {
      const line = make("li", one.now && one.then ? say("{now}; it would have to be so that {then}", one) : one.now ? one.now : say("it would have to be so that {then}", one));
      if (one.because.length) line.append(reasonList(one.because));
      list.append(line);
    }
    box.append(list);
    const further = make("button", say("What would make it possible?"), {type: "button"});
    further.addEventListener("click", () => {
      const found = make("div"), line = make("p", say("Looking for a way."), {role: "status"});
      found.append(line);
      further.replaceWith(found);
      lookFor(offer, (way) => {
        if (way === null) line.textContent = say("No short way was found. That is not to say that there is none.");
        else {
          const order = make("ol");
          for (const rule of way) order.append(make("li", machine.rules[rule].text));
          line.textContent = say("These steps would make it possible. They are one way, not an instruction:");
          found.append(order);
        }
      });
    });
    box.append(further);
  }
  function sayTrail(lines, at) {
    const list = byId("trail");
    list.replaceChildren(...lines.map((line, place) => make("li", line, place === at ? {"aria-current": "step"} : {})));
    const now = list.querySelector("[aria-current]");
    if (now) list.scrollTop = Math.max(0, now.offsetTop - list.offsetTop - list.clientHeight / 2);
  }
  function quiet() {
    const box = byId("refused");
    box.replaceChildren();
    byId("offers").after(box); // panels are made anew, and it must not go with them
  }

  return {show, tell, warn, refuse, sayTrail, quiet, choose, make, ended, capital, reasonList, forbidden,
          watch: (only) => { watching = only; }};
}
