#!/usr/bin/env python3
"""Makes the demo's CSV files: an invented firm's two years, with honest noise by a seeded rule.

    python3 seed-data/demo/make.py        rewrites the CSV files beside it; the same seed gives the same files

The rule, in the order it is applied:
  * Expected items and hours are the starting book's: driver / driver_per_item + fixed, as in the program's take-off.
  * The crew differs from the book by TRUTH, a factor for each operation's items and each task's hours.
  * Every job has a factor of its own (log-normal, 8 %), every room another (10 % for items, 14 % for hours), and HARD
    names jobs that turned out harder than they looked.
  * Discs are used in whole sets; the wear left on a set is carried to the next room of the job. Finish is read off the
    can to 0.05 gal, hours are logged to the quarter hour, and now and then something is not logged at all.
  * Purchases come before a job in whole packs, at the book price give or take 8 %.
"""
import csv, datetime as dt, math, os, random

HERE = os.path.dirname(os.path.abspath(__file__))
BOOK = os.path.dirname(HERE)
R = random.Random(20260302)

TRUTH_ITEMS = {"rotary-36": 1.16, "rotary-24": 1.10, "rotary-50": 0.88, "rotary-80": 0.92, "orbit-80": 1.20, "oil-coat": 1.12,
               "water-coat": 0.95, "water-sealer": 1.04, "step-oil-coat": 1.10}
TRUTH_HOURS = {"sand": 1.12, "edge": 0.90, "coat": 1.05, "repair": 1.15, "trim": 1.0, "set-up": 1.08}
HARD = {"D9": 2.5, "D4": 1.15, "D13": 0.9}
WORKERS = [("Tamsin Oake", "27.50"), ("Joris Pell", "24.00"), ("Wen Abara", "22.75")]


def read(name):
    with open(os.path.join(BOOK, name), newline="", encoding="utf-8") as f:
        return list(csv.DictReader(f))


OPS = {r["operation"]: r for r in read("operations.csv")}
ITEMS = {}
for r in read("items.csv"):
    ITEMS.setdefault(r["item"], []).append(r)
RATES = {}
for r in read("book-rates.csv"):
    RATES.setdefault((r["operation"], r["kind"]), []).append(r)
SEQ, SCH = {}, {}
for r in read("sequences.csv"):
    SEQ.setdefault(r["sequence"], []).append(r["operation"])
for r in read("schedules.csv"):
    SCH.setdefault(r["schedule"], []).append((r["operation"], r["recoat_hours"]))
ANSWERS = {r["answers"]: o for o, r in OPS.items() if r["answers"]}


def expect(op, kind, cond, driver, passes):
    rows = [r for r in RATES.get((op, kind), []) if r["condition"] in ("", cond) and not r["species"]]
    if not rows: return None
    r = max(rows, key=lambda r: r["condition"] != "")
    return driver / float(r["driver_per_item"]) + passes * float(r["fixed_items"] or 0)


# Rooms: name, shape, area sq ft, edge ft (doorways off), steps, condition, species, layout, doors.
def rect(name, l, w, cond, species, doors="outside:2'8\"", parts="", layout="strip", refinished="yes"):
    area, wall = l * w, 2 * (l + w)
    for part in [p.strip() for p in parts.split(";") if p.strip()]:
        kind, a, _, b = part.split()
        a, b = float(a.strip("'")), float(b.strip("'"))
        area += a * b if kind == "plus" else -a * b
        wall += 2 * b if kind != "island" else 2 * (a + b)
    shape = f"{l:g}' x {w:g}'".replace(".5'", "'6\"") + (f"; {parts}" if parts else "")
    return dict(name=name, shape=shape, area=area, edge=wall - 2.67 * len(doors.split(";")), steps=0, cond=cond, species=species,
                layout=layout, doors=doors, refinished=refinished)


def other(name, shape, area, edge, cond, species, doors="outside:2'8\"", steps=0, layout="strip"):
    return dict(name=name, shape=shape, area=area, edge=edge, steps=steps, cond=cond, species=species, layout=layout, doors=doors,
                refinished="yes")


