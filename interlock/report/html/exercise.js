"use strict";
/* How far somebody is in an exercise: which steps and checks of its order are done, and which slips were made.  It knows
   rules by number only, and what is so by the truths of rows. */
function makeExercise(exercise, say) {
  const done = new Set(), slips = [];
  let open = null; // a step that is begun and not finished
  const isCheck = (step) => step.check !== null;
  const waits = (step) => !isCheck(step) && step.heads.length === 0;
  const isFree = (step) => !done.has(step.number) && step.after.every((number) => done.has(number));
  const isSo = (step, truth) => step.until === null || truth[step.until] === 1;
  const finish = (step) => { done.add(step.number); open = null; };
  const due = () => exercise.steps.filter(isFree);
  const missed = () => exercise.steps.filter((step) => !done.has(step.number));
  const nameOf = (step) => isCheck(step) ? say("the check '{text}'", step) : say("step {number}", step);
  const note = (text, worst) => {
    slips.push({text, effect: worst ? worst.effect : "", hazards: worst ? worst.hazards : []});
    return slips[slips.length - 1];
  };

  /* What has become so finishes what waits for it: in their order, since one may wait for another. */
  function see(truth) {
    if (open && open.heads.length === 1 && isSo(open, truth)) finish(open);
    for (const step of exercise.steps) if (waits(step) && isFree(step) && isSo(step, truth)) done.add(step.number);
  }
  function begin(step, truth) {
    open = step;
    if (step.heads.length === 1 && isSo(step, truth)) finish(step);
  }

  /* What comes of a step by people: the slip that it is, or null where it is as it should be.  The truths are those
     before it and after it. */
  function take(rule, before, after) {
    if (open && open.heads.length === 1 && open.heads[0].includes(rule)) { begin(open, after); return null; }
    if (open && open.heads.length > 1 && open.heads[1].includes(rule)) {
      const left = open, early = !isSo(left, before);
      finish(left);
      return early ? note(say("{here} is left before it has shown its result", {here: nameOf(left)}), left.omitted) : null;
    }
    const free = due();
    const next = free.find((step) => !isCheck(step) && step.heads.length && step.heads[0].includes(rule));
    if (next) {
      const left = open;
      begin(next, after);
      return left && left !== next ? note(say("step {number} is left before it is finished", left), null) : null;
    }
    const known = free.flatMap((step) => step.slips).find((slip) => slip.rules.includes(rule));
    const later = missed().find((step) => !isCheck(step) && step.heads.length && step.heads[0].includes(rule));
    if (later && free.length) {
      const first = open || free[0];
      begin(later, after);
      const worst = known && known.swaps ? known : first.omitted;
      return note(say("{later} is done before {here}", {later: nameOf(later), here: nameOf(first)}), worst);
    }
    if (known) return note(known.mode ? say("{text} ({kind}, error mode {mode})", known) : say("{text} ({kind})", known), known);
    const again = exercise.steps.find((step) => done.has(step.number) && step.heads.some((head) => head.includes(rule)));
    if (again) return note(say("step {number} is done again", again), null);
    return note(say("this is no step of the order of work"), null);
  }

  /* Somebody has looked and says that it is so. */
  function confirm(step, truth) {
    if (!truth[step.check]) return note(say("{here} is confirmed, and is not so", {here: nameOf(step)}), step.omitted);
    const first = due()[0];
    const early = !isFree(step);
    done.add(step.number);
    return early && first ? note(say("{later} is done before {here}", {later: nameOf(step), here: nameOf(first)}), null) : null;
  }

  /* Somebody says that the work is finished: the slip that it is, where something is left. */
  function stop() {
    const left = missed()[0];
    if (!left) return null;
    const text = say("the work is left off before {here}", {here: nameOf(left)});
    return slips.some((slip) => slip.text === text) ? null : note(text, left.left_off || left.omitted);
  }

  return {
    take, see, confirm, stop, due, slips, missed, nameOf,
    isDone: (step) => done.has(step.number),
    half: () => open,
    checks: () => {
      const left = missed();
      return left.filter((step) => isCheck(step) && step.part === left[0].part);
    },
    copy: () => ({done: [...done], open}),
    restore: (kept) => { done.clear(); kept.done.forEach((number) => done.add(number)); open = kept.open; },
  };
}
