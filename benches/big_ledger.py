"""Makes the ledger of a firm that has kept it for long: the demo's, many times over.

    python3 benches/big_ledger.py DEMO JOBS FILE

DEMO is what `gritledger demo --to DEMO` writes; FILE must not be there. FILE gets as many copies of the demo as come
nearest to JOBS: clients, sites, rooms, doorways, findings, workers, quotes with everything in them, jobs, the day book,
its stock, evidence, invoices, payments, seals and log. The firm, its settings and its book are in it once. It prints how
many rows of each table there are for a job, in the demo and in FILE, and exits with 1 if one is off by more than a tenth.

The copies follow each other over twenty years, each moved by whole weeks, so a weekend stays one; the last is the demo
itself, on its own days, and `GRITLEDGER_TODAY=2026-03-02` is its last day. Numbers run on without gaps. A client and a
site of a copy have its number behind their name.

What isn't as in the demo, so that it is as in an old firm:

* Jobs that aren't closed are left out of all copies but the last, with their quotes and entries; so few jobs are open.
* What is owed in them was paid on the day it fell due (those payments aren't counted below); records that wait for a
  word have it; their workers have left.
* The copies overlap, as the jobs of a large firm do. So stock is worked out anew over all of them, in the order of days,
  by the rule of `src/trade/stock.rs`; an entry has one effect, where the demo keeps earlier ones beside it too. A count
  finds or misses as much as in the demo. In so full a shed no use would await its receipt: for those that do in the demo
  a count says that nothing is there, and one after it finds the rest again.
* No rates are kept: the first command that needs them learns them.

`gritledger check` finds nothing in FILE: seals and digests are made here as the program makes them. Python's own hash of
bytes is the SipHash 1-3 that they need, with no key if PYTHONHASHSEED is 0 (Python 3.11 or later).
"""

import datetime
import os
import re
import sqlite3
import sys

# Tables that grow from here: whatever refers to one of them grows too.
ROOTS = {"client", "worker", "observation"}
# Worked out anew, or made last.
DERIVED = {"stock_effect", "stock_settlement", "awaiting_receipt", "evidence_digest", "seal", "rate_fit"}
# What is open: few, however many jobs there are.
OPEN = {"job_under_way", "job_to_bill", "machine_out", "unsettled_invoice", "awaiting_receipt", "evidence_digest"}
# Series of numbers, each with its letter.
LETTERS = {"E": "entry", "I": "invoice", "J": "job", "N": "observation", "P": "payment", "Q": "quote"}
NUMBERED = set(LETTERS.values())
# Columns with a name that must be another one in each copy, with words about a numbered row, and with days in JSON.
NAMES = {("client", "name"), ("site", "address"), ("worker", "name"), ("invoice", "client"), ("invoice", "site"),
         ("quote_event", "client"), ("quote_event", "site"), ("job_event", "client"), ("job_event", "site")}
WORDS = {("invoice_line", "what"), ("entry", "what"), ("observation", "job_label"), ("log", "sentence")}
WITH_DAYS = {("quote", "outlook"), ("house_plan", "plan"), ("house_plan", "request"), ("house_plan", "lost_days")}
DAYS = {"since", "valid_until", "valid_from"}

YEARS, QUIET_WEEKS = 20, 26
# The note of payments that aren't in the demo.
SETTLED = "when it fell due"
# Those of counts that aren't.
EMPTY, FOUND = "the shelf is empty", "what was on the shelf"
LEAST, MOST = 0.9, 1.1

NUMBER = re.compile(r"\b([EIJNPQ])([0-9]+)\b")
DAY = re.compile(r"\b20[0-9]{2}-[0-9]{2}-[0-9]{2}\b")