D = "outside:3'"
SITES = [  # client, phone, address, year, rooms
    ("Isolde Marrow", "555-0101", "18 Cooper's Rise", 1926, [rect("Front room", 15, 13.5, "worn-film", "red-oak", D, "less 5' x 1.5'"), rect("Hall", 14, 4, "worn-film", "red-oak", "Front room:3'")]),
    ("Petra Lindqvale", "555-0102", "3 Gannet Court", 1958, [rect("Living room", 18, 14, "sound-film", "red-oak", D), rect("Dining room", 12, 11.5, "sound-film", "red-oak", "Living room:5'"), rect("Passage", 9, 3.5, "worn-film", "red-oak", "Living room:2'8\"")]),
    ("Ambrose Teller", "555-0103", "41 Weir Hill", 1911, [rect("Parlor", 14, 13, "paint", "heart-pine", D), rect("Back parlor", 13, 12, "oil-wax", "heart-pine", "Parlor:6'")]),
    ("Noor Castellan", "555-0104", "7 Orchard Back", 1984, [rect("Main bedroom", 15, 13, "sound-film", "white-oak", D, "plus 6' x 2'"), rect("Small bedroom", 11, 10, "sound-film", "white-oak", D), rect("Landing", 10, 4.5, "worn-film", "white-oak", "Main bedroom:2'6\"; Small bedroom:2'6\""), rect("Study", 10, 9, "sound-film", "white-oak", "Landing:2'6\"")]),
    ("Halden Reed", "555-0105", "Unit 5, Sailmaker's Wharf", 1899, [rect("Loft", 26, 19, "worn-film", "hard-maple", D, "island 6' x 3'"), other("Bay", "trapezoid 10',6' x 4'", 32, 20.9, "worn-film", "hard-maple", "Loft:8'")]),
    ("Corin Ashby", "555-0106", "22 Lantern Street", 1949, [rect("Bedroom", 13, 12, "worn-film", "red-oak", D), rect("Guest room", 12, 10.5, "worn-film", "red-oak", D), rect("Upper hall", 15, 3.5, "worn-film", "red-oak", "Bedroom:2'6\"; Guest room:2'6\"")]),
    ("Marguerite Sole", "555-0107", "90 Quarry Lane", 1968, [rect("Family room", 20, 15, "glue", "red-oak", D), rect("Nook", 9, 8, "glue", "red-oak", "Family room:4'"), rect("Closet hall", 8, 4, "bare", "red-oak", "Family room:2'8\"")]),
    ("Dov Hartigan", "555-0108", "6 Millrace", 1935, [other("Great room", "walls 20' r 16' r 12' r 4' l 8' r 12'", 272, 68, "worn-film", "white-oak", D), rect("Kitchen", 13, 11, "worn-film", "white-oak", "Great room:5'", "less 4' x 2'"), rect("Pantry", 6, 5, "worn-film", "white-oak", "Kitchen:2'6\"")]),
    ("Elspeth Crane", "555-0109", "15 Barley Mow", 1904, [rect("Old schoolroom", 22, 17, "paint", "pine", D), rect("Cloakroom", 10, 7, "paint", "pine", "Old schoolroom:3'"), rect("Office", 12, 10, "paint", "pine", "Old schoolroom:2'8\"")]),
    ("Rafe Montcalm", "555-0110", "2 Hollow Bank", 1991, [rect("Living room", 17, 15, "sound-film", "hickory", D, "less 6' x 2'"), rect("Foyer", 9, 8, "worn-film", "hickory", "Living room:6'"), rect("Den", 11, 10, "sound-film", "hickory", "Foyer:2'8\"")]),
    ("Sunniva Drew", "555-0111", "33 Tallow Street", 1941, [rect("Sewing room", 12, 11, "oil-wax", "cherry", D), rect("Library", 15, 13, "oil-wax", "walnut", D, layout="herringbone"), rect("Gallery", 24, 5, "oil-wax", "walnut", "Sewing room:3'; Library:5'")]),
    ("Caspar Inverdale", "555-0112", "11 Fuller's Steps", 1922, [rect("Entry", 9, 7, "worn-film", "red-oak", D), other("Stair", "stairs 13, 3' x 10\" + 7 1/2\"", 56.9, 0, "worn-film", "red-oak", "Entry:3'", steps=13), rect("Upper landing", 11, 4, "worn-film", "red-oak", "Stair:3'")]),
    ("Linnea Foss", "555-0113", "27 Chandler Close", 1975, [rect("Bedroom one", 14, 12, "sound-film", "birch", D), rect("Bedroom two", 12, 11, "sound-film", "birch", D), rect("Bedroom three", 11, 10, "sound-film", "birch", D), rect("Corridor", 20, 3.5, "worn-film", "birch", "Bedroom one:2'6\"; Bedroom two:2'6\"; Bedroom three:2'6\"")]),
    ("Bastian Wray", "555-0114", "8 Ropewalk", 1930, [rect("Dance studio", 32, 22, "worn-film", "hard-maple", "outside:6'"), rect("Changing room", 12, 10, "worn-film", "hard-maple", "Dance studio:3'")]),
    ("Oriel Tansy", "555-0115", "64 Saltpan Road", 1955, [rect("Lounge", 16, 14, "worn-film", "ash", D), rect("Dining end", 11, 10, "worn-film", "ash", "Lounge:7'"), rect("Hallway", 16, 4, "worn-film", "ash", "Lounge:2'8\""), rect("Box room", 9, 8, "bare", "douglas-fir", "Hallway:2'6\"")]),
    ("Jonty Vane", "555-0116", "5 Heron's Reach", 2003, [rect("Open plan", 28, 18, "sound-film", "white-oak", D, "island 7' x 3'"), rect("Snug", 12, 11, "sound-film", "white-oak", "Open plan:5'"), rect("Utility", 9, 7, "bare", "beech", "Open plan:2'8\"")]),
    ("Thora Benning", "555-0117", "12 Dyer's Yard", 1938, [rect("Sitting room", 15, 13, "worn-film", "red-oak", D), rect("Bedroom", 12, 11, "worn-film", "red-oak", "Sitting room:2'6\""), rect("Lobby", 7, 5, "worn-film", "red-oak", "Sitting room:2'8\""), rect("Box room", 8, 7, "worn-film", "red-oak", "Lobby:2'6\"")]),
    ("Emrys Holt", "555-0118", "70 Beacon Road", 1962, [rect("Living room", 19, 14, "worn-film", "red-oak", D), rect("Hall", 13, 4, "worn-film", "red-oak", "Living room:3'")]),
    ("Sabine Orr", "555-0119", "9 Kelp Cottages", 1947, [rect("Front bedroom", 13, 12, "worn-film", "red-oak", D), rect("Back bedroom", 12, 10, "sound-film", "red-oak", D), rect("Landing", 9, 4, "worn-film", "red-oak", "Front bedroom:2'6\"; Back bedroom:2'6\"")]),
    ("Ludo Farrow", "555-0120", "1 Signal House", 1908, [rect("Porch hall", 12, 6, "worn-film", "red-oak", D), rect("Morning room", 15, 13, "worn-film", "red-oak", "Porch hall:3'", "less 5' x 1'"), rect("Dining room", 14, 13, "sound-film", "red-oak", "Porch hall:3'; Morning room:6'"), rect("Kitchen", 14, 12, "paint", "pine", "Dining room:3'"), other("Stair", "stairs 15, 3' x 10\" + 7 1/2\"", 65.6, 0, "paint", "pine", "Porch hall:3'", steps=15), rect("Upper landing", 13, 5, "paint", "pine", "Stair:3'"), rect("Bedroom one", 15, 12, "paint", "pine", "Upper landing:2'6\"", "plus 5' x 2'"), rect("Bedroom two", 12, 11, "paint", "pine", "Upper landing:2'6\""), rect("Tiled bath", 9, 7, "bare", "other", "Upper landing:2'4\"", refinished="no")]),
]
FINDINGS = {  # site index: room, kind, quantity, unit
    0: [("Hall", "proud-nails", 20, "each"), ("Front room", "gaps", 18, "ft")], 2: [("Parlor", "proud-nails", 45, "each"), ("Parlor", "damaged-boards", 3, "each")],
    3: [("Landing", "squeaks", 3, "each")], 5: [("Bedroom", "missing-quarter-round", 26, "ft")], 7: [("Great room", "black-stains", 6, "sqft"), ("Kitchen", "open-holes", 8, "each")],
    8: [("Old schoolroom", "proud-nails", 60, "each"), ("Office", "damaged-boards", 2, "each")], 10: [("Library", "gaps", 30, "ft")], 12: [("Corridor", "missing-threshold", 1, "each")],
    13: [("Dance studio", "squeaks", 6, "each")], 14: [("Lounge", "damaged-boards", 4, "each"), ("Hallway", "proud-nails", 15, "each")], 16: [("Bedroom", "proud-nails", 12, "each")],
    18: [("Landing", "proud-nails", 14, "each"), ("Front bedroom", "missing-quarter-round", 22, "ft")], 19: [("Kitchen", "damaged-boards", 5, "each"), ("Upper landing", "proud-nails", 40, "each")],
}
R36, R50, R24 = "rotary-36-50-80", "rotary-50-80", "rotary-24-36-50-80"
JOBS = [  # label, site, sequence, schedule, start
    ("D1", 0, R36, "oil-2-coat", "2024-03-11"), ("D2", 1, R36, "oil-2-coat", "2024-04-15"), ("D3", 2, R24, "oil-2-coat", "2024-05-21"), ("D4", 3, R36, "water-3-coat", "2024-07-08"),
    ("D5", 4, R36, "water-3-coat", "2024-08-19"), ("D6", 5, R36, "oil-2-coat", "2024-09-30"), ("D7", 6, R24, "oil-2-coat", "2024-11-04"), ("D8", 7, R36, "oil-2-coat", "2025-01-13"),
    ("D9", 8, R36, "oil-2-coat", "2025-02-24"), ("D10", 9, R36, "water-3-coat", "2025-04-07"), ("D11", 10, R36, "oil-2-coat", "2025-05-19"), ("D12", 11, R36, "oil-2-coat", "2025-07-07"),
    ("D13", 12, R36, "water-3-coat", "2025-08-11"), ("D14", 13, R36, "oil-2-coat", "2025-09-22"), ("D15", 14, R36, "oil-2-coat", "2025-10-27"), ("D16", 15, R36, "water-3-coat", "2025-12-01"),
    ("D17", 16, R36, "oil-2-coat", "2026-01-26"), ("D18", 17, R36, "oil-2-coat", "2026-02-24"),
]


