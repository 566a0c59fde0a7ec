#!/usr/bin/env python3
"""Makes the demo's CSV files: an invented firm's two years, with honest noise by a seeded rule.

    python3 seed-data/demo/make.py        rewrites the CSV files beside it; the same seed gives the same files

README.md beside it says the rule in words.
"""
import csv, datetime as dt, math, os, random, re

HERE = os.path.dirname(os.path.abspath(__file__))
R = random.Random(20260302)
DEMO_DAY = dt.date(2026, 3, 2)
DAY_LIMIT = 9  # hours of one worker in a day
UNLOGGED = .04  # share of uses that nobody writes down

# What the firm does not know: how its crew differs from the book, per operation's items and per task's hours.
TRUTH_ITEMS = {"rotary-36": 1.16, "rotary-24": 1.10, "rotary-50": .85, "rotary-80": .90, "orbit-80": 1.25, "oil-coat": 1.12,
               "water-coat": .94, "water-sealer": 1.06, "step-oil-coat": 1.10, "palm-80": .88, "screen-between": 1.15}
TRUTH_HOURS = {"sand": 1.12, "edge": .88, "coat": 1.06, "repair": 1.18, "trim": 1.0, "set-up": 1.05}
JOB_SPREAD, ITEM_SPREAD, HOUR_SPREAD = .07, .10, .14
HARD = {"D9": 2.0}  # layers of paint that the walk-through did not show

WORKERS = [("Tamsin Oake", "27.50"), ("Joris Pell", "24.00"), ("Wen Abara", "22.75")]
TAX_AREAS = [("Shop floors", "5.5", "2024-01-01")]

# Items opened and judged to a quarter; all else that is counted is used in whole pieces or sets.
TO_A_QUARTER = {"wood-filler", "oxalic-acid", "masking-film", "vacuum-bag", "respirator-cartridge-pair"}
COUNTED_AT_NEW_YEAR = ["disc-7in-36", "disc-7in-50", "disc-7in-80", "orbit-disc-5in-80", "palm-sheet-80", "oil-finish"]


