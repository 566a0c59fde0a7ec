//! `invoice` and `payment`: asking for the money, and getting it.

use std::collections::BTreeSet;
use std::path::PathBuf;

use anyhow::Result;
use clap::{Args, Subcommand, ValueEnum};

use super::list::{DaysArgs, OfClientArgs, RowsArgs, give_list};
use super::quote::read_discounts;
use super::read::{confirm_day, names_in, read_date, read_money, read_percent};
use super::ui::{Context, is_stdout};
use crate::document::invoice::{
    AppliedAnswer, InvoiceAnswer, InvoiceList, PaidAnswer, PaymentList, RefundAnswer,
};
use crate::document::ubl::{BEGINS, Electronic, Missing};
use crate::ledger::{
    Invoice, Job, Ledger, Progress, Refusal, Writing, is_invoice_number, is_job_number, refuse,
    typed,
};
use crate::money::{Decimal, Money};
use crate::trade::invoice::{Extent, InvoiceKind};
use crate::trade::tax::TaxAtRate;

/// Manage invoices: drafts are addressed by their job, issued ones by their number
#[derive(Debug, Subcommand)]
pub(super) enum InvoiceCommand {
    Deposit(DepositArgs),
    Progress(ProgressArgs),
    Final(FinalArgs),
    Release(ReleaseArgs),
    Interest(InterestArgs),
    Credit(CreditArgs),
    #[command(name = "write-off")]
    WriteOff(WriteOffArgs),
    Issue(IssueArgs),
    Show(ShowArgs),
    Write(WriteArgs),
    List(ListArgs),
}

/// Draft the deposit of a job
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger invoice deposit J1 --share 30%")]
pub(super) struct DepositArgs {
    /// The job
    job: String,
    /// A share of the price (default: the setting deposit)
    #[arg(long, value_name = "PERCENT", allow_hyphen_values = true)]
    share: Option<String>,
    /// An amount: before tax, or with it where your prices are told so
    #[arg(
        long,
        value_name = "AMOUNT",
        conflicts_with = "share",
        allow_hyphen_values = true
    )]
    amount: Option<String>,
    /// Issue it at once
    #[arg(long)]
    issue: bool,
}

/// Draft interest on an invoice that is paid late, at the setting late-interest
///
/// Simple interest by the day: what was owed at the end of each day after the invoice fell due, or after the last day that
/// interest was asked for, times the yearly rate, divided by 365. It bears no tax. Whether you may ask for it, and how much, is
/// for you to confirm where you work.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Examples:\n  gritledger invoice interest I1\n  gritledger invoice interest I1 --until 2026-03-31 --issue"
)]
pub(super) struct InterestArgs {
    /// The invoice that is paid late, or its client or site
    invoice: String,
    /// The last day that it is for (default: today)
    #[arg(long, value_name = "DATE")]
    until: Option<String>,
    /// Issue it at once
    #[arg(long)]
    issue: bool,
}

/// Draft an invoice on the way: a share of the price, an amount, or rooms that are done
#[derive(Debug, Args)]
#[command(
    group = clap::ArgGroup::new("stage").args(["share", "amount", "rooms"]).required(true),
    after_long_help = "Examples:\n  gritledger invoice progress J1 --share 40%\n  gritledger invoice progress J1 --room Den --issue"
)]
pub(super) struct ProgressArgs {
    /// The job
    job: String,
    /// A share of what was agreed
    #[arg(long, value_name = "PERCENT", allow_hyphen_values = true)]
    share: Option<String>,
    /// An amount, shared over its quotes by what isn't invoiced of them: before tax, or with it where your prices are told so
    #[arg(long, value_name = "AMOUNT", allow_hyphen_values = true)]
    amount: Option<String>,
    /// A room that is done, at its price (can be repeated)
    #[arg(long = "room", value_name = "ROOM")]
    rooms: Vec<String>,
    /// Issue it at once
    #[arg(long)]
    issue: bool,
}

