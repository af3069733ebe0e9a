//! Sun: the folder's site, panel, board, cell and project as the year-round balance of `overwinter-sun`.

pub mod report;
pub mod request;