def workday(d):
    while d.weekday() == 6: d += dt.timedelta(1)
    return d


def before(d):
    d -= dt.timedelta(1)
    return d - dt.timedelta(1) if d.weekday() == 6 else d


def receipt(machine, days):
    """What a receipt says now and then: the tariff, give or take 4 %."""
    t = next(r for r in read("machines.csv") if r["machine"] == machine)
    charge = min(days * float(t["day"]), math.ceil(days / 7) * float(t["week"]))
    return f"{(charge * (1 + float(t['waiver_percent']) / 100) + float(t['cleaning'])) * R.uniform(.96, 1.04):.2f}"


def plus(d, n):
    for _ in range(n): d = workday(d + dt.timedelta(1))
    return d


def lognormal(cv):
    s = math.sqrt(math.log1p(cv * cv))
    return math.exp(R.gauss(-s * s / 2, s))


book, jobs, stock = [], [], {}


def entry(date, kind, job="", rooms="", subject="", on="", quantity="", amount="", at=""):
    book.append(dict(date=date.isoformat(), kind=kind, job=job, rooms=rooms, subject=subject, on=on, quantity=quantity, amount=amount, at=at))


def buy(date, item, need):
    """Buys the usual pack until the need is met, at the book price give or take 8 %."""
    if stock.get(item, 0) >= need: return
    pack = ITEMS[item][0]
    size, price = float(pack["pack"]), float(pack["price"])
    n = math.ceil((need - stock.get(item, 0)) / size)
    entry(date, "buy", subject=item, quantity=f"{n * size:g}", amount=f"{n * price * R.uniform(.92, 1.08):.2f}")
    stock[item] = stock.get(item, 0) + n * size


