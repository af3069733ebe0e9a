//! The bench guide on folders that grow from a parcel to a table, and the gate before the first cell.

use overwinter_workbench::bench::Bench;
use overwinter_workbench::measure::guide::{GuideReport, StepStatus, guide};

const METER: &str = "[instrument]\nname = \"meter\"\nclass = \"hand-held, 6000 counts\"\n";
const BOARD: &str = "[board]\nname = \"B\"\nkind = \"measured\"\nsource = \"here\"\n[board.traits]\ncharger = \"yes\"\npins = 24\n[[board.specimens]]\nid = \"B-1\"\nbought = 2026-05-01\n";
const PROJECT: &str = "[project]\nname = \"p\"\ncell = \"c\"\n[[project.activities]]\nname = \"report\"\nevery = \"15 min\"\ncharge = \"190 mC\"\nduration = \"2 s\"\n";
const CELL: &str = "[cell]\nname = \"c\"\nchemistry = \"lithium-ion\"\ncapacity = \"2500 mAh\"\nlead = { positive_side = \"right\" }\n";
const AGREED: &str = "[session.polarity]\nohms_left = \"0.3 Ω\"\nohms_right = \"> 1 MΩ\"\nvolts_left = \"0.00 V\"\nvolts_right = \"4.19 V\"\n";

fn session(name: &str, rest: &str) -> String {
    format!("[session]\nname = \"{name}\"\nspecimen = \"B-1\"\ndate = 2026-05-02\n{rest}")
}

fn step(report: &GuideReport, number: usize) -> StepStatus {
    report.steps[number - 1].status
}

fn guided(sessions: &[String], cell: &str) -> GuideReport {
    guided_with(BOARD, sessions, cell)
}

fn guided_with(board: &str, sessions: &[String], cell: &str) -> GuideReport {
    let mut files = vec![
        ("boards/b.toml".to_owned(), board.to_owned()),
        ("instruments/meter.toml".to_owned(), METER.to_owned()),
        ("cells/c.toml".to_owned(), cell.to_owned()),
        ("projects/p.toml".to_owned(), PROJECT.to_owned()),
    ];
    for (k, session) in sessions.iter().enumerate() {
        files.push((format!("sessions/s{k}.toml"), session.clone()));
    }
    let (bench, found) = Bench::read(files);
    assert!(bench.cell("c").is_some() && bench.project("p").is_some(), "{found:#?}");
    guide(&bench, "B-1", bench.project("p")).unwrap()
}

#[test]
fn the_guide_leads_from_the_parcel_to_the_table() {
    // Parcel: traits are known, nothing else; polarity comes first and everything with a cell is shut.
    let fresh = guided(&[], CELL);
    assert_eq!(fresh.next, Some(2));
    assert!(!fresh.polarity.may_connect && !fresh.danger);
    assert_eq!(step(&fresh, 7), StepStatus::Blocked);
    assert!(fresh.write_down.as_ref().unwrap().text.contains("[session.polarity]"));
    assert!(fresh.to_do.contains(&5) && fresh.minutes > 0);

    // Polarity agrees and the lead fits: first power, no cell in it.
    let mut sessions = vec![session("polarity", AGREED)];
    let second = guided(&sessions, CELL);
    assert_eq!((second.polarity.positive, second.polarity.may_connect), (Some("right"), true));
    assert_eq!(second.next, Some(3));

    // First power and idle are read together.
    sessions.push(session(
        "first power",
        "supply = \"3.80 V\"\nsource = \"battery contacts\"\n[[session.readings]]\nwhat = \"idle current\"\nvalue = \"28.8 mA\"\ninstrument = \"meter\"\nrange = \"60 mA\"\n",
    ));
    assert_eq!(guided(&sessions, CELL).next, Some(5));

    // One voltage only: the step is there, the sweep, the zero and the repeats are missing and said to be.
    sessions.push(session(
        "sleep",
        "supply = \"3.80 V\"\nsource = \"battery contacts\"\n[[session.readings]]\nwhat = \"sleep current\"\nvalue = \"12.6 µA\"\ninstrument = \"meter\"\nrange = \"600 µA\"\n",
    ));
    let partly = guided(&sessions, CELL);
    assert_eq!(step(&partly, 5), StepStatus::Partly);
    let missing = partly.steps[4].missing.join("; ");
    for word in ["the sweep", "five repeats", "zero before", "temperature"] {
        assert!(missing.contains(word), "{word}: {missing}");
    }
    assert!(partly.printable.contains("[x] 5."), "{}", partly.printable);
}

