#!/usr/bin/env python3
"""Recorded answers: what two builds of haltmark say of the same 300 simulated seasons, laid side by side.

    answers.py run BINARY FOLDER [--cases N] [--archives FOLDER_OF_LOGS]
    answers.py compare FOLDER_BEFORE FOLDER_AFTER [--most N]

`run` plays seasons of all kinds from fixed seeds with BINARY's own `simulate` (a change there shows as a changed
log), and keeps the JSON, exit status and messages of check, fit, dial, correct, plan, compare and review on each.
`compare` asks for settings equal to the tick and the aim step (a flip counts only where the exact setting lies
farther than 1e-5 of a turn from a rounding boundary), ends of intervals within 0.1 % of their width, other numbers
within 0.1 %, and lists everything else: words, keys, exit statuses. Exit status 1 when anything differs.

Needs Python 3.9 or later and nothing else. The answers are the program's own: they show what a change moved, never
that a number is right.
"""

import argparse
import collections
import concurrent.futures
import json
import pathlib
import random
import subprocess
import sys

CASES = 300
# Posterior nodes and what else the program keeps for itself; what follows from them is compared.
OWN_KEYS = {"knows", "check"}


def toml(value):
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, list):
        return "[" + ", ".join(toml(v) for v in value) + "]"
    return repr(value)


def tables(of_tables, lists=()):
    lines = []
    for name, keys in of_tables.items():
        lines.append(f"[{name}]")
        lines += [f"{key} = {toml(value)}" for key, value in keys.items()]
    for name, rows in lists:
        for keys in rows:
            lines.append(f"[[{name}]]")
            lines += [f"{key} = {toml(value)}" for key, value in keys.items()]
    return "\n".join(lines) + "\n"


