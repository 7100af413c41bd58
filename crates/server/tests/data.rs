//! Your data on a page: taken out, erased; photos and files of a job.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod support;

use axum::body::{Body, to_bytes};
use axum::http::{HeaderMap, Method, Request, StatusCode, header};
use std::io::Read as _;
use support::{Bench, HOST, form};
use tower::ServiceExt;

/// The smallest PNG: one pixel. Made for this test.
const PNG: &[u8] = &[
    0x89, b'P', b'N', b'G', 0x0d, 0x0a, 0x1a, 0x0a, 0, 0, 0, 13, b'I', b'H', b'D', b'R', 0, 0, 0, 1, 0, 0, 0,
    1, 8, 0, 0, 0, 0, 0x3a, 0x7e, 0x9b, 0x55,
];

async fn upload(bench: &Bench, name: &str, content: &[u8]) -> (StatusCode, String) {
    let mut body = format!(
        "--edge\r\nContent-Disposition: form-data; name=\"file\"; filename=\"{name}\"\r\nContent-Type: text/html\r\n\r\n"
    )
    .into_bytes();
    body.extend_from_slice(content);
    body.extend_from_slice(b"\r\n--edge--\r\n");
    let request = Request::post("/jobs/1/attach")
        .header(header::HOST, HOST)
        .header(header::CONTENT_TYPE, "multipart/form-data; boundary=edge")
        .body(Body::from(body))
        .unwrap();
    let (status, _, body) = bench.ask(request).await;
    (status, body)
}

async fn bytes(bench: &Bench, method: Method, path: &str) -> (StatusCode, HeaderMap, Vec<u8>) {
    let request = Request::builder().method(method).uri(path).header(header::HOST, HOST);
    let answer = bench.routes.clone().oneshot(request.body(Body::empty()).unwrap()).await.unwrap();
    let (head, body) = answer.into_parts();
    (head.status, head.headers, to_bytes(body, 100_000_000).await.unwrap().to_vec())
}

async fn with_a_job() -> Bench {
    let bench = Bench::new();
    bench.post("/new", "file=polwarren-cockle-52&name=Mrs+Penrose&words=it+hums+in+Mole+Road").await;
    bench
}

#[tokio::test]
async fn a_photo_is_kept_shown_and_erased() {
    let bench = with_a_job().await;
    assert!(bench.get("/jobs/1").await.1.contains("none yet"));
    let (status, page) = upload(&bench, "plate \u{e9}.html", PNG).await;
    assert_eq!(status, StatusCode::SEE_OTHER, "{page}");
    assert!(bench.get("/jobs/1").await.1.contains("<img src=\"/jobs/1/attached/1\""));
    let (status, head, content) = bytes(&bench, Method::GET, "/jobs/1/attached/1").await;
    assert_eq!((status, content.as_slice()), (StatusCode::OK, PNG));
    // By its content, whatever it was called.
    assert_eq!(head[header::CONTENT_TYPE], "image/png");
    assert_eq!(head[header::X_CONTENT_TYPE_OPTIONS], "nosniff");
    assert!(
        head[header::CONTENT_DISPOSITION].to_str().unwrap().starts_with("inline; filename=\"plate _.html\"")
    );
    assert_eq!(head[header::CONTENT_SECURITY_POLICY], "default-src 'none'; sandbox");
    upload(&bench, "trace.csv", b"time,watts\n0,5\n").await;
    let (_, head, _) = bytes(&bench, Method::GET, "/jobs/1/attached/2").await;
    assert_eq!(head[header::CONTENT_TYPE], "application/octet-stream");
    assert!(head[header::CONTENT_DISPOSITION].to_str().unwrap().starts_with("attachment;"));
    // Not by way of another job.
    bench.post("/new", "words=x").await;
    assert_eq!(bench.get("/jobs/2/attached/1").await.0, StatusCode::NOT_FOUND);
    let (status, _, page) = bench.post("/jobs/1/attached/1/erase", "").await;
    assert!(status == StatusCode::UNPROCESSABLE_ENTITY && page.contains("not ticked"), "{page}");
    assert_eq!(bytes(&bench, Method::GET, "/jobs/1/attached/1").await.0, StatusCode::OK);
    bench.post("/jobs/1/attached/1/erase", &form(&[("sure", "yes")])).await;
    assert_eq!(bench.get("/jobs/1/attached/1").await.0, StatusCode::NOT_FOUND);
    assert!(bench.get("/jobs/1").await.1.contains("erased on"));
}

