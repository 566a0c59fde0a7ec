//! The ledger and other files on the disk: what is never written over, what is whole or not there, and the way back.

use std::fs;
use std::path::Path;
use std::process::Command;

use rusqlite::Connection;

use super::harness::TestLedger;

/// Returns the names in a folder, hidden ones included.
fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).expect("a folder");
    let mut names: Vec<String> = entries
        .map(|entry| {
            entry
                .expect("an entry")
                .file_name()
                .into_string()
                .expect("UTF-8")
        })
        .collect();
    names.sort();
    names
}

#[test]
fn nothing_is_written_over_a_ledger_by_whatever_name() {
    let ledger = TestLedger::job_open();
    ledger.line("backup copy.db").ok();
    let at = |name: &str| ledger.folder().join(name);
    fs::hard_link(ledger.path(), at("hard")).unwrap();
    std::os::unix::fs::symlink("t.db", at("soft")).unwrap();
    std::os::unix::fs::symlink("copy.db", at("soft-copy")).unwrap();
    fs::write(
        at("old-journal"),
        [0xd9, 0xd5, 0x05, 0xf9, 0x20, 0xa1, 0x63, 0xd7, 0],
    )
    .unwrap();
    let before: Vec<Vec<u8>> = ["t.db", "copy.db"]
        .map(|name| fs::read(at(name)).unwrap())
        .to_vec();
    for (to, because) in [
        ("t.db", "is the ledger itself"),
        ("hard", "is the ledger itself"),
        ("soft", "is the ledger itself"),
        ("./../{folder}/t.db", "is the ledger itself"),
        ("copy.db", "is a database, perhaps another ledger"),
        ("soft-copy", "is a database, perhaps another ledger"),
        (
            "t.db-journal",
            "is the name or the contents of a database's journal",
        ),
        (
            "copy.db-wal",
            "is the name or the contents of a database's journal",
        ),
        (
            "old-journal",
            "is the name or the contents of a database's journal",
        ),
        (".", "is a directory"),
    ] {
        let folder = ledger.folder().file_name().unwrap().to_str().unwrap();
        let to = to.replace("{folder}", folder);
        for replace in ["", " --replace", " --dry-run"] {
            let said = ledger
                .line(&format!("export rooms --to {to}{replace}"))
                .refused();
            assert!(
                said.starts_with(&format!("error: `{to}` {because}")),
                "{said}"
            );
        }
    }
    let after: Vec<Vec<u8>> = ["t.db", "copy.db"]
        .map(|name| fs::read(at(name)).unwrap())
        .to_vec();
    assert!(before == after, "the ledgers are as they were");
    ledger.line("check").ok();
}

#[test]
fn only_a_file_of_the_same_kind_is_replaced_unasked() {
    let ledger = TestLedger::tannery_row();
    let read = |name: &str| fs::read_to_string(ledger.folder().join(name)).unwrap();
    ledger.file("notes.txt", "my notes");
    std::os::unix::fs::symlink("notes.txt", ledger.folder().join("link.csv")).unwrap();
    ledger.line("export rooms --to rooms.csv").ok();
    ledger.line("room edit Landing --note Hall").ok();
    ledger.line("export rooms --to rooms.csv").ok();
    assert!(read("rooms.csv").contains("Hall"));
    for (to, said) in [
        (
            "notes.txt",
            "error: `notes.txt` already exists and is something else\nhint: --replace writes over it",
        ),
        (
            "link.csv",
            "error: `link.csv` is a link to another file\nhint: --replace writes over it",
        ),
    ] {
        assert_eq!(
            ledger.line(&format!("export rooms --to {to}")).refused(),
            said
        );
    }
    // Clients have other headings than rooms.
    ledger.line("export clients --to rooms.csv").refused();
    ledger.line("export rooms --to link.csv --replace").ok();
    assert_eq!(read("notes.txt"), "my notes", "what a link leads to stays");
    assert_eq!(read("link.csv"), read("rooms.csv"));
    ledger.line("export rooms --to notes.txt --replace").ok();
    assert_eq!(read("notes.txt"), read("rooms.csv"));
    assert_eq!(
        ledger.line("export rooms").ok(),
        read("rooms.csv"),
        "stdout has the same bytes"
    );
}

#[test]
fn files_are_their_owners_alone() {
    use std::os::unix::fs::PermissionsExt;
    let ledger = TestLedger::tannery_row();
    ledger.file(".clients.csv.being-written", "what a killed run left");
    ledger.lines("export clients --to clients.csv\nbackup copy.db");
    for name in ["t.db", "clients.csv", "copy.db"] {
        let mode = fs::metadata(ledger.folder().join(name))
            .unwrap()
            .permissions()
            .mode();
        assert_eq!(mode & 0o777, 0o600, "{name}");
    }
    assert_eq!(names(ledger.folder()), ["clients.csv", "copy.db", "t.db"]);
}

