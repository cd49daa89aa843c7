"use strict";
/* The page at work: three ways to use it, each over the same view of a state. */
(() => {
  const told = JSON.parse(document.getElementById("data").textContent);
  const machine = makeMachine(told.working.tables);
  const {rules} = machine;
  const say = makeSay(told.words, told.thousands);
  const view = makeView(told, machine, ask, say);
  const {make, ended} = view;
  const byId = (id) => document.getElementById(id);
  const calm = matchMedia("(prefers-reduced-motion: reduce)");
  const MOST_SHOWN = 12, PAUSE_MS = 400; // all that moves by itself is still after five seconds
  const MOST_LOOKED_AT = 3000, SLICE_MS = 20;
  const people = rules.flatMap((rule, at) => rule.actor === "crew" || rule.driven ? [at] : []);
  const hazards = view.forbidden;
  let way = "work", trail = [], timer = 0, run = null, at = 0, exercise = null, progress = null, halted = false, byItself = true;

  const now = () => trail[trail.length - 1];
  const point = (state, rule, extra) => ({state, rule, truth: machine.truthsIn(state), ...extra});
  const brokenIn = (truth) => hazards.filter((one) => truth[one.row]);
  const newly = (truth, before) => brokenIn(truth).filter((one) => !before || !before[one.row]);

  /* What has changed, in words, but for what says only that nothing happens. */
  function changes(before, after) {
    const {values, idle} = told.working.tables, found = [];
    after.forEach((value, place) => {
      if (before[place] === value || idle.some(([one, other]) => one === place && other === value)) return;
      if (values[place][value] !== null) found.push(values[place][value]);
    });
    return found;
  }
  const sentenceOf = (rule) => [rules[rule].text, ...rules[rule].responses].join("; ");

  // ---- working the hold

  function begin(state) {
    stop();
    trail = [point(Uint16Array.from(state), null)];
    halted = false;
    view.quiet();
    view.tell(say("Nothing has been done yet"));
    refresh();
  }
  function refresh() {
    const here = now(), before = trail.length > 1 ? trail[trail.length - 2] : null;
    view.watch(way === "follow" || halted);
    view.show(here.state, here.truth, before && before.truth);
    view.warn(brokenIn(here.truth), here.state, here.truth, halted ? say("The exercise stops here.") : "");
    view.sayTrail(trail.slice(1).map((one) => one.slip ? say("{step} (slip: {slip})", {step: sentenceOf(one.rule), slip: one.slip.text}) : sentenceOf(one.rule)), trail.length - 2);
    if (way === "exercise") tellExercise();
  }
  function ask(offer, button) {
    if (way === "follow" || halted) return;
    stop();
    const here = now();
    const rule = offer.rules.find((one) => here.truth[rules[one].guard]);
    if (rule === undefined) {
      view.refuse(offer, button, here.state, here.truth, (wanted, tell) =>
        lookFor(machine.looking(here.state, (state, truth) => wanted.rules.some((one) => truth[rules[one].guard]), people, MOST_LOOKED_AT), tell));
      return;
    }
    view.quiet();
    if (step(rule)) pause(); else goOn(0);
  }
  /* Looks on until it is found, a short while at a time: the page can be worked meanwhile. */
  function lookFor(search, tell) {
    const until = performance.now() + SLICE_MS;
    while (performance.now() < until) {
      const {done, value} = search.next();
      if (done) { tell(value); return; }
    }
    setTimeout(() => lookFor(search, tell));
  }
  /* Takes the step; tells whether it breaks something that was not broken. */
  function step(rule) {
    const before = now(), extra = {};
    if (way === "exercise" && progress) {
      extra.kept = progress.copy();
    }
    const after = point(machine.fire(before.state, rule), rule, extra);
    if (extra.kept) {
      if (rules[rule].actor === "crew") after.slip = progress.take(rule, before.truth, after.truth);
      progress.see(after.truth);
    }
    trail.push(after);
    const found = newly(after.truth, before.truth);
    if (way === "exercise" && found.length) { halted = true; stop(); }
    view.tell(sentenceOf(rule), changes(before.state, after.state));
    refresh();
    return found.length > 0;
  }
  /* What is to be read must not be gone again in a moment: the equipment waits until somebody lets it go on. */
  function pause() {
    stop();
    byId("more").hidden = halted || !rules.some((rule) => rule.driven && now().truth[rule.guard]);
  }
  /* The equipment acts, one step after the other, in one of the orders in which it can. */
  function goOn(count) {
    stop();
    if (halted || way === "follow" || !byItself) return;
    const next = rules.findIndex((rule) => rule.driven && now().truth[rule.guard]);
    if (next < 0) return;
    if (count >= MOST_SHOWN) { pause(); return; }
    const act = () => { if (step(next)) pause(); else goOn(count + 1); };
    if (calm.matches) act(); else timer = setTimeout(act, PAUSE_MS);
  }
  function stop() {
    clearTimeout(timer);
    if (byId("more")) byId("more").hidden = true;
  }
  function takeBack() {
    stop();
    if (trail.length < 2) return;
    const gone = trail.pop();
    if (gone.kept && progress) progress.restore(gone.kept);
    halted = false;
    view.quiet();
    view.tell(say("Taken back: {text}", rules[gone.rule]));
    refresh();
  }

  // ---- tools above the plan

  function button(text, work, attributes) {
    const made = make("button", text, {type: "button", ...attributes});
    made.addEventListener("click", work);
    return made;
  }
  function chooser(label, entries, work) {
    const wrap = make("label", label + " "), list = make("select");
    entries.forEach(([group, text], place) => {
      let parent = list;
      if (group) {
        parent = [...list.children].find((one) => one.label === group) || list.appendChild(make("optgroup", "", {label: group}));
      }
      parent.append(make("option", text, {value: place}));
    });
    list.addEventListener("change", () => work(Number(list.value)));
    wrap.append(list);
    return wrap;
  }
  function workTools() {
    const {starts} = told.working;
    const own = make("label", ""), box = make("input", "", {type: "checkbox"});
    box.checked = byItself;
    box.addEventListener("change", () => { byItself = box.checked; goOn(0); });
    own.append(box, " " + say("The equipment acts by itself"));
    const more = button(say("The equipment can go on"), () => goOn(0), {id: "more"});
    more.hidden = true;
    const tools = [button(say("Take the step back"), takeBack), button(say("Begin again"), () => (way === "exercise" ? drillFrom : begin)(trail[0].state)), own, more];
    if (way === "work" && starts.length > 1) tools.push(startChooser(starts, firstStart(starts), (place) => begin(starts[place].state)));
    return tools;
  }
  function startChooser(starts, chosen, work) {
    const choice = chooser(say("Start:"), starts.map((start) => ["", start.text || say("as described")]), work);
    choice.lastChild.value = chosen;
    return choice;
  }
  /* Of the ways to start the one with most supplies on: little can be done without. */
  function firstStart(starts) {
    const supplies = told.working.lamps.filter((lamp) => lamp.supplies);
    const on = starts.map(({state}) => { const truth = machine.truthsIn(state); return supplies.filter((lamp) => truth[lamp.row]).length; });
    return on.indexOf(Math.max(...on));
  }
  const onlyTools = () => [workTools(), []];

  // ---- following a run

  function playedTrail(played) {
    const found = [point(Uint16Array.from(played.start), null)];
    for (const one of played.steps) {
      const last = found[found.length - 1];
      found.push(one.rule === null ? {...last, rule: null, note: one.note} : point(machine.fire(last.state, one.rule), one.rule, {note: one.note}));
    }
    return found;
  }
  function followTools() {
    if (!told.runs.length) {
      return [[make("p", say("There is no run on this page. Make it with what fails (--failing), or with a checklist (--load, --unload, --goal)."))], []];
    }
    const bar = make("div", "", {class: "player", role: "group", "aria-label": say("Steps of the run")});
    const slider = make("input", "", {type: "range", min: 0, id: "slider", "aria-label": say("Step")});
    slider.addEventListener("input", () => goTo(Number(slider.value)));
    bar.append(button(say("First"), () => goTo(0)), button(say("Back"), () => goTo(at - 1)), button(say("Next"), () => goTo(at + 1)),
               button(say("Last"), () => goTo(run.steps.length)), slider, make("output", "", {id: "place"}));
    bar.addEventListener("keydown", (event) => {
      const to = {ArrowRight: at + 1, ArrowLeft: at - 1, Home: 0, End: run.steps.length}[event.key];
      if (to === undefined || event.target === slider) return;
      event.preventDefault();
      goTo(to);
    });
    const runs = chooser(say("Run:"), told.runs.map((one) => [one.group, `${one.title} (${one.steps.length})`]), (place) => follow(told.runs[place]));
    return [[runs, bar], [make("div", "", {id: "about"}), make("div", "", {id: "why"})]];
  }
  function follow(played) {
    run = played;
    trail = playedTrail(run);
    byId("about").replaceChildren(make("h2", run.title), ...run.about.map((text) => make("p", text)));
    byId("slider").max = run.steps.length;
    goTo(0);
  }
  function goTo(place) {
    at = Math.max(0, Math.min(run.steps.length, place));
    const here = trail[at], before = at ? trail[at - 1] : null;
    byId("slider").value = at;
    byId("slider").setAttribute("aria-valuetext", at ? say("step {at} of {number}: {text}", {at, number: run.steps.length, text: lineOf(here)}) : say("the start"));
    byId("place").textContent = " " + say("{at} of {number}", {at, number: run.steps.length});
    view.watch(true);
    view.show(here.state, here.truth, before && before.truth);
    view.tell(at ? `${at}. ${lineOf(here)}` : say("The start of the run"), at ? changes(before.state, here.state) : []);
    view.warn(newly(here.truth, before && before.truth), here.state, here.truth, "");
    view.sayTrail(run.steps.map((_, number) => lineOf(trail[number + 1])), at - 1);
    const why = byId("why"), last = at === run.steps.length;
    why.replaceChildren();
    if (last && run.possible.length) why.append(make("h3", say("Why the last step was possible")), view.reasonList(run.possible));
    const head = run.possible.length ? say("Which part of the requirement broke") : say("Why the end is what it is");
    if (last && run.reached.length) why.append(make("h3", head), view.reasonList(run.reached));
  }
  function lineOf(one) {
    const said = one.rule === null ? "" : sentenceOf(one.rule);
    return one.note && said ? `${one.note} (${said})` : one.note || said || say("the start");
  }

  // ---- exercises

  function exerciseTools() {
    if (!told.exercises.length) {
      return [[make("p", say("There is no exercise on this page. Make it with a goal: --load, --unload or --goal."))], []];
    }
    const choice = chooser(say("Exercise:"), told.exercises.map((one) => ["", one.title]), (place) => drill(told.exercises[place]));
    const tools = [...workTools(), button(say("Hint"), hint), button(say("I have finished"), finish), make("span", "", {id: "starts"})];
    return [told.exercises.length > 1 ? [choice, ...tools] : tools, [make("div", "", {id: "course"}), make("div", "", {id: "goal"})]];
  }
  function drill(chosen) {
    const {starts} = exercise = chosen, first = firstStart(starts);
    byId("starts").replaceChildren(...(starts.length > 1 ? [startChooser(starts, first, (place) => drillFrom(starts[place].state))] : []));
    drillFrom(starts[first].state);
  }
  function drillFrom(start) {
    progress = makeExercise(exercise, say);
    progress.see(machine.truthsIn(Uint16Array.from(start)));
    begin(start);
    goOn(0);
  }
  function tellExercise() {
    if (!exercise || !byId("goal")) return;
    const reached = now().truth[exercise.goal];
    const last = now().slip;
    const rule = say("Work the hold to this goal. A step that breaks a requirement ends the exercise; it can be taken back. {compared} Where the order has a check, look, and confirm what is so. Nothing is stored.", exercise);
    const list = make("ul");
    for (const text of exercise.before) list.append(make("li", text));
    const steps = make("details"), order = make("ol");
    steps.open = byId("goal").querySelector("details.order")?.open || false;
    steps.className = "order";
    for (const one of exercise.steps) {
      const line = make("li", one.check !== null && !progress.isDone(one) ? say("look: {text}", one) : progress.isDone(one) ? say("{text} (done)", one) : one.text);
      for (const guard of one.warned) line.prepend(make("div", `${say(guard.label)}: ${guard.text}`, {class: `guard ${guard.label}`}));
      order.append(line);
    }
    steps.append(make("summary", say("Show the checklist")), order);
    const looks = make("div", "", {class: "list", id: "looks"});
    for (const one of progress.checks()) looks.append(button(one.text, () => confirm(one), {class: "offer"}));
    if (looks.children.length) looks.prepend(make("h3", say("Confirm once you have looked")));
    const start = exercise.before.length ? [make("p", say("At the start:")), list] : [];
    byId("goal").replaceChildren(make("h2", exercise.title), make("p", rule), ...start, looks,
      make("p", reached ? say("The goal is reached.") : say("The goal is not reached yet."), {class: "head"}), steps);
    byId("course").replaceChildren(...(last ? [slipLine(last)] : []));
  }
  function slipLine(slip) {
    const worst = {effect: slip.effect, hazards: slip.hazards.join(", ")};
    const effect = !slip.effect ? "" : " " + (slip.hazards.length ? say("The worst that the audit found of it: {effect} ({hazards}).", worst) : say("The worst that the audit found of it: {effect}.", worst));
    return make("p", say("Slip: {text}.", slip) + effect, {class: "slip"});
  }
  /* What was confirmed stands until the step before it is taken back. */
  function confirm(check) {
    const slip = progress.confirm(check, now().truth);
    progress.see(now().truth);
    tellExercise();
    byId("course").replaceChildren(slip ? slipLine(slip) : make("p", say("Confirmed: {text}", check), {role: "status"}));
    (byId("looks").querySelector("button") || byId("thing")).focus();
  }
  function hint() {
    const due = progress.due(), here = now();
    const on = trail.every((one) => !one.slip);
    let text = !due.length ? say("No step is left.") : due[0].check === null ? say("Next in the order of work: step {number}, {text}", due[0]) : say("Next in the order of work: look, and confirm: {text}", due[0]);
    if (progress.half()) text = progress.half().heads.length > 1 ? say("Step {number} is not finished: {text} Then let go.", progress.half()) : say("Step {number} is not finished: {text}", progress.half());
    if (!on) {
      const rests = new Set([[...trail[0].state], ...exercise.steps.flatMap((one) => one.rest ? [one.rest] : [])].map((state) => state.join()));
      // a written procedure has no one state after a step: the way leads to where nothing had gone wrong yet
      if (!exercise.steps.some((one) => one.rest)) for (const one of trail) { if (one.slip) break; rests.add(one.state.join()); }
      const line = make("p", say("Looking for a way."), {role: "status"});
      byId("course").replaceChildren(line);
      lookFor(machine.looking(here.state, (state) => rests.has(state.join()), people, MOST_LOOKED_AT), (back) => {
        if (back === null) text = say("No short way back to the order of work was found. Take steps back until before the slip.");
        else if (back.length) text = say("The shortest way back to the order of work: {steps}.", {steps: back.map((rule) => rules[rule].text).join(say("; then "))});
        line.textContent = text;
      });
      return;
    }
    byId("course").replaceChildren(make("p", text, {role: "status"}));
  }
  function finish() {
    const crew = trail.filter((one) => one.rule !== null && rules[one.rule].actor === "crew").length;
    const box = make("div", "", {role: "status"}), left = progress.stop();
    const checks = exercise.steps.filter((one) => one.check !== null);
    if (left) box.append(slipLine(left));
    box.append(make("h3", say("The end")), make("p", now().truth[exercise.goal] ? say("The goal is reached.") : say("The goal is not reached.")),
      make("p", say("Steps of people: {crew}; steps of the order of work: {steps}; checks confirmed: {seen} of {checks}; slips: {slips}.", {crew, steps: exercise.steps.length - checks.length, seen: checks.filter(progress.isDone).length, checks: checks.length, slips: progress.slips.length})));
    const slips = make("ul"), missed = make("ul");
    for (const slip of progress.slips) slips.append(make("li", ended(slip.text)));
    for (const one of progress.missed()) missed.append(make("li", one.check === null ? say("Step {number}. {text}", one) : say("Look: {text}", one)));
    if (progress.slips.length) box.append(make("p", say("Slips:")), slips);
    if (missed.children.length) box.append(make("p", say("Steps of the order of work that were not done:")), missed);
    byId("course").replaceChildren(box);
  }

  // ---- the three ways

  function turnTo(next) {
    stop();
    way = next;
    halted = false;
    for (const one of document.querySelectorAll("button[data-way]")) one.setAttribute("aria-pressed", String(one.dataset.way === way));
    document.body.dataset.way = way;
    const [above, beside] = {work: onlyTools, follow: followTools, exercise: exerciseTools}[way]();
    byId("tools").replaceChildren(...above);
    byId("beside").replaceChildren(...beside);
    if (way === "follow" && told.runs.length) follow(run || told.runs[0]);
    else if (way === "exercise" && told.exercises.length) drill(told.exercises[0]);
    else begin(told.working.starts[firstStart(told.working.starts)].state);
  }
  for (const one of document.querySelectorAll("button[data-way]")) one.addEventListener("click", () => turnTo(one.dataset.way));
  turnTo(told.runs.length && !told.exercises.length ? "follow" : "work");
})();
