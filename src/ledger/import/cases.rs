//! Questions brought in as a file: what would this work take?

use std::collections::BTreeMap;

use anyhow::Result;

use super::book::{area_and_edge, driver_of, operation_of};
use crate::ledger::Ledger;
use crate::ledger::rows::{Columns, Row, Rows};
use crate::measure::Units;
use crate::trade::operation::Operation;
use crate::trade::rates::{Asked, FloorClass, RateKind};
use crate::trade::{FloorCondition, Species};

const COLUMNS: Columns = Columns {
    kind: "cases",
    required: &[
        "case_id",
        "job",
        "operation",
        "condition",
        "species",
        "area",
        "edge",
        "kind",
    ],
    optional: &["quantity", "area_unit", "edge_unit", "quantity_unit"],
};

/// A sum that is asked for.
#[derive(Clone, Debug)]
pub struct Case {
    /// What its owner calls it.
    pub id: String,
    /// Where its first row is: `file:line`.
    pub place: String,
    /// What is summed.
    pub asked: Vec<Asked>,
}

impl Ledger {
    /// Reads a file of cases; rows with one `case_id` are summed, in the order that the cases come.
    ///
    /// # Errors
    /// Refuses the first mistake, with file, line and column.
    pub fn read_cases(&self, file: &str, text: &[u8], units: Units) -> Result<Vec<Case>> {
        let rows = Rows::read(file, text, COLUMNS)?;
        let operations = self.operations_by_name()?;
        let mut jobs: BTreeMap<&str, usize> = BTreeMap::new();
        let mut places: BTreeMap<&str, usize> = BTreeMap::new();
        let mut cases: Vec<Case> = Vec::new();
        for row in rows.iter() {
            let id = row.filled("case_id")?;
            let next = jobs.len();
            let job = *jobs.entry(row.filled("job")?).or_insert(next);
            let asked = read_asked(row, operation_of(row, &operations)?, job, units)?;
            let place = *places.entry(id).or_insert(cases.len());
            match cases.get_mut(place) {
                Some(case) => case.asked.push(asked),
                None => cases.push(Case {
                    id: id.to_owned(),
                    place: format!("{file}:{}", row.line),
                    asked: vec![asked],
                }),
            }
        }
        Ok(cases)
    }
}

fn read_asked(row: Row<'_>, operation: &Operation, job: usize, units: Units) -> Result<Asked> {
    let kind = row.word::<RateKind>("kind")?;
    if kind == RateKind::Item && operation.item.is_none() {
        return Err(row.wrong("kind", format!("{} takes no item", operation.name)));
    }
    let (area, edge) = area_and_edge(row, units)?;
    Ok(Asked {
        job,
        operation: operation.id,
        kind,
        class: FloorClass {
            condition: row.word::<FloorCondition>("condition")?,
            species: row.word::<Species>("species")?,
        },
        driver: driver_of(row, operation, area, edge, units)?,
        passes: 1,
    })
}