def read(name):
    with open(os.path.join(HERE, "..", name), newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


OPERATIONS = {row["operation"]: row for row in read("operations.csv")}
MACHINES = {row["machine"]: row for row in read("machines.csv")}
ANSWERS = {row["for_finding"]: name for name, row in OPERATIONS.items() if row["for_finding"]}
PACKS, RATES, SEQUENCES, SCHEDULES = {}, {}, {"none": []}, {}
for row in read("items.csv"):
    PACKS.setdefault(row["item"], row)
for row in read("book-rates.csv"):
    RATES.setdefault((row["operation"], row["kind"]), []).append(row)
for row in read("sequences.csv"):
    SEQUENCES.setdefault(row["sequence"], []).append(row["operation"])
for row in read("schedules.csv"):
    SCHEDULES.setdefault(row["schedule"], []).append((row["operation"], float(row["recoat_hours"] or 0)))


# Rooms. Lengths are feet; each shape carries its own area and wall length.

def feet(text):
    whole, inches = re.fullmatch(r"""(\d+)'(?:(\d+)")?""", text.strip()).groups()
    return int(whole) + int(inches or 0) / 12


def written(length):
    whole, inches = divmod(round(length * 12), 12)
    return f"{whole}'" + (f'{inches}"' if inches else "")


def rectangle(long, wide, *parts):
    """A rectangle with parts such as ("plus", 5, 2): attached, or taken away, along its first side."""
    area, walls, text = long * wide, 2 * (long + wide), f"{written(long)} x {written(wide)}"
    for kind, along, deep in parts:
        area += along * deep if kind == "plus" else -along * deep
        walls += 2 * (along + deep) if kind == "island" else 2 * deep
        text += f"; {kind} {written(along)} x {written(deep)}"
    return text, area, walls, 0


def trapezoid(base, top, deep):
    slope = math.hypot((base - top) / 2, deep)
    return f"trapezoid {written(base)},{written(top)} x {written(deep)}", (base + top) / 2 * deep, base + top + 2 * slope, 0


def walked(walls, area):
    """Walls as walked; the area is worked by hand beside the call."""
    return "walls " + walls, area, sum(feet(wall) for wall in re.findall(r"""\d+'(?:\d+")?""", walls)), 0


def stairs(steps):
    return f"""stairs {steps}, 3' x 10" + 7 1/2\"""", 0, 0, steps


def room(name, shape, condition, species, doors="outside:3'", layout="strip", refinished="yes", note=""):
    text, area, walls, steps = shape
    doors = [(to, feet(width)) for to, width in (door.rsplit(":", 1) for door in doors.split("; "))]
    return dict(name=name, shape=text, area=area, walls=walls, steps=steps, condition=condition, species=species, doors=doors,
                layout=layout, refinished=refinished, note=note)


WORN, SOUND, OILED, PAINT, GLUE, BARE = "worn-film", "sound-film", "oil-wax", "paint", "glue", "bare"
SITES = [  # client, address, year built, tax area, note, rooms
    ("Isolde Marrow", "18 Cooper's Rise", 1926, "", "key with the neighbor at 20", [
        room("Front room", rectangle(15, 13.5, ("less", 5, 1.5)), WORN, "red-oak", note="hearth stays"),
        room("Hall", rectangle(14, 4), WORN, "red-oak", "Front room:3'")]),
    ("Petra Lindqvale", "3 Gannet Court", 1958, "", "", [
        room("Living room", rectangle(18, 14), SOUND, "red-oak"),
        room("Dining room", rectangle(12, 11.5), SOUND, "red-oak", "Living room:5'"),
        room("Passage", rectangle(9, 3.5), WORN, "red-oak", "Living room:2'8\"")]),
    ("Ambrose Teller", "41 Weir Hill", 1911, "", "power from the cellar only", [
        room("Parlor", rectangle(14, 13), PAINT, "heart-pine", note="brown paint, two coats at least"),
        room("Back parlor", rectangle(13, 12), OILED, "heart-pine", "Parlor:6'")]),
    ("Noor Castellan", "7 Orchard Back", 1984, "", "", [
        room("Main bedroom", rectangle(15, 13, ("plus", 6, 2)), SOUND, "white-oak", note="closet included"),
        room("Small bedroom", rectangle(11, 10), SOUND, "white-oak"),
        room("Landing", rectangle(10, 4.5), WORN, "white-oak", "Main bedroom:2'6\"; Small bedroom:2'6\""),
        room("Study", rectangle(10, 9), SOUND, "white-oak", "Landing:2'6\"")]),
    ("Halden Reed", "Unit 5, Sailmaker's Wharf", 1899, "", "freight lift, book it a day ahead", [
        room("Loft", rectangle(26, 19, ("island", 6, 3)), WORN, "hard-maple", note="iron column base in the middle"),
        room("Bay", trapezoid(10, 6, 4), WORN, "hard-maple", "Loft:8'")]),
    ("Corin Ashby", "22 Lantern Street", 1949, "", "", [
        room("Bedroom", rectangle(13, 12), WORN, "red-oak"),
        room("Guest room", rectangle(12, 10.5), WORN, "red-oak"),
        room("Upper hall", rectangle(15, 3.5), WORN, "red-oak", "Bedroom:2'6\"; Guest room:2'6\"")]),
    ("Marguerite Sole", "90 Quarry Lane", 1968, "", "", [
        room("Family room", rectangle(20, 15), GLUE, "red-oak", note="black cutback under the old tiles: test it first"),
        room("Nook", rectangle(9, 8), GLUE, "red-oak", "Family room:4'"),
        room("Closet hall", rectangle(8, 4), BARE, "red-oak", "Family room:2'8\"")]),
    ("Dov Hartigan", "6 Millrace", 1935, "", "", [  # 20 x 12 and 12 x 4
        room("Great room", walked("20' r 16' r 12' r 4' l 8' r 12'", 20 * 12 + 12 * 4), WORN, "white-oak"),
        room("Kitchen", rectangle(13, 11, ("less", 4, 2)), WORN, "white-oak", "Great room:5'"),
        room("Pantry", rectangle(6, 5), WORN, "white-oak", "Kitchen:2'6\"")]),
    ("Elspeth Crane", "15 Barley Mow", 1904, "", "old school, lead test still to come", [
        room("Old schoolroom", rectangle(22, 17), PAINT, "pine"),
        room("Cloakroom", rectangle(10, 7), PAINT, "pine", "Old schoolroom:3'"),
        room("Office", rectangle(12, 10), PAINT, "pine", "Old schoolroom:2'8\"")]),
    ("Rafe Montcalm", "2 Hollow Bank", 1991, "", "", [
        room("Living room", rectangle(17, 15, ("less", 6, 2)), SOUND, "hickory"),
        room("Foyer", rectangle(9, 8), WORN, "hickory", "Living room:6'"),
        room("Den", rectangle(11, 10), SOUND, "hickory", "Foyer:2'8\"")]),
    ("Sunniva Drew", "33 Tallow Street", 1941, "", "", [
        room("Sewing room", rectangle(12, 11), OILED, "cherry"),
        room("Library", rectangle(15, 13), OILED, "walnut", layout="herringbone"),
        room("Gallery", rectangle(24, 5), OILED, "walnut", "Sewing room:3'; Library:5'")]),
    ("Caspar Inverdale", "11 Fuller's Steps", 1922, "", "no parking, unload at the corner", [
        room("Entry", rectangle(9, 7), WORN, "red-oak"),
        room("Stair", stairs(13), WORN, "red-oak", "Entry:3'"),
        room("Upper landing", rectangle(11, 4), WORN, "red-oak", "Stair:3'")]),
    ("Linnea Foss", "27 Chandler Close", 1975, "", "", [
        room("Bedroom one", rectangle(14, 12), SOUND, "birch"),
        room("Bedroom two", rectangle(12, 11), SOUND, "birch"),
        room("Bedroom three", rectangle(11, 10), SOUND, "birch"),
        room("Corridor", rectangle(20, 3.5), WORN, "birch", "Bedroom one:2'6\"; Bedroom two:2'6\"; Bedroom three:2'6\"")]),
    ("Bastian Wray", "8 Ropewalk", 1930, "Shop floors", "closed to dancers for a week", [
        room("Dance studio", rectangle(32, 22), WORN, "hard-maple", "outside:6'"),
        room("Changing room", rectangle(12, 10), WORN, "hard-maple", "Dance studio:3'")]),
    ("Oriel Tansy", "64 Saltpan Road", 1955, "", "", [
        room("Lounge", rectangle(16, 14), WORN, "ash"),
        room("Dining end", rectangle(11, 10), WORN, "ash", "Lounge:7'"),
        room("Hallway", rectangle(16, 4), WORN, "ash", "Lounge:2'8\""),
        room("Box room", rectangle(9, 8), BARE, "douglas-fir", "Hallway:2'6\"")]),
    ("Jonty Vane", "5 Heron's Reach", 2003, "Shop floors", "show flat, invoice the office", [
        room("Open plan", rectangle(28, 18, ("island", 7, 3)), SOUND, "white-oak", layout="plank"),
        room("Snug", rectangle(12, 11), SOUND, "white-oak", "Open plan:5'", layout="plank"),
        room("Utility", rectangle(9, 7), BARE, "beech", "Open plan:2'8\"")]),
    ("Thora Benning", "12 Dyer's Yard", 1938, "", "", [
        room("Sitting room", rectangle(15, 13), WORN, "red-oak"),
        room("Bedroom", rectangle(12, 11), WORN, "red-oak", "Sitting room:2'6\""),
        room("Lobby", rectangle(7, 5), WORN, "red-oak", "Sitting room:2'8\""),
        room("Box room", rectangle(8, 7), WORN, "red-oak", "Lobby:2'6\"")]),
    ("Emrys Holt", "70 Beacon Road", 1962, "", "", [
        room("Living room", rectangle(19, 14), WORN, "red-oak"),
        room("Hall", rectangle(13, 4), WORN, "red-oak", "Living room:3'")]),
    ("Wilmot Garrick", "26 Sexton's Walk", 1952, "", "dog, keep the gate shut", [
        room("Living room", rectangle(17, 13, ("plus", 5, 2)), WORN, "red-oak"),
        room("Study", rectangle(11, 9.5), SOUND, "red-oak", "Living room:2'8\"")]),
    ("Sabine Orr", "9 Kelp Cottages", 1947, "", "", [
        room("Front bedroom", rectangle(13, 12), WORN, "red-oak"),
        room("Back bedroom", rectangle(12, 10), SOUND, "red-oak"),
        room("Landing", rectangle(9, 4), WORN, "red-oak", "Front bedroom:2'6\"; Back bedroom:2'6\"")]),
    ("Ludo Farrow", "1 Signal House", 1908, "", "whole house, wants to live in it meanwhile", [
        room("Porch hall", rectangle(12, 6), WORN, "red-oak"),
        room("Morning room", rectangle(15, 13, ("less", 5, 1)), WORN, "red-oak", "Porch hall:3'"),
        room("Dining room", rectangle(14, 13), SOUND, "red-oak", "Porch hall:3'; Morning room:6'"),
        room("Kitchen", rectangle(14, 12), PAINT, "pine", "Dining room:3'; outside:2'8\""),
        room("Stair", stairs(15), PAINT, "pine", "Porch hall:3'"),
        room("Upper landing", rectangle(13, 5), PAINT, "pine", "Stair:3'"),
        room("Bedroom one", rectangle(15, 12, ("plus", 5, 2)), PAINT, "pine", "Upper landing:2'6\""),
        room("Bedroom two", rectangle(12, 11), PAINT, "pine", "Upper landing:2'6\""),
        room("Tiled bath", rectangle(9, 7), BARE, "other", "Upper landing:2'4\"", refinished="no", note="tiles stay")]),
]
ROOMS = {address: rooms for _, address, *_, rooms in SITES}
READINGS = [  # address, day, room, kind, value, layer, place, by whom
    ("90 Quarry Lane", "2024-10-02", "Family room", "seen", "nothing", "", "", "Joris Pell"),
    ("90 Quarry Lane", "2024-10-02", "Nook", "seen", "nothing", "", "", "Joris Pell"),
    ("90 Quarry Lane", "2024-10-09", "Family room", "asbestos", "negative", "mastic", "black cutback by the hearth", "Harrow Laboratory"),
    ("90 Quarry Lane", "2024-10-09", "Nook", "asbestos", "negative", "mastic", "black cutback by the window", "Harrow Laboratory"),
]
FINDINGS = {  # address: room, kind, quantity, unit, place, and perhaps: chance, operation if so, from and to how much
    "18 Cooper's Rise": [("Hall", "proud-nails", 20, "each", "along the joists"), ("Front room", "gaps", 18, "ft", "by the window")],
    "41 Weir Hill": [("Parlor", "proud-nails", 45, "each", ""), ("Parlor", "damaged-boards", 3, "each", "under the old stove")],
    "7 Orchard Back": [("Landing", "squeaks", 3, "each", "top of the stairs")],
    "22 Lantern Street": [("Bedroom", "missing-quarter-round", 26, "ft", "north and east walls")],
    "6 Millrace": [("Great room", "black-stains", 6, "sqft", "feet of an iron stove, washed around for years"), ("Kitchen", "open-holes", 8, "each", "old pipes")],
    "15 Barley Mow": [("Old schoolroom", "proud-nails", 60, "each", "desk rows"), ("Office", "damaged-boards", 2, "each", "by the door")],
    "33 Tallow Street": [("Library", "gaps", 30, "ft", "")],
    "27 Chandler Close": [("Corridor", "missing-threshold", 1, "each", "to the bathroom")],
    "8 Ropewalk": [("Dance studio", "squeaks", 6, "each", "in front of the mirrors")],
    "64 Saltpan Road": [("Lounge", "damaged-boards", 4, "each", "radiator leak"), ("Hallway", "proud-nails", 15, "each", "")],
    "12 Dyer's Yard": [("Bedroom", "proud-nails", 12, "each", "")],
    "26 Sexton's Walk": [("Living room", "open-holes", 10, "each", "carpet tack strip")],
    "9 Kelp Cottages": [("Landing", "proud-nails", 14, "each", ""), ("Front bedroom", "missing-quarter-round", 22, "ft", "window wall"),
                       ("Front bedroom", "black-stains", 6, "sqft", "below a window that leaked", ".4", "replace-boards", 2, 4)],
    "1 Signal House": [("Kitchen", "damaged-boards", 5, "each", "sink"), ("Upper landing", "proud-nails", 40, "each", ""),
                       ("Upper landing", "missing-threshold", 1, "each", "to the bath"), ("Dining room", "squeaks", 4, "each", "")],
}
R36, R24, MAPLE = "rotary-36-50-80", "rotary-24-36-50-80", "maple-36-50-80-100"
JOBS = [  # label, address, sequence, schedule, first day
    ("D1", "18 Cooper's Rise", R36, "oil-2-coat", "2024-03-11"),
    ("D2", "3 Gannet Court", R36, "oil-2-coat", "2024-04-15"),
    ("D3", "41 Weir Hill", R24, "oil-3-coat", "2024-05-21"),
    ("D4", "7 Orchard Back", R36, "water-3-coat", "2024-07-08"),
    ("D5", "Unit 5, Sailmaker's Wharf", MAPLE, "water-3-coat", "2024-08-19"),
    ("D6", "22 Lantern Street", R36, "oil-2-coat", "2024-09-30"),
    ("D7", "90 Quarry Lane", R24, "oil-2-coat", "2024-11-04"),
    ("D8", "6 Millrace", R36, "oil-2-coat", "2025-01-13"),
    ("D9", "15 Barley Mow", R36, "oil-2-coat", "2025-02-24"),
    ("D10", "2 Hollow Bank", R36, "water-3-coat", "2025-04-07"),
    ("D11", "33 Tallow Street", R36, "oil-2-coat", "2025-05-19"),
    ("D12", "11 Fuller's Steps", R36, "oil-2-coat", "2025-07-07"),
    ("D13", "27 Chandler Close", R36, "water-3-coat", "2025-07-09"),
    ("D14", "8 Ropewalk", "drum-36-60-80", "oil-2-coat", "2025-09-22"),
    ("D15", "64 Saltpan Road", R36, "oil-2-coat", "2025-10-27"),
    ("D16", "5 Heron's Reach", R36, "water-3-coat", "2025-12-01"),
    ("D17", "12 Dyer's Yard", R36, "stain-oil-2-coat", "2026-01-26"),
    ("D18", "70 Beacon Road", R36, "oil-2-coat", "2026-02-16"),
    ("D19", "26 Sexton's Walk", R36, "oil-2-coat", "2026-02-27"),
]
QUOTED_ROOMS = {"D8": "Great room; Kitchen"}  # its pantry is agreed later, as a variation
MARGINS = {"D14": "0.30"}
HANDED_ON = ("rotary", "D12", "D13")  # one rental, two jobs
KEPT_A_WEEK, LATE_RECEIPT, NO_TASK, TYPED_TWICE, BOUGHT_TOO_MUCH = "D14", "D6", {"D2"}, "D10", "D9"
UNPAID, OPEN = {"D17", "D18"}, "D19"


# The calendar: nothing on Sundays and three holidays.

def is_off(day):
    return day.weekday() == 6 or (day.month, day.day) in {(1, 1), (7, 4), (12, 25)}


def workday(day):
    while is_off(day):
        day += dt.timedelta(1)
    return day


def later(day, days=1):
    for _ in range(days):
        day = workday(day + dt.timedelta(1))
    return day


def earlier(day, days):
    day -= dt.timedelta(days)
    while is_off(day):
        day -= dt.timedelta(1)
    return day


def date(text):
    return dt.date.fromisoformat(text)


# What the book expects, and what really happens.

def expected(operation, kind, of, driver, passes):
    """As the take-off: driver / driver_per_item + fixed_items for each pass, by the row that fits the floor best."""
    fits = [row for row in RATES[operation, kind] if row["condition"] in ("", of["condition"]) and row["species"] in ("", of["species"])]
    row = max(fits, key=lambda row: (row["condition"] != "") + (row["species"] != ""))
    return round(driver / float(row["driver_per_item"]) + passes * float(row["fixed_items"] or 0), 2)


def edge(site, of):
    doors = sum(width for _, width in of["doors"])
    doors += sum(width for other in site for to, width in other["doors"] if to == of["name"])
    return 0 if of["steps"] else of["walls"] - doors


def work(address, sequence, schedule):
    """What is planned: (room or None for the job, operation, driver, passes)."""
    rooms = [of for of in ROOMS[address] if of["refinished"] == "yes"]
    set_up = [name for name, row in OPERATIONS.items() if row["task"] == "set-up"]
    for name in set_up:
        if OPERATIONS[name]["driver"] == "job":
            yield None, name, 1, 1
    steps = SEQUENCES[sequence] + [name for name, _ in SCHEDULES[schedule]]
    for of in rooms:
        drivers = {"count": of["steps"], "room": 1} if of["steps"] else {"area": of["area"], "edge": edge(ROOMS[address], of), "room": 1}
        for name in set_up:
            if OPERATIONS[name]["driver"] in drivers:
                yield of, name, drivers[OPERATIONS[name]["driver"]], 1
        for found_in, kind, quantity, *_ in FINDINGS.get(address, []):
            if found_in == of["name"]:
                yield of, ANSWERS[kind], quantity, 1
        for name in dict.fromkeys(steps):
            if OPERATIONS[name]["driver"] in drivers:
                yield of, name, drivers[OPERATIONS[name]["driver"]] * steps.count(name), steps.count(name)


def lognormal(spread):
    sigma = math.sqrt(math.log1p(spread * spread))
    return math.exp(R.gauss(-sigma * sigma / 2, sigma))


class Diffused:
    """Rounds to a step, up to what is still owed from the roundings before."""

    def __init__(self, step):
        self.step, self.owed = step, 0

    def __call__(self, value, least=0):
        rounded = max(least, round((value + self.owed) / self.step) * self.step)
        self.owed += value - rounded
        return round(rounded, 2)


worn = {}  # operation: how many sets are worn, and how many were opened
shelf = {}  # item: what is really there; the ledger's stock also holds what nobody logged
busy = {}  # worker and day: hours
book, jobs = [], []


def entry(day, kind, job="", rooms="", subject="", on="", quantity="", amount="", at=""):
    assert not is_off(day) and day < DEMO_DAY, (day, kind, job)
    book.append(dict(date=day, kind=kind, job=job, rooms=rooms, subject=subject, on=on, quantity=quantity, amount=amount, at=at))


def buy(day, item, need):
    """Buys the usual pack until the need is met, at the book price give or take 8 %."""
    short = need - shelf.get(item, 0)
    if short > 1e-9:
        packs = math.ceil(short / float(PACKS[item]["pack"]) - 1e-9)
        bought = packs * float(PACKS[item]["pack"])
        cost = packs * float(PACKS[item]["price"]) * R.uniform(.92, 1.08)
        entry(day, "buy", subject=item, quantity=f"{bought:g}", amount=f"{cost:.2f}")
        shelf[item] = shelf.get(item, 0) + bought


def sets_used(operation, means, size):
    """Whole sets as they are opened: rooms that share a set share an entry, and a part-worn set serves the next job."""
    state = worn.setdefault(operation, [R.random() * .5, 1])
    groups, waiting = [], []
    for name, mean in means:
        state[0] += mean / size
        waiting.append(name)
        opened = math.ceil(state[0] - 1e-9) - state[1]
        if opened > 0:
            groups.append((waiting, opened * size))
            state[1] += opened
            waiting = []
    if waiting and groups:
        groups[-1] = (groups[-1][0] + waiting, groups[-1][1])
    elif waiting:
        groups.append((waiting, 0))  # a true zero: the last job's set did it
    return groups


def coat_days(schedule):
    """Groups the steps of a schedule by day: a new day after 12 h of drying, and before abrading."""
    days, dry = [[]], 0
    for name, recoat in SCHEDULES[schedule]:
        step_of_pair = OPERATIONS[name]["driver"] == "count"
        abrades = not recoat
        if not step_of_pair and days[-1] and (dry >= 12 or (abrades and dry)):
            days.append([])
            dry = 0
        days[-1].append(name)
        dry = recoat
    return days


def charge(machine, hours):
    """The yard's tariff: half day, or the cheapest of days and weeks, waiver and cleaning."""
    row, days = MACHINES[machine], math.ceil(hours / 24)
    if hours <= 4:
        rent = float(row["half_day"])
    else:
        rent = min(weeks * float(row["week"]) + max(0, days - 7 * weeks) * float(row["day"]) for weeks in range(days // 7 + 2))
    return rent * (1 + float(row["waiver_percent"]) / 100) + float(row["cleaning"])


rentals = []


def rent(label, machine, out, back, to=None):
    """Takes a machine out and back, now and then with the receipt's figure, give or take 4 %."""
    assert all(machine != m or back <= o or b <= out for m, o, b in rentals), (label, machine)
    rentals.append((machine, out, back))
    entry(out.date(), "rental-out", label, subject=machine, at=f"{out:%Y-%m-%d %H:%M}")
    if to:
        entry(to[1], "rental-day", to[0], subject=machine)
    if back.date() < DEMO_DAY:
        receipt = "" if R.random() < .65 else f"{charge(machine, (back - out).total_seconds() / 3600) * R.uniform(.96, 1.04):.2f}"
        entry(back.date(), "rental-back", subject=machine, amount=receipt, at=f"{back:%Y-%m-%d %H:%M}")


def at(day, time):
    return dt.datetime.combine(day, dt.time.fromisoformat(time))


def log_hours(label, crew, day, chunks):
    """Shares out chunks (task, rooms, hours) day by day; returns the last day, and the day each room was done."""
    done = {}
    for task, rooms, left in chunks:
        while left > 0:
            worker = min(crew, key=lambda name: busy.get((name, day), 0))
            free = DAY_LIMIT - busy.get((worker, day), 0)
            if free < .25:
                day = later(day)
                continue
            part = min(left, free)
            if day < DEMO_DAY:
                on = "" if label in NO_TASK and task == "set-up" else task
                entry(day, "hours", label, "; ".join(rooms), worker, on, f"{part:g}")
            busy[worker, day] = busy.get((worker, day), 0) + part
            left -= part
        done.update({(task, name): day for name in rooms})
    return day, done


def chunked(task, hours, rounded):
    """Joins small rooms until there is three quarters of an hour to write down."""
    chunks, names, total = [], [], 0
    for name, value in hours:
        names, total = names + [name], total + value
        if total >= .75:
            chunks.append((task, names, rounded(total, .25)))
            names, total = [], 0
    if names and chunks:
        task, before, already = chunks.pop()
        chunks.append((task, before + names, already + rounded(total)))
    elif names:
        chunks.append((task, names, rounded(total, .25)))
    return chunks


def do_job(label, address, sequence, schedule, first):
    first = date(first)
    factor = lognormal(JOB_SPREAD) * HARD.get(label, 1)
    names = [of["name"] for of in ROOMS[address] if of["refinished"] == "yes"]
    by_room = {name: (lognormal(ITEM_SPREAD), lognormal(HOUR_SPREAD)) for name in names}
    items, hours, passes_of = {}, {}, {}
    for of, operation, driver, passes in work(address, sequence, schedule):
        row, name, where = OPERATIONS[operation], of and of["name"], of or ROOMS[address][0]
        of_items, of_hours = by_room.get(name, (1, 1))
        # Only wear and labor are harder on a hard floor; a coat is a coat.
        hard = factor if row["task"] in ("sand", "edge", "repair") else factor / HARD.get(label, 1)
        if row["item"]:
            mean = expected(operation, "item", where, driver, passes) * TRUTH_ITEMS.get(operation, 1) * hard * of_items
            items.setdefault(operation, []).append((name, mean))
        mean = expected(operation, "hours", where, driver, passes) * TRUTH_HOURS[row["task"]] * hard * of_hours
        hours.setdefault((row["task"], operation), []).append((name, mean))
        passes_of[operation] = passes

    # Hours: repairs and sanding first, coats on days of their own, trim and clean-up last.
    rounded = {task: Diffused(.25) for task in TRUTH_HOURS}

    def of_task(task, operations=None, share=False):
        total = {}
        for (its_task, operation), means in hours.items():
            if its_task == task and (operations is None or operation in operations):
                for name, mean in means:
                    total[name] = total.get(name, 0) + mean / (passes_of[operation] if share else 1)
        return sorted(total.items(), key=lambda pair: names.index(pair[0]) if pair[0] else -1)

    crew = R.sample([name for name, _ in WORKERS], 2 if sum(mean for means in hours.values() for _, mean in means) > 12 else 1)
    carry_in = sum(mean for name, mean in of_task("set-up", [o for o in OPERATIONS if o != "clean-up"]))
    chunks = [("set-up", [], rounded["set-up"](carry_in, .25))]
    for task in ("repair", "sand", "edge"):
        chunks += chunked(task, of_task(task), rounded[task])
    sanded, done = log_hours(label, crew, first, chunks)
    days = coat_days(schedule)
    day, coats = sanded, []
    for operations in days:
        day = later(day)
        start = day
        day, _ = log_hours(label, crew, day, chunked("coat", of_task("coat", operations, share=True), rounded["coat"]))
        coats.append((start, operations))
    last, finished = log_hours(label, crew, day, chunked("trim", of_task("trim"), rounded["trim"])
                               + [("set-up", [], rounded["set-up"](dict(of_task("set-up", ["clean-up"]))[None], .25))])
    done.update(finished)

    # Items: whole sets, gallons to 0.05, opened packs to a quarter, pieces whole, trim to half a foot.
    uses = []
    for operation, means in items.items():
        row = OPERATIONS[operation]
        task, item, unit = row["task"], row["item"], PACKS[row["item"]]["unit"]
        unlogged = task in ("sand", "edge", "coat") and R.random() < UNLOGGED * len(means)
        skipped = R.choice(means)[0] if unlogged else None
        if unit == "gal":
            read_off = Diffused(.05)
            for start, operations in coats:
                for _ in range(operations.count(operation)):
                    for name, mean in means:
                        uses.append((start, [name], operation, read_off(mean / passes_of[operation], .05), name != skipped))
        elif item in TO_A_QUARTER:
            total = max(.25, round(sum(mean for _, mean in means) * 4) / 4)
            rooms = [] if task == "set-up" else [name for name, _ in means]
            uses.append((last if operation == "clean-up" else first, rooms, operation, total, True))
        elif unit == "ft" or task == "repair":
            for name, mean in means:
                quantity = math.ceil(mean * 2) / 2 if unit == "ft" else math.ceil(mean - 1e-9)
                uses.append((done[task, name], [name], operation, quantity, True))
        else:
            abrading = next((start for start, operations in coats if operation in operations), None)
            for rooms, quantity in sets_used(operation, means, int(row["set_size"] or 1)):
                on = abrading or max(done[task, name] for name in rooms)
                uses.append((on, rooms, operation, quantity, skipped not in rooms))
    need = {}
    for on, _, operation, quantity, _ in uses:
        if on < DEMO_DAY:
            need[OPERATIONS[operation]["item"]] = need.get(OPERATIONS[operation]["item"], 0) + quantity
    for item, quantity in sorted(need.items()):
        if not (label == LATE_RECEIPT and item == "oil-finish"):
            buy(earlier(first, 1), item, quantity)
    for on, rooms, operation, quantity, logged in sorted(uses, key=lambda use: use[0]):
        item = OPERATIONS[operation]["item"]
        if on < DEMO_DAY:
            shelf[item] = shelf.get(item, 0) - quantity
            if logged:
                entry(on, "use", label, "; ".join(rooms), item, operation, f"{quantity:g}")

    # Machines: the sanders from the first morning to the morning after; the buffer for a half day, or overnight.
    for machine in sorted({OPERATIONS[name]["machine"] for name in SEQUENCES[sequence]} - {""}):
        if machine == "buffer":
            rent(label, machine, at(sanded, "08:00"), at(later(sanded), "07:45"))
        elif (machine, label) == HANDED_ON[::2]:
            continue
        elif (machine, label) == HANDED_ON[:2]:
            rent(label, machine, at(first, "08:00"), at(first + dt.timedelta(4), "07:45"), (HANDED_ON[2], first + dt.timedelta(2)))
        else:
            back = first + dt.timedelta(7) if label == KEPT_A_WEEK else later(sanded)
            rent(label, machine, at(first, "08:00"), at(back, "07:45"))
    for start, operations in coats:
        if "buffer" in {OPERATIONS[name]["machine"] for name in operations} and (start < DEMO_DAY or label == OPEN):
            if label == OPEN:  # fetched on Saturday for Monday's screening
                rent(label, "buffer", at(dt.date(2026, 2, 28), "15:00"), at(DEMO_DAY, "14:30"))
            elif R.random() < .5:
                rent(label, "buffer", at(start, "08:00"), at(start, "11:30"))
            else:
                rent(label, "buffer", at(start, "08:00"), at(later(start), "07:30"))

    miles = R.randint(6, 24)
    entry(first, "drive", label, quantity=str(2 * miles))
    closed = invoiced = paid = None
    if label != OPEN:
        entry(last, "drive", label, quantity=str(2 * miles))
        entry(last, "spent", label, subject="disposal", amount=f"{R.uniform(14, 38):.2f}")
        closed = later(first + dt.timedelta(7) if label == KEPT_A_WEEK else last)
        if label == HANDED_ON[1]:
            closed = max(closed, first + dt.timedelta(4))  # what the yard asks is known then
        invoiced = later(closed, R.randint(0, 2))
        paid = None if label in UNPAID else workday(invoiced + dt.timedelta(R.randint(4, 22)))
    if label == LATE_RECEIPT:
        entry(last, "buy", subject="oil-finish", quantity="3", amount="172.20")
        shelf["oil-finish"] += 3
    if label == TYPED_TWICE:
        again = next(row for row in book if row["job"] == label and row["kind"] == "hours" and row["on"] == "sand")
        double = [dict(again), dict(again, kind="void", rooms="", subject="typed twice", on="", quantity="")]
        book[book.index(again) + 1:book.index(again) + 1] = double
    if label == BOUGHT_TOO_MUCH:
        entry(first, "buy", subject="disc-7in-24", quantity="10", amount="24.60")
        entry(last, "hand-back", label, subject="disc-7in-24", quantity="10", amount="22.00")
    drafted = earlier(first, R.randint(16, 30))
    decided = max(earlier(first, R.randint(3, 12)), later(drafted))
    jobs.append(quote(label, address, sequence, schedule, drafted, later(drafted), decided=decided, decision="accepted", started=first,
                      closed=closed, deposit="yes" if R.random() < .6 or label in UNPAID else "", invoiced=invoiced, paid=paid))


def quote(label, address, sequence, schedule, drafted, sent, rooms=None, variation_of="", valid_days=30, **dates):
    row = dict(label=label, site=address, rooms=QUOTED_ROOMS.get(label, "") if rooms is None else rooms, sequence=sequence,
               schedule=schedule, margin=MARGINS.get(label, ""), variation_of=variation_of, drafted=drafted, sent=sent,
               valid_days=valid_days)
    for name in ("option", "option_schedule", "decided", "decision", "started", "closed", "deposit", "invoiced", "paid"):
        row[name] = dates.get(name) or ""
    return row


def count_shelf(day):
    shelf["oil-finish"] = max(0, shelf["oil-finish"] - .1)  # skinned over in the can
    for item in COUNTED_AT_NEW_YEAR:
        entry(day, "count", subject=item, quantity=f"{shelf[item]:.2f}")


counts = [dt.date(2025, 1, 4), dt.date(2026, 1, 3)]
for job in JOBS:
    while counts and counts[0] < date(job[-1]):
        count_shelf(counts.pop(0))
    do_job(*job)
closed = {job["label"]: job["closed"] for job in jobs}
call_back = workday(closed["D5"] + dt.timedelta(20))
entry(call_back, "hours", "D5", "Loft", "Wen Abara", "sand", "1.5")
entry(call_back, "spent", "D5", subject="touch-up kit", amount="23.80")
pantry = date("2025-01-13")
jobs += [
    quote("V1", "6 Millrace", R36, "oil-2-coat", pantry, pantry, rooms="Pantry", variation_of="D8", decided=pantry, decision="accepted"),
    quote("N1", "64 Saltpan Road", R36, "water-3-coat", date("2025-06-03"), date("2025-06-04"), decided=date("2025-06-20"), decision="declined"),
    quote("O1", "9 Kelp Cottages", R36, "oil-2-coat", date("2026-02-23"), date("2026-02-24"), valid_days=14,
          option="Three coats", option_schedule="oil-3-coat"),
]


def write(name, rows):
    with open(os.path.join(HERE, name), "w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def doors_text(doors):
    return "; ".join(f"{to}:{written(width)}" for to, width in doors)


write("clients.csv", [dict(client=client, phone=f"555-01{number:02}", email=client.lower().replace(" ", ".") + "@example.com",
                           address=address, note="") for number, (client, address, *_) in enumerate(SITES, 1)])
write("sites.csv", [dict(client=client, site=address, year_built=year, tax_area=area, note=note)
                    for client, address, year, area, note, _ in SITES])
write("tax-areas.csv", [dict(tax_area=name, percent=percent, valid_from=day) for name, percent, day in TAX_AREAS])
write("rooms.csv", [dict(site=address, room=of["name"], shape=of["shape"], condition=of["condition"], species=of["species"],
                         layout=of["layout"], refinished=of["refinished"], doors=doors_text(of["doors"]), note=of["note"])
                    for address, rooms in ROOMS.items() for of in rooms])
write("findings.csv", [dict(site=address, room=name, kind=kind, quantity=quantity, unit=unit, place=place,
                            **dict(zip(("chance", "if_so", "least", "most"), so or [""] * 4)))
                       for address, found in FINDINGS.items() for name, kind, quantity, unit, place, *so in found])
write("readings.csv", [dict(date=day, site=address, room=name, kind=kind, value=value, layer=layer, place=place, by=by)
                       for address, day, name, kind, value, layer, place, by in READINGS])
write("workers.csv", [dict(worker=name, wage=wage) for name, wage in WORKERS])
write("jobs.csv", jobs)
write("day-book.csv", sorted(book, key=lambda row: row["date"]))
print(f"{len(jobs)} quotes, {len(book)} entries, {sum(map(len, ROOMS.values()))} rooms")
