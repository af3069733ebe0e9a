//! The app served on loopback and the page published as one file: one front end, two homes.
//!
//! The front end lies built inside this library. [`publish()`] fills it with documents, prepared answers and the engine as
//! WebAssembly; [`serve()`] fills it with a token and answers its questions itself. Without a built front end both say how
//! to build it ([`NotBuilt`]).
#![forbid(unsafe_code)]

mod bench;
mod consequences;
mod guard;
mod publish;
mod serve;
mod summary;
mod template;

pub use bench::{Documents, SaveFault};
pub use publish::{DRAWS, Prepared, PreparedAnswers, Publication, prepare, publish};
pub use serve::{ServeError, Serving, bind};
pub use template::{NotBuilt, is_built};
