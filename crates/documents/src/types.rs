//! The documents' types, one module a kind.

pub mod board;
pub mod cell;
pub mod meter;
pub mod parts;
pub mod project;
pub mod recording;
pub mod session;
pub mod sun;
pub mod supply;