def work_of(site, sequence, schedule):
    """What is done in each room: operation, driver, passes."""
    for room in SITES[site][4]:
        if room["refinished"] == "no": continue
        steps = [o for o in SEQ[sequence]] + [o for o, _ in SCH[schedule]]
        done = {}
        for o, r in OPS.items():
            if r["task"] == "set-up" and r["driver"] in ("area", "room"): done[o] = [room["area"] if r["driver"] == "area" else 1, 1]
        for name, kind, q, _ in FINDINGS.get(site, []):
            if name == room["name"]: done[ANSWERS[kind]] = [q, 1]
        for o in steps:
            d = OPS[o]["driver"]
            if room["steps"]: q = room["steps"] if d == "count" else (1 if d == "room" else None)
            else: q = {"area": room["area"], "edge": room["edge"], "room": 1}.get(d)
            if q is None: continue
            if OPS[o]["task"] == "set-up" and o in done: continue
            have = done.setdefault(o, [0, 0])
            have[0] += q; have[1] += 1
        yield room, done


def do_job(label, site, sequence, schedule, start):
    start = workday(dt.date.fromisoformat(start))
    running = label == "D18"
    factor = lognormal(.08) * HARD.get(label, 1)
    need, uses, hours = {}, [], {}
    for room, done in work_of(site, sequence, schedule):
        f_room, h_room, carried = lognormal(.10), lognormal(.14), {}
        for o, (driver, passes) in done.items():
            op = OPS[o]
            if op["item"]:
                mean = expect(o, "item", room["cond"], driver, passes) * TRUTH_ITEMS.get(o, 1) * factor * f_room
                if op["set_size"]:
                    m = int(op["set_size"])
                    sets = max(1, round(mean / m + carried.get(o, 0)))
                    carried[o] = mean / m - sets
                    q = sets * m
                else:
                    q = max(.05, round(mean / .05) * .05)
                need[op["item"]] = need.get(op["item"], 0) + q
                if op["task"] in ("sand", "edge", "coat", "trim") and R.random() > .06: uses.append((op["task"], room["name"], o, op["item"], q))
            h = expect(o, "hours", room["cond"], driver, passes)
            if h: hours[(op["task"], room["name"])] = hours.get((op["task"], room["name"]), 0) + h * TRUTH_HOURS.get(op["task"], 1) * factor * h_room
    late_receipt = label == "D6"
    for item, q in sorted(need.items()):
        if not (late_receipt and item == "oil-finish"): buy(before(start), item, q)
    machines = sorted({OPS[o]["machine"] for _, done in work_of(site, sequence, schedule) for o in done if OPS[o]["machine"]})
    order = ["set-up", "repair", "sand", "edge", "trim", "coat"]
    # Hours, day by day, at most 8.5 a worker; sanding first, one coat a day after.
    crew = R.sample([w for w, _ in WORKERS], 2 if sum(hours.values()) > 9 else 1)
    day, used, when = start, {}, {}
    for task in order:
        for (t, room), h in sorted(hours.items()):
            if t != task: continue
            q = max(.25, round(h * 4) / 4)
            while q > 0:
                free = [w for w in crew if used.get((w, day), 0) < 8.25]
                if not free:
                    day = plus(day, 1); continue
                w = min(free, key=lambda w: used.get((w, day), 0))
                part = min(q, 8.5 - used.get((w, day), 0))
                if not running or day <= dt.date(2026, 2, 28):
                    on = "" if (label in ("D2", "D10") and task == "set-up") else task
                    entry(day, "hours", label, room, w, on, f"{part:g}")
                used[(w, day)] = used.get((w, day), 0) + part
                q -= part
            when[(task, room)] = day
        if task == "trim": day = plus(day, 1)
    last = max(when.values())
    for task, room, o, item, q in uses:
        d = when.get((task, room), start)
        if running and d > dt.date(2026, 2, 28): continue
        several = sum(1 for x in OPS.values() if x["item"] == item) > 1
        entry(d, "use", label, room, item, o if several else "", f"{q:g}")
        stock[item] = stock.get(item, 0) - q
    sanding = max([d for (t, _), d in when.items() if t in ("sand", "edge")] or [start])
    for m in machines:
        if m == "buffer": continue
        out, back = start, plus(sanding, 1)
        stay = label == "D14"
        if stay: back = start + dt.timedelta(7)
        last = max(last, back)
        entry(out, "rental-out", label, subject=m, at=f"{out} 08:00")
        if not running: entry(back, "rental-back", subject=m, at=f"{back} 07:45", amount="" if R.random() < .6 else receipt(m, (back - out).days))
    if "buffer" in machines and not running:
        out = plus(sanding, 1)
        entry(out, "rental-out", label, subject="buffer", at=f"{out} 08:00")
        entry(out + dt.timedelta(1), "rental-back", subject="buffer", at=f"{out + dt.timedelta(1)} 07:30")
        last = max(last, out + dt.timedelta(1))
    last = max(last, plus(sanding, 2))
    entry(start, "drive", label, quantity=str(R.randint(8, 46)))
    if not running:
        entry(last, "spent", label, subject="disposal", amount=f"{R.uniform(14, 38):.2f}")
        if late_receipt:
            q = need["oil-finish"]
            stock["oil-finish"] = 0
            entry(last, "buy", subject="oil-finish", quantity=f"{math.ceil(q):g}", amount=f"{math.ceil(q) * 57.4:.2f}")
    closed = "" if running else plus(last, 1).isoformat()
    drafted = start - dt.timedelta(R.randint(16, 30))
    jobs.append(dict(label=label, site=SITES[site][2], sequence=sequence, schedule=schedule, variation_of="", rooms="", drafted=drafted.isoformat(),
                     sent=(drafted + dt.timedelta(1)).isoformat(), valid_days="30", decided=(start - dt.timedelta(R.randint(3, 12))).isoformat(), decision="accepted",
                     started=start.isoformat(), closed=closed, deposit="yes" if R.random() < .6 or running else "",
                     paid="" if running else (dt.date.fromisoformat(closed) + dt.timedelta(R.randint(5, 26))).isoformat()))


