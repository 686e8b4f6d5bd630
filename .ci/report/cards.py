"""The cards of a report on paper: cards.py CARDS RESULTS

As text, not as a picture: each planter is named, and each start stands on a sheet that names its planter.
"""

import pathlib
import re
import sys

import pandas
import pypdf

from say import check

# Kilopascals in a unit of pressure.
KPA = {"psi": 6.894757293168361, "kPa": 1.0, "bar": 100.0}


def start_words(setting, unit):
    """How a start may be told: its number and unit, or its position."""
    if isinstance(setting.start_position, str):
        return [f"position {setting.start_position}"]
    if not pandas.isna(setting.start_pressure_kpa):
        pressure = setting.start_pressure_kpa / KPA[unit]
        # With as many digits as the knob's steps have, which the card knows and this check does not.
        return sorted({f"{pressure:.{digits}f} {unit}" for digits in (0, 1, 2)})
    return []


def says(sheet, words):
    """Whether words stand in a sheet, and not as a part of longer ones."""
    return re.search(rf"(?<![\w.-]){re.escape(words)}(?![\w-])", sheet) is not None


def main(cards, results):
    paper = pypdf.PdfReader(cards)
    sheets = [re.sub(r"\s+", " ", page.extract_text()) for page in paper.pages]
    planters = pandas.read_csv(results / "planters.csv", dtype={"planter_id": str, "pressure_unit": str})
    texts = {"planter_id": str, "start_position": str}
    settings = pandas.read_csv(results / "settings.csv", dtype=texts)
    units = dict(zip(planters.planter_id, planters.pressure_unit, strict=True))
    against = [f"no sheet names planter {planter}" for planter in units if not any(says(sheet, planter) for sheet in sheets)]
    starts = 0
    for setting in settings[settings.primary].itertuples():
        unit = units.get(setting.planter_id)
        words = start_words(setting, unit if isinstance(unit, str) else "kPa")
        if not words:
            continue
        starts += 1
        own = [sheet for sheet in sheets if says(sheet, setting.planter_id)]
        if not any(says(sheet, word) for word in words for sheet in own):
            against.append(f"planter {setting.planter_id}, {setting.condition}: no sheet says {' or '.join(words)}")
    if not sheets:
        against.append("no sheet")
    check(f"pypdf: {len(sheets)} sheets of cards name {len(units)} planters and {starts} starts", against)


if __name__ == "__main__":
    main(pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[2]))
