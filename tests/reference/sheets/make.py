"""Spreadsheets as other programs write them, for tests/reading_logs.rs.

Made with Python 3.11, XlsxWriter 3.0.2 and odfpy 1.4.2; run in this folder: python3 make.py
The season is invented. Both files hold the same sheet "Runs": two empty rows, an empty column, a remark, a
header, three runs (a date as a date cell, turns as text with a decimal comma, a length as a formula with its
last value), cells with a format and nothing in them below. A second sheet "Lead" holds one run.
"""

import datetime

import xlsxwriter
from odf import table, text
from odf.opendocument import OpenDocumentSpreadsheet

HEADER = ["session", "date", "target_m", "turns", "long_cm", "right_cm", "note"]
DATE = datetime.date(2026, 3, 14)
ROWS = [
    ["1", DATE, 8.35, "36,5", ("=2*3.25", 6.5), "4 left", "first"],
    [None, None, 6, 26.25, -3, 2, None],
    [2, datetime.datetime(2026, 3, 21, 15, 30), 7.1, 31, 0.5, None, "afternoon"],
]


def write_xlsx():
    book = xlsxwriter.Workbook("season.xlsx")
    book.set_properties({"created": datetime.datetime(2026, 1, 1)})
    day = book.add_format({"num_format": "dd.mm.yyyy"})
    moment = book.add_format({"num_format": "dd.mm.yyyy hh:mm"})
    grey = book.add_format({"bg_color": "#eeeeee"})
    sheet = book.add_worksheet("Runs")
    sheet.write(2, 1, "# invented")
    for column, name in enumerate(HEADER):
        sheet.write(3, 1 + column, name)
    for row, cells in enumerate(ROWS):
        for column, cell in enumerate(cells):
            at = (4 + row, 1 + column)
            if isinstance(cell, datetime.datetime):
                sheet.write_datetime(*at, cell, moment)
            elif isinstance(cell, datetime.date):
                sheet.write_datetime(*at, datetime.datetime(cell.year, cell.month, cell.day), day)
            elif isinstance(cell, tuple):
                sheet.write_formula(*at, cell[0], None, cell[1])
            elif isinstance(cell, str):
                sheet.write_string(*at, cell)
            elif cell is not None:
                sheet.write_number(*at, cell)
    for row in range(7, 40):
        for column in range(12):
            sheet.write_blank(row, column, None, grey)
    second = book.add_worksheet("Lead")
    second.write_row(0, 0, ["session", "target_m", "turns", "long_cm", "lead_turns"])
    second.write_row(1, 0, ["L", 7, 30, 1, 1.5])
    book.close()


def ods_cell(cell):
    if cell is None:
        return table.TableCell()
    if isinstance(cell, datetime.datetime):
        made = table.TableCell(valuetype="date", datevalue=cell.isoformat())
    elif isinstance(cell, datetime.date):
        made = table.TableCell(valuetype="date", datevalue=cell.isoformat())
    elif isinstance(cell, tuple):
        made = table.TableCell(valuetype="float", value=str(cell[1]), formula="of:" + cell[0])
        cell = cell[1]
    elif isinstance(cell, str):
        made = table.TableCell(valuetype="string")
    else:
        made = table.TableCell(valuetype="float", value=str(cell))
    made.addElement(text.P(text=str(cell)))
    return made


def add_row(sheet, cells):
    row = table.TableRow()
    for cell in cells:
        row.addElement(ods_cell(cell))
    sheet.addElement(row)


def write_ods():
    book = OpenDocumentSpreadsheet()
    sheet = table.Table(name="Runs")
    empty = table.TableRow(numberrowsrepeated=2)
    empty.addElement(table.TableCell(numbercolumnsrepeated=16384))
    sheet.addElement(empty)
    add_row(sheet, [None, "# invented"])
    add_row(sheet, [None] + HEADER)
    for cells in ROWS:
        add_row(sheet, [None] + cells)
    rest = table.TableRow(numberrowsrepeated=1048569)
    rest.addElement(table.TableCell(numbercolumnsrepeated=16384))
    sheet.addElement(rest)
    book.spreadsheet.addElement(sheet)
    second = table.Table(name="Lead")
    add_row(second, ["session", "target_m", "turns", "long_cm", "lead_turns"])
    add_row(second, ["L", 7, 30, 1, 1.5])
    book.spreadsheet.addElement(second)
    book.save("season.ods")


write_xlsx()
write_ods()