#[test]
fn what_does_not_fit_on_the_disk_leaves_no_half() {
    let ledger = TestLedger::nowhere();
    ledger.line("demo --to t.db").ok();
    ledger.file(
        "usage.csv",
        "date,job,site,item,quantity,room,operation,note\r\nas it was\r\n",
    );
    for arguments in [
        "export usage --to usage.csv",
        "backup copy.db",
        "restore t2.db",
        "demo --to other.db",
    ] {
        if arguments.starts_with("restore") {
            fs::copy(ledger.path(), ledger.folder().join("t2.db")).unwrap();
        }
        // Files end at 16 blocks; the signal that tells so is ignored, as a full disk sends none.
        let run = Command::new("sh")
            .args([
                "-c",
                "trap '' XFSZ; ulimit -f 16; exec \"$0\" $1",
                env!("CARGO_BIN_EXE_gritledger"),
                arguments,
            ])
            .env_clear()
            .env("GRITLEDGER_PATH", "t.db")
            .env("GRITLEDGER_TODAY", "2026-03-02")
            .current_dir(ledger.folder())
            .output()
            .unwrap();
        assert_eq!(
            run.status.code(),
            Some(1),
            "{arguments}: {}",
            String::from_utf8_lossy(&run.stderr)
        );
    }
    assert_eq!(names(ledger.folder()), ["t.db", "t2.db", "usage.csv"]);
    let usage = fs::read_to_string(ledger.folder().join("usage.csv")).unwrap();
    assert!(usage.ends_with("as it was\r\n"), "the file before is whole");
    ledger.line("check").ok();
}

#[test]
fn a_name_is_a_name() {
    let ledger = TestLedger::nowhere();
    for name in [":memory:", "file:ledger.db?mode=memory", "file:ledger.db"] {
        ledger
            .run(&["--ledger", name, "init", "--business", "Marsh End Floors"])
            .ok();
        ledger
            .run(&["--ledger", name, "client", "add", "Ada Quill"])
            .ok();
        assert!(
            ledger
                .run(&["--ledger", name, "client", "list"])
                .ok()
                .contains("Ada Quill")
        );
        assert!(ledger.folder().join(name).is_file(), "{name}");
    }
}

#[test]
fn an_unfinished_ledger_is_refused_and_finished_by_init() {
    let empty = TestLedger::nowhere();
    fs::write(empty.path(), "").unwrap();
    let without_book = TestLedger::new();
    let connection = without_book.raw();
    // As an earlier program left it between its own transactions.
    connection
        .execute_batch("DROP TRIGGER log_kept; DELETE FROM log;")
        .unwrap();
    drop(connection);
    for ledger in [empty, without_book] {
        let said = ledger.line("client list").refused();
        let unfinished = format!(
            "error: `{}` is an unfinished ledger: its making was cut short\nhint: gritledger init --business \"YOUR FIRM\"",
            ledger.path().display()
        );
        assert_eq!(said, unfinished);
        ledger.line("init --business \"Marsh End Floors\"").ok();
        assert!(ledger.line("operation list").ok().contains("rotary-36"));
        ledger.line("check").ok();
        let again = ledger
            .line("init --business \"Marsh End Floors\"")
            .refused();
        assert!(again.contains("already exists"), "{again}");
    }
}

#[test]
fn a_demo_is_replaced_until_somebody_adds_to_it() {
    let ledger = TestLedger::nowhere();
    ledger.lines("demo --to t.db\ndemo --to t.db\nclient add \"Ada Quill\"");
    let said = ledger.line("demo --to t.db").refused();
    assert!(
        said.starts_with("error: `t.db` already exists and is not the demo as it was written"),
        "{said}"
    );
    assert!(ledger.line("client list").ok().contains("Ada Quill"));
    // A firm of the same name is no demo.
    let firm = TestLedger::nowhere();
    firm.line("init --business \"Oake & Pell, Floors\"").ok();
    firm.line("demo --to t.db").refused();
}

