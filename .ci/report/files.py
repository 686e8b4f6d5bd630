"""The bytes of a report: files.py ONE TWO PLACE...

ONE and TWO are the same review run into two folders. They hold the same files with the same bytes, and none of them names
a PLACE (a folder of this machine) or anything that looks like one, also inside packed files.
"""

import io
import pathlib
import re
import sys
import zipfile
import zlib

from say import check

LIKE_A_PLACE = re.compile(rb"(?:file://|/home/|/root/|/Users/|/tmp/|/var/folders/|\b[A-Za-z]:\\\\?Users)[\w./\\-]*")


def contents(folder):
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def unpacked(name, content):
    """A file as bytes that can be searched: its members where it is a package, its streams where it is paper."""
    if name.endswith(".xlsx"):
        with zipfile.ZipFile(io.BytesIO(content)) as package:
            return b"\n".join(package.read(member) for member in package.namelist())
    if name.endswith(".pdf"):
        streams = re.findall(rb"stream\r?\n(.*?)\r?\nendstream", content, re.DOTALL)
        return content + b"\n".join(inflated(stream) for stream in streams)
    return content


def inflated(stream):
    try:
        return zlib.decompress(stream)
    except zlib.error:
        return b""


def main(one, two, places):
    first, second = contents(one), contents(two)
    against = [f"{name}: in one run alone" for name in sorted(first.keys() ^ second.keys())]
    against += [f"{name}: other bytes" for name in sorted(first.keys() & second.keys()) if first[name] != second[name]]
    if not first:
        against.append("there is no file")
    check(f"two runs give the same {len(first)} files with the same bytes", against)

    against = []
    for name, content in first.items():
        # Pictures and columns of numbers hold any bytes; their names are the schema's.
        if name.endswith((".png", ".parquet")):
            continue
        text = unpacked(name, content)
        against += [f"{name}: names {place}" for place in places if place.encode() in text]
        against += [f"{name}: names {found.group(0).decode(errors='replace')}" for found in LIKE_A_PLACE.finditer(text)]
    check("no file names a folder of this machine", against)


if __name__ == "__main__":
    main(pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[2]), sys.argv[3:])
