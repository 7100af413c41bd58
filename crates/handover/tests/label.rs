//! The code on the label is read by another library, from the drawing itself.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod common;

use handover::{LabelError, Verdict, label_svg};

const PIXELS: usize = 8;

/// The dark runs of the drawing, as a grey picture, and what another library reads in it.
fn read(svg: &str) -> String {
    let doc = roxmltree::Document::parse(svg).unwrap();
    let path = doc.descendants().find_map(|n| n.attribute("d")).unwrap();
    let runs: Vec<[usize; 3]> = path
        .split('M')
        .skip(1)
        .map(|run| {
            let (x, rest) = run.split_once(' ').unwrap();
            let (y, rest) = rest.split_once('h').unwrap();
            let (wide, _) = rest.split_once('v').unwrap();
            [x, y, wide].map(|n| n.parse().unwrap())
        })
        .collect();
    let side = (runs.iter().map(|r| r[0] + r[2]).max().unwrap() + 4) * PIXELS;
    let dark = |x: usize, y: usize| {
        let (x, y) = (x / PIXELS, y / PIXELS);
        runs.iter().any(|r| r[1] == y && (r[0]..r[0] + r[2]).contains(&x))
    };
    let mut picture =
        rqrr::PreparedImage::prepare_from_greyscale(side, side, |x, y| if dark(x, y) { 0 } else { 255 });
    let grids = picture.detect_grids();
    assert_eq!(grids.len(), 1);
    grids[0].decode().unwrap().1
}

#[test]
fn the_code_says_what_the_label_says_in_plain_text() {
    let svg = label_svg(&common::job()).unwrap();
    if let Some(folder) = std::env::var_os("HANDOVER_OUT") {
        std::fs::write(std::path::Path::new(&folder).join("label.svg"), &svg).unwrap();
    }
    assert_eq!(
        read(&svg),
        "SAFETY TEST PASSED\nAldermere Tern 81\nserial TN81-22-004711\ntested 2026-11-28\nby M. Holt\n\
         Mara Holt Appliance Repair\nnext due 2028-11-28\njob 2026-117"
    );
}

#[test]
fn a_machine_that_did_not_pass_says_so_and_has_no_next_day() {
    let mut job = common::job();
    job.proof.as_mut().unwrap().rows[1].verdict = Verdict::Fail;
    let said = read(&label_svg(&job).unwrap());
    assert!(said.starts_with("FAILED - DO NOT USE\n") && !said.contains("next due"), "{said}");
    job.proof.as_mut().unwrap().rows.clear();
    assert!(read(&label_svg(&job).unwrap()).starts_with("NOT SHOWN TO BE SAFE\n"));
    job.proof = None;
    assert_eq!(label_svg(&job), Err(LabelError::NotTested));
}

#[test]
fn long_and_foreign_names_have_room_in_the_code() {
    let mut job = common::job();
    job.firm.technician = "Дмитрий\n".repeat(100);
    job.firm.party.name = "王小明 & <Söhne>".to_owned();
    let said = read(&label_svg(&job).unwrap());
    assert!(said.contains("王小明 & <Söhne>") && said.contains("by Дмитрий"), "{said}");
}
