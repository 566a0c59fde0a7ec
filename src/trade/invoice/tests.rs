//! Invoices worked by hand, and what must hold for all of them.

use proptest::prelude::*;
use rust_decimal_macros::dec;

use super::*;

/// Nothing is held.
const NONE: Option<Decimal> = Some(Decimal::ZERO);

fn line(cents: i64, tax_percent: Decimal) -> InvoiceLine {
    InvoiceLine {
        what: "Landing".into(),
        quote: Some(QuoteId(1)),
        room: None,
        credits: None,
        net: Money::from_minor(cents),
        tax_percent,
    }
}

/// Drafts a final invoice on quotes that say no cent beside their prices and the tax on these.
fn last_of(
    lines: Vec<InvoiceLine>,
    allowances: Vec<Allowance>,
    retention: Option<Decimal>,
    earlier: &[Earlier],
) -> Result<Draft, InvoiceError> {
    final_invoice(lines, allowances, retention, earlier, Totals::default())
}

/// Drafts a progress invoice on prices before tax.
fn stage_of(
    agreed: &[AgreedPart],
    stage: Stage,
    net: Money,
    retention: Decimal,
) -> Result<Draft, InvoiceError> {
    progress(agreed, stage, Left { net, total: None }, retention, None)
}

/// Drafts a credit note for lines without allowances that were issued, of which some were credited.
fn note_on(
    lines: &[InvoiceLine],
    credited: (&[InvoiceLine], Money),
    extent: &Extent,
) -> Result<Draft, InvoiceError> {
    let total = Draft::of(InvoiceKind::Final, lines.to_vec(), Vec::new()).total();
    let asked = Asked {
        lines,
        allowances: &[],
        total,
    };
    credit_note(asked, credited, extent, None)
}

/// Drafts a deposit on a quote that is taxed at one rate.
fn paid_first(cents: i64, price: i64, tax_percent: Decimal) -> Result<Draft, InvoiceError> {
    let parts = [part(1, price, 0, tax_percent)];
    let [amount, price] = [cents, price].map(Money::from_minor);
    deposit("Deposit", amount, price, &parts, None)
}

fn taxes(draft: &Draft) -> Vec<(Decimal, i64, i64)> {
    let parts = draft.taxes.iter();
    parts
        .map(|part| (part.percent, part.net.minor(), part.tax.minor()))
        .collect()
}

#[test]
fn the_worked_invoice_of_en_16931_comes_to_the_cent() {
    // EN 16931-1, BR-CO-10 to -17, on three lines, a charge and an allowance: 812.5 × 3.85 = 3128.125, 14 × 42.00, and
    // 37.5 × 2.35 = 88.125, each rounded half away from zero; the charge of 25.00 is a line here, since a firm has no
    // other. 3804.26 − 50.00 + 25.00 = 3779.26; 8.25 % of it is 311.78895; 4091.05, and 3091.05 after 1000.00.
    let usd = crate::money::Currency::from_code("USD").unwrap();
    let priced = [
        (dec!(812.5), dec!(3.85)),
        (dec!(14), dec!(42)),
        (dec!(37.5), dec!(2.35)),
    ];
    let nets = priced.map(|(quantity, price)| usd.amount(quantity * price));
    assert_eq!(nets.map(Money::minor), [312_813, 58_800, 8_813]);
    let mut lines: Vec<InvoiceLine> = nets
        .iter()
        .map(|net| line(net.minor(), dec!(8.25)))
        .collect();
    lines.push(line(2_500, dec!(8.25)));
    let allowances = vec![Allowance {
        reason: "neighbours".into(),
        quote: Some(QuoteId(1)),
        amount: Money::from_minor(5_000),
        tax_percent: dec!(8.25),
    }];
    let draft = last_of(lines, allowances, NONE, &[]).unwrap();
    assert_eq!(taxes(&draft), [(dec!(8.25), 377_926, 31_179)]);
    assert_eq!(draft.total().minor(), 409_105);
    assert_eq!(
        (draft.total() - Money::from_minor(100_000)).minor(),
        309_105
    );
}

