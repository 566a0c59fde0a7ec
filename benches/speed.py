"""Measures whether everyday answers stay as quick as they are, however many jobs a ledger has.

    python3 benches/speed.py PROGRAM [JOBS ...] [--runs N] [--whole] [--keep FOLDER] [--write] [--judge]

For each number of jobs (1000 and 10000, if none is given; 100000 takes 10 GB and an hour) a ledger is made with
`benches/big_ledger.py`, and each command is run N times on it (10). The table says, in milliseconds, how long the fastest
run took from the start of the process to its end, and how much processor time the quickest one used; and the most memory
that a run held, in megabytes. On a busy machine the clock says how busy it is, so goals are about processor time. What
writes, writes: but for what has `--dry-run`.

--whole        has answers about all jobs too, each run once; they have no goal here
--keep FOLDER  leaves the ledgers there, and takes those that are there already
--write        puts the table into `benches/README.md`, with the date and how busy the machine was
--judge        ends with exit code 1 where a goal is missed: so many milliseconds, not half as much again on the largest
               ledger as on the smallest (and a millisecond more), and 100 MB
"""

import argparse
import datetime
import os
import pathlib
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time

HERE = pathlib.Path(__file__).parent
TODAY = {"GRITLEDGER_TODAY": "2026-03-02", "LC_ALL": "C.UTF-8"}
MOST_MEGABYTES = 100

# A command with the numbers of one job in it, and its goal in milliseconds; None: it is shown, and has none. `{n}` is
# another number of two digits in each run, so that nothing is typed twice. What begins with `!` is a slip, and refused.
COMMANDS = [
    ("today", 15),
    ("job show {open}", 15),
    ("job show {closed}", 15),
    ("report margin {closed}", 15),
    ("report variance {closed}", 15),
    ("quote show {quote}", 15),
    ("invoice show {invoice}", 15),
    ("rate show rotary-36 --condition worn-film", 15),
    ("stock list", 15),
    ("client show 'Isolde Marrow'", 15),
    ("site show '18 Cooper''s Rise'", 15),
    ("use disc-7in-36 0.{n} --on rotary-36", 30),
    ("hours 'Wen Abara' 0.{n} --on sand", 30),
    ("buy disc-7in-36 30 --cost 96.{n}", 30),
    ("spent {n} --for disposal", 30),
    ("!client show 'Isolde Marow'", None),
    ("rental back buffer --at 07:00 --dry-run", None),
]


WHOLE = ["job list", "quote list", "invoice list", "report margin", "report margin --by month", "report consumables",
         "report rentals", "rate list", "export usage", "check"]


class Command:
    """A command as it is typed, and what its runs took."""

    def __init__(self, line, goal, numbers):
        self.line, self.goal, self.numbers = line.removeprefix("!"), goal, numbers
        self.exit_code = 1 if line.startswith("!") else 0

    def arguments(self, run):
        words, quoted = [""], False
        for sign in self.line.replace("''", "\0"):
            if sign == "'":
                quoted = not quoted
            elif sign == " " and not quoted:
                words.append("")
            else:
                words[-1] += sign.replace("\0", "'")
        return [word.format(n=(self.numbers["entries"] + run) % 90 + 10, **self.numbers) for word in words]

    def measure(self, program, ledger, runs):
        """The milliseconds of the fastest run and of the one that used the processor least, and the most megabytes of any."""
        command = lambda run: [program, "--ledger", ledger, *self.arguments(run)]
        taken = [run_once(command(run), self.exit_code) for run in range(runs)]
        clocks, processors, megabytes = zip(*taken)
        return min(clocks), min(processors), max(megabytes)


def run_once(words, exit_code=0):
    begin = time.perf_counter()
    nowhere = os.open(os.devnull, os.O_RDWR)
    actions = [(os.POSIX_SPAWN_DUP2, nowhere, number) for number in (0, 1, 2)]
    process = os.posix_spawn(words[0], words, {**os.environ, **TODAY}, file_actions=actions)
    _, status, used = os.wait4(process, 0)
    took = (time.perf_counter() - begin) * 1000
    os.close(nowhere)
    if os.waitstatus_to_exitcode(status) != exit_code:
        sys.exit(f"{words}: exit {os.waitstatus_to_exitcode(status)}, not {exit_code}")
    return took, (used.ru_utime + used.ru_stime) * 1000, used.ru_maxrss / 1024


def ledger_of(program, jobs, folder):
    """A ledger of so many jobs, with its rates learned; those that are there already are taken."""
    big = folder / f"{jobs}.db"
    if not big.exists():
        demo = folder / "demo.db"
        if not demo.exists():
            subprocess.run([program, "demo", "--to", demo], check=True, stdout=subprocess.DEVNULL)
        made = subprocess.run([sys.executable, HERE / "big_ledger.py", demo, str(jobs), big], stdout=subprocess.PIPE)
        if made.returncode:
            sys.exit(made.stdout.decode())
    return str(big)


