//! How it went, in lines.

use crate::render::wrap::wrap;
use practice::Score;

pub(super) fn render(score: &Score, columns: usize) -> String {
    let mut out = String::from("\n");
    let mut line = |first: &str, rest: &str, text: &str| out.push_str(&wrap(first, rest, text, columns));
    line("", "", &score.ended);
    line("It was: ", "  ", &score.was);
    line("You: ", "  ", &score.you);
    line("The best plan from that complaint: ", "  ", &score.best);
    if let Some(here) = &score.here {
        line("  with this very fault: ", "  ", here);
    }
    if let Some(points) = &score.points {
        line("Score: ", "  ", points);
    }
    if !score.poor.is_empty() {
        line("\n", "", "What other steps would have done better");
    }
    for poor in &score.poor {
        line(&format!("{:>3}  ", poor.number), "     ", &poor.says);
        line("     ", "     ", &poor.worth);
    }
    out
}
