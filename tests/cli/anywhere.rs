//! A firm anywhere: names of any alphabet, and what differs between countries.

use crate::harness::{TestLedger, split};

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

/// What a metric firm types in a house, from the first room to the paid invoice; then what it asks.
const TYPED: &str = r#"
    worker add "Jörg Weiß" --wage 28,00
    client add "Zoë Müller" --phone 555-0142
    site add "Zoë Müller" "Lindenweg 4a" --year-built 1931 --distance "14 km"
    tax-area add Stadt 19
    room add "Lindenweg 4a" "Flur" --shape "4,2 x 1,6 m" --condition worn-film --species red-oak --door "outside:90cm"
    room add "Lindenweg 4a" "Eßzimmer" --shape "4,2 x 3,6 m" --condition sound-film --species red-oak --door "Flur:80cm" --part "border 30cm: paint"
    room add "Lindenweg 4a" "Stube" --walls "5 m r 4 m r 5 m r 4 m r" --condition glue --species beech --door "Flur:80cm"
    room add "Lindenweg 4a" "Treppe" --steps 13 --width "90 cm" --tread "25 cm" --riser "18 cm" --condition worn-film --species red-oak
    finding add Flur proud-nails 12
    finding add "Eßzimmer" missing-quarter-round "3 m + 2,5 m" --place Nordwand
    finding add Stube black-stains "1,2 m2"
    finding add Flur damaged-boards 1 --chance 40% --if-so "bleach 1 m2"
    finding add Flur missing-threshold 1
    reading add Flur wood-left "6 mm" board-width "60 mm" board 9 temperature 20 humidity 45
    setting set km-rate 0,36
    setting set drive-speed "50 km/h"
    setting set rental-distance 8
    quote draft "Lindenweg 4a" --room Flur --room Eßzimmer --room Treppe --option "Wasser: schedule=water-3-coat" --other "Container=45,55"
    quote send Q1
    quote accept Q1 --option 1
    job start J1
    buy oil-finish 5 --cost 66,00
    buy quarter-round 7,2 --cost 28,80
    rental out rotary --at 08:00
    use disc-178mm-36 12 --room Flur --on rotary-36
    use oil-finish 1500ml --room Flur --on oil-coat
    use quarter-round 5,5 --room Eßzimmer
    hours 1,5 sand --room Flur
    hours 1 coat --room Flur
    drive 30
    drive 12 --no-job --note yard
    spent 45,55 --for Container
    rental back rotary --at 17:00
    correct E7 --quantity 1,25
    void E8 --reason slip
    stock count oil-finish 3
    quote draft "Lindenweg 4a" --room Stube
    rate set rotary-50 --kind item --per "4,6 m2" --condition bare
    rate set orbit-80 --kind hours --per "20 m"
    rate change rotary-50 --since 2026-03-01 --note Scheiben
    item add Lack --unit l --pack 5=70,00
"#;

/// Every command that answers; `J1` is under way for the first of them and closed for the rest.
const ASKED: &str = r#"
    today
    job show J1
    job list
    job buy J1
    quote show Q1
    quote show Q1 --lines
    quote show Q1 --why
    quote show Q1 --cautions
    quote show Q1 --for-client
    quote compare Q1
    quote list
    quote buy Q2
    plan house "Lindenweg 4a" --start 2026-03-09 --room Stube --keep "one of Flur, Treppe"
    report variance J1 --all
    client list
    client show zoe
    site list
    site show linden
    site check linden
    room list linden
    room show Flur
    room check Flur
    finding list linden
    reading list linden
    worker list
    item list
    item show oil-finish
    item show quarter-round
    item cover oil-finish 7,5
    item cut quarter-round "2,2 m" "90 cm" "1,1 m" --fewest
    machine list
    machine show rotary
    machine cover rotary --days 3
    operation list
    operation show oil-coat
    operation show set-nails
    operation show plug-holes
    sequence list
    sequence show rotary-36-50-80
    schedule list
    schedule show oil-2-coat
    setting list
    setting show saw-loss
    setting show coating-temperature
    setting show own-work-finish
    tax-area list
    tax-area show Stadt
    stock list
    rental list
    rate list
    rate show rotary-36 --condition worn-film
    rate show oil-coat --species red-oak
    rate show fit-quarter-round
    rate show step-oil-coat --species red-oak
    rate predict rotary-36 --condition worn-film --area 20 --area 15
    rate predict orbit-80 --condition bare --edge 12
    rate predict oil-coat --area 20
    rate check
    job close J1
    invoice final J1 --issue
    payment add I1 1000
    invoice list
    invoice show I1
    payment list
    report margin
    report margin --by room
    report variance J1
    report variance --from 2024-01-01
    report consumables
    report rentals
    report overheads
    report work-in-hand
    report work-in-hand --cash
    report year
    report year --mileage
    account list
    log --last 200
    check
