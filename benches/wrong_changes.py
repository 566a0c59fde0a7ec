"""Makes small wrong changes at the joints, one at a time, and tells which of them the tests catch.

    python3 benches/wrong_changes.py [--only TEXT] [--every N] [--joints] [--list]

Each change is a line of code as somebody might get it wrong: a second coat left out, columns swapped, a load rounded down.
The tree is copied, the change made, and `cargo test` run until something fails. A change that doesn't compile, or whose
place isn't found exactly once, is a defect of this list and is told as such. The exit code is 1 if fewer than 85 % are
caught. It takes about a minute for each change on two idle cores.
"""

import argparse
import os
import shutil
import subprocess
import sys
import tempfile

LEAST = 0.85

# What is run, the quickest first: units, the runs that are about the joints, all others.
JOINTS = ["on_paper::", "variance::", "money::", "rentals::", "session::", "demo::", "book::", "pricing::"]
STAGES = [
    ("a unit", ["--lib"]),
    ("a joint", ["--test", "cli", "--", *JOINTS]),
    ("a run", ["--test", "cli", "--", *(word for joint in JOINTS for word in ("--skip", joint))]),
]

# What is wrong; the file; the line as it is; the line as it becomes.
CHANGES = [
    # take-off
    ("the second coat counts once", "src/trade/takeoff.rs", "earlier.driver += step.driver;", "earlier.driver = step.driver;"),
    ("passes of a repeated operation aren't counted", "src/trade/takeoff.rs", "earlier.passes += 1;", "earlier.passes += 0;"),
    ("a load is rounded down", "src/trade/takeoff.rs", "(expected / size).ceil() * size", "(expected / size).floor() * size"),
    ("a load is the expectation", "src/trade/takeoff.rs", "(expected / size).ceil() * size", "expected"),
    ("what may turn up is sure", "src/trade/takeoff.rs", "contingency.map_or(Decimal::ONE, |contingency| contingency.chance)", "contingency.map_or(Decimal::ONE, |_| Decimal::ONE)"),
    ("the extent of what may turn up is its most", "src/trade/takeoff.rs", "(self.low + self.high) / Decimal::TWO", "self.high"),
    ("edges are measured as area", "src/trade/takeoff.rs", "(Driver::Edge, None) => Some(self.edge),", "(Driver::Edge, None) => Some(self.area),"),
    ("findings of a kind count once", "src/trade/takeoff.rs", ".map(|found| found.quantity)\n            .sum();", ".map(|found| found.quantity)\n            .max()\n            .unwrap_or_default();"),
    ("a part is cut with its room's first cuts", "src/trade/takeoff.rs", "start.has(place, operation.driver)", "start.has(usize::MAX, operation.driver)"),
    ("the room is cut where its parts are too", "src/trade/takeoff.rs", "let left = self.driver(driver)? - in_parts;", "let left = self.driver(driver)?;"),
    # price
    ("the tax is taken out of the price", "src/trade/tax.rs", "let tax = net.share(percent, Decimal::ONE_HUNDRED);", "let tax = net.share(percent, Decimal::ONE_HUNDRED + percent);"),
    ("materials are taxed as rentals are", "src/trade/tax.rs", "(TaxedKind::Materials, self.materials),", "(TaxedKind::Materials, self.rental),"),
    ("what went out says what the firm says today", "src/ledger/letterhead.rs", "let Some(id) = frozen else {", "let Some(id) = frozen.filter(|_| false) else {"),
    ("no overhead on the estimate", "src/trade/pricing/mod.rs", "let overhead = labour.times(offer.terms.overhead);", "let overhead = labour.times(Decimal::ZERO);"),
    ("lump sums twice in room by room", "src/trade/pricing/mod.rs", "let lumps = if place == 0 { lumps } else { Money::ZERO };", "let lumps = if place <= 1 { lumps } else { Money::ZERO };"),
    ("the draws' hour without burden", "src/trade/pricing/drawing.rs", "let hour = product([terms.wage, terms.burden, ", "let hour = product([terms.wage, Decimal::ONE, "),
    ("the need of what can't be handed back at the confidence of what can", "src/trade/pricing/outlook.rs", "true => offer.stocking.returnable,\n        false => offer.stocking.other,", "true => offer.stocking.other,\n        false => offer.stocking.returnable,"),
    ("quantiles swapped", "src/trade/pricing/mod.rs", "p80: self.cost_at(Decimal::new(8, 1)),\n            p90: self.cost_at(Decimal::new(9, 1)),", "p80: self.cost_at(Decimal::new(9, 1)),\n            p90: self.cost_at(Decimal::new(8, 1)),"),
    ("hours of a machine aren't added up", "src/trade/pricing/subjects.rs", "self.machines[place].hours += work.hours", "self.machines[place].hours = work.hours"),
    ("trips are one way", "src/trade/trips.rs", "product([Decimal::TWO, away?])", "product([Decimal::ONE, away?])"),
    ("trips that are left are rounded down", "src/trade/trips.rs", "trips.ceil()", "trips.floor()"),
    ("driving isn't labour", "src/trade/quote.rs", "            Line::Trips(trips) => trips.labour,\n", "            Line::Trips(_) => Money::ZERO,\n"),
    # what was logged
    ("overhead isn't on the actual", "src/trade/job_cost.rs", "costs.overhead = costs.labour.times(overhead);", "costs.overhead = Money::ZERO;"),
    ("hours on a task are shared by area of rooms named first", "src/trade/job_cost.rs", "} => (line.task == *task).then_some(line.hours),", "} => (line.task == *task).then_some(Decimal::ONE),"),
    ("an item is shared whatever operation took it", "src/trade/job_cost.rs", ".is_none_or(|operation| operation == line.operation)\n                    .then_some(needed.expected)", ".is_none_or(|_| true)\n                    .then_some(needed.expected)"),
    ("what is planned nowhere is the whole job's, whatever rooms it names", "src/trade/job_cost.rs", "places.extend(named.map(|room| ((room, operation), Decimal::ONE)));", "places.extend(named.take(0).map(|room| ((room, operation), Decimal::ONE)));"),
    ("revenue without variations", "src/trade/job_cost.rs", "        self.price + self.variations\n", "        self.price\n"),
    ("the sum of outcomes forgets what came late", "src/trade/job_cost.rs", "        self.late += other.late;\n", ""),
    ("estimates of a variation replace the first's", "src/trade/job_cost.rs", "estimated[position] += part;", "estimated[position] = part;"),
    # evidence
    ("what came late teaches", "src/trade/evidence.rs", ".filter(|logged| !logged.late && !logged.correction)", ".filter(|logged| !logged.correction)"),
    ("passes of a variation aren't evidence", "src/trade/evidence.rs", "part.passes += work.passes;", "part.passes = work.passes;"),
    ("drivers of a variation aren't evidence", "src/trade/evidence.rs", "part.driver += work.quantity;", "part.driver = part.driver.max(work.quantity);"),
    ("a part teaches its room's condition", "src/trade/evidence.rs", "class: place.class.in_part(work.part),", "class: place.class,"),
    ("what may turn up is evidence", "src/trade/evidence.rs", "        .filter(|work| work.contingency.is_none())\n        .filter(|work| match subject {", "        .filter(|work| match subject {"),
    ("evidence of overlapping entries isn't merged", "src/trade/evidence.rs", ".partition(|other| !other.places.is_disjoint(&covered.places));", ".partition(|other| other.places.is_disjoint(&covered.places) && other.places.is_empty());"),
    ("hours on nothing are no gap", "src/trade/evidence.rs", ".filter(|logged| matches!(logged.what, What::Hours { task: None, .. }))", ".filter(|logged| matches!(logged.what, What::Hours { task: Some(_), .. }))"),
    # contract
    ("the larger of two deposit limits", "src/trade/contract.rs", "share.into_iter().chain(self.deposit_amount).min()", "share.into_iter().chain(self.deposit_amount).max()"),
    ("Sundays count", "src/trade/contract.rs", "if day.weekday() != Weekday::Sun {", "if day.weekday() != Weekday::Sat {"),
    # invoices
    ("tax asked for before is asked for again", "src/trade/invoice.rs", "of_all + apart + totals.beside - before - draft.tax()", "of_all + apart + totals.beside - draft.tax()"),
    ("nothing is rounded", "src/trade/quote.rs", "closest.rounding = total - closest.total();", "closest.rounding = Money::ZERO;"),
    ("lines of one rate are taxed by the last of them", "src/trade/tax.rs", "*sums.entry(percent).or_default() += net;", "sums.insert(percent, net);"),
    ("due when issued", "src/trade/invoice.rs", "issued_on + Days::new(u64::from(terms_days))", "issued_on + Days::new(u64::from(terms_days.min(1)))"),
    ("interest is asked for from the day it falls due", "src/ledger/interest.rs", "(last + Days::new(1), until)", "(last + Days::new(0), until)"),
    # quotes as they are gathered and kept
    ("the minimum charge raises variations", "src/ledger/offer.rs", "Some(_) => Money::ZERO,\n                None => settings.minimum_charge,", "Some(_) => settings.minimum_charge,\n                None => settings.minimum_charge,"),
    ("two confidences swapped", "src/ledger/offer.rs", "returnable: settings.buy_confidence_returnable,\n                other: settings.buy_confidence,", "returnable: settings.buy_confidence,\n                other: settings.buy_confidence_returnable,"),
    ("area and edge of a quoted room swapped", "src/ledger/quote_rows.rs", 'area: row.micro("area_micro")?,\n        edge: row.micro("edge_micro")?,', 'area: row.micro("edge_micro")?,\n        edge: row.micro("area_micro")?,'),
    ("a variation prices agreed repairs again", "src/ledger/offer.rs", "found.quantity = (found.quantity - done).max(Decimal::ZERO);", "found.quantity = (found.quantity - Decimal::ZERO * done).max(Decimal::ZERO);"),
    ("a variation prices agreed contingencies again", "src/ledger/offer.rs", "work.contingency == Some(may.contingency) && work.operation == may.operation", "work.contingency == Some(may.contingency) && work.operation != may.operation"),
    # variance
    ("a variation is compared at the first quote's wage", "src/trade/variance/sheet.rs", "sheet.add_quoted(line, quoted.hour);", "sheet.add_quoted(line, quotes[0].hour);"),
    ("what only might turn up is sure, in the variance", "src/trade/variance/sheet.rs", "            self.might += cost;\n", "            self.might += Money::ZERO * i64::from(cost.is_zero());\n"),
    ("money spent twice is two things", "src/trade/variance/sheet.rs", "side.quantity = Decimal::ONE;", "side.quantity += Decimal::ZERO;"),
    ("corrections aren't compared", "src/trade/variance/sheet.rs", "side.cost += self.corrected;", "side.cost += Money::ZERO;"),
    ("overhead on hours nobody logged is recorded", "src/trade/variance/sheet.rs", "(false, false) => 1,", "(false, false) => 0,"),
    # the day book
    ("a day has 24 hours for each entry", "src/ledger/day_book.rs", "let hours = already.0 + hours;", "let hours = already.0 - already.0 + hours;"),
    # jobs and reports
    ("the wage of a quote without its burden, compared", "src/ledger/jobs.rs", "hour: product([quote.terms.wage, quote.terms.burden]),", "hour: product([quote.terms.wage, Decimal::ONE]),"),
    ("variations count as the price", "src/ledger/jobs.rs", ".filter(|record| record.header.variation_of.is_none())\n            .map(|record| record.quote.price)", ".filter(|record| record.header.variation_of.is_none() || record.header.option > 0)\n            .map(|record| record.quote.price)"),
    ("overhead is the first quote's", "src/ledger/jobs.rs", "charged += product([cost, quote.terms.overhead]);", "charged += product([cost, first]);"),
    ("a room's variation is its price", "src/ledger/jobs.rs", "*(if record.header.variation_of.is_some() {\n                    variations\n                } else {\n                    price\n                }) += share;", "*(if record.header.variation_of.is_none() {\n                    variations\n                } else {\n                    price\n                }) += share;"),
    ("what came late has no overhead", "src/ledger/reports.rs", "late: totals(late, overhead).total(),", "late: totals(late, Decimal::ZERO).total(),"),
    ("an item of a job is counted for each room", "src/ledger/reports.rs", "usize::from(seen.insert(key))", "usize::from(seen.insert(key) || total.jobs > 0)"),
    ("what was quoted and not recorded counts as quoted", "src/ledger/reports.rs", "None => total.not_recorded.add(line.quoted),", "None => total.quoted.add(line.quoted),"),
    # shopping
    ("whole sets are rounded up", "src/trade/buying.rs", "let (size, half) = (Decimal::from(size), Decimal::new(5, 1));", "let (size, half) = (Decimal::from(size), Decimal::new(0, 1));"),
    ("what was used is bought again", "src/ledger/shopping.rs", "let missing = need.need - used - in_stock;", "let missing = need.need - in_stock;"),
    ("what is in stock is bought again", "src/ledger/shopping.rs", "let missing = need.need - used - in_stock;", "let missing = need.need - used;"),
    # answers
    ("quoted and actual cost swapped in the margins", "src/document/report/margin.rs", "quoted_cost().map(|cost| page.amount(cost)),\n        actual_cost: Amount = page.amount(outcome.actual),", "quoted_cost().map(|_| page.amount(outcome.actual)),\n        actual_cost: Amount = page.amount(outcome.estimated),"),
    ("the quoted margin of the price alone", "src/document/report/margin.rs", "margin_percent(outcome.estimated_revenue(), outcome.estimated)", "margin_percent(outcome.price, outcome.estimated)"),
    ("price and quantity part swapped in the variance", "src/document/report/variance.rs", "price_variance: Amount = page.amount(split.price),\n        quantity_variance: Amount = page.amount(split.quantity),", "price_variance: Amount = page.amount(split.quantity),\n        quantity_variance: Amount = page.amount(split.price),"),
    ("the sum of consumables without what was used", "src/document/report/consumables.rs", "sum(|line| line.used_cost)", "sum(|line| line.compared_cost)"),
    ("expectation and load swapped in a quote's table", "src/document/quote/mod.rs", "&or_blank(line.of_item(line.item_quantity)),\n            &or_blank(line.of_item(line.load_quantity)),", "&or_blank(line.of_item(line.load_quantity)),\n            &or_blank(line.of_item(line.item_quantity)),"),
    ("a line of a quote without its item", "src/document/quote/mod.rs", "(line.kind(), page.amount(line.cost()));", "(line.kind(), page.amount(match &line { Line::Work(work) => work.labour, other => other.cost() }));"),
    ("consumables and rental swapped in a quote", "src/document/quote/mod.rs", '[&"Consumables", &cost.consumables]);\n        table.line([&"Rental", &cost.rental]);', '[&"Consumables", &cost.rental]);\n        table.line([&"Rental", &cost.consumables]);'),
    ("paid and due swapped on an invoice", "src/document/invoice.rs", '[("Paid", invoice.paid), ("Due", invoice.due)]', '[("Paid", invoice.due), ("Due", invoice.paid)]'),
]