/// Draft a credit note: what an issued invoice asked for and isn't owed
///
/// All that is left of the invoice, unless you name lines or an amount. What it takes back is asked for again by the next
/// invoice of the job; a part of the final invoice is off the price instead.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Examples:\n  gritledger invoice credit I2 --reason \"wrong client\"\n  gritledger invoice credit I2 --amount 50 --reason \"scratch at the door\""
)]
pub(super) struct CreditArgs {
    /// The invoice, such as I1, or its client or site
    invoice: String,
    /// A line of it, by its number (can be repeated)
    #[arg(long = "line", value_name = "NUMBER")]
    lines: Vec<String>,
    /// An amount of that line before tax; or of the whole invoice, with tax where your prices are told so
    #[arg(long, value_name = "AMOUNT", allow_hyphen_values = true)]
    amount: Option<String>,
    /// It is off the price, whatever it takes back
    #[arg(long)]
    off_price: bool,
    /// Why, as the client reads it
    #[arg(long)]
    reason: String,
    /// Issue it at once
    #[arg(long)]
    issue: bool,
}

/// Write off what an invoice owes and will not come in
///
/// Should it come after all, note the payment: the loss is less by that.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Examples:\n  gritledger invoice write-off I1 --reason \"moved away\"\n  gritledger invoice write-off I1 --undo --reason \"wrong invoice\""
)]
pub(super) struct WriteOffArgs {
    /// The invoice, such as I1, or its client or site
    invoice: String,
    /// How much (default: all that it owes)
    #[arg(allow_hyphen_values = true)]
    amount: Option<String>,
    /// Take back the last loss that was noted of it
    #[arg(long, conflicts_with = "amount")]
    undo: bool,
    /// Why
    #[arg(long)]
    reason: String,
}

/// Write an issued invoice or credit note as a file that other programs read
///
/// It says what was issued: what was paid since isn't in it.
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger invoice write I1 --format ubl --to I1.xml")]
pub(super) struct WriteArgs {
    /// The invoice, such as I1, or its client or site
    invoice: String,
    /// In what format
    #[arg(long, value_enum, default_value_t = InvoiceFormat::Ubl)]
    format: InvoiceFormat,
    /// The file to write; `-` is the terminal; an earlier invoice is replaced
    #[arg(long, value_name = "FILE", default_value = "-")]
    to: PathBuf,
    /// Replace whatever file is there
    #[arg(long)]
    replace: bool,
}

/// An invoice's format.
#[derive(Clone, Copy, Debug, ValueEnum)]
enum InvoiceFormat {
    /// UBL 2.1 as EN 16931 has it
    Ubl,
}

/// Draft the final invoice of a job: price and variations less what was invoiced
#[derive(Debug, Args)]
#[command(
    after_long_help = "Examples:\n  gritledger invoice final J1\n  gritledger invoice final ada --issue\n  gritledger invoice final J1 --discount \"scratch at the door=20\""
)]
pub(super) struct FinalArgs {
    /// The job
    job: String,
    /// What is taken off by goodwill, as your prices are told: off the price, for a reason that the client reads (can be repeated)
    #[arg(long = "discount", value_name = "REASON=AMOUNT")]
    discounts: Vec<String>,
    /// Issue it at once
    #[arg(long)]
    issue: bool,
}

/// Draft the release of a job: what its progress and final invoices have held
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger invoice release J1 --issue")]
pub(super) struct ReleaseArgs {
    /// The job
    job: String,
    /// Issue it at once
    #[arg(long)]
    issue: bool,
}

/// Issue a job's draft or credit note: it gets the next number and never changes again
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger invoice issue J1")]
pub(super) struct IssueArgs {
    /// The job
    job: String,
}

/// Show an invoice, or a job's draft
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger invoice show I1")]
pub(super) struct ShowArgs {
    /// The invoice, such as I1, or its client or site; or the job of a draft, such as J1
    invoice: String,
}

