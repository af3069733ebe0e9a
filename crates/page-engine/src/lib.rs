//! The workbench for a browser: raw WebAssembly exports, JSON in and out.
//!
//! The caller asks for memory with [`alloc`], writes a [`Call`] as JSON into it and hands both to [`call`], which frees that
//! memory and returns where the reply lies: the address in the upper half of the number, the length in the lower. The
//! caller reads the reply and gives it back with [`dealloc`]. No generator and no glue: three functions and a memory.
#![allow(
    unsafe_code,
    reason = "memory crosses the border to JavaScript as address and length; nothing else in this crate is unsafe"
)]

use std::cell::RefCell;

use overwinter_documents::Diagnostic;
use overwinter_workbench::ask::{Reply, Request, ask, diagnostic, stepwise};
use overwinter_workbench::bench::Bench;
use overwinter_workbench::question::QuestionError;
use overwinter_workbench::stepwise::{Part, Stepwise};
use serde::{Deserialize, Serialize};

/// What a page can call.
#[derive(Debug, Deserialize)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum Call {
    /// Reads the documents, `(path, text)` each, in place of those read before.
    Open(Vec<(String, String)>),
    /// Asks the workbench.
    Ask(Request),
    /// Begins a choice that is computed in steps, in place of the one before; draws that are the same are taken over.
    Begin {
        /// A project's name, or the whole text of a project document.
        project: String,
        /// Draws of the last step.
        draws: usize,
        /// Seed.
        seed: u64,
    },
    /// A first look at that choice, from few draws.
    Glance {
        /// How many.
        draws: usize,
    },
    /// Takes draws of that choice.
    Draw {
        /// The boards whose reworks are drawn; `None` draws the boards themselves.
        reworks: Option<Vec<String>>,
        /// First draw.
        from: usize,
        /// The draw after the last.
        to: usize,
        /// Whether they are handed out for another instance.
        hand_out: bool,
    },
    /// Takes over what another instance has handed out: its whole answer.
    Take(Handed),
    /// The choice from the first draws.
    Report {
        /// How many.
        draws: usize,
    },
}

/// The answer in which draws are handed out.
#[derive(Debug, Deserialize)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum Handed {
    /// The draws.
    Drawn(Option<Part>),
}

/// What comes back.
#[derive(Debug, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Answer {
    /// The documents were read; what was found on the way.
    Opened(Vec<Diagnostic>),
    /// The workbench's reply.
    Reply(Box<Reply>),
    /// The choice has begun, with so many draws already there; or its question could not be understood.
    Begun(Result<usize, Vec<Diagnostic>>),
    /// Draws were taken; what is handed out.
    Drawn(Option<Part>),
    /// The call itself could not be read.
    Fault(String),
}

thread_local! {
    // A worker is one thread and has one bench.
    static BENCH: RefCell<Bench> = RefCell::new(Bench::default());
    static CHOICE: RefCell<Option<Stepwise>> = const { RefCell::new(None) };
}

/// Does something with the choice that was begun.
fn with_choice(act: impl FnOnce(&mut Stepwise) -> Result<Answer, QuestionError>) -> Answer {
    CHOICE.with(|slot| match slot.borrow_mut().as_mut() {
        None => Answer::Fault("no choice was begun".into()),
        Some(choice) => act(choice).unwrap_or_else(|error| {
            Answer::Reply(Box::new(Reply::Error(vec![diagnostic(&error)])))
        }),
    })
}

