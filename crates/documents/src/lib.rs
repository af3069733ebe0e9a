//! The bench folder's documents: types, embedded library, diagnostics, schemas, the comparison table as CSV.
