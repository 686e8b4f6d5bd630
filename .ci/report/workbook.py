"""The workbook of a report, opened by another library: workbook.py WORKBOOK RESULTS

A sheet a result table with as many rows, names in the first row and units in the second, numbers as numbers, no formula,
names that stay in sight, and charts that refer to cells which are there.
"""

import datetime
import json
import pathlib
import re
import sys

import openpyxl
import pandas

from say import check, skip

ABOUT, CHARTS = "About", "Charts"
FIRST_ROW = 3
KINDS = {
    "string": (str,),
    "integer": (int,),
    "number": (int, float),
    "boolean": (bool,),
    "date": (datetime.date, datetime.datetime),
    "datetime": (datetime.datetime,),
}
# Text may be cut where a cell is full; numbers beyond a double's whole numbers and infinities may be text.
ROOM_OF_A_CELL = 32_767


def is_kind(value, kind):
    # A bool is an int to Python and no number to a reader.
    if kind in ("integer", "number") and isinstance(value, bool):
        return False
    return isinstance(value, KINDS[kind])


def sheet_against(sheet, resource, results):
    """What can be said against one sheet."""
    name, fields = sheet.title, resource["schema"]["fields"]
    table = pandas.read_csv(results / resource["path"], dtype=str, keep_default_na=False, na_values=[""])
    lines = list(sheet.iter_rows(values_only=True))
    against = []
    if len(lines) < 2:
        return [f"{name}: no row of names and units"]
    names, units, rows = lines[0], lines[1], lines[2:]
    against += [f"{name}: column {place + 1} has no name" for place, label in enumerate(names) if not label]
    if len(set(names)) != len(names):
        against.append(f"{name}: two columns have one name")
    if len(names) < len(fields):
        return [*against, f"{name}: {len(names)} columns, the table has {len(fields)}"]
    if len(rows) != len(table):
        return [*against, f"{name}: {len(rows)} rows, the table has {len(table)}"]
    if sheet.freeze_panes is None or not sheet.freeze_panes.endswith(str(FIRST_ROW)):
        against.append(f"{name}: names and units do not stay in sight ({sheet.freeze_panes})")
    for place, field in enumerate(fields):
        column = field["name"]
        if field.get("unit") not in (None, "1") and not units[place]:
            against.append(f"{name}, {column}: no unit, the schema says {field['unit']}")
        held = [line[place] for line in rows if line[place] is not None]
        given = table[column].dropna()
        if len(held) != len(given):
            against.append(f"{name}, {column}: {len(held)} cells, the table has {len(given)}")
        wrong = [value for value in held if not is_kind(value, field["type"])]
        if wrong:
            against.append(f"{name}, {column}: {len(wrong)} cells are no {field['type']}, first {wrong[0]!r}")
        # Rows may stand in another order, and measures in other units; names and counts are the same.
        elif field["type"] == "integer" and sorted(held) != sorted(int(text) for text in given):
            against.append(f"{name}, {column}: other numbers than in the table")
        elif field["type"] == "string" and all(len(text) < ROOM_OF_A_CELL for text in given):
            if sorted(text.lstrip("'") for text in held) != sorted(text.lstrip("'") for text in given):
                against.append(f"{name}, {column}: other texts than in the table")
    return against


def references(chart):
    """The cells that a chart draws."""
    for series in chart.series:
        for part in (getattr(series, "xVal", None), getattr(series, "yVal", None), getattr(series, "val", None)):
            reference = getattr(part, "numRef", None) if part is not None else None
            if reference is not None:
                yield reference.f


def charts_against(book):
    """What can be said against the charts, and how many there are."""
    against, count, drawn = [], 0, 0
    for sheet in book.worksheets:
        for chart in sheet._charts:  # openpyxl has no public list of a sheet's charts
            count += 1
            for reference in references(chart):
                drawn += 1
                parts = re.fullmatch(r"'?([^'!]+)'?!\$?([A-Z]+\$?\d+(?::\$?[A-Z]+\$?\d+)?)", reference)
                if parts is None or parts[1] not in book.sheetnames:
                    against.append(f"chart {count} draws {reference}, which is not there")
                    continue
                cells = book[parts[1]][parts[2].replace("$", "")]
                cells = [cell for row in cells for cell in row] if isinstance(cells, tuple) else [cells]
                values = [cell.value for cell in cells if cell.value is not None]
                if not any(isinstance(value, int | float) for value in values):
                    against.append(f"chart {count} draws {reference}, which has no number")
    return against, count, drawn


def main(workbook, results):
    resources = json.loads((results / "datapackage.json").read_text(encoding="utf-8"))["resources"]
    book = openpyxl.load_workbook(workbook)
    named = {resource["path"].removesuffix(".csv")[:31]: resource for resource in resources}
    sheets = [sheet for sheet in book.worksheets if sheet.title not in (ABOUT, CHARTS)]
    titles = {sheet.title for sheet in sheets}
    against = [f"no sheet {name}" for name in sorted(named.keys() - titles)]
    against += [f"sheet {name} is no result table" for name in sorted(titles - named.keys())]
    check(f"openpyxl: {workbook.name} has a sheet for each of {len(named)} result tables", against)

    against = [fault for sheet in sheets if sheet.title in named for fault in sheet_against(sheet, named[sheet.title], results)]
    check("openpyxl: names, units, typed cells and as many rows as in the tables", against)

    cells = [(sheet.title, cell) for sheet in book.worksheets for row in sheet.iter_rows() for cell in row]
    against = [f"{title}, {cell.coordinate}: {cell.value}" for title, cell in cells if cell.data_type in ("f", "e")]
    check(f"openpyxl: none of {len(cells)} cells is a formula or an error", against)

    against, count, drawn = charts_against(book)
    settled = pandas.read_csv(results / "curves.csv")
    if count == 0 and settled.empty:
        skip("charts of the workbook", "the review has no curve")
        return
    if count == 0:
        against.append("the review has curves and the workbook no chart")
    check(f"openpyxl: {count} charts draw {drawn} ranges of cells that are there", against)


if __name__ == "__main__":
    main(pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[2]))
