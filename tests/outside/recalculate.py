#!/usr/bin/env python3
"""Has a spreadsheet engine that knows nothing of this program calculate its workbooks.

    recalculate.py PROGRAM PLAN...

For each plan, on a copy of it: the program exports a workbook; the engine calculates every cell
with a formula from the entered cells alone, and each has to be what the program stored in it, a
number to 1e-9 of itself. Then a length, a speed and an assumption are changed in the workbook, the
same three with `PROGRAM set` in the plan, and the engine has to come to what the program exports
from the changed plan. Cells that hang on a column without formulas cannot follow where that column
changed, and a picture of the summary may show other rows then; those cells are counted and named.

Needs the packages of `requirements.txt`. The engine, `formulas`, is under the EUPL and is used by
this check alone; nothing of it goes into the program.

Holds no tests of files that come back, and none of how a workbook looks.
"""

import concurrent.futures
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

os.environ["TQDM_DISABLE"] = "1"

import formulas
import numpy
import openpyxl

# A number may differ by so much of itself.
NEAR = 1e-9
# The rows with titles and headings of a page with a sheet.
HEADS = 4
# So many differences are printed of a plan.
MOST = 10


def run(program, *words):
    """Runs the program; anything but success ends the check."""
    done = subprocess.run([program, *words], capture_output=True, text=True)
    if done.returncode > 1 or done.stderr.startswith("error"):
        sys.exit(f"{' '.join(map(str, words))}: {done.stderr}")


class Workbook:
    """A workbook as it was exported: formulas, stored values, headings and ids."""

    def __init__(self, path):
        self.path = path
        self.live = openpyxl.load_workbook(path)
        self.stored = openpyxl.load_workbook(path, data_only=True)
        # Formulas by page and address.
        self.formulas = {
            (page.title, cell.coordinate): cell.value
            for page in self.live
            for row in page.iter_rows()
            for cell in row
            if cell.data_type == "f"
        }

    def value(self, key):
        page, address = key
        return self.stored[page][address].value

    def key_of(self, page, row, heading):
        """The cell of a row, by its id, under a heading; none where there is none."""
        if page not in self.live.sheetnames:
            return None
        sheet = self.live[page]
        columns = [cell.column_letter for cell in sheet[HEADS] if cell.value == heading]
        rows = [cell.row for cell in sheet["A"] if cell.row > HEADS and cell.value == row]
        return (page, f"{columns[0]}{rows[0]}") if len(columns) == 1 and len(rows) == 1 else None

    def name_of(self, key):
        """Page, id and heading of a cell."""
        page, address = key
        sheet = self.live[page]
        cell = sheet[address]
        return page, sheet.cell(cell.row, 1).value, sheet.cell(HEADS, cell.column).value


class Engine:
    """A workbook in the engine."""

    def __init__(self, path):
        self.name = Path(path).name
        self.model = formulas.ExcelModel().loads(str(path)).finish()

    def node(self, key):
        page, address = key
        return f"'[{self.name}]{page.upper()}'!{address}"

    def calculated(self, changes):
        """All values by node, after some cells were changed."""
        inputs = {self.node(key): value for key, value in changes.items()}
        found = self.model.calculate(inputs=inputs)
        return {name: plain(one.value) for name, one in found.items() if hasattr(one, "value")}


def plain(value):
    """The value of a single cell."""
    cells = numpy.asarray(value, dtype=object)
    return cells[0, 0] if cells.shape == (1, 1) else None


def difference(ours, theirs):
    """How far apart two values are, as a part of ours; none where they are no two numbers, and
    infinite where they are not the same."""
    if ours is None or ours == "":
        return None if str(theirs) in ("", "empty") else float("inf")
    if isinstance(ours, bool):
        return None if isinstance(theirs, (bool, numpy.bool_)) and bool(theirs) == ours else float("inf")
    if isinstance(ours, (int, float)):
        if isinstance(theirs, (bool, numpy.bool_, str)):
            return float("inf")
        try:
            return abs(float(theirs) - ours) / max(abs(ours), abs(float(theirs)), 1e-300)
        except (TypeError, ValueError):
            return float("inf")
    return None if str(theirs) == ours else float("inf")


class Tally:
    """What was compared."""

    def __init__(self):
        self.n, self.worst, self.wrong, self.unknown = 0, 0.0, [], []

    def add(self, where, ours, theirs, formula):
        apart = 0.0
        if ours != theirs or ours is None:
            found = difference(ours, theirs)
            apart = 0.0 if found is None else found
        self.n += 1
        if apart <= NEAR:
            self.worst = max(self.worst, apart)
        else:
            self.wrong.append(f"{where}: ours {ours!r}, the engine's {theirs!r}\n      {formula[:300]}")

    def said(self, what):
        lines = [f"  {what}: {self.n} cells compared, worst difference {self.worst:.2g}"]
        if self.unknown:
            lines.append(f"    not compared: {len(self.unknown)} cells: {', '.join(self.unknown[:MOST])}")
        if self.wrong:
            lines.append(f"    {len(self.wrong)} differ:")
            lines += [f"    {line}" for line in self.wrong[:MOST]]
        return lines


def as_exported(book, values, engine):
    """Every formula against what is stored in its cell."""
    tally = Tally()
    for key, formula in book.formulas.items():
        node = engine.node(key)
        if node not in values:
            tally.unknown.append("!".join(key))
            continue
        tally.add("!".join(key), book.value(key), values[node], formula)
    return tally


