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

  /* Whether a row is so in the state; the truths are those of the rows before it. */
  function isSo(at, state, truth) {
    const row = rows[at];
    switch (kinds[at]) {
      case CONST: return row[0];
      case IS: return state[row[0]] === row[1] ? 1 : 0;
      case NOT: return 1 - truth[row[0]];
      case SIGNAL: return truth[row[0]];
      case AND: for (let part = 0; part < row.length; part++) if (!truth[row[part]]) return 0; return 1;
      case OR: for (let part = 0; part < row.length; part++) if (truth[row[part]]) return 1; return 0;
    }
  }

  /* Of every row whether it is so in the state. */
  function truthsIn(state) {
    const truth = new Uint8Array(rows.length);
    for (let at = 0; at < rows.length; at++) truth[at] = isSo(at, state, truth);
    return truth;
  }

  /* Of guards, and of the rows that they are made of, whether they are so after a rule, from the truths before it: only
     what reads what the rule writes is asked anew.  Of other rows nothing is said. */
  function guardsAfter(truth, after, rule) {
    const found = truth.slice(), readers = readersOf(rule);
    for (let place = 0; place < readers.length; place++) found[readers[place]] = isSo(readers[place], after, found);
    return found;
  }
  const partsOf = (at) => kinds[at] === AND || kinds[at] === OR ? rows[at] : kinds[at] === NOT || kinds[at] === SIGNAL ? [rows[at][0]] : [];
  const known = new Map();
  let reads = null; // of each row that guards are made of the variables that it reads
  function readersOf(rule) {
    if (!reads) {
      const needed = new Uint8Array(rows.length);
      for (const {guard} of rules) needed[guard] = 1;
      for (let at = rows.length - 1; at >= 0; at--) if (needed[at]) for (const part of partsOf(at)) needed[part] = 1;
      reads = [];
      for (let at = 0; at < rows.length; at++) {
        const variables = new Set(needed[at] && kinds[at] === IS ? [rows[at][0]] : []);
        if (needed[at]) for (const part of partsOf(at)) for (const one of reads[part]) variables.add(one);
        reads.push(variables);
      }
    }
    if (!known.has(rule)) {
      const written = rules[rule].writes.map(([variable]) => variable);
      known.set(rule, Uint32Array.from(reads.flatMap((variables, at) => written.some((one) => variables.has(one)) ? [at] : [])));
    }
    return known.get(rule);
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

  /* The shortest way, by rules among `allowed`, to a state that `wanted(state, truth)` accepts, of which only guards'
     truths are to be asked: a list of rules, or null where none is found among the first `most` states. */
  function wayTo(state, wanted, allowed, most) {
    const search = looking(state, wanted, allowed, most);
    for (;;) { const {done, value} = search.next(); if (done) return value; }
  }
  /* The same by parts, each of a few states, so that whoever waits for it can do something else meanwhile. */
  function* looking(state, wanted, allowed, most) {
    const start = Uint16Array.from(state), places = new Map(), waiting = [];
    // states with one number are compared; how the number comes about only spreads them
    const mark = (variable, value) => { const one = Math.imul(variable * 4099 + value + 1, 0x9e3779b1); return Math.imul(one ^ (one >>> 15), 0x85ebca77); };
    const isSame = (one, other) => { for (let at = 0; at < one.length; at++) if (one[at] !== other[at]) return false; return true; };
    const isNew = ({number, state}) => {
      const alike = places.get(number);
      if (!alike) places.set(number, [state]);
      else if (alike.some((one) => isSame(one, state))) return false;
      else alike.push(state);
      return true;
    };
    const add = (one) => { if (isNew(one)) waiting.push(one); };
    add({state: start, number: 0, from: null, rule: null, truth: truthsIn(start)});
    for (let at = 0; at < waiting.length && at < most; at++) {
      const here = waiting[at];
      if (at % 32 === 31) yield;
      here.truth = here.truth || guardsAfter(here.from.truth, here.state, here.rule);
      if (wanted(here.state, here.truth)) {
        const way = [];
        for (let step = here; step.from; step = step.from) way.unshift(step.rule);
        return way;
      }
      for (const rule of allowed) {
        if (!here.truth[rules[rule].guard]) continue;
        let number = here.number;
        for (const [variable, value] of rules[rule].writes) {
          if (here.state[variable] !== value) number ^= mark(variable, here.state[variable]) ^ mark(variable, value);
        }
        add({state: fire(here.state, rule), number, from: here, rule, truth: null});
      }
    }
    return null;
  }

  return {data, rules, truthsIn, guardsAfter, enabledIn, fire, reasons, lacking, wayTo, looking};
}