# What `src/ledger/seals.rs` seals: a table, what is part of its rows (a query for all of them, in order), and which
# columns of both it leaves out.
SEALED = [
    ("ledger", [], ()),
    ("setting", [], ()),
    ("account_name", [], ()),
    ("closed_period", [
        ("period_id", "SELECT * FROM filed_total ORDER BY period_id, account"),
    ], ()),
    ("letterhead", [], ()),
    ("tax_rate", [], ()),
    ("book_rate", [], ()),
    ("rate_change", [], ()),
    ("quote", [
        ("quote_id", "SELECT * FROM quote_room ORDER BY quote_id, position"),
        ("quote_id", "SELECT * FROM quote_line ORDER BY quote_id, position"),
        ("quote_id", "SELECT * FROM replaced_line ORDER BY quote_id, line_id"),
        ("quote_id", "SELECT * FROM quote_tariff ORDER BY quote_id, machine_id"),
        ("quote_id", "SELECT * FROM quote_rate ORDER BY quote_id, operation_id, kind, floor_condition, species"),
        ("quote_id", "SELECT * FROM quote_caution ORDER BY quote_id, position"),
        ("quote_id", "SELECT * FROM quote_discount ORDER BY quote_id, position"),
    ], ()),
    ("quote_event", [
        ("quote_event_id", "SELECT * FROM sent_room ORDER BY quote_event_id, room_id"),
    ], ("client", "client_address", "site")),
    ("house_plan", [], ()),
    ("job", [], ()),
    ("job_event", [
        ("job_event_id", "SELECT * FROM closed_room ORDER BY job_event_id, room_id"),
    ], ("client", "site")),
    ("entry", [
        ("entry_id", "SELECT * FROM entry_room ORDER BY entry_id, room_id"),
        ("entry_id", "SELECT * FROM rental_tariff ORDER BY entry_id"),
    ], ()),
    ("invoice", [
        ("invoice_id", "SELECT invoice_line.*, CASE kind WHEN 'deposit' THEN NULL ELSE what END AS said"
                       " FROM invoice_line JOIN invoice ON invoice.id = invoice_id ORDER BY invoice_id, position"),
        ("invoice_id", "SELECT * FROM invoice_allowance ORDER BY invoice_id, position"),
        ("invoice_id", "SELECT * FROM invoice_tax ORDER BY invoice_id, tax_micro"),
    ], ("client", "client_address", "client_tax_number", "site", "what")),
    ("write_off", [], ()),
    ("write_off_void", [], ()),
    ("payment", [], ()),
    ("payment_void", [], ()),
    ("payment_application", [], ()),
    ("reading", [], ("by_whom",)),
    ("reading_void", [], ()),
]


class Table:
    """A table of the demo: its columns, and what each refers to."""

    def __init__(self, demo, name):
        self.name = name
        self.columns = [row[1] for row in demo.execute(f"SELECT * FROM pragma_table_info('{name}') ORDER BY cid")]
        self.refers = {row[3]: row[2] for row in demo.execute(f"SELECT * FROM pragma_foreign_key_list('{name}')")}
        self.has_id = "id" in self.columns
        order = "id" if self.has_id else "rowid"
        kept = ", ".join(f'"{column}"' for column in self.columns)  # without what is generated
        try:
            self.rows = [dict(zip(self.columns, row)) for row in demo.execute(f"SELECT {kept} FROM {name} ORDER BY {order}")]
        except sqlite3.OperationalError:  # WITHOUT ROWID
            self.rows = [dict(zip(self.columns, row)) for row in demo.execute(f"SELECT {kept} FROM {name}")]


