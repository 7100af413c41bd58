//! Steps between versions of the tables that SQL alone cannot do.

use crate::chain::{self, Link};
use crate::entry::Says;
use crate::error::RecordsError;
use rusqlite::Transaction;

/// To version 2: every entry of the old log gets its link of the chain; words move beside the log.
pub(crate) fn log_into_a_chain(transaction: &Transaction<'_>) -> Result<(), RecordsError> {
    {
        let mut statement = transaction.prepare(
            "SELECT job, number, at, says, supersedes, key, NULL FROM evidence_1 ORDER BY job, number",
        )?;
        let mut rows = statement.query([])?;
        while let Some(row) = rows.next()? {
            let link = Link::of_row(row)?;
            let personal = serde_json::from_str::<Says>(&link.says).is_ok_and(|says| says.is_personal());
            chain::add(transaction, link, personal)?;
        }
    }
    transaction.execute_batch("DROP TABLE evidence_1")?;
    Ok(())
}