"#;

fn metric() -> TestLedger {
    let ledger = TestLedger::nowhere();
    ledger.lines(
        "init --business \"Weir Floors\" --units metric --currency EUR --decimal-mark comma",
    );
    ledger
}

/// Words of other units, of another currency, and of another country's laws.
const FOREIGN: &[&str] = &[
    "ft", "sqft", "sq", "feet", "foot", "lin", "inch", "inches", "gal", "gallon", "gallons", "qt",
    "quart", "pint", "oz", "mi", "mile", "miles", "mph", "mil", "mils", "°F", "F", "USD",
    "dollars", "IRS", "EPA", "OSHA", "CFR", "NIOSH",
];

/// Returns the foreign words of a line, and figures with the marks of feet and inches, or before `in`.
fn foreign(line: &str) -> Vec<String> {
    let words: Vec<&str> = line
        .split(|sign: char| sign.is_whitespace() || ",.;:()/=-".contains(sign))
        .filter(|word| !word.is_empty())
        .collect();
    let begins = |word: &str| word.starts_with(|sign: char| sign.is_ascii_digit());
    let mut found: Vec<String> = Vec::new();
    for (at, word) in words.iter().enumerate() {
        let marked = begins(word) && word.ends_with(['\'', '"']) && !word.contains(['m', 'l', 'a']);
        let letters = word.trim_start_matches(|sign: char| sign.is_ascii_digit());
        let inches = letters == "in" && {
            let before = if letters == *word {
                words.get(at.wrapping_sub(1))
            } else {
                Some(word)
            };
            // `8 in 10` is a chance.
            before.is_some_and(|word| begins(word))
                && !words.get(at + 1).is_some_and(|word| begins(word))
        };
        if marked || inches || FOREIGN.contains(&letters) {
            found.push((*word).to_owned());
        }
    }
    found
}

#[test]
fn the_search_for_foreign_words_finds_them() {
    for line in [
        "45 sq ft, edge 23 ft 10 in.",
        "12'6\"",
        "7in",
        "7 in disc",
        "3.2 gal",
        "60 to 80 °F",
        "124 mi at 0.72",
        "60 F",
        "(29 CFR 1910)",
        "4.0 mil",
    ] {
        assert!(!foreign(line).is_empty(), "{line}");
    }
    for line in [
        "8 in 10",
        "1.82 l",
        "E12: 5 in 10 at most 45 discs",
        "4.2 x 1.6 m",
        "set in 3 rooms",
    ] {
        assert_eq!(foreign(line), Vec::<String>::new(), "{line}");
    }
}

/// Looks into what programs read: units, the names of keys, and words.
fn foreign_in_json(value: &serde_json::Value, key: &str, found: &mut Vec<String>) {
    use serde_json::Value;
    match value {
        Value::Object(fields) => {
            for (key, value) in fields {
                let us = ["feet", "mils", "miles", "gallons", "fahrenheit"];
                found.extend(
                    us.iter()
                        .filter(|word| key.contains(*word))
                        .map(|_| key.clone()),
                );
                foreign_in_json(value, key, found);
            }
        }
        Value::Array(values) => values
            .iter()
            .for_each(|value| foreign_in_json(value, key, found)),
        Value::String(text) if !text.is_empty() => {
            found.extend(
                foreign(text)
                    .into_iter()
                    .map(|word| format!("{key}: {word}")),
            );
        }
        _ => {}
    }
}

#[test]
fn no_answer_of_a_metric_ledger_is_in_feet_and_gallons() {
    let ledger = metric();
    let mut found = Vec::new();
    for line in TYPED
        .lines()
        .chain(ASKED.lines())
        .map(str::trim)
        .filter(|line| !line.is_empty())
    {
        let run = ledger.line(line);
        assert_eq!(run.code(), 0, "{run}");
        for told in run.to_string().lines().skip(1) {
            found.extend(
                foreign(told)
                    .into_iter()
                    .map(|word| format!("{line}: {word} in `{told}`")),
            );
        }
        if ASKED.contains(line)
            && !["job close", "invoice final", "payment add"]
                .iter()
                .any(|event| line.starts_with(event))
        {
            let mut words = Vec::new();
            foreign_in_json(&ledger.json(line), "", &mut words);
            found.extend(
                words
                    .into_iter()
                    .map(|word| format!("{line} --json: {word}")),
            );
        }
    }
    assert_eq!(found, Vec::<String>::new());
}

