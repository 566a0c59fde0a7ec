"""Measures imports: does the time grow with the rows, and what does it come to beside the rows alone?

    python3 benches/imports.py PROGRAM [--rows 1000,4000,16000] [--kinds rooms,usage] [--times 3]

For each kind and number of rows a ledger is made, its file imported by PROGRAM, and every row that the import left in the
file (entries, rooms, effects on the stock, the log, seals) inserted into a copy of the ledger as it was before, by prepared
statements, in one transaction, with triggers and keys on. Seconds are those that a core was busy, so that others on the
machine don't count. What the import of the file's first row alone takes is shown as the start: the program begins, opens
the ledger and reads what rows may name, however many there are. It prints a table in Markdown, the best of three times, and
ends with 1 if an import without its start takes more than twice its rows' time beside it, or more than 100 MB, or if four
times the rows take more than six times as long. Put the table of a run on an idle machine into `benches/README.md`.
"""

import argparse
import os
import random
import shutil
import sqlite3
import sys
import tempfile
import time

KINDS = ["rooms", "purchases", "usage", "hours"]
ROOMS_A_SITE, JOBS = 40, 12
DISCS = ["disc-7in-36", "disc-7in-50", "disc-7in-80", "edger-disc-7in-36"]
OPERATIONS = ["rotary-36", "rotary-50", "rotary-80", "edger-36"]


def run(program, folder, *words, ledger="t.db"):
    """Runs the program; returns its seconds on a core and the megabytes that it needed."""
    environment = {"GRITLEDGER_PATH": os.path.join(folder, ledger), "GRITLEDGER_TODAY": "2026-03-02", "LC_ALL": "C.UTF-8"}
    child = os.posix_spawn(program, [program, *words], environment, file_actions=[
        (os.POSIX_SPAWN_OPEN, stream, os.devnull, os.O_WRONLY, 0) for stream in (1, 2)])
    _, status, usage = os.wait4(child, 0)
    if status != 0:
        sys.exit(f"{' '.join(words)}: refused")
    return usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024


def written(folder, name, heading, rows):
    path = os.path.join(folder, name)
    with open(path, "w", encoding="utf-8") as file:
        file.write(heading + "\n" + "\n".join(rows) + "\n")
    return path


def site(number):
    return f"{number + 1} Fern Walk"


def room_rows(count):
    for number in range(count):
        name = f"Room {number % ROOMS_A_SITE}"
        yield f"{site(number // ROOMS_A_SITE)},{name},{9 + number % 7} x {8 + number % 5},worn-film,red-oak,\"outside:30\"\"\""