/// Manage payments
#[derive(Debug, Subcommand)]
pub(super) enum PaymentCommand {
    Add(AddArgs),
    Apply(ApplyArgs),
    Refund(RefundArgs),
    List(PaymentListArgs),
    Void(VoidArgs),
}

/// Note a payment
#[derive(Debug, Args)]
#[command(
    after_long_help = "Examples:\n  gritledger payment add I1 500\n  gritledger payment add I1,I2 1240.50"
)]
pub(super) struct AddArgs {
    /// The invoice, or its client or site; several as I1,I2, of which each gets what it owes
    invoice: String,
    /// How much
    #[arg(allow_hyphen_values = true)]
    amount: String,
    /// When it came: a date, or yesterday (default: today)
    #[arg(long)]
    date: Option<String>,
    /// Keep what is beyond the amount owed as the client's credit
    #[arg(long)]
    keep_credit: bool,
    /// A note, such as the check's number
    #[arg(long, default_value = "", hide_default_value = true)]
    note: String,
}

/// Apply to an invoice what the same client paid beyond another
///
/// As much as there is and as the invoice owes, the oldest credit first, unless you say how much or of which payment.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Examples:\n  gritledger payment apply I2\n  gritledger payment apply I2 20 --from P1"
)]
pub(super) struct ApplyArgs {
    /// The invoice that it is applied to, or its client or site
    invoice: String,
    /// How much (default: as much as there is and as it owes)
    #[arg(allow_hyphen_values = true)]
    amount: Option<String>,
    /// The payment that is left over (default: the oldest first)
    #[arg(long, value_name = "PAYMENT")]
    from: Option<String>,
    /// When: a date, or yesterday (default: today)
    #[arg(long)]
    date: Option<String>,
}

/// Pay back what a client paid beyond an invoice, or what was credited of it
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger payment refund I1")]
pub(super) struct RefundArgs {
    /// The invoice, or its client or site
    invoice: String,
    /// How much (default: all of it)
    #[arg(allow_hyphen_values = true)]
    amount: Option<String>,
    /// When: a date, or yesterday (default: today)
    #[arg(long)]
    date: Option<String>,
    /// A note, such as the transfer's number
    #[arg(long, default_value = "", hide_default_value = true)]
    note: String,
}

/// Take a payment back, such as a bounced check
///
/// What of it was applied to other invoices is taken back with it.
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger payment void P1 --reason \"check bounced\"")]
pub(super) struct VoidArgs {
    /// The payment, such as P1
    payment: String,
    /// Why
    #[arg(long)]
    reason: String,
}

/// Warns of a deposit above what the settings say the law allows; it is for the owner to judge.
fn warn_of_limit(context: &Context, ledger: &Ledger, job: &Job, asked: Money) -> Result<()> {
    let law = ledger.settings()?.contract_law();
    let largest = law.largest_deposit(ledger.agreed(job)?.told_to_come());
    if let Some(largest) = largest.filter(|largest| asked > *largest) {
        let text = |amount| ledger.currency().text(amount);
        context.warn(&format!(
            "a deposit of {} is above the {} that your settings allow{}: it is for you to check",
            text(asked),
            text(largest),
            law.cited()
        ));
        context.hint(&format!(
            "gritledger invoice deposit {} --amount {}",
            job.number,
            text(largest)
        ));
    }
    Ok(())
}

/// List the invoices
///
/// An invoice counts on the day on which it was issued, a draft on the day on which it was drafted.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Examples:\n  gritledger invoice list --open\n  gritledger invoice list --sort due --top 10"
)]
pub(super) struct ListArgs {
    #[command(flatten)]
    days: DaysArgs,
    #[command(flatten)]
    client: OfClientArgs,
    #[command(flatten)]
    rows: RowsArgs,
    /// Only those on which something is owed, or paid beyond what they ask for
    #[arg(long)]
    open: bool,
}