#[test]
fn each_part_is_taxed_at_its_own_rate_and_a_deposit_comes_off_at_its_own() {
    // A quote of 397.90 agreed at 6 % and a variation of 507.00 agreed at 8 %:
    // 397.90 × 6 % = 23.874, and 507.00 × 8 % = 40.56; 904.90 + 23.87 + 40.56 = 969.33.
    // All of it at the first quote's rate would be 904.90 + 54.29 = 959.19.
    let agreed = || vec![line(39_790, dec!(6)), line(50_700, dec!(8))];
    let whole = last_of(agreed(), Vec::new(), NONE, &[]).unwrap();
    assert_eq!(
        taxes(&whole),
        [(dec!(6), 39_790, 2_387), (dec!(8), 50_700, 4_056)]
    );
    assert_eq!(whole.total().minor(), 96_933);

    // A deposit of 100.00 was asked for with 6.00 of tax: 297.90 and 17.87 are left at 6 %, and 8 % is as it was.
    let first = paid_first(10_000, 39_790, dec!(6)).unwrap();
    assert_eq!(taxes(&first), [(dec!(6), 10_000, 600)]);
    let earlier = [Earlier {
        number: "I1".into(),
        kind: InvoiceKind::Deposit,
        taxes: first.taxes,
        rounding: Money::ZERO,
        off_price: Money::ZERO,
    }];
    let rest = last_of(agreed(), Vec::new(), NONE, &earlier).unwrap();
    assert_eq!(
        taxes(&rest),
        [(dec!(6), 29_790, 1_787), (dec!(8), 50_700, 4_056)]
    );
    let last = rest.lines.last().unwrap();
    assert_eq!(
        (last.what.as_str(), last.net.minor(), last.tax_percent),
        ("Less deposit I1", -10_000, dec!(6))
    );

    // What was invoiced at a rate that nothing is agreed at any more is given back at that rate.
    let rest = last_of(vec![line(50_700, dec!(8))], Vec::new(), NONE, &earlier).unwrap();
    assert_eq!(
        taxes(&rest),
        [(dec!(6), -10_000, -600), (dec!(8), 50_700, 4_056)]
    );
}

fn part(quote: i64, price: i64, invoiced: i64, tax_percent: Decimal) -> AgreedPart {
    AgreedPart {
        quote: QuoteId(quote),
        number: format!("Q{quote}"),
        kinds: None,
        price: Money::from_minor(price),
        tax_percent,
        invoiced: Money::from_minor(invoiced),
    }
}

fn nets(draft: &Draft) -> Vec<(&str, i64)> {
    let lines = draft.lines.iter();
    lines
        .map(|line| (line.what.as_str(), line.net.minor()))
        .collect()
}

#[test]
fn a_progress_invoice_asks_for_a_share_or_an_amount_of_each_quote_at_its_own_tax() {
    // 40 % of 397.90 is 159.16, with 6 % of 9.5496; 40 % of 507.00 is 202.80, with 8 % of 16.224.
    let agreed = [
        part(1, 39_790, 10_000, dec!(6)),
        part(2, 50_700, 0, dec!(8)),
    ];
    let left = Money::from_minor(80_490);
    let share = stage_of(&agreed, Stage::Share(dec!(0.4)), left, dec!(0)).unwrap();
    assert_eq!(
        nets(&share),
        [("40 % of Q1", 15_916), ("40 % of Q2", 20_280)]
    );
    assert_eq!(
        taxes(&share),
        [(dec!(6), 15_916, 955), (dec!(8), 20_280, 1_622)]
    );
    // 297.90 and 507.00 are left: 268.30 goes as 99.30 and 169.00.
    let amount = Stage::Amount(Money::from_minor(26_830));
    let amount = stage_of(&agreed, amount, left, dec!(0)).unwrap();
    assert_eq!(
        nets(&amount),
        [("On account of Q1", 9_930), ("On account of Q2", 16_900)]
    );
    let beyond = stage_of(
        &agreed,
        Stage::Amount(Money::from_minor(80_491)),
        left,
        dec!(0),
    );
    assert_eq!(beyond, Err(InvoiceError::BeyondWhatIsLeft(left)));
    let nothing = stage_of(&agreed, Stage::Amount(Money::ZERO), left, dec!(0));
    assert_eq!(nothing, Err(InvoiceError::NothingLeft));
}