/// Answers a call in JSON.
pub fn answer(call: &[u8]) -> Vec<u8> {
    let answer = match serde_json::from_slice::<Call>(call) {
        Err(error) => Answer::Fault(error.to_string()),
        Ok(Call::Open(files)) => {
            let (bench, diagnostics) = Bench::read(files);
            BENCH.with(|slot| *slot.borrow_mut() = bench);
            CHOICE.with(|slot| *slot.borrow_mut() = None);
            Answer::Opened(diagnostics)
        }
        Ok(Call::Ask(request)) => {
            Answer::Reply(Box::new(BENCH.with(|slot| ask(&slot.borrow(), request))))
        }
        Ok(Call::Begin { project, draws, seed }) => {
            let begun = BENCH.with(|slot| stepwise(&slot.borrow(), &project, draws, seed));
            Answer::Begun(begun.map(|mut choice| {
                CHOICE.with(|slot| {
                    let mut slot = slot.borrow_mut();
                    if let Some(earlier) = slot.take() {
                        choice.take_over(earlier);
                    }
                    slot.insert(choice).drawn()
                })
            }))
        }
        Ok(Call::Glance { draws }) => with_choice(|choice| {
            BENCH
                .with(|bench| choice.glance(&bench.borrow(), draws))
                .map(|report| Answer::Reply(Box::new(Reply::Choice(Box::new(report)))))
        }),
        Ok(Call::Draw { reworks, from, to, hand_out }) => with_choice(|choice| {
            if hand_out {
                return choice.part(reworks, from..to).map(|part| Answer::Drawn(Some(part)));
            }
            match reworks {
                Some(boards) => choice.draw_reworks(&boards, from..to)?,
                None => choice.draw(from..to)?,
            }
            Ok(Answer::Drawn(None))
        }),
        Ok(Call::Take(Handed::Drawn(part))) => with_choice(|choice| {
            if let Some(part) = part {
                choice.take(&part)?;
            }
            Ok(Answer::Drawn(None))
        }),
        Ok(Call::Report { draws }) => with_choice(|choice| {
            BENCH
                .with(|bench| choice.report(&bench.borrow(), draws))
                .map(|report| Answer::Reply(Box::new(Reply::Choice(Box::new(report)))))
        }),
    };
    serde_json::to_vec(&answer)
        .unwrap_or_else(|error| format!(r#"{{"fault":"reply cannot be written: {error}"}}"#).into())
}

/// Memory for a call of `length` bytes.
#[unsafe(no_mangle)]
pub extern "C" fn alloc(length: usize) -> *mut u8 {
    Box::into_raw(vec![0_u8; length].into_boxed_slice()).cast()
}

/// Gives memory back.
///
/// # Safety
/// `at` and `length` are those of one [`alloc`] or one reply, given back once.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn dealloc(at: *mut u8, length: usize) {
    // SAFETY: by this function's contract the slice is a whole boxed slice that nobody else holds.
    drop(unsafe { Box::from_raw(std::ptr::slice_from_raw_parts_mut(at, length)) });
}

/// Answers the call that lies in memory of [`alloc`] and frees it; returns address × 2³² + length of the reply.
///
/// # Safety
/// `at` and `length` are those of one [`alloc`], not given back yet.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn call(at: *mut u8, length: usize) -> u64 {
    // SAFETY: by this function's contract the slice is a whole boxed slice that nobody else holds.
    let call = unsafe { Box::from_raw(std::ptr::slice_from_raw_parts_mut(at, length)) };
    let reply = answer(&call).into_boxed_slice();
    let length = reply.len() as u64;
    (Box::into_raw(reply).cast::<u8>() as u64) << 32 | length
}

#[cfg(test)]
mod tests {
    use super::*;
    use overwinter_workbench::demo::FILES;
    use serde_json::{Value, json};

    fn said(call: &Value) -> Value {
        serde_json::from_slice(&answer(call.to_string().as_bytes())).unwrap()
    }

    fn open() {
        let files: Vec<_> = FILES.iter().filter(|(path, _)| path.contains('/')).collect();
        let opened = said(&json!({ "open": files }));
        assert!(opened["opened"].is_array(), "{opened}");
    }

    #[test]
    fn the_demo_opens_and_its_table_has_every_board() {
        open();
        let reply = said(&json!({ "ask": { "table": { "columns": ["all"] } } }));
        assert_eq!(reply["reply"]["table"]["rows"].as_array().unwrap().len(), 11);
    }

    #[test]
    fn a_choice_in_steps_is_the_choice_at_once() {
        open();
        let at_once = said(
            &json!({ "ask": { "choose": { "project": "footbridges", "draws": 40, "seed": 1 } } }),
        );
        let begun = said(&json!({ "begin": { "project": "footbridges", "draws": 40, "seed": 1 } }));
        assert_eq!(begun["begun"]["Ok"], 0, "{begun}");
        let glance = said(&json!({ "glance": { "draws": 8 } }));
        assert_eq!(glance["reply"]["choice"]["draws"], 8);
        let handed =
            said(&json!({ "draw": { "reworks": null, "from": 20, "to": 40, "hand_out": true } }));
        assert!(said(&json!({ "take": handed }))["drawn"].is_null());
        assert_eq!(said(&json!({ "report": { "draws": 8 } }))["reply"]["choice"]["draws"], 8);
        assert_eq!(said(&json!({ "report": { "draws": 40 } })), at_once);
        let wrong = said(&json!({ "begin": { "project": "footbridge", "draws": 40, "seed": 1 } }));
        assert_eq!(wrong["begun"]["Err"][0]["code"], "no-such");
    }

    #[test]
    fn a_wrong_call_is_told() {
        let reply = answer(b"{\"ask\":{\"tabel\":{}}}");
        assert!(std::str::from_utf8(&reply).unwrap().starts_with("{\"fault\":\"unknown variant"));
    }

    #[test]
    fn a_missing_board_is_an_error_with_help() {
        open();
        let reply = said(&json!({ "ask": { "board": { "board": "BOWLIN" } } }));
        assert_eq!(reply["reply"]["error"][0]["help"], "did you mean “BOWLINE”?");
    }
}
