// The card itself: what is typed, what is kept, what is shown. Numbers come from settings.js.

const known = JSON.parse(document.getElementById("known").textContent);
const one = (selector, within = document) => within.querySelector(selector);
const all = (selector, within = document) => [...within.querySelectorAll(selector)];

/** Fields of a run, with their words for messages. */
const FIELDS = {
  target_m: "the target", turns: "turns", ticks: "ticks", aim_right_cm: "the aim mark", long_cm: "long or short",
  right_cm: "right or left", lead_turns: "the lead",
};
const SIGN_WORDS = { aim_right_cm: ["right", "left"], long_cm: ["long", "short"], right_cm: ["right", "left"] };

// What is kept. Entries stay on this phone, under the calibration's check sum: another season starts empty.

const KEY = "haltmark-card-" + known.check;
const fresh = () => {
  const rig = known.rigs[known.newest_rig];
  return { target: "", beat: "", rig: known.newest_rig, build: rig.newest_build, trim: rig.heading ? rig.heading.newest_trim : 0, day: "", runs: [], earlier: null };
};

function sound(kept) {
  const rig = known.rigs[kept.rig], whole = (x, count) => Number.isInteger(x) && x >= 0 && x < count;
  const fits = (at) => whole(at.rig, known.rigs.length) && whole(at.build, known.rigs[at.rig].builds.length)
    && whole(at.trim, known.rigs[at.rig].heading ? known.rigs[at.rig].heading.trims.length : 1);
  const soundRuns = (runs) => Array.isArray(runs) && runs.every((run) => fits(run) && typeof run.status === "string"
    && Object.keys(FIELDS).every((name) => typeof run[name] === "string"));
  const earlier = kept.earlier ?? null;
  return rig && fits(kept) && typeof kept.target === "string" && typeof (kept.beat ?? "") === "string" && typeof kept.day === "string"
    && soundRuns(kept.runs) && (earlier === null || (typeof earlier.day === "string" && soundRuns(earlier.runs)));
}

let keeps = true;
/** What this phone keeps, or null where that is nothing that can be used. */
function kept() {
  try {
    const found = JSON.parse(localStorage.getItem(KEY));
    return found && sound(found) ? found : null;
  } catch {
    return null;
  }
}
const load = () => ({ ...fresh(), ...kept() });
function save() {
  try {
    localStorage.setItem(KEY, JSON.stringify(state));
    keeps = true;
  } catch {
    keeps = false;
  }
  one("#not-kept").hidden = keeps;
}

/** Opened twice, the page that was typed into last is right: the other takes over what that one kept. */
function follow() {
  const now = keeps ? kept() : null; // what was not kept stands here alone
  if (now === null || JSON.stringify(now) === JSON.stringify(state)) return;
  remember();
  state = now;
  boxes();
  choices();
  rows();
  show();
}
addEventListener("storage", follow);
document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && follow());

/** A new day starts empty; the runs of an earlier one are kept aside until a run of today is entered. */
function newDay(kept) {
  const stale = kept.runs.length > 0 && kept.day !== "" && kept.day !== today();
  return stale ? { ...kept, earlier: { runs: kept.runs, day: kept.day }, runs: [], day: "" } : kept;
}

const chosenBefore = kept() !== null;
let state = newDay(load());
let undone = []; // earlier states, newest last
let before = ""; // the state when a box was entered

function remember(text = JSON.stringify(state)) {
  if (undone[undone.length - 1] !== text) undone.push(text);
  if (undone.length > 50) undone.shift();
}

// Reading what was typed.

/** A number as people type it, or null: a comma or a point, any minus. */
function numberOf(text) {
  const plain = text.trim().replace(/[\u2212\u2013]/, "-").replace(",", ".");
  return /^[+-]?(\d{1,9}(\.\d*)?|\.\d+)$/.test(plain) ? Number(plain) : null;
}

