//! The trade: what a floor refinisher measures, decides, quotes, logs and learns.
//!
//! Everything here is pure: no SQL, no command line, no clock, no printing. The same inputs give the same answer
//! on any day and any machine. Quantities are [`Decimal`]s in the trade's canonical units (square feet, lineal feet,
//! counts, hours), amounts are [`Money`](crate::money::Money). [`bounds`] says what may be typed at all.
//!
//! In reading order: a [`room`] has a floor area and an edge, perhaps from a [`walk`] along its walls, and perhaps [`parts`]
//! in other conditions; what is a [`reading`] there says whether it is [`sandable`]; an [`operation`] is one thing that is
//! done, measured by its driver, and a coat leaves a [`film`]; a [`takeoff`] turns rooms, findings and
//! methods into quantities at the [`rates`] of book and experience; [`pricing`] draws the job with `simulate` and makes a
//! [`quote`] of it, with the [`rental`] and [`buying`] that [`cover`] works out and the [`cautions`] that apply; trim is cut
//! by [`cutting`], and a [`contract`] may have limits. A [`variation`] takes agreed work away, or measures it again. A [`plan`] says in what order a whole house is done, and [`trips`] how often somebody drives there. What the job then takes moves [`stock`] and adds up in [`job_cost`];
//! a [`budget`] says how far that has come; [`variance`] sets it beside the quote; [`evidence`] is what a finished job teaches the rates; an [`invoice`] asks for
//! the money, with the [`tax`] on it. All of it adds up in [`accounts`].

pub mod accounts;
pub mod ageing;
pub mod bounds;
pub mod budget;
pub mod buying;
pub mod cash;
pub mod cautions;
pub mod contract;
pub mod cover;
pub mod cutting;
pub mod evidence;
pub mod film;
pub mod interest;
pub mod invoice;
pub mod job_cost;
pub mod operation;
pub mod parts;
pub mod plan;
pub mod pricing;
pub mod progress;
pub mod quote;
pub mod rates;
pub mod reading;
pub mod rental;
pub mod room;
pub mod sandable;
mod simulate;
pub mod stock;
pub mod takeoff;
pub mod tax;
pub mod trips;
pub mod variance;
pub mod variation;
pub mod walk;

use thiserror::Error;

use crate::measure::{METRES_PER_FOOT, SQUARE_METRES_PER_SQUARE_FOOT, Units};
pub use crate::money::Decimal;
use crate::money::plain;

/// A word that is not one of a closed set.
#[derive(Debug, Error, PartialEq, Eq)]
#[error("`{text}` is not a {set}; one of: {members}")]
pub struct NotInSet {
    /// The text as typed.
    pub text: String,
    /// What the set is called.
    pub set: &'static str,
    /// Every member, comma-separated.
    pub members: String,
}