#[test]
fn a_mirrored_lead_is_swapped_for_its_specimen_and_measured_again() {
    let mirrored = CELL.replace("right", "left");
    let sessions = [
        session("polarity", AGREED),
        session(
            "idle",
            "supply = \"3.80 V\"\nsource = \"battery contacts\"\n[[session.readings]]\nwhat = \"idle current\"\nvalue = \"28.8 mA\"\n[[session.readings]]\nwhat = \"sleep current\"\nvalue = \"12 µA\"\nzero_after = \"0 µA\"\n[[session.readings]]\nwhat = \"lowest surviving voltage\"\nvalue = \"3.1 V\"\n",
        ),
    ];
    let shut = guided_with(BOARD, &sessions, &mirrored);
    assert!(!shut.polarity.may_connect && shut.danger);
    let written = shut.write_down.unwrap();
    assert_eq!(written.file, "boards/b.toml");
    assert!(written.text.contains("lead = { positive_side = \"?\" }"), "{}", written.text);
    // The lead of its own, measured at the end that goes into it, opens the gate; the wrong side keeps it shut.
    let own = |side: &str| format!("{BOARD}lead = {{ positive_side = \"{side}\" }}\n");
    assert!(guided_with(&own("right"), &sessions, &mirrored).polarity.may_connect);
    assert!(!guided_with(&own("left"), &sessions, &mirrored).polarity.may_connect);
}

#[test]
fn no_cell_before_both_observations_agree() {
    // USB was left in: near zero on both.
    let both = AGREED.replace("> 1 MΩ", "0.4 Ω");
    let report = guided(&[session("polarity", &both)], CELL);
    assert!(report.danger && report.polarity.statement.contains("USB was left in"));
    assert!(report.polarity.positive.is_none());

    // The two observations contradict: to be made again.
    let swapped = AGREED.replace("0.00 V", "x").replace("4.19 V", "0.00 V").replace('x', "4.19 V");
    let report = guided(&[session("polarity", &swapped)], CELL);
    assert!(report.danger && report.polarity.statement.contains("contradict"));
    assert_eq!((report.next, step(&report, 2)), (Some(2), StepStatus::AgainstTheGate));

    // The lead is mirrored: + is known, and still no cell.
    let report = guided(&[session("polarity", AGREED)], &CELL.replace("right", "left"));
    assert!(report.danger && !report.polarity.may_connect);
    assert_eq!(report.polarity.positive, Some("right"));
    assert!(report.polarity.statement.contains("other side"), "{}", report.polarity.statement);

    // One of the two observations only: to be completed next, and nothing dangerous was done.
    let half = AGREED.split("volts_left").next().unwrap();
    let report = guided(&[session("polarity", half)], CELL);
    assert_eq!((report.next, step(&report, 2)), (Some(2), StepStatus::Partly));
    assert!(!report.danger && report.steps[1].missing[0].contains("USB in, no cell"));

    // The lead was never measured: shut, but nothing dangerous was done.
    let unmeasured = CELL.replace("lead = { positive_side = \"right\" }\n", "");
    let report = guided(&[session("polarity", AGREED)], &unmeasured);
    assert!(!report.danger && !report.polarity.may_connect);

    // A trial with a cell before the gate opened: kept, told, not trusted.
    let trial = session(
        "trial",
        "[[session.ride_through]]\nevent = \"removed\"\ncell_voltage = \"4.1 V\"\nresets = 0\ntrials = 20\n",
    );
    let report = guided(&[trial], CELL);
    assert_eq!(step(&report, 7), StepStatus::AgainstTheGate);
    assert!(report.danger);
}

#[test]
fn the_steps_of_the_dead_stay_empty() {
    let files = overwinter_workbench::demo::FILES.iter().copied();
    let (bench, _) = Bench::read(files.filter(|(path, _)| *path != "README.md"));
    let report = guide(&bench, "GRANNY-1", bench.project("footbridges")).unwrap();
    assert!(report.next.is_none() && report.write_down.is_none() && report.lost.is_some());
    for number in 2..=12 {
        // The pouch's protection was read on the pouch alone: that is the cell's, not the specimen's.
        let wanted = if number == 10 { StepStatus::Done } else { StepStatus::Never };
        assert_eq!(step(&report, number), wanted, "{number}");
    }
}
