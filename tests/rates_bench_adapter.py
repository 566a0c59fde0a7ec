#!/usr/bin/env python3
"""Runs the program on the case folders of a benchmark of rate learners: what a person would type, and nothing else.

A case folder holds book.csv (step, class, family, size, set_size, size_per_item, fixed_items), train.csv (record_id, job_id,
date, room_id, step, class, area_sqft, perimeter_ft, qty), test.csv (case_id, type, job_id, date, step, class, area_sqft,
perimeter_ft) and meta.json (kind: disc, volume or hours). This script makes a ledger for each folder, brings the book and
the finished rooms in, writes the predictions to NAME.csv and the records that look like slips to flags.csv.

    tests/rates_bench_adapter.py DIR [--program target/release/gritledger] [--name mine]
"""
import argparse, csv, itertools, json, os, subprocess, sys, tempfile

CONDITIONS = ["bare", "sound-film", "worn-film", "oil-wax", "paint", "glue"]
SPECIES = ["red-oak", "white-oak", "hard-maple", "birch", "beech", "ash", "hickory", "walnut", "cherry", "heart-pine",
           "pine", "douglas-fir", "other"]


def read(path):
    with open(path, newline="") as file:
        return list(csv.DictReader(file))


def write(path, heading, rows):
    with open(path, "w", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(heading)
        writer.writerows(rows)


def run(program, ledger, *arguments):
    done = subprocess.run([program, "--ledger", ledger, *arguments], capture_output=True, text=True,
                          env={**os.environ, "GRITLEDGER_TODAY": "2026-01-01"})
    if done.returncode:
        sys.exit(f"{' '.join(arguments)}: {done.stderr}")
    return done.stdout


def floors(book):
    """Gives every class of the benchmark a floor of ours; two-part names keep their parts."""
    classes = list(dict.fromkeys(row["class"] for row in book))
    parts = [name.split("/") for name in classes]
    if all(len(part) == 2 for part in parts):
        first = list(dict.fromkeys(part[0] for part in parts))
        second = list(dict.fromkeys(part[1] for part in parts))
        if len(first) <= len(CONDITIONS) and len(second) <= len(SPECIES):
            return {name: (CONDITIONS[first.index(one)], SPECIES[second.index(other)])
                    for name, (one, other) in zip(classes, parts)}
    pairs = itertools.product(CONDITIONS, SPECIES)
    return dict(zip(classes, pairs))


def adapt(program, folder, name, scratch):
    kind = json.load(open(f"{folder}/meta.json"))["kind"]
    hours = kind == "hours"
    book, train, test = (read(f"{folder}/{file}.csv") for file in ("book", "train", "test"))
    floor = floors(book)
    ledger = f"{scratch}/ledger.db"
    if os.path.exists(ledger):
        os.remove(ledger)
    run(program, ledger, "init", "--business", "Bench")
    steps = {row["step"]: row for row in book}
    step_name = {step: f"bench-{step}".lower() for step in steps}
    write(f"{scratch}/operations.csv", ["operation", "task", "driver", "item", "set_size", "group", "rates_by"],
          [(step_name[step], "", "edge" if row["size"] == "perimeter" else "area", "" if hours else f"{step_name[step]}-item",
            row["set_size"] if kind == "disc" else "", f"bench-{row['family']}", "both") for step, row in steps.items()])
    write(f"{scratch}/book-rates.csv",
          ["operation", "condition", "species", "kind", "driver_per_item", "fixed_items", "own_work"],
          [(step_name[row["step"]], *floor[row["class"]], "hours" if hours else "item", row["size_per_item"],
            row["fixed_items"], 300) for row in book])
    write(f"{scratch}/past-rooms.csv",
          ["finished_on", "job", "room", "operation", "condition", "species", "area", "edge", "item_quantity", "hours"],
          [(row["date"], f"job {row['job_id']}", f"room {row['room_id']}", step_name[row["step"]], *floor[row["class"]],
            row["area_sqft"], row["perimeter_ft"], "" if hours else row["qty"], row["qty"] if hours else "") for row in train])
    write(f"{scratch}/cases.csv", ["case_id", "job", "operation", "condition", "species", "area", "edge", "kind"],
          [(row["case_id"], row["job_id"], step_name[row["step"]], *floor[row["class"]], row["area_sqft"],
            row["perimeter_ft"], "hours" if hours else "item") for row in test])
    run(program, ledger, "import", "operations", f"{scratch}/operations.csv")
    run(program, ledger, "import", "book-rates", f"{scratch}/book-rates.csv")
    if train:
        run(program, ledger, "import", "past-rooms", f"{scratch}/past-rooms.csv")
    with open(f"{folder}/{name}.csv", "w") as file:
        file.write(run(program, ledger, "rate", "predict", "--cases", f"{scratch}/cases.csv"))
    flagged = json.loads(run(program, ledger, "--json", "rate", "check"))["slips"] if train else []
    records = {(f"job {row['job_id']}", f"room {row['room_id']}", step_name[row["step"]]): row["record_id"] for row in train}
    write(f"{folder}/flags.csv", ["record_id"],
          [(records[slip["job"], slip["room"], slip["operation"]],) for slip in flagged])


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("dir")
    parser.add_argument("--program", default="target/release/gritledger")
    parser.add_argument("--name", default="mine")
    arguments = parser.parse_args()
    folders = [at for at, _, files in sorted(os.walk(arguments.dir)) if "meta.json" in files]
    with tempfile.TemporaryDirectory() as scratch:
        for folder in folders:
            adapt(os.path.abspath(arguments.program), folder, arguments.name, scratch)


if __name__ == "__main__":
    main()
