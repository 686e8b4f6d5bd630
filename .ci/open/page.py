"""Runs the recipes of a page and holds what they print against what the page shows.

    page.py PAGE FOLDER

PAGE is Markdown. Each block ```python, ```sql or ```r is run in FOLDER, which holds the review that the page speaks of, and the block ```text
after it is what it prints. SQL is run by DuckDB, R by Rscript; where one is not here its recipes are `skipped: …`. With SNAPSHOTS=overwrite the page
is written again. Prints a line a recipe; exit status 1 where one printed something else.
"""

import difflib
import importlib.util
import os
import pathlib
import shutil
import subprocess
import sys

SQL = """
import sys, duckdb
for statement in sys.stdin.read().split(";"):
    if statement.strip():
        found = duckdb.sql(statement)
        print(" | ".join(found.columns))
        for row in found.fetchall():
            print(" | ".join("" if cell is None else str(cell) for cell in row))
"""


def command(language, code):
    """Program and arguments that run a recipe read from standard input; a word instead where it is not here."""
    if language == "r":
        return ["Rscript", "--vanilla", "-"] if shutil.which("Rscript") else "Rscript"
    modules = ["duckdb"] if language == "sql" else [name for name in ("pandas", "polars", "pyarrow", "duckdb", "openpyxl") if f"import {name}" in code]
    absent = [name for name in modules if importlib.util.find_spec(name) is None]
    if absent:
        return absent[0]
    return [sys.executable, "-c", SQL] if language == "sql" else [sys.executable, "-"]


def blocks(lines):
    """Fenced blocks as (language, first line, line after the last)."""
    start = None
    for number, line in enumerate(lines):
        if line.startswith("```"):
            if start is None:
                start = (line[3:].strip(), number + 1)
            else:
                yield (*start, number)
                start = None


def main():
    page, folder = pathlib.Path(sys.argv[1]), sys.argv[2]
    lines = page.read_text(encoding="utf-8").split("\n")
    found = list(blocks(lines))
    answers, failed, recipes = [], 0, 0
    for index, (language, start, end) in enumerate(found):
        if language not in ("python", "sql", "r"):
            continue
        recipes += 1
        name = f"{page.name}, line {start + 1} ({language})"
        shown = found[index + 1] if index + 1 < len(found) else ("", 0, 0)
        if shown[0] != "text":
            print(f"failed: {name}: no block ```text follows")
            failed += 1
            continue
        code = "\n".join(lines[start:end]) + "\n"
        run = command(language, code)
        if isinstance(run, str):
            print(f"skipped: {name}: {run} is not installed")
            continue
        done = subprocess.run(run, input=code, cwd=folder, capture_output=True, text=True, encoding="utf-8")
        said = [line.rstrip() for line in done.stdout.rstrip("\n").split("\n")]
        answers.append((shown, said))
        if done.returncode != 0 or not done.stdout.strip():
            print(f"failed: {name}: exit status {done.returncode}\n{done.stderr.strip()}")
            failed += 1
        elif said != lines[shown[1] : shown[2]] and os.environ.get("SNAPSHOTS") != "overwrite":
            print(f"failed: {name} printed something else")
            print("\n".join(difflib.unified_diff(lines[shown[1] : shown[2]], said, "page", "printed", lineterm="")))
            failed += 1
        else:
            print(f"ok: {name}")
    if recipes == 0:
        print(f"failed: {page.name} holds no recipe")
        failed += 1
    if os.environ.get("SNAPSHOTS") == "overwrite" and not failed:
        for shown, said in reversed(answers):
            lines[shown[1] : shown[2]] = said
        page.write_text("\n".join(lines), encoding="utf-8")
    return 1 if failed else 0


sys.exit(main())