pub(super) fn cmd_invoice(context: &Context, command: InvoiceCommand) -> Result<()> {
    match command {
        InvoiceCommand::Deposit(args) => draft_deposit(context, &args),
        InvoiceCommand::Progress(args) => draft_progress(context, &args),
        InvoiceCommand::Credit(args) => draft_credit(context, &args),
        InvoiceCommand::WriteOff(args) => write_off(context, &args),
        InvoiceCommand::Final(args) => context.write(|writing| {
            let job = writing.job(&args.job)?;
            let off = read_discounts(writing, &args.discounts)?;
            let before = writing.draft_of(&job)?;
            let draft = writing.draft_final(&job, &off)?;
            confirm_replaced(context, writing, before, &draft)?;
            drafted(context, writing, &job, &draft, args.issue)
        }),
        InvoiceCommand::Release(args) => context.write(|writing| {
            let job = writing.job(&args.job)?;
            let before = writing.draft_of(&job)?;
            let draft = writing.draft_release(&job)?;
            confirm_replaced(context, writing, before, &draft)?;
            drafted(context, writing, &job, &draft, args.issue)
        }),
        InvoiceCommand::Interest(args) => context.write(|writing| {
            let invoice = writing.invoice(&args.invoice)?;
            let until = read_date(context, writing, args.until.as_deref())?;
            let job = writing.job(&invoice.job)?;
            let before = writing.draft_of(&job)?;
            let draft = writing.draft_interest(&invoice, until)?;
            confirm_replaced(context, writing, before, &draft)?;
            drafted(context, writing, &job, &draft, args.issue)
        }),
        InvoiceCommand::Issue(args) => context.write(|writing| {
            let job = writing.job(&args.job)?;
            confirm_stale(context, writing, &writing.draft_invoice_of(&job)?)?;
            issue(context, writing, &job)
        }),
        InvoiceCommand::Write(args) => write(context, &args),
        InvoiceCommand::Show(args) => context.read(|ledger| {
            let names_job = args.invoice.contains(['J', 'j']) && is_job_number(&args.invoice);
            let invoice = match names_job {
                true => ledger.draft_invoice_of(&ledger.job(&args.invoice)?)?,
                false => ledger.invoice(&args.invoice)?,
            };
            show(context, ledger, invoice)
        }),
        InvoiceCommand::List(args) => context.read(|ledger| {
            let mut invoices = match args.open {
                true => ledger.unsettled_invoices()?,
                false => ledger.invoices()?,
            };
            let days = args.days.read(context, ledger)?;
            let client = args.client.read(ledger)?;
            invoices.retain(|invoice| {
                let of_client = client.is_none_or(|client| client == invoice.client_id);
                of_client && days.hold(invoice.issued_on.unwrap_or(invoice.drafted_on))
            });
            let invoices = InvoiceList::new(invoices, &context.page(ledger));
            let narrowed = args.open || args.days.narrow() || args.client.narrows();
            give_list(context, ledger, invoices, &args.rows, narrowed)
        }),
    }
}

fn draft_deposit(context: &Context, args: &DepositArgs) -> Result<()> {
    context.write(|writing| {
        let job = writing.job(&args.job)?;
        let amount = match (&args.share, &args.amount) {
            (Some(share), _) => {
                let share = read_share(writing, share, "deposit")?;
                Some(writing.agreed(&job)?.told_to_come().times(share))
            }
            (None, Some(amount)) => Some(read_money(writing, amount)?),
            (None, None) => None,
        };
        let before = writing.draft_of(&job)?;
        let draft = writing.draft_deposit(&job, amount)?;
        confirm_replaced(context, writing, before, &draft)?;
        let asked = if draft.tax_included {
            draft.total()
        } else {
            draft.net
        };
        warn_of_limit(context, writing, &job, asked)?;
        drafted(context, writing, &job, &draft, args.issue)
    })
}