/** The announced target: a number, or a reason why not. */
function targetOf(text) {
  if (text.trim() === "") return { value: null, reason: "" };
  const value = numberOf(text);
  if (value === null) return { value: null, reason: "Not a number. Type metres, like 8.35" };
  if (value < 0.01) return { value: null, reason: "The target must lie ahead: type metres, like 8.35" };
  if (value > 5 * known.longest_m) return { value: null, reason: `${value} m is far beyond ${known.longest_m} m. Type metres, not centimetres` };
  const [least, most] = known.told_m;
  if (value < least || value > most) return { value: null, reason: `The season tells nothing of ${value} m: ${trimmed(least, 3)} to ${trimmed(most, 3)} m can be asked for` };
  return { value, reason: "" };
}

/** What a signed box shows at rest: the size alone, for the word beside it says the side. What is no number stays as typed. */
const sizeOf = (text) => (numberOf(text) !== null || text.trim() === "-" ? text.trim().replace(/^[-+\u2212\u2013]/, "") : text);

/** A distance to beat, m, or null: cm above 0. */
function beatOf(text) {
  const cm = numberOf(text);
  return cm !== null && cm > 0 && cm <= 100000 ? cm / 100 : null;
}

/** A run's boxes as numbers, with the first reason why it cannot count, and the boxes that are wrong. */
function readRun(run) {
  const out = { status: run.status, rig: run.rig, build: run.build, trim: run.trim, believed: run.believed === true, wrong: [], reason: "", waits: false };
  const refuse = (name, reason) => {
    out.wrong.push(name);
    out.reason ||= reason;
  };
  for (const name of Object.keys(FIELDS)) {
    out[name] = run[name].trim() === "" ? null : numberOf(run[name]);
    if (out[name] === null && run[name].trim() !== "" && run[name].trim() !== "-") refuse(name, `${FIELDS[name]}: “${run[name].trim().slice(0, 12)}” is not a number`);
  }
  const per = known.ticks_per_turn;
  if (out.target_m !== null && (out.target_m < 0.01 || out.target_m > 5 * known.longest_m)) refuse("target_m", "the target is in metres, like 8.35");
  if (out.turns !== null && (out.turns < 0 || out.turns > 100000)) refuse("turns", "turns are counted from 0 up");
  if (out.ticks !== null && (out.ticks < 0 || out.ticks >= per)) refuse("ticks", `the dial has ${per} ticks: type 0 to ${per - 1}, and the rest as whole turns`);
  if (out.ticks > 0 && out.turns !== null && out.turns % 1 !== 0) refuse("turns", "whole turns beside ticks, or the part of a turn counts twice");
  if (out.lead_turns !== null && (out.lead_turns < 0 || out.lead_turns > 100000)) refuse("lead_turns", "the lead is counted from 0 up");
  for (const name of Object.keys(SIGN_WORDS)) {
    if (Math.abs(out[name] ?? 0) > 100000) refuse(name, `${FIELDS[name]}: centimetres, please`);
  }
  if (out.target_m !== null && out.long_cm !== null && out.target_m + out.long_cm / 100 <= 0) refuse("long_cm", "that would be behind the start mark: centimetres, and + past the target");
  const missing = ["target_m", "turns", "long_cm"].filter((name) => out[name] === null && !out.wrong.includes(name));
  out.waits = run.status === "ok" || run.status === "recoil" ? missing.length > 0 : false;
  out.missing = missing;
  out.counts = out.wrong.length === 0 && !out.waits;
  return out;
}

// Showing.

const text = (element, words) => {
  if (element.textContent !== words) element.textContent = words;
};
const trimmed = (x, digits) => String(Number(x.toFixed(digits)) + 0);
const sides = (x, plus, minus) => `${trimmed(Math.abs(x), Math.abs(x) < 10 ? 1 : 0)} cm ${x >= 0 ? plus : minus}`;

function chanceWords(p) {
  if (p < 0.0005) return "less than 1 in 2000";
  if (p < 0.01) return `1 in ${Math.round(1 / p / 10) * 10}`;
  return p > 0.995 ? "nearly always" : `${Math.round(100 * p)} in 100`;
}

const result = (name) => one(`[data-result="${name}"]`);

/** The answer, computed again only when something it depends on has changed. */
let last = { asked: "", found: null };
function answerOnce(rig, runs, target, beat) {
  const asked = JSON.stringify([state.rig, state.build, state.trim, runs, target, beat]);
  if (asked !== last.asked) last = { asked, found: answer(known, rig, state.build, state.trim, runs, target, beat) };
  return last.found;
}