#[test]
fn credit_notes_take_back_lines_and_in_the_end_the_whole_invoice_to_the_cent() {
    // 66.67 and 33.33 at 8.25 %: 100.00 with 8.25 of tax. 33.33 alone has 2.749725, and 66.67 has 5.500275.
    let lines = [line(6_667, dec!(8.25)), line(3_333, dec!(8.25))];
    assert_eq!(taxes_on(&lines, &[])[0].tax.minor(), 825);
    let none = (&[][..], Money::ZERO);
    let one = Extent::Lines(vec![(2, None)]);
    let first = note_on(&lines, none, &one).unwrap();
    assert_eq!(taxes(&first), [(dec!(8.25), 3_333, 275)]);
    assert_eq!(first.lines[0].credits, Some(2));
    let rest = note_on(&lines, (&first.lines, first.total()), &Extent::Whole).unwrap();
    assert_eq!(taxes(&rest), [(dec!(8.25), 6_667, 550)]);

    let all: Vec<InvoiceLine> = [first.lines.clone(), rest.lines].concat();
    let refused =
        |extent, credited: (&[InvoiceLine], Money)| note_on(&lines, credited, &extent).unwrap_err();
    let of_line = |place, cents: i64| Extent::Lines(vec![(place, Some(Money::from_minor(cents)))]);
    assert_eq!(
        refused(Extent::Whole, (&all, Money::from_minor(10_825))),
        InvoiceError::Credited
    );
    assert_eq!(refused(of_line(3, 1), none), InvoiceError::NoLine(3));
    let left = Money::from_minor(0);
    assert_eq!(
        refused(of_line(2, 1), (&first.lines, first.total())),
        InvoiceError::BeyondLine(2, left)
    );
}

#[test]
fn what_was_credited_is_asked_for_again_but_for_what_is_off_the_price() {
    // 500.00 at 8 %; a deposit of 100.00 was asked for and 40.00 of it credited: 440.00 are left, with 35.20 of tax.
    let note = |number: &str, cents, tax, off_price| Earlier {
        number: number.into(),
        kind: InvoiceKind::Credit,
        taxes: vec![TaxAtRate {
            percent: dec!(8),
            net: Money::from_minor(cents),
            tax: Money::from_minor(tax),
        }],
        rounding: Money::ZERO,
        off_price: Money::from_minor(off_price),
    };
    let asked = |number: &str, kind, cents, tax| Earlier {
        kind,
        ..note(number, cents, tax, 0)
    };
    let deposit = asked("I1", InvoiceKind::Deposit, 10_000, 800);
    let last = last_of(
        vec![line(50_000, dec!(8))],
        Vec::new(),
        NONE,
        &[deposit.clone(), note("I2", 4_000, 320, 0)],
    )
    .unwrap();
    assert_eq!(
        nets(&last),
        [
            ("Landing", 50_000),
            ("Less deposit I1", -10_000),
            ("Credited by I2", 4_000)
        ]
    );
    assert_eq!(taxes(&last), [(dec!(8), 44_000, 3_520)]);

    // The final of 400.00 is credited by 50.00 for a scratch, then the rest of it as issued wrong: 350.00 are asked again.
    let before = [
        deposit,
        asked("I3", InvoiceKind::Final, 40_000, 3_200),
        note("I4", 5_000, 400, 5_000),
        note("I5", 35_000, 2_800, 0),
    ];
    let again = last_of(vec![line(50_000, dec!(8))], Vec::new(), NONE, &before).unwrap();
    assert_eq!((again.net().minor(), again.tax().minor()), (35_000, 2_800));
    assert_eq!(nets(&again)[1], ("Off the price by I4", -5_000));

    let whole = Draft::of(InvoiceKind::Credit, vec![line(5_000, dec!(8))], Vec::new());
    for (of, is_whole, beyond, expected) in [
        (InvoiceKind::Final, false, 0, 5_000),
        (InvoiceKind::Final, false, 2_000, 3_000),
        (InvoiceKind::Final, false, 9_000, 0),
        (InvoiceKind::Final, true, 0, 0),
        (InvoiceKind::Progress, false, 0, 0),
    ] {
        let off = off_price(&whole, of, is_whole, Money::from_minor(beyond));
        assert_eq!(off.minor(), expected, "{of} {is_whole} {beyond}");
    }
}