def changes_for(book):
    """A length, a speed and an assumption that are there, as cells, and as words for `set`."""
    links, found = book.live["Links"], []
    headings = {cell.value: cell.column for cell in links[HEADS]}
    length, speed = headings["Length (m)"], headings["Speed (Gb/s)"]
    rows = range(HEADS + 1, links.max_row + 1)
    given = [row for row in rows if isinstance(links.cell(row, length).value, (int, float))]
    # Two links, so that neither change hides the other.
    for row, at, column, value, unit in [
        (given[len(given) // 2], length, "length", links.cell(given[len(given) // 2], length).value * 1.75 + 3, "m"),
        (given[len(given) // 3], speed, "speed", 2.5, "Gb/s"),
    ]:
        words = ["links", links.cell(row, 1).value, column, f"{value!r} {unit}"]
        found.append((("Links", links.cell(row, at).coordinate), value, words))
    page = book.live["Assumptions"]
    for row in range(HEADS + 1, page.max_row + 1):
        if page.cell(row, 2).value == "assume.connection_loss":
            value = page.cell(row, 4).value + 0.15
            words = ["assume", "connection_loss", "value", f"{value!r} dB"]
            found.append((("Assumptions", page.cell(row, 4).coordinate), value, words))
    return found


def stuck(before, after):
    """Cells that stand as values although they are computed, where the changes made other values of
    them, and every formula that hangs on one."""
    values = set()
    for page in before.live:
        if page.max_row <= HEADS or page["A3"].value != "entered":
            continue
        for head in page[HEADS]:
            if page.cell(3, head.column).value == "entered" or head.value is None:
                continue
            for row in range(HEADS + 1, page.max_row + 1):
                key = page.title, page.cell(row, head.column).coordinate
                other = after.key_of(*before.name_of(key)) if key not in before.formulas else key
                if key not in before.formulas and (other is None or after.value(other) != before.value(key)):
                    values.add(key)
    uses = {key: list(named(key[0], formula)) for key, formula in before.formulas.items()}
    more = True
    while more:
        new = {key for key, areas in uses.items() if key not in values and any(touches(area, values) for area in areas)}
        values |= new
        more = bool(new)
    return values


REFERENCE = re.compile(r"(?:'?([A-Za-z_ ]+)'?!)?\$?([A-Z]{1,3})\$?(\d+)(?::\$?([A-Z]{1,3})\$?(\d+))?")


def named(page, formula):
    """The areas that a formula names: page, columns and rows."""
    for other, left, top, right, bottom in REFERENCE.findall(re.sub(r'"[^"]*"', '""', formula)):
        yield other or page, left, int(top), right or left, int(bottom or top)


def touches(area, cells):
    page, left, top, right, bottom = area
    if left == right:
        return any((page, f"{left}{row}") in cells for row in range(top, bottom + 1))
    first, last = (openpyxl.utils.column_index_from_string(name) for name in (left, right))
    letters = [openpyxl.utils.get_column_letter(at) for at in range(first, last + 1)]
    return any((page, f"{letter}{row}") in cells for letter in letters for row in range(top, bottom + 1))


def as_changed(before, after, values, engine):
    """What the engine comes to after changes against what the program exports after the same."""
    tally, left = Tally(), stuck(before, after)
    for key, formula in before.formulas.items():
        where, node = "!".join(key), engine.node(key)
        other = key if after.formulas.get(key) == formula else None
        page, row, heading = before.name_of(key)
        if page == "Summary" and after.name_of(key)[1] != row:
            # The pictures are in the order of what they show.
            other = None
        elif other is None and row and heading:
            other = after.key_of(page, row, heading)
        if key in left or other is None or node not in values:
            tally.unknown.append(where)
            continue
        tally.add(where, after.value(other), values[node], formula)
    return tally


def check(program, plan):
    """Checks one plan; gives what is to be printed, and whether all is well."""
    begun = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        folder = Path(folder)
        copy = folder / "copy.plan"
        shutil.copy(plan, copy)
        run(program, "export", copy, folder / "sent.xlsx")
        before = Workbook(folder / "sent.xlsx")
        engine = Engine(folder / "sent.xlsx")
        first = as_exported(before, engine.calculated({}), engine)
        changes = changes_for(before)
        for _, _, words in changes:
            run(program, "set", copy, *words)
        run(program, "export", copy, folder / "changed.xlsx")
        after = Workbook(folder / "changed.xlsx")
        values = engine.calculated({key: value for key, value, _ in changes})
        second = as_changed(before, after, values, engine)
        moved = sum(after.value(key) != before.value(key) for key in before.formulas if key in after.formulas)
    told = ", ".join(" ".join(words) for _, _, words in changes)
    lines = [f"{plan}: {time.monotonic() - begun:.0f} s"]
    lines += first.said("as exported")
    lines += second.said(f"after {told}")
    lines.append(f"    {moved} of them are another value than before")
    is_well = not first.wrong and not second.wrong and not first.unknown
    return lines, is_well and first.n > 0 and moved > 0 and len(changes) == 3


def main():
    if len(sys.argv) < 3:
        sys.exit(__doc__)
    program, plans = Path(sys.argv[1]).resolve(), sys.argv[2:]
    with concurrent.futures.ProcessPoolExecutor() as pool:
        results = list(pool.map(check, [program] * len(plans), plans))
    for lines, _ in results:
        print(*lines, sep="\n")
    sys.exit(not all(is_well for _, is_well in results))


if __name__ == "__main__":
    main()
