//! The sun's requests as plain data: pieces of a map add up, an edited site counts, nothing falls over on odd input.

use overwinter_workbench::ask::{Reply, Request, ask};
use overwinter_workbench::bench::Bench;
use overwinter_workbench::demo::FILES;
use overwinter_workbench::sun::report::{SunMapReport, SunReport};
use overwinter_workbench::sun::request::{SunMapCounts, SunMapRequest, SunRequest};

const MAST: &str = "weather mast";

fn bench() -> Bench {
    Bench::read(FILES.iter().filter(|(path, _)| path.contains('/')).copied()).0
}

fn request(project: &str) -> SunRequest {
    SunRequest {
        project: project.to_owned(),
        site: None,
        panel: None,
        hourly: None,
        boards: vec!["SHEETBEND".into()],
        years: 30,
        seed: 1,
    }
}

fn sun(bench: &Bench, request: SunRequest) -> SunReport {
    match ask(bench, Request::Sun(request)) {
        Reply::Sun(report) => *report,
        other => panic!("{other:?}"),
    }
}

fn refused(bench: &Bench, request: Request) -> String {
    match ask(bench, request) {
        Reply::Error(found) => found
            .iter()
            .map(|d| format!("{}: {}", d.code, d.message))
            .collect::<Vec<_>>()
            .join("; "),
        other => panic!("{other:?}"),
    }
}

fn map(bench: &Bench, years: usize, before: Option<SunMapCounts>) -> SunMapReport {
    let request = SunMapRequest {
        project: MAST.into(),
        site: None,
        panel: None,
        board: Some("SHEETBEND".into()),
        panels_w: vec![0.15, 0.3, 0.6],
        cells_c: vec![720.0, 1440.0, 2880.0],
        years,
        seed: 7,
        before,
    };
    match ask(bench, Request::SunMap(request)) {
        Reply::SunMap(report) => *report,
        other => panic!("{other:?}"),
    }
}

#[test]
fn pieces_of_a_map_add_up_to_the_whole() {
    let bench = bench();
    let whole = map(&bench, 24, None);
    let first = map(&bench, 10, None);
    assert_eq!(first.counts.years, 10);
    let both = map(&bench, 14, Some(first.counts));
    assert_eq!((&both.counts, &both.points), (&whole.counts, &whole.points));
    assert_eq!(both.smallest, whole.smallest);
    assert!(
        whole.counts.years_with_outage.iter().any(|n| (1..24).contains(n)),
        "a map with nothing to tell: {:?}",
        whole.counts
    );
    // Counts of another map are refused, not added.
    let strange = SunMapCounts {
        years: 5,
        years_with_outage: vec![0; 4],
        outage_days: vec![0; 4],
        ..SunMapCounts::default()
    };
    let request = SunMapRequest {
        project: MAST.into(),
        site: None,
        panel: None,
        board: None,
        panels_w: vec![0.3],
        cells_c: Vec::new(),
        years: 2,
        seed: 1,
        before: Some(strange),
    };
    assert!(refused(&bench, Request::SunMap(request)).starts_with("counts"));
}

#[test]
fn an_edited_site_and_project_count() {
    let bench = bench();
    let text = |path: &str| FILES.iter().find(|(p, _)| *p == path).unwrap().1.to_owned();
    let plain = sun(&bench, request(MAST));
    let light = |report: &SunReport| report.setting.months[11].on_panel_kwh_m2.unwrap();
    // A skyline drawn higher in the south takes the beam of December.
    let site = text("sites/gorge.toml").replace(
        "{ bearing = \"180°\", elevation = \"10°\" }",
        "{ bearing = \"180°\", elevation = \"35°\" }",
    );
    let dark = sun(&bench, SunRequest { site: Some(site), ..request(MAST) });
    assert!(light(&dark) < 0.7 * light(&plain), "{} {}", light(&dark), light(&plain));
    // Twice the panel gives twice what it offers, or nearly so.
    let panel =
        text("panels/panel-0.3-w.toml").replace("50 mA", "100 mA").replace("54 mA", "108 mA");
    let large = sun(&bench, SunRequest { panel: Some(panel), ..request(MAST) });
    assert!((large.setting.panel_w / plain.setting.panel_w - 2.0).abs() < 1e-9);
    let days = |report: &SunReport| report.boards[0].outcome.as_ref().unwrap().outage_days_per_year;
    assert!(days(&large) < days(&plain));
    // A wake twice as long asks for more.
    let project = text("projects/weather-mast.toml").replace("0.4 s", "0.8 s");
    let hungry = sun(&bench, request(&project));
    let load = |report: &SunReport| report.boards[0].outcome.as_ref().unwrap().mean_load_a;
    assert!(load(&hungry) > 1.7 * load(&plain));
    // Through a converter the panel is no longer held at the cell's voltage, and its unknowns are told.
    let project = text("projects/weather-mast.toml")
        .replace("through = \"nothing\"", "through = { converter = {} }");
    let converted = sun(&bench, request(&project));
    let board = &converted.boards[0];
    assert!(
        board.flags.iter().any(|f| f.contains("through a converter of 85 %")),
        "{:?}",
        board.flags
    );
    assert!(
        board.assumptions.iter().any(|a| a.unknown == "what the converter draws from the cell")
    );
}