#[test]
fn a_line_is_credited_with_its_tax_even_if_earlier_invoices_took_most_of_that() {
    // 1128.18 at 10 % was asked for before; the final has that line, less the same, and 756.28 free of tax.
    let before = Earlier {
        number: "I1".into(),
        kind: InvoiceKind::Progress,
        taxes: vec![TaxAtRate {
            percent: dec!(10),
            net: Money::from_minor(112_818),
            tax: Money::from_minor(11_282),
        }],
        rounding: Money::ZERO,
        off_price: Money::ZERO,
    };
    let agreed = vec![line(112_818, dec!(10)), line(75_628, dec!(0))];
    let last = last_of(agreed, Vec::new(), NONE, &[before]).unwrap();
    assert_eq!(last.tax(), Money::ZERO);
    let some = |cents: i64| Extent::Lines(vec![(1, Some(Money::from_minor(cents)))]);
    let note = note_on(&last.lines, (&[], Money::ZERO), &some(10_000)).unwrap();
    assert_eq!(taxes(&note), [(dec!(10), 10_000, 1_000)]);
    // 756.28 are owed on it: 687.54 with 68.75 of tax are more.
    let beyond = note_on(&last.lines, (&[], Money::ZERO), &some(68_754));
    assert_eq!(
        beyond,
        Err(InvoiceError::BeyondInvoice(Money::from_minor(75_628)))
    );
    // What is left of it goes with the tax that is left.
    let rest = note_on(&last.lines, (&note.lines, note.total()), &Extent::Whole).unwrap();
    assert_eq!(rest.total().minor(), 75_628 - 11_000);
}

#[test]
fn a_share_asks_for_no_more_of_a_quote_than_is_left_of_it() {
    let agreed = [
        part(1, 100_000, 0, dec!(6)),
        part(2, 60_000, 60_000, dec!(7)),
        part(3, 10_000, 7_000, dec!(7)),
    ];
    let left = Money::from_minor(103_000);
    let share = stage_of(&agreed, Stage::Share(dec!(0.4)), left, dec!(0)).unwrap();
    assert_eq!(
        nets(&share),
        [("40 % of Q1", 40_000), ("What is left of Q3", 3_000)]
    );
    let none = stage_of(&agreed, Stage::Share(dec!(0.4)), Money::ZERO, dec!(0));
    assert_eq!(none, Err(InvoiceError::NothingLeft));
}

#[test]
fn what_is_too_much_says_of_what() {
    let some = Money::from_minor(1);
    for (error, words) in [
        (
            InvoiceError::BeyondWhatIsLeft(some),
            "that is more than is left to invoice",
        ),
        (
            InvoiceError::BeyondLines(some),
            "that is more than is left of its lines",
        ),
        (
            InvoiceError::BeyondInvoice(some),
            "that is more than is left of it",
        ),
        (
            InvoiceError::BeyondLine(2, some),
            "that is more than is left of line 2",
        ),
        (InvoiceError::Credited, "it is credited in whole already"),
    ] {
        assert_eq!(error.to_string(), words);
    }
}

