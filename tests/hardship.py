"""Treats ledgers as life does: kills the program at work, holds locks, takes rights away, thinks before it answers.

    python3 tests/hardship.py PROGRAM [KILLS]

Every kill must leave the state before or the state after, a sound ledger, and nothing that stands in the way of the same
command typed again. Prints one line for each kind of work; the first thing that isn't so ends it with exit code 1.
"""

import json
import os
import pty
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time

PROGRAM = os.path.abspath(sys.argv[1])
KILLS = int(sys.argv[2]) if len(sys.argv) > 2 else 500
NOBODY = 65534
# A number that no user has.
STRANGER = 3_999_999
DAY = {"GRITLEDGER_TODAY": "2026-03-02", "LC_ALL": "C.UTF-8", "PATH": os.environ["PATH"]}
chance = random.Random(8)


class Folder:
    """A folder with a ledger in it, and the program run on it."""

    def __init__(self, like=None):
        self.path = tempfile.mkdtemp(prefix="gritledger-")
        if like:
            shutil.rmtree(self.path)
            shutil.copytree(like.path, self.path)

    def start(self, *arguments, user=None, ledger="t.db"):
        return subprocess.Popen([PROGRAM, "--ledger", ledger, *arguments], cwd=self.path, env=DAY, user=user,
                                stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)

    def run(self, *arguments, user=None, ledger="t.db"):
        process = self.start(*arguments, user=user, ledger=ledger)
        answer, said = process.communicate()
        return process.returncode, answer, said

    def ok(self, *arguments):
        code, answer, said = self.run(*arguments)
        expect(code == 0, f"{arguments}: exit {code}: {said}")
        return answer

    def refused(self, *arguments, words, user=None):
        code, _, said = self.run(*arguments, user=user)
        refusal(code, said, words)

    def kill(self, after, *arguments):
        """Runs a command and kills it; tells whether it was still running."""
        process = self.start(*arguments)
        time.sleep(after)
        running = process.poll() is None
        process.send_signal(signal.SIGKILL)
        process.communicate()
        return running

    def file(self, name):
        return os.path.join(self.path, name)

    def remove(self):
        subprocess.run(["chmod", "-R", "u+rwX", self.path], check=True)
        shutil.rmtree(self.path)


def expect(so, words):
    if not so:
        print(f"NOT SO: {words}")
        sys.exit(1)


def refusal(code, said, words):
    """Expects a refusal in exactly these words; what to type may follow them."""
    expect(code == 1 and f"error: {words}" in said.splitlines(), f"exit {code}, not `{words}`: {said}")


def took(folder, *arguments):
    """Returns how long a command takes, undisturbed, on a copy."""
    copy = Folder(folder)
    began = time.monotonic()
    copy.ok(*arguments)
    copy.remove()
    return time.monotonic() - began


def counted(folder):
    return len(json.loads(folder.ok("log", "--last", "1000000", "--json")))


def killed(title, times, base, command, before, after):
    """Kills a command at random moments; `after` says whether its work is there, which must be all or nothing."""
    long = took(base, *command)
    running = done = 0
    for _ in range(times):
        folder = Folder(base)
        before(folder)
        running += folder.kill(chance.uniform(0, 1.15 * long), *command)
        done += after(folder)
        folder.remove()
    print(f"{title}: {times} kills, {running} while it ran, {done} times it was done")
    expect(times < 8 or running > times / 4, f"{title}: too few kills met it at work")


