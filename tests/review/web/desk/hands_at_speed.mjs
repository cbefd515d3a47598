// Hands at speed, against a clock that is made up: random presses on random marks, while the line
// delays, loses, doubles and reorders what goes over it, the server breaks, the session ends, pages
// are closed and opened again. In the end page, row and server must agree with each other, and with
// what was pressed. Prints one JSON object; run by test_hands_at_speed.py.
//
// What runs here is the desk's own code (state, outbox, standing). Made up are the clock, the line, a
// page that is a table of rows, and a server that does what studio/review/idempotency.py does.

import { Outbox } from "../../../../studio/static/desk/outbox.js";
import { together } from "../../../../studio/static/desk/outbox-kept.js";
import { Standing } from "../../../../studio/static/desk/standing.js";
import * as states from "../../../../studio/static/desk/state.js";

const MARKS = ["a", "b", "c", "d", "e", "f"];
const [DELAY_MS, MOST_DELAY_MS] = [200, 2000];
const PATIENCE_MS = 20_000;
const FORGETS_KEYS = process.argv.includes("--forgets-keys"); // to see that the check can fail

/** Numbers from 0 to 1 that a seed decides. */
export function chance(seed) {
  let a = seed >>> 0;
  return () => {
    a = (a + 0x6d2b79f5) >>> 0;
    let t = Math.imul(a ^ (a >>> 15), 1 | a);
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t;
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
  };
}

class Clock {
  now = 0;
  #tasks = [];
  #count = 0;

