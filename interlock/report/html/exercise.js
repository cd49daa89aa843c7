"use strict";
/* How far somebody is in an exercise: which steps of the proved order are done, and which slips were made.  It knows
   rules by number only. */
function makeExercise(exercise, say) {
  const done = new Set(), slips = [];
  let open = null; // a step of which the first half is done
  const waits = (step) => step.heads.length === 0;
  const isFree = (step) => !done.has(step.number) && step.after.every((number) => done.has(number));
  const finish = (step) => { done.add(step.number); open = null; passWaits(); };
  function passWaits() {
    for (const step of exercise.steps) if (waits(step) && isFree(step)) done.add(step.number);
  }
  const due = () => exercise.steps.filter(isFree);
  const note = (text, effect, hazards) => { slips.push({text, effect, hazards}); return slips[slips.length - 1]; };

  /* What comes of a step by people: the slip that it is, or null where it is as it should be. */
  function take(rule) {
    if (open && open.heads[1].includes(rule)) { finish(open); return null; }
    const free = due();
    const next = free.find((step) => step.heads[0].includes(rule));
    if (next) {
      const left = open;
      open = null;
      if (next.heads.length > 1) open = next; else finish(next);
      return left && left !== next ? note(say("step {number} is left before it is finished", left), "", []) : null;
    }
    const known = free.flatMap((step) => step.slips).find((slip) => slip.rules.includes(rule));
    const later = exercise.steps.find((step) => !done.has(step.number) && step.heads.length && step.heads[0].includes(rule));
    if (later && free.length) {
      const missed = free[0];
      if (later.heads.length > 1) open = later; else finish(later);
      const told = known && known.swaps ? known : missed.omitted;
      return note(say("step {later} is done before step {missed}", {later: later.number, missed: missed.number}), told ? told.effect : "", told ? told.hazards : []);
    }
    if (known) return note(known.mode ? say("{text} ({kind}, error mode {mode})", known) : say("{text} ({kind})", known), known.effect, known.hazards);
    const again = exercise.steps.find((step) => done.has(step.number) && step.heads.some((head) => head.includes(rule)));
    if (again) return note(say("step {number} is done again", again), "", []);
    return note(say("this is no step of the proved order"), "", []);
  }
  passWaits();
  return {
    take, due, slips,
    missed: () => exercise.steps.filter((step) => !done.has(step.number)),
    isDone: (step) => done.has(step.number),
    half: () => open,
    copy: () => ({done: [...done], open, slips: slips.length}),
    restore: (kept) => { done.clear(); kept.done.forEach((number) => done.add(number)); open = kept.open; },
  };
}
