//! Logs kept in a spreadsheet, text in old encodings, and files made to do harm.

mod common;

use common::packed::{ods, packed, xlsx};
use common::{Folder, errors, faults_of, read, try_read, try_read_as, warnings};
use haltmark::error::Error;
use haltmark::fault::{FaultPlace, Faults};
use haltmark::log::run::Run;
use haltmark::log::{ReadOptions, run::Season};
use haltmark::setup::Setup;

/// Written by two other programs from the same values: `tests/reference/sheets/make.py`.
const FILES: [(&str, &[u8]); 2] = [
    (
        "season.xlsx",
        include_bytes!("reference/sheets/season.xlsx"),
    ),
    ("season.ods", include_bytes!("reference/sheets/season.ods")),
];

fn read_sheet(name: &str, bytes: &[u8], sheet: Option<&str>) -> Result<(Season, Faults), Error> {
    let options = ReadOptions {
        kind: Default::default(),
        sheet: sheet.map(str::to_string),
    };
    try_read_as(name, bytes, &Setup::default(), &options)
}

#[test]
fn a_spreadsheet_is_read_like_the_same_log_in_text() {
    let (text, _) = read(
        "session;date;target_m;turns;long_cm;right_cm;note\n\
         1;2026-03-14;8.35;36,5;6.5;4 left;first\n\
         ;;6;26.25;-3;2;\n\
         2;2026-03-21;7.1;31;0.5;;afternoon\n",
    );
    for (name, bytes) in FILES {
        let (mut sheet, faults) = read_sheet(name, bytes, None).unwrap();
        assert_eq!(faults.0, [], "{name}");
        // The header is in row 4.
        let rows: Vec<u32> = sheet.runs.iter().map(|run| run.line).collect();
        assert_eq!(rows, [5, 6, 7], "{name}");
        let on_the_same_line = |(run, same): (&Run, &Run)| Run {
            line: same.line,
            ..run.clone()
        };
        let runs = sheet.runs.iter().zip(&text.runs).map(on_the_same_line);
        sheet.runs = runs.collect();
        sheet.files.clone_from(&text.files);
        assert_eq!(sheet, text, "{name}");
    }
}

#[test]
fn a_sheet_is_picked_by_name() {
    for (name, bytes) in FILES {
        let (season, _) = read_sheet(name, bytes, Some("Lead")).unwrap();
        assert_eq!(season.runs[0].lead_turns, Some(1.5), "{name}");
        let faults = faults_of(read_sheet(name, bytes, Some("Leed")));
        assert!(faults.to_string().contains("nearest is Lead"), "{faults}");
    }
    let faults = faults_of(read_sheet(
        "runs.csv",
        b"session,target_m,turns,long_cm\nA,8,36,1\n",
        Some("x"),
    ));
    assert!(faults.to_string().contains("--sheet"), "{faults}");
}

#[test]
fn faults_in_a_sheet_name_sheet_row_and_letter() {
    let cell = |text: &str| {
        format!(
            "<table:table-cell office:value-type=\"string\"><text:p>{text}</text:p></table:table-cell>"
        )
    };
    let row = |cells: &[&str]| {
        let cells: String = cells.iter().map(|text| cell(text)).collect();
        format!("<table:table-row>{cells}</table:table-row>")
    };
    let rows = row(&["session", "target_m", "turns", "long_cm"])
        + "<table:table-row table:number-rows-repeated=\"3\"><table:table-cell/></table:table-row>"
        + &row(&["A", "8", "36..5", "1"])
        + &row(&["A", "8", "36", "7 right", "stray"]);
    let faults = faults_of(read_sheet("s.ods", &ods(&rows), None));
    let told: Vec<String> = faults.0.iter().map(ToString::to_string).collect();
    let path = &faults.0[0].file;
    assert_eq!(
        told,
        [
            format!(
                "{path}, sheet Runs, row 5, column C (turns): read \"36..5\"; expected a number like 36.5 or 36,5"
            ),
            format!(
                "{path}, sheet Runs, row 6, column D (long_cm): read \"7 right\"; right belongs to the other direction; expected long or short, or a signed number"
            ),
            format!(
                "warning: {path}, sheet Runs, row 6, column E: read \"stray\"; column 5 has no name in the header, so it was not read"
            ),
        ]
    );
}