def begun(program, folder, kind, count):
    """Makes a ledger with what the rows of a kind rest on."""
    run(program, folder, "init", "--business", "Marsh End Floors")
    sites = max(JOBS, -(-count // ROOMS_A_SITE)) if kind == "rooms" else JOBS
    run(program, folder, "import", "clients", written(folder, "clients.csv", "client", (f"Client {n}" for n in range(sites))))
    rows = (f"Client {n},{site(n)}" for n in range(sites))
    run(program, folder, "import", "sites", written(folder, "sites.csv", "client,site", rows))
    if kind in ("usage", "hours"):
        heading = "site,room,shape,condition,species,doors"
        run(program, folder, "import", "rooms", written(folder, "rooms.csv", heading, room_rows(JOBS * ROOMS_A_SITE)))
        for name in ("Ruben Vale", "Una Marsh", "Kit Sorrel"):
            run(program, folder, "worker", "add", name, "--wage", "28.00")
        for number in range(JOBS):
            run(program, folder, "quote", "draft", site(number), "--room", "Room 0", "--room", "Room 1")
            run(program, folder, "quote", "send", f"Q{number + 1}")
            run(program, folder, "quote", "accept", f"Q{number + 1}")
            run(program, folder, "job", "start", f"J{number + 1}")


def file_of(folder, kind, count):
    chance = random.Random(count)
    day = lambda: f"2025-{chance.randrange(1, 13):02}-{chance.randrange(1, 29):02}"
    job = lambda: chance.randrange(JOBS)
    room = lambda: f"Room {chance.randrange(ROOMS_A_SITE)}"
    if kind == "rooms":
        return written(folder, "f.csv", "site,room,shape,condition,species,doors", room_rows(count))
    if kind == "purchases":
        rows = (f"{day()},{chance.choice(DISCS)},{chance.randrange(1, 60)},{chance.randrange(100, 20000) / 100:.2f}"
                for _ in range(count))
        return written(folder, "f.csv", "date,item,quantity,cost", rows)
    if kind == "usage":
        def use():
            number, disc = job(), chance.randrange(len(DISCS))
            return (f"{day()},J{number + 1},{site(number)},{DISCS[disc]},{chance.randrange(1, 30)},{room()},"
                    f"{OPERATIONS[disc]}")
        return written(folder, "f.csv", "date,job,site,item,quantity,room,operation", (use() for _ in range(count)))

    def hours(number):
        # Few enough on a day that it has 24 hours for each worker.
        worker, which = ("Ruben Vale", "Una Marsh", "Kit Sorrel")[number % 3], job()
        on = f"20{16 + number // 3 % 10}-{number // 30 % 12 + 1:02}-{number // 360 % 28 + 1:02}"
        return f"{on},J{which + 1},{site(which)},{worker},0.25,{room()},sand"
    return written(folder, "f.csv", "date,job,site,worker,hours,room,on", (hours(n) for n in range(count)))


def new_rows(before, after):
    """Returns each table with the rows that it has now and hadn't, in an order that keys allow."""
    database = sqlite3.connect(after)
    database.execute("ATTACH ? AS old", (before,))
    tables = database.execute("SELECT name FROM main.sqlite_schema WHERE type = 'table' ORDER BY rowid").fetchall()
    found = []
    for (table,) in tables:
        rows = database.execute(f"SELECT * FROM main.{table} EXCEPT SELECT * FROM old.{table}").fetchall()
        if rows and table != "rate_fit":
            found.append((table, rows))
    database.close()
    return found


def inserted(path, tables):
    """Inserts rows by prepared statements in one transaction; returns the seconds."""
    database = sqlite3.connect(path, isolation_level=None)
    database.execute("PRAGMA foreign_keys = ON")
    begin = time.process_time()
    database.execute("BEGIN IMMEDIATE")
    for table, rows in tables:
        database.executemany(f"INSERT INTO {table} VALUES ({','.join('?' * len(rows[0]))})", rows)
    database.execute("COMMIT")
    seconds = time.process_time() - begin
    database.close()
    return seconds


def file_head(path):
    """Returns the heading of a file, and its first row alone."""
    with open(path, encoding="utf-8") as file:
        heading, row = file.readline(), file.readline()
    return heading.rstrip(), [row.rstrip()]


def measured(program, kind, count, times):
    with tempfile.TemporaryDirectory() as folder:
        begun(program, folder, kind, count)
        file = file_of(folder, kind, count)
        before = os.path.join(folder, "t.db")
        first = written(folder, "first.csv", *file_head(file))
        best = [float("inf"), float("inf"), float("inf"), 0.0]
        tables = None
        for _ in range(times):
            for name in ("a.db", "b.db", "c.db"):
                shutil.copyfile(before, os.path.join(folder, name))
            seconds, megabytes = run(program, folder, "import", kind, file, ledger="a.db")
            tables = tables or new_rows(before, os.path.join(folder, "a.db"))
            beside = inserted(os.path.join(folder, "b.db"), tables)
            start, _ = run(program, folder, "import", kind, first, ledger="c.db")
            best = [min(best[0], seconds), min(best[1], start), min(best[2], beside), max(best[3], megabytes)]
        return (*best, sum(len(rows) for _, rows in tables))


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("program")
    parser.add_argument("--rows", default="1000,4000,16000")
    parser.add_argument("--kinds", default=",".join(KINDS))
    parser.add_argument("--times", type=int, default=3)
    arguments = parser.parse_args()
    program = os.path.abspath(arguments.program)
    print("| kind | rows of the file | rows written | import, s | its start | the same rows inserted, s | ratio"
          " | without the start | MB |")
    print("|---|--:|--:|--:|--:|--:|--:|--:|--:|")
    failed = False
    for kind in arguments.kinds.split(","):
        earlier = None
        for count in map(int, arguments.rows.split(",")):
            seconds, start, beside, megabytes, rows = measured(program, kind, count, arguments.times)
            ratio, apart = seconds / beside, (seconds - start) / beside
            failed |= apart > 2 or megabytes > 100
            if earlier:
                failed |= seconds / earlier[1] > 1.5 * count / earlier[0]
            earlier = (count, seconds)
            print(f"| {kind} | {count:,} | {rows:,} | {seconds:.3f} | {start:.3f} | {beside:.3f} | {ratio:.1f} | {apart:.1f}"
                  f" | {megabytes:.0f} |", flush=True)
    sys.exit(failed)


if __name__ == "__main__":
    main()
