//! The accounts that a firm's figures add up in. Each has a word of its own here, and a name that its firm may choose.

use super::closed_set;

closed_set! {
    /// An account.
    Account, "account" {
        /// What there is in the bank and the till.
        Money = "money",
        /// What clients owe.
        Owed = "owed",
        /// What is on the shelf.
        Shelf = "shelf",
        /// What was invoiced before tax.
        Work = "work",
        /// Interest on what was paid late.
        Interest = "interest",
        /// Cents by which totals are rounded.
        Rounding = "rounding",
        /// Hours on jobs.
        Labour = "labour",
        /// What jobs used.
        Consumables = "consumables",
        /// Machines on jobs.
        Rental = "rental",
        /// Driving for jobs.
        Driving = "driving",
        /// What else was spent on jobs.
        Other = "other",
        /// Hours of no job.
        OverheadLabour = "overhead-labour",
        /// Driving of no job.
        OverheadDriving = "overhead-driving",
        /// What else was spent for no job.
        Overhead = "overhead",
        /// What was written off.
        Lost = "lost",
        /// What the shelf lost.
        ShelfLoss = "shelf-loss",
        /// Tax on invoices.
        Tax = "tax",
        /// Hours that are to be paid.
        Wages = "wages",
        /// What was used before its receipt.
        Awaiting = "awaiting",
        /// Driving in the owner's own vehicle.
        Vehicle = "vehicle",
        /// What the owner's own floors took.
        Own = "own",
    }
}

impl Account {
    /// What jobs cost, a kind each.
    pub const OF_JOBS: [Account; 5] = [
        Account::Labour,
        Account::Consumables,
        Account::Rental,
        Account::Driving,
        Account::Other,
    ];

    /// What the firm costs beside its jobs.
    pub const OVERHEADS: [Account; 3] = [
        Account::OverheadLabour,
        Account::OverheadDriving,
        Account::Overhead,
    ];

    /// Tells whether it is part of a result: income, or a cost.
    pub fn is_of_result(self) -> bool {
        let others = [
            Account::Work,
            Account::Interest,
            Account::Rounding,
            Account::Lost,
            Account::ShelfLoss,
        ];
        others.contains(&self)
            || Account::OF_JOBS.contains(&self)
            || Account::OVERHEADS.contains(&self)
    }
}
