//! `invoice` and `payment`: asking for the money, and getting it.

use anyhow::Result;
use clap::{Args, Subcommand};

use super::read::{confirm_day, read_date, read_money, read_percent};
use super::ui::Context;
use crate::document::invoice::{
    AppliedAnswer, InvoiceAnswer, InvoiceList, PaidAnswer, PaymentList,
};
use crate::ledger::{Invoice, Job, Ledger, Writing, is_job_number, refuse};
use crate::money::{Decimal, Money};
use crate::trade::invoice::InvoiceKind;

/// Manage invoices: drafts are addressed by their job, issued ones by their number
#[derive(Debug, Subcommand)]
pub(super) enum InvoiceCommand {
    Deposit(DepositArgs),
    Final(FinalArgs),
    Issue(IssueArgs),
    Show(ShowArgs),
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
    /// An amount before tax
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

/// Draft the final invoice of a job: price and variations less what was invoiced
#[derive(Debug, Args)]
#[command(
    after_long_help = "Examples:\n  gritledger invoice final J1\n  gritledger invoice final ada --issue"
)]
pub(super) struct FinalArgs {
    /// The job
    job: String,
    /// Issue it at once
    #[arg(long)]
    issue: bool,
}

/// Issue a job's draft: it gets the next number and never changes again
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
    /// List the payments
    #[command(after_long_help = "Example:\n  gritledger payment list")]
    List,
    Void(VoidArgs),
}