  later(callback, ms) {
    const task = { at: this.now + ms, n: (this.#count += 1), callback };
    this.#tasks.push(task);
    return () => (task.callback = null);
  }

  async run() {
    while (this.#tasks.length) {
      this.#tasks.sort((a, b) => a.at - b.at || a.n - b.n);
      const { at, callback } = this.#tasks.shift();
      this.now = at;
      callback?.();
      for (let n = 0; n < 12; n += 1) await null; // whatever was waiting goes on
    }
  }
}

/** What acts.py and services.py do, on a table of marks. */
export class Server {
  version = 0;
  done = []; // { key, person, changes: [{ mark, was, now }], undone }
  #marks = Object.fromEntries(MARKS.map((mark) => [mark, null])); // { choice, token } or null
  #token = 0;

  constructor(gone = []) {
    this.gone = gone;
  }

  get choices() {
    return Object.fromEntries(MARKS.map((mark) => [mark, this.#marks[mark]?.choice ?? ""]));
  }

  /** What the teacher can take back, as a page is told of it. */
  get decided() {
    const able = this.done.filter((one) => one.person === "teacher" && one.changes.length && !one.undone);
    return able.map(({ key, changes }) => ({ key, before: changes.map(({ mark, was }) => [mark, was?.choice ?? ""]) }));
  }

  answer(marks = MARKS, outcome = "done") {
    const rows = marks.map((mark) => ({ mark, choice: this.choices[mark] }));
    return { outcome, version: this.version, marks: rows, parts: rows };
  }

  carryOut(act, person = "teacher") {
    if (!FORGETS_KEYS && this.done.some(({ key }) => key === act.key)) return this.answer();
    if (act.of === undefined && this.gone.includes(act.sets[0]?.[0])) {
      return { outcome: "refused", version: this.version, why: "not marked any more" };
    }
    this.version += 1;
    const changes = act.of === undefined ? this.#decide(act.sets) : this.#undo(act.of, person);
    this.done.push({ key: act.key, person, changes: act.of === undefined ? changes : [], undone: false });
    return this.answer(changes.map(({ mark }) => mark));
  }

  #decide(sets) {
    return sets
      .filter(([mark, choice]) => this.choices[mark] !== choice)
      .map(([mark, choice]) => {
        const was = this.#marks[mark];
        this.#marks[mark] = { choice, token: (this.#token += 1) };
        return { mark, was, now: this.#marks[mark].token };
      });
  }

  #undo(of, person) {
    const able = this.done.filter((one) => one.person === person && one.changes.length && !one.undone);
    const act = able.find(({ key }) => key === of);
    if (!act) return [];
    act.undone = true;
    const standing = act.changes.filter(({ mark, now }) => this.#marks[mark]?.token === now);
    for (const { mark, was } of standing) this.#marks[mark] = was;
    return standing;
  }
}

/** A tab: the desk's own state, standing and outbox, over a page of rows. */
class Tab {
  constructor({ server, clock, line, kept }) {
    this.rows = { ...server.choices }; // the page as it was served
    this.alive = true;
    const page = {
      put: (parts) => parts.forEach(({ mark, choice }) => (this.rows[mark] = choice)),
      order: () => MARKS,
      show: (state) => MARKS.forEach((mark) => (this.rows[mark] = states.choiceOf(state, mark))),
      takeAway: () => {},
      formOf: () => null,
    };
    const marks = MARKS.map((mark) => ({ mark, choice: this.rows[mark] }));
    const begun = states.begin({ marks, version: server.version, decided: server.decided });
    const later = (callback, ms) => clock.later(() => this.alive && callback(), ms);
    this.standing = new Standing(page, () => line.ask(), begun, later);
    this.kept = kept;
    this.outbox = new Outbox({
      post: (act) => line.post(act, this),
      later: (callback, ms) => clock.later(callback, ms),
      told: {
        settled: (act, answer) => this.standing.settle(act, answer),
        refused: async (act, answer) => {
          const { fallen } = await this.standing.refuse(act, answer);
          for (const { key } of fallen) this.outbox.drop(key);
        },
        lost: () => {},
        held: () => clock.later(() => this.outbox.again(), 5000), // logs in, and looks at the page again
        changed: () => this.keep(),
      },
    });
    const left = together(kept.splice(0));
    this.standing.become(states.tookOn(begun, this.standing.state, left.acts));
    this.outbox.begin(left.acts);
  }

  keep() {
    if (!this.alive) return;
    this.kept.splice(0, 1, { acts: this.outbox.acts, refused: [] });
  }

  close() {
    this.alive = false;
    this.outbox.stop();
  }

  get state() {
    return this.standing.state;
  }

  press(what, key, when) {
    const { state } = this;
    const act = { key, when };
    let next = null;
    if (what === "next" || what === "previous") {
      const to = states.neighbour(state, what === "next" ? 1 : -1, 0);
      return void this.standing.become(states.select(state, to ?? state.selected));
    }
    if (what === "rest" && !states.openMarks(state).length) return undefined;
    if (what === "undo") next = states.undo(state, act);
    else if (what === "rest") next = states.pressed(state, { ...act, sets: states.openMarks(state).map((mark) => [mark, "kept"]) });
    else next = states.decide(state, state.selected, what, act);
    if (next === state) return undefined;
    const queued = next.queue.at(-1);
    const on = ["undo", "rest"].includes(what) ? null : states.nextOpen(next);
    this.standing.become(on ? states.arrivedAt(next, on) : next);
    this.outbox.push(queued);
    return queued;
  }
}

/** Everything that a line and a server can do to a request. */
function lineTo(server, clock, random, seen) {
  const delay = () => DELAY_MS + random() * (MOST_DELAY_MS - DELAY_MS);
  const late = (tab, answer) => clock.later(() => tab.alive && answer.marks && tab.standing.take(answer), 4 * delay());
  const travel = (work, resolve, reject, fate) => {
    clock.later(() => {
      if (fate === "lost on the way") return clock.later(() => reject(new Error(fate)), delay());
      const answer = work();
      if (fate === "answer lost") return clock.later(() => reject(new Error(fate)), delay());
      return clock.later(() => resolve(answer), delay());
    }, delay() / 2);
  };
  const post = (act, tab) =>
    new Promise((resolve, reject) => {
      const [r, carry] = [random(), () => server.carryOut(act)];
      const count = (fate) => (seen[fate] = (seen[fate] ?? 0) + 1);
      if (r < 0.1) return travel(carry, resolve, reject, count("lost on the way") && "lost on the way");
      if (r < 0.2) return travel(carry, resolve, reject, count("answer lost") && "answer lost");
      if (r < 0.25) return count("server broke") && clock.later(() => resolve({ outcome: "failed" }), delay());
      if (r < 0.27) return count("logged out") && clock.later(() => resolve({ outcome: "held", why: "log-in" }), delay());
      if (r < 0.3) {
        count("arrives after it was given up");
        clock.later(() => reject(new Error("timeout")), PATIENCE_MS);
        return clock.later(() => late(tab, carry()), PATIENCE_MS + 4 * delay());
      }
      if (r < 0.36 && count("doubled")) clock.later(carry, 6 * delay());
      return travel(carry, (answer) => {
        if (random() < 0.1 && count("answer doubled")) late(tab, answer);
        resolve(answer);
      }, reject, "");
    });
  const ask = () =>
    new Promise((resolve) => {
      if (random() < 0.15) return clock.later(() => resolve(null), delay());
      return travel(() => server.answer(), resolve, () => {}, "");
    });
  return { post, ask };
}

const KEYS = ["next", "next", "next", "previous", "kept", "kept", "kept", "dropped", "dropped", "undo", "rest", "reload"];

/** One sequence of presses, `ideal` where every press takes no time. */
export async function sequence(seed, { gone = [], colleague = false } = {}, seen = {}) {
  const random = chance(seed);
  const clock = new Clock();
  const server = new Server(gone);
  const ideal = new Server();
  const kept = [];
  const line = lineTo(server, clock, random, seen);
  const open = () => new Tab({ server, clock, line, kept });
  const pressed = [];
  const amiss = [];
  const world = { tab: open(), selected: null, fresh: false };
  const many = 12 + Math.floor(random() * 40);
  const press = (n) => {
    const what = KEYS[Math.floor(random() * KEYS.length)];
    if (what === "reload") {
      if (random() < 0.7) return;
      seen.reload = (seen.reload ?? 0) + 1;
      world.tab.close();
      world.tab = open();
      world.selected = null;
      world.fresh = false;
      return;
    }
    const before = world.tab.state.selected;
    const act = world.tab.press(what, `${seed}-${n}`, n);
    if (act) pressed.push(act);
    press.inTheIdeal(what, before, `${seed}-${n}`);
  };
  // What the hands meant: the same keys where nothing ever waits.
  press.inTheIdeal = (what, selected, key) => {
    if (selected !== world.selected) {
      amiss.push(`${seed}: selected ${selected}, should be ${world.selected}`);
      world.selected = selected;
    }
    if (what === "next" || what === "previous") {
      const at = MARKS.indexOf(selected);
      if (what === "previous" || !world.fresh) world.selected = MARKS[at < 0 ? 0 : at + (what === "next" ? 1 : -1)] ?? selected;
      world.fresh = false;
    } else if (what === "undo") {
      const last = ideal.done.findLast(({ changes, undone }) => changes.length && !undone);
      if (!last) return;
      ideal.carryOut({ key, of: last.key, sets: [] });
      if (last.changes.length === 1) world.selected = last.changes[0].mark;
      world.fresh = false;
    } else if (what === "rest") {
      const rest = MARKS.filter((mark) => ideal.choices[mark] === "");
      if (!rest.length) return;
      ideal.carryOut({ key, sets: rest.map((mark) => [mark, "kept"]) });
    } else if (selected !== null && ideal.choices[selected] !== what) {
      ideal.carryOut({ key, sets: [[selected, what]] });
      const on = MARKS.slice(MARKS.indexOf(selected) + 1).find((mark) => ideal.choices[mark] === "");
      world.selected = on ?? selected;
      world.fresh = Boolean(on);
    }
  };
  if (gone.length || colleague) press.inTheIdeal = () => {};
  let at = 0;
  for (let n = 0; n < many; n += 1) {
    at += 60 + random() * 90;
    clock.later(() => press(n), at);
    if (colleague && random() < 0.2) {
      const sets = [[MARKS[Math.floor(random() * MARKS.length)], random() < 0.5 ? "kept" : "dropped"]];
      clock.later(() => server.carryOut({ key: `c-${n}`, sets }, "colleague"), at + 5);
    }
  }
  await clock.run();
  if (colleague) {
    // A page learns what somebody else did with its own next answer.
    world.tab.standing.become(states.select(world.tab.state, MARKS[0]));
    const other = states.choiceOf(world.tab.state, MARKS[0]) === "kept" ? "dropped" : "kept";
    pressed.push(world.tab.press(other, `${seed}-last`, many));
    await clock.run();
  }
  return { seed, many, server, ideal, tab: world.tab, pressed, amiss, ended: clock.now };
}

/** What does not agree in the end; empty where all is well. */
export function faults({ seed, server, ideal, tab, pressed, amiss }, { gone = [], colleague = false } = {}) {
  const found = [...amiss];
  const same = (what, one, other) => {
    const [a, b] = [JSON.stringify(one), JSON.stringify(other)];
    if (a !== b) found.push(`${seed}: ${what}: ${a} is not ${b}`);
  };
  same("left in the queue", [tab.outbox.acts.length, tab.state.queue.length], [0, 0]);
  same("page and server", tab.rows, server.choices);
  same("confirmed and server", MARKS.map((mark) => tab.state.confirmed[mark]), Object.values(server.choices));
  const carried = server.done.filter(({ person }) => person === "teacher").map(({ key }) => key);
  const wanted = pressed.filter((act) => carried.includes(act.key) || !gone.length).map(({ key }) => key);
  same("in the order pressed", carried, wanted);
  if (!colleague) {
    const replay = new Server(gone);
    for (const act of pressed) if (carried.includes(act.key)) replay.carryOut(act);
    same("each once", server.choices, replay.choices);
  }
  if (!gone.length && !colleague) same("what was pressed", server.choices, ideal.choices);
  return found;
}

async function main(many) {
  const seen = {};
  const found = [];
  let presses = 0;
  const runs = [
    [many, {}],
    [Math.round(many / 4), { gone: ["b", "e"] }],
    [Math.round(many / 4), { colleague: true }],
  ];
  let seed = 0;
  for (const [times, options] of runs) {
    for (let n = 0; n < times; n += 1) {
      const run = await sequence((seed += 1), options, seen);
      presses += run.many;
      found.push(...faults(run, options));
    }
  }
  console.log(JSON.stringify({ sequences: seed, presses, seen, faults: found.slice(0, 10), many: found.length }));
}

if (process.argv[1] === import.meta.filename) await main(Number(process.argv[2] ?? 2000));
