#!/usr/bin/env python3
"""Fills in what `haltmark start` writes with LibreOffice, saves it as .xlsx, .ods and .csv, and lets `fit` read all three.

On demand, not among the tests:

    python3 tests/office.py target/release/haltmark

Needs LibreOffice Calc and its Python bridge (Debian: libreoffice-calc-nogui, python3-uno). Prints what LibreOffice made of
the checks of the cells, and ends with status 1 where the three fits differ.
"""

import json
import pathlib
import subprocess
import sys
import tempfile
import time

import uno
from com.sun.star.beans import PropertyValue

ROWS = [
    ["Sat 14", "2026-03-14", "Thistle", "foam", "6", "26", "10", "-18", "1", "-4", "2", "ok", "0", "whole"],
    ["", "", "", "", "8", "35", "10", "-24", "1.5", "6.5", "3 left", "", "0", "whole"],
    ["", "", "", "", "7", "31", "0", "-21", "2", "3 short", "1", "recoil", "1.5", "broken"],
    ["", "", "", "", "9", "40", "0", "-27", "1.5", "2", "-1.5", "ok", "0", ""],
    ["Sun 22", "2026-03-22", "", "", "6", "26", "10", "-18", "1", "2", "0", "ok", "0", "whole"],
    ["", "", "", "", "8", "35", "10", "-24", "1.5", "9", "4", "ok", "0", "whole"],
    ["", "", "", "", "7", "31", "0", "-21", "1.5", "5", "-2", "ok", "0", "whole"],
    ["", "", "", "", "9", "40", "0", "-27", "1.5", "", "", "void", "", ""],
]
COLUMNS = [
    "session", "date", "vehicle", "wheels", "target_m", "turns", "ticks", "aim_right_cm", "lead_turns", "long_cm",
    "right_cm", "status", "recoil_cm", "load",
]
FORMATS = {"xlsx": "Calc MS Excel 2007 XML", "ods": "calc8", "csv": "Text - txt - csv (StarCalc)"}


def value(name, content):
    property = PropertyValue()
    property.Name, property.Value = name, content
    return property


def desktop(pipe):
    """The running LibreOffice, once it listens."""
    local = uno.getComponentContext()
    resolver = local.ServiceManager.createInstanceWithContext("com.sun.star.bridge.UnoUrlResolver", local)
    for _ in range(120):
        try:
            context = resolver.resolve(f"uno:pipe,name={pipe};urp;StarOffice.ComponentContext")
            return context.ServiceManager.createInstanceWithContext("com.sun.star.frame.Desktop", context)
        except Exception:  # It says so in a class of its own until it listens.
            time.sleep(0.5)
    sys.exit("LibreOffice did not start")


def fill(book):
    """Types the rows into the first sheet; returns the headings' places."""
    sheet = book.Sheets.getByIndex(0)
    places = {}
    while heading := sheet.getCellByPosition(len(places), 0).String:
        places[heading] = len(places)
    english = uno.createUnoStruct("com.sun.star.lang.Locale")
    english.Language, english.Country = "en", "US"
    for row, texts in enumerate(ROWS, 1):
        for name, text in zip(COLUMNS, texts):
            cell = sheet.getCellByPosition(places[name], row)
            if text and name not in ("session", "vehicle", "wheels"):
                # As typed: what looks like a number or a date becomes one.
                cell.setFormula(text)
            else:
                cell.String = text
    for name in ("turns", "ticks", "long_cm", "status", "wheels"):
        check = sheet.getCellByPosition(places[name], 1).Validation
        print(
            f"{name}: {check.Type.value} {check.getFormula1()} {check.getFormula2()}, "
            f"{check.ErrorAlertStyle.value}, \"{check.ErrorMessage}\""
        )


def main(program):
    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        run = lambda *arguments: subprocess.run([program, *arguments], cwd=folder, check=True, capture_output=True, text=True)
        run("start", "empty")
        pipe = f"haltmark{time.time_ns()}"
        office = subprocess.Popen(
            ["soffice", "--headless", "--norestore", f"-env:UserInstallation=file://{folder}/profile", f"--accept=pipe,name={pipe};urp;"],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        try:
            app = desktop(pipe)
            book = app.loadComponentFromURL((folder / "empty.xlsx").as_uri(), "_blank", 0, (value("Hidden", True),))
            fill(book)
            for ending, filter in FORMATS.items():
                to = (folder / f"season.{ending}").as_uri()
                book.storeToURL(to, (value("FilterName", filter),))
            book.close(True)
            app.terminate()
        finally:
            office.wait(60)
        rigs = {}
        for ending in FORMATS:
            log = f"season.{ending}"
            print(run("check", log, "--setup", "empty-setup.toml").stdout.split("\n\n")[1])
            fitted = json.loads(run("fit", log, "--setup", "empty-setup.toml", "-o", "out", "--json").stdout)
            rigs[ending] = [{key: rig[key] for key in rig if key not in ("knows", "set_aside", "warnings")} for rig in fitted["rigs"]]
        alike = all(rig == rigs["xlsx"] for rig in rigs.values())
        print("fit reads all three alike" if alike else f"the fits differ: {json.dumps(rigs, indent=1)}")
        return 0 if alike else 1


if __name__ == "__main__":
    sys.exit(main(str(pathlib.Path(sys.argv[1]).resolve())))