def numbers_of(ledger):
    """The newest job, which is open, the newest that is closed, and the quote and last invoice of that."""
    file = sqlite3.connect(ledger)
    one = lambda sql, *values: file.execute(sql, values).fetchone()[0]
    newest = one("SELECT MAX(number) FROM job")
    closed = one("SELECT id FROM job WHERE number = ?", newest - 1)
    return {
        "entries": one("SELECT MAX(number) FROM entry"),
        "open": f"J{newest}",
        "closed": f"J{newest - 1}",
        "quote": "Q" + str(one("SELECT quote.number FROM job JOIN quote ON quote.id = quote_id WHERE job.id = ?", closed)),
        "invoice": "I" + str(one("SELECT MAX(number) FROM invoice WHERE job_id = ?", closed)),
    }


def main():
    reader = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    reader.add_argument("program")
    reader.add_argument("jobs", nargs="*", type=int, default=[1000, 10000])
    reader.add_argument("--runs", type=int, default=10)
    reader.add_argument("--whole", action="store_true")
    reader.add_argument("--keep", type=pathlib.Path)
    reader.add_argument("--write", action="store_true")
    reader.add_argument("--judge", action="store_true")
    asked = reader.parse_args()
    program = os.path.abspath(asked.program)
    folder = asked.keep or pathlib.Path(tempfile.mkdtemp())
    folder.mkdir(exist_ok=True)

    taken = {}
    for jobs in asked.jobs:
        ledger = ledger_of(program, jobs, folder)
        numbers = numbers_of(ledger)
        taken["learning the rates", None, jobs] = run_once([program, "--ledger", ledger, "rate", "list"])
        for line, goal in COMMANDS:
            taken[line, goal, jobs] = Command(line, goal, numbers).measure(program, ledger, asked.runs)
        for line in WHOLE if asked.whole else []:
            taken[line, None, jobs] = Command(line, None, numbers).measure(program, ledger, 1)
        if not asked.keep:
            os.remove(ledger)
    if not asked.keep:
        shutil.rmtree(folder)

    lines = table(taken, asked.jobs)
    print("\n".join(lines))
    if asked.write:
        write(lines, asked.runs)
    missed = list(misses(taken, asked.jobs))
    for miss in missed:
        print(miss)
    sys.exit(1 if asked.judge and missed else 0)


def table(taken, sizes):
    heads = [f"{jobs:,} jobs: ms | processor | MB" for jobs in sizes]
    lines = ["| command | goal, ms | " + " | ".join(heads) + " |", "|---|--:|" + "--:|--:|--:|" * len(sizes)]
    for line, goal in dict.fromkeys((line, goal) for line, goal, _ in taken):
        cells = ["{:.1f} | {:.1f} | {:.0f}".format(*taken[line, goal, jobs]) for jobs in sizes]
        words = line.removeprefix("!").replace("''", "\0").replace("'", '"').replace("\0", "'")
        lines.append(f"| {words} | {goal or ''} | " + " | ".join(cells) + " |")
    return lines


def misses(taken, sizes):
    for (line, goal, jobs), (_, ms, megabytes) in taken.items():
        if goal is None:
            continue
        if ms > goal:
            yield f"{line}, {jobs} jobs: {ms:.1f} ms, more than {goal}"
        if megabytes > MOST_MEGABYTES:
            yield f"{line}, {jobs} jobs: {megabytes:.0f} MB, more than {MOST_MEGABYTES}"
        least = taken[line, goal, min(sizes)][1]
        if jobs == max(sizes) and ms > 1.5 * least + 1:
            yield f"{line}: {least:.1f} ms with {min(sizes)} jobs, {ms:.1f} ms with {jobs}"


def write(lines, runs):
    """Puts the table between its marks in the README."""
    load, cores = os.getloadavg()[0], os.cpu_count()
    state = "idle" if load < 0.5 else f"busy: {load:.0f} programs wanted its {cores} cores"
    said = f"Measured on {datetime.date.today()}, on a machine of {cores} cores that was {state}; the fastest of {runs} runs."
    page = HERE / "README.md"
    before, rest = page.read_text().split("<!-- everyday -->\n", 1)
    after = rest.split("<!-- /everyday -->\n", 1)[1]
    table = "\n".join(["", said, "", *lines, "", ""])
    page.write_text(f"{before}<!-- everyday -->\n{table}<!-- /everyday -->\n{after}")


if __name__ == "__main__":
    main()