#[test]
fn there_is_a_way_back_to_a_backup() {
    let ledger = TestLedger::tannery_row();
    ledger.lines("backup before.db\nclient add \"Bela Stone\"");
    let kept = ledger.json("restore before.db")["kept"]
        .as_str()
        .unwrap()
        .to_owned();
    assert!(kept.ends_with("t-before-2026-03-02.db"), "{kept}");
    assert!(!ledger.line("client list").ok().contains("Bela Stone"));
    assert!(
        ledger
            .line("log --last 1")
            .ok()
            .contains("Restored from before.db; what was there is kept as")
    );
    ledger.line("check").ok();
    // And back again: nothing was lost.
    ledger.run(&["restore", &kept]).ok();
    assert!(ledger.line("client list").ok().contains("Bela Stone"));
    assert_eq!(
        names(ledger.folder()),
        [
            "before.db",
            "t-before-2026-03-02-2.db",
            "t-before-2026-03-02.db",
            "t.db"
        ]
    );
    // A damaged ledger is kept too; a backup that isn't sound is not put in its place.
    ledger.file("t.db", "no database at all");
    for (backup, because) in [
        ("t.db", "`t.db` is not a ledger"),
        ("none.db", "no backup at `none.db`"),
        ("unsound.db", "`unsound.db` is not sound: "),
    ] {
        if backup == "unsound.db" {
            fs::copy(
                ledger.folder().join("before.db"),
                ledger.folder().join(backup),
            )
            .unwrap();
            let connection = Connection::open(ledger.folder().join(backup)).unwrap();
            connection
                .execute_batch("PRAGMA foreign_keys = OFF; UPDATE site SET client_id = 999;")
                .unwrap();
        }
        let said = ledger.run(&["restore", backup]).refused();
        assert!(said.starts_with(&format!("error: {because}")), "{said}");
        assert_eq!(
            fs::read_to_string(ledger.path()).unwrap(),
            "no database at all"
        );
    }
    ledger.line("restore before.db").ok();
    ledger.line("check").ok();
    let kept = ledger.folder().join("t-before-2026-03-02-3.db");
    assert_eq!(fs::read_to_string(kept).unwrap(), "no database at all");
}

#[test]
fn what_was_done_is_said_when_its_answer_cannot_be_delivered() {
    let ledger = TestLedger::job_open();
    let run = |arguments: &str| {
        let run = Command::new("sh")
            .args([
                "-c",
                &format!("exec \"$0\" {arguments} > /dev/full"),
                env!("CARGO_BIN_EXE_gritledger"),
            ])
            .env_clear()
            .env("GRITLEDGER_PATH", ledger.path())
            .env("GRITLEDGER_TODAY", "2026-03-02")
            .current_dir(ledger.folder())
            .output()
            .unwrap();
        (run.status.code(), String::from_utf8(run.stderr).unwrap())
    };
    let (code, said) = run("hours \"Ruben Vale\" 3 --on sand --json");
    assert_eq!(code, Some(3), "{said}");
    assert_eq!(
        said,
        "error: it is done, but the answer could not be delivered\ncaused by: failed to write the answer\n\
         caused by: No space left on device (os error 28)\ndone: E1: Ruben Vale worked 3 h on J1.\n"
    );
    assert!(ledger.line("job show J1").ok().contains("E1"));
    // Nothing was done: 1, as ever.
    for arguments in [
        "job show J1",
        "hours \"Ruben Vale\" 3 --on sand --json --dry-run",
        "--help",
    ] {
        assert_eq!(run(arguments).0, Some(1), "{arguments}");
    }
    let (code, said) = run("init --ledger new.db --business Marsh");
    assert_eq!(code, Some(3));
    assert!(said.contains("done: new.db is made."), "{said}");
}

#[test]
fn clocks_and_schemas_that_cannot_be_are_told() {
    let ledger = TestLedger::new();
    for today in ["9999-12-31", "+10000-01-01", "1989-12-31", "-0001-01-01"] {
        let said = ledger
            .run_with(&["today"], &[("GRITLEDGER_TODAY", today)])
            .refused();
        assert_eq!(
            said,
            format!("error: GRITLEDGER_TODAY is `{today}`: the year is one of 1990 to 2999")
        );
    }
    ledger
        .run_with(&["today"], &[("GRITLEDGER_TODAY", "2999-12-31")])
        .ok();
    let connection = ledger.raw();
    connection.pragma_update(None, "user_version", -3).unwrap();
    let said = ledger.line("today").refused();
    assert!(
        said.ends_with("says that its schema is -3: no gritledger wrote that"),
        "{said}"
    );
}

#[test]
fn a_file_that_cannot_be_brought_up_to_date_says_why() {
    let halfway = |statements: &str| {
        let ledger = TestLedger::new();
        let connection = ledger.raw();
        connection
            .pragma_update(None, "foreign_keys", false)
            .unwrap();
        connection.execute_batch(statements).unwrap();
        let last: i64 = connection
            .pragma_query_value(None, "user_version", |row| row.get(0))
            .unwrap();
        connection
            .pragma_update(None, "user_version", last - 1)
            .unwrap();
        ledger
    };
    // It has what the last migration brings.
    let said = halfway("").line("today").refused();
    let first = said.lines().next();
    assert_eq!(
        first,
        Some("error: failed to apply migration `0009_accounts`")
    );
    // Somebody wrote in it without the keys.
    let broken = halfway(
        "DROP VIEW closed_until; DROP TABLE filed_total; DROP TABLE closed_period; DROP TABLE account_name;
         DROP TRIGGER entry_posted; DROP TRIGGER entry_void_posted; DROP TRIGGER invoice_posted; DROP TRIGGER payment_posted;
         DROP TRIGGER payment_application_posted; DROP TRIGGER payment_void_posted; DROP TRIGGER write_off_posted; DROP TRIGGER write_off_void_posted;
         INSERT INTO site (id, client_id, address, recorded_at) VALUES (1, 7, '4 Tannery Row', '2026-03-02T12:00:00');",
    );
    assert_eq!(
        broken.line("today").refused(),
        "error: 1 broken references after migrating"
    );
}

