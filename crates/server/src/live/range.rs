//! Stretches of a socket's samples for drawing: as they are where they are few, else the least and greatest of each piece.

use crate::desk::Desk;
use crate::problem::{ForPrograms, Problem};
use axum::extract::{Path, Query, State};
use axum::routing::get;
use axum::{Json, Router};
use jiff::{SignedDuration, Timestamp};
use records::{Sample, SocketId};
use serde::Deserialize;
use serde_json::{Value, json};
use std::sync::Arc;

/// Most pieces that are given.
const MOST_PIECES: usize = 4_000;
/// Longest stretch that may be asked for at once.
const LONGEST: SignedDuration = SignedDuration::from_hours(48);

pub(crate) fn routes() -> Router<Arc<Desk>> {
    Router::new().route("/api/sockets/{id}/samples", get(samples))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Asked {
    /// Milliseconds since 1970 (UTC).
    from: f64,
    /// Up to and without this; none: up to now.
    to: Option<f64>,
    /// So many pieces at most.
    pieces: Option<usize>,
}

async fn samples(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<i64>,
    asked: Result<Query<Asked>, axum::extract::rejection::QueryRejection>,
) -> Result<Json<Value>, ForPrograms> {
    let Query(asked) =
        asked.map_err(|e| Problem::refused(e.body_text(), "give from, and if you like to and pieces"))?;
    let id = SocketId::of(id);
    let time = |ms: f64| {
        let in_reach = ms.is_finite() && ms.abs() < 1e14;
        in_reach
            .then(|| Timestamp::from_microsecond((ms * 1000.0) as i64).ok())
            .flatten()
            .ok_or_else(|| Problem::refused("this is no time", "give milliseconds since 1970 (UTC)"))
    };
    let from = time(asked.from)?;
    let newest = desk.capture.socket(id).and_then(|s| s.newest).map(|s| s.at);
    let to = match asked.to {
        Some(to) => time(to)?,
        None => newest.and_then(|n| n.checked_add(SignedDuration::from_secs(1)).ok()).unwrap_or(from),
    };
    let to = to.max(from);
    if to.duration_since(from) > LONGEST {
        let hours = LONGEST.as_hours();
        return Err(
            Problem::refused("this stretch is too long", format!("ask for {hours} hours at most")).into()
        );
    }
    let pieces = asked.pieces.unwrap_or(1_000).clamp(1, MOST_PIECES);
    // What is not on the disk yet comes from the socket itself.
    let (_, recent) = desk.capture.listen(Some(id));
    let answer = desk
        .with_records(move |r| {
            let mut all = r.samples(id, from, to)?;
            let last = all.last().map(|s| s.at);
            all.extend(
                recent.into_iter().filter(|s| s.at >= from && s.at < to && last.is_none_or(|l| s.at > l)),
            );
            let gaps = r.gaps(id, from, to)?;
            let gaps: Vec<Value> = gaps.iter().map(|g| json!([ms(g.from), g.why])).collect();
            let whole = all.len() <= pieces;
            let points = if whole { as_they_are(&all) } else { thinned(&all, pieces) };
            Ok(json!({ "from": ms(from), "to": ms(to), "whole": whole, "points": points, "gaps": gaps }))
        })
        .await?;
    Ok(Json(answer))
}

/// Milliseconds since 1970.
pub(crate) fn ms(at: Timestamp) -> f64 {
    at.as_microsecond() as f64 / 1000.0
}

/// `[time, watts]`; a sample without watts is left out.
fn as_they_are(all: &[Sample]) -> Vec<Value> {
    all.iter().filter_map(|s| Some(json!([ms(s.at), s.watts?]))).collect()
}

/// Two points for each piece of equal count: its least and its greatest, in the order in which they came.
fn thinned(all: &[Sample], pieces: usize) -> Vec<Value> {
    let size = all.len().div_ceil(pieces.div_ceil(2)).max(1);
    let mut out = Vec::new();
    for piece in all.chunks(size) {
        let watts = || piece.iter().filter(|s| s.watts.is_some());
        let by = |a: &&Sample, b: &&Sample| a.watts.unwrap_or(0.0).total_cmp(&b.watts.unwrap_or(0.0));
        let (Some(least), Some(most)) = (watts().min_by(by), watts().max_by(by)) else { continue };
        let mut two = [least, most];
        two.sort_by_key(|s| s.at);
        out.extend(two.iter().filter_map(|s| Some(json!([ms(s.at), s.watts?]))));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::thinned;
    use jiff::Timestamp;
    use records::Sample;

    #[test]
    fn peaks_survive_thinning() {
        let at = |n: i64| Timestamp::from_millisecond(1000 * n).unwrap();
        let mut all: Vec<Sample> =
            (0..10_000).map(|n| Sample { at: at(n), watts: Some(5.0), volts: None, amps: None }).collect();
        all[7_777].watts = Some(2_000.0);
        let points = thinned(&all, 200);
        assert!(points.len() <= 200, "{}", points.len());
        assert!(points.iter().any(|p| p[1] == 2_000.0 && p[0] == 7_777_000.0));
        let times: Vec<f64> = points.iter().map(|p| p[0].as_f64().unwrap()).collect();
        assert!(times.is_sorted());
    }
}