def main():
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--only", default="")
    arguments.add_argument("--every", type=int, default=1, help="only every Nth change: a sample")
    arguments.add_argument("--joints", action="store_true", help="leave the runs out that aren't about the joints")
    arguments.add_argument("--list", action="store_true", help="only see whether each place is found exactly once")
    arguments = arguments.parse_args()
    here = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
    changes = [change for change in CHANGES if arguments.only in change[0] or arguments.only in change[1]]
    changes = changes[arguments.every - 1::arguments.every]
    wrong = [f"{what}: {count} places in {file}" for what, file, old, _ in changes
             if (count := open(os.path.join(here, file), encoding="utf-8").read().count(old)) != 1]
    if wrong:
        print("\n".join(wrong))
        sys.exit(1)
    if arguments.list:
        print(f"{len(changes)} changes, each with one place")
        return
    tree = os.path.join(tempfile.mkdtemp(prefix="gritledger-"), "tree")
    shutil.copytree(here, tree, ignore=shutil.ignore_patterns("target", ".git"))
    target = os.environ.get("CARGO_TARGET_DIR", os.path.join(here, "target", "wrong-changes"))
    environment = {**os.environ, "CARGO_TARGET_DIR": target}
    stages = STAGES[:2] if arguments.joints else STAGES
    if any(run(tree, environment, *which) for _, which in stages):
        sys.exit("the tests fail without any change")
    caught = 0
    for what, file, old, new in changes:
        path = os.path.join(tree, file)
        with open(path, encoding="utf-8") as source:
            text = source.read()
        write(path, text.replace(old, new))
        verdict = judge(tree, environment, stages)
        write(path, text)
        caught += verdict.startswith("caught")
        print(f"{verdict:18} {what} ({file})", flush=True)
    print(f"{caught} of {len(changes)} caught")
    shutil.rmtree(os.path.dirname(tree))
    sys.exit(caught < LEAST * len(changes))


def write(path, text):
    with open(path, "w", encoding="utf-8") as source:
        source.write(text)


def judge(tree, environment, stages):
    for name, which in stages:
        failed = run(tree, environment, *which)
        if failed:
            return "DOESN'T COMPILE" if "could not compile" in failed else f"caught by {name}"
    return "SURVIVES"


def run(tree, environment, *which):
    """Returns what is said if the tests fail; nothing if they pass."""
    command = ["cargo", "test", "--quiet", *which]
    done = subprocess.run(command, cwd=tree, env=environment, capture_output=True, text=True, check=False)
    return done.returncode and f"failed: {done.stderr}"


if __name__ == "__main__":
    main()
