//! What a repair costs, and whether it is worth it.
//!
//! [`quote()`] prices one [`Repair`] by the technician's own [`Prices`], in decimals and any currency; [`quotation()`] does so for
//! every suspect that remains and gives the range that covers most of them. [`weigh()`] holds a repair against a new machine over
//! the remaining life of the old one and says so in a sentence, with all that it assumed.
//!
//! Read in this order: `money.rs`, `price.rs`, `quote.rs`, `range.rs`, `cases.rs` (from suspects to repairs); `life.rs` (Weibull), `lifetimes.toml` with
//! `lifetimes.rs`, `choice.rs`, `weigh.rs`,
//! `assumed.rs`; `consent.rs`.
//! Not here: who the suspects are (`diagnosis`), invoices (`report`), keeping any of it (`records`).
//!
//! Always true: nothing here reads a clock, a file or a random source; what a customer pays is decimal from end to end,
//! what is expected over years is an estimate in `f64` and says so; the sentence informs, it never orders.

mod assumed;
mod cases;
pub mod choice;
mod consent;
pub mod life;
mod lifetimes;
mod money;
mod price;
mod quote;
mod range;
mod weigh;

pub use assumed::{EDITABLE, Editable, pending};
pub use cases::{PartPrices, cases, repair};
pub use consent::{Consent, ConsentError, Decision};
pub use life::{Weibull, WeibullError};
pub use lifetimes::{Lifetime, lifetime, lifetimes};
pub use money::{Currency, MoneyError, Rounding, parse_amount, parse_percent};
pub use price::{Prices, Tax};
pub use quote::{Line, LineKind, Part, Quote, Repair, TaxLine, quote};
pub use range::{Case, Quotation, quotation};
pub use weigh::{Assumptions, AssumptionsError, Pending, Running, Tilt, Weighed, weigh};
