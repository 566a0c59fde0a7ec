//! What rooms will take: expected, and how much is enough so often.

use serde::Serialize;

use super::{Fine, Rated};
use crate::document::figures::Number;
use crate::document::list::{Columns, InColumns, joined};
use crate::document::{Answer, List, Page, count, or_blank};
use crate::money::Decimal;
use crate::trade::Unit;
use crate::trade::operation::Operation;
use crate::trade::rates::{Prediction, RateKind};

/// What is foretold: the mean, and what isn't exceeded 1, 5, 8 and 9 times in 10.
#[derive(Clone, Copy, Debug, Serialize)]
struct Foretold<T> {
    mean: T,
    p10: T,
    p50: T,
    p80: T,
    p90: T,
}

impl<T: InColumns> InColumns for Foretold<T> {
    fn columns(key: &str, to: &mut Columns) {
        for part in ["mean", "p10", "p50", "p80", "p90"] {
            T::columns(&joined(key, part), to);
        }
    }
}

impl<T> Foretold<T> {
    fn new(prediction: Prediction, figure: fn(Decimal) -> T) -> Foretold<T> {
        let Prediction {
            mean,
            p10,
            p50,
            p80,
            p90,
        } = prediction;
        Foretold {
            mean: figure(mean),
            p10: figure(p10),
            p50: figure(p50),
            p80: figure(p80),
            p90: figure(p90),
        }
    }
}

answer! {
    /// What rooms of one job will take together.
    pub struct PredictionAnswer of (prediction: Prediction, operation: &Operation, kind: RateKind, rooms: usize) on page {
        operation: String = operation.name.clone(),
        kind: RateKind,
        unit: Unit = Rated::from(operation).counted_in(kind),
        rooms: usize,
        #[serde(flatten)]
        foretold: Foretold<Number> = Foretold::new(prediction, Number),
        #[serde(skip)]
        item: Option<String> = operation.item.as_ref().filter(|_| kind == RateKind::Item).map(|item| item.name.clone()),
    }
}

impl Answer for PredictionAnswer {
    fn text(&self, page: &Page) -> String {
        let say = |quantity: Number| page.measured(quantity.0, self.unit);
        let item = self.item.as_ref().map(|item| format!(" {item}"));
        format!(
            "{}{}, {}: expect {}.\n\
             1 time in 10 at most {}; 5 in 10 at most {}; 8 in 10 at most {}; 9 in 10 at most {}.",
            self.operation,
            or_blank(item),
            count(self.rooms, "room"),
            say(self.foretold.mean),
            say(self.foretold.p10),
            say(self.foretold.p50),
            say(self.foretold.p80),
            say(self.foretold.p90),
        )
    }
}

answer! {
    /// A case of a file.
    struct Case of (case: (String, Prediction)) on page {
        case_id: String = case.0,
        #[serde(flatten)]
        foretold: Foretold<Fine> = Foretold::new(case.1, Fine),
    }
}

answer! {
    /// The cases of a file.
    pub struct CasesAnswer(Vec<Case>) of (cases: Vec<(String, Prediction)>) on page;
}

impl CasesAnswer {
    /// Returns the cases.
    pub fn list(&self) -> Option<List<'_>> {
        List::of(&self.0)
    }
}
