#!/usr/bin/env python3
"""Counts the instructions that the program takes, and holds them to those kept beside this file.

    instructions.py PROGRAM [--write]

Three runs under valgrind, on one thread: a formula alone, which is the start of the program, and the
check of a made plan of 2,000 and of 10,000 links. What lies between the two checks is the cost of a
link. A count that is more than a tenth above the one in `instructions.csv` fails; `--write` keeps
the new ones. Counts, unlike times, are nearly the same on a busy machine: runs of one program differ
by one or two in a hundred, as tables with chance in them do.

Counts depend on the compiler and the kind of processor; the file says of which they are. On another
kind of processor nothing is compared. Where valgrind is missing, root gets it by apt; where it
cannot be had, that is said and nothing fails.

Holds no timings.
"""

import csv
import os
import platform
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

KEPT = Path(__file__).with_name("instructions.csv")
HEADER = "# Instructions as callgrind counts them, of a release program by {}; made by instructions.py --write.\n"
FEW, MANY = 2_000, 10_000
PER_LINK = f"one link more, between {FEW:,} and {MANY:,}"
MOST = 1.10
PER_SWITCH = 48


def plan(n_links):
    """A plan of so many links, 48 to a switch, of which two are uplinks; some copper is too long."""
    n_switches = -(-n_links // PER_SWITCH) + 1
    lines = ["portledger = 1", 'title = "Counted"', "", "[rows]", "links = '''"]
    lines.append("id,from,from_port,to,role,speed,interface,medium,length")
    for at in range(n_links):
        switch, port = divmod(at, PER_SWITCH)
        if port < 2:
            rest = f"sw{n_switches - 1},uplink,10,10GBASE-SR,OM4"
        else:
            rest = ",access,1,1000BASE-T,Cat6"
        lines.append(f"L{at},sw{switch},{port},{rest},{5 + at * 37 % 103}")
    lines += ["'''", "switches = '''", "id,access_ports,access_speed,uplink_cages,cage"]
    lines += [f"sw{at},46,1,4,SFP+" for at in range(n_switches)]
    return "\n".join([*lines, "'''", ""])


def has_valgrind():
    """Whether valgrind is there; root gets it first where it is missing."""
    if shutil.which("valgrind") is None and shutil.which("apt-get") and os.geteuid() == 0:
        for command in (["apt-get", "update", "-q"], ["apt-get", "install", "-qy", "valgrind"]):
            try:
                subprocess.run(command, check=False, stdout=subprocess.DEVNULL, timeout=300)
            except subprocess.TimeoutExpired:
                return False
    return shutil.which("valgrind") is not None


def count(program, *arguments):
    """The instructions of one run on one thread; a check that found stops exits with 1."""
    command = ["valgrind", "--tool=callgrind", "--callgrind-out-file=/dev/null", program, *arguments]
    environment = {"PATH": os.environ["PATH"], "LC_ALL": "C", "RAYON_NUM_THREADS": "1"}
    run = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=600)
    found = re.search(r"Collected : (\d+)", run.stderr)
    if run.returncode not in (0, 1) or found is None or not run.stdout:
        sys.exit(f"{' '.join(command)} exited with {run.returncode}:\n{run.stderr[-2000:]}")
    return int(found.group(1))


def counted(program):
    """Each count by what was counted."""
    with tempfile.TemporaryDirectory() as folder:
        counts = {"calc '1+1'": count(program, "calc", "1+1")}
        for n_links in (FEW, MANY):
            path = Path(folder, f"{n_links}.plan")
            path.write_text(plan(n_links), encoding="utf-8")
            counts[f"check of {n_links:,} links"] = count(program, "check", str(path))
    few, many = list(counts.values())[1:]
    counts[PER_LINK] = round((many - few) / (MANY - FEW))
    return counts


def maker():
    """The compiler and the kind of processor that counts are of."""
    rustc = subprocess.run(["rustc", "--version"], check=True, capture_output=True, text=True)
    return f"{rustc.stdout.strip()} on {platform.machine()}"


def write(counts):
    """Keeps the counts."""
    with KEPT.open("w", encoding="utf-8", newline="") as file:
        file.write(HEADER.format(maker()))
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow(["what", "instructions"])
        rows.writerows(counts.items())


def kept():
    """Of which compiler and processor the kept counts are, and the counts."""
    first, *lines = KEPT.read_text(encoding="utf-8").splitlines()
    before, after = HEADER.strip().split("{}")
    rows = csv.DictReader(lines)
    return first.removeprefix(before).removesuffix(after), {row["what"]: int(row["instructions"]) for row in rows}


def compare(counts):
    """Prints all counts beside the kept ones; says how many are too high."""
    of, known = kept()
    here = maker()
    is_comparable = of.split()[-1] == here.split()[-1]
    if of != here:
        print(f"the kept counts are of {of}, these of {here}")
    if not is_comparable:
        print("another kind of processor: nothing is compared")
    n_wrong = 0
    for what, n in counts.items():
        if what not in known:
            print(f"{what:<40} {n:>14,}  not kept yet")
            n_wrong += is_comparable
            continue
        ratio = n / known[what]
        is_wrong = is_comparable and ratio > MOST
        n_wrong += is_wrong
        print(f"{what:<40} {n:>14,}  {100 * (ratio - 1):+6.1f} %{'  too many' if is_wrong else ''}")
    if n_wrong:
        print("find what became slower, or keep these with `tests/bench/instructions.py PROGRAM --write`")
    return n_wrong


def main():
    """Counts, then keeps or compares."""
    arguments = [argument for argument in sys.argv[1:] if argument != "--write"]
    if len(arguments) != 1 or not Path(arguments[0]).is_file():
        sys.exit(__doc__)
    if not has_valgrind():
        print("valgrind is not here and could not be had: no instructions were counted")
        return
    counts = counted(str(Path(arguments[0]).resolve()))
    if "--write" in sys.argv:
        write(counts)
    sys.exit(bool(compare(counts)))


main()