/// Reads how much, where it may be left open.
fn read_amount(ledger: &Ledger, amount: Option<&str>) -> Result<Option<Money>> {
    amount.map(|amount| read_money(ledger, amount)).transpose()
}

/// Reads which share of the price an invoice of that kind asks for.
fn read_share(ledger: &Ledger, share: &str, kind: &str) -> Result<Decimal> {
    let share = read_percent(ledger, share, "a share")?;
    if share <= Decimal::ZERO || share > Decimal::ONE {
        refuse!("a {kind} is a share between 0 and 100 %");
    }
    Ok(share)
}

fn draft_progress(context: &Context, args: &ProgressArgs) -> Result<()> {
    context.write(|writing| {
        let job = writing.job(&args.job)?;
        let asked = match (&args.share, &args.amount) {
            (Some(share), _) => Progress::Share(read_share(writing, share, "progress invoice")?),
            (None, Some(amount)) => Progress::Amount(read_money(writing, amount)?),
            (None, None) => Progress::Rooms(names_in(&args.rooms)?),
        };
        let before = writing.draft_of(&job)?;
        let draft = writing.draft_progress(&job, &asked)?;
        confirm_replaced(context, writing, before, &draft)?;
        drafted(context, writing, &job, &draft, args.issue)
    })
}

fn draft_credit(context: &Context, args: &CreditArgs) -> Result<()> {
    context.write(|writing| {
        let invoice = writing.invoice(&args.invoice)?;
        let amount = read_amount(writing, args.amount.as_deref())?;
        if amount.is_some_and(|amount| amount <= Money::ZERO) {
            refuse!("what is credited is more than nothing");
        }
        let lines: Vec<u32> = names_in(&args.lines)?
            .iter()
            .map(|line| read_line(line))
            .collect::<Result<_>>()?;
        let extent = match (&lines[..], amount) {
            ([], None) => Extent::Whole,
            ([], Some(amount)) => Extent::Amount(amount),
            ([line], amount) => Extent::Lines(vec![(*line, amount)]),
            (lines, None) => Extent::Lines(lines.iter().map(|line| (*line, None)).collect()),
            (_, Some(_)) => refuse!("an amount is of one line, or of the whole invoice"),
        };
        let job = writing.job(&invoice.job)?;
        let before = writing.draft_of(&job)?;
        let draft = writing.draft_credit(&invoice, &extent, &args.reason, args.off_price)?;
        confirm_replaced(context, writing, before, &draft)?;
        drafted(context, writing, &job, &draft, args.issue)
    })
}

fn read_line(text: &str) -> Result<u32> {
    match text.parse() {
        Ok(line) if line > 0 => Ok(line),
        _ => refuse!("`{text}` is not the number of a line: they are numbered 1, 2, 3"),
    }
}

fn write_off(context: &Context, args: &WriteOffArgs) -> Result<()> {
    context.write(|writing| {
        let invoice = writing.invoice(&args.invoice)?;
        let amount = read_amount(writing, args.amount.as_deref())?;
        let invoice = match args.undo {
            true => writing.take_back_loss(&invoice, &args.reason)?,
            false => writing.write_off(&invoice, amount, &args.reason)?,
        };
        show(context, writing, invoice)
    })
}

/// Has the owner confirm that a draft takes the place of another one, unless it is the same one drafted again: a job has one
/// draft.
fn confirm_replaced(
    context: &Context,
    ledger: &Ledger,
    before: Option<Invoice>,
    draft: &Invoice,
) -> Result<()> {
    let is_other = |before: &Invoice| {
        let is_credit = before.credits.is_some() || draft.credits.is_some();
        before.kind != draft.kind || is_credit && before.lines != draft.lines
    };
    let Some(before) = before.filter(is_other) else {
        return Ok(());
    };
    let what = match &before.credits {
        Some((_, of)) => format!("the credit note for {of}"),
        None => format!("the {} invoice", before.kind),
    };
    let doubt = format!(
        "{what} of {} over {} is drafted and not issued, and this draft takes its place",
        before.job,
        ledger.currency().text(before.total())
    );
    context.confirm_or(&doubt, format!("gritledger invoice issue {}", before.job))
}