/// Read by eye at 80 columns; a changed line is read again.
#[test]
fn a_metric_firm_reads_its_own_units() {
    let ledger = metric();
    ledger.lines(TYPED);
    let mut told = String::new();
    for line in [
        "room show Flur",
        "room check Flur",
        "quote show Q1 --cautions",
        "quote show Q1 --lines",
        "job buy J1",
        "item show oil-finish",
        "item cut quarter-round \"2,2 m\" \"90 cm\" \"1,1 m\" --fewest",
        "schedule show oil-2-coat",
        "rate show oil-coat --species red-oak",
    ] {
        let words = split(line);
        let words: Vec<&str> = words.iter().map(String::as_str).collect();
        let run = ledger.run_with(&words, &[("COLUMNS", "80")]);
        told.push_str(&format!("$ gritledger {line}\n{}\n", run.ok()));
    }
    insta::assert_snapshot!(told);
}

#[test]
fn a_shape_is_shown_as_it_was_typed() {
    let ledger = metric();
    ledger.lines(TYPED);
    ledger.lines("room add \"Lindenweg 4a\" Kammer --shape \"12'6\\\" x 8'\" --less \"90 cm x 1\" --condition bare --species pine");
    for (room, shape) in [
        ("Flur", "4.2 x 1.6 m"),
        ("Stube", "walls 5 m r 4 m r 5 m r 4 m r"),
        ("Kammer", "12'6\" x 8'; less 90 cm x 1"),
    ] {
        let shown = ledger.line(&format!("room show {room}")).ok();
        assert!(shown.contains(&format!("Shape: {shape}\n")), "{shown}");
    }
    // 12.5 x 8 ft are 3.81 x 2.4384 m, 9.290304 m², less 0.9 m².
    assert_eq!(
        ledger.json("room show Kammer")["area"]["quantity"],
        "8.3903"
    );
    // So are the sizes of its parts.
    ledger.lines("room edit Stube --part \"border 30cm: paint\"\nroom edit Kammer --part \"1.2 m2 edge 2: glue\"");
    for (room, size) in [("Stube", "border 30cm"), ("Kammer", "1.2 m2 edge 2")] {
        let told = ledger.json(&format!("room show {room}"));
        assert_eq!(told["parts"][0]["size"], size);
    }
    // A file in other units has bare numbers of its own; what is kept reads the same here.
    let file = ledger.file(
        "rooms.csv",
        "site,room,shape,condition,species,parts\nLindenweg 4a,Bad,10 x 5,bare,ash,3 x 1: paint\n",
    );
    ledger.line(&format!("import rooms {file} --units us")).ok();
    assert_eq!(ledger.json("room show Bad")["parts"][0]["size"], "3' x 1'");
    assert_eq!(ledger.json("room show Bad")["area"]["quantity"], "4.6452");
    assert_eq!(ledger.json("room show Bad")["shape"], "10' x 5'");
}

#[test]
fn what_cannot_be_meant_is_refused_in_the_units_of_the_ledger() {
    let ledger = metric();
    ledger.lines(TYPED);
    for (typed, refusal) in [
        (
            "finding add Flur black-stains 20",
            "20 m² of black-stains is more than the 6.72 m² of `Flur`",
        ),
        (
            "room edit Flur --part \"9 m2: bare\"",
            "the parts, 9 m² in all, leave nothing of the floor's 6.72 m²: give the room the condition of the largest part",
        ),
        (
            "room edit Flur --part lots",
            "`lots` is not a part of a floor (try \"1 x 4: worn-film\", \"6 m2 edge 6: glue\" or \"border 30cm: paint\")",
        ),
        (
            "room edit Flur --shape 3",
            "`3` is not a shape (try 3.6 x 4.2 m, trapezoid 2.4,1.5 x 1, circle 3 or half-circle 2)",
        ),
        (
            "room edit Flur --shape \"3 x y\"",
            "`y` is not a length (try 3.81, 3.81m or 381 cm)",
        ),
        (
            "room edit Flur --shape \"150 x 150\"",
            "22500 m² is more than one room has: 9290.3 m² at most",
        ),
        (
            "setting set own-work-hours x",
            "`x` is not an area of your own work, such as 28 m2",
        ),
        (
            "setting set saw-loss 3m",
            "`3m` is more than a saw takes: up to 25.4 mm",
        ),
        (
            "setting set mile-rate 0.5",
            "there is no mile-rate in a ledger with metric units",
        ),
        (
            "setting show mile-rate",
            "there is no mile-rate in a ledger with metric units",
        ),
    ] {
        let said = ledger.line(typed).refused();
        assert_eq!(
            said.lines().next(),
            Some(&*format!("error: {refusal}")),
            "{typed}"
        );
    }
}