/** Everything that follows from the state. */
function show() {
  const rig = known.rigs[state.rig], target = targetOf(state.target);
  text(one("#target-reason"), target.reason);
  one("[name=target_m]", one("#ask")).setAttribute("aria-invalid", target.reason !== "");
  const read = state.runs.map(readRun);
  const mine = read.map((run) => run.counts && run.rig === state.rig);
  const counted = read.filter((_, i) => mine[i]);
  const beat = beatOf(state.beat);
  one("[name=beat_cm]").setAttribute("aria-invalid", state.beat.trim() !== "" && beat === null);
  const found = answerOnce(rig, counted, target.value, beat);
  showSetting(target.value, found, rig);
  showStays(found.setting);
  showWays(found);
  showShares(found);
  const indices = read.map((_, i) => i).filter((i) => mine[i]);
  showDoubted(found, indices);
  all("[data-run]").forEach((row, i) => {
    const at = indices.indexOf(i);
    showRun(row, state.runs[i], read[i], at < 0 ? null : found.told[at], found.doubted.find((d) => d.run === at));
  });
  one("#undo").hidden = undone.length === 0;
  one("#clear").hidden = state.runs.length === 0;
  one("#copy").hidden = state.runs.length === 0;
  one("#earlier").hidden = state.earlier === null || state.runs.length > 0;
  if (state.earlier) text(one("#restore"), `Restore the runs of ${state.earlier.day}?`);
  for (const sheet of all("[data-sheet]")) sheet.classList.toggle("other", Number(sheet.dataset.sheet) !== state.rig);
}

/** Turns with their ticks as one number. */
function turnsWords(s) {
  const turns = s.turns + s.ticks / known.ticks_per_turn;
  return known.has_ticks ? trimmed(turns, 6) : turns.toFixed(2);
}

const aimCm = (s) => (s && s.aim_m !== null ? Math.round(s.aim_m * 1e6) / 1e4 + 0 : null);
const aimSide = (aim) => (aim === null ? "" : aim === 0 ? "cm: at the target" : aim > 0 ? "cm right" : "cm left");
const missWords = (s) => (s && s.miss_high_m !== null ? String(Math.ceil(100 * s.miss_high_m - 1e-9)) : "–");
const beatWords = (s) => (s && s.beat_chance !== null ? chanceWords(s.beat_chance) : "");
const counted = (n, what) => `${what}${Number(n) === 1 ? "" : "s"}`;
const leadWords = (s) => (s && s.lead_turns !== null ? trimmed(s.lead_turns, 4) : "–");
const recoilWords = (s) => (s.recoil_chance === 0 ? "none seen with this lead" : `${chanceWords(s.recoil_chance)} with this lead`);

/** How the obstacle is passed, never by more than it is. */
function gapWords({ estimate, low }) {
  const cm = (m) => Math.floor(100 * m + 1e-9);
  if (estimate <= 0) return `${Math.abs(cm(estimate))} cm too few: most runs hit it`;
  return `${cm(estimate)} cm expected, ${cm(low) > 0 ? `over ${cm(low)} cm in ${known.words.over_gap} runs` : "a touch is possible"}`;
}

function fillList(list, sentences) {
  list.replaceChildren(...sentences.map((words) => {
    const item = document.createElement("li");
    item.textContent = words;
    return item;
  }));
}

