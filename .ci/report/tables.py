"""Reads the results and the workbook of a review with other people's libraries."""

import json
import pathlib
import sys

import frictionless
import openpyxl
import pandas

folder = pathlib.Path(sys.argv[1])
results, report = folder / "results", folder / "report"
failed = False


def say(good, words):
    global failed
    print(("ok       " if good else "failed   ") + words)
    failed |= not good


told = frictionless.validate(str(results / "datapackage.json"))
faults = [error for task in told.tasks for error in task.errors] + list(told.errors)
say(told.valid, f"frictionless: {len(told.tasks)} tables" + "".join(f"\n           {fault.message}" for fault in faults[:8]))

rows, unequal = {}, []
package = json.loads((results / "datapackage.json").read_text())
for resource in package["resources"]:
    name = resource["path"].removesuffix(".csv")
    kinds = {field["name"]: field["type"] for field in resource["schema"]["fields"]}
    texts = {column: str for column, kind in kinds.items() if kind in ("string", "date", "datetime", "boolean")}
    csv = pandas.read_csv(results / f"{name}.csv", dtype=texts, keep_default_na=False, na_values={c: [""] for c in kinds})
    parquet = pandas.read_parquet(results / f"{name}.parquet")
    rows[name] = len(parquet)
    if list(csv.columns) != list(parquet.columns) or len(csv) != len(parquet):
        unequal.append(f"{name}: {csv.shape} against {parquet.shape}")
        continue
    for column, kind in kinds.items():
        if kind in ("number", "integer"):
            a, b = csv[column].astype(float), parquet[column].astype(float)
            if not ((a == b) | (a.isna() & b.isna())).all():
                unequal.append(f"{name}.{column}")
        elif kind == "string":
            a = csv[column].fillna("").str.replace(r"^'(?=[=+\-@])", "", regex=True)
            b = parquet[column].fillna("").str.replace("\r\n", "\n")
            if not (a.str.replace("\r\n", "\n") == b).all():
                unequal.append(f"{name}.{column}")
say(not unequal, f"pandas: {len(rows)} tables alike in CSV and Parquet" + "".join(f"\n           {one}" for one in unequal[:8]))

if (report / "review.xlsx").exists():
    book = openpyxl.load_workbook(report / "review.xlsx")
    sheets = [sheet for sheet in book.worksheets if sheet.title not in ("About", "Charts")]
    problems = []
    for sheet in sheets:
        if sheet.title in rows and sheet.max_row - 2 != rows[sheet.title] and rows[sheet.title] > 0:
            problems.append(f"{sheet.title}: {sheet.max_row - 2} rows against {rows[sheet.title]}")
        if sheet.freeze_panes is None:
            problems.append(f"{sheet.title}: nothing is frozen")
        if any(cell.data_type == "f" for line in sheet.iter_rows() for cell in line):
            problems.append(f"{sheet.title}: a formula")
    numbers = sum(cell.data_type == "n" and cell.value is not None for cell in book["strips"][3])
    charts = sum(len(sheet._charts) for sheet in openpyxl.load_workbook(report / "review.xlsx").worksheets)
    if numbers < 3:
        problems.append(f"strips: {numbers} numbers in its first row")
    missing = set(rows) - {sheet.title for sheet in sheets}
    problems += [f"no sheet {name}" for name in sorted(missing)]
    say(not problems and charts > 0, f"openpyxl: {len(sheets)} sheets, {charts} charts" + "".join(f"\n           {one}" for one in problems[:8]))

if (report / "cards.pdf").exists():
    import pypdf

    paper = pypdf.PdfReader(report / "cards.pdf")
    text = " ".join(page.extract_text() for page in paper.pages)
    planters = list(pandas.read_parquet(results / "planters.parquet")["planter_id"])
    absent = [planter for planter in planters if planter not in text]
    say(not absent, f"pypdf: {len(paper.pages)} sheets of paper name every planter" + "".join(f"\n           not {one}" for one in absent))

sys.exit(1 if failed else 0)
