//! Every crate that the program is built from may be passed on with it: its licence is one of a few permissive ones.

use std::process::Command;

/// Licences under which the program, and what it is built from, may be passed on in source and binary.
const PERMISSIVE: [&str; 9] = [
    "MIT",
    "MIT-0",
    "Apache-2.0",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "ISC",
    "Zlib",
    "Unicode-3.0",
    "MPL-2.0",
];

/// Whether an expression of licences (SPDX) leaves a choice that is permissive. `/` is an old way to write `OR`.
fn is_permissive(expression: &str) -> bool {
    let expression = expression.replace('/', " OR ");
    // No crate of the tree nests deeper than `(A OR B) AND C`.
    expression.split(" AND ").all(|all| {
        let any = all.trim().trim_start_matches('(').trim_end_matches(')');
        any.split(" OR ")
            .any(|licence| PERMISSIVE.contains(&licence.trim()))
    })
}

/// What a command prints, or why it printed nothing.
fn printed(program: &str, arguments: &[&str]) -> String {
    let output = Command::new(program)
        .args(arguments)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("it can be started");
    let error = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{program} {arguments:?}: {error}");
    String::from_utf8(output.stdout).expect("text")
}

#[test]
fn every_crate_may_be_passed_on() {
    // Crates of other systems need not be here: with --offline they could not be asked.
    let version = printed("rustc", &["-vV"]);
    let host = version
        .lines()
        .find_map(|line| line.strip_prefix("host: "))
        .expect("the compiler names its host");
    let arguments = [
        "metadata",
        "--locked",
        "--offline",
        "--format-version=1",
        "--filter-platform",
        host,
    ];
    let metadata: serde_json::Value =
        serde_json::from_str(&printed(env!("CARGO"), &arguments)).expect("JSON");
    let packages = metadata["packages"].as_array().expect("a list");
    assert!(packages.len() > 50, "{} crates", packages.len());
    let refused: Vec<String> = packages
        .iter()
        .filter(|package| !is_permissive(package["license"].as_str().unwrap_or("")))
        .map(|package| format!("{}: {}", package["name"], package["license"]))
        .collect();
    assert!(refused.is_empty(), "{refused:#?}");
}

#[test]
fn a_licence_that_asks_more_is_refused() {
    for (expression, permissive) in [
        ("MIT OR GPL-3.0", true),
        ("MIT/Apache-2.0", true),
        ("(MIT OR Apache-2.0) AND Unicode-3.0", true),
        ("(MIT OR Apache-2.0) AND GPL-2.0", false),
        ("GPL-3.0-only", false),
        ("", false),
    ] {
        assert_eq!(is_permissive(expression), permissive, "{expression}");
    }
}