function showSetting(target, found, rig) {
  const s = found.setting, none = "–";
  document.body.classList.toggle("waiting", !s);
  text(one("#no-setting"), s || target === null ? "" : "No number of turns can be given: the path cannot reach this target.");
  const part = (x) => (known.has_ticks ? s ? String(x) : none : "");
  text(result("whole_turns"), part(s?.turns));
  text(result("ticks"), part(s?.ticks));
  text(result("turns"), s ? turnsWords(s) : none);
  const wide = s !== null && Math.max(s.turns, s.ticks) > 99;
  for (const digits of all(".dial .digits")) digits.classList.toggle("three", wide);
  const aim = aimCm(s);
  text(result("aim_right_cm"), aim === null ? none : String(aim));
  text(one("#aim"), aim === null ? none : String(Math.abs(aim)));
  text(one("#aim-side"), aimSide(aim));
  const strip = one("#strip");
  strip.classList.toggle("off", aim === null);
  if (aim !== null) {
    const reach = Math.max(known.aim_reach_cm, Math.abs(aim));
    one("#mark", strip).setAttribute("transform", `translate(${(150 + 130 * aim / reach).toFixed(1)} 0)`);
  }
  text(result("lead_turns"), leadWords(s));
  text(one("#lead-unit"), counted(leadWords(s), "turn"));
  const miss = s && s.miss_high_m !== null ? 100 * s.miss_high_m : null;
  text(result("miss_high_cm"), miss === null ? none : miss.toFixed(2));
  text(one("#miss"), missWords(s));
  text(result("beat_chance"), s && s.beat_chance !== null ? s.beat_chance.toFixed(4) : "");
  text(one("#beat-words"), beatWords(s));
  one("#gap-row").hidden = !(s && s.gap_m);
  if (s && s.gap_m) {
    text(one("#gap"), `${gapWords(s.gap_m)}; touch: ${chanceWords(s.touch_chance)}`);
  }
  one("#recoil-row").hidden = !(s && s.recoil_chance !== null);
  if (s && s.recoil_chance !== null) {
    const inThem = rig.rolled_back > 0 ? `; ${rig.rolled_back} of the ${rig.fitted} runs behind these numbers did` : "";
    text(one("#recoil"), recoilWords(s) + inThem);
  }
  fillList(one("#warnings"), s ? s.warnings : []);
}

/** The setting once more in a strip that stays in sight while runs are typed in and the setting itself is out of it. */
function showStays(s) {
  const strip = one("#stays");
  strip.hidden = !s || unseen.size === 0;
  if (!s) return;
  const aim = aimCm(s), turns = known.has_ticks
    ? `${s.turns} ${counted(s.turns, "turn")} ${s.ticks} ${counted(s.ticks, "tick")}` : `${turnsWords(s)} turns`;
  const parts = [turns, aim === null ? "" : `aim ${Math.abs(aim)} ${aimSide(aim)}`, s.lead_turns === null ? "" : `lead ${leadWords(s)}`];
  text(strip, parts.filter((part) => part !== "").join(" · "));
}

/** What the setting is for, and after a run that rolled back the other way on. */
function showWays(found) {
  const s = found.setting && found.less_lead, less = (name) => one(`[data-less="${name}"]`);
  const runs = found.used === 1 ? "1 run" : `${found.used} runs`, after = found.used === 0 ? "for the first run of a new day" : `after ${runs} today`;
  text(one("#basis"), s ? `${after}, with the same lead` : after);
  one("#two-ways").hidden = !s;
  one("#less-lead").hidden = !s;
  if (!s) return;
  text(less("turns"), turnsWords(s));
  text(less("whole_turns"), known.has_ticks ? String(s.turns) : "");
  text(less("ticks"), known.has_ticks ? String(s.ticks) : "");
  const aim = aimCm(s);
  text(less("aim"), aim === null ? "–" : String(Math.abs(aim)));
  text(less("aim_side"), aimSide(aim));
  text(less("lead_turns"), leadWords(s));
  text(less("lead_unit"), counted(leadWords(s), "turn"));
  text(less("miss"), missWords(s));
  text(less("beat"), s.beat_chance === null ? "" : `nearer than ${trimmed(100 * beatOf(state.beat), 1)} cm: ${beatWords(s)}`);
  text(less("recoil"), s.recoil_chance === null ? "" : `rolls back: ${recoilWords(s)}`);
  fillList(less("warnings"), s.warnings);
}

/** How far off a doubted run is, in words. */
function offWords({ off, across, alone }) {
  const cm = Math.round(100 * Math.abs(off)), others = alone ? "the season has it" : "the season and today’s other runs have it";
  if (across) return `headed ${cm} cm in each metre more to the ${off > 0 ? "right" : "left"} than ${others}`;
  return `came to rest ${cm} cm ${off > 0 ? "farther" : "less far"} than ${others}`;
}

