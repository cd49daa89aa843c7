"use strict";
/* What an expression, a rule and a step mean, a second time: the same as `interlock/kernel/evaluator.py` and the
   reasons of `interlock/hold/tell.py`, which the tests hold this to, state by state.  A state is one place in the
   domain for each variable; expressions are rows of one table, each behind those that it is made of, so that one pass
   finds all truths. */
function makeMachine(data) {
  const CONST = 0, IS = 1, NOT = 2, AND = 3, OR = 4, SIGNAL = 5;
  const words = ["const", "is", "not", "and", "or", "signal"];
  const rows = data.rows.map((row) => row.slice(1));
  const kinds = Uint8Array.from(data.rows, (row) => words.indexOf(row[0]));
  const rules = data.rules;

  /* Of every row whether it is so in the state. */
  function truthsIn(state) {
    const truth = new Uint8Array(rows.length);
    for (let at = 0; at < rows.length; at++) {
      const row = rows[at];
      let value = 0;
      switch (kinds[at]) {
        case CONST: value = row[0]; break;
        case IS: value = state[row[0]] === row[1] ? 1 : 0; break;
        case NOT: value = 1 - truth[row[0]]; break;
        case SIGNAL: value = truth[row[0]]; break;
        case AND: value = 1; for (const part of row) if (!truth[part]) { value = 0; break; } break;
        case OR: for (const part of row) if (truth[part]) { value = 1; break; } break;
      }
      truth[at] = value;
    }
    return truth;
  }

  /* The rules that may fire, in the order of the machine. */
  function enabledIn(truth) {
    const found = [];
    for (let at = 0; at < rules.length; at++) if (truth[rules[at].guard]) found.push(at);
    return found;
  }

  /* The state after the rule's assignments; the guard is not asked. */
  function fire(state, rule) {
    const after = Uint16Array.from(state);
    for (const [variable, value] of rules[rule].writes) after[variable] = value;
    return after;
  }

  /* The sentences that make a row what it is, true or false: of a true conjunction all parts, of a false one the first
     false part, and the other way round of alternatives. */
  function reasons(row, state, truth, depth) {
    if (depth < 0) return [];
    const parts = rows[row], so = truth[row];
    switch (kinds[row]) {
      case CONST: return [];
      case NOT: return reasons(parts[0], state, truth, depth);
      case IS: {
        const text = data.values[parts[0]][state[parts[0]]];
        return text === null ? [] : [{text, because: []}];
      }
      case SIGNAL: {
        if (parts[1] < 0) return reasons(parts[0], state, truth, depth);
        const text = data.phrases[parts[1]][so ? 0 : 1];
        let inner = depth > 0 ? reasons(parts[0], state, truth, depth - 1) : [];
        if (inner.length === 1 && inner[0].text === text) inner = inner[0].because;
        return [{text, because: inner}];
      }
    }
    const every = (kinds[row] === AND) === Boolean(so);
    const found = new Map();
    for (const part of parts) {
      if (!every && truth[part] !== so) continue;
      for (const one of reasons(part, state, truth, depth)) if (!found.has(JSON.stringify(one))) found.set(JSON.stringify(one), one);
      if (found.size && !every) break;
    }
    return [...found.values()];
  }

  /* Why a row is not as wanted: for every part that stands in the way how it is now, and how it would have to be. */
  function lacking(row, wanted, state, truth) {
    if (Boolean(truth[row]) === wanted) return [];
    const parts = rows[row];
    switch (kinds[row]) {
      case CONST: return [];
      case NOT: return lacking(parts[0], !wanted, state, truth);
      case IS: {
        const says = data.values[parts[0]];
        return [{now: says[state[parts[0]]] || "", then: wanted ? says[parts[1]] || "" : "", because: []}];
      }
      case SIGNAL: {
        if (parts[1] < 0) return lacking(parts[0], wanted, state, truth);
        const [so, not] = data.phrases[parts[1]];
        const because = reasons(parts[0], state, truth, 1).filter((one) => one.text !== (wanted ? not : so));
        return [{now: wanted ? not : so, then: wanted ? so : not, because}];
      }
    }
    const found = new Map();
    for (const part of parts) for (const one of lacking(part, wanted, state, truth)) found.set(one.now + one.then, one);
    // of what would do by itself the first that can be told stands for all
    return (kinds[row] === AND) === wanted ? [...found.values()] : [...found.values()].slice(0, 1);
  }

  /* The shortest way, by rules among `allowed`, to a state that `wanted(state, truth)` accepts: a list of rules, or
     null where none is found among the first `most` states. */
  function wayTo(state, wanted, allowed, most) {
    const start = Uint16Array.from(state);
    const seen = new Map([[start.join(), null]]), waiting = [start];
    for (let at = 0; at < waiting.length && at < most; at++) {
      const here = waiting[at], truth = truthsIn(here);
      if (wanted(here, truth)) {
        const way = [];
        for (let step = seen.get(here.join()); step; step = seen.get(step.from)) way.unshift(step.rule);
        return way;
      }
      const from = here.join();
      for (const rule of allowed) {
        if (!truth[rules[rule].guard]) continue;
        const after = fire(here, rule), key = after.join();
        if (!seen.has(key)) { seen.set(key, {from, rule}); waiting.push(after); }
      }
    }
    return null;
  }

  return {data, rules, truthsIn, enabledIn, fire, reasons, lacking, wayTo};
}