def kills():
    nothing, new = Folder(), Folder()
    new.ok("init", "--business", "Marsh End Floors")
    new.ok("client", "add", "Ada Quill")
    new.ok("site", "add", "Ada Quill", "4 Tannery Row")
    demo = Folder()
    demo.ok("demo", "--to", "t.db")
    rows = ["site,room,shape,condition,species"]
    rows += [f"4 Tannery Row,Room {number},10 x {number % 9 + 4},worn-film,red-oak" for number in range(200)]
    with open(new.file("rooms.csv"), "w", encoding="utf-8") as file:
        file.write("\n".join(rows) + "\n")
    demo.ok("backup", "b.db")
    share = KILLS // 8

    def whole(folder, *again):
        """The ledger is sound; the same command works again."""
        folder.ok("check")
        if again:
            folder.ok(*again)

    def init_done(folder):
        there = os.path.exists(folder.file("t.db"))
        if not there:
            folder.ok("init", "--business", "Marsh End Floors")
        folder.ok("check")
        expect("rotary-36" in folder.ok("operation", "list"), "the book is there")
        only_itself(folder)
        return there

    killed("init", share, nothing, ["init", "--business", "Marsh End Floors"], lambda _: None, init_done)

    def demo_done(folder):
        there = os.path.exists(folder.file("t.db"))
        folder.ok("demo", "--to", "t.db")
        whole(folder)
        only_itself(folder)
        return there

    # Making the demo takes longest by far.
    killed("demo", share // 4, nothing, ["demo", "--to", "t.db"], lambda _: None, demo_done)

    def backup_done(folder):
        there = os.path.exists(folder.file("c.db"))
        if there:
            code, _, said = folder.run("check", ledger="c.db")
            expect(code == 0, f"a backup that has its name is sound: {said}")
        else:
            folder.ok("backup", "c.db")
        whole(folder)
        return there

    killed("backup", share, demo, ["backup", "c.db"], lambda _: None, backup_done)

    def restore_done(folder):
        kept = [name for name in os.listdir(folder.path) if name.startswith("t-before")]
        back = "Bela Stone" not in folder.ok("client", "list")
        expect(kept or not back, "what was there is kept")
        whole(folder, "restore", "b.db")
        return back

    killed("restore", share, demo, ["restore", "b.db"], lambda folder: folder.ok("client", "add", "Bela Stone"),
           restore_done)

    def rooms_done(folder):
        rooms = len(json.loads(folder.ok("room", "list", "4 Tannery Row", "--json")))
        expect(rooms in (0, 200), f"{rooms} rooms of 200")
        whole(folder)
        return rooms == 200

    killed("import", share, new, ["import", "rooms", "rooms.csv"], lambda _: None, rooms_done)

    sentences = counted(new)

    def added(folder):
        more = counted(folder) - sentences
        expect(more in (0, 1), f"{more} sentences")
        whole(folder)
        return more

    killed("buy", 2 * share - share // 4, new, ["buy", "disc-7in-36", "30", "--cost", "96"], lambda _: None, added)

    def export_done(folder):
        with open(folder.file("usage.csv"), encoding="utf-8") as file:
            text = file.read()
        expect(text.startswith("date,job,") and (text.endswith("as it was\n") or len(text) > 10_000), "a whole file")
        whole(folder, "export", "usage", "--to", "usage.csv")
        expect(not [name for name in os.listdir(folder.path) if name.endswith(".being-written")], "nothing left over")
        return not text.endswith("as it was\n")

    heading = demo.ok("export", "usage").splitlines()[0]

    def older_export(folder):
        with open(folder.file("usage.csv"), "w", encoding="utf-8") as file:
            file.write(f"{heading}\nas it was\n")

    killed("export", share, demo, ["export", "usage", "--to", "usage.csv"], older_export, export_done)

    job = [job["number"] for job in json.loads(demo.ok("job", "list", "--json")) if job["state"] != "closed"][0]
    demo.ok("rental", "back", "buffer", "--at", "09:00")
    state = counted(demo)

    def closed(folder):
        more = counted(folder) - state
        expect(more <= 1 or folder.run("job", "close", job)[0] == 1, "closed once")
        whole(folder)
        return more > 0

    killed("close", KILLS - 7 * share, demo, ["job", "close", job], lambda _: None, closed)
    for folder in (nothing, new, demo):
        folder.remove()


def locks():
    folder = Folder()
    folder.ok("init", "--business", "Marsh End Floors")
    # Before the lock: reading the file in this process would give the lock up.
    shutil.copy(folder.file("t.db"), folder.file("t2.db"))
    holder = sqlite3.connect(folder.file("t.db"), isolation_level=None)
    holder.execute("BEGIN EXCLUSIVE")
    works = [["client", "list"], ["client", "add", "Ada Quill"], ["backup", "b.db"], ["restore", "t2.db"]]
    processes = [(work, time.monotonic(), folder.start(*work)) for work in works]
    for work, began, process in processes:
        _, said = process.communicate()
        refusal(process.returncode, said, "`t.db` is held by another program, and still was after 10 seconds")
        expect(time.monotonic() - began < 25, f"{work}: waited too long")
    holder.execute("ROLLBACK")
    holder.close()
    expect(sorted(os.listdir(folder.path)) == ["t.db", "t2.db"], f"left over: {os.listdir(folder.path)}")
    for work in works:
        folder.ok(*work)
    # A reader doesn't keep anybody from reading or copying.
    holder = sqlite3.connect(folder.file("t.db"), isolation_level=None)
    holder.execute("BEGIN")
    holder.execute("SELECT COUNT(*) FROM log").fetchone()
    folder.ok("backup", "b2.db")
    folder.ok("check")
    holder.close()
    folder.remove()
    print("locks: told after the wait, and nothing left over")


def only_itself(folder):
    """Nothing is left over; a kill between its two names may leave the ledger both, until the next making."""
    left = sorted(os.listdir(folder.path))
    both = left == [".t.db.being-written", "t.db"] and os.path.samefile(*map(folder.file, left))
    expect(left == ["t.db"] or both, f"left over: {left}")


class Asked:
    """A command in a terminal, where somebody is asked."""

    def __init__(self, folder, *arguments):
        self.terminal, end = pty.openpty()
        self.process = subprocess.Popen([PROGRAM, "--ledger", "t.db", *arguments], cwd=folder.path, env=DAY, stdin=end,
                                        stdout=subprocess.PIPE, stderr=end, text=True)
        os.close(end)
        self.said = ""

    def question(self, *words, end="[yes/no] "):
        """Waits for the next question, and expects words in it."""
        said = self.until(end)
        expect(all(word in said for word in words), f"{words} not in: {said}")

    def answer(self, line):
        os.write(self.terminal, f"{line}\n".encode())

    def ended(self):
        said = self.until(None)
        return self.process.wait(), said

    def until(self, end):
        """Reads what is said until it ends so, or, without an end, until the program does."""
        said = ""
        while end is None or not said.endswith(end):
            try:
                part = os.read(self.terminal, 4096).decode(errors="replace")
            except OSError:  # the program has ended
                part = ""
            if not part:
                expect(end is None, f"ended without a question: {said}")
                break
            said += part
        return said


def questions():
    folder = Folder()
    folder.ok("init", "--business", "Marsh End Floors")
    folder.ok("buy", "disc-7in-36", "30", "--cost", "96")
    # Nobody holds the ledger while somebody thinks.
    thinks = Asked(folder, "buy", "disc-7in-36", "30", "--cost", "96")
    thinks.question("E1")
    began = time.monotonic()
    folder.ok("buy", "disc-7in-36", "30", "--cost", "96", "--confirm")
    folder.ok("void", "E1", "--reason", "typed twice")
    expect(time.monotonic() - began < 4, "others waited for an answer")
    # What was asked about isn't what is there any more: asked again.
    thinks.answer("perhaps")
    thinks.question("yes or no")
    thinks.answer("yes")
    thinks.question("E2")
    before = counted(folder)
    thinks.answer("yes")
    code, said = thinks.ended()
    expect(code == 0 and counted(folder) == before + 1, f"exit {code}: {said}")  # E4, since the void is E3
    # What was asked about is gone: written without another word.
    gone = Asked(folder, "buy", "disc-7in-36", "30", "--cost", "96")
    gone.question("E4")  # the newest of those that are like it
    for entry in ("E2", "E4"):
        folder.ok("void", entry, "--reason", "typed twice")
    gone.answer("yes")
    code, said = gone.ended()
    expect(code == 0, f"exit {code}: {said}")
    # No is no, and so is the end of the line of input.
    for no in ("no", "\x04"):
        before = counted(folder)
        asked = Asked(folder, "buy", "disc-7in-36", "30", "--cost", "96")
        asked.question("is logged for that day already")
        asked.answer(no)
        code, said = asked.ended()
        refusal(code, said, "nothing was done")
        expect(counted(folder) == before, "something was done")
    # What no terminal sends.
    asked = Asked(folder, "buy", "disc-7in-36", "30", "--cost", "96")
    asked.question("is logged for that day already")
    os.write(asked.terminal, b"\xff\n")
    refusal(*asked.ended(), "failed to read the answer")
    # Another ledger takes its place meanwhile.
    asked = Asked(folder, "buy", "disc-7in-36", "30", "--cost", "96")
    asked.question("is logged for that day already")
    folder.ok("backup", "b.db")
    os.replace(folder.file("b.db"), folder.file("t.db"))
    asked.answer("yes")
    refusal(*asked.ended(), "`t.db` was replaced by another file meanwhile: nothing was written")
    folder.ok("check")
    folder.remove()
    print("questions: nobody waits for an answer, and what changed meanwhile is asked about again")


def turned_up():
    folder = Folder()
    folder.ok("init", "--business", "Marsh End Floors")
    folder.ok("client", "add", "Ada Quill")
    folder.ok("site", "add", "Ada Quill", "4 Tannery Row")
    folder.ok("room", "add", "4 Tannery Row", "Den", "--shape", "10 x 9", "--condition", "worn-film", "--species", "red-oak")
    folder.ok("finding", "add", "Den", "damaged-boards", "2", "--chance", "40%")
    folder.ok("finding", "add", "Den", "gaps", "2 ft", "--chance", "50%")
    folder.ok("job", "own", "4 Tannery Row")
    boards = "Den: replace-boards, 40 % likely: did it turn up?"
    gaps = "Den: fill-gaps, 50 % likely: did it turn up?"
    again = "Please answer y or n, or press enter."
    # What is answered isn't asked about again; neither an empty line nor the end of the input is an answer.
    for asks in ([(boards, "perhaps"), (again, "y"), (gaps, "")], [(gaps, "\x04")], [(gaps, "N")], []):
        asked = Asked(folder, "job", "close", "J1")
        for question, answer in asks:
            asked.question(question, end="[y/n, enter: not known] ")
            asked.answer(answer)
        code, said = asked.ended()
        expect(code == 0 and "replace-boards" not in said, f"exit {code}: {said}")
        folder.ok("job", "reopen", "J1")
    listed = folder.ok("finding", "list", "4 Tannery Row")
    expect("replace-boards: 1 of 1 turned up" in listed and "fill-gaps: 0 of 1" in listed, listed)
    folder.ok("check")
    folder.remove()
    print("turned up: asked at a terminal, and no more once it is answered")


CUT_SHORT = "`t.db` has an unfinished write beside it that has to be taken back first, and its folder can't be written"


def write_cut_short(folder):
    """Leaves a hot journal beside the ledger, as a power cut does."""
    cut = """
import os, signal, sqlite3, sys
ledger = sqlite3.connect(sys.argv[1], isolation_level=None)
ledger.execute("PRAGMA cache_size = 1")
ledger.execute("BEGIN IMMEDIATE")
for _ in range(3000):
    ledger.execute("INSERT INTO log (recorded_at, sentence) VALUES ('2026-01-01T00:00:00', ?)", ("x" * 500,))
os.kill(os.getpid(), signal.SIGKILL)
"""
    subprocess.run([sys.executable, "-c", cut, folder.file("t.db")], check=False)
    expect(os.path.getsize(folder.file("t.db-journal")) > 0, "a hot journal")


def journals():
    base = Folder()
    base.ok("init", "--business", "Marsh End Floors")
    base.ok("client", "add", "Ada Quill")
    base.ok("backup", "b.db")
    base.ok("client", "add", "Bela Stone")
    write_cut_short(base)
    opened = Folder(base)
    expect("Bela Stone" in opened.ok("client", "list"), "the unfinished write is taken back")
    opened.ok("check")
    restored = Folder(base)
    restored.ok("restore", "b.db")
    restored.ok("check")
    expect("Bela Stone" not in restored.ok("client", "list"), "the backup is in its place")
    expect(not [name for name in os.listdir(restored.path) if name.endswith("-journal")], "no journal is left")
    kept = [name for name in os.listdir(restored.path) if name.startswith("t-before")][0]
    restored.ok("restore", kept)
    expect("Bela Stone" in restored.ok("client", "list"), "what was there came along, its last write taken back")
    if os.geteuid() == 0:
        shut = Folder(base)
        subprocess.run(["chown", "-R", str(NOBODY), shut.path], check=True)
        os.chmod(shut.path, 0o555)
        shut.refused("client", "list", user=NOBODY, words=CUT_SHORT)
        shut.remove()
    for folder in (base, opened, restored):
        folder.remove()
    print("journals: taken back, and never met by another file")


def rights():
    if os.geteuid() != 0:
        print("rights: not tried, since only root can give them away")
        return
    folder = Folder()
    folder.ok("init", "--business", "Marsh End Floors")
    subprocess.run(["chown", "-R", str(NOBODY), folder.path], check=True)
    os.chmod(folder.file("t.db"), 0o400)
    expect(folder.run("client", "list", user=NOBODY)[0] == 0, "what can be read is read")
    folder.refused("client", "add", "Ada Quill", words="`t.db` can't be written: it is read-only", user=NOBODY)
    os.chmod(folder.file("t.db"), 0)
    folder.refused("client", "list", user=NOBODY,
                   words="`t.db` can't be opened: the file or its folder doesn't let this user in")
    os.chmod(folder.file("t.db"), 0o600)
    os.mkdir(folder.file("shut"), 0)
    code, _, said = folder.run("client", "list", user=NOBODY, ledger="shut/t.db")
    refusal(code, said, "`shut/t.db` can't be reached")
    homeless = subprocess.run([PROGRAM, "client", "list"], env=DAY, user=STRANGER, capture_output=True, text=True)
    refusal(homeless.returncode, homeless.stderr, "failed to find your data directory")
    folder.remove()
    print("rights: what can't be read or written is said as it is")


def disks():
    """Fills a small disk, in a room of mounts of its own, and ends files early."""
    folder = Folder()
    folder.ok("init", "--business", "Marsh End Floors")
    os.mkdir(folder.file("small"))
    script = "mount -t tmpfs -o size=2m none small && cp t.db small && cd small && { cat /dev/zero > filled; \"$@\"; }"
    in_small = ["unshare", "--mount", "--map-root-user", "sh", "-c", script, "sh", PROGRAM, "--ledger"]
    if subprocess.run([*in_small, "t.db", "client", "list"], cwd=folder.path, env=DAY, capture_output=True).returncode:
        print("disks: not filled, since nothing can be mounted here")
    else:
        for ledger, work, words in [
            ("t.db", ["client", "add", "Ada Quill"], "the disk of `t.db` is full: nothing was written"),
            ("new.db", ["init", "--business", "Marsh End Floors"], "the disk of `new.db` is full: nothing was written"),
            ("t.db", ["demo", "--to", "demo.db"], "the disk of `demo.db` is full: nothing was written"),
            ("t.db", ["backup", "b.db"], "the disk of `b.db` is full: nothing was written"),
            ("t.db", ["restore", "../t.db"], "the disk of `t.db` is full: nothing was written"),
        ]:
            run = subprocess.run([*in_small, ledger, *work], cwd=folder.path, env=DAY, capture_output=True, text=True)
            refusal(run.returncode, run.stderr, words)
    # A file may not grow: not a word of SQLite's own, but the system's reason beneath it.
    early = subprocess.run(["sh", "-c", "trap '' XFSZ; ulimit -f 16; exec \"$@\"", "sh", PROGRAM, "--ledger", "t.db", "backup", "b.db"],
                           cwd=folder.path, env=DAY, capture_output=True, text=True)
    refusal(early.returncode, early.stderr, "failed to use `t.db`")
    expect(sorted(os.listdir(folder.path)) == ["small", "t.db"], f"left over: {os.listdir(folder.path)}")
    folder.ok("check")
    folder.remove()
    print("disks: a full one is told, and nothing left over")


if __name__ == "__main__":
    # Where a user without rights can start it too.
    home = tempfile.mkdtemp(prefix="gritledger-")
    os.chmod(home, 0o755)
    PROGRAM = shutil.copy(PROGRAM, home)
    journals()
    rights()
    disks()
    locks()
    questions()
    turned_up()
    kills()
    shutil.rmtree(home)