/** Runs that are left out because chance would hardly ever bring them, first of all and large. */
function showDoubted(found, indices) {
  const box = one("#doubt");
  box.hidden = found.doubted.length === 0;
  text(box, found.doubted.map((doubted) => `Run ${indices[doubted.run] + 1} is left out: it ${offWords(doubted)}. `).join("")
    + "Read tape and dial again. If it was read right, tap “It was read right” at the run.");
}

function showShares(found) {
  const along = found.share_along ?? 0, across = found.share_across ?? 0;
  text(result("share_along"), along.toFixed(4));
  text(result("share_across"), across.toFixed(4));
  let words = "";
  if (found.used > 0 && found.share_along !== undefined) {
    // A shift that was seen near grows with the distance, so that more than all of it may be taken out farther on.
    const part = (shift, share, plus, minus) => share > 0
      ? `${sides(100 * shift / share, plus, minus)} on average, and ${trimmed(100 * Math.abs(shift), 0)} cm ${share < 1
        ? `of that (${Math.round(100 * share)} %) are taken out`
        : "are taken out here, for days differ more the farther it goes"}` : "";
    const parts = [part(found.shift_long_m, along, "longer", "shorter")];
    if (found.share_across !== undefined) parts.push(part(found.shift_right_m, across, "more to the right", "more to the left"));
    words = `Against the season: ${parts.filter((p) => p !== "").join("; ")}.`
      + (along < 1 ? " The rest was likely chance: correcting all of it would chase it." : "");
  } else if (found.used === 0) {
    words = "Enter each run as it comes to rest; the next setting follows.";
  }
  text(one("#shares"), words);
}

function showRun(row, run, read, told, doubted) {
  for (const name of Object.keys(FIELDS)) {
    one(`[name=${name}]`, row).setAttribute("aria-invalid", read.wrong.includes(name));
  }
  for (const [name, words] of Object.entries(SIGN_WORDS)) {
    text(one(`[name=${name}] + .size`, row), sizeOf(run[name]));
    text(one(`[data-flip=${name}]`, row), run[name].trim().replace(/[\u2212\u2013]/, "-").startsWith("-") ? words[1] : words[0]);
  }
  let note = "", bad = false;
  if (read.reason) {
    note = `Not counted: ${read.reason}.`;
    bad = true;
  } else if (read.rig !== state.rig) {
    note = `A run of ${known.rigs[read.rig].name || "the vehicle"}: not counted for this one.`;
  } else if (read.waits) {
    note = `Waiting for ${read.missing.map((name) => FIELDS[name]).join(" and ")}.`;
  } else if (read.status === "touched" || read.status === "void") {
    note = "Kept for the log; it does not move the setting.";
  } else if (doubted) {
    note = `Left out: fewer than 1 run in 1,000 does that by chance. A very different floor, or a slip (dial, tape, sign)?`;
    bad = true;
  } else if (read.status === "recoil") {
    if (told && told.travel) note = "Rolled back: counts where it came to rest.";
    else note = told && told.heading ? "Rolled back with more lead: counts for direction only." : "Rolled back: it does not move the setting.";
  } else if (read.believed) {
    note = "Used: you say that it was read right.";
  } else if (known.rigs[read.rig].heading && told && !told.heading) {
    note = "Counts along only: no aim mark, or not measured across.";
  }
  one("[data-believe]", row).hidden = !doubted;
  const line = one(".note", row);
  text(line, note);
  line.classList.toggle("bad", bad);
}

