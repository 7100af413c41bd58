//! Steps between versions of the tables that SQL alone cannot do.

use crate::chain::{self, Link};
use crate::entry::Says;
use crate::error::RecordsError;
use rusqlite::Transaction;

/// To version 2: every entry of the old log gets its link of the chain; words move beside the log.
pub(crate) fn log_into_a_chain(transaction: &Transaction<'_>) -> Result<(), RecordsError> {
    {
        let mut statement = transaction
            .prepare("SELECT job, number, at, says, supersedes, key FROM evidence_1 ORDER BY job, number")?;
        let mut rows = statement.query([])?;
        while let Some(row) = rows.next()? {
            let link = Link {
                job: row.get(0)?,
                number: row.get(1)?,
                at: row.get(2)?,
                says: row.get(3)?,
                supersedes: row.get(4)?,
                key: row.get(5)?,
                by: None,
            };
            let personal = serde_json::from_str::<Says>(&link.says).is_ok_and(|says| says.is_personal());
            chain::add(transaction, link, personal)?;
        }
    }
    transaction.execute_batch("DROP TABLE evidence_1")?;
    Ok(())
}