/// Issues what was just drafted, if that is asked for, or shows the draft.
fn drafted(
    context: &Context,
    writing: &Writing<'_>,
    job: &Job,
    draft: &Invoice,
    is_issued: bool,
) -> Result<()> {
    match is_issued {
        true => issue(context, writing, job)?,
        false => show(context, writing, draft.clone())?,
    }
    warn_of_other_tax(context, draft);
    if !is_issued {
        context.hint(&format!("gritledger invoice issue {}", draft.job));
    }
    Ok(())
}

fn issue(context: &Context, writing: &Writing<'_>, job: &Job) -> Result<()> {
    let invoice = writing.issue_invoice(job)?;
    let text = |amount| writing.currency().text(amount);
    let name = invoice.name();
    match (&invoice.credits, invoice.due_on) {
        (Some((_, of)), _) => {
            context.status(&format!(
                "Issued {name}: {} of {of} is credited.",
                text(invoice.total())
            ));
            let of = writing.invoice(of)?;
            if !of.credit().is_zero() {
                context.hint(&format!("gritledger payment refund {}", of.name()));
            }
            if job.cancelled.is_none() && writing.left_to_invoice(job)? > Money::ZERO {
                let again = match of.is_credited() && of.kind == InvoiceKind::Final {
                    true => of.drafted_by(writing.currency()),
                    false => format!("final {}", job.number),
                };
                context.hint(&format!("gritledger invoice {again}"));
            }
        }
        (None, by) => {
            let by = by.map(|day| format!(" by {day}"));
            let (due, by) = (text(invoice.due()), by.unwrap_or_default());
            context.status(&format!("Issued {name}: {due} is due{by}."));
            let left = writing.left_to_invoice(job)?;
            if invoice.kind == InvoiceKind::Final && left > Money::ZERO {
                let left = text(left);
                context.status(&format!("{left} before tax is held until it is released."));
            }
        }
    }
    show(context, writing, invoice)
}

fn show(context: &Context, ledger: &Ledger, invoice: Invoice) -> Result<()> {
    let answer = invoice_answer(context, ledger, invoice)?;
    let creditable = answer.creditable();
    context.give(ledger, answer)?;
    if let Some(number) = creditable {
        context.hint(&format!("gritledger payment apply {number}"));
    }
    Ok(())
}

fn write(context: &Context, args: &WriteArgs) -> Result<()> {
    context.refuse_csv()?;
    let InvoiceFormat::Ubl = args.format;
    let (xml, answer, name) = context.read(|ledger| {
        let invoice = ledger.invoice(&args.invoice)?;
        let (firm, identity) = (ledger.letterhead_on(&invoice)?, ledger.identity());
        let electronic = Electronic {
            invoice: &invoice,
            firm: &firm,
            country: identity.country,
            currency: identity.currency,
            credits_issued_on: match &invoice.credits {
                Some((_, number)) => ledger.invoice(number)?.issued_on,
                None => None,
            },
        };
        refuse_missing(&invoice, &electronic.missing())?;
        let (xml, name) = (electronic.xml(), invoice.name());
        Ok((xml, invoice_answer(context, ledger, invoice)?, name))
    })?;
    if !is_stdout(&args.to) {
        context.write_file(&args.to, &xml, BEGINS, args.replace)?;
        context.status(&format!("Wrote {name} to {}.", args.to.display()));
    } else if !context.json() {
        context.print_exactly(xml);
    }
    context.give_json(|| Ok(answer))
}