def season_of(case):
    """Truth, set-up, targets and what to compare by, of one case."""
    chance = random.Random(case)
    pick, maybe = chance.choice, lambda share: chance.random() < share
    shortest = pick([4.5, 5.5, 6.0, 6.5])
    longest = shortest + pick([1.5, 3.0, 3.5, 4.0])
    targets = [round(shortest + (longest - shortest) * k / 3, 2) for k in range(4)]
    if maybe(0.08):
        targets = targets[:1] * 2
    sessions = pick([1, 1, 2, 2, 3, 3, 4, 5, 6, 8, 10, 12, 32])
    runs = pick([3, 4, 5, 6, 8, 10, 12])
    truth = {
        "travel": {
            "distance_per_turn_cm": round(chance.uniform(19, 26), 2),
            "overshoot_cm": round(chance.uniform(-5, 60), 1),
            "run_to_run_cm": pick([0.5, 1, 3, 5, 5, 8, 12]),
            "between_sessions_cm": pick([0, 1, 4, 8, 8, 15, 25]),
            "lead_cm_per_turn": pick([0, 0, 3, -4]),
        },
        "heading": {
            "straight_cm_per_m": round(chance.uniform(-4, 4), 2),
            "curve_cm_per_m2": round(chance.uniform(-2.5, 2.5), 2),
            "run_to_run_cm_per_m": pick([0.1, 0.4, 0.6, 1.0]),
            "between_sessions_cm_per_m": pick([0, 0.3, 0.5, 1.2]),
        },
        "recoil": {"half_lead_turns": pick([1.7, 2.0, 2.3, 4.0]), "per_turn": pick([2, 5, 9]), "watched": pick([0, 0.6, 1, 1])},
        "season": {
            "sessions": sessions,
            "runs_per_session": runs,
            "targets_m": targets,
            "leads_turns": pick([[1.5], [1.5], [1.0, 1.5], [1.0, 1.5, 2.0, 2.5], [0.5, 3.0]]),
            "seed": case + 1,
        },
        "settings": {"ticks_per_turn": pick([20, 20, 20, 16, 12]), "vary_turns": pick([0, 0.1, 0.5])},
        "measuring": {"right_noted": pick([1, 1, 1, 0.7, 0]), "miss_noted": pick([0, 0, 1])},
        "effects": {"wild": pick([0, 0, 0, 0.03]), "first_run_long_cm": pick([0, 0, 4]), "spread_cm_per_m": pick([0, 0, 0.5])},
        "wrong": {"void": pick([0, 0, 0.05]), "slip": pick([0, 0, 0.02])},
    }
    if maybe(0.5):
        truth["season"]["first_date"] = "2031-10-04"
    if maybe(0.25):
        truth["hand_rolls"] = {"runs_per_session": pick([1, 3])}
    if maybe(0.3):
        truth["time"] = {"start_s": 0.7, "s_per_m": 0.32, "run_to_run_s": 0.08}
    if maybe(0.3):
        truth["load"] = {"half_lead_turns": 0.4, "per_turn": -4}
    obstacle = maybe(0.4)
    if obstacle:
        # The path bows away from an obstacle on the side that it bends to.
        bend = truth["heading"]["curve_cm_per_m2"]
        bend = truth["heading"]["curve_cm_per_m2"] = round(bend + (0.8 if bend > 0 else -0.8), 2)
        truth["obstacle"] = {"at": 0.5, "right_cm": pick([17, 22, 27]) * (1 if bend > 0 else -1), "diameter_cm": 20, "width_cm": 18, "gap_noted": 0.7}
        truth["obstacle"]["pass"] = "left" if truth["obstacle"]["right_cm"] > 0 else "right"
    lists, by = [], None
    if maybe(0.35):
        rigs = [{"vehicle": "Sorrel", "wheels": w, "distance_per_turn_cm": round(chance.uniform(20, 26), 2),
                 "run_to_run_cm": pick([2, 5, 9])} for w in (["wide"] if maybe(0.7) else ["wide", "soft"])]
        lists.append(("rigs", rigs))
        by = ("wheels", "narrow", "wide")
    if sessions > 3 and maybe(0.4):
        lists.append(("builds", [{"build": "long string", "from_session": sessions // 2 + 1, "overshoot_cm": 44}]))
        by = by or ("build", "short string", "long string")
    if sessions > 3 and maybe(0.4):
        lists.append(("trims", [{"trim": "second", "from_session": sessions // 2, "straight_cm_per_m": 1.5, "curve_cm_per_m2": -0.8}]))
        by = by or ("trim", "first", "second")
    if sessions > 2 and maybe(0.4):
        lists.append(("floors", [{"floor": "theatre", "sessions": [2], "long_cm": 6}, {"floor": "gym", "sessions": [3]}]))
    names = {"vehicle": "Sorrel", "wheels": "narrow", "build": "short string", "trim": "first", "floor": "hall"}
    head = "".join(f"{key} = {toml(value)}\n" for key, value in names.items())
    text = head + tables(truth, lists).replace('first_date = "2031-10-04"', "first_date = 2031-10-04")
    day = {**truth, "season": {**truth["season"], "sessions": 1, "runs_per_session": 3, "seed": 5000 + case, "session_labels": ["today"]}}
    day["season"].pop("first_date", None)
    today = head + tables(day)
    setup = {"dial": {"ticks_per_turn": truth["settings"]["ticks_per_turn"]}}
    if maybe(0.5):
        setup["vehicle"] = {"width_cm": 18, "wheel_diameter_cm": round(truth["travel"]["distance_per_turn_cm"] / 3.1416 * pick([1.02, 1.0, 1.6]), 2)}
    elif obstacle:
        setup["vehicle"] = {"width_cm": 18}
    if maybe(0.6):
        setup["event"] = {"shortest_m": shortest, "longest_m": longest, "step_m": pick([0.05, 0.1, 0.5])}
    if obstacle:
        setup["obstacle"] = {k: truth["obstacle"][k] for k in ("at", "right_cm", "diameter_cm", "pass")}
    if maybe(0.3):
        setup["lane"] = {"half_width_m": pick([0.4, 1.0, 2.0])}
    if maybe(0.3):
        setup["aim"] = {"step_cm": pick([0.5, 1, 2])}
    score = chance.random()
    if score < 0.15:
        setup["score"] = {"measure": "line"}
    elif score < 0.35:
        setup["score"] = {"long_penalty": pick([20, 100]), "long_limit_cm": pick([5, 20, 50])}
        if setup.get("event", {}).get("step_m") == 0.05:
            setup["event"]["step_m"] = 0.5
    if maybe(0.3):
        setup["prior"] = {"between_sessions_cm": pick([4, 6, 20])}
    if not maybe(0.8):
        setup = {}
    asked = [shortest, round(shortest + 0.37 * (longest - shortest), 2), longest]
    return text, today, tables(setup), asked, by


def command(binary, folder, *words):
    done = subprocess.run([binary, *words, "--json"], cwd=folder, capture_output=True, text=True, timeout=600)
    try:
        answer = json.loads(done.stdout) if done.stdout.strip() else None
    except json.JSONDecodeError:
        answer = {"not json": done.stdout}
    return {"exit": done.returncode, "answer": answer, "said": done.stderr}


def questions(binary, folder, log, setup, asked, by, rigs_most):
    """Everything that is asked of one log."""
    answers = {}

    def ask(name, *words):
        answers[name] = command(binary, folder, *words)
        return answers[name]

    setup = ["--setup", setup] if setup else []
    ask("check", "check", log, *setup)
    fitted = ask("fit", "fit", log, *setup, "--out", "report")
    if fitted["exit"] == 0:
        for rig in fitted["answer"]["rigs"][:rigs_most]:
            of = ["--rig", rig["rig"]] if len(fitted["answer"]["rigs"]) > 1 else []
            targets = ",".join(f"{t:.2f}" for t in asked)
            known = "report/calibration.json"
            name = rig["rig"]
            ask(f"dial {name}", "dial", known, "--target", targets, *of)
            ask(f"plan {name}", "plan", known, "--within", "15", *of)
            if (pathlib.Path(folder) / "today.csv").exists():
                ask(f"correct {name}", "correct", known, "today.csv", "--target", targets, *of)
                ask(f"review {name}", "review", known, "today.csv", *of)
    if by:
        ask("compare", "compare", log, *setup, "--by", by[0], "--a", by[1], "--b", by[2], "--out", "compared")
    return answers


def one(binary, folder, case):
    place = folder / f"case{case:03}"
    place.mkdir(parents=True, exist_ok=True)
    text, today, setup, asked, by = season_of(case)
    (place / "truth.toml").write_text(text)
    (place / "day.toml").write_text(today)
    (place / "setup.toml").write_text(setup)
    for truth, log in [("truth.toml", "season.csv"), ("day.toml", "today.csv")]:
        made = subprocess.run([binary, "simulate", "--truth", truth, "--out", log], cwd=place, capture_output=True, text=True)
        if made.returncode != 0:
            raise SystemExit(f"case {case}: {made.stderr}")
    log = (place / "season.csv").read_text()
    keep(place, questions(binary, place, "season.csv", "setup.toml", asked, by, 3), log)


def keep(place, answers, log=None):
    if log is not None:
        answers["log"] = log
    (place / "answers.json").write_text(json.dumps(answers, indent=1, ensure_ascii=False))
    for made in ("report", "compared"):
        for path in sorted((place / made).rglob("*"), reverse=True) if (place / made).exists() else []:
            path.unlink() if path.is_file() else path.rmdir()
        if (place / made).exists():
            (place / made).rmdir()


def run(args):
    binary = str(pathlib.Path(args.binary).resolve())
    folder = pathlib.Path(args.folder)
    folder.mkdir(parents=True, exist_ok=True)
    with concurrent.futures.ThreadPoolExecutor(2) as pool:
        list(pool.map(lambda case: one(binary, folder, case), range(args.cases)))
    if args.archives:
        for name in ("season", "club"):
            place = folder / name
            place.mkdir(exist_ok=True)
            log = str((pathlib.Path(args.archives) / f"{name}.csv").resolve())
            keep(place, questions(binary, place, log, None, [6.0, 7.37, 9.0], None, 2))


class Differences:
    def __init__(self):
        self.by_kind = collections.defaultdict(list)

    def add(self, kind, where, before, after):
        self.by_kind[kind].append((where, before, after))


def is_interval(value):
    return isinstance(value, dict) and {"estimate", "low", "high"} <= value.keys()


def near(a, b, within):
    return a == b or (a is not None and b is not None and abs(a - b) <= within)


def near_a_half(setting):
    """Whether the exact setting lies within 1e-5 of a turn of where rounding turns over."""
    exact, ticks = setting["turns_exact"]["estimate"], setting.get("ticks_per_turn")
    if exact is None:
        return False
    ticks = ticks or round(setting["ticks"] / (setting["turns"] - setting["whole_turns"])) if setting["turns"] != setting["whole_turns"] else 20
    place = exact * ticks
    return abs(abs(place - round(place)) - 0.5) < 1e-5 * ticks


def lay_beside(before, after, where, found):
    if is_interval(before) and is_interval(after):
        ends = [before["low"], before["high"]]
        width = abs(ends[1] - ends[0]) if None not in ends else None
        for key in ("estimate", "low", "high"):
            a, b = before[key], after[key]
            size = width or max((abs(v) for v in (a, b) if v is not None), default=0.0)
            if not near(a, b, 1e-3 * size + 1e-9):
                found.add("interval", f"{where}.{key}", a, b)
    elif isinstance(before, dict) and isinstance(after, dict):
        if "whole_turns" in before and "whole_turns" in after:
            same = all(before[k] == after[k] for k in ("whole_turns", "ticks", "aim_right_cm", "lead_turns"))
            if not same and not near_a_half(before):
                settings = [tuple(s[k] for k in ("whole_turns", "ticks", "aim_right_cm", "lead_turns")) for s in (before, after)]
                found.add("setting", where, *settings)
        for key in before.keys() | after.keys():
            if key in OWN_KEYS:
                continue
            if key not in before or key not in after:
                found.add("key", f"{where}.{key}", before.get(key, "(none)"), after.get(key, "(none)"))
            else:
                lay_beside(before[key], after[key], f"{where}.{key}", found)
    elif isinstance(before, list) and isinstance(after, list):
        if len(before) != len(after):
            found.add("length", where, before if len(before) < 4 else len(before), after if len(after) < 4 else len(after))
        for i, (a, b) in enumerate(zip(before, after)):
            lay_beside(a, b, f"{where}[{i}]", found)
    elif isinstance(before, (int, float)) and isinstance(after, (int, float)) and not isinstance(before, bool):
        if not near(before, after, 1e-3 * max(abs(before), abs(after)) + 1e-6):
            found.add("number", where, before, after)
    elif before != after:
        found.add("words", where, before, after)


def compare(args):
    before, after = pathlib.Path(args.before), pathlib.Path(args.after)
    found, cases = Differences(), 0
    for path in sorted(before.glob("*/answers.json")):
        other = after / path.parent.name / "answers.json"
        if not other.exists():
            found.add("missing", path.parent.name, "recorded", "not recorded")
            continue
        cases += 1
        lay_beside(json.loads(path.read_text()), json.loads(other.read_text()), path.parent.name, found)
    print(f"{cases} cases")
    for kind, rows in sorted(found.by_kind.items()):
        print(f"{kind}: {len(rows)}")
        for where, a, b in rows[: args.most]:
            print(f"  {where}: {str(a)[:300]} -> {str(b)[:300]}")
    sys.exit(1 if found.by_kind else 0)


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    verbs = parser.add_subparsers(required=True)
    running = verbs.add_parser("run")
    running.add_argument("binary")
    running.add_argument("folder")
    running.add_argument("--cases", type=int, default=CASES)
    running.add_argument("--archives")
    running.set_defaults(does=run)
    comparing = verbs.add_parser("compare")
    comparing.add_argument("before")
    comparing.add_argument("after")
    comparing.add_argument("--most", type=int, default=25)
    comparing.set_defaults(does=compare)
    args = parser.parse_args()
    args.does(args)


if __name__ == "__main__":
    main()