class Part:
    """What one copy is made of: rows of the demo with ids and numbers from 1 on, without gaps."""

    def __init__(self, tables, grown, left_out):
        self.ids = {name: {} for name in grown}
        self.numbers = {name: {} for name in grown}
        self.rows = {}
        for name in grown:
            kept = [row for number, row in enumerate(tables[name].rows) if number not in left_out[name]]
            for row in kept:
                if tables[name].has_id:
                    self.ids[name][row["id"]] = len(self.ids[name]) + 1
                if name in NUMBERED and row["number"] is not None:
                    self.numbers[name].setdefault(row["number"], len(self.numbers[name]) + 1)
            self.rows[name] = kept
        for name in grown:
            self.rows[name] = [self.again(tables[name], row) for row in self.rows[name]]

    def again(self, table, row):
        """A row with its new ids and numbers."""
        new = dict(row)
        for column, value in row.items():
            refers = table.refers.get(column)
            if column == "id":
                new["id"] = self.ids[table.name][value]
            elif refers in self.ids and value is not None:
                new[column] = self.ids[refers][value]
            elif column == "number" and table.name in NUMBERED and value is not None:
                new["number"] = self.numbers[table.name][value]
            elif (table.name, column) in WORDS:
                new[column] = self.reworded(value)
        return new

    def reworded(self, text):
        """The words of a row with the new numbers."""
        return NUMBER.sub(lambda found: found[1] + str(self.number(found) or found[2]), text)

    def number(self, found):
        return self.numbers[LETTERS[found[1]]].get(int(found[2]))

    def says_all(self, text):
        """Whether every row that a sentence names is in this part."""
        return all(self.number(found) for found in NUMBER.finditer(text))


def main():
    if os.environ.get("PYTHONHASHSEED") != "0":
        os.execve(sys.executable, [sys.executable, *sys.argv], {**os.environ, "PYTHONHASHSEED": "0"})
    if len(sys.argv) != 4:
        sys.exit(__doc__.split("\n\n")[1].strip())
    demo_file, jobs, target = sys.argv[1], int(sys.argv[2]), sys.argv[3]
    if os.path.exists(target):
        sys.exit(f"`{target}` is there already")
    if sys.hash_info.algorithm != "siphash13":
        sys.exit("this needs a Python whose hash is SipHash 1-3: 3.11 or later")
    demo = sqlite3.connect(f"file:{demo_file}?mode=ro", uri=True)
    big = sqlite3.connect(target, isolation_level=None)
    for pragma in ("journal_mode = OFF", "synchronous = OFF", "locking_mode = EXCLUSIVE", "cache_size = -200000",
                   "temp_store = MEMORY"):
        big.execute(f"PRAGMA {pragma}")
    make(demo, big, jobs)
    sys.exit(0 if is_alike(demo, big) else 1)


