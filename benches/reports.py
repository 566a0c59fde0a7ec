"""Reports about every job, beside the same answer by one plain SQL query: the time that each takes, and whether they agree.

    python3 benches/reports.py PROGRAM LEDGER [RUNS]

LEDGER is what `benches/big_ledger.py` writes; the queries are in `benches/sql/`. Both are run in turn, RUNS times (3 if
not said), each in a process of its own; of each the least is taken, since whatever else the machine does only adds to it.
Times are of the processor, so a busy machine does not matter much; memory is the most that was held at once. It exits
with 1 if a figure differs.

Python brings its own SQLite, which may be another version than the program's, with 32 MB of cache like the program's.
"""

import json
import os
import sqlite3
import sys
import tempfile

HERE = os.path.dirname(os.path.abspath(__file__))
TODAY = "2026-03-02"


def minor(text):
    """Returns an amount of the program's in minor units."""
    return int(round(float(text) * 100))


def micro(text):
    """Returns a quantity of the program's in millionths, to its four decimals."""
    return int(round(float(text) * 10_000)) * 100


def margins(answer):
    for job in answer["jobs"]:
        lacks = job["not_recorded"]
        yield (job["client"], minor(job["price"]), minor(job["variations"]), minor(job["estimated_cost"]),
               minor(job["actual_cost"]), minor(job["late_cost"]), lacks["operations"], lacks["others"],
               minor(lacks["quoted_cost"]), minor(lacks["might_turn_up_cost"]), job["so_far"])


def consumables(answer):
    for line in answer["lines"]:
        yield (line["item"], line["operation"], line["unit"], line["jobs"], micro(line["quoted_quantity"]),
               minor(line["quoted_cost"]), micro(line["used_quantity"] or 0), minor(line["used_cost"] or 0),
               micro(line["not_recorded_quantity"]), minor(line["not_recorded_cost"]))


def rentals(answer):
    unworked = {}
    for day in answer["unworked_days"]:
        unworked[day["rental"], day["date"]] = day["use"]
    for rental in answer["rentals"]:
        head = (rental["entry"], rental["machine"], rental["out_at"])
        if rental["back_at"] is None:
            yield (*head, None, None, None, None, rental["job"], None, None)
            continue
        head += (rental["back_at"], rental["by_tariff"], minor(rental["charge"]))
        for share in rental["shares"]:
            use = unworked.get((rental["entry"], share["date"]))
            yield (*head, share["date"], share["job"], minor(share["charge"]), use)


def rental_row(row):
    rental, machine, out_at, back_at, by_tariff, *rest = row
    moment = lambda at: at and at[:16].replace(" ", "T")
    return (rental, machine, moment(out_at), moment(back_at), by_tariff if by_tariff is None else bool(by_tariff), *rest)


def months(answer):
    for month in answer["by_month"]:
        yield (month["name"], minor(month["revenue"]), minor(month["job_costs"]), minor(month["overheads"]))


def margin_row(row):
    return row[1:11] + (bool(row[11]),)


def consumable_row(row):
    item, operation, unit, jobs, *figures = row
    for place in (0, 2, 4):
        figures[place] = (figures[place] + 50) // 100 * 100
    return (item, operation, unit, jobs, *figures)


# A report: its command, its query, the figures of its answer and of a row of the query.
REPORTS = [
    ("report margin", "margin.sql", margins, margin_row),
    ("report consumables", "consumables.sql", consumables, consumable_row),
    ("report rentals", "rentals.sql", rentals, rental_row),
    ("report year 2025", "year.sql", months, tuple),
]


def asked(ledger, query):
    """Runs a query in this process and returns its rows."""
    with open(os.path.join(HERE, "sql", query), encoding="utf-8") as file:
        text = file.read()
    connection = sqlite3.connect(f"file:{ledger}?mode=ro", uri=True)
    connection.execute("PRAGMA cache_size = -32000")
    return connection.execute(text).fetchall()


def measured(command, out):
    """Runs a command that prints into a file, and returns its seconds of the processor and its megabytes.

    A process counts what its maker held when it was made, so nothing large is read here before all are measured.
    """
    child = os.fork()
    if child == 0:
        os.dup2(os.open(out, os.O_WRONLY | os.O_CREAT | os.O_TRUNC), 1)
        os.execvpe(command[0], command, {**os.environ, "GRITLEDGER_TODAY": TODAY})
    _, status, used = os.wait4(child, 0)
    if status:
        sys.exit(f"{command} failed")
    return used.ru_utime + used.ru_stime, used.ru_maxrss / 1024


def unlike(ledger, query, figures, of_row, out):
    """Tells which rows of a query and of an answer differ, and returns how many."""
    wanted = sorted((of_row(row) for row in asked(ledger, query)), key=str)
    with open(out, encoding="utf-8") as file:
        given = sorted(figures(json.load(file)), key=str)
    wrong = [(one, other) for one, other in zip(wanted, given) if one != other]
    for one, other in wrong[:5]:
        print(f"  SQL {one}\n  program {other}")
    if len(wanted) != len(given):
        print(f"  {len(wanted)} rows by SQL, {len(given)} by the program")
    return len(wrong) + abs(len(wanted) - len(given))


def main():
    if sys.argv[1] == "--query":
        print(len(asked(*sys.argv[2:])))
        return
    program, ledger = os.path.abspath(sys.argv[1]), os.path.abspath(sys.argv[2])
    runs = int(sys.argv[3]) if len(sys.argv) > 3 else 3
    with tempfile.TemporaryDirectory() as folder:
        print(f"{'':20}{'SQL':>9}{'program':>9}{'ratio':>7}{'memory':>10}")
        for place, (command, query, *_) in enumerate(REPORTS):
            out = os.path.join(folder, str(place))
            by_query, by_program = [], []
            for _ in range(runs):
                by_query.append(measured([sys.executable, __file__, "--query", ledger, query], os.devnull))
                by_program.append(measured([program, "--ledger", ledger, "--json", *command.split()], out))
            (plain, _), (own, memory) = min(by_query), min(by_program)
            print(f"{command:20}{plain:7.2f} s{own:7.2f} s{own / plain:7.2f}{memory:7.0f} MB", flush=True)
        wrong = sum(unlike(ledger, *rest, os.path.join(folder, str(place))) for place, (_, *rest) in enumerate(REPORTS))
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
