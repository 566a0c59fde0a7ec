"""Cuts the lists of cutting.csv anew with a general solver: python3 cutting.py [SECONDS]

Every filling of every stick length is a column of a whole-number program, solved to the end by HiGHS
(scipy.optimize.milp). Lists with too many fillings are left out, and counted. Needs scipy.
"""

import csv
import os
import sys

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

MOST_TRIES = 100_000
SECONDS = float(sys.argv[1]) if len(sys.argv) > 1 else 60


def fillings(lengths, counts, room):
    """Yields how many pieces of each length fill a stick, so that none more has room; None for what doesn't fill it."""
    def go(place, left, taken):
        if place == len(lengths):
            full = all(left < length or taken[at] == counts[at] for at, length in enumerate(lengths))
            yield tuple(taken) if full and any(taken) else None
            return
        for count in range(min(counts[place], left // lengths[place]), -1, -1):
            yield from go(place + 1, left - count * lengths[place], [*taken, count])
    yield from go(0, room, [])


def solve(pieces, sticks, saw, each):
    """Returns the number of sticks and their price; None: too many fillings."""
    lengths = sorted({piece + saw for piece in pieces}, reverse=True)
    counts = [sum(piece + saw == length for piece in pieces) for length in lengths]
    columns, prices, tries = [], [], 0
    for stick, price in sticks:
        for filling in fillings(lengths, counts, stick + saw):
            tries += 1
            if tries == MOST_TRIES:
                return None
            if filling:
                columns.append(filling)
                prices.append(price)
    program = milp([each + price for price in prices], integrality=np.ones(len(prices)), bounds=Bounds(0, np.inf),
                   constraints=LinearConstraint(np.array(columns).T, counts, np.inf),
                   options={"mip_rel_gap": 0, "time_limit": SECONDS})
    if program.status != 0:
        return None
    taken = [round(number) for number in program.x]
    return sum(taken), sum(number * price for number, price in zip(taken, prices))


def main():
    same = left_out = 0
    with open(os.path.join(os.path.dirname(os.path.abspath(__file__)), "cutting.csv"), encoding="utf-8") as file:
        for row in csv.DictReader(file):
            sticks = [tuple(map(int, stick.split(":"))) for stick in row["sticks"].split()]
            pieces, saw = list(map(int, row["pieces"].split())), int(row["saw_loss"])
            cheapest, fewest = solve(pieces, sticks, saw, 0), solve(pieces, sticks, saw, 10**6)
            if cheapest is None or fewest is None:
                left_out += 1
                continue
            wanted = int(row["cheapest"]), (int(row["fewest"]), int(row["price_of_fewest"]))
            if (cheapest[1], fewest) != wanted:
                sys.exit(f"{row}: {cheapest[1]}, {fewest}")
            same += 1
    print(f"{same} lists are the same; {left_out} left out")


main()
