//! The bench side: from a reading to a defended number. Documents in, reports out; the statistics are `overwinter-figures`'.

pub mod burden;
pub mod chips;
pub mod dispute;
pub mod entry;
pub mod figure;
pub mod guide;
pub mod lost;
pub mod next;
pub mod printed;
pub mod record;
pub mod ride;
pub mod settle;
pub mod specimens;
pub mod sweep;