/** Builds the rows of runs from the state. */
function rows() {
  const list = one("#runs");
  list.replaceChildren(...state.runs.map((run, i) => {
    const row = one("#run").content.firstElementChild.cloneNode(true), rig = known.rigs[run.rig];
    text(one(".which", row), `Run ${i + 1}`);
    const labels = [known.rigs.length > 1 ? rig.name : "", rig.builds.length > 1 ? rig.builds[run.build].label : "",
      rig.heading && rig.heading.trims.length > 1 ? rig.heading.trims[run.trim].label : ""];
    text(one(".labels", row), labels.filter((label) => label !== "").join(" · "));
    for (const name of Object.keys(FIELDS)) {
      const box = one(`[name=${name}]`, row);
      box.value = run[name];
      box.addEventListener("focus", () => (before = JSON.stringify(state)));
      box.addEventListener("input", () => {
        run[name] = box.value;
        run.believed = false;
        changed();
      });
      box.addEventListener("change", () => {
        if (before && before !== JSON.stringify(state)) remember(before);
        before = JSON.stringify(state);
        show();
      });
    }
    for (const name of Object.keys(SIGN_WORDS)) {
      const word = one(`[data-flip=${name}]`, row), box = one(`[name=${name}]`, row);
      word.addEventListener("click", () => {
        remember();
        const plain = run[name].trim().replace(/[\u2212\u2013]/, "-");
        run[name] = plain.startsWith("-") ? plain.slice(1) : "-" + plain.replace(/^\+/, "");
        box.value = run[name];
        run.believed = false;
        if (plain === "" || plain === "-") box.focus();
        changed();
      });
    }
    const status = one("[name=status]", row);
    status.value = run.status;
    status.addEventListener("change", () => {
      remember();
      run.status = status.value;
      changed();
    });
    one("[data-believe]", row).addEventListener("click", () => {
      remember();
      run.believed = true;
      changed();
    });
    one(".remove", row).addEventListener("click", () => {
      remember();
      state.runs.splice(i, 1);
      rows();
      changed();
    });
    return row;
  }));
}

function changed() {
  save();
  show();
}

// Choosing rig, build and trim.

function choices() {
  const rig = known.rigs[state.rig];
  const fill = (name, labels, chosen) => {
    const select = one(`[name=${name}]`), holder = select.closest("label");
    select.replaceChildren(...labels.map((label, i) => {
      const option = document.createElement("option");
      option.value = String(i);
      option.textContent = label === "" ? "(no name)" : label;
      return option;
    }));
    select.value = String(chosen);
    holder.hidden = labels.length < 2;
  };
  fill("rig", known.rigs.map((r) => r.name), state.rig);
  fill("build", rig.builds.map((b) => b.label), state.build);
  fill("trim", rig.heading ? rig.heading.trims.map((t) => t.label) : [""], state.trim);
  const build = rig.builds[state.build].label, trim = rig.heading ? rig.heading.trims[state.trim].label : "";
  const labels = [rig.name, build && `build ${build}`, trim && `trim ${trim}`, rig.made_of];
  text(one("#made-of"), labels.filter((label) => label !== "").join(" · "));
  document.title = [rig.name, "event-day card"].filter((part) => part !== "").join(": ");
  one("#choices").hidden = all("#choices label").every((label) => label.hidden);
  const chosen = all("#choices label").filter((label) => !label.hidden).map((label) => one("select", label).selectedOptions[0].textContent);
  const which = state.rig === known.newest_rig ? "the newest runs of" : "one of";
  if (known.rigs.length > 1) chosen.push(`${which} ${known.rigs.length} rigs`);
  text(one("#choices summary"), chosen.join(" · "));
}

for (const name of ["rig", "build", "trim"]) {
  one(`[name=${name}]`).addEventListener("change", (event) => {
    state[name] = Number(event.target.value);
    if (name === "rig") {
      const rig = known.rigs[state.rig];
      state.build = rig.newest_build;
      state.trim = rig.heading ? rig.heading.newest_trim : 0;
    }
    choices();
    changed();
  });
}

// Buttons.

