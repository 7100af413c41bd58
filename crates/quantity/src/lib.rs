//! Quantities with units, trade notation, and values with uncertainty.