def make(demo, big, jobs):
    schema = list(demo.execute("SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL ORDER BY rowid"))
    tables = {name: Table(demo, name) for kind, name, _ in schema if kind == "table"}
    grown = growing(tables)
    note_what_counts_found(tables)
    whole = Part(tables, grown, {name: set() for name in grown})
    tables["entry"].rows = with_empty_shelves(tables)
    closed = Part(tables, grown, jobs_not_closed(tables, grown))
    settle(closed)
    copies = max(0, round((jobs - len(whole.ids["job"])) / len(closed.ids["job"])))

    big.execute("BEGIN")
    for kind, _, sql in schema:
        if kind == "table":
            big.execute(sql)
    days = [-7 * (QUIET_WEEKS + (YEARS * 52 - QUIET_WEEKS) * (copies - k) // copies) for k in range(copies)] + [0]
    series = Series(closed, whole, days)
    big.execute("CREATE TEMP TABLE copy (k INTEGER PRIMARY KEY, days INTEGER NOT NULL)")
    big.executemany("INSERT INTO copy VALUES (?, ?)", enumerate(days[:-1]))
    write_book(big, tables, grown, days[0])
    write_copies(big, tables, grown, closed, series, is_last=False)
    big.execute("DELETE FROM copy")
    big.execute("INSERT INTO copy VALUES (?, 0)", (copies,))
    write_copies(big, tables, grown, whole, series, is_last=True)
    write_log(big, tables["log"], series)
    for kind, _, sql in schema:
        if kind == "index":
            big.execute(sql)
    write_stock(big, series)
    write_digests(big)
    write_seals(big)
    for kind, _, sql in schema:
        if kind in ("view", "trigger"):
            big.execute(sql)
    for pragma in ("application_id", "user_version"):
        big.execute(f"PRAGMA {pragma} = {demo.execute(f'PRAGMA {pragma}').fetchone()[0]}")
    big.execute("COMMIT")


def growing(tables):
    """The tables that grow with the jobs: those that refer to one that does."""
    grown = set(ROOTS)
    while more := {name for name, table in tables.items() if grown & set(table.refers.values())} - grown:
        grown |= more
    return sorted(grown - DERIVED)


def jobs_not_closed(tables, grown):
    """Which rows belong to jobs that aren't closed, by their place in the table."""
    stands = {}
    for event in tables["job_event"].rows:
        stands[event["job_id"]] = event["what"]
    jobs = {job for job, what in stands.items() if what != "closed"}
    quotes = {row["quote_id"] for row in tables["job"].rows if row["id"] in jobs}
    gone = {name: set() for name in grown}
    gone["job"], gone["quote"] = jobs, quotes
    out = {name: set() for name in grown}
    changed = True
    while changed:
        changed = False
        for name in grown:
            for place, row in enumerate(tables[name].rows):
                refers = tables[name].refers.items()
                if place in out[name]:
                    continue
                if row.get("id") in gone[name] or any(row[column] in gone.get(other, ()) for column, other in refers
                                                      if row[column] is not None):
                    out[name].add(place)
                    if tables[name].has_id:
                        gone[name].add(row["id"])
                    changed = True
    return out


def note_what_counts_found(tables):
    """Writes beside each count how much more there was than thought."""
    found = {row["entry_id"]: row["quantity_micro"] for row in tables["stock_effect"].rows}
    for row in tables["entry"].rows:
        if row["kind"] == "count":
            row["found"] = found[row["id"]]


def with_empty_shelves(tables):
    """The day book with an empty shelf at each use that awaited its receipt."""
    awaited = {row["entry_id"] for row in tables["stock_effect"].rows if row["awaiting_micro"] > 0}
    same = {"item_id", "happened_on", "recorded_at", "book_price_micro", "left_over", "late", "on_the_road"}
    entries = []
    for row in tables["entry"].rows:
        around = [row]
        if row["id"] in awaited:
            for place, what in ((-0.25, EMPTY), (0.25, FOUND)):
                count = {column: row[column] if column in same else None for column in row}
                count |= {"id": row["id"] + place, "place_id": row["id"] + place, "number": row["number"] + place}
                around.append(count | {"kind": "count", "quantity_micro": 0, "what": what})
        entries += sorted(around, key=lambda row: row["id"])
    return entries


def settle(part):
    """What is owed is paid, what waits for a word has it, who worked has left."""
    paid = {}
    for payment in part.rows["payment"]:
        paid[payment["invoice_id"]] = paid.get(payment["invoice_id"], 0) + payment["amount_minor"]
    for invoice in part.rows["invoice"]:
        due = invoice["net_minor"] + invoice["tax_minor"] + invoice["rounding_minor"] - paid.get(invoice["id"], 0)
        if invoice["number"] is None or due <= 0:
            continue
        place = len(part.ids["payment"]) + 1
        part.ids["payment"][f"due on {invoice['id']}"] = place
        part.numbers["payment"][f"due on {invoice['id']}"] = place
        part.rows["payment"].append(dict(
            id=place, number=place, invoice_id=invoice["id"], amount_minor=due, kept_credit=0,
            happened_on=invoice["due_on"], posted_on=None, recorded_at=invoice["due_on"] + " 00:00:00", note=SETTLED))
    part.rows["unsettled_invoice"] = []
    for observation in part.rows["observation"]:
        if observation["word"] == "doubted":
            observation["word"] = "good"
    for worker in part.rows["worker"]:
        worker["active"] = 0


def write_book(big, tables, grown, days):
    """The firm, its settings and its book, once, from before the first copy."""
    for name, table in tables.items():
        if name in grown or name in DERIVED or name == "log" or name.startswith("sqlite_"):
            continue
        values = ", ".join(moved_days(column, ":" + column, str(days)) for column in table.columns)
        big.executemany(f"INSERT INTO {name} ({', '.join(table.columns)}) VALUES ({values})", table.rows)


def moved_days(column, value, days):
    """SQL for a column whose day or moment is moved by so many days."""
    if column.endswith("_on") or column in DAYS:
        return f"date({value}, {days} || ' days')"
    if column.endswith("_at") or column == "at":
        return f"date({value}, {days} || ' days') || substr({value}, 11)"
    return value


class Series:
    """The numbers and ids of all copies: each begins where the one before ends."""

    def __init__(self, closed, whole, days):
        self.closed, self.days, self.last = closed, days, len(days) - 1
        self.parts = [closed] * self.last + [whole]
        # Invoices are numbered as they were issued, which is no order of copies.
        issued = [(moved(row["issued_on"], days[k]), k, row["number"])
                  for k, part in enumerate(self.parts) for row in part.rows["invoice"] if row["number"] is not None]
        self.invoices = {(k, number): place for place, (_, k, number) in enumerate(sorted(issued), 1)}

    def number(self, letter, k, number):
        if letter == "I":
            return self.invoices[k, number]
        return number + k * len(self.closed.numbers[LETTERS[letter]])

    def reworded(self, text, k):
        """Words about a row of a part, as copy k has them."""
        return NUMBER.sub(lambda found: found[1] + str(self.number(found[1], k, int(found[2]))), text)


def moved(day, days):
    """A day, or a moment, so many days later."""
    return str(datetime.date.fromisoformat(day[:10]) + datetime.timedelta(days=days)) + day[10:]


def write_copies(big, tables, grown, part, series, is_last):
    """Writes the copies of a part: every row with its ids and numbers moved on by those of the copies before."""
    for name, arguments, function in [
        ("invoice_number", 2, lambda k, number: number and series.number("I", k, number)),
        ("reworded", 2, series.reworded),
        ("with_days", 2, lambda text, days: text and DAY.sub(lambda found: moved(found[0], days), text)),
    ]:
        big.create_function(name, arguments, function, deterministic=True)
    for name in grown:
        table = tables[name]
        values = []
        for column in table.columns:
            value, refers = f"row.{column}", table.refers.get(column)
            if column == "id" or refers in part.ids:
                value = f"{value} + copy.k * {len(series.closed.ids[refers or name])}"
            elif column == "number" and name == "invoice":
                value = f"invoice_number(copy.k, {value})"
            elif column == "number" and name in NUMBERED:
                value = f"{value} + copy.k * {len(series.closed.numbers[name])}"
            elif (name, column) in NAMES and not is_last:
                value = f"{value} || ' #' || (copy.k + 1)"
            elif (name, column) in WORDS:
                value = f"reworded({value}, copy.k)"
            elif (name, column) in WITH_DAYS:
                value = f"with_days({value}, copy.days)"
            else:
                value = moved_days(column, value, "copy.days")
            values.append(value)
        columns = ", ".join(table.columns)
        big.execute(f"CREATE TEMP TABLE part AS SELECT {columns} FROM {name} WHERE 0")
        slots = ", ".join(":" + column for column in table.columns)
        big.executemany(f"INSERT INTO temp.part ({columns}) VALUES ({slots})", part.rows[name])
        big.execute(f"INSERT INTO main.{name} ({columns}) SELECT {', '.join(values)} FROM copy CROSS JOIN temp.part AS row"
                    " ORDER BY copy.k, row.rowid")
        big.execute("DROP TABLE temp.part")


def write_log(big, table, series):
    """What was said: what names no numbered row once, the rest in each copy that has what it names."""
    own = [row for row in table.rows if NUMBER.search(row["sentence"])]
    others = [row for row in table.rows if row not in own]

    def lines():
        for row in others[:-1]:
            yield moved(row["recorded_at"], series.days[0]), row["sentence"]
        for k, part in enumerate(series.parts):
            for row in own:
                if part.says_all(row["sentence"]):
                    sentence = series.reworded(part.reworded(row["sentence"]), k)
                    yield moved(row["recorded_at"], series.days[k]), sentence
        yield others[-1]["recorded_at"], others[-1]["sentence"]

    big.executemany("INSERT INTO log (id, recorded_at, sentence) VALUES (?, ?, ?)",
                    ((id, *line) for id, line in enumerate(lines(), 1)))


def halves(numerator, denominator):
    """A quotient, rounded half away from zero."""
    sign = -1 if (numerator < 0) != (denominator < 0) else 1
    numerator, denominator = abs(numerator), abs(denominator)
    return sign * ((2 * numerator + denominator) // (2 * denominator))


class Stock:
    """What there is of one item, as `trade/stock.rs` keeps it: quantities in millionths, amounts in cents."""

    def __init__(self):
        self.on_hand, self.worth, self.awaiting, self.was_on_hand = 0, 0, [], 0

    def apply(self, entry, kind, quantity, paid, price, is_live):
        """What an entry does; one that was taken back leaves the stock as it was."""
        kept = self.on_hand, self.worth, self.awaiting if is_live else [list(one) for one in self.awaiting]
        change, value, awaits, assumed, settled = getattr(self, kind.replace("-", "_"))(entry, quantity, paid, price or 0)
        self.on_hand += change
        self.worth += value
        effect = change, value, awaits, assumed, self.on_hand, self.worth
        if not is_live:
            self.on_hand, self.worth, self.awaiting = kept
        return effect, settled

    def buy(self, entry, quantity, paid, price):
        left, left_paid, settled = quantity, paid, []
        for awaiting in self.awaiting:
            part = min(left, awaiting[1])
            if part == 0:
                break
            part_paid = halves(left_paid * part, left)
            value = halves(awaiting[2] * part, awaiting[1])
            settled.append((awaiting[0], part, value, part_paid))
            awaiting[1] -= part
            awaiting[2] -= value
            left -= part
            left_paid -= part_paid
        self.awaiting = [awaiting for awaiting in self.awaiting if awaiting[1]]
        return left, left_paid, 0, 0, settled

    def use(self, entry, quantity, paid, price):
        taken = min(quantity, self.on_hand)
        awaits = quantity - taken
        assumed = halves(awaits * price * 100, 10**12)
        if awaits:
            self.awaiting.append([entry, awaits, assumed])
        value = halves(self.worth * taken, self.on_hand) if self.on_hand else 0
        return -taken, -value, awaits, assumed, []

    hand_back = use

    def count(self, entry, quantity, paid, price):
        change = quantity - self.on_hand
        if self.on_hand:
            value = halves(self.worth * quantity, self.on_hand) - self.worth
        else:
            value = halves(change * price * 100, 10**12)
        return change, value, 0, 0, []


def write_stock(big, series):
    """Works out what every entry does to the stock of its item, in the order of days and places."""
    entries = len(series.closed.ids["entry"])
    counts = {row["id"] + k * entries: row["found"]
              for k, part in enumerate(series.parts) for row in part.rows["entry"] if "found" in row}
    big.execute("CREATE TEMP TABLE worked (entry INTEGER PRIMARY KEY, item, change, value, awaits, assumed, on_hand, worth)")
    big.execute("CREATE TEMP TABLE settled (effect_of, position, used, quantity, value, paid,"
                " PRIMARY KEY (effect_of, position)) WITHOUT ROWID")
    read = big.execute(
        "SELECT item_id, id, kind, quantity_micro, amount_minor, book_price_micro, what,"
        "       NOT EXISTS (SELECT 1 FROM entry AS void WHERE void.voids_id = entry.id)"
        " FROM entry WHERE item_id IS NOT NULL ORDER BY item_id, happened_on, place_id")
    write, last, stock = big.cursor(), None, None
    while rows := read.fetchmany(10000):
        effects, parts, found = [], [], []
        for item, entry, kind, quantity, paid, price, what, is_live in rows:
            if item != last:
                write_awaiting(big, last, stock)
                last, stock = item, Stock()
            if what == EMPTY:
                stock.was_on_hand = stock.on_hand
            if what == FOUND or entry in counts:
                quantity = stock.was_on_hand if what == FOUND else max(0, stock.on_hand + counts[entry])
                found.append((quantity, entry))
            effect, settled = stock.apply(entry, kind, quantity, paid, price, is_live)
            effects.append((entry, item, *effect))
            parts += [(entry, position, *part) for position, part in enumerate(settled)]
        write.executemany("INSERT INTO worked VALUES (?, ?, ?, ?, ?, ?, ?, ?)", effects)
        write.executemany("INSERT INTO settled VALUES (?, ?, ?, ?, ?, ?)", parts)
        write.executemany("UPDATE entry SET quantity_micro = ? WHERE id = ?", found)
    write_awaiting(big, last, stock)
    big.execute(
        "INSERT INTO stock_effect (id, entry_id, cause_id, item_id, quantity_micro, value_minor, awaiting_micro,"
        "                          awaiting_minor, on_hand_micro, worth_minor)"
        " SELECT row_number() OVER (ORDER BY entry), entry, entry, item, change, value, awaits, assumed, on_hand, worth"
        " FROM worked ORDER BY entry")
    big.execute(
        "INSERT INTO stock_settlement (id, effect_id, used_id, quantity_micro, value_minor, paid_minor)"
        " SELECT row_number() OVER (ORDER BY effect_of, position), effect.id, used, quantity, value, paid"
        " FROM settled JOIN stock_effect AS effect ON effect.entry_id = effect_of ORDER BY effect_of, position")
    big.execute("DROP TABLE worked")
    big.execute("DROP TABLE settled")


def write_awaiting(big, item, stock):
    """Writes down what awaits its receipt after the last entry of an item."""
    big.executemany("INSERT INTO awaiting_receipt (entry_id, item_id, quantity_micro, value_minor) VALUES (?, ?, ?, ?)",
                    [(entry, item, quantity, value) for entry, quantity, value in stock.awaiting] if stock else [])


def decimal(micro):
    """A quantity as it is written without needless zeros."""
    whole, rest = divmod(abs(micro), 10**6)
    text = f"{whole}.{rest:06}".rstrip("0").rstrip(".")
    return "-" + text if micro < 0 else text


def write_digests(big):
    """The digest of each observation, as `ledger/evidence.rs` makes it."""
    parts = Merged(big, "SELECT observation_id, room_label, floor_condition, species, operation_id, driver_micro, passes"
                        " FROM observation_part ORDER BY observation_id, id")
    read, write = big.cursor(), big.cursor()
    read.execute("SELECT id, kind, job_label, job_id IS NULL, finished_on, quantity_micro FROM observation ORDER BY id")
    while rows := read.fetchmany(10000):
        digests = []
        for id, kind, job, from_notebook, finished_on, quantity in rows:
            words = [kind, job, "notebook" if from_notebook else "job", finished_on, decimal(quantity)]
            for _, room, condition, species, operation, driver, passes in parts.of(id):
                words += [room, condition, species, str(operation), decimal(driver), str(passes)]
            digests.append((hash("".join(word + "\0" for word in words).encode()), id))
        write.executemany("UPDATE observation SET digest = ? WHERE id = ?", digests)
    big.execute(
        "INSERT INTO evidence_digest (id, count, low, high)"
        " SELECT 1, COUNT(*), COALESCE(SUM(digest & 0xffffffff), 0), COALESCE(SUM(digest >> 32), 0) FROM observation"
        " WHERE word <> 'doubted' AND voided_at IS NULL")


class Merged:
    """Rows in the order of what they are part of, taken as that is read."""

    def __init__(self, big, sql, key=0):
        self.rows = big.cursor().execute(sql)
        self.columns = [column[0] for column in self.rows.description]
        self.key = key if isinstance(key, int) else self.columns.index(key)
        self.next = self.rows.fetchone()

    def of(self, whole):
        while self.next is not None and self.next[self.key] == whole:
            yield self.next
            self.next = self.rows.fetchone()


class Columns:
    """How the columns of a query go into a seal."""

    def __init__(self, names, leaves_out):
        size = lambda text: len(text).to_bytes(8, "little")
        encoded = [(place, name.encode()) for place, name in enumerate(names) if name not in leaves_out]
        self.heads = [(place, b"\0" + size(name) + name) for place, name in encoded]

    def add(self, row, out):
        for place, head in self.heads:
            value = row[place]
            if value is None:
                continue
            out.append(head)
            if isinstance(value, int):
                out.append(b"\1\x08\0\0\0\0\0\0\0")
                out.append(value.to_bytes(8, "little", signed=True))
            else:
                value = value.encode()
                out.append(b"\3" + len(value).to_bytes(8, "little"))
                out.append(value)


def write_seals(big):
    """A seal for every row that stays as it was written, each with the one before in it, as `ledger/seals.rs` makes it."""
    id, before, write = 0, 0, big.cursor()
    for table, parts, leaves_out in SEALED:
        where = " WHERE number IS NOT NULL" if table == "invoice" else ""
        read = big.cursor().execute(f"SELECT * FROM {table}{where} ORDER BY id")
        names = [column[0] for column in read.description]
        own, place = Columns(names, leaves_out), names.index("id")
        merged = [Merged(big, sql, key) for key, sql in parts]
        shapes = [Columns(part.columns, leaves_out) for part in merged]
        while rows := read.fetchmany(1000):
            seals = []
            for row in rows:
                out = [before.to_bytes(8, "little", signed=True)]
                own.add(row, out)
                for part, shape in zip(merged, shapes):
                    count = 0
                    # What is part of a row that isn't sealed is passed over.
                    while part.next is not None and part.next[part.key] < row[place]:
                        part.next = part.rows.fetchone()
                    for piece in part.of(row[place]):
                        shape.add(piece, out)
                        count += 1
                    out.append(count.to_bytes(8, "little"))
                before = hash(b"".join(out))
                id += 1
                seals.append((id, table, row[place], before))
            write.executemany("INSERT INTO seal (id, sealed, row_id, digest) VALUES (?, ?, ?, ?)", seals)


def is_alike(demo, big):
    """Prints the rows of each table for a job, and tells whether they are those of the demo within a tenth."""
    jobs = [file.execute("SELECT COUNT(*) FROM job").fetchone()[0] for file in (demo, big)]
    names = [row[0] for row in demo.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY rowid")]
    tables = {name: Table(demo, name) for name in names}
    grown = set(growing(tables)) | DERIVED - {"rate_fit"} | {"log"}
    once = ", ".join(f"'{table}'" for table, *_ in SEALED if table not in grown)
    print(f"{'rows a job':24} {'demo':>10} {'big':>10} {'':>6}   {jobs[0]} and {jobs[1]} jobs")
    fits = True
    for name in names:
        if name not in grown - OPEN:
            continue
        where = {
            "payment": f" WHERE note <> '{SETTLED}'",
            "seal": f" WHERE sealed NOT IN ({once})",  # The seals of what is in both once are no seals of jobs.
        }.get(name, "")
        rows = [file.execute(f"SELECT COUNT(*) FROM {name}{where}").fetchone()[0] for file in (demo, big)]
        of_job = [count / job for count, job in zip(rows, jobs)]
        share = of_job[1] / of_job[0] if of_job[0] else 1
        off = "" if LEAST <= share <= MOST else "  off by more than a tenth"
        print(f"{name:24} {of_job[0]:10.3f} {of_job[1]:10.3f} {share:6.2f}{off}")
        fits &= not off
    return fits


if __name__ == "__main__":
    main()