/// Note a payment
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger payment add I1 500")]
pub(super) struct AddArgs {
    /// The invoice, or its client or site
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
    let largest = law.largest_deposit(ledger.agreed(job)?.price_to_come());
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
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger invoice list --open")]
pub(super) struct ListArgs {
    /// Only those on which something is owed, or paid beyond what they ask for
    #[arg(long)]
    open: bool,
}

pub(super) fn cmd_invoice(context: &Context, command: InvoiceCommand) -> Result<()> {
    match command {
        InvoiceCommand::Deposit(args) => draft_deposit(context, &args),
        InvoiceCommand::Final(args) => context.write(|writing| {
            let job = writing.job(&args.job)?;
            let draft = writing.draft_final(&job)?;
            drafted(context, writing, &job, &draft, args.issue)
        }),
        InvoiceCommand::Issue(args) => context.write(|writing| {
            let job = writing.job(&args.job)?;
            confirm_stale(context, writing, &writing.draft_invoice_of(&job)?)?;
            issue(context, writing, &job)
        }),
        InvoiceCommand::Show(args) => context.read(|ledger| {
            let names_job = args.invoice.contains(['J', 'j']) && is_job_number(&args.invoice);
            let invoice = match names_job {
                true => ledger.draft_invoice_of(&ledger.job(&args.invoice)?)?,
                false => ledger.invoice(&args.invoice)?,
            };
            show(context, ledger, invoice)
        }),
        InvoiceCommand::List(args) => context.read(|ledger| {
            let invoices = match args.open {
                true => ledger.unsettled_invoices()?,
                false => ledger.invoices()?,
            };
            let page = context.page(ledger);
            context.give(ledger, InvoiceList::new(invoices, &page))
        }),
    }
}

fn draft_deposit(context: &Context, args: &DepositArgs) -> Result<()> {
    context.write(|writing| {
        let job = writing.job(&args.job)?;
        let amount = match (&args.share, &args.amount) {
            (Some(share), _) => {
                let share = read_percent(writing, share, "a share")?;
                if share <= Decimal::ZERO || share > Decimal::ONE {
                    refuse!("a deposit is a share between 0 and 100 %");
                }
                Some(writing.agreed(&job)?.price_to_come().times(share))
            }
            (None, Some(amount)) => Some(read_money(writing, amount)?),
            (None, None) => None,
        };
        let draft = writing.draft_deposit(&job, amount)?;
        warn_of_limit(context, writing, &job, draft.net)?;
        drafted(context, writing, &job, &draft, args.issue)
    })
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
    let due = writing.currency().text(invoice.due());
    let by = invoice.due_on.map(|day| format!(" by {day}"));
    context.status(&format!(
        "Issued {}: {due} is due{}.",
        invoice.name(),
        by.unwrap_or_default()
    ));
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

/// Returns an invoice as it stands.
fn invoice_answer(context: &Context, ledger: &Ledger, invoice: Invoice) -> Result<InvoiceAnswer> {
    let (credits, page) = (ledger.credits_for(&invoice)?, context.page(ledger));
    let business = ledger.identity().business.clone();
    Ok(InvoiceAnswer::new(invoice, credits, business, &page))
}

/// Has the owner confirm a draft that would say something else if it were drafted today.
fn confirm_stale(context: &Context, ledger: &Ledger, draft: &Invoice) -> Result<()> {
    let changes = ledger.changed_since(draft)?;
    if changes.is_empty() {
        return Ok(());
    }
    let again = match draft.kind {
        InvoiceKind::Deposit => {
            format!(
                "deposit {} --amount {}",
                draft.job,
                ledger.currency().text(draft.net)
            )
        }
        InvoiceKind::Progress | InvoiceKind::Final | InvoiceKind::Credit => {
            format!("final {}", draft.job)
        }
    };
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
    for part in draft
        .taxes
        .iter()
        .filter(|part| part.percent != draft.in_force)
    {
        context.warn(&format!(
            "what was agreed at {} % tax is taxed like that, and {} % is in force: it is for you to check",
            part.percent.normalize(),
            draft.in_force.normalize()
        ));
    }
}

pub(super) fn cmd_payment(context: &Context, command: PaymentCommand) -> Result<()> {
    match command {
        PaymentCommand::Add(args) => add_payment(context, &args),
        PaymentCommand::Apply(args) => apply_credit(context, &args),
        PaymentCommand::List => context.give_told::<PaymentList, _>(Ledger::payments),
        PaymentCommand::Void(args) => context.write(|writing| {
            let applied = writing.void_payment(&args.payment, &args.reason)?;
            context.status(&format!("Took back {}.", args.payment.to_uppercase()));
            for part in applied {
                context.status(&format!(
                    "{} of it was applied to {}, and is taken back with it.",
                    writing.currency().text(part.amount),
                    part.invoice
                ));
            }
            Ok(())
        }),
    }
}

fn add_payment(context: &Context, args: &AddArgs) -> Result<()> {
    context.write(|writing| {
        let on = read_date(context, writing, args.date.as_deref())?;
        let invoice = writing.invoice(&args.invoice)?;
        let amount = read_money(writing, &args.amount)?;
        confirm_day(context, on, None)?;
        if let Some(known) = writing.payment_like(&invoice, amount, on)? {
            context.confirm(&format!("the same payment is noted already, as {known}"))?;
        }
        let (number, invoice) =
            writing.add_payment(&invoice, amount, on, args.keep_credit, &args.note)?;
        let invoice = invoice_answer(context, writing, invoice)?;
        let page = context.page(writing);
        context.give(writing, PaidAnswer::new(invoice, number, amount, &page))
    })
}

fn apply_credit(context: &Context, args: &ApplyArgs) -> Result<()> {
    context.write(|writing| {
        let on = read_date(context, writing, args.date.as_deref())?;
        let invoice = writing.invoice(&args.invoice)?;
        let amount = args.amount.as_deref();
        let amount = amount
            .map(|amount| read_money(writing, amount))
            .transpose()?;
        let applied = writing.apply_credit(&invoice, amount, args.from.as_deref(), on)?;
        let invoice = writing.invoice(&args.invoice)?;
        let invoice = invoice_answer(context, writing, invoice)?;
        let page = context.page(writing);
        context.give(writing, AppliedAnswer::new(invoice, applied, &page))
    })
}