#[test]
fn an_error_in_a_cell_is_a_fault_and_so_is_a_formula_never_computed() {
    let rows = r#"<row r="1"><c r="A1" t="inlineStr"><is><t>session</t></is></c><c r="B1" t="inlineStr"><is><t>target_m</t></is></c><c r="C1" t="inlineStr"><is><t>turns</t></is></c><c r="D1" t="inlineStr"><is><t>long_cm</t></is></c></row>
        <row r="2"><c r="A2" t="b"><v>1</v></c><c r="B2"><v>8</v></c><c r="C2" t="e"><f>1/0</f><v>#DIV/0!</v></c><c r="D2"><f>1+1</f></c></row>"#;
    let faults = faults_of(read_sheet("s.xlsx", &xlsx(rows), None));
    let told = faults.to_string();
    assert!(told.contains("#DIV/0!"), "{told}");
    let formula = "column D (long_cm): read \"=1+1\"; a formula whose value is not in the file";
    assert!(told.contains(formula), "{told}");
    let ods_rows = [["session", "target_m", "turns", "long_cm"], ["A", "8", "36", ""]]
        .map(|cells| {
            let cells = cells.map(|text| match text {
                "" => "<table:table-cell table:formula=\"of:=[.C2]-1\"/>".to_string(),
                text => format!("<table:table-cell office:value-type=\"string\"><text:p>{text}</text:p></table:table-cell>"),
            });
            format!("<table:table-row>{}</table:table-row>", cells.concat())
        })
        .concat();
    let told = faults_of(read_sheet("s.ods", &ods(&ods_rows), None)).to_string();
    assert!(told.contains("read \"=[.C2]-1\"; a formula"), "{told}");
}

#[test]
fn formulas_filled_down_beyond_the_last_run_are_blank_rows() {
    let string =
        |at: &str, text: &str| format!("<c r=\"{at}\" t=\"inlineStr\"><is><t>{text}</t></is></c>");
    let names = ["session", "target_m", "turns", "long_cm", "miss_cm"];
    let header: String = names
        .iter()
        .zip(["A1", "B1", "C1", "D1", "E1"])
        .map(|(name, at)| string(at, name))
        .collect();
    let rows = format!(
        "<row r=\"1\">{header}</row><row r=\"2\">{}<c r=\"B2\"><v>8</v></c><c r=\"C2\"><v>36</v></c><c r=\"D2\"><v>3</v></c>\
         <c r=\"E2\"><f>D2</f><v>3</v></c></row><row r=\"3\"><c r=\"E3\"><f>D3</f></c></row>\
         <row r=\"4\"><c r=\"E4\" t=\"str\"><f>IF(D4=\"\",\"\",D4)</f><v></v></c></row>",
        string("A2", "A")
    );
    let (season, faults) = read_sheet("s.xlsx", &xlsx(&rows), None).unwrap();
    assert_eq!((season.runs.len(), faults.0.len()), (1, 0), "{faults}");
}

#[test]
fn runs_of_another_rig_are_named_by_their_rows() {
    let row = |k: i32| {
        let (target, turns) = (6 + k % 3, 25 + 4 * (k % 3));
        format!("{},foam,{target},{turns},{}\n", k / 6, (7 * k) % 5 - 2)
    };
    let rows: String = (0..12).map(row).collect();
    let log = format!("session,wheels,target_m,turns,long_cm\n{rows}");
    let (folder, _) = common::fitted(&log, "");
    let string = |text: &str| format!("<c t=\"inlineStr\"><is><t>{text}</t></is></c>");
    let number = |value: i32| format!("<c><v>{value}</v></c>");
    let header = ["session", "wheels", "target_m", "turns", "long_cm"].map(string);
    let run = |wheels| {
        [
            string("today"),
            string(wheels),
            number(7),
            number(29),
            number(3),
        ]
    };
    let rows = [header, run("wide"), run("foam"), run("wide")].map(|cells| cells.concat());
    let rows = rows.map(|cells| format!("<row>{cells}</row>")).concat();
    folder.write("today.xlsx", xlsx(&rows));
    let ran = folder.run("correct out today.xlsx --target 7");
    let said = ran.ended_with(0).stdout;
    assert!(said.contains("the runs of rows 2, 4 are of wide"), "{said}");
}

#[test]
fn a_merged_title_above_the_header_is_skipped() {
    let string =
        |at: &str, text: &str| format!("<c r=\"{at}\" t=\"inlineStr\"><is><t>{text}</t></is></c>");
    let header: String = ["session", "target_m", "turns", "long_cm"]
        .iter()
        .zip(["B3", "C3", "D3", "E3"])
        .map(|(name, at)| string(at, name))
        .collect();
    let rows = format!(
        "<row r=\"1\">{}</row><row r=\"3\">{header}</row><row r=\"4\">{}<c r=\"C4\"><v>8</v></c><c r=\"D4\"><v>36</v></c>\
         <c r=\"E4\"><v>x</v></c></row>",
        string("A1", "Our season"),
        string("B4", "A"),
    );
    let faults = faults_of(read_sheet("s.xlsx", &xlsx(&rows), None));
    assert_eq!(errors(&faults).len(), 1, "{faults}");
    assert!(
        faults.to_string().contains("row 4, column E (long_cm)"),
        "{faults}"
    );
}

