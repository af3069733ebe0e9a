//! Writes the TypeScript declarations of all requests and replies to `app/src/types.ts`; with `--check` it only compares.
use std::path::Path;
use std::process::ExitCode;

use overwinter_documents::{Diagnostic, Place, Severity};
use overwinter_workbench::measure::{entry, guide, lost};
use overwinter_workbench::{ask, ranking, report, sun, trace_report as trace};
use ts_rs::{Config, TS};

const HEAD: &str = "\
// Made from the Rust types by `cargo run --package overwinter-workbench --features typescript --example typescript`.
// Do not edit: change the Rust types and run it again.
";

fn main() -> ExitCode {
    // Counts and seeds stay below 2^53, so a JavaScript number holds them.
    let config = Config::new().with_large_int("number");
    let mut text = HEAD.to_owned();
    macro_rules! declare {
        ($($type:ty),* $(,)?) => {$(
            text.push_str("\nexport ");
            text.push_str(&<$type>::decl(&config));
            text.push('\n');
        )*};
    }
    declare!(
        ask::Request,
        ask::Reply,
        ask::Names,
        ask::BoardReport,
        Diagnostic,
        Place,
        Severity,
        report::Truth,
        report::Origin,
        report::FigureValue,
        report::CellValue,
        report::Column,
        report::Row,
        report::TableReport,
        report::NeedResult,
        report::NeedVerdict,
        report::EndingShare,
        report::LifeAnswer,
        report::ReworkGain,
        report::BoardVerdict,
        report::ChoiceReport,
        report::LedgerLine,
        report::Moment,
        report::MarginLine,
        report::SensitivityLine,
        report::Allowance,
        report::ForecastReport,
        report::BillLine,
        report::BillReport,
        ranking::LifeSummary,
        ranking::Tie,
        trace::TraceRequest,
        trace::TraceReply,
        trace::TraceShows,
        trace::TraceFigure,
        trace::RecordingLine,
        trace::TraceSummary,
        trace::TraceActivity,
        trace::TraceActivityPhase,
        trace::TraceFloor,
        trace::TraceDrift,
        trace::TracePhase,
        trace::TraceWake,
        trace::TraceDefect,
        trace::TracePlace,
        trace::TraceStop,
        trace::TraceQuantile,
        trace::TraceVoltage,
        trace::TraceReport,
        trace::TraceColumns,
        trace::TraceWindow,
        trace::TraceOverlay,
        trace::TraceOverlayWake,
        trace::TraceBetween,
        trace::TraceChange,
        trace::TraceWakeChange,
        trace::TracePhaseChange,
        trace::TraceDays,
        trace::TraceComparison,
        trace::RailAnswer,
        trace::RailCapture,
        trace::RailColumns,
        trace::PublishedTrace,
        guide::StepStatus,
        guide::StepLine,
        guide::PolarityLine,
        guide::GuideReport,
        guide::WriteDown,
        lost::PostMortem,
        entry::EntryPlace,
        entry::EntryField,
        entry::EntryForm,
        entry::ReadBack,
        sun::request::SunRequest,
        sun::request::SunMapRequest,
        sun::request::SunMapCounts,
        sun::request::TiltRequest,
        sun::request::ChargeRequest,
        sun::report::ShareOfYears,
        sun::report::SunAssumption,
        sun::report::SunMonth,
        sun::report::SunSetting,
        sun::report::SunBalanceMonth,
        sun::report::SunFanDay,
        sun::report::SunLedgerLine,
        sun::report::SunRuleOfThumb,
        sun::report::SunDailyBank,
        sun::report::SunContribution,
        sun::report::SunContinued,
        sun::report::SunUncertain,
        sun::report::SunOutcome,
        sun::report::SunBoard,
        sun::report::SunReport,
        sun::report::SunMapPoint,
        sun::report::SunSmallest,
        sun::report::SunMapReport,
        sun::report::TiltLine,
        sun::report::TiltReport,
        sun::report::ChargeVerdict,
        sun::report::ChargeSpan,
        sun::report::ChargeLine,
        sun::report::ChargeReport,
    );
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../app/src/types.ts");
    if std::env::args().any(|argument| argument == "--check") {
        if std::fs::read_to_string(&file).is_ok_and(|old| old == text) {
            return ExitCode::SUCCESS;
        }
        eprintln!("app/src/types.ts is out of date; make it again as its first line says");
        return ExitCode::FAILURE;
    }
    match std::fs::write(&file, text) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("cannot write {}: {error}", file.display());
            ExitCode::FAILURE
        }
    }
}