function today() {
  const now = new Date(), two = (x) => String(x).padStart(2, "0");
  return `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
}

one("#ask [name=target_m]").addEventListener("input", (event) => {
  state.target = event.target.value;
  changed();
});

one("[name=beat_cm]").addEventListener("input", (event) => {
  state.beat = event.target.value;
  changed();
});

/** Adds a run made at a setting. */
function addRun(s) {
  remember();
  const target = targetOf(state.target).value, cell = (x) => (x === null ? "" : String(x)), lead = leadWords(s);
  if (state.runs.length === 0) Object.assign(state, { day: today(), earlier: null });
  state.runs.push({
    rig: state.rig, build: state.build, trim: state.trim, status: "ok", believed: false, target_m: cell(target),
    turns: s ? (known.has_ticks ? String(s.turns) : turnsWords(s)) : "", ticks: s && known.has_ticks ? String(s.ticks) : "", aim_right_cm: cell(aimCm(s)),
    lead_turns: lead === "–" ? "" : lead, long_cm: "", right_cm: "",
  });
  rows();
  changed();
  const row = all("[data-run]").pop();
  row.scrollIntoView({ block: "nearest" });
  one("[name=long_cm]", row).focus();
}

one("[data-add-run]").addEventListener("click", () => addRun(last.found.setting));
one("[data-add-less]").addEventListener("click", () => addRun(last.found.less_lead));

one("#restore").addEventListener("click", () => {
  remember();
  Object.assign(state, state.earlier, { earlier: null });
  rows();
  changed();
});

one("#undo").addEventListener("click", () => {
  const kept = undone.pop();
  if (kept === undefined) return;
  const { runs, day } = JSON.parse(kept);
  Object.assign(state, { runs, day });
  rows();
  changed();
});

let sure = 0;
one("#clear").addEventListener("click", (event) => {
  const button = event.currentTarget, asks = () => {
    sure = 0;
    button.textContent = "Clear all runs";
  };
  if (!sure) {
    button.textContent = "Tap again to clear all";
    sure = setTimeout(asks, 4000);
    return;
  }
  clearTimeout(sure);
  asks();
  remember();
  Object.assign(state, { runs: [], day: "" });
  one("#copied").hidden = true;
  rows();
  changed();
});

/** Today's runs as rows of the log. Labels stand as the season's log has them: a changed one would be another rig. */
function logRows() {
  const cell = (value) => (/[",\r\n]/.test(value) ? `"${value.replaceAll('"', '""')}"` : value);
  const plain = (value) => {
    const x = numberOf(value);
    return x === null ? "" : String(x);
  };
  const names = ["target_m", "turns", "ticks", "aim_right_cm", "lead_turns", "long_cm", "right_cm"];
  const lines = [["session", "run", "date", "vehicle", "wheels", "build", "trim", ...names, "status"].join(",")];
  const unfinished = [];
  state.runs.forEach((run, i) => {
    const read = readRun(run);
    if (read.waits || read.wrong.length > 0) {
      unfinished.push(i + 1);
      return;
    }
    const rig = known.rigs[run.rig], day = state.day || today();
    lines.push([day, String(i + 1), day, rig.vehicle, rig.wheels, rig.builds[run.build].label,
      rig.heading ? rig.heading.trims[run.trim].label : "", ...names.map((name) => plain(run[name])), run.status].map(cell).join(","));
  });
  return { rows: lines.join("\n") + "\n", unfinished };
}

one("#copy").addEventListener("click", async () => {
  const area = one("#rows");
  const { rows: copied, unfinished } = logRows();
  area.value = copied;
  one("#copied").hidden = false;
  area.focus();
  area.select();
  const without = unfinished.length === 0 ? "" : ` Not finished, and so left out: run ${unfinished.join(", run ")}.`;
  const say = (words) => text(one("#copied-words"), words + without);
  // Until the clipboard has them, which may take its time.
  say("Copy them from here:");
  let done = false;
  try {
    await navigator.clipboard.writeText(area.value);
    done = true;
  } catch {
    done = document.execCommand("copy");
  }
  if (done) say("Copied. They are also here:");
});

function boxes() {
  one("#ask [name=target_m]").value = state.target;
  one("[name=beat_cm]").value = state.beat;
}

const unseen = new Set(); // parts of the setting that are out of sight
const watch = new IntersectionObserver((seen) => {
  for (const { target, isIntersecting } of seen) isIntersecting ? unseen.delete(target) : unseen.add(target);
  showStays(last.found.setting);
}, { threshold: 1 });
for (const part of all("#answer .dial, #answer .second")) watch.observe(part);

document.documentElement.classList.remove("plain");
boxes();
choices();
// Several rigs: asked once, before anything is kept.
one("#choices").open = known.rigs.length > 1 && !chosenBefore;
rows();
changed();