#[test]
fn odd_requests_are_refused_with_their_reason() {
    let bench = bench();
    let with = |change: &dyn Fn(&mut SunRequest)| {
        let mut asked = request(MAST);
        change(&mut asked);
        refused(&bench, Request::Sun(asked))
    };
    assert!(with(&|r| r.years = 0).contains("0 years"));
    assert!(with(&|r| r.years = usize::MAX).starts_with("years"));
    assert!(with(&|r| r.project = "footbridges".into()).contains("names no site"));
    assert!(with(&|r| r.site = Some("georg".into())).contains("georg"));
    let other = with(&|r| {
        r.site = Some("[cell]\nname = \"x\"\nchemistry = \"y\"\ncapacity = \"1 Ah\"\n".into());
    });
    assert!(other.contains("this is not a site") || other.contains("sites/"), "{other}");
    assert!(with(&|r| r.boards = vec!["KNOTLESS".into()]).contains("KNOTLESS"));
    for text in [
        "",
        "\n\n",
        "a,b\n1,2\n",
        "time,ghi\n2023-02-30 00:00,1\n",
        "\u{feff}time;ghi\n;;\n;;\n",
        "time,ghi\n2023-01-01 00:00,NaN\n2023-01-01 01:00,\n",
    ] {
        let told = with(&|r| r.hourly = Some(text.to_owned()));
        assert!(!told.is_empty(), "{text:?}");
    }
}

#[test]
fn inputs_drawn_anew_move_a_borderline_board_and_leave_a_safe_one() {
    let bench = bench();
    let report = sun(
        &bench,
        SunRequest {
            boards: vec!["SLIPKNOT".into(), "SHEETBEND".into()],
            years: 200,
            ..request(MAST)
        },
    );
    for board in &report.boards {
        let o = board.outcome.as_ref().unwrap();
        let uncertain = o.uncertain.as_ref().unwrap();
        for wanted in [
            "cell capacity",
            "panel current",
            "charge current",
            "charge per “wind”",
            "self-discharge at 20 °C",
            "cell resistance",
            "temperatures as a whole",
            "charger's input thresholds",
            "voltage that is charged to",
            "current at which the charge ends",
            "calendar loss in the first year",
        ] {
            assert!(uncertain.drawn.iter().any(|d| d == wanted), "{wanted}: {:?}", uncertain.drawn);
        }
        if board.board == "SLIPKNOT" {
            assert_eq!(uncertain.years_with_outage.share, 0.0);
        } else {
            assert!(uncertain.outage_days_per_year != o.outage_days_per_year);
            // What moves it most is told, the largest first, with the sign that physics gives it.
            let budget = &uncertain.budget;
            assert!(budget.windows(2).all(|w| w[0].share >= w[1].share));
            let sum: f64 = budget.iter().map(|part| part.share).sum();
            assert!(!budget.is_empty() && (0.2..1.3).contains(&sum), "{budget:?}");
            for part in budget {
                let more = ["charge per", "sleep current", "self-discharge"];
                let less = ["cell capacity", "panel current"];
                if more.iter().any(|name| part.name.starts_with(name)) {
                    assert!(part.days > 0.0, "{part:?}");
                }
                if less.iter().any(|name| part.name.starts_with(name)) {
                    assert!(part.days < 0.0, "{part:?}");
                }
            }
        }
    }
}

/// Where clear winter days are the cold ones, a cell kept out of the charger by frost loses the best of the light; where they are warm, the least.
#[test]
fn clear_days_that_are_cold_bring_less() {
    let site = FILES.iter().find(|(p, _)| *p == "sites/gorge.toml").unwrap().1;
    let with = |winter: &str| {
        let text = site.replace(
            "daily_swing = \"14 K\"",
            &format!("daily_swing = \"14 K\", clearness_correlation = {{ winter = {winter}, summer = \"40 %\" }}"),
        );
        assert_ne!(text, site);
        text
    };
    let bench = bench();
    let days = |winter: &str| {
        let report =
            sun(&bench, SunRequest { site: Some(with(winter)), years: 60, ..request(MAST) });
        let outcome = report.boards[0].outcome.as_ref().unwrap();
        let notes = report.setting.notes.join("; ");
        (outcome.daily_bank.unwrap().days_frost_kept_out, notes, report.assumptions)
    };
    let (cold, notes, assumed) = days("-0.8");
    assert!(!notes.contains("temperature and clearness"), "{notes}");
    let asks = |of: &[overwinter_workbench::sun::report::SunAssumption]| {
        of.iter().any(|a| a.unknown == "how a day's temperature goes with its light")
    };
    assert!(!asks(&assumed));
    let (none, _, _) = days("0");
    let (warm, _, _) = days("0.8");
    assert!(cold > none * 1.02 && none > warm * 1.02, "{cold} {none} {warm}");
    let (_, notes, _) = days("-0.95");
    assert!(notes.contains("run at 0.86"), "{notes}");
    assert!(asks(&sun(&bench, request(MAST)).assumptions));
    // Outside −1 to 1 there is no correlation.
    let (_, found) = Bench::read([("sites/gorge.toml", with("-1.5"))]);
    assert!(
        found.iter().any(|d| d.code == "correlation" && d.message.contains("−1 and 1")),
        "{found:?}"
    );
    let (_, found) = Bench::read([("sites/gorge.toml", with("-0.5"))]);
    assert!(!found.iter().any(|d| d.code == "negative"), "{found:?}");
}