for job in JOBS: do_job(*job)
by = {j["label"]: j for j in jobs}
by["D16"]["paid"] = ""                                    # overdue
by["D17"]["paid"] = ""                                    # within its terms, or just past them
entry(dt.date.fromisoformat(by["D5"]["closed"]) + dt.timedelta(20), "hours", "D5", "Loft", "Wen Abara", "sand", "1.5")  # a call-back
entry(dt.date.fromisoformat(by["D5"]["closed"]) + dt.timedelta(20), "spent", "D5", subject="touch-up kit", amount="23.80")
blank = dict(label="", site="", sequence="", schedule="", variation_of="", rooms="", drafted="", sent="", valid_days="30", decided="", decision="", started="", closed="", deposit="", paid="")
start8 = dt.date.fromisoformat(by["D8"]["started"])
jobs.append(dict(blank, label="V1", site=SITES[7][2], sequence="none", schedule="screen-recoat-oil", variation_of="D8", rooms="Pantry", drafted=start8.isoformat(), sent=start8.isoformat(), decided=start8.isoformat(), decision="accepted"))
jobs.append(dict(blank, label="N1", site=SITES[12][2], sequence=R36, schedule="oil-2-coat", drafted="2025-07-01", sent="2025-07-02", decided="2025-07-20", decision="declined"))
jobs.append(dict(blank, label="O1", site=SITES[18][2], sequence=R36, schedule="oil-2-coat", drafted="2026-02-23", sent="2026-02-24", valid_days="14"))