#[test]
fn small_credits_have_their_own_tax_and_the_last_one_makes_up_for_it() {
    // Each 0.07 has 0.0056 of tax at 8 %, a cent by itself: twelve come to 0.96. The last 0.16 has 0.0128, a cent; of the
    // 1.08 that were asked for 0.12 are left, so 0.05 is rounded.
    let lines = [line(100, dec!(8))];
    let (mut credited, mut total) = (Vec::new(), Money::ZERO);
    let mut last = None;
    for cents in [7, 7, 7, 7, 7, 7, 7, 7, 7, 7, 7, 7, 16] {
        let extent = Extent::Lines(vec![(1, Some(Money::from_minor(cents)))]);
        let note = note_on(&lines, (&credited, total), &extent).unwrap();
        assert_eq!(note.tax().minor(), 1);
        total += note.total();
        credited.extend(note.lines.clone());
        last = Some(note);
    }
    let last = last.unwrap();
    assert_eq!(
        (last.rounding.minor(), last.total().minor(), total.minor()),
        (-5, 12, 108)
    );
}

#[test]
fn deposit_and_final_ask_for_the_whole_price_and_its_tax() {
    for (price, deposit_cents, tax_percent) in [
        (10_001, 3_334, dec!(8.25)),
        (99_999, 1, dec!(7.125)),
        (5_000, 5_000, dec!(0)),
    ] {
        let first = paid_first(deposit_cents, price, tax_percent).unwrap();
        let earlier = [Earlier {
            number: "I1".into(),
            kind: InvoiceKind::Deposit,
            taxes: first.taxes.clone(),
            rounding: Money::ZERO,
            off_price: Money::ZERO,
        }];
        let last = last_of(vec![line(price, tax_percent)], Vec::new(), NONE, &earlier);
        if price == deposit_cents {
            assert_eq!(last, Err(InvoiceError::NothingLeft));
            // A variation takes 10.00 off the price, which asks for no tax.
            let less = last_of(
                vec![line(price - 1_000, tax_percent)],
                Vec::new(),
                NONE,
                &earlier,
            );
            let less = less.unwrap_err();
            assert_eq!(less, InvoiceError::OwedBack(Money::from_minor(1_000)));
            let words = "more was invoiced than there is to invoice";
            assert_eq!(less.to_string(), words);
            continue;
        }
        let last = last.unwrap();
        assert_eq!(first.net() + last.net(), Money::from_minor(price));
        assert_eq!(
            first.tax() + last.tax() + last.rounding,
            Money::from_minor(price).share(tax_percent, dec!(100)),
            "{price}"
        );
    }
}

/// A room of a quote, and what is taken off the quote for it.
#[derive(Clone, Debug)]
struct Part {
    cents: i64,
    off: i64,
    percent: Decimal,
    is_early: bool,
}

prop_compose! {
    fn discounted()(cents in 1_i64..500_000, share in 0_i64..1000, rate in 0_usize..3, is_early in any::<bool>()) -> Part {
        let percent = [dec!(0), dec!(7.125), dec!(20)][rate];
        Part { cents, off: cents * share / 1000, percent, is_early }
    }
}

fn asked_for(parts: &[&Part]) -> (Vec<InvoiceLine>, Vec<Allowance>) {
    let lines = parts.iter().map(|part| line(part.cents, part.percent));
    let off = parts.iter().filter(|part| part.off > 0);
    let off = off.map(|part| Allowance {
        reason: "neighbours".into(),
        quote: Some(QuoteId(1)),
        amount: Money::from_minor(part.off),
        tax_percent: part.percent,
    });
    (lines.collect(), off.collect())
}

