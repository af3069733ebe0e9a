//! The questions people ask: table, choice, forecast of a board, check, rework, next test; documents in, reports out.