/// Refuses an invoice that lacks what the standard asks for: what was issued stays as it is, so it is credited and issued
/// again.
fn refuse_missing(invoice: &Invoice, missing: &[Missing]) -> Result<()> {
    if missing.is_empty() {
        return Ok(());
    }
    if missing.contains(&Missing::Country) {
        refuse!("EN 16931 asks for a country, and this ledger was begun without one");
    }
    let client = typed(&invoice.client);
    let asked = missing.iter().filter_map(|what| match what {
        Missing::Country => None,
        Missing::FirmAddress => Some((
            "the firm's address",
            "gritledger setting set firm-address ADDRESS".to_owned(),
        )),
        Missing::FirmTaxNumber => Some((
            "the firm's tax number",
            "gritledger setting set firm-tax-number NUMBER".to_owned(),
        )),
        Missing::ClientAddress => Some((
            "the client's address",
            format!("gritledger client edit {client} --address ADDRESS"),
        )),
    });
    let (words, hints): (Vec<_>, Vec<_>) = asked.unzip();
    let refusal = Refusal::new(format!(
        "{} was issued without {}, which EN 16931 asks for: set it, credit the invoice and issue it again",
        invoice.name(),
        words.join(", ")
    ));
    Err(hints.into_iter().fold(refusal, Refusal::hint).into())
}

/// Returns an invoice as it stands.
fn invoice_answer(context: &Context, ledger: &Ledger, invoice: Invoice) -> Result<InvoiceAnswer> {
    let (credits, page) = (ledger.credits_for(&invoice)?, context.page(ledger));
    let firm = ledger.letterhead_on(&invoice)?;
    Ok(InvoiceAnswer::new(invoice, credits, firm, &page))
}

/// Has the owner confirm a draft that would say something else if it were drafted today.
fn confirm_stale(context: &Context, ledger: &Ledger, draft: &Invoice) -> Result<()> {
    let changes = ledger.changed_since(draft)?;
    if changes.is_empty() {
        return Ok(());
    }
    let again = draft.drafted_by(ledger.currency());
    let doubt = format!(
        "since the {} invoice of {} was drafted, {}",
        draft.kind,
        draft.job,
        changes.join(", and ")
    );
    context.confirm_or(&doubt, format!("gritledger invoice {again}"))
}

/// Warns of tax that isn't what is in force today, because it was agreed before.
fn warn_of_other_tax(context: &Context, draft: &Invoice) {
    let is_other =
        |part: &&TaxAtRate| draft.late.is_none() && !draft.in_force.contains(part.percent);
    for part in draft.taxes.iter().filter(is_other) {
        context.warn(&format!(
            "what was agreed at {} % tax is taxed like that, and {} is in force: it is for you to check",
            part.percent.normalize(),
            draft.in_force
        ));
    }
}

/// List the payments
#[derive(Debug, Args)]
#[command(
    after_long_help = "Examples:\n  gritledger payment list --client \"Ada Quill\"\n  gritledger payment list --from 2026-01-01 --sort amount --top 10"
)]
pub(super) struct PaymentListArgs {
    #[command(flatten)]
    days: DaysArgs,
    #[command(flatten)]
    client: OfClientArgs,
    #[command(flatten)]
    rows: RowsArgs,
}

fn payments(context: &Context, ledger: &Ledger, args: &PaymentListArgs) -> Result<()> {
    let days = args.days.read(context, ledger)?;
    let mut payments = ledger.payments()?;
    payments.retain(|payment| days.hold(payment.happened_on));
    if let Some(client) = args.client.read(ledger)? {
        let invoices = ledger.invoices()?.into_iter();
        let invoices = invoices.filter(|invoice| invoice.client_id == client);
        let theirs: BTreeSet<String> = invoices.map(|invoice| invoice.name()).collect();
        payments.retain(|payment| theirs.contains(&payment.invoice));
    }
    let payments = PaymentList::new(payments, &context.page(ledger));
    let narrowed = args.days.narrow() || args.client.narrows();
    give_list(context, ledger, payments, &args.rows, narrowed)
}

