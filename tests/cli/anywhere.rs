//! A firm anywhere: names of any alphabet, and what differs between countries.

use crate::harness::TestLedger;

/// A firm in whose ledger every kind of thing has a name with accents.
fn esszimmer() -> TestLedger {
    let ledger = TestLedger::new();
    ledger.lines(
        r#"
        worker add "Jörg Weiß" --wage 28.00
        worker add "Jorge Lind" --wage 28.00
        client add "Zoë Müller"
        client add "Zoela Marsh"
        site add "Zoë Müller" "Schloßstraße 4" --year-built 2001
        site add "Zoela Marsh" "Schlosser Weg 9" --year-built 2001
        room add "Schloßstraße 4" "Eßzimmer" --shape "10 x 14" --condition worn-film --species red-oak
        room add "Schloßstraße 4" "Café" --shape "10 x 10" --condition worn-film --species red-oak
        item add "Möbelöl" --unit l --pack 1=20.00
        machine add "Große Fräse" --day 80.00
        operation add "Ölen" --task coat --driver area --item "Möbelöl"
        sequence add "Schöner Schliff" rotary-36 rotary-80
        "#,
    );
    ledger
}

#[test]
fn names_are_found_whatever_their_case_and_accents() {
    let ledger = esszimmer();
    for (typed, name) in [
        ("client show \"zoe muller\"", "Zoë Müller"),
        ("client show zoel", "Zoela Marsh"),
        ("client show \"Zoe\u{308} Mu\u{308}ller\"", "Zoë Müller"),
        ("site show \"SCHLOSSSTRASSE 4\"", "Schloßstraße 4"),
        ("site show schlosss", "Schloßstraße 4"),
        ("site show schlosser", "Schlosser Weg 9"),
        ("room show ESSZIMMER", "Eßzimmer"),
        ("room show EẞZIMMER", "Eßzimmer"),
        ("room show \"schlossstrasse 4/essz\"", "Eßzimmer"),
        ("room show CAFE", "Café"),
        ("room show Cafe\u{301}", "Café"),
        ("item show MOBELOL", "Möbelöl"),
        ("machine show \"grosse frase\"", "Große Fräse"),
        ("operation show OLEN", "Ölen"),
        ("sequence show \"SCHONER SCHLIFF\"", "Schöner Schliff"),
    ] {
        let shown = ledger.line(typed).ok();
        assert!(shown.contains(name), "{typed}\n{shown}");
    }
    ledger.lines(
        "quote draft schlossstrasse --room ESSZIMMER --room cafe --sequence schoner --worker \"jorg w\"",
    );
}

#[test]
fn names_that_differ_by_case_and_accents_are_one() {
    let ledger = esszimmer();
    for (typed, refusal) in [
        (
            "client add \"ZOE MULLER\"",
            "there is already a client `ZOE MULLER`",
        ),
        (
            "site add zoela \"Schlossstrasse 4\"",
            "there is already a site `Schlossstrasse 4`",
        ),
        (
            "room add schlosss ESSZIMMER --shape \"4 x 4\" --condition bare --species ash",
            "there is already a room `ESSZIMMER` at that site",
        ),
        (
            "room edit CAFE --name Esszimmer",
            "there is already a room `Esszimmer` at that site",
        ),
        (
            "worker add \"Jorg Weiss\" --wage 20.00",
            "there is already a worker `Jorg Weiss`",
        ),
        (
            "item add MOBELOL --unit l --pack 1=20.00",
            "there is already the item `MOBELOL`",
        ),
        (
            "machine add \"GROSSE FRASE\" --day 80.00",
            "there is already the machine `GROSSE FRASE`",
        ),
    ] {
        let said = ledger.line(typed).refused();
        assert_eq!(
            said.lines().next(),
            Some(&*format!("error: {refusal}")),
            "{typed}"
        );
    }
    let said = ledger.line("client show zo").refused();
    assert_eq!(
        said,
        "error: `zo` could be any client of `Zoë Müller`, `Zoela Marsh`"
    );
    // Its own name may be spelled another way.
    ledger.lines("room edit CAFE --name Cafe");
}