#[tokio::test]
async fn what_is_no_picture_sound_or_recording_is_refused() {
    let bench = with_a_job().await;
    let large = vec![b'x'; (20 << 20) + 200_000];
    for (content, wanted, says) in [
        (b"<html><script>alert(1)</script>".as_slice(), 422, "no picture, sound or recording"),
        (b"MZ\x90\x00\x03\x00", 422, "no picture, sound or recording"),
        (b"", 422, "no file was sent"),
        (large.as_slice(), 413, "larger than 20 MB"),
    ] {
        let (status, page) = upload(&bench, "photo.jpg", content).await;
        assert!(
            status.as_u16() == wanted && page.contains(says) && page.contains("What to do"),
            "{status} {page}"
        );
    }
}

#[tokio::test]
async fn a_backup_is_sent_whole_and_stays_nowhere() {
    let bench = with_a_job().await;
    let (status, head, backup) = bytes(&bench, Method::POST, "/settings/data/backup").await;
    assert_eq!(status, StatusCode::OK);
    let name = head[header::CONTENT_DISPOSITION].to_str().unwrap();
    assert!(
        name.starts_with("attachment; filename=\"wattmend-backup-2") && name.ends_with(".sqlite\""),
        "{name}"
    );
    let other = tempfile::tempdir().unwrap();
    std::fs::write(other.path().join("records.sqlite"), backup).unwrap();
    let records = records::Records::open(&other.path().join("records.sqlite")).unwrap();
    assert_eq!(records.job(1).unwrap().unwrap().customer.unwrap().name, "Mrs Penrose");
    let left: Vec<String> = std::fs::read_dir(bench.folder.path())
        .unwrap()
        .map(|e| e.unwrap().file_name().to_string_lossy().into_owned())
        .filter(|n| n.starts_with("leaving"))
        .collect();
    assert!(left.is_empty(), "{left:?}");
}

/// The text of all files of a packed folder.
fn unpacked(packed: &[u8]) -> String {
    let mut archive = tar::Archive::new(flate2::read::GzDecoder::new(packed));
    let mut all = String::new();
    for entry in archive.entries().unwrap() {
        let mut entry = entry.unwrap();
        all.push_str(&format!("== {}\n", entry.path().unwrap().display()));
        let mut bytes = Vec::new();
        entry.read_to_end(&mut bytes).unwrap();
        all.push_str(&String::from_utf8_lossy(&bytes));
    }
    all
}

#[tokio::test]
async fn a_customer_is_taken_out_and_erased_on_request() {
    let bench = with_a_job().await;
    bench.post("/new", "name=Net+Loft&words=drips").await;
    let (_, page) = bench.get("/settings/data?find=penrose").await;
    assert!(page.contains("Mrs Penrose") && !page.contains("Net Loft"), "{page}");
    let (status, _, packed) = bytes(&bench, Method::POST, "/settings/data/customers/1/export").await;
    let text = unpacked(&packed);
    assert!(status == StatusCode::OK && text.contains("Mrs Penrose") && !text.contains("Net Loft"), "{text}");
    let (_, _, packed) = bytes(&bench, Method::POST, "/settings/data/export").await;
    let text = unpacked(&packed);
    assert!(
        text.contains("Mrs Penrose") && text.contains("Net Loft") && text.contains("manifest.json"),
        "{text}"
    );
    let (status, _, page) = bench.post("/settings/data/customers/1/erase", "").await;
    assert!(status == StatusCode::UNPROCESSABLE_ENTITY && page.contains("not ticked"), "{page}");
    assert!(bench.get("/jobs/1").await.1.contains("Mrs Penrose"));
    // The same person, who called again.
    bench.post("/new", &form(&[("name", "mrs penrose"), ("words", "it drips again")])).await;
    let (_, page) = bench.get("/settings/data/customers/1").await;
    assert!(page.contains("entered again") && page.contains("/settings/data/customers/3"), "{page}");
    let (status, _, page) = bench.post("/settings/data/customers/1/erase", &form(&[("sure", "yes")])).await;
    assert!(status == StatusCode::OK && page.contains("Erased:"), "{page}");
    assert!(page.contains("there is still") && page.contains("/settings/data/customers/3"), "{page}");
    bench.post("/settings/data/customers/3/erase", &form(&[("sure", "yes")])).await;
    let (_, sheet) = bench.get("/jobs/1").await;
    assert!(!sheet.contains("Penrose") && !sheet.contains("Mole Road"), "{sheet}");
    assert!(!bench.get("/settings/data").await.1.contains("Penrose"));
    assert_eq!(bench.get("/settings/data/customers/99").await.0, StatusCode::NOT_FOUND);
}