#[test]
fn text_in_old_encodings_is_read() {
    let log = "session,target_m,turns,long_cm,floor\nA,8,36,1,Gr\u{f6}\u{df}e\n";
    let utf_16: Vec<u8> = std::iter::once(0xFEFF_u16)
        .chain(log.encode_utf16())
        .flat_map(u16::to_le_bytes)
        .collect();
    let (season, faults) = try_read(&utf_16).unwrap();
    assert_eq!((season.floors[0].as_str(), faults.0.len()), ("Größe", 0));
    let windows: Vec<u8> = log.chars().map(|c| c as u8).collect();
    let (season, faults) = try_read(&windows).unwrap();
    assert_eq!(season.floors[0], "Größe");
    assert_eq!(warnings(&faults)[0].place, FaultPlace::Line(2));
}

#[test]
fn files_of_another_kind_are_refused_with_advice() {
    for (name, bytes, part) in [
        (
            "a.xls",
            vec![0xD0, 0xCF, 0x11, 0xE0, 0xA1, 0xB1, 0x1A, 0xE1],
            "old kind",
        ),
        (
            "a.png",
            b"\x89PNG\r\n\x1a\n\0\0".to_vec(),
            "not a text file",
        ),
        ("a.zip", packed(&[("x.txt", b"x")]), "no .xlsx or .ods"),
        ("a.xlsx", b"PK\x03\x04 and nothing more".to_vec(), "damaged"),
        ("a.xlsx", xlsx(""), "nothing on this sheet"),
        ("a.ods", ods(""), "nothing on this sheet"),
    ] {
        let faults = faults_of(read_sheet(name, &bytes, None));
        assert!(faults.to_string().contains(part), "{name}: {faults}");
    }
}

#[test]
fn what_would_not_end_is_refused_by_the_limit_it_breaks() {
    let header = "session,target_m,turns,long_cm,note\n";
    let many: String = (0..2_000_001).map(|_| "A,8,36,1,\n").collect();
    let wide = format!("{header}A{}\n", ",".repeat(100_000));
    let long_cell = format!("{header}A,8,36,1,{}\n", "x".repeat(6_000));
    let open_quote = format!("{header}A,8,36,1,\"x\n{}", "A,8,36,1,\n".repeat(2_000));
    let huge = vec![b'#'; (32 << 20) + 1];
    for (text, part) in [
        (format!("{header}{many}").as_bytes(), "2000000 runs"),
        (wide.as_bytes(), "a log may have 100"),
        (long_cell.as_bytes(), "5000 characters"),
        (open_quote.as_bytes(), "never closed"),
        (&huge, "32 MB"),
    ] {
        let faults = faults_of(try_read(text));
        assert_eq!(errors(&faults).len(), 1, "{faults}");
        assert!(faults.to_string().contains(part), "{faults}");
    }
}

#[test]
fn a_small_packed_file_cannot_fill_the_memory() {
    let spaces = vec![b' '; 65 << 20];
    let bomb = packed(&[("xl/workbook.xml", &spaces)]);
    assert!(bomb.len() < 1 << 20);
    let far = r#"<row r="1"><c r="A1"><v>1</v></c></row><row r="1048576"><c r="XFD1048576"><v>1</v></c></row>"#;
    let cell = "<table:table-cell office:value-type=\"float\" office:value=\"1\"";
    let across = format!(
        "<table:table-row>{cell} table:number-columns-repeated=\"16384\"/></table:table-row>"
    );
    let down = format!(
        "<table:table-row table:number-rows-repeated=\"1048576\">{cell}/></table:table-row>"
    );
    for (name, bytes, part) in [
        ("a.xlsx", bomb, "64 MB"),
        ("a.xlsx", xlsx(far), "a log may have 100"),
        ("a.ods", ods(&across.repeat(1000)), "100 columns"),
        ("a.ods", ods(&down), "100000 runs"),
    ] {
        let faults = faults_of(read_sheet(name, &bytes, None));
        assert!(faults.to_string().contains(part), "{name}: {faults}");
    }
}

#[test]
fn the_program_reads_spreadsheets_too() {
    let folder = Folder::new();
    for (name, bytes) in FILES {
        folder.write(name, bytes);
    }
    let ran = folder
        .run("check season.xlsx season.ods --json")
        .ended_with(0);
    assert_eq!(ran.json()["understood"]["runs"], 6);
    let ran = folder
        .run("check season.xlsx --sheet Lead --json")
        .ended_with(0);
    assert_eq!(ran.json()["understood"]["runs"], 1);
}