fn earlier(number: &str, draft: &Draft) -> Earlier {
    Earlier {
        number: number.into(),
        kind: draft.kind,
        taxes: draft.taxes.clone(),
        rounding: draft.rounding,
        off_price: Money::ZERO,
    }
}

proptest! {
    /// The tax is that of all rates, each on the amount at it. Over all invoices of a job the totals are what was agreed
    /// and its tax, whatever was credited and asked for again, and no rounding is more than cents.
    #[test]
    fn invoices_come_to_what_was_agreed_after_discounts(
        parts in prop::collection::vec(discounted(), 1..6),
        extra in 0_i64..1000,
        held in 0_i64..20,
        beside in -2_i64..3,
        tax_included in any::<bool>(),
    ) {
        let share = Decimal::new(held, 2);
        let beside = Money::from_minor(beside);
        let totals = Totals { beside, tax_included };
        let early: Vec<&Part> = parts.iter().filter(|part| part.is_early).collect();
        let all: Vec<&Part> = parts.iter().collect();
        let (lines, allowances) = asked_for(&all);
        let (agreed, agreed_taxes) = (net_of(&lines, &allowances), taxes_on(&lines, &allowances));
        let agreed_total = agreed + agreed_taxes.iter().map(|part| part.tax).sum::<Money>() + beside;
        let mut drafts = Vec::new();
        let (early_lines, early_off) = asked_for(&early);
        let left = Left { net: agreed, total: Some(agreed_total) };
        if let Ok(first) = progress(&[], Stage::Rooms(early_lines, early_off), left, share, None) {
            drafts.push(first);
        }
        let last_of = |retention, before: &[Earlier]| final_invoice(lines.clone(), allowances.clone(), retention, before, totals);
        let before: Vec<Earlier> = drafts.iter().map(|draft| earlier("I1", draft)).collect();
        let Ok(last) = last_of(Some(share), &before) else {
            return Ok(());
        };
        // Credited in whole and asked for again, with a little goodwill.
        let asked = Asked { lines: &last.lines, allowances: &last.allowances, total: last.total() };
        let note = credit_note(asked, (&[], Money::ZERO), &Extent::Whole, None).unwrap();
        prop_assert_eq!((note.net(), note.tax(), note.rounding), (last.net(), last.tax(), last.rounding));
        let before: Vec<Earlier> = before.into_iter().chain([earlier("I2", &last), earlier("I3", &note)]).collect();
        let again = last_of(Some(share), &before).unwrap();
        prop_assert_eq!((again.net(), again.total()), (last.net(), last.total()));
        // Released, the share of all that is agreed that was held is asked for, and nothing is left.
        let mut before: Vec<Earlier> = before;
        before.push(earlier("I4", &again));
        drafts.push(last);
        if let Ok(release) = last_of(None, &before) {
            let held: Money = agreed_taxes.iter().map(|part| part.net.times(share)).sum();
            prop_assert_eq!(release.net(), held);
            before.push(earlier("I5", &release));
            drafts.push(release);
        }
        prop_assert_eq!(last_of(None, &before), Err(InvoiceError::NothingLeft));
        prop_assert_eq!(last_of(Some(share), &before), Err(InvoiceError::NothingLeft));
        // A little goodwill comes off by that much, before tax or with it, but for what no amount makes up.
        let full = final_invoice(lines.clone(), allowances.clone(), NONE, &[], totals).unwrap();
        let off = Money::from_minor(extra.min(agreed.minor() - 1));
        let mut less = allowances.clone();
        less.extend(goodwill("scratch", off, &agreed_taxes, tax_included));
        let less = final_invoice(lines.clone(), less, NONE, &[], totals).unwrap();
        match tax_included {
            true => prop_assert!((less.total() - (full.total() - off)).abs().minor() <= 2),
            false => prop_assert_eq!(less.net(), agreed - off),
        }
        for draft in drafts.iter().chain([&note, &again, &less]) {
            held_to_the_standard(draft)?;
        }
        prop_assert_eq!(drafts.iter().map(Draft::net).sum::<Money>(), agreed);
        prop_assert_eq!(drafts.iter().map(Draft::total).sum::<Money>(), agreed_total);
    }

    /// An amount that is named with tax is what the invoice comes to; what no line makes up is a cent, and the last invoice
    /// brings all of them to what the quote says.
    #[test]
    fn an_amount_named_with_tax_is_what_the_invoice_comes_to(
        price in 100_i64..1_000_000,
        first in 1_i64..50,
        second in 1_i64..45,
        rate in 0_usize..4,
        held in 0_i64..10,
    ) {
        let percent = [dec!(0), dec!(7.125), dec!(19), dec!(25)][rate];
        let [price, first, second] = [price, price * first / 100, price * second / 100].map(Money::from_minor);
        let total = price + price.share(percent, dec!(100));
        let net = |told: Money| told.share(dec!(100), dec!(100) + percent);
        let agreed = |invoiced| [AgreedPart { invoiced, ..part(1, price.minor(), 0, percent) }];
        let Ok(deposit) = deposit("Deposit", net(first), price, &agreed(Money::ZERO), Some(first)) else {
            return Ok(());
        };
        prop_assert_eq!(deposit.total(), first);
        let left = Left { net: price - deposit.net(), total: Some(total - deposit.total()) };
        let share = Decimal::new(held, 2);
        let stage = Stage::Amount(net(second));
        let Ok(stage) = progress(&agreed(deposit.net()), stage, left, share, Some(second)) else {
            return Ok(());
        };
        prop_assert_eq!(stage.total(), second - second.times(share));
        let mut before = vec![earlier("I1", &deposit), earlier("I2", &stage)];
        let mut drafts = vec![deposit, stage];
        let lines = vec![line(price.minor(), percent)];
        for retention in [Some(share), None] {
            let Ok(next) = final_invoice(lines.clone(), Vec::new(), retention, &before, Totals { tax_included: true, beside: Money::ZERO }) else {
                continue;
            };
            before.push(earlier("I3", &next));
            drafts.push(next);
        }
        prop_assert_eq!(drafts.iter().map(Draft::total).sum::<Money>(), total);
        for draft in &drafts {
            held_to_the_standard(draft)?;
        }
    }
}