#[test]
fn what_stands_in_the_way_of_making_and_restoring_is_said() {
    let ledger = TestLedger::nowhere();
    ledger.file("t.db", "");
    fs::create_dir(ledger.folder().join("t.db-shm")).unwrap();
    let here = |ledger: &TestLedger, said: String| {
        said.replace(&format!("{}/", ledger.folder().display()), "")
    };
    let said = ledger
        .line("init --business \"Marsh End Floors\"")
        .refused();
    assert_eq!(
        here(&ledger, said),
        "error: failed to remove `t.db-shm`\ncaused by: Is a directory (os error 21)"
    );
    let ledger = TestLedger::new();
    ledger.line("backup b.db").ok();
    // What SQLite keeps beside the ledger goes where it goes, and something has that name.
    ledger.file("t.db-shm", "");
    fs::create_dir(ledger.folder().join("t-before-2026-03-02.db-shm")).unwrap();
    let said = ledger.line("restore b.db").refused();
    assert_eq!(
        here(&ledger, said),
        "error: failed to keep `t.db` as `t-before-2026-03-02.db`\ncaused by: Is a directory (os error 21)"
    );
    ledger.line("check").ok();
}

#[test]
fn a_usage_error_says_what_must_be_typed_and_no_more() {
    let ledger = TestLedger::nowhere();
    for (line, told) in [
        (
            "finding list --json",
            "error: the following required arguments were not provided: <SITE>\n\
             Usage: gritledger finding list <SITE>\n",
        ),
        (
            "room add Landing",
            "error: the following required arguments were not provided: \
             --condition <CONDITION> --species <SPECIES> \
             <--shape <SHAPE>|--walls <WALLS>|--steps <COUNT>|--not-refinished> <NAME>\n\
             Usage: gritledger room add <SITE> <NAME> <--shape <SHAPE>|--walls <WALLS>|--steps <COUNT>|--not-refinished> --condition <CONDITION> --species <SPECIES>\n",
        ),
        (
            "room list --site \"4 Tannery Row\"",
            "error: unexpected argument '--site' found\n\
             Usage: gritledger room list <SITE>\n",
        ),
        (
            "quote show Q1 --client",
            "error: unexpected argument '--client' found\n\
             hint: a similar argument exists: '--for-client'\n\
             Usage: gritledger quote show <QUOTE>\n",
        ),
        (
            "quote why Q1",
            "error: unrecognized subcommand 'why'\nUsage: gritledger quote <COMMAND>\n",
        ),
        (
            "client list --csv --json",
            "error: the argument '--csv' cannot be used with '--json'\nUsage: gritledger client list\n",
        ),
        (
            "log --top many",
            "error: invalid value 'many' for '--top <COUNT>': invalid digit found in string\n",
        ),
        (
            "rnet list",
            "error: unrecognized subcommand 'rnet'\n\
             hint: some similar subcommands exist: 'rate', 'restore', 'report', 'rental'\n\
             Usage: gritledger <COMMAND>\n",
        ),
    ] {
        let run = ledger.line(line);
        assert_eq!((run.code(), run.stdout().as_str()), (2, ""), "{run}");
        assert_eq!(run.stderr(), told, "{line}");
    }
    // A noun alone is answered with its commands, and `help` is a command as any other.
    let run = ledger.line("client");
    assert!(run.code() == 2 && run.stderr().contains("  add "), "{run}");
    for line in ["help", "help client", "help client add", "client help add"] {
        let help = ledger.line(line).ok();
        assert!(help.contains("Usage: gritledger"), "{line}: {help}");
    }
    assert!(ledger.line("help").ok().contains("\n  generate "));
}

#[test]
fn a_usage_error_asks_for_no_option_that_is_not_required() {
    let ledger = TestLedger::new();
    let run = ledger.line("client add");
    assert_eq!(run.code(), 2, "{run}");
    assert!(
        run.stderr()
            .contains("Usage: gritledger client add <NAME>\n"),
        "{run}"
    );
    let run = ledger.run(&["--ledger", "t.db", "client", "add"]);
    assert!(
        run.stderr()
            .contains("Usage: gritledger client add <NAME>\n"),
        "{run}"
    );
}