/// Lines of one quote's cautions where nobody said whose laws are to be named, and in three countries.
#[test]
fn a_law_is_named_where_it_is_the_countrys_own() {
    let cautions = |country: &str| {
        let ledger = TestLedger::nowhere();
        ledger.lines(&format!(
            "init --business \"Weir Floors\" {country}\n\
             worker add R --wage 20\nclient add \"Ada Quill\"\nsite add \"Ada Quill\" Lane --year-built 1931\n\
             room add Lane Den --shape \"4 x 5\" --condition glue --species ash\nquote draft Lane"
        ));
        let told =
            ledger.line("quote show Q1 --cautions").ok() + &ledger.line("room check Den").ok();
        let mile = ledger.json("setting show mile-rate")["value"].clone();
        (told, mile)
    };
    let (us, mile) = cautions("--country us");
    assert!(
        us.contains("40 CFR 745") && us.contains("29 CFR 1926.1101") && us.contains("OSHA"),
        "{us}"
    );
    assert_eq!(mile, "0.725");
    for country in ["", "--country DE", "--country GB"] {
        let (told, mile) = cautions(country);
        for word in ["CFR", "OSHA", "NIOSH", "1978", "1980"] {
            assert!(!told.contains(word), "{country}: {word}\n{told}");
        }
        let words = told.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(words.contains("keep to your local rules"), "{told}");
        assert_eq!(told.contains("1999"), country.ends_with("GB"), "{told}");
        assert_eq!(mile, "none");
    }
}

#[test]
fn a_country_is_one_that_there_is() {
    let ledger = TestLedger::nowhere();
    for code in ["XX", "USA", "Germany", ""] {
        let said = ledger
            .line(&format!("init --business X --country \"{code}\""))
            .refused();
        assert_eq!(
            said,
            format!(
                "error: `{code}` is not a country\nhint: ISO 3166 codes have two letters: US, DE, CA"
            )
        );
    }
    let made = ledger.json("init --business X --country de");
    assert_eq!(made["country"], "DE");
}

/// Nobody but a US firm starts with a rate for a mile.
#[test]
fn a_mile_costs_what_the_firm_says() {
    let ledger = TestLedger::nowhere();
    ledger.lines("init --business X");
    assert_eq!(
        ledger.line("drive 14 --no-job").refused(),
        "error: nobody has said what a mile costs\nhint: gritledger setting set mile-rate 0.70"
    );
    ledger.lines("setting set mile-rate 0.70\ndrive 14 --no-job");
    assert_eq!(
        ledger.line("setting show km-rate").refused(),
        "error: there is no km-rate in a ledger with us units\nhint: gritledger setting set mile-rate 0.70"
    );
}

/// Yen have no decimals, dinars three: what is printed is what is typed.
#[test]
fn amounts_have_the_decimals_of_their_currency() {
    for (currency, wage, paid, due) in [
        ("JPY", "2800", "9800", "7840"),
        ("KWD", "9.250", "21.125", "16.900"),
    ] {
        let ledger = TestLedger::nowhere();
        ledger.lines(&format!(
            "init --business X --units metric --currency {currency}\nworker add R --wage {wage}\nclient add \"Ada Quill\"\n\
             site add \"Ada Quill\" Lane\nroom add Lane Den --shape \"4 x 5\" --condition worn-film --species red-oak\n\
             quote draft Lane\nquote send Q1\nquote accept Q1\ninvoice deposit J1 --issue\n\
             buy oil-finish 5 --cost {paid}\nuse oil-finish 1"
        ));
        let decimals = |text: &serde_json::Value| {
            let text = text.as_str().expect("an amount").to_owned();
            text.split_once('.')
                .map_or(0, |(_, decimals)| decimals.len())
        };
        let wanted = if currency == "JPY" { 0 } else { 3 };
        assert_eq!(
            decimals(&ledger.json("quote show Q1")["price"]),
            wanted,
            "{currency}"
        );
        assert_eq!(
            decimals(&ledger.json("invoice show I1")["total"]),
            wanted,
            "{currency}"
        );
        let stock = ledger.line("stock list").ok();
        assert!(stock.contains(&format!(" {due}\n")), "{stock}");
        let shown = ledger.line("invoice show I1").ok();
        assert!(shown.contains(currency), "{shown}");
    }
    let ledger = TestLedger::nowhere();
    ledger.lines("init --business X --currency JPY");
    assert_eq!(
        ledger.line("worker add R --wage 28.50").refused(),
        "error: `28.50` has more decimals than JPY has (0)"
    );
}