/// BR-CO-17 of EN 16931-1 on a draft's own figures, and that its rates have all of it. What a draft adds up by itself (BR-CO-10
/// to -16) is held on what is said of an invoice, in `tests/cli/taxes.rs`.
fn held_to_the_standard(draft: &Draft) -> Result<(), TestCaseError> {
    let sum = |amounts: &mut dyn Iterator<Item = Money>| amounts.sum::<Money>();
    prop_assert_eq!(
        draft.net(),
        sum(&mut draft.taxes.iter().map(|part| part.net))
    );
    for part in &draft.taxes {
        let at = |percent: Decimal| percent == part.percent;
        let lines = draft.lines.iter().filter(|line| at(line.tax_percent));
        let off = draft.allowances.iter().filter(|off| at(off.tax_percent));
        let net = sum(&mut lines.map(|line| line.net)) - sum(&mut off.map(|off| off.amount));
        let tax = net.share(part.percent, dec!(100));
        prop_assert_eq!((part.net, part.tax), (net, tax)); // BR-CO-17
    }
    prop_assert!(
        draft.rounding.abs().minor() <= 12,
        "{}",
        draft.rounding.minor()
    );
    Ok(())
}

#[test]
fn a_deposit_is_more_than_nothing_and_no_more_than_the_price() {
    let ask = |cents| paid_first(cents, 100, dec!(0)).err();
    assert_eq!(ask(0), Some(InvoiceError::NothingLeft));
    assert_eq!(ask(101), Some(InvoiceError::LargerThanPrice));
    assert_eq!(ask(100), None);
}
