//! Which machine is it? From what the rating plate says to a machine file, or to a new one.

use super::layout::{Layout, page};
use super::new_job::{Choice, choices};
use crate::desk::Desk;
use crate::problem::Problem;
use askama::Template;
use axum::Router;
use axum::extract::{Path, Query, State};
use axum::response::Response;
use axum::routing::get;
use machine::diagnostic::nearest;
use records::JobId;
use serde::Deserialize;
use std::sync::Arc;

/// Longest text of a plate that is looked at, characters.
const LONGEST: usize = 200;

pub(super) fn routes() -> Router<Arc<Desk>> {
    Router::new().route("/jobs/{id}/match", get(matches))
}

#[derive(Template)]
#[template(path = "match.html")]
struct Page {
    layout: Layout,
    id: JobId,
    plate: String,
    near: Vec<Choice>,
    others: Vec<Choice>,
}

#[derive(Deserialize)]
struct Asked {
    #[serde(default)]
    plate: String,
}

async fn matches(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<JobId>,
    Query(asked): Query<Asked>,
) -> Result<Response, Problem> {
    desk.job(id).await?;
    let plate: String = asked.plate.trim().chars().take(LONGEST).collect();
    let shared = desk.clone();
    let said = plate.clone();
    let (near, others) = desk
        .work(move || {
            let mut all: Vec<(usize, Choice)> =
                choices(&shared).into_iter().map(|c| (fits(&said, &c), c)).collect();
            all.sort_by_key(|(score, _)| std::cmp::Reverse(*score));
            let (near, others): (Vec<_>, Vec<_>) = all.into_iter().partition(|(score, _)| *score > 0);
            let bare = |v: Vec<(usize, Choice)>| v.into_iter().map(|(_, c)| c).collect::<Vec<_>>();
            (bare(near), bare(others))
        })
        .await?;
    page(&Page { layout: Layout::of(&desk, "Which machine is it?", "today"), id, plate, near, others })
}

/// How well a machine file fits the words of a plate; 0: not at all. A word counts twice where it is the same, once where it
/// begins alike or is a slip away.
fn fits(plate: &str, choice: &Choice) -> usize {
    let known = words(&format!("{} {} {}", choice.name, choice.file, choice.variants.join(" ")));
    let one = |word: &String| {
        if known.contains(word) {
            2
        } else {
            let begins = word.chars().count() > 1 && known.iter().any(|k| k.starts_with(word.as_str()));
            let slip = word.chars().count() > 3 && nearest(word, known.iter().map(String::as_str)).is_some();
            usize::from(begins || slip)
        }
    };
    words(plate).iter().map(one).sum()
}

/// Small letters and digits, each run a word.
fn words(text: &str) -> Vec<String> {
    let lower = text.to_lowercase();
    lower.split(|c: char| !c.is_alphanumeric()).filter(|w| !w.is_empty()).map(str::to_owned).collect()
}

#[cfg(test)]
mod tests {
    use super::{Choice, fits};

    #[test]
    fn plates_are_found_with_slips_and_in_any_order() {
        let tern = Choice {
            file: "aldermere-tern-81".to_owned(),
            name: "Aldermere Tern 81".to_owned(),
            kind: "washing machine".to_owned(),
            variants: vec!["Tern 81 S".to_owned()],
        };
        for (plate, score) in
            [("TERN-81", 4), ("81 Aldermer", 3), ("aldermree", 1), ("Ta", 0), ("81S", 0), ("Gannet 7", 0)]
        {
            assert_eq!(fits(plate, &tern), score, "{plate}");
        }
    }
}
