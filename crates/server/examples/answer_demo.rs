//! Answers questions about the demo bench natively, one JSON a line in, one a line out: what the engine in the page must
//! answer to the last bit.
#![allow(clippy::print_stdout, reason = "the answers are this program's result")]
use overwinter_workbench::ask::{Request, ask};
use overwinter_workbench::bench::Bench;
use overwinter_workbench::demo::FILES;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let (bench, _) = Bench::read(FILES.iter().copied().filter(|(path, _)| path.contains('/')));
    for line in std::io::stdin().lines() {
        let request: Request = serde_json::from_str(&line?)?;
        println!("{}", serde_json::to_string(&ask(&bench, request))?);
    }
    Ok(())
}
