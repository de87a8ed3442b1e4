"""Would the tests notice? A sample of mutants of the rooms that decide answers, spread over their files by a fixed seed.

    cargo install cargo-mutants
    python3 tests/mutants.py RESULTS.json [COUNT [SEED]]   # the quick tests: those beside the code
    python3 tests/mutants.py RESULTS.json --room           # what they missed, against the tests that ask that room
    python3 tests/mutants.py RESULTS.json --all            # what these missed, against all but the browser's tests

Run it in a copy of the project (`git worktree add`), for the sources are changed and changed back. Outcomes are kept in
RESULTS.json after every mutant, so it can be stopped and goes on where it was. A mutant of the quick tests takes some ten
seconds on a quiet machine, one of `--room` a minute, one of `--all` some minutes.
"""

import json
import os
import random
import subprocess
import sys
import time
from collections import Counter, defaultdict
from pathlib import Path

ROOMS = ["src/geometry.rs", "src/stats/**", "src/calibration/**", "src/decide/**", "src/log/**", "src/predict/**"]
# Tests that ask a room through the program, the quick ones.
ASKING = {
    "src/calibration": ["fitting", "mixed_models", "reference", "checks", "dialling", "runs_as_they_come", "messages", "chronicle"],
    "src/decide": ["dialling", "correcting", "planning", "comparing", "reviewing", "next_sessions", "reference", "messages"],
    "src/geometry.rs": ["fitting", "dialling", "reference"],
    "src/log": ["reading_logs", "fitting", "slips", "spreadsheets", "sheets", "labels", "command_line", "messages", "whole_files"],
    "src/predict": ["dialling", "correcting", "planning", "reference"],
    "src/stats": ["mixed_models", "reference", "fitting", "dialling", "correcting", "planning", "comparing", "chronicle"],
}
COUNT, SEED = 120, 18
QUICK_SECONDS = 240
ROOM_SECONDS = 900
ALL_SECONDS = 1800


def mutants():
    files = [part for room in ROOMS for part in ("-f", room)]
    listed = subprocess.run(["cargo", "mutants", "--list", "--json", *files], capture_output=True, text=True, check=True)
    return json.loads(listed.stdout)


def sample(count, seed):
    """One of each file in turn, files and mutants in an order of chance, until there are enough."""
    chance = random.Random(seed)
    by_file = defaultdict(list)
    for mutant in mutants():
        by_file[mutant["file"]].append(mutant)
    files = sorted(by_file)
    chance.shuffle(files)
    for file in files:
        chance.shuffle(by_file[file])
    taken = []
    while len(taken) < count:
        for file in files:
            if by_file[file] and len(taken) < count:
                taken.append(by_file[file].pop())
    return taken


def mutated(mutant):
    """The text of the file with the mutant in it."""
    lines = Path(mutant["file"]).read_text().splitlines(keepends=True)
    start, end = mutant["span"]["start"], mutant["span"]["end"]
    offset = lambda at: sum(len(line) for line in lines[: at["line"] - 1]) + at["column"] - 1
    text = "".join(lines)
    replaced = mutant["replacement"]
    return text[: offset(start)] + replaced + text[offset(end) :]


def tried(command, seconds):
    """caught, missed, timeout or unviable."""
    # A case that failed with one mutant must not be tried first with the next.
    kept_apart = {"PROPTEST_DISABLE_FAILURE_PERSISTENCE": "true"}
    environment = {**os.environ, **kept_apart, "HALTMARK_NO_BROWSER": "1", "CARGO_INCREMENTAL": "1"}
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "env": environment}
    if subprocess.run([*command, "--no-run"], **quiet).returncode != 0:
        return "unviable"
    try:
        tests = subprocess.run(command, timeout=seconds, **quiet)
    except subprocess.TimeoutExpired:
        return "timeout"
    return "missed" if tests.returncode == 0 else "caught"


def room(mutant):
    return "/".join(mutant["file"].split("/")[:2])


def is_there(test):
    return Path(f"tests/{test}.rs").exists() or Path(f"tests/{test}/main.rs").exists()


def run(results, chosen, stage, command, seconds):
    kept = json.loads(results.read_text()) if results.exists() else {}
    for mutant in chosen:
        name = mutant["name"]
        if stage in kept.get(name, {}):
            continue
        path = Path(mutant["file"])
        before, started = path.read_text(), time.time()
        try:
            path.write_text(mutated(mutant))
            outcome = tried(command(mutant), seconds)
        finally:
            path.write_text(before)
        kept.setdefault(name, {})[stage] = outcome
        results.write_text(json.dumps(kept, indent=1))
        print(f"{outcome:9} {time.time() - started:5.0f} s  {name}", flush=True)
    return kept


def main():
    results = Path(sys.argv[1]).absolute()
    numbers = [int(word) for word in sys.argv[2:] if word.isdigit()]
    count, seed = (*numbers, *(COUNT, SEED)[len(numbers) :])
    chosen = sample(count, seed)
    cargo = ["cargo", "test", "--locked"]
    assert tried([*cargo, "--lib"], QUICK_SECONDS) == "missed", "the tests fail without a mutant"
    kept = run(results, chosen, "quick", lambda _: [*cargo, "--lib"], QUICK_SECONDS)
    missed = [mutant for mutant in chosen if kept[mutant["name"]]["quick"] == "missed"]
    if "--room" in sys.argv or "--all" in sys.argv:
        of_room = lambda mutant: [part for test in ASKING[room(mutant)] if is_there(test) for part in ("--test", test)]
        kept = run(results, missed, "room", lambda mutant: [*cargo, *of_room(mutant)], ROOM_SECONDS)
        missed = [mutant for mutant in missed if kept[mutant["name"]]["room"] == "missed"]
    if "--all" in sys.argv:
        kept = run(results, missed, "all", lambda _: [*cargo, "--no-fail-fast"], ALL_SECONDS)
    rooms = defaultdict(Counter)
    for mutant in chosen:
        stages = kept.get(mutant["name"], {})
        rooms[room(mutant)][next((stages[s] for s in ("all", "room", "quick") if s in stages), "not run")] += 1
    for name, outcomes in sorted(rooms.items()):
        print(f"{name:20}", dict(outcomes))


main()
