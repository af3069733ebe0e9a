//! The physics: load, supply path, cell, and the exact-leap forecast with its ledger.