/// Defines a closed set of words: an enum whose variants are written the same in commands, tables, CSV and the file.
macro_rules! closed_set {
    ($(#[$doc:meta])* $name:ident, $set:literal { $($(#[$variant_doc:meta])* $variant:ident = $word:literal),+ $(,)? }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize)]
        pub enum $name { $($(#[$variant_doc])* #[serde(rename = $word)] $variant),+ }

        impl $name {
            /// Every member, in the order that lists show.
            pub const ALL: &'static [$name] = &[$($name::$variant),+];

            /// Returns the word for it.
            pub const fn as_str(self) -> &'static str {
                match self { $($name::$variant => $word),+ }
            }
        }

        impl std::str::FromStr for $name {
            type Err = $crate::trade::NotInSet;

            fn from_str(text: &str) -> Result<Self, Self::Err> {
                let wanted = text.trim().to_ascii_lowercase().replace(' ', "-");
                $name::ALL.iter().copied().find(|member| member.as_str() == wanted).ok_or_else(|| $crate::trade::NotInSet {
                    text: text.to_owned(),
                    set: $set,
                    members: $name::ALL.iter().map(|member| member.as_str()).collect::<Vec<_>>().join(", "),
                })
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.pad(self.as_str())
            }
        }
    };
}
pub(crate) use closed_set;

closed_set! {
    /// What the first cut meets.
    FloorCondition, "floor condition" {
        /// Bare wood.
        Bare = "bare",
        /// A film finish that still holds.
        SoundFilm = "sound-film",
        /// A film finish worn through in places.
        WornFilm = "worn-film",
        /// Oil or wax in the wood.
        OilWax = "oil-wax",
        /// Paint.
        Paint = "paint",
        /// Old flooring glue or mastic.
        Glue = "glue",
    }
}

closed_set! {
    /// The wood of a floor.
    Species, "species" {
        /// Northern red oak.
        RedOak = "red-oak",
        /// White oak.
        WhiteOak = "white-oak",
        /// Hard (sugar) maple.
        HardMaple = "hard-maple",
        /// Birch.
        Birch = "birch",
        /// Beech.
        Beech = "beech",
        /// Ash.
        Ash = "ash",
        /// Hickory and pecan.
        Hickory = "hickory",
        /// Walnut.
        Walnut = "walnut",
        /// Cherry.
        Cherry = "cherry",
        /// Old-growth longleaf pine.
        HeartPine = "heart-pine",
        /// Other pine.
        Pine = "pine",
        /// Douglas-fir.
        DouglasFir = "douglas-fir",
        /// Anything else.
        Other = "other",
    }
}

closed_set! {
    /// How the boards lie.
    Layout, "layout" {
        /// Narrow strips.
        Strip = "strip",
        /// Wide planks.
        Plank = "plank",
        /// Parquet.
        Parquet = "parquet",
        /// Herringbone.
        Herringbone = "herringbone",
    }
}

closed_set! {
    /// What a cost is for, in every summary.
    CostKind, "kind of cost" {
        /// Hours worked.
        Labour = "labour",
        /// Items used.
        Consumables = "consumables",
        /// Rented machines.
        Rental = "rental",
        /// Money spent otherwise, miles driven.
        Other = "other",
        /// The share of labour that runs the firm.
        Overhead = "overhead",
    }
}

closed_set! {
    /// Units of quantities wherever they leave the program.
    Unit, "unit" {
        /// Square foot.
        SquareFoot = "sqft",
        /// Lineal foot.
        Foot = "ft",
        /// Square metre.
        SquareMetre = "m2",
        /// Metre.
        Metre = "m",
        /// One abrasive disc.
        Disc = "disc",
        /// US gallon.
        Gallon = "gal",
        /// Litre.
        Litre = "l",
        /// Hour.
        Hour = "h",
        /// One piece.
        Each = "each",
        /// Rental day.
        Day = "day",
        /// Mile.
        Mile = "mi",
        /// Kilometre.
        Kilometre = "km",
    }
}

impl Unit {
    /// Returns what driving is counted in where figures are in such units.
    pub fn of_roads(units: Units) -> Unit {
        match units {
            Units::Us => Unit::Mile,
            Units::Metric => Unit::Kilometre,
        }
    }

    /// Returns the unit of the same kind where figures are in such units, and how much of it one of this is.
    pub fn in_units(self, units: Units) -> (Unit, Decimal) {
        match (units, self) {
            (Units::Metric, Unit::SquareFoot) => (Unit::SquareMetre, SQUARE_METRES_PER_SQUARE_FOOT),
            (Units::Metric, Unit::Foot) => (Unit::Metre, METRES_PER_FOOT),
            _ => (self, Decimal::ONE),
        }
    }

    /// Writes so much of it in agreement, to so many decimals: `1 disc`, `2.5 days`, `22 sq ft`; pieces have no word.
    pub fn told(self, quantity: Decimal, decimals: u32) -> String {
        let figure = plain(quantity, decimals);
        let one = figure == "1";
        let word = match self {
            Unit::Each => return figure,
            Unit::SquareFoot => "sq ft",
            Unit::SquareMetre => "m²",
            Unit::Disc if !one => "discs",
            Unit::Day if !one => "days",
            other => other.as_str(),
        };
        format!("{figure} {word}")
    }

    /// Returns the word for several, in full.
    pub fn in_words(self) -> &'static str {
        match self {
            Unit::SquareFoot => "square feet",
            Unit::Foot => "feet",
            Unit::SquareMetre => "square metres",
            Unit::Metre => "metres",
            Unit::Disc => "discs",
            Unit::Gallon => "gallons",
            Unit::Litre => "litres",
            Unit::Hour => "hours",
            Unit::Each => "pieces",
            Unit::Day => "days",
            Unit::Mile => "miles",
            Unit::Kilometre => "kilometres",
        }
    }
}

/// Defines the identity of a row: a number that means nothing but itself.
macro_rules! ids {
    ($($(#[$doc:meta])* $name:ident),+ $(,)?) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize)]
        pub struct $name(pub i64);
    )+};
}

ids! {
    /// A client.
    ClientId,
    /// A site.
    SiteId,
    /// A room.
    RoomId,
    /// A finding.
    FindingId,
    /// A reading.
    ReadingId,
    /// A worker.
    WorkerId,
    /// A task.
    TaskId,
    /// An item.
    ItemId,
    /// A machine.
    MachineId,
    /// An operation.
    OperationId,
    /// One version of a quote.
    QuoteId,
    /// A job.
    JobId,
    /// An entry of the day book.
    EntryId,
    /// An invoice.
    InvoiceId,
    /// A payment.
    PaymentId,
}