pub(super) fn cmd_payment(context: &Context, command: PaymentCommand) -> Result<()> {
    match command {
        PaymentCommand::Add(args) => add_payment(context, &args),
        PaymentCommand::Apply(args) => apply_credit(context, &args),
        PaymentCommand::Refund(args) => refund(context, &args),
        PaymentCommand::List(args) => context.read(|ledger| payments(context, ledger, &args)),
        PaymentCommand::Void(args) => context.write(|writing| {
            let applied = writing.void_payment(&args.payment, &args.reason)?;
            context.status(&format!("Took back {}.", args.payment.to_uppercase()));
            for part in applied {
                let amount = writing.currency().text(part.amount);
                context.status(&match part.invoice {
                    Some(invoice) => format!(
                        "{amount} of it was applied to {invoice}, and is taken back with it."
                    ),
                    None => format!("{amount} of it was paid back, and is owed again."),
                });
            }
            Ok(())
        }),
    }
}

fn add_payment(context: &Context, args: &AddArgs) -> Result<()> {
    context.write(|writing| {
        let on = read_date(context, writing, args.date.as_deref())?;
        let (first, others) = invoices_in(writing, &args.invoice)?;
        let amount = read_money(writing, &args.amount)?;
        confirm_day(context, on, None)?;
        if let Some(known) = writing.payment_like(&first, amount, on)? {
            context.confirm(&format!("the same payment is noted already, as {known}"))?;
        }
        let (number, mut paid) =
            writing.add_payment_for((&first, &others), amount, on, args.keep_credit, &args.note)?;
        let page = context.page(writing);
        let (first, amount) = paid.remove(0);
        let answer = |invoice| invoice_answer(context, writing, invoice);
        let mut others = Vec::new();
        for (invoice, part) in paid {
            others.push((answer(invoice)?, part));
        }
        let answer = PaidAnswer::new(answer(first)?, number, amount, others, &page);
        context.give(writing, answer)
    })
}

/// Returns the invoice that a payment is for, by its number, client or site, and others, if several are numbered.
fn invoices_in(ledger: &Ledger, text: &str) -> Result<(Invoice, Vec<Invoice>)> {
    let mut numbers = text.split(',').map(str::trim);
    let several = text.contains(',') && numbers.clone().all(is_invoice_number);
    if !several {
        return Ok((ledger.invoice(text)?, Vec::new())); // An address may have commas.
    }
    let first = ledger.invoice(numbers.next().unwrap_or_default())?;
    let mut invoices: Vec<Invoice> = Vec::new();
    for number in numbers {
        let invoice = ledger.invoice(number)?;
        if invoice.id == first.id || invoices.iter().any(|known| known.id == invoice.id) {
            refuse!("{} is named twice", invoice.name());
        }
        invoices.push(invoice);
    }
    Ok((first, invoices))
}

fn refund(context: &Context, args: &RefundArgs) -> Result<()> {
    context.write(|writing| {
        let on = read_date(context, writing, args.date.as_deref())?;
        let invoice = writing.invoice_to_refund(&args.invoice)?;
        let amount = read_amount(writing, args.amount.as_deref())?;
        let refunds = writing.refund(&invoice, amount, on, &args.note)?;
        let page = context.page(writing);
        context.give(writing, RefundAnswer::new(refunds, invoice.client, &page))
    })
}

fn apply_credit(context: &Context, args: &ApplyArgs) -> Result<()> {
    context.write(|writing| {
        let on = read_date(context, writing, args.date.as_deref())?;
        let invoice = writing.invoice(&args.invoice)?;
        let amount = read_amount(writing, args.amount.as_deref())?;
        let applied = writing.apply_credit(&invoice, amount, args.from.as_deref(), on)?;
        let invoice = writing.invoice(&args.invoice)?;
        let invoice = invoice_answer(context, writing, invoice)?;
        let page = context.page(writing);
        context.give(writing, AppliedAnswer::new(invoice, applied, &page))
    })
}
