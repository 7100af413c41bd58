//! Any bytes as a language file: no panic; a refusal lies in the file and says what to do; a book that is made of it changes no
//! markup of a page, and nothing under `translate="no"`.
//!
//! `fuzz/run language_file`
#![no_main]

use language::{BEGIN, Book, END};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    match language::read(bytes) {
        Ok(file) => {
            let kept = format!("<p translate=\"no\">{BEGIN}Today{END} New job</p>");
            let page = format!("<main id=\"a\"><h1 title=\"Today\">Today</h1>{kept}<p>{BEGIN}3{END} of {BEGIN}4{END}</p></main>");
            let said = Book::of(&file).page(&page);
            assert!(said.contains(&kept.replace([BEGIN, END], "")), "{said}");
            assert_eq!(said.matches('<').count(), page.matches('<').count(), "{said}");
        }
        Err(refused) => {
            assert!((1..=bytes.split(|b| *b == b'\n').count()).contains(&refused.line), "{refused}");
            assert!(refused.column >= 1 && !refused.remedy.is_empty(), "{refused}");
        }
    }
});