def write(name, fields, rows):
    with open(os.path.join(HERE, name), "w", newline="", encoding="utf-8") as f:
        w = csv.DictWriter(f, fields, lineterminator="\n"); w.writeheader(); w.writerows(rows)


write("clients.csv", ["client", "phone"], [dict(client=s[0], phone=s[1]) for s in SITES])
write("sites.csv", ["client", "site", "year_built"], [dict(client=s[0], site=s[2], year_built=s[3]) for s in SITES])
write("rooms.csv", ["site", "room", "shape", "condition", "species", "layout", "refinished", "doors"],
      [dict(site=s[2], room=r["name"], shape=r["shape"], condition=r["cond"], species=r["species"], layout=r["layout"], refinished=r["refinished"], doors=r["doors"]) for s in SITES for r in s[4]])
write("findings.csv", ["site", "room", "kind", "quantity", "unit"], [dict(site=SITES[i][2], room=a, kind=k, quantity=q, unit=u) for i, fs in FINDINGS.items() for a, k, q, u in fs])
write("workers.csv", ["worker", "wage"], [dict(worker=w, wage=x) for w, x in WORKERS])
write("jobs.csv", ["label", "site", "rooms", "sequence", "schedule", "variation_of", "drafted", "sent", "valid_days", "decided", "decision", "started", "closed", "deposit", "paid"], jobs)
book.sort(key=lambda e: e["date"])
write("day-book.csv", ["date", "kind", "job", "rooms", "subject", "on", "quantity", "amount", "at"], book)
print(len(jobs), "quotes,", len(book), "entries,", sum(len(s[4]) for s in SITES), "rooms")
