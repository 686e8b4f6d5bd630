"""The result tables of a review, read by other people's libraries: tables.py RESULTS

Frictionless holds every CSV against its schema in `datapackage.json`; pandas reads each table from CSV and from Parquet
and finds the same columns, rows and values. The two files may differ in one thing alone: text that a spreadsheet would
run as a formula has an apostrophe before it in CSV.
"""

import json
import pathlib
import sys

import frictionless
import pandas

from say import check

RUN_BY_SPREADSHEETS = ("=", "+", "-", "@", "\t", "\r")


def package(results):
    """Every table against its schema, and no table outside the package."""
    told = frictionless.validate(str(results / "datapackage.json"))
    against = [error.message for error in told.errors]
    against += [f"{task.name}: {error.message}" for task in told.tasks for error in task.errors]
    against += [f"{task.name}: {warning}" for task in told.tasks for warning in task.warnings]
    resources = json.loads((results / "datapackage.json").read_text(encoding="utf-8"))["resources"]
    named = {resource["path"] for resource in resources}
    there = {path.name for path in results.glob("*.csv")}
    against += [f"{name}: not in the package" for name in sorted(there - named)]
    if not told.tasks:
        against.append("the package has no table")
    check(f"frictionless: {len(told.tasks)} tables follow their schemas", against)
    return resources


def is_number(text):
    try:
        float(text)
    except ValueError:
        return False
    return True


def as_in_csv(text):
    """A text as the CSV has it: see the top of this file."""
    if text is not None and text.startswith(RUN_BY_SPREADSHEETS) and not is_number(text):
        return "'" + text
    return text


def alike(kind, from_csv, from_parquet):
    """Whether two cells hold the same; a gap is None in both."""
    if from_csv is None or from_parquet is None:
        return from_csv is None and from_parquet is None
    if kind == "string":
        return from_csv == as_in_csv(from_parquet)
    if kind == "integer":
        return int(from_csv) == from_parquet
    if kind == "number":
        return float(from_csv) == from_parquet
    if kind == "boolean":
        return from_csv == ("true" if from_parquet else "false")
    moment, kept = pandas.Timestamp(from_csv), pandas.Timestamp(from_parquet)
    # A moment without an offset is UTC in both.
    moment, kept = (one.tz_localize("UTC") if one.tzinfo is None else one for one in (moment, kept))
    return moment == kept


def cells(series):
    return [None if pandas.isna(cell) else cell for cell in series]


def tables(results, resources):
    """Each table from CSV and from Parquet."""
    against = []
    compared = 0
    for resource in resources:
        name = resource["path"].removesuffix(".csv")
        # Every cell as it is written; an empty one is a gap. What each means, its column's type says.
        csv = pandas.read_csv(results / f"{name}.csv", dtype=str, keep_default_na=False, na_values=[""])
        # Whole numbers with gaps must not become floats: they would lose digits.
        parquet = pandas.read_parquet(results / f"{name}.parquet", dtype_backend="pyarrow")
        if list(csv.columns) != list(parquet.columns) or csv.shape != parquet.shape:
            against.append(f"{name}: {csv.shape} in CSV, {parquet.shape} in Parquet")
            continue
        for field in resource["schema"]["fields"]:
            column = field["name"]
            pairs = zip(cells(csv[column]), cells(parquet[column]), strict=True)
            for row, (text, value) in enumerate(pairs, start=2):
                compared += 1
                if not alike(field["type"], text, value):
                    against.append(f"{name}.csv, line {row}, {column}: {text!r} in CSV, {value!r} in Parquet")
    if compared == 0:
        against.append("no cell was compared")
    check(f"pandas: {len(resources)} tables hold the same in CSV and Parquet ({compared} cells)", against)


if __name__ == "__main__":
    folder = pathlib.Path(sys.argv[1])
    tables(folder, package(folder))
